"""
The table of start attempts: what it says, that its own code makes it again, and how larger sets are composed.
"""

from __future__ import annotations

import itertools
import math
import random
import time
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from research.designs import Design, designs
from research.power_up_table import Packed, attempts_of, dead_modes, judged, mode_sets, plates
from research.tallies import Attempts, alike, shares

from humclick.arrangements.arrangement import arrangement
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.stand_in import stand_in
from humclick.errors import DataError, Unknown
from humclick.start import start_table
from humclick.start.batch import simulate_packed
from humclick.start.packed import pack_many
from humclick.start.power_up import Starts
from humclick.start.rows import OUTCOMES
from humclick.start.start_table import Fault
from tests.start.steady_network import SteadyNetwork

#: Machines of a plate in the tests, and their seed: not those of the stored table.
DRAWS, SEED = 20, 902
#: Machines of both plates behind a stored share.
STORED = 64
RUNS = OUTCOMES.index("runs")

#: Remade in the tests: two arrangements, a few sets each.
REMADE: dict[str, tuple[tuple[Fault, ...], ...]] = {
    "rsir-ptc": (
        (),
        (("ptc", "open"),),
        (("ptc", "bridged"),),
        (("supply", "sags"),),
        (("ptc", "still_hot"),),
        (("mechanism", "seized"),),
        (("run_winding", "open"),),
        (("start_winding", "shorted_turns"),),
        (("supply", "low"), ("mechanism", "unequal")),
        (("ptc", "drifted"), ("mechanism", "tight")),
    ),
    "csr-potential-relay": (
        (),
        (("start_capacitor", "low"),),
        (("potential_relay", "contacts_welded"),),
        (("run_winding", "shorted_turns"),),
        (("mechanism", "high_head"),),
        (("run_capacitor", "shorted"),),
        (("supply", "low"), ("start_capacitor", "open")),
        (("potential_relay", "wrong_pickup"), ("overload_protector", "trips_early")),
    ),
}


@cache
def sound(name: str, plate: str) -> tuple[Design, ...]:
    """Sound machines of an arrangement and plate."""
    return designs(name, arrangement(name).protectors[0], plates()[plate], DRAWS, SEED).designs


@cache
def remade(name: str, sets: tuple[tuple[Fault, ...], ...]) -> dict[tuple[Fault, ...], Attempts]:
    """Attempts under some sets, both plates together."""
    lots = []
    for plate in plates():
        machines = sound(name, plate)
        ready = list(mode_sets(machines[0].machine, dead_modes(machines[0])))
        warm = {frozenset(chosen): hot for hot, chosen in ready}
        keys = [(warm.get(frozenset(chosen), _warm(machines[0].machine, chosen)), chosen) for chosen in sets]
        lots.append(attempts_of(machines, keys))
    found = {}
    for chosen in sets:
        each = [attempts for lot in lots for (_, key), attempts in lot.items() if key == chosen]
        found[chosen] = Attempts.together(each)
    return found


def _warm(machine: Machine, chosen: tuple[Fault, ...]) -> bool:
    return any(machine.eased(part, mode) for part, mode in chosen)


def stored(name: str, plate: str = "115", protector: str | None = None) -> Starts:
    """The stored table for a plate, or that of the machine that stands in where there is none."""
    machine = Machine.of(name, protector, plates()[plate])
    return Starts(machine, stand_in(machine))


def both(name: str, chosen: tuple[Fault, ...]) -> NDArray[np.float64]:
    """Stored probabilities, mean of the two plates, hot where it matters."""
    modes = dict(chosen)
    rows = [stored(name, plate).outcomes(modes, hot=True) for plate in plates()]
    middle: NDArray[np.float64] = np.array(rows).mean(axis=0)
    return middle


@pytest.mark.parametrize("name", REMADE)
def test_the_same_code_makes_the_stored_table_again(name: str) -> None:
    """
    Other machines, few and of another seed, come to the stored shares within what chance allows.
    """
    made = remade(name, REMADE[name])
    for chosen, attempts in made.items():
        p = both(name, chosen)
        seen = attempts.counts() / len(attempts.outcome)
        n = len(attempts.outcome)
        middle = (n * seen + STORED * p) / (n + STORED)
        chance = np.sqrt(middle * (1 - middle) * (1 / n + 1 / STORED))
        assert np.all(np.abs(seen - p) < 4 * chance + 0.02), (chosen, seen, p)


@pytest.mark.parametrize("name", REMADE)
def test_the_same_code_makes_the_stored_amps_again(name: str) -> None:
    """
    Clamp amps of each outcome often seen agree with the stored median within what chance allows.
    """
    compared = 0
    for chosen, attempts in remade(name, REMADE[name]).items():
        for k in range(len(OUTCOMES)):
            which = (attempts.outcome == k) & (attempts.amps > 0)
            if which.sum() < 10 or which.sum() < np.sum(attempts.outcome == k) / 2:
                continue
            rows = [stored(name, plate).signs(dict(chosen), hot=True)[k][:2] for plate in plates()]
            middle = np.mean([math.log(ratio) for ratio, _ in rows])
            spread = max(sd for _, sd in rows)
            here = float(np.median(np.log(attempts.amps[which])))
            assert abs(here - middle) < 5 * spread / math.sqrt(min(STORED, which.sum())) + 0.08, (chosen, k)
            compared += 1
    assert compared >= 8


