"""
Marks: what a part says of itself, read from what stands on it.

A mark has a value in words and, where it is a quantity, from where to where it goes. The tables of marks
stand in the data file of each part family under ``[match]``, those of a compressor in ``compressor.toml``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from humclick.arrangements.arrangement import PROTECTORS
from humclick.arrangements.machine import Machine
from humclick.errors import DataError, HumclickError, Refused
from humclick.messages import NOTHING, Message, Verbatim, listed
from humclick.parts.family import Family
from humclick.readings import Stamp, parse_stamp
from humclick.safety import flammable, safety_class
from humclick.sourced import read_data, sourced

__all__ = [
    "RULES",
    "MarkRule",
    "MarkValue",
    "PartRules",
    "Rule",
    "borne",
    "compressor_rules",
    "family_rules",
    "flammable_rules",
    "mark_called",
    "mark_rule",
    "plate_value",
    "read_marks",
    "value_of",
]

#: How a new part's mark is held against the old one's; see `humclick.replacement.match`.
RULES = ("same", "range", "covers", "at_least", "at_most")

#: Spellings of a unit and how many of the unit each is. 25.4 mm = 1 inch exactly (ISO 80000-3).
_SPELLED: Mapping[str, Mapping[str, float]] = {
    "V": {"v": 1, "vac": 1, "volt": 1, "volts": 1, "v~": 1, "kv": 1000},
    "A": {"a": 1, "amp": 1, "amps": 1, "ampere": 1, "amperes": 1, "ma": 0.001},
    "Ω": {"ω": 1, "ohm": 1, "ohms": 1, "r": 1, "kω": 1000, "kohm": 1000, "k": 1000},
    "Hz": {"hz": 1, "cps": 1, "~": 1},
    "hp": {"hp": 1},
    "cm³": {"cm³": 1, "cm3": 1, "cc": 1, "ccm": 1},
    "mm²": {"mm²": 1, "mm2": 1, "sqmm": 1},
    "m": {"m": 1, "cm": 0.01, "in": 0.0254, "ft": 0.3048},
    "mm": {"mm": 1, "in": 25.4, '"': 25.4},
    "°C": {"°c": 1, "c": 1, "°f": 1, "f": 1},
    "-": {"": 1, "~": 1, "ph": 1, "phase": 1, "phases": 1},
}
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?(?: ?/ ?[0-9]+)?"
_AMOUNT = re.compile(
    rf"(?:max\.?|up to|about)? ?([+-]?{_NUMBER})(?: ?(?:-|to|\.\.\.) ?([+-]?{_NUMBER}))? ?([^0-9]*)", re.I
)
_CODE = re.compile(r"(?<![A-Za-z0-9])([PS][0-3])(?![A-Za-z0-9])")
_DASHES = str.maketrans({"−": "-", "–": "-", "—": "-", "…": "-", "\u2126": "Ω", "\u03bc": "\u00b5"})


@dataclass(frozen=True, slots=True)
class MarkValue:
    """The value of one mark."""

    text: str  #: As people read it.
    #: Range, for a quantity; equal for a single value. [the mark's unit]
    low: float | None = None
    high: float | None = None
    single: bool = True  #: Whether one value was given, not a range.


@dataclass(frozen=True, slots=True)
class Rule:
    """Something that may or must never be, and where that comes from."""

    text: Message
    source: str


@dataclass(frozen=True, slots=True)
class MarkRule:
    """One mark of a kind of part and how strictly a new part must match it."""

    #: Short name, and words.
    name: str
    title: Message
    where: Message  #: Where to find it on the old part.
    must: Message  #: What is asked of the new part; ``{value}`` stands for the old part's value.
    source: str  #: Where the rule comes from.
    rule: str = "same"  #: One of `RULES`.
    unit: str = ""  #: Unit of the value; ``F`` for a capacitor's stamp, ``-`` for a count, empty for words.
    needed: bool = True  #: Whether the part cannot be ordered without it.
    #: Value that is the same for every part of the kind; field of the nameplate it is taken from.
    fixed: str = ""
    plate: str = ""
    order: tuple[tuple[str, ...], ...] = ()  #: Ranks, the lowest first, for values that are not numbers.
    accepts: tuple[tuple[str, ...], ...] = ()  #: Spellings that mean the same.
    tolerance: float = 0.0  #: How far a single value may be off. [%]
    over: float = 0.0  #: How far above the old range the middle of an overlapping one may still lie. [%]
    #: Field of the nameplate the value must lie ``below`` or ``above``.
    limit: str = ""
    side: str = ""
    #: Outcome of a lower, a higher or another value: ``no`` or ``acceptable``.
    lower: str = ""
    higher: str = ""
    other: str = "no"
    #: The reason or the condition.
    why_lower: str = ""
    why_higher: str = ""
    why_other: str = ""
    #: Mark of the new part which, if ``yes``, makes another value acceptable.
    unless: str = ""
    why_unless: str = ""
    capacitor: str = ""  #: ``start`` or ``run``, for a stamp: which tolerance a bare value has.


@dataclass(frozen=True, slots=True)
class PartRules:
    """Everything the data file says about replacing one kind of part."""

    title: Message  #: The trade's name of the part.
    before: Message = NOTHING  #: What comes before touching the old one; empty if nothing special.
    marks: tuple[MarkRule, ...] = ()  #: Marks the new one must match.
    #: What may differ, and what never.
    may: tuple[Rule, ...] = ()
    never: tuple[Rule, ...] = ()


def mark_rule(row: Mapping[str, Any], where: str) -> MarkRule:
    """The rule in one row of a data file."""
    try:
        rule = str(row["rule"])
        if rule not in RULES:
            raise DataError(f"{where}: rule must be one of {', '.join(RULES)}, got {rule!r}")
        shares: dict[str, Any] = {
            key: sourced(row[key], f"{where} {key}").value for key in ("tolerance", "over") if key in row
        }
        texts = ("unit", "fixed", "side", "lower", "higher", "other", "why_lower", "why_higher", "why_other")
        fields: dict[str, Any] = {
            key: str(row[key]) for key in (*texts, "unless", "why_unless", "capacitor") if key in row
        }
        accepts = tuple(tuple(same) for same in row.get("accepts_as", ()))
        if "accepts" in row:
            accepts = (*accepts, tuple(row["accepts"]))
        return MarkRule(
            name=str(row["name"]),
            title=Message.of(row["title"]),
            where=Message.of(row["where"]),
            must=Message.of(row["must"]),
            source=str(row["source"]),
            rule=rule,
            needed=bool(row.get("needed", True)),
            plate=str(row.get("from", "")),
            limit=str(row.get("plate", "")),
            order=tuple(tuple(ranks) for ranks in row.get("order", ())),
            accepts=accepts,
            **shares,
            **fields,
        )
    except KeyError as error:
        raise DataError(f"{where}: needs {error}") from error


def _rules(title: Message, table: Mapping[str, Any], where: str) -> PartRules:
    def texts(key: str) -> tuple[Rule, ...]:
        return tuple(Rule(Message.of(row["text"]), str(row["source"])) for row in table.get(key, ()))

    marks = tuple(mark_rule(row, f"{where}.{row.get('name', '?')}") for row in table.get("mark", ()))
    return PartRules(title, Message.of(table.get("before", "")), marks, texts("may"), texts("never"))


def family_rules(family: Family) -> PartRules:
    """What the data file of a part family says about replacing it; without marks where it is never bought."""
    return _rules(family.title, family.match, f"{family.name}.match")


def compressor_rules() -> PartRules:
    """What must match where the compressor itself is replaced, from ``compressor.toml``."""
    data = read_data("humclick.replacement", "compressor.toml")
    return _rules(Message.of(data["title"]), data["match"], "compressor.match")


def flammable_rules(refrigerant: str) -> tuple[MarkRule, Rule] | None:
    """
    What a part that sparks must be new, and never, because a flammable refrigerant may leak beside it.

    None where the refrigerant of the nameplate does not burn; one not known is taken as flammable. From
    ``flammable.toml``.
    """
    data = read_data("humclick.replacement", "flammable.toml")
    if not flammable(refrigerant):
        return None
    row = data["mark"] if safety_class(refrigerant) is not None else {**data["mark"], **data["unknown"]}
    return mark_rule(row, "flammable.mark"), Rule(
        Message.of(data["never"]["text"]), str(data["never"]["source"])
    )


# -- values -------------------------------------------------------------------------------------------------


def value_of(printed: object, rule: MarkRule) -> MarkValue:
    """
    Understand a mark's value.

    As printed, such as ``180-195 V``, ``1/4 hp`` or ``88-108 MFD``, a number in the mark's unit, or a pair of
    numbers. Raises `Refused` if it cannot be understood as this mark.
    """
    if isinstance(printed, MarkValue):
        return printed
    if isinstance(printed, bool):
        printed = "yes" if printed else "no"
    if isinstance(printed, int | float):
        return _from_numbers(float(printed), float(printed), rule)
    if isinstance(printed, tuple | list):
        if len(printed) != 2 or not all(isinstance(x, int | float) for x in printed):
            raise Refused(
                Message(
                    "{title}: a range is two numbers, got {printed}",
                    title=rule.title,
                    printed=Verbatim(repr(printed)),
                )
            )
        return _from_numbers(float(printed[0]), float(printed[1]), rule)
    text = " ".join(str(printed).split())
    if not text:
        raise Refused(Message("{title}: nothing is given; {where}", title=rule.title, where=rule.where))
    if not rule.unit:
        return MarkValue(text)
    if rule.unit == "F":
        return _from_stamp(parse_stamp(text), rule)
    return _amount(text, rule)


def _from_numbers(low: float, high: float, rule: MarkRule) -> MarkValue:
    if not (math.isfinite(low) and math.isfinite(high) and low <= high):
        raise Refused(
            Message(
                "{title}: a range goes from low to high, got {low:g} to {high:g}",
                title=rule.title,
                low=low,
                high=high,
            )
        )
    if not rule.unit:
        return MarkValue(f"{low:g}" if low == high else Message("{low:g} to {high:g}", low=low, high=high))
    return MarkValue(_range_text(low, high, rule.unit), low, high, low == high)


def _from_stamp(stamp: Stamp, rule: MarkRule) -> MarkValue:
    low, high = stamp.limits("start" if rule.capacitor == "start" else "run")
    text: str = _range_text(low, high, "F")
    if stamp.sections:
        text = listed((f"{_micro(s.nominal or s.low)} µF" for s in stamp.sections), "and")
    elif stamp.nominal is not None:
        text = Message("{nominal} ({range})", nominal=f"{_micro(stamp.nominal)} µF", range=text)
    return MarkValue(text, low, high, stamp.nominal is not None)


def _micro(farads: float) -> str:
    return f"{farads * 1e6:.4g}"


def _range_text(low: float, high: float, unit: str) -> str:
    if unit == "F":
        ends, tail = (_micro(low), _micro(high)), " µF"
    else:
        ends, tail = (f"{low:.4g}", f"{high:.4g}"), "" if unit == "-" else f" {unit}"
    if low == high:
        return ends[0] + tail
    return Message("{low} to {high}", low=ends[0], high=ends[1] + tail)


def _plain_number(text: str) -> float:
    whole, _, under = text.replace(" ", "").partition("/")
    top = float(whole.replace(",", "."))
    if under and float(under) == 0:
        raise Refused(Message("{text} divides by zero", text=Verbatim(repr(text))))
    return top / float(under) if under else top


def _amount(text: str, rule: MarkRule) -> MarkValue:
    plain = text.translate(_DASHES).strip()
    write = Message(
        "write {title} as a number or a range in {unit}, such as 10 or 10-12",
        title=Message.of(rule.title).small(),
        unit=rule.unit,
    )
    if rule.unit != "hp":  # 110/125 V names two supplies, 50/60 Hz two frequencies: a range that covers both
        plain = re.sub(rf"({_NUMBER.split('(?: ?/')[0]}) ?/ ?", r"\1-", plain)
    if rule.unit == "Ω" and (letter := re.fullmatch(r"([0-9]+)[RrΩ]([0-9]+)", plain)):
        plain = f"{letter[1]}.{letter[2]} ohm"
    match = _AMOUNT.fullmatch(plain)
    if match is None:
        raise Refused(Message("{text} is not understood; {write}", text=Verbatim(repr(text)), write=write))
    unit = match[3].strip().rstrip(".").casefold().replace(" ", "")
    spelled = _SPELLED.get(rule.unit, {rule.unit.casefold(): 1.0})
    if unit and unit not in spelled:
        raise Refused(
            Message(
                "{text}: {match} is not a unit of this mark; {write}",
                text=Verbatim(repr(text)),
                match=Verbatim(repr(match[3].strip())),
                write=write,
            )
        )
    times = spelled.get(unit, 1.0) if unit else 1.0
    values = [_plain_number(run) * times for run in match.groups()[:2] if run is not None]
    if unit in ("°f", "f") and rule.unit == "°C":
        values = [(value - 32.0) * 5.0 / 9.0 for value in values]
    low, high = min(values), max(values)
    if not math.isfinite(high):
        raise Refused(Message("{text} is too large; {write}", text=Verbatim(repr(text)), write=write))
    return MarkValue(_range_text(low, high, rule.unit), low, high, low == high)


# -- reading the old part -----------------------------------------------------------------------------------


def read_marks(
    rules: Iterable[MarkRule], texts: Iterable[str]
) -> tuple[dict[str, MarkValue], tuple[str, ...]]:
    """
    Marks of an old part from what was written down of it.

    Such as a capacitor's stamp, ``pick-up: 180-195 V; position: arrow up``, or a bare number of the part; a
    later text counts over an earlier one. Gives the values by name of the mark, and every text that no mark
    could use, word for word.
    """
    known = {rule.name: rule for rule in rules}
    values: dict[str, MarkValue] = {}
    left: list[str] = []
    for text in texts:
        for piece in re.split(r"[;\n]", text):
            piece = " ".join(piece.split())
            if piece and not (_read_label(piece, known, values) or _bare(piece, known, values)):
                left.append(piece)
    return values, tuple(left)


def _word(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "", text.casefold())


def mark_called(label: str, rules: Iterable[MarkRule]) -> MarkRule | None:
    """The mark that is called so, by its name or its title; None where there is none."""
    word = _word(label)
    return next((rule for rule in rules if word in (_word(rule.name), _word(rule.title))), None)


def _read_label(piece: str, known: Mapping[str, MarkRule], values: dict[str, MarkValue]) -> bool:
    label, mark, rest = piece.partition(":") if ":" in piece else piece.partition("=")
    rule = mark_called(label, known.values()) if mark else None
    if rule is None:
        return False
    try:
        values[rule.name] = value_of(rest, rule)
    except HumclickError:
        return False
    return True


def _bare(piece: str, known: Mapping[str, MarkRule], values: dict[str, MarkValue]) -> bool:
    """A text without a label: the stamp of a capacitor, or the number of another part."""
    if "capacitance" not in known:
        if "number" in known and "number" not in values:
            values["number"] = MarkValue(piece)
            return True
        return False
    codes = _CODE.findall(piece) if "protection" in known else []
    try:
        stamp = parse_stamp(_CODE.sub(" ", piece).strip())
    except HumclickError:
        return False
    values["capacitance"] = _from_stamp(stamp, known["capacitance"])
    if stamp.volts is not None:
        values["voltage"] = _from_numbers(stamp.volts, stamp.volts, known["voltage"])
    if codes:
        values["protection"] = MarkValue(codes[0])
    if "sections" in known:
        count = float(max(1, len(stamp.sections)))
        values["sections"] = _from_numbers(count, count, known["sections"])
    return True


def plate_value(rule: MarkRule, machine: Machine) -> MarkValue | None:
    """The value of a mark that the machine itself gives, or None."""
    if rule.fixed:
        return value_of(rule.fixed, rule)
    match rule.plate:
        case "":
            return None
        case "arrangement":
            return None if machine.also else MarkValue(machine.arrangement.title)
        case "protector":
            return MarkValue(PROTECTORS[machine.protector])
        case "phases":
            return value_of(str(machine.arrangement.frame.phases), rule)
        case name:
            value = getattr(machine.nameplate, name)
            return None if value in (None, "") else value_of(value, rule)


def borne(rule: MarkRule, machine: Machine) -> bool:
    """Whether parts of a machine bear a mark: none is made for a frequency, or for phases, on dc."""
    around = machine.arrangement.frame
    return (rule.plate != "hertz" or around.alternates) and (rule.plate != "phases" or around.phases > 0)
