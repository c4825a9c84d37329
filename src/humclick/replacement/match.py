"""
Match: would this part do? Line by line, from marks alone.

Five rules hold a new part's mark against the old one's:

======== ===================================================================================
same     the same words or figure
range    inside the old range: same; overlapping with its middle inside: acceptable
covers   the new range includes the old value or range
at_least not lower than the old one, in figures or in ranks
at_most  not higher
======== ===================================================================================

The data file says what a lower, a higher or another value comes to. A mark nobody read proves nothing: the
answer is then that it cannot be said yet. Nothing is simulated here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from humclick.errors import HumclickError, Unknown
from humclick.messages import N_, Message
from humclick.readings import parse_stamp
from humclick.replacement.demand import MarkDemand, PartDemand
from humclick.replacement.marks import MarkRule, MarkValue, value_of

__all__ = ["MatchGrade", "MatchLine", "MatchResult", "match", "worst"]

#: Two printed figures are the same within this share: half of the third digit. [-]
_PRINTED = 0.005


class MatchGrade(StrEnum):
    """How well a new part, or one mark of it, matches; the worst last."""

    SAME = "same"
    ACCEPTABLE = "acceptable with differences"
    UNKNOWN = "cannot say yet"
    NO = "no"


_WORST = {fit: rank for rank, fit in enumerate(MatchGrade)}
_FROM_DATA = {"no": MatchGrade.NO, "acceptable": MatchGrade.ACCEPTABLE}


@dataclass(frozen=True, slots=True)
class MatchLine:
    """One mark, or one thing simulated, compared."""

    name: str
    title: str
    #: On or with the old part and the new one, as text with units; empty if not known.
    old: str
    new: str
    fit: MatchGrade
    reason: str  #: Why, in one sentence.


@dataclass(frozen=True, slots=True)
class MatchResult:
    """Whether a new part would do."""

    fit: MatchGrade  #: The worst of all lines.
    lines: tuple[MatchLine, ...]  #: Mark by mark.


def match(demand: PartDemand, candidate: Mapping[str, object]) -> MatchResult:
    """
    Hold a candidate against a demand.

    The candidate has the marks of the new part by name: text as printed, a number in the mark's unit or a
    pair of numbers. ``stamp`` stands for the whole stamp of a capacitor, ``listed`` for "the compressor's
    maker lists it for this compressor". Raises `Unknown` for a mark this kind of part does not have, and
    `Refused` for a value that cannot be understood.
    """
    names = {mark.rule.name for mark in demand.marks}
    values = dict(candidate)
    optional = {"stamp", "listed"} if "capacitance" in names else {"listed"}
    for name in values:
        if name not in names | optional | set(demand.also):
            raise Unknown(Message("mark of a {title}", title=demand.title), name, sorted(names | optional))
    if "stamp" in values:
        stamp = parse_stamp(str(values.pop("stamp")))
        values.setdefault("capacitance", stamp.text)
        if stamp.volts is not None:
            values.setdefault("voltage", stamp.volts)
        if "sections" in names:
            values.setdefault("sections", max(1, len(stamp.sections)))
    listed = str(values.pop("listed", "")).strip().casefold() in ("yes", "true")
    lines = []
    for mark in demand.marks:
        line = _compared(mark, values, listed)
        if line is not None:
            lines.append(line)
    return MatchResult(worst(lines), tuple(lines))


def worst(lines: Iterable[MatchLine]) -> MatchGrade:
    """The worst of some lines; cannot say where there are none."""
    return max((line.fit for line in lines), key=lambda fit: _WORST[fit], default=MatchGrade.UNKNOWN)


def _compared(mark: MarkDemand, values: Mapping[str, object], listed: bool) -> MatchLine | None:
    rule, old = mark.rule, mark.value
    raw = values.get(rule.name)
    new = None if raw is None or str(raw).strip() == "" else value_of(raw, rule)

    def line(fit: MatchGrade, reason: Message) -> MatchLine:
        return MatchLine(rule.name, rule.title, old.text if old else "", new.text if new else "", fit, reason)

    if rule.unless and listed:
        return line(
            MatchGrade.SAME if old and new and _words(old, new, rule) else MatchGrade.ACCEPTABLE,
            Message.of(rule.why_unless),
        )
    if new is None:
        return line(MatchGrade.UNKNOWN, Message("read it on the new part: {mark}", mark=rule.title.small()))
    limit = _limit(mark, new)
    if limit is not None and (limit[0] is MatchGrade.NO or old is None):
        return line(*limit)
    if old is None:
        return line(MatchGrade.UNKNOWN, Message("not read on the old part: {where}", where=rule.where))
    try:
        fit, reason = _COMPARE[rule.rule](rule, old, new)
    except HumclickError as error:
        return line(MatchGrade.UNKNOWN, error.message)
    return line(fit, reason)


def _limit(mark: MarkDemand, new: MarkValue) -> tuple[MatchGrade, Message] | None:
    """A current relay's figure against the compressor's own current."""
    rule, limit = mark.rule, mark.limit
    if limit is None or new.low is None or new.high is None:
        return None
    fine = new.high < limit if rule.side == "below" else new.low > limit
    form = {
        "below": N_("below the plate's {limit:g} {unit}"),
        "above": N_("above the plate's {limit:g} {unit}"),
    }
    what = Message.of(form[rule.side], limit=limit, unit=rule.unit)
    if fine:
        return MatchGrade.ACCEPTABLE, Message(
            "it lies {where}; the old part's own figure was not read", where=what
        )
    return MatchGrade.NO, Message("it does not lie {where}, as it must for this compressor", where=what)


def _same(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[MatchGrade, Message]:
    alike = _words(old, new, rule) if old.low is None else _near(old, new, rule.tolerance)
    if alike:
        return MatchGrade.SAME, Message("the same")
    return _FROM_DATA[rule.other], Message.of(rule.why_other) if rule.why_other else Message("another value")


def _words(old: MarkValue, new: MarkValue, rule: MarkRule) -> bool:
    a, b = _plain(old.text), _plain(new.text)
    return a == b or any({a, b} <= {_plain(word) for word in words} for words in rule.accepts)


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace("-", " ").replace("_", " ").split())


def _ends(value: MarkValue) -> tuple[float, float]:
    return (
        value.low if value.low is not None else math.nan,
        value.high if value.high is not None else math.nan,
    )


def _near(old: MarkValue, new: MarkValue, percent: float) -> bool:
    share = max(percent / 100.0, _PRINTED)
    return all(abs(a - b) <= share * abs(a) for a, b in zip(_ends(old), _ends(new), strict=True))


def _range(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[MatchGrade, Message]:
    (low, high), (from_, to) = _ends(old), _ends(new)
    if old.single and low == high:
        low, high = low * (1 - rule.tolerance / 100), high * (1 + rule.tolerance / 100)
    slack = _PRINTED * high
    if low - slack <= from_ and to <= high + slack:
        return MatchGrade.SAME, Message("within the old part's range")
    middle = 0.5 * (from_ + to)
    if low - slack <= middle <= high + slack:
        return MatchGrade.ACCEPTABLE, Message("its middle lies in the old part's range, its ends do not")
    if from_ <= high < middle <= high * (1 + rule.over / 100):
        return MatchGrade.ACCEPTABLE, Message("slightly high, and the ranges overlap")
    if middle < low:
        return MatchGrade.NO, Message("below the old part's range")
    return MatchGrade.NO, Message("above the old part's range")


def _covers(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[MatchGrade, Message]:
    (low, high), (from_, to) = _ends(old), _ends(new)
    below, above = from_ * (1 - rule.tolerance / 100), to * (1 + rule.tolerance / 100)
    if min(from_, below) <= low and high <= max(to, above):
        return MatchGrade.SAME, Message("covers it")
    return MatchGrade.NO, Message("does not cover it")


def _at_least(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[MatchGrade, Message]:
    return _ranked(rule, old, new, lower="no", higher="acceptable")


def _at_most(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[MatchGrade, Message]:
    return _ranked(rule, old, new, lower="acceptable", higher="no")


def _ranked(
    rule: MarkRule, old: MarkValue, new: MarkValue, lower: str, higher: str
) -> tuple[MatchGrade, Message]:
    if rule.order:
        ranks = _ranks(rule, old, new)
        if ranks is None:
            return MatchGrade.UNKNOWN, Message(
                "these marks are not on one scale: {old}, {new}", old=old.text, new=new.text
            )
        a, b = ranks
    else:
        a, b = _ends(old)[1], _ends(new)[1]
        if _near(MarkValue("", a, a), MarkValue("", b, b), 0.0):
            b = a
    if b < a:
        return _FROM_DATA[rule.lower or lower], Message.of(rule.why_lower) or Message(
            "lower than the old part's {value}", value=old.text
        )
    if b > a:
        return _FROM_DATA[rule.higher or higher], Message.of(rule.why_higher) or Message(
            "higher than the old part's {value}", value=old.text
        )
    return MatchGrade.SAME, Message("the same")


def _ranks(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[float, float] | None:
    for ranks in rule.order:
        places = {_plain(name): float(k) for k, name in enumerate(ranks)}
        if _plain(old.text) in places and _plain(new.text) in places:
            return places[_plain(old.text)], places[_plain(new.text)]
    return None


_COMPARE = {"same": _same, "range": _range, "covers": _covers, "at_least": _at_least, "at_most": _at_most}
