"""
Demand: what a new part must match, what may differ, and what must never.

A remedy names the part to be replaced; the data file of its family says which marks count. Marks come from
what was read on the old part and from the nameplate; those still missing are listed with where to find them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from humclick.arrangements.machine import Machine
from humclick.errors import Refused
from humclick.messages import N_, Message, Verbatim
from humclick.parts.family import Family
from humclick.replacement.marks import (
    MarkRule,
    MarkValue,
    PartRules,
    Rule,
    borne,
    compressor_rules,
    family_rules,
    flammable_rules,
    plate_value,
    read_marks,
)

__all__ = ["COMPRESSOR", "MarkDemand", "MissingMark", "PartDemand", "demand", "demands", "replaced_parts"]

#: Stands for everything sealed in the shell.
COMPRESSOR = "compressor"

#: Remedies that buy something though their name does not begin with "replace".
_BUYS = ("restore supply",)

#: What is asked while the old part's mark is not read, by rule.
_UNREAD = {
    "same": Message("Not read yet: the same as the old part"),
    "range": Message("Not read yet: within the old part's range"),
    "covers": Message("Not read yet: it must cover the old part's"),
    "at_least": Message("Not read yet: no less than on the old part"),
    "at_most": Message("Not read yet: no more than on the old part"),
}

#: What the nameplate calls the limit of a current relay.
_LIMITS = {
    "locked_rotor_amps": N_("the locked-rotor amps (LRA) on the compressor's plate decide, or {where}"),
    "rated_load_amps": N_("the running amps (RLA) on the compressor's plate decide, or {where}"),
}


@dataclass(frozen=True, slots=True)
class MarkDemand:
    """One mark a new part is held against."""

    rule: MarkRule  #: Which mark, and how strictly.
    value: MarkValue | None = None  #: On the old part; None if not read.
    #: Nameplate figure the new part's value must lie below or above. [the mark's unit]
    limit: float | None = None

    @property
    def text(self) -> Message:
        """What is asked of the new part, in words."""
        if self.value is None and not self.rule.limit:
            return _UNREAD[self.rule.rule]
        listed_figure = Message("the figure listed for this compressor")
        value = self.value.text if self.value is not None else listed_figure
        text = Message.of(self.rule.must, value=value)
        if self.limit is not None:
            text = Message("{must} ({limit:g} {unit})", must=text, limit=self.limit, unit=self.rule.unit)
        return text.capital()


@dataclass(frozen=True, slots=True)
class MissingMark:
    """A mark not read yet: what it is called, and what to do."""

    name: str
    title: Message
    where: Message

    @property
    def text(self) -> Message:
        """The request in one sentence."""
        return Message(
            "read this mark on the old part: {title} – {where}", title=self.title.small(), where=self.where
        )


@dataclass(frozen=True, slots=True)
class PartDemand:
    """What to ask for at the counter, for one part."""

    #: Remedy, part of the machine, and the trade's name.
    remedy: str
    part: str
    title: Message
    before: Message  #: What comes before touching the old one.
    marks: tuple[MarkDemand, ...]  #: Marks the new one must match.
    #: What may differ, and what never.
    may: tuple[Rule, ...]
    never: tuple[Rule, ...]
    missing: tuple[MissingMark, ...]  #: Marks still to be read.
    noted: tuple[str, ...]  #: What was written down of the old part and belongs to no mark, word for word.
    also: tuple[str, ...] = ()  #: Marks this kind of part may have that were not read and are not needed.


def replaced_parts(machine: Machine, remedy: str) -> tuple[str, ...]:
    """
    Names of the parts a remedy replaces, the one bought first; empty where nothing is bought.

    ``replace compressor`` replaces `COMPRESSOR`. A protector built into the starter goes with the starter.
    """
    if not (remedy.startswith("replace ") or remedy in _BUYS):
        return ()
    replaced = []
    for placed in machine.parts:
        if remedy in {placed.remedy(mode) for mode in placed.family.modes}:
            if placed.family.sealed:
                return (COMPRESSOR,)
            replaced.append(placed)
    replaced.sort(key=lambda placed: bool(placed.remedies))
    return tuple(placed.id for placed in replaced)


def demand(machine: Machine, remedy: str, stamps: Mapping[str, Sequence[str]]) -> PartDemand:
    """
    What a remedy's new part must match.

    `stamps` are what was read on the old parts, word for word, in order (see
    `humclick.replacement.marks.read_marks`). Raises `Refused` if the remedy, such as ``replace start
    capacitor``, buys no part on this machine.
    """
    parts = replaced_parts(machine, remedy)
    if not parts:
        raise Refused(
            Message(
                "{remedy} needs no new part on this machine; ask for a remedy that replaces something",
                remedy=Verbatim(repr(remedy)),
            )
        )
    if parts == (COMPRESSOR,):
        return _put_together(machine, remedy, COMPRESSOR, compressor_rules(), stamps.get(COMPRESSOR, ()))
    rules = family_rules(machine.part(parts[0]).family)
    texts = list(stamps.get(parts[0], ()))
    for built_in in parts[1:]:
        rules = _joined(rules, machine.part(built_in).family)
        texts += stamps.get(built_in, ())
    sparks = any(machine.part(part).family.sparks for part in parts)
    return _put_together(machine, remedy, parts[0], rules, texts, sparks=sparks)


def demands(
    machine: Machine, remedies: Iterable[str], stamps: Mapping[str, Sequence[str]]
) -> tuple[PartDemand, ...]:
    """One demand for every remedy that buys a part, in order."""
    return tuple(demand(machine, remedy, stamps) for remedy in remedies if replaced_parts(machine, remedy))


def _joined(rules: PartRules, built_in: Family) -> PartRules:
    """The rules of a part with another one built into it; of two marks under one name the first counts."""
    inner = family_rules(built_in)
    have = {mark.name for mark in rules.marks}
    return PartRules(
        Message("{part} with {other}", part=rules.title, other=inner.title),
        rules.before or inner.before,
        (*rules.marks, *(mark for mark in inner.marks if mark.name not in have)),
        rules.may,
        tuple(dict.fromkeys((*rules.never, *inner.never))),
    )


def _put_together(
    machine: Machine,
    remedy: str,
    part: str,
    rules: PartRules,
    texts: Iterable[str],
    *,
    sparks: bool = False,
) -> PartDemand:
    burning = flammable_rules(machine.nameplate.refrigerant) if sparks else None
    rules = replace(rules, marks=tuple(rule for rule in rules.marks if borne(rule, machine)))
    marks = (*rules.marks, *([burning[0]] if burning else []))
    read, noted = read_marks(marks, texts)
    wanted, missing = [], []
    for rule in rules.marks:
        value = read.get(rule.name) or plate_value(rule, machine)
        limit = getattr(machine.nameplate, rule.limit) if rule.limit else None
        if rule.needed or value is not None:
            wanted.append(MarkDemand(rule, value, limit))
        if rule.limit and limit is None and value is None:
            where = Message.of(_LIMITS[rule.limit], where=rule.where)
            missing.append(MissingMark(rule.name, rule.title, where))
        elif rule.needed and value is None and limit is None:
            missing.append(MissingMark(rule.name, rule.title, rule.where))
    if burning:  # whatever the old one was: it may have been the wrong one
        wanted.insert(0, MarkDemand(burning[0], plate_value(burning[0], machine)))
    return PartDemand(
        remedy=remedy,
        part=part,
        title=rules.title,
        before=rules.before,
        marks=tuple(wanted),
        may=rules.may,
        never=(*rules.never, *([burning[1]] if burning else [])),
        missing=tuple(missing),
        noted=noted,
        also=tuple(rule.name for rule in rules.marks if rule.name not in {mark.rule.name for mark in wanted}),
    )
