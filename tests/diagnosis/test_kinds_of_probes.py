"""Each kind of probe by itself: what is between the tips, what it says, when it is offered."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.bench import Bench, bench_for
from humclick.diagnosis.checks import checks
from humclick.diagnosis.displays import Display
from humclick.diagnosis.evidence import weighing_of
from humclick.diagnosis.factors import Factor, copper
from humclick.diagnosis.findings import findings
from humclick.diagnosis.likelihood import evidence
from humclick.diagnosis.observations.amps import clamp_of
from humclick.diagnosis.observations.between import Between
from humclick.diagnosis.observations.check import SafetyCheck
from humclick.diagnosis.observations.feed import Feed
from humclick.diagnosis.observations.leads import TipsTogether
from humclick.diagnosis.observations.look import PartLook
from humclick.diagnosis.observations.measured import Measured
from humclick.diagnosis.observations.model import Group, Taken
from humclick.diagnosis.observations.outlook import Offer
from humclick.diagnosis.observations.part_test import PartTest
from humclick.diagnosis.observations.recorded import Recorded
from humclick.diagnosis.observations.setup import winding_setup
from humclick.diagnosis.observations.shell import Shell
from humclick.diagnosis.observations.steps import highest
from humclick.diagnosis.observations.volts import Outlet
from humclick.diagnosis.observations.volts_start import VoltsStart
from humclick.diagnosis.observations.windings import Windings
from humclick.diagnosis.probes import Probe, probe_of, probes_of
from humclick.diagnosis.quadrature import in_steps
from humclick.diagnosis.recorded import cause_of, causes, misread
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.errors import Unknown
from humclick.meters import Quantity, default_meter
from humclick.parts.family import HEALTHY
from humclick.readings import Leads, PartTemperature, parse_reading
from tests.visit import MACHINES, machine_of

SHOP = default_shop()
COLD, HOT = PartTemperature("cold"), PartTemperature("hot")
PTC = machine_of("rsir-ptc", "external")
SOUND: Mapping[str, str] = {}
every = pytest.mark.parametrize(("name", "guard"), MACHINES[::4])


def bench_of(machine: Machine = PTC) -> Bench:
    return bench_for(machine, SHOP)


def tips(probe: str, modes: Mapping[str, str] = SOUND, machine: Machine = PTC, *, hot: bool = False) -> float:
    """Median of what is between the tips under some modes. [SI]"""
    made = probe_of(machine, probe, SHOP)
    assert isinstance(made.model, Measured)
    return made.model.between_tips(bench_of(machine), made, modes, hot)[0]


def seen(probe: str, text: str = "", answer: str = "", warm: PartTemperature = COLD, **more: object) -> Taken:
    made = probe_of(PTC, probe, SHOP)
    reading = parse_reading(text, Quantity(made.quantity)) if text else None
    return Taken(made, Observation(probe, reading, answer, warm, **more))  # type: ignore[arg-type]


def factor(*taken: Taken, leads: Leads | None = None, mended: frozenset[str] = frozenset()) -> Factor:
    situation = Situation(PTC, leads=leads or Leads(True))
    return taken[0].probe.model.factor(weighing_of(bench_of(), situation), taken, mended)


def by_mode(made: Factor, part: str) -> dict[str, float]:
    """Probability under each mode of one part, all else sound. [-]"""
    bench = bench_of()
    place = bench.place[part]
    row = {}
    for m, mode in enumerate(bench.space.modes[place]):
        if made.per_set is not None:
            row[mode.name] = made.per_set(((place, m),) if m else ())
        else:
            row[mode.name] = made.table[tuple(m if p == place else 0 for p in made.scope)][0]
    return row


def offer(*taken: Taken, renewed: frozenset[str] = frozenset()) -> Offer:
    situation = Situation(PTC, observations=tuple(t.observation for t in taken), renewed=renewed)
    return Offer(situation, bench_of(), taken, frozenset())


# -- between two nodes --------------------------------------------------------------------------------------


def test_ohms_over_the_whole_machine_are_those_of_series_and_parallel() -> None:
    """Control and protector, then the run winding beside starter and start winding (Kirchhoff)."""
    size = PTC.size
    run, start = size("run_winding", "winding").median, size("start_winding", "winding").median
    pill, on_the_way = size("ptc", "cold").median, tips("overload_protector.ohms") + tips("control.ohms")
    assert tips("between.l-n") == pytest.approx(on_the_way + 1 / (1 / run + 1 / (start + pill)), rel=0.02)
    assert tips("between.l-n", {"run_winding": "open"}) == pytest.approx(on_the_way + start + pill, rel=0.02)
    assert tips("between.l-n", {"ptc": "open"}) == pytest.approx(on_the_way + run, rel=0.02)
    assert tips("between.l-n", {"overload_protector": "open"}) > 1e6
    assert tips("between.l-n", hot=True) > tips("between.l-n")  # the pill is hot


def test_only_two_nodes_of_the_machine_make_a_probe() -> None:
    """A node that is not there, or one twice, is refused with those there are."""
    kind = Between()
    assert kind.on_demand(PTC, "pins.C-R", SHOP) is None
    made = kind.on_demand(PTC, "between.C-S", SHOP)
    assert made is not None
    assert (made.points, made.kind) == (("C", "S"), "between")
    assert list(kind.probes(PTC, SHOP)) == []
    for wrong, right in (("between.C-X", "'X'"), ("between.C", "''"), ("between.S-S", "between.l-n")):
        with pytest.raises(Unknown, match=right):
            kind.on_demand(PTC, wrong, SHOP)


def test_what_is_new_no_longer_speaks_between_two_nodes() -> None:
    """OL over the machine speaks for an open winding; with that part new it does not."""
    before = by_mode(factor(seen("between.C-R", "OL")), "overload_protector")
    assert before["open"] == pytest.approx(before[HEALTHY])  # not between these tips
    whole = by_mode(factor(seen("between.l-n", "OL")), "overload_protector")
    assert whole["open"] > 100 * whole[HEALTHY]
    new = factor(seen("between.l-n", "OL", renewed=frozenset({"overload_protector"})))
    row = by_mode(new, "overload_protector")
    assert row["open"] == pytest.approx(row[HEALTHY])


# -- checks -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("check", checks().values(), ids=lambda check: check.id)
def test_a_check_is_never_advised_and_bars_or_owes_by_its_bad_answers(check: object) -> None:
    """Its good answers do neither; what is bad is said with what to do."""
    own = checks()[check.id]  # type: ignore[attr-defined]
    probe = probe_of(PTC, own.id, SHOP)
    assert isinstance(probe.model, SafetyCheck)
    assert not probe.model.offered(offer(), probe)
    bad = set(own.outcomes) - set(own.good)
    assert probe.bars == (bad if own.bars else set())
    assert set(probe.due) == (bad if own.due else set())
    assert not set(own.good) & (set(probe.due) | probe.bars)
    for answer in own.outcomes:
        (finding,) = findings(Situation(PTC, observations=(Observation(own.id, answer=answer),)))
        assert finding.warns == (answer in bad)
        assert (own.bad.rstrip(".") in finding.text) == (answer in bad)


# -- volts --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("volts", [115.0, 230.0])
def test_volts_at_the_outlet_are_the_plates_and_those_at_the_feed_need_the_control(volts: float) -> None:
    """A dead supply shows none at either; a control that does not call, none behind it."""
    machine = Machine.of("rsir-ptc", nameplate=Nameplate(volts, 60.0))
    assert tips("supply.volts", SOUND, machine) == pytest.approx(volts, rel=0.05)
    assert tips("feed.volts", SOUND, machine) == tips("supply.volts", SOUND, machine)
    for mode in machine.part("supply").family.modes.values():
        at = tips("supply.volts", {"supply": mode.name}, machine)
        assert at == pytest.approx(volts * mode.volts, rel=0.05, abs=0.02 * volts), mode.name
        assert tips("feed.volts", {"supply": mode.name}, machine) <= at
    for broken in ("open", "not_calling"):
        assert tips("feed.volts", {"control": broken}, machine) == 0.0
        assert tips("supply.volts", {"control": broken}, machine) > 0.9 * volts
    edges, labels = Outlet().edges(
        bench_of(machine), probe_of(machine, "supply.volts", SHOP), Quantity.VOLTAGE
    )
    assert edges == pytest.approx((0.3 * volts, 0.9 * volts, 1.1 * volts))
    assert len(labels) == len(edges) + 2


def test_the_feed_depends_on_supply_and_control_alone() -> None:
    """And is weighed by both; the outlet is taken whatever the cover, the feed with it on."""
    feed, outlet = probe_of(PTC, "feed.volts", SHOP), probe_of(PTC, "supply.volts", SHOP)
    bench = bench_of()
    assert Feed().scope(bench, feed) == (bench.place["supply"], bench.place["control"])
    assert (feed.covered, outlet.covered) == (True, False)
    row = by_mode(factor(seen("feed.volts", "0 V")), "control")
    assert row["open"] > 50 * row[HEALTHY]
    fed = by_mode(factor(seen("feed.volts", "117 V")), "control")
    assert fed[HEALTHY] > 100 * fed["open"]


def test_volts_that_sag_while_it_starts_speak_for_a_weak_supply() -> None:
    """A sound cord holds; none at all is an open supply. Without a reading nothing is said."""
    firm, weak, dead = (
        by_mode(factor(seen("supply.volts_start", v)), "supply") for v in ("110 V", "80 V", "0 V")
    )
    low = [mode for mode in firm if 0.0 < PTC.part("supply").family.mode(mode).volts < 1.0]
    assert low
    for mode in low:
        assert weak[mode] / weak[HEALTHY] > 10 * firm[mode] / firm[HEALTHY]
    assert min(dead["dead"], dead["open_neutral"]) > 50 * dead[HEALTHY]
    assert factor(seen("supply.volts_start", answer="no")) == Factor(())
    model = VoltsStart()
    probe = probe_of(PTC, "supply.volts_start", SHOP)
    assert model.offered(offer(renewed=frozenset({"supply"})), probe)  # a new cord does not prove the house
    assert not Outlet().offered(offer(renewed=frozenset({"supply"})), probe_of(PTC, "supply.volts", SHOP))


# -- leads --------------------------------------------------------------------------------------------------


@given(tenths=st.integers(1, 12))
def test_tips_held_together_show_what_the_leads_add(tenths: int) -> None:
    """What they may add is likeliest near what is shown; no part is spoken of."""
    weighing = weighing_of(bench_of(), Situation(PTC))
    shown = tenths / 10
    made = TipsTogether().factor(weighing, [seen("leads.short", f"{shown:.1f}")], frozenset())
    assert (made.scope, made.observations) == ((), ())
    row = made.table[()]
    best = max(range(len(row)), key=row.__getitem__)
    nearest = min(range(len(row)), key=lambda k: abs(weighing.leads[k][0] - shown))
    assert abs(best - nearest) <= 1
    assert made.none == pytest.approx(weighing.mean(row))


# -- looks --------------------------------------------------------------------------------------------------


@every
def test_a_look_is_offered_where_it_tells_modes_apart_and_reads_a_new_part_as_sound(
    name: str, guard: str
) -> None:
    """Answers sum to one in every mode; a new part looks as a healthy one does, whatever it was."""
    machine = machine_of(name, guard)
    bench = bench_of(machine)
    looks = [p for p in probes_of(machine, SHOP).values() if isinstance(p.model, PartLook)]
    assert looks
    weighing = weighing_of(bench, Situation(machine))
    for probe in looks:
        assert probe.look is not None
        tells = len(probe.look.table) > 1
        free = Offer(Situation(machine), bench, (), frozenset())
        new = Offer(Situation(machine, renewed=frozenset({probe.part})), bench, (), frozenset())
        assert probe.model.offered(free, probe) == tells
        assert not probe.model.offered(new, probe)
        totals: dict[tuple[int, ...], float] = {}
        for answer in probe.outcomes:
            taken = [Taken(probe, Observation(probe.id, answer=answer))]
            fresh = probe.model.factor(weighing, taken, frozenset({probe.part}))
            old = probe.model.factor(weighing, taken, frozenset())
            assert len(set(fresh.table.values())) == 1
            assert fresh.table[(0,)] == old.table[(0,)]
            for config, row in old.table.items():
                totals[config] = totals.get(config, 0.0) + row[0]
        assert list(totals.values()) == pytest.approx([1.0] * len(totals))
        unsure = Taken(probe, Observation(probe.id, answer="not sure"))
        assert probe.model.factor(weighing, [unsure], frozenset()) == Factor(())


# -- tests of a part ----------------------------------------------------------------------------------------


def test_a_capacitors_farads_follow_its_mode() -> None:
    """As marked when sound, nothing when open, no end of them when shorted, a share when weak."""
    machine = machine_of("csir-current-relay", "external")
    marked = machine.size("start_capacitor", "capacitance").median
    probe = "start_capacitor.farads"
    assert tips(probe, SOUND, machine) == pytest.approx(marked)
    assert tips(probe, {"start_capacitor": "open"}, machine) == 0.0
    assert tips(probe, {"start_capacitor": "shorted"}, machine) == math.inf
    for mode in machine.part("start_capacitor").family.modes.values():
        for branch in mode.branches:
            if branch.element == "capacitive":
                assert tips(probe, {"start_capacitor": mode.name}, machine) == pytest.approx(
                    marked * branch.times
                )


def test_a_parts_ohms_follow_its_mode_and_its_heat() -> None:
    """The pill by its sizes cold and hot, bridged and broken open; a protector may be open from heat."""
    assert tips("ptc.ohms") == pytest.approx(PTC.size("ptc", "cold").median, rel=1e-3)
    assert tips("ptc.ohms", hot=True) == pytest.approx(PTC.size("ptc", "hot").median, rel=1e-2)
    assert tips("ptc.ohms", {"ptc": "bridged"}) < 1.0
    assert tips("ptc.ohms", {"ptc": "open"}) > 1e6
    probe = probe_of(PTC, "overload_protector.ohms", SHOP)
    assert isinstance(probe.model, PartTest)
    bench = bench_of()
    opens = PTC.part("overload_protector").family.mode(HEALTHY).hot_open
    states = {hot: probe.model.tips(bench, probe, {}, hot).states for hot in (False, True)}
    assert len(states[False]) == 1
    assert [w for w, median, _ in states[True] if median == math.inf] == [opens]
    assert math.fsum(w for w, _, _ in states[True]) == pytest.approx(1.0)


def test_a_contact_that_scatters_finds_another_state_at_every_reading() -> None:
    """Its states sum to one, and good contact and none are among them; other modes are of one state."""
    probe = probe_of(PTC, "ptc.ohms", SHOP)
    assert isinstance(probe.model, PartTest)
    for mode in PTC.part("ptc").family.modes.values():
        made = probe.model.tips(bench_of(), probe, {"ptc": mode.name}, False)
        assert math.fsum(w for w, _, _ in made.states) == pytest.approx(1.0)
        assert made.renewed == mode.scattered
        assert len(made.states) == (3 if mode.makes else 1)


# -- the shell ----------------------------------------------------------------------------------------------


@every
def test_the_lowest_ohms_to_the_shell_fall_with_a_grounded_winding(name: str, guard: str) -> None:
    """Whichever winding it is; a sound machine shows megohms."""
    machine = machine_of(name, guard)
    sound = tips("pins.shell", SOUND, machine)
    assert sound > 1e6
    for winding in ("run_winding", "start_winding"):
        assert tips("pins.shell", {winding: "grounded"}, machine) < 0.01 * sound
    probe = probe_of(machine, "pins.shell", SHOP)
    assert isinstance(probe.model, Shell)
    bench = bench_of(machine)
    inside = {bench.parts[k] for k in probe.model.scope(bench, probe)}
    assert inside == {"run_winding", "start_winding", *(p for p in bench.parts if p == "internal_protector")}


def test_one_insulation_is_weighed_whatever_it_is_read_with() -> None:
    """Ohmmeter and tester share the unknown; a new compressor starts another."""
    plain, tester = seen("pins.shell", "OL"), seen("shell.insulation", "550 M")
    model = plain.probe.model
    assert model.group(plain, frozenset()) == model.group(tester, frozenset())
    renewed = frozenset({"run_winding"})
    assert model.group(plain, renewed) != model.group(plain, frozenset())
    assert model.group(plain, frozenset({"ptc"})) == model.group(plain, frozenset())


# -- windings -----------------------------------------------------------------------------------------------


def _triple(a: str, b: str, both: str, warm: PartTemperature = COLD) -> list[Taken]:
    return [seen("pins.C-R", a, warm=warm), seen("pins.C-S", b, warm=warm), seen("pins.S-R", both, warm=warm)]


def test_two_windings_in_series_read_their_sum() -> None:
    """That speaks for sound windings; OL where the run winding is in it, for that one; R + S, for neither."""
    run, start = (PTC.size(w, "winding").median for w in ("run_winding", "start_winding"))
    good = by_mode(factor(*_triple(f"{run:.1f}", f"{start:.1f}", f"{run + start:.1f}")), "run_winding")
    assert max(good, key=good.__getitem__) in (HEALTHY, "grounded")  # to the shell, not between pins
    assert good[HEALTHY] > 1000 * good["open"]
    gone = by_mode(factor(*_triple("OL", f"{start:.1f}", "OL")), "run_winding")
    assert gone["open"] > 1000 * gone[HEALTHY]
    other = by_mode(factor(*_triple("OL", f"{start:.1f}", "OL")), "start_winding")
    assert other["open"] < gone["open"]


def test_pins_by_name_and_by_number_are_weighed_apart() -> None:
    """Only named pairs are offered, and none once all three numbered ones are read."""
    model = Windings()
    named, numbered = seen("pins.C-R", "4.7"), seen("pins.1-2", "4.7")
    assert model.group(named, frozenset()) == Group("pins by name")
    assert model.group(numbered, frozenset()) == Group("pins by number")
    three = [seen(f"pins.{p}", "4.7") for p in ("1-2", "1-3", "2-3")]
    assert model.offered(offer(*three[:2]), named.probe)
    assert not model.offered(offer(*three), named.probe)
    assert not model.offered(offer(), numbered.probe)


@pytest.mark.parametrize("warm", ["cold", "hot", "unknown"])
def test_an_internal_protector_is_open_or_closed_in_every_epoch(warm: str) -> None:
    """Weights of its states sum to one for every mode; one that has failed open has a single state."""
    machine = machine_of("rsir-ptc", "internal") if "internal" in PTC.arrangement.protectors else PTC
    bench = bench_of(machine)
    temperature = PartTemperature(warm)  # type: ignore[arg-type]
    taken = [
        Taken(p, Observation(p.id, parse_reading("4.7 ohm"), temperature=t))
        for p, t in (
            (probe_of(machine, "pins.C-R", SHOP), temperature),
            (probe_of(machine, "pins.C-S", SHOP), COLD),
        )
    ]
    setup = winding_setup(bench, default_meter(), taken)
    for sealed in setup.windings.modes():
        states = setup.states(sealed)
        assert math.fsum(w for _, w in states) == pytest.approx(1.0)
        assert all(w >= 0.0 for _, w in states)
        if sealed[2] == "open":
            assert states == [((sealed, frozenset()), 1.0)]
        if sealed[2] == "tripped" and warm == "hot":
            assert max(states, key=lambda row: row[1])[0][1] == {"hot"}
    assert setup.hot.keys() == {warm, "cold"}


def test_what_nobody_felt_is_as_warm_as_the_other_windings_in_the_shell() -> None:
    """Copper's factor of the felt reading is used for it; by itself it has its own."""
    felt, unfelt = seen("pins.C-R", "4.7", warm=HOT), seen("pins.C-S", "11.2", warm=PartTemperature())
    together = winding_setup(bench_of(), default_meter(), [felt, unfelt])
    assert [row[4] for row in together.readings] == [copper(HOT)[0]] * 2
    alone = winding_setup(bench_of(), default_meter(), [unfelt])
    assert [row[4] for row in alone.readings] == [copper(PartTemperature())[0]]
    apart = winding_setup(bench_of(), default_meter(), [felt, seen("pins.S-R", "15", warm=COLD), unfelt])
    assert [row[4] for row in apart.readings] == [copper(t)[0] for t in (HOT, COLD, PartTemperature())]


