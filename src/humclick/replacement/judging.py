"""Judging: two trials held against each other, finding by finding, by the limits in substitute.toml."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humclick.messages import N_, Message
from humclick.parts.family import Family, Role
from humclick.replacement.match import MatchGrade, MatchLine
from humclick.replacement.trials import PartTrial, TrialCondition, number, trial_conditions

__all__ = ["StartsAt", "findings_of", "starts_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StartsAt:
    """Starts at one condition."""

    condition: TrialCondition
    #: Share of the possible machines that start with either part. [-]
    old: float
    new: float
    lost: float  #: Share by which fewer start with the new part; 0 where as many or more do. [-]


def starts_of(old: PartTrial, new: PartTrial) -> tuple[StartsAt, ...]:
    """Starts at each condition with either part."""
    return tuple(
        StartsAt(
            condition,
            float(old.started[k].mean()),
            float(new.started[k].mean()),
            max(0.0, float(old.started[k].mean() - new.started[k].mean())),
        )
        for k, condition in enumerate(trial_conditions())
    )


def _grade(name: str, value: float) -> MatchGrade:
    """By the two limits of a difference; infinite or unknown is the worst."""
    if math.isnan(value) or value > number("limit", name, "not"):
        return MatchGrade.NO
    return MatchGrade.SAME if value <= number("limit", name, "same") else MatchGrade.ACCEPTABLE


def _percent(share: float) -> str:
    return f"{share:.0%}".replace("%", " %")


def _middle(values: Array) -> float:
    """Median, "never" among the values; NaN where there are none."""
    ordered = np.sort(values[~np.isnan(values)])
    return float(ordered[len(ordered) // 2]) if len(ordered) else math.nan


def _value(value: float, unit: str) -> str:
    if math.isnan(value):
        return "-"
    return Message("never") if math.isinf(value) else f"{value:.3g} {unit}"


def findings_of(
    kind: Family | None,
    plate: float,
    old: PartTrial,
    new: PartTrial,
    old_rating: float | None,
    new_rating: float | None,
) -> tuple[MatchLine, ...]:
    """
    Everything two trials differ in.

    Both are of the same possible machines; `plate` and the ratings are volts. [V] `kind` is None for a
    start-assist.
    """
    role = kind.role if kind else None
    lines = [
        _starts(old, new),
        *_least_volts(plate, old, new),
        _release(old, new),
        _unreleased(old, new),
        _heat(old, new),
        _hottest(
            "start_hottest",
            Message("Start winding, rotor locked"),
            old.locked_hottest,
            new.locked_hottest,
            Message("until the protector opens"),
        ),
        _warmth(old, new),
        _stress("start_volts", "stress", old, new, old_rating, new_rating, role is Role.START_CAPACITOR),
        _stress("run_volts", "run_stress", old, new, old_rating, new_rating, role is Role.RUN_CAPACITOR),
        _running(old, new) if role is Role.RUN_CAPACITOR else None,
        _locked(role, old, new),
        _nuisance(old, new),
    ]
    return tuple(line for line in lines if line is not None)


def _starts(old: PartTrial, new: PartTrial) -> MatchLine:
    at = starts_of(old, new)
    worst = max(at, key=lambda row: row.lost)
    gained = float(new.started.mean() - old.started.mean())
    fit = _grade("lost", worst.lost)
    if fit is not MatchGrade.SAME:
        share = _percent(worst.lost)
        why = Message(
            "{share} fewer machines start at {condition}", share=share, condition=worst.condition.text
        )
    elif gained > 0.01:
        more = _percent(gained)
        why = Message("it starts where the old one did, and {share} more attempts succeed", share=more)
    else:
        why = Message("it starts where the old one did")
    before, after = (_percent(float(trial.started.mean())) for trial in (old, new))
    return MatchLine("starts", Message("Starts"), before, after, fit, why)


def _least_volts(plate: float, old: PartTrial, new: PartTrial) -> Iterable[MatchLine]:
    titles = (
        Message("Least volts, cold, pressures equal"),
        Message("Least volts, hot, pressures partly equal"),
    )
    for k, title in enumerate(titles):
        a, b = old.least_volts[k], new.least_volts[k]
        both = np.isfinite(a) & np.isfinite(b)
        change = float(np.median(b[both] - a[both])) / plate if both.any() else 0.0
        if np.isfinite(a).any() and not np.isfinite(b).any():
            change = math.inf
        fit = _grade("least_volts", change)
        if abs(change) <= number("limit", "least_volts", "same"):
            why = Message("as with the old one")
        elif math.isinf(change):
            why = Message("it starts at no volts")
        else:
            form = N_("{volts:.3g} V more needed") if change > 0 else N_("{volts:.3g} V less needed")
            why = Message.of(form, volts=abs(change) * plate)
            if not both.all():
                why = Message("{change} where it starts with either part", change=why)
        yield MatchLine(f"least_volts_{k}", title, _value(_middle(a), "V"), _value(_middle(b), "V"), fit, why)


def _release(old: PartTrial, new: PartTrial) -> MatchLine | None:
    a, b = old.release[_plain()], new.release[_plain()]
    both = np.isfinite(a) & np.isfinite(b)
    if not both.any():
        return None
    change = float(np.median(b[both] / a[both])) - 1
    fit = _grade("release", abs(change) if change > 0 else min(abs(change), 0.5))
    share = _percent(abs(change))
    if fit is MatchGrade.SAME:
        why = Message("the start winding is let go as before")
    elif change > 0:
        why = Message("the start winding is let go {share} later", share=share)
    else:
        why = Message("the start winding is let go {share} sooner", share=share)
    before, after = _value(_middle(a[both]), "s"), _value(_middle(b[both]), "s")
    return MatchLine("release", Message("Release time"), before, after, fit, why)


def _unreleased(old: PartTrial, new: PartTrial) -> MatchLine | None:
    held_in = float((new.unreleased & ~old.unreleased).mean())
    if held_in == 0 and not old.unreleased.any():
        return None
    fit = _grade("unreleased", held_in)
    why = Message("no machine keeps its start winding in that did not before")
    if fit is not MatchGrade.SAME:
        why = Message(
            "in {share} of the attempts only the new part never lets go of it: it burns",
            share=_percent(held_in),
        )
    return MatchLine(
        "unreleased",
        Message("Start winding never let go"),
        _percent(float(old.unreleased.mean())),
        _percent(float(new.unreleased.mean())),
        fit,
        why,
    )


def _heat(old: PartTrial, new: PartTrial) -> MatchLine | None:
    both = old.started & new.started
    if not both.any():
        return None
    a, b = (float(np.median(trial.heat[both])) for trial in (old, new))
    change = float(np.median(new.heat[both] - old.heat[both]))
    fit = _grade("start_heat", max(change, 0.0))
    if abs(change) <= number("limit", "start_heat", "same"):
        why = Message("about as warm as before")
    elif change > 0:
        why = Message("it warms {kelvin:.2g} K more in a start", kelvin=change)
    else:
        why = Message("it warms {kelvin:.2g} K less in a start", kelvin=-change)
    title = Message("Start winding, rise in a start")
    return MatchLine("start_heat", title, f"{a:.3g} K", f"{b:.3g} K", fit, why)


def _hottest(name: str, title: Message, old: Array, new: Array, when: Message) -> MatchLine:
    """Highest temperature of the start winding, at the voltage where the new part is worst. [°C]"""
    a, b = np.median(old, axis=1), np.median(new, axis=1)
    row = int(np.argmax(b - a))
    rise, limit = float(b[row] - a[row]), number("limit", "insulation")
    fit = _grade(name, max(rise, 0.0))
    if fit is MatchGrade.SAME:
        why = Message("no hotter than before {when}", when=when)
    elif b[row] > limit >= a[row]:
        fit = MatchGrade.NO
        why = Message("above {limit:g} °C, where its insulation gives way, {when}", limit=limit, when=when)
    else:
        why = Message("{kelvin:.0f} K hotter {when}", kelvin=rise, when=when)
    return MatchLine(name, title, f"{a[row]:.0f} °C", f"{b[row]:.0f} °C", fit, why)


def _warmth(old: PartTrial, new: PartTrial) -> MatchLine:
    """The start winding after a long run; where a run capacitor feeds it, by the square of its current."""
    a, b = old.run_amps, new.run_amps
    title = Message("Start winding, running")
    if a is None or b is None:
        when = Message("after a long run")
        return _hottest("run_hottest", title, old.run_hottest, new.run_hottest, when)
    before, after = float(np.median(a)), float(np.median(b))
    change = float(np.median((b / a) ** 2)) - 1
    fit = _grade("run_heat", max(change, 0.0))
    if fit is MatchGrade.SAME:
        why = Message("it is heated no more than before")
    else:
        why = Message("it is heated {share} more all the time it runs", share=_percent(change))
    return MatchLine("run_heat", title, f"{before:.3g} A", f"{after:.3g} A", fit, why)


def _stress(
    field: str,
    limit: str,
    old: PartTrial,
    new: PartTrial,
    old_rating: float | None,
    new_rating: float | None,
    replaced: bool,
) -> MatchLine | None:
    """Highest volts across a capacitor against its rating; a capacitor that stays is held to before."""
    a, b = getattr(old, field), getattr(new, field)
    if b is None:
        return None
    title = Message("Run capacitor, highest volts")
    if field == "start_volts":
        title = Message("Start capacitor, highest volts")
    after = float(np.median(np.max(np.atleast_2d(b), axis=0)))
    before = math.nan if a is None else float(np.median(np.max(np.atleast_2d(a), axis=0)))
    if replaced and new_rating is not None:
        stress = after / new_rating
        why = Message("{share} of its rated {volts:g} V", share=_percent(stress), volts=new_rating)
        usual = before / old_rating if old_rating else math.nan
        fit = _grade(limit, stress)
        if fit is not MatchGrade.SAME and stress <= 1.02 * usual:
            alike = abs(stress - usual) <= 0.02 * usual and new_rating == old_rating
            fit = MatchGrade.SAME if alike else MatchGrade.ACCEPTABLE
            why = Message("{rated}, no more than on the old", rated=why)
    elif math.isnan(before):
        fit, why = MatchGrade.ACCEPTABLE, Message("there was none before; compare with its rated volts")
    else:
        change = after / before - 1
        fit = MatchGrade.SAME if change <= 0.05 else MatchGrade.ACCEPTABLE
        why = Message("as before") if abs(change) <= 0.05 else _more(change)
        if replaced:
            why = Message("{change}; its rated volts were not read", change=why)
        elif change > 0.05:
            why = Message("{change} across it: compare with its rated volts", change=why)
    return MatchLine(field, title, _value(before, "V"), _value(after, "V"), fit, why)


def _more(change: float) -> Message:
    """A share by which something is more or less. [-]"""
    share = _percent(abs(change))
    return Message("{share} more", share=share) if change > 0 else Message("{share} less", share=share)


def _running(old: PartTrial, new: PartTrial) -> MatchLine | None:
    """Line current of the running machine at the plate's volts."""
    a, b = old.running[_plain()], new.running[_plain()]
    both = ~np.isnan(a) & ~np.isnan(b) & (a > 0)
    if not both.any():
        return None
    before, after = float(np.median(a[both])), float(np.median(b[both]))
    change = after / before - 1
    fit = _grade("running", abs(change) if change > 0 else min(-change, number("limit", "running", "not")))
    why = Message("as before") if fit is MatchGrade.SAME else _more(change)
    return MatchLine("running", Message("Running amps"), f"{before:.3g} A", f"{after:.3g} A", fit, why)


