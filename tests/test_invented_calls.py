"""The evaluation's invented calls: every probe is answered, and what is told is what a call holds."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from benchmarks.policies import POLICIES
from benchmarks.visit import Visit
from benchmarks.world import WORLDS, Case, case, machines

from humclick.diagnosis.checks import checks
from humclick.diagnosis.damage import remedies_done, remedies_due
from humclick.diagnosis.power import Earth, earth
from humclick.diagnosis.probes import probes_of
from humclick.meters import meter

_SOME = machines()[::9]


def _call(index: int, world: str = "as-modelled") -> Case:
    return case(f"invented|{index}", _SOME[index], WORLDS[world])


@pytest.mark.parametrize("index", range(len(_SOME)))
def test_every_probe_is_answered_as_its_kind_is(index: int) -> None:
    """A reading for a measurement, one of its outcomes for the rest; repairs count; a tester is a tester."""
    visit = Visit(_call(index))
    for probe in probes_of(visit.machine).values():
        before = visit.repairs
        seen = visit.take(probe.id)
        assert (seen.reading is not None) == bool(probe.quantity)
        assert probe.quantity or seen.answer in probe.outcomes
        assert seen.repairs == visit.repairs == before + bool(probe.mends)
        assert seen.tester == (probe.meter == meter("insulation tester"))
    assert visit.situation().repairs == sum(o.probe.startswith("fit.") for o in visit.observations)


@pytest.mark.parametrize("index", range(len(_SOME)))
def test_what_is_due_agrees_with_the_program(index: int) -> None:
    """Written apart, both hold the same remedies due for what was seen and not put right."""
    visit = Visit(_call(index))
    for probe in probes_of(visit.machine).values():
        if probe.look is not None or probe.repairs:
            visit.take(probe.id)
            situation = visit.situation()
            assert visit.due - remedies_done(situation) == remedies_due(situation) - remedies_done(situation)


def test_checks_of_a_sound_unit_pass_and_an_open_ground_shows() -> None:
    """Sight and currents to ground are good; volts to ground follow the outlet; an open ground reads open."""
    opened = 0
    for index, machine in enumerate(_SOME):
        own = _call(index)
        sure = replace(own.world, slips=1e-9)  # no slip of the hand
        hidden = replace(own, modes={}, unmodelled=False, world=sure)
        broken = replace(hidden, modes={"earth": "open"})
        for unit, sound in ((hidden, True), (broken, False)):
            visit = Visit(unit)
            for name, check in checks().items():
                seen = visit.take(name)
                good = check.passes(seen.reading, seen.answer, machine.nameplate.volts)
                if name.startswith("proof.") or (sound and name == "supply.volts_ground"):
                    assert good, name
            if not sound:
                visit.take("earth.continuity")
                opened += earth(visit.situation()) is Earth.OPEN
    assert opened == len(_SOME)


def test_a_meter_that_is_not_at_hand_is_said_to_be_missing() -> None:
    """Nothing is read with it, and the program is told."""
    visit = Visit(_call(0))
    visit.no_meter = {"shell.insulation"}
    visit.follow("shell.insulation")
    visit.follow("proof.sight")
    assert [o.probe for o in visit.observations] == ["proof.sight"]
    assert visit.situation().skipped == {"shell.insulation"}


@pytest.mark.parametrize("name", ["program", "static order"])
def test_nothing_is_powered_before_the_ground_is_proved(name: str) -> None:
    """In the log of a policy with guards something was said of the ground before the first attempt."""
    powered = ("attempt.", "fit.", "supply.volts_start", "feed.volts")
    for index in range(0, len(_SOME), 3):
        log = POLICIES[name](_call(index)).log
        first = next((i for i, line in enumerate(log) if line.startswith(powered)), len(log))
        assert first == len(log) or any(line.startswith("earth.") for line in log[:first])
        assert all(a != b for a, b in pairwise(log) if a.endswith("no meter for it"))