def test_a_pair_put_together_from_columns_is_the_pair_put_together_whole() -> None:
    """
    Merged cases equal those put together whole for all machines, and save most of the work.
    """
    machines = sound("rsir-ptc", "115")[:6]
    packed = Packed(machines)
    sets = list(mode_sets(machines[0].machine, dead_modes(machines[0])))
    for hot, chosen in sets[::7]:
        assert np.allclose(packed.table(chosen, hot), packed.whole(chosen, hot), rtol=1e-9, atol=0)
    assert packed.merged > len(sets[::7]) / 2


@pytest.mark.parametrize("name", judged())
def test_every_set_of_two_is_answered(name: str) -> None:
    """
    Every mode set of up to two parts has shares that sum to one, none impossible, cold and hot.
    """
    for protector in arrangement(name).protectors:
        starts = stored(name, "230", protector)
        faults = [(p.id, m) for p in starts.machine.parts for m in p.family.modes if m != "healthy"]
        for size in range(3):
            for chosen in itertools.combinations(faults, size):
                if len({part for part, _ in chosen}) < size:
                    continue
                for hot in (False, True):
                    p = starts.outcomes(dict(chosen), hot=hot)
                    assert sum(p) == pytest.approx(1.0)
                    assert min(p) > 5e-4


@pytest.mark.parametrize("plate", plates())
@pytest.mark.parametrize("name", judged())
def test_what_must_happen_happens(name: str, plate: str) -> None:
    """
    A sound machine runs, but for one at most of those drawn; a dead supply is silent; a seized one hums.
    """
    starts = stored(name, plate)
    but_one = shares(np.array([STORED // 2 - 1 if k == RUNS else k == 0 for k in range(len(OUTCOMES))]))[RUNS]
    assert starts.outcomes({})[RUNS] >= but_one - 0.001
    assert starts.outcomes({"supply": "dead"})[0] >= 0.97
    assert starts.outcomes({"control": "open", "mechanism": "seized"})[0] >= 0.97
    seized = dict(zip(OUTCOMES, starts.outcomes({"mechanism": "seized"}), strict=True))
    assert seized["hum_click"] >= 0.9
    assert seized["runs"] < 0.03


def test_of_many_sound_machines_hardly_one_opens_its_breaker() -> None:
    """
    Where one of the 32 stored machines does not run for two minutes, hardly one of 100 others does not.
    """
    name = "psc-assist-relay"
    assert stored(name).outcomes({})[OUTCOMES.index("breaker")] > 0.01
    machines = designs(name, arrangement(name).protectors[0], plates()["115"], 100, SEED).designs
    (attempts,) = attempts_of(machines, [(False, ())]).values()
    assert attempts.counts()[RUNS] >= 99


def test_an_open_pill_hums_and_clicks() -> None:
    """
    Without its PTC a split-phase machine draws the run winding's current alone until the protector opens.
    """
    starts = stored("rsir-ptc")
    assert starts.outcomes({"ptc": "open"})[OUTCOMES.index("hum_click")] >= 0.9
    seen = starts.signs({"ptc": "open"})[OUTCOMES.index("hum_click")]
    assert 0.5 < seen.amps < 0.9
    assert 4 < seen.trip < 15
    assert seen.release == 0


def test_a_welded_relay_starts_then_trips() -> None:
    """
    A current relay that never lets go leaves the start winding in until the protector opens.
    """
    starts = stored("rsir-current-relay")
    assert starts.outcomes({"current_relay": "welded"})[OUTCOMES.index("starts_then_trips")] >= 0.6
    welded = starts.signs({"current_relay": "welded"})
    assert min(welded[OUTCOMES.index(each)].left_in for each in ("starts_then_trips", "runs")) > 0.6
    assert starts.signs({})[RUNS].left_in < 0.05


def test_a_pill_still_hot_matters_only_while_hot() -> None:
    """
    What only had to wait is asked for cold as the sound machine, and hot as what it is.
    """
    starts = stored("rsir-ptc")
    assert starts.outcomes({"ptc": "still_hot"}) == starts.outcomes({})
    assert starts.outcomes({"ptc": "still_hot"}, hot=True)[RUNS] < 0.8
    assert starts.outcomes({"overload_protector": "tripped"}, hot=True)[0] > 0.9
    assert starts.outcomes({"control": "not_calling"})[0] > 0.9


def test_fewer_machines_start_at_fewer_volts() -> None:
    """
    Nearly all sound machines start at plate volts, fewer at seven tenths, hardly one at four tenths.
    """
    found = []
    for share in (1.0, 0.7, 0.4):
        table = pack_many([one.case(share=share) for one in sound("rsir-ptc", "115")])
        found.append(float(np.mean(simulate_packed(table, 6.0, threads=1).outcome == RUNS)))
    assert found[0] >= 0.95
    assert found[0] >= found[1] > found[2]
    assert found[2] <= 0.3


def test_a_clamp_tells_running_from_standing() -> None:
    """
    Amps after five seconds of a machine that runs are far below those of one that stands.
    """
    for name in judged():
        starts = stored(name)
        running = starts.signs({})[RUNS].amps
        standing = starts.signs({"mechanism": "seized"})[OUTCOMES.index("hum_click")].amps
        assert running < 0.35 < 0.45 < standing < 1.2, name
        assert 0.7 < starts.signs({})[RUNS].highest < 1.3


def test_triples_are_close_to_simulated_ones() -> None:
    """
    Sets of three, drawn by their odds, lie on average within 0.12 of simulated ones, in total variation.
    """
    name, rng = "rsir-ptc", random.Random(5)
    machine = sound(name, "115")[0].machine
    dead = dead_modes(sound(name, "115")[0])
    faults = [
        (p, m) for p in machine.parts for m in p.family.listed[1:] if not (p.family.apart or m.starts_as)
    ]
    odds = {(p.id, m.name): m.odds for p, m in faults}
    live = [fault for fault in odds if fault not in dead]
    triples: list[tuple[Fault, ...]] = []
    while len(triples) < 24:
        chosen = tuple(sorted(rng.choices(live, [odds[fault] for fault in live], k=3), key=live.index))
        if len({part for part, _ in chosen}) == 3 and chosen not in triples:
            triples.append(chosen)
    apart = []
    for chosen, attempts in remade(name, tuple(triples)).items():
        apart.append(0.5 * float(np.abs(shares(attempts.counts()) - both(name, chosen)).sum()))
    assert np.mean(apart) < 0.12
    assert np.mean(np.array(apart) > 0.3) < 0.15


def test_the_steady_network_mostly_agrees() -> None:
    """
    For single modes, cold, the steady network's most probable outcome is among the table's probable ones.
    """
    agree = []
    for name in judged():
        machine = Machine.of(name)
        starts, network = stored(name), SteadyNetwork(machine)
        for part in machine.parts:
            for mode in part.family.modes:
                theirs = network.outcomes({part.id: mode})
                agree.append(starts.outcomes({part.id: mode})[theirs.index(max(theirs))] > 0.25)
    assert np.mean(agree) > 0.75


def test_an_answer_is_quick() -> None:
    """
    A set of three is answered in far less than a tenth of a millisecond once the table is read.
    """
    starts = stored("csir-current-relay")
    modes = {"supply": "low", "start_capacitor": "low", "mechanism": "tight"}
    starts.outcomes(modes)
    best = math.inf
    for _ in range(5):
        begun = time.perf_counter()
        for _ in range(200):
            starts.outcomes(modes)
        best = min(best, (time.perf_counter() - begun) / 200)
    assert best < 1e-4


def test_an_unknown_mode_is_refused_in_words() -> None:
    """
    A mode or part that does not exist gets a message that names those there are.
    """
    with pytest.raises(Unknown, match="PTC starter 'molten'"):
        stored("rsir-ptc").outcomes({"ptc": "molten"})
    with pytest.raises(Unknown, match="part of rsir-ptc"):
        stored("rsir-ptc").outcomes({"potential_relay": "coil_open"})


@pytest.mark.parametrize(
    "text", ["", "# floor: 2\nguard\n", "# modes: 0=a.b\n# floor: x\n# dead:\nguard\no,,,0,x,1\n"]
)
def test_a_damaged_table_is_refused_in_words(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """
    A table that cannot be read is refused with the name of its arrangement.
    """
    start_table._lines.cache_clear()
    start_table.table_of.cache_clear()
    monkeypatch.setattr(start_table, "_text", lambda name: text)
    with pytest.raises(DataError, match="rsir-ptc"):
        stored("rsir-ptc").outcomes({})
    start_table._lines.cache_clear()
    start_table.table_of.cache_clear()


def test_plates_that_differ_are_told_apart() -> None:
    """
    Lots of the same shares and amps are alike; other shares or other amps are not.
    """
    rng = np.random.default_rng(1)

    def lot(stalls: int, amps: float) -> Attempts:
        outcome = np.array([2] * stalls + [5] * (30 - stalls))
        some = amps * np.exp(0.1 * rng.standard_normal(30))
        nothing = np.full(30, np.nan)
        return Attempts(outcome, some, some, nothing, nothing, np.zeros(30))

    assert alike(lot(15, 0.7), lot(14, 0.7))
    assert not alike(lot(2, 0.7), lot(25, 0.7))
    assert not alike(lot(15, 0.7), lot(15, 0.4))


def test_other_plates_of_a_class_use_the_same_table() -> None:
    """
    The voltage class alone chooses the rows.
    """
    a = Starts(Machine.of("rsir-ptc", None, Nameplate(120.0, 60.0))).outcomes({"ptc": "bridged"})
    assert a == stored("rsir-ptc").outcomes({"ptc": "bridged"})
