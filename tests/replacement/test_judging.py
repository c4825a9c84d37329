"""Two trials held against each other: every finding at its limits, on trials written down by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from humclick.parts.family import family
from humclick.replacement.judging import findings_of, starts_of
from humclick.replacement.match import MatchGrade, MatchLine
from humclick.replacement.trials import PartTrial, TrialCondition, number, trial_conditions

PLATE = 115.0
MACHINES = 100
AT = len(trial_conditions())
PLAIN = trial_conditions().index(TrialCondition(1.0, "equal", False))


def filled(value: float, rows: int = AT) -> NDArray[np.float64]:
    return np.full((rows, MACHINES), value)


def with_(**changed: Any) -> PartTrial:
    return replace(OLD, **changed)


def share(of: float, rows: int = AT) -> NDArray[np.bool_]:
    """True for a share of the machines at every condition."""
    return np.tile(np.arange(MACHINES) < round(of * MACHINES), (rows, 1))


OLD = PartTrial(
    started=share(1.0),
    unreleased=share(0.0),
    release=filled(0.4),
    speed_time=filled(0.5),
    heat=filled(20.0),
    running=filled(1.6),
    least_volts=filled(80.0, 2),
    locked_trip=filled(10.0, 3),
    locked_hottest=filled(90.0, 3),
    run_trips=share(0.0, 3),
    run_hottest=filled(70.0, 3),
    start_volts=filled(150.0, 1)[0],
    run_volts=filled(300.0, 1)[0],
    run_amps=None,
)


def judged(
    new: PartTrial,
    kind: str = "ptc",
    old: PartTrial = OLD,
    ratings: tuple[float | None, float | None] = (None, None),
) -> dict[str, MatchLine]:
    rows = findings_of(family(kind) if kind else None, PLATE, old, new, *ratings)
    return {row.name: row for row in rows}


def test_a_trial_differs_from_itself_in_nothing() -> None:
    """For every family that is tried; both columns show the same."""
    for kind in ("ptc", "current_relay", "overload_protector", "start_capacitor", "run_capacitor", ""):
        for row in judged(OLD, kind).values():
            assert row.fit is MatchGrade.SAME, row
            assert row.old == row.new


#: What is changed, the limit's name, and how a difference of that size looks in a trial.
GRADED: dict[str, tuple[str, Callable[[float], PartTrial]]] = {
    "starts": ("lost", lambda x: replace(OLD, started=share(1.0 - x))),
    "least_volts_0": ("least_volts", lambda x: replace(OLD, least_volts=filled(80.0 + x * PLATE, 2))),
    "least_volts_1": ("least_volts", lambda x: replace(OLD, least_volts=filled(80.0 + x * PLATE, 2))),
    "release": ("release", lambda x: replace(OLD, release=filled(0.4 * (1.0 + x)))),
    "unreleased": ("unreleased", lambda x: replace(OLD, unreleased=share(x))),
    "start_heat": ("start_heat", lambda x: replace(OLD, heat=filled(20.0 + x))),
    "start_hottest": ("start_hottest", lambda x: replace(OLD, locked_hottest=filled(90.0 + x, 3))),
    "run_hottest": ("run_hottest", lambda x: replace(OLD, run_hottest=filled(70.0 + x, 3))),
    "nuisance": ("nuisance", lambda x: replace(OLD, run_trips=share(x, 3))),
}


@pytest.mark.parametrize("name", GRADED)
def test_a_difference_is_graded_by_its_two_limits(name: str) -> None:
    """Up to the first the same, beyond the second refused, between them told."""
    limit, made = GRADED[name]
    same, beyond = number("limit", limit, "same"), number("limit", limit, "not")
    step = 0.01 if limit in ("lost", "unreleased", "nuisance") else 0.01 * same
    wanted = {
        same - step: MatchGrade.SAME,
        same + step: MatchGrade.ACCEPTABLE,
        beyond - step: MatchGrade.ACCEPTABLE,
        beyond + step: MatchGrade.NO,
    }
    for size, fit in wanted.items():
        row = judged(made(size)).get(name)
        assert (row.fit if row else MatchGrade.SAME) is fit, (size, row)


def test_better_is_never_worse() -> None:
    """Less heat, fewer trips, lower volts needed are the same; sooner let go is told, not refused."""
    better = replace(
        OLD,
        heat=filled(1.0),
        locked_hottest=filled(50.0, 3),
        run_hottest=filled(40.0, 3),
        least_volts=filled(50.0, 2),
        release=filled(0.05),
    )
    rows = judged(better)
    assert {name for name, row in rows.items() if row.fit is not MatchGrade.SAME} == {"release"}
    assert rows["release"].fit is MatchGrade.ACCEPTABLE
    assert "less needed" in rows["least_volts_0"].reason
    assert "sooner" in rows["release"].reason


def test_a_start_lost_at_one_condition_counts_whatever_the_others_gain() -> None:
    """The worst condition decides and is named; starts gained elsewhere are said where none is lost."""
    old = replace(OLD, started=share(0.8))
    new = old.started.copy()
    new[0] = False
    row = judged(replace(OLD, started=new), old=old)["starts"]
    assert row.fit is MatchGrade.NO
    assert trial_conditions()[0].text in row.reason
    assert "80 %" in row.reason
    gained = judged(OLD, old=old)["starts"]
    assert gained.fit is MatchGrade.SAME
    assert "20 % more attempts" in gained.reason
    at = starts_of(old, replace(OLD, started=new))
    assert [row.condition for row in at] == list(trial_conditions())
    assert [row.lost for row in at] == pytest.approx([0.8] + [0.0] * (AT - 1))


def test_never_is_the_worst_there_is() -> None:
    """A part with which no machine starts at any volts, or that never opens, is refused."""
    assert judged(replace(OLD, least_volts=filled(math.inf, 2)))["least_volts_0"].fit is MatchGrade.NO
    some = filled(math.inf, 2)
    some[:, :50] = 80.0
    half = judged(replace(OLD, least_volts=some))["least_volts_0"]
    assert (half.fit, half.reason) == (MatchGrade.SAME, "as with the old one")
    assert judged(replace(OLD, locked_trip=filled(math.inf, 3)))["locked_trip"].fit is MatchGrade.NO
    no_protector = replace(OLD, locked_trip=filled(math.inf, 3))
    assert "locked_trip" not in judged(no_protector, old=no_protector)


@pytest.mark.parametrize(
    ("kind", "factor", "fit"),
    [
        ("overload_protector", 1.01, MatchGrade.SAME),
        ("overload_protector", 1.05, MatchGrade.NO),
        ("ptc", 1.05, MatchGrade.SAME),
        ("ptc", 1.3, MatchGrade.ACCEPTABLE),
        ("overload_protector", 0.95, MatchGrade.SAME),
        ("overload_protector", 0.6, MatchGrade.ACCEPTABLE),
        ("overload_protector", 0.3, MatchGrade.NO),
    ],
)
def test_a_new_protector_never_opens_later(kind: str, factor: float, fit: MatchGrade) -> None:
    """Another part that makes the old one open later is told; sooner is graded by its limits."""
    row = judged(replace(OLD, locked_trip=OLD.locked_trip * factor), kind)["locked_trip"]
    assert row.fit is fit
    if fit is not MatchGrade.SAME:
        assert ("later" in row.reason) == (factor > 1)


def test_insulation_has_a_limit_of_its_own() -> None:
    """A rise that would be told is refused where it goes past the class of the insulation."""
    top = number("limit", "insulation")
    old = replace(OLD, locked_hottest=filled(top - 3.0, 3))
    past = judged(replace(OLD, locked_hottest=filled(top + 4.0, 3)), old=old)["start_hottest"]
    assert past.fit is MatchGrade.NO
    assert f"{top:g} °C" in past.reason
    before = replace(OLD, locked_hottest=filled(top + 1.0, 3))
    told = judged(replace(OLD, locked_hottest=filled(top + 8.0, 3)), old=before)["start_hottest"]
    assert told.fit is MatchGrade.ACCEPTABLE  # it was past it with the old part too


@pytest.mark.parametrize(
    ("kind", "name", "field"),
    [("start_capacitor", "start_volts", "start_volts"), ("run_capacitor", "run_volts", "run_volts")],
)
def test_a_capacitor_is_held_against_its_rated_volts(kind: str, name: str, field: str) -> None:
    """Up to its rating the same, above 110 % refused (IEC 60252, from memory) but as on the old one."""
    volts = float(np.median(getattr(OLD, field)))

    def fit(rating: float, had: float | None = None) -> MatchGrade:
        return judged(OLD, kind, ratings=(had, rating))[name].fit

    assert fit(volts) is MatchGrade.SAME
    assert fit(volts / 1.05) is MatchGrade.ACCEPTABLE
    assert fit(volts / 1.15) is MatchGrade.NO
    assert fit(volts / 1.15, volts / 1.15) is MatchGrade.SAME
    assert fit(volts / 1.15, volts / 1.3) is MatchGrade.ACCEPTABLE
    more = with_(**{field: getattr(OLD, field) * 1.2})
    unread: Any = judged(more, kind)[name]
    assert unread.fit is MatchGrade.ACCEPTABLE
    assert "not read" in unread.reason
    stays = judged(more, "ptc")[name]
    assert "compare with its rated volts" in stays.reason
    none_before = judged(OLD, "ptc", old=with_(**{field: None}))[name]
    assert none_before.fit is MatchGrade.ACCEPTABLE
    assert name not in judged(with_(**{field: None}), kind)


def test_running_amps_are_held_for_a_run_capacitor_alone() -> None:
    """More by a tenth is refused; fewer never is. What feeds the start winding is held by its square."""
    at = {}
    for change in (0.02, 0.05, 0.15, -0.05, -0.5):
        new = replace(OLD, running=filled(1.6 * (1.0 + change)))
        assert "running" not in judged(new, "start_capacitor")
        at[change] = judged(new, "run_capacitor")["running"].fit
    assert at == {
        0.02: MatchGrade.SAME,
        0.05: MatchGrade.ACCEPTABLE,
        0.15: MatchGrade.NO,
        -0.05: MatchGrade.ACCEPTABLE,
        -0.5: MatchGrade.ACCEPTABLE,
    }
    fed = replace(OLD, run_amps=filled(1.0, 1)[0])
    for amps, fit in (
        (1.04, MatchGrade.SAME),
        (1.1, MatchGrade.ACCEPTABLE),
        (1.3, MatchGrade.NO),
        (0.7, MatchGrade.SAME),
    ):
        row = judged(replace(fed, run_amps=filled(amps, 1)[0]), "run_capacitor", old=fed)["run_heat"]
        assert row.fit is fit, amps