# -- recordings ---------------------------------------------------------------------------------------------


@every
def test_a_recording_speaks_for_the_modes_that_show_its_cause(name: str, guard: str) -> None:
    """By how probable it is under each cause, but for the share that is read wrongly."""
    machine = machine_of(name, guard)
    bench = bench_of(machine)
    probe = probe_of(machine, "attempt.recorded", SHOP)
    assert isinstance(probe.model, Recorded)
    shown = (("no_start_current", 0.0), ("healthy", -7.0), ("rotor_held", -3.0))
    taken = [Taken(probe, Observation(probe.id, answer="hum", causes=shown))]
    made = probe.model.factor(weighing_of(bench, Situation(machine)), taken, frozenset())
    assert made.per_set is not None
    likely = {cause: math.exp(x) for cause, x in shown}
    anything = sum(likely.values()) / 3
    assert made.none == pytest.approx(anything)
    for chosen in bench.space.sets[::97]:
        cause = cause_of(machine, bench.modes_in(chosen))
        right = (1 - misread()) * likely.get(cause, anything) + misread() * anything
        assert made.per_set(chosen) == pytest.approx(right)
    nothing = [Taken(probe, Observation(probe.id, causes=(("a cause of a later version", 0.0),)))]
    assert probe.model.factor(weighing_of(bench, Situation(machine)), nothing, frozenset()) == Factor(())


