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
from humclick.replacement.demand import Asked, PartDemand
from humclick.replacement.marks import MarkRule, MarkValue, value_of

__all__ = ["Fit", "MatchLine", "MatchResult", "match", "worst"]

#: Two printed figures are the same within this share: half of the third digit. [-]
_PRINTED = 0.005


class Fit(StrEnum):
    """How well a new part, or one mark of it, matches; the worst last."""

    SAME = "same"
    ACCEPTABLE = "acceptable with differences"
    UNKNOWN = "cannot say yet"
    NO = "no"


_WORST = {fit: rank for rank, fit in enumerate(Fit)}
_FROM_DATA = {"no": Fit.NO, "acceptable": Fit.ACCEPTABLE}


@dataclass(frozen=True, slots=True)
class MatchLine:
    """
    One mark, or one thing simulated, compared.

    Attributes
    ----------
    name, title : str
        Which.
    old, new : str
        On or with the old part and the new one, as text with units; empty if not known.
    fit : Fit
        How well they match.
    reason : str
        Why, in one sentence.
    """

    name: str
    title: str
    old: str
    new: str
    fit: Fit
    reason: str


@dataclass(frozen=True, slots=True)
class MatchResult:
    """
    Whether a new part would do.

    Attributes
    ----------
    fit : Fit
        The worst of all lines.
    lines : tuple of MatchLine
        Mark by mark.
    """

    fit: Fit
    lines: tuple[MatchLine, ...]


def match(demand: PartDemand, candidate: Mapping[str, object]) -> MatchResult:
    """
    Hold a candidate against a demand.

    Parameters
    ----------
    demand : PartDemand
        What is asked.
    candidate : mapping of mark to value
        Marks of the new part by name: text as printed, a number in the mark's unit or a pair of numbers.
        ``stamp`` stands for the whole stamp of a capacitor, ``listed`` for "the compressor's maker lists it
        for this compressor".

    Raises
    ------
    Unknown
        If the candidate has a mark this kind of part does not have.
    Refused
        If a value cannot be understood.
    """
    names = {asked.rule.name for asked in demand.asked}
    given = dict(candidate)
    optional = {"stamp", "listed"} if "capacitance" in names else {"listed"}
    for name in given:
        if name not in names | optional | set(demand.also):
            raise Unknown(f"mark of a {demand.title}", name, sorted(names | optional))
    if "stamp" in given:
        stamp = parse_stamp(str(given.pop("stamp")))
        given.setdefault("capacitance", stamp.text)
        if stamp.volts is not None:
            given.setdefault("voltage", stamp.volts)
        if "sections" in names:
            given.setdefault("sections", max(1, len(stamp.sections)))
    listed = str(given.pop("listed", "")).strip().casefold() in ("yes", "true")
    lines = []
    for asked in demand.asked:
        line = _compared(asked, given, listed)
        if line is not None:
            lines.append(line)
    return MatchResult(worst(lines), tuple(lines))


def worst(lines: Iterable[MatchLine]) -> Fit:
    """The worst of some lines; cannot say where there are none."""
    return max((line.fit for line in lines), key=lambda fit: _WORST[fit], default=Fit.UNKNOWN)


def _compared(asked: Asked, given: Mapping[str, object], listed: bool) -> MatchLine | None:
    rule, old = asked.rule, asked.value
    raw = given.get(rule.name)
    new = None if raw is None or str(raw).strip() == "" else value_of(raw, rule)

    def line(fit: Fit, reason: Message) -> MatchLine:
        return MatchLine(rule.name, rule.title, old.text if old else "", new.text if new else "", fit, reason)

    if rule.unless and listed:
        return line(
            Fit.SAME if old and new and _words(old, new, rule) else Fit.ACCEPTABLE,
            Message.of(rule.why_unless),
        )
    if new is None:
        return line(Fit.UNKNOWN, Message("read it on the new part: {mark}", mark=rule.title.small()))
    limit = _limit(asked, new)
    if limit is not None and (limit[0] is Fit.NO or old is None):
        return line(*limit)
    if old is None:
        return line(Fit.UNKNOWN, Message("not read on the old part: {where}", where=rule.where))
    try:
        fit, reason = _COMPARE[rule.rule](rule, old, new)
    except HumclickError as error:
        return line(Fit.UNKNOWN, error.message)
    return line(fit, reason)


def _limit(asked: Asked, new: MarkValue) -> tuple[Fit, Message] | None:
    """A current relay's figure against the compressor's own current."""
    rule, limit = asked.rule, asked.limit
    if limit is None or new.low is None or new.high is None:
        return None
    fine = new.high < limit if rule.side == "below" else new.low > limit
    form = {
        "below": N_("below the plate's {limit:g} {unit}"),
        "above": N_("above the plate's {limit:g} {unit}"),
    }
    what = Message.of(form[rule.side], limit=limit, unit=rule.unit)
    if fine:
        return Fit.ACCEPTABLE, Message("it lies {where}; the old part's own figure was not read", where=what)
    return Fit.NO, Message("it does not lie {where}, as it must for this compressor", where=what)


def _same(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[Fit, Message]:
    alike = _words(old, new, rule) if old.low is None else _near(old, new, rule.tolerance)
    if alike:
        return Fit.SAME, Message("the same")
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


def _range(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[Fit, Message]:
    (low, high), (from_, to) = _ends(old), _ends(new)
    if old.single and low == high:
        low, high = low * (1 - rule.tolerance / 100), high * (1 + rule.tolerance / 100)
    slack = _PRINTED * high
    if low - slack <= from_ and to <= high + slack:
        return Fit.SAME, Message("within the old part's range")
    middle = 0.5 * (from_ + to)
    if low - slack <= middle <= high + slack:
        return Fit.ACCEPTABLE, Message("its middle lies in the old part's range, its ends do not")
    if from_ <= high < middle <= high * (1 + rule.over / 100):
        return Fit.ACCEPTABLE, Message("slightly high, and the ranges overlap")
    if middle < low:
        return Fit.NO, Message("below the old part's range")
    return Fit.NO, Message("above the old part's range")


def _covers(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[Fit, Message]:
    (low, high), (from_, to) = _ends(old), _ends(new)
    below, above = from_ * (1 - rule.tolerance / 100), to * (1 + rule.tolerance / 100)
    if min(from_, below) <= low and high <= max(to, above):
        return Fit.SAME, Message("covers it")
    return Fit.NO, Message("does not cover it")


def _at_least(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[Fit, Message]:
    return _ranked(rule, old, new, lower="no", higher="acceptable")


def _at_most(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[Fit, Message]:
    return _ranked(rule, old, new, lower="acceptable", higher="no")


def _ranked(rule: MarkRule, old: MarkValue, new: MarkValue, lower: str, higher: str) -> tuple[Fit, Message]:
    if rule.order:
        found = _ranks(rule, old, new)
        if found is None:
            return Fit.UNKNOWN, Message(
                "these marks are not on one scale: {old}, {new}", old=old.text, new=new.text
            )
        a, b = found
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
    return Fit.SAME, Message("the same")


def _ranks(rule: MarkRule, old: MarkValue, new: MarkValue) -> tuple[float, float] | None:
    for ranks in rule.order:
        places = {_plain(name): float(k) for k, name in enumerate(ranks)}
        if _plain(old.text) in places and _plain(new.text) in places:
            return places[_plain(old.text)], places[_plain(new.text)]
    return None


_COMPARE = {"same": _same, "range": _range, "covers": _covers, "at_least": _at_least, "at_most": _at_most}
