"""
Proposals: what was read on the old part and what is said of the new one, as marks held against each other.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from humclick.arrangements.machine import Machine
from humclick.errors import Refused, Unknown
from humclick.messages import NOTHING, Message, listed
from humclick.parts.family import Family, Role, Substitute
from humclick.replacement.demand import MarkDemand, MissingMark, PartDemand
from humclick.replacement.fitting import ASSIST
from humclick.replacement.marks import (
    MarkRule,
    MarkValue,
    Rule,
    family_rules,
    mark_called,
    mark_rule,
    plate_value,
    read_marks,
    value_of,
)
from humclick.replacement.match import MatchGrade, MatchLine, match
from humclick.sourced import read_data

__all__ = [
    "Proposal",
    "essential_marks",
    "example",
    "is_starter",
    "marked",
    "marks_text",
    "proposal_of",
    "rating",
    "require_replaceable",
    "rules_of",
    "simulated_marks",
    "still_to_read",
]

_DEFEATED = re.compile(
    r"\b(none|nothing|no protector|bridge[ds]?|bridged out|jumper(ed)?|by-?pass(ed)?|a wire|wire|wire link|"
    r"link|left off|removed|omitted|absent|shorted( out)?|without|paper ?clip|coin|"
    r"jump(ed)?|hot-?wired?|strapped( out)?|taken out|not fitted)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Proposal:
    """The old part and the new one as read."""

    part: str
    kind: Family | None  #: What it is; None for a start-assist.
    title: Message
    before: str
    never: tuple[Rule, ...]  #: What is never done with it.
    rules: Mapping[str, MarkRule]
    #: By name of the mark: what was read.
    old: Mapping[str, MarkValue]
    new: Mapping[str, MarkValue]
    listed: bool  #: Whether the compressor's maker lists the new one.
    defeated: str  #: Words that say there is no part at all, or a bridge in its place.


# -- what was read ------------------------------------------------------------------------------------------


def require_replaceable(machine: Machine, part: str) -> None:
    """
    Refuse a part that this machine does not have or that cannot be tried.

    Raises `Refused` if it is sealed in the shell, and `Unknown` if the machine has none.
    """
    names = [p.id for p in machine.parts if p.family.substitute is not None]
    if any(p.id == part and p.family.sealed for p in machine.parts):
        raise Refused(
            Message(
                "the {part} is sealed in the shell; nothing is put in its place",
                part=Message.of(part.replace("_", " ")),
            )
        )
    if part not in names:
        raise Unknown(
            Message("part of {arrangement} to replace", arrangement=machine.arrangement.id),
            part,
            (*names, ASSIST),
        )


def _tried(kind: Family | None) -> Substitute:
    """How a new part of a family is tried; of a start-assist where there is none."""
    if kind is None:
        assist = read_data("humclick.replacement", "substitute.toml")["assist"]
        return Substitute(
            example=assist["example"], essential=tuple(assist["essential"]), marks=tuple(assist["mark"])
        )
    return kind.substitute or Substitute("", ())


def is_starter(kind: Family | None) -> bool:
    """Whether it switches the start winding: start gear of its role, or a start-assist (None)."""
    return kind is None or kind.role is Role.STARTER


def essential_marks(kind: Family | None) -> tuple[str, ...]:
    """Marks without which nothing can be said of a part; None for a start-assist."""
    return _tried(kind).essential


def simulated_marks(kind: Family | None) -> tuple[str, ...]:
    """Marks whose value the simulation judges; None for a start-assist."""
    return _tried(kind).simulated


def rules_of(machine: Machine, part: str) -> dict[str, MarkRule]:
    """Marks of a part by name: those of its family and those that count only here."""
    kind = None if part == ASSIST else machine.part(part).family
    rules = list(family_rules(kind).marks) if kind else []
    rows = list(_tried(kind).marks)
    if is_starter(kind) and machine.protector == "integrated":
        rows += read_data("humclick.replacement", "substitute.toml")["integrated"]
    rules += [mark_rule(row, f"substitute.toml {part}.{row.get('name', '?')}") for row in rows]
    return {rule.name: rule for rule in rules}


def proposal_of(machine: Machine, part: str, new: Sequence[str], old: Sequence[str]) -> Proposal:
    """
    Read both parts.

    `part` is one whose family says how it is tried, or `ASSIST`; marks are kept apart by a semicolon. Raises
    `Refused` if nothing is said of the new part, or something is not understood.
    """
    rules = rules_of(machine, part)
    kind = None if part == ASSIST else machine.part(part).family
    if kind is None:
        data = read_data("humclick.replacement", "substitute.toml")["assist"]
        title, before = Message.of(data["title"]), Message.of(data["before"])
        never = tuple(
            rule for p in machine.parts if is_starter(p.family) for rule in family_rules(p.family).never
        )
    else:
        usual = family_rules(kind)
        title, before, never = usual.title, usual.before, usual.never
    pieces = [piece.strip() for text in new for piece in re.split(r"[;\n]", text) if piece.strip()]
    if not pieces:
        raise Refused(
            Message(
                "nothing is said of the new {title}; write its marks, such as: {kind}",
                title=title,
                kind=example(kind),
            )
        )
    listed, readable, defeated = False, [], ""
    for piece in pieces:
        label, colon, rest = piece.partition(":")
        word = label.strip().casefold()
        if colon and word == "listed":
            listed = rest.strip().casefold() in ("yes", "true")
        elif (not colon and not re.search(r"[0-9]", piece) and _DEFEATED.search(piece)) or (
            colon and word != "bleed resistor" and _DEFEATED.fullmatch(rest.strip())
        ):
            defeated = piece
        else:
            _readable(label, rest, rules)
            readable.append(piece)
    marks, left = read_marks(rules.values(), readable)
    if left:
        raise Refused(
            Message(
                "of the new {title} this is not understood: {left:semicolon}. Its marks are "
                "{rules}; write them such as: {kind}",
                title=title,
                left=tuple(left),
                rules=tuple(rules),
                kind=example(kind),
            )
        )
    had, _ = read_marks(rules.values(), old)
    for rule in rules.values():
        plate = plate_value(rule, machine)
        if plate is not None:
            had.setdefault(rule.name, plate)
    if "protector" in rules:
        had["protector"] = MarkValue(Message("yes"))
    return Proposal(part, kind, title, before, never, rules, had, marks, listed, defeated)


def _readable(label: str, rest: str, rules: Mapping[str, MarkRule]) -> None:
    """Refuse a label that is no mark, or a value that cannot be read; both would pass for a number."""
    if not rest.strip():
        return
    rule = mark_called(label, rules.values())
    if rule is None:
        raise Unknown(Message("mark"), label.strip(), (*rules, "listed"))
    value_of(rest, rule)


def example(kind: Family | None) -> str:
    """How the marks of a part are written; None for a start-assist."""
    return _tried(kind).example


def marks_text(marks: Mapping[str, MarkValue]) -> Message:
    """Marks in one line."""
    rows = (
        Message("{name} {value}", name=Message.of(name.replace("_", " ")), value=value.text)
        for name, value in marks.items()
    )
    return listed(rows, "semicolon")


def rating(marks: Mapping[str, MarkValue], kind: Family | None) -> float | None:
    """Rated volts of a capacitor, of two figures the higher. [V]"""
    value = marks.get("voltage") if kind is not None and "capacitance" in kind.sizes else None
    return None if value is None else value.high


# -- marks --------------------------------------------------------------------------------------------------


def marked(machine: Machine, proposal: Proposal) -> list[MatchLine]:
    """Marks compared; what the simulation judges is no better than acceptable outside the old range."""
    wanted = []
    for rule in proposal.rules.values():
        limit = getattr(machine.nameplate, rule.limit) if rule.limit else None
        if rule.needed or rule.name in proposal.old or rule.name in proposal.new:
            wanted.append(MarkDemand(rule, proposal.old.get(rule.name), limit))
    demand = PartDemand("", proposal.part, proposal.title, NOTHING, tuple(wanted), (), (), (), ())
    candidate: dict[str, object] = dict(proposal.new)
    if proposal.listed:
        candidate["listed"] = "yes"
    essential = essential_marks(proposal.kind)
    simulated = simulated_marks(proposal.kind)
    lines = []
    for line in match(demand, candidate).lines:
        if line.fit is MatchGrade.UNKNOWN and (line.name not in essential or _optional(line, proposal)):
            continue
        if line.fit is MatchGrade.NO and line.name in simulated and proposal.rules[line.name].limit == "":
            line = replace(
                line,
                fit=MatchGrade.ACCEPTABLE,
                reason=Message("{reason}; the simulation decides", reason=line.reason),
            )
        lines.append(line)
    if "protector" in proposal.rules and "protector" not in proposal.new:
        rule = proposal.rules["protector"]
        lines.append(
            MatchLine(
                rule.name,
                rule.title,
                Message("yes"),
                "",
                MatchGrade.UNKNOWN,
                Message("read it on the new part: {mark}", mark=rule.where),
            )
        )
    if proposal.kind is None:
        lines += _assist_lines(machine, proposal)
    return lines


def _optional(line: MatchLine, proposal: Proposal) -> bool:
    """A start-assist has no old part; a listed part needs no more than that it is listed."""
    if proposal.kind is None:
        return line.name in proposal.new
    return (proposal.listed and _tried(proposal.kind).proved) or (
        line.name in ("voltage", "coil_volts") and line.name in proposal.new
    )


def _assist_lines(machine: Machine, proposal: Proposal) -> list[MatchLine]:
    gear = machine.has(Role.STARTER)
    if proposal.listed:
        fit, why = MatchGrade.ACCEPTABLE, Message("the compressor's maker lists it for this compressor")
    elif gear is None:
        fit = MatchGrade.ACCEPTABLE
        why = Message("a part this machine was made without; ask whether the compressor's maker lists one")
    else:
        fit = MatchGrade.NO
        why = Message(
            "the {part} belongs to this compressor; only one its maker lists may replace it",
            part=gear.family.title,
        )
    answer = Message("yes") if proposal.listed else ""
    return [MatchLine("listed", Message("Listed by the compressor's maker"), "", answer, fit, why)]


def still_to_read(proposal: Proposal) -> tuple[MissingMark, ...]:
    """Marks not read, on either part, the essential ones first."""
    essential = essential_marks(proposal.kind)
    missing_marks = []
    for name, rule in proposal.rules.items():
        wanted = rule.needed or name in essential
        on_new = wanted and name not in proposal.new and not (proposal.listed and name == "number")
        on_old = (
            wanted
            and name not in proposal.old
            and proposal.kind is not None
            and not (proposal.listed and proposal.kind.role is Role.PROTECTOR)
        )
        if on_old or on_new:
            missing_marks.append(MissingMark(name, _on(rule.title, on_old, on_new), rule.where))
    return tuple(sorted(missing_marks, key=lambda mark: mark.name not in essential))


def _on(mark: Message, old: bool, new: bool) -> Message:
    """A mark, and on which of the two parts it is to be read."""
    if old and new:
        return Message("{mark} (old and new part)", mark=mark)
    return Message("{mark} (old part)", mark=mark) if old else Message("{mark} (new part)", mark=mark)