@every
def test_the_first_cause_in_the_order_hides_the_others(name: str, guard: str) -> None:
    """Of any two modes the recording shows the cause that comes first; without one it looks healthy."""
    machine = machine_of(name, guard)
    shows = {
        (part.id, mode.name): mode.recorded for part in machine.parts for mode in part.family.modes.values()
    }
    assert cause_of(machine, {}) == "healthy"
    order = [*causes(), ""]
    assert {cause for cause in shows.values() if cause} <= set(order)
    rows = list(shows)[::7]
    for a in rows:
        for b in rows:
            if a[0] != b[0]:
                first = min((shows[a], shows[b]), key=order.index)
                assert cause_of(machine, dict((a, b))) == (first or "healthy")


# -- steps --------------------------------------------------------------------------------------------------


@given(median=st.floats(1e-6, 1e6), sigma=st.floats(0.01, 3.0))
def test_a_step_is_within_a_tenth_of_the_spread(median: float, sigma: float) -> None:
    """And the spread within five per cent; an unknown on a step stays there."""
    m, s = in_steps(median, sigma)
    assert abs(math.log(s / sigma)) <= 0.05 + 1e-9
    assert abs(math.log(m / median)) <= 0.1 * s + 1e-9
    assert in_steps(m, s) == pytest.approx((m, s))