def _plain() -> int:
    """Place of the condition with the plate's volts, equal pressures, cold."""
    return trial_conditions().index(TrialCondition(1.0, "equal", False))


def _locked(role: Role | None, old: PartTrial, new: PartTrial) -> MatchLine | None:
    """The protector with the rotor held; for a new protector, later is never accepted."""
    a, b = old.locked_trip, new.locked_trip
    if np.isinf(a).all() and np.isinf(b).all():
        return None
    never = float((np.isfinite(a) & np.isinf(b)).mean())
    both = np.isfinite(a) & np.isfinite(b)
    ratios = [float(np.median(y[k] / x[k])) for x, y, k in zip(a, b, both, strict=True) if k.any()]
    later, sooner = max(ratios, default=1.0) - 1, 1 - min(ratios, default=1.0)
    why = Message("opens as before")
    if never > 0:
        fit = MatchGrade.NO
        why = Message(
            "in {share} of the cases it no longer opens within {seconds:g} s, rotor locked",
            share=_percent(never),
            seconds=number("trial", "locked_seconds"),
        )
    elif later > number("limit", "trip_later", "same"):
        usual = MatchGrade.SAME if later <= number("limit", "trip_earlier", "same") else MatchGrade.ACCEPTABLE
        fit = MatchGrade.NO if role is Role.PROTECTOR else usual
        if fit is not MatchGrade.SAME:
            why = Message("opens {share} later, rotor locked", share=_percent(later))
    else:
        fit = _grade("trip_earlier", sooner)
        if fit is not MatchGrade.SAME:
            why = Message("opens {share} sooner, rotor locked", share=_percent(sooner))
    title = Message("Protector, rotor locked")
    return MatchLine("locked_trip", title, _value(_middle(a), "s"), _value(_middle(b), "s"), fit, why)


def _nuisance(old: PartTrial, new: PartTrial) -> MatchLine | None:
    more = float((new.run_trips & ~old.run_trips).mean())
    fit = _grade("nuisance", more)
    why = Message("does not cut off a healthy run that it did not before")
    if fit is not MatchGrade.SAME:
        why = Message("in {share} of the cases it cuts off a healthy start or run", share=_percent(more))
    a, b = float(old.run_trips.mean()), float(new.run_trips.mean())
    return MatchLine(
        "nuisance", Message("Protector trips in a healthy run"), _percent(a), _percent(b), fit, why
    )
