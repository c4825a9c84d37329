"""Judging: two trials held against each other, finding by finding, by the limits in substitute.toml."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    return "never" if math.isinf(value) else f"{value:.3g} {unit}"


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
            "Start winding, rotor locked",
            old.locked_hottest,
            new.locked_hottest,
            "until the protector opens",
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
        why = f"{_percent(worst.lost)} fewer machines start at {worst.condition.text}"
    else:
        why = "it starts where the old one did"
        if gained > 0.01:
            why += f", and {_percent(gained)} more attempts succeed"
    return MatchLine(
        "starts", "Starts", _percent(float(old.started.mean())), _percent(float(new.started.mean())), fit, why
    )


def _least_volts(plate: float, old: PartTrial, new: PartTrial) -> Iterable[MatchLine]:
    words = ("cold, pressures equal", "hot, pressures partly equal")
    for k, where in enumerate(words):
        a, b = old.least_volts[k], new.least_volts[k]
        both = np.isfinite(a) & np.isfinite(b)
        change = float(np.median(b[both] - a[both])) / plate if both.any() else 0.0
        if np.isfinite(a).any() and not np.isfinite(b).any():
            change = math.inf
        fit = _grade("least_volts", change)
        why = (
            "as with the old one"
            if abs(change) <= number("limit", "least_volts", "same")
            else (
                f"{abs(change) * plate:.3g} V {'more' if change > 0 else 'less'} needed"
                f"{'' if both.all() else ' where it starts with either part'}"
                if math.isfinite(change)
                else "it starts at no volts"
            )
        )
        yield MatchLine(
            f"least_volts_{k}",
            f"Least volts, {where}",
            _value(_middle(a), "V"),
            _value(_middle(b), "V"),
            fit,
            why,
        )


def _release(old: PartTrial, new: PartTrial) -> MatchLine | None:
    a, b = old.release[_plain()], new.release[_plain()]
    both = np.isfinite(a) & np.isfinite(b)
    if not both.any():
        return None
    change = float(np.median(b[both] / a[both])) - 1
    fit = _grade("release", abs(change) if change > 0 else min(abs(change), 0.5))
    why = (
        "the start winding is let go as before"
        if fit is MatchGrade.SAME
        else f"the start winding is let go {_percent(abs(change))} {'later' if change > 0 else 'sooner'}"
    )
    return MatchLine(
        "release", "Release time", _value(_middle(a[both]), "s"), _value(_middle(b[both]), "s"), fit, why
    )


def _unreleased(old: PartTrial, new: PartTrial) -> MatchLine | None:
    held_in = float((new.unreleased & ~old.unreleased).mean())
    if held_in == 0 and not old.unreleased.any():
        return None
    fit = _grade("unreleased", held_in)
    why = (
        "no machine keeps its start winding in that did not before"
        if fit is MatchGrade.SAME
        else f"in {_percent(held_in)} of the attempts only the new part never lets go of it: it burns"
    )
    return MatchLine(
        "unreleased",
        "Start winding never let go",
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
    why = (
        "about as warm as before"
        if abs(change) <= number("limit", "start_heat", "same")
        else f"it warms {abs(change):.2g} K {'more' if change > 0 else 'less'} in a start"
    )
    return MatchLine("start_heat", "Start winding, rise in a start", f"{a:.3g} K", f"{b:.3g} K", fit, why)


def _hottest(name: str, title: str, old: Array, new: Array, when: str) -> MatchLine:
    """Highest temperature of the start winding, at the voltage where the new part is worst. [°C]"""
    a, b = np.median(old, axis=1), np.median(new, axis=1)
    row = int(np.argmax(b - a))
    rise, limit = float(b[row] - a[row]), number("limit", "insulation")
    fit = _grade(name, max(rise, 0.0))
    if fit is MatchGrade.SAME:
        why = f"no hotter than before {when}"
    elif b[row] > limit >= a[row]:
        fit, why = MatchGrade.NO, f"above {limit:g} °C, where its insulation gives way, {when}"
    else:
        why = f"{rise:.0f} K hotter {when}"
    return MatchLine(name, title, f"{a[row]:.0f} °C", f"{b[row]:.0f} °C", fit, why)


def _warmth(old: PartTrial, new: PartTrial) -> MatchLine:
    """The start winding after a long run; where a run capacitor feeds it, by the square of its current."""
    a, b = old.run_amps, new.run_amps
    title = "Start winding, running"
    if a is None or b is None:
        return _hottest("run_hottest", title, old.run_hottest, new.run_hottest, "after a long run")
    before, after = float(np.median(a)), float(np.median(b))
    change = float(np.median((b / a) ** 2)) - 1
    fit = _grade("run_heat", max(change, 0.0))
    if fit is MatchGrade.SAME:
        why = "it is heated no more than before"
    else:
        why = f"it is heated {_percent(change)} more all the time it runs"
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
    name = f"{'Start' if field == 'start_volts' else 'Run'} capacitor, highest volts"
    after = float(np.median(np.max(np.atleast_2d(b), axis=0)))
    before = math.nan if a is None else float(np.median(np.max(np.atleast_2d(a), axis=0)))
    if replaced and new_rating is not None:
        stress = after / new_rating
        rated = f"{_percent(stress)} of its rated {new_rating:g} V"
        usual = before / old_rating if old_rating else math.nan
        fit = _grade(limit, stress)
        if fit is not MatchGrade.SAME and stress <= 1.02 * usual:
            alike = abs(stress - usual) <= 0.02 * usual and new_rating == old_rating
            fit, why = (
                MatchGrade.SAME if alike else MatchGrade.ACCEPTABLE,
                f"{rated}, no more than on the old",
            )
        else:
            why = rated
    elif math.isnan(before):
        fit, why = MatchGrade.ACCEPTABLE, "there was none before; compare with its rated volts"
    else:
        change = after / before - 1
        fit = MatchGrade.SAME if change <= 0.05 else MatchGrade.ACCEPTABLE
        why = (
            "as before"
            if abs(change) <= 0.05
            else f"{_percent(abs(change))} {'more' if change > 0 else 'less'}"
        )
        if replaced:
            why += "; its rated volts were not read"
        elif change > 0.05:
            why += " across it: compare with its rated volts"
    return MatchLine(field, name, _value(before, "V"), _value(after, "V"), fit, why)


def _running(old: PartTrial, new: PartTrial) -> MatchLine | None:
    """Line current of the running machine at the plate's volts."""
    a, b = old.running[_plain()], new.running[_plain()]
    both = ~np.isnan(a) & ~np.isnan(b) & (a > 0)
    if not both.any():
        return None
    before, after = float(np.median(a[both])), float(np.median(b[both]))
    change = after / before - 1
    fit = _grade("running", abs(change) if change > 0 else min(-change, number("limit", "running", "not")))
    why = (
        "as before"
        if fit is MatchGrade.SAME
        else f"{_percent(abs(change))} {'more' if change > 0 else 'less'}"
    )
    return MatchLine("running", "Running amps", f"{before:.3g} A", f"{after:.3g} A", fit, why)


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
    within = f"{number('trial', 'locked_seconds'):g} s"
    if never > 0:
        fit, why = (
            MatchGrade.NO,
            f"in {_percent(never)} of the cases it no longer opens within {within}, rotor locked",
        )
    elif later > number("limit", "trip_later", "same"):
        usual = MatchGrade.SAME if later <= number("limit", "trip_earlier", "same") else MatchGrade.ACCEPTABLE
        fit = MatchGrade.NO if role is Role.PROTECTOR else usual
        why = "opens as before" if fit is MatchGrade.SAME else f"opens {_percent(later)} later, rotor locked"
    else:
        fit = _grade("trip_earlier", sooner)
        why = (
            "opens as before" if fit is MatchGrade.SAME else f"opens {_percent(sooner)} sooner, rotor locked"
        )
    return MatchLine(
        "locked_trip", "Protector, rotor locked", _value(_middle(a), "s"), _value(_middle(b), "s"), fit, why
    )


def _nuisance(old: PartTrial, new: PartTrial) -> MatchLine | None:
    more = float((new.run_trips & ~old.run_trips).mean())
    fit = _grade("nuisance", more)
    why = (
        "does not cut off a healthy run that it did not before"
        if fit is MatchGrade.SAME
        else f"in {_percent(more)} of the cases it cuts off a healthy start or run"
    )
    a, b = float(old.run_trips.mean()), float(new.run_trips.mean())
    return MatchLine("nuisance", "Protector trips in a healthy run", _percent(a), _percent(b), fit, why)