@given(tenths=st.integers(0, 4000), ratio=st.floats(0.2, 5.0), sigma=st.floats(0.05, 0.5))
def test_no_median_gives_a_display_more_than_the_highest(tenths: int, ratio: float, sigma: float) -> None:
    """Wherever it lies, and spread by at least as much; amps as the clamp shows them, OL for none."""
    clamp = clamp_of(default_meter())
    display = Display(
        parse_reading(f"{tenths / 10:.1f} A" if tenths else "OL", Quantity.CURRENT), clamp, SHOP.slips
    )
    centre = (tenths / 10 or 10.0) * ratio
    assert evidence([display], centre, sigma).value <= highest(display, 0.05) * (1 + 1e-6)


def test_the_probes_of_this_file_are_of_its_kinds() -> None:
    """A probe says by its kind which class reads it."""
    kinds = {
        "supply.volts": Outlet,
        "feed.volts": Feed,
        "supply.volts_start": VoltsStart,
        "pins.C-R": Windings,
        "pins.shell": Shell,
        "ptc.ohms": PartTest,
        "ptc.shake": PartLook,
        "leads.short": TipsTogether,
        "attempt.recorded": Recorded,
    }
    probes: dict[str, Probe] = probes_of(PTC, SHOP)
    assert {name: type(probes[name].model) for name in kinds} == kinds
