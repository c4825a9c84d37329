"""What stands before a compressor is condemned, and the small shares that likelihoods are made of."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import bench_for
from humclick.diagnosis.displays import Display, cut_at
from humclick.diagnosis.evidence import lead_nodes, weighing_of
from humclick.diagnosis.factors import dead, flat, uncharged
from humclick.diagnosis.findings import findings, shown_text
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.guards import guards_for, guards_for_no_repair
from humclick.diagnosis.judged import judge
from humclick.diagnosis.likelihood import evidence
from humclick.diagnosis.observations.model import Group, Taken
from humclick.diagnosis.probes import probe_of, probes_of
from humclick.diagnosis.shop import default_shop, shop_from_table
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.errors import Refused
from humclick.meters import Quantity, default_meter, meter
from humclick.readings import Leads, PartTemperature, Reading, parse_reading
from humclick.safety.gating import gates
from tests.visit import MACHINES, machine_of

SHOP = default_shop()
COLD, HOT = PartTemperature("cold"), PartTemperature("hot")
OHM, VOLT, FARAD, AMPERE = Quantity.RESISTANCE, Quantity.VOLTAGE, Quantity.CAPACITANCE, Quantity.CURRENT
every = pytest.mark.parametrize(("name", "guard"), MACHINES[::3])


def show(text: str, quantity: Quantity, slips: dict[str, float] | None = None) -> Display:
    return Display(parse_reading(text, quantity), default_meter(), {**SHOP.slips, **(slips or {})})


def seen(
    machine: Machine, probe: str, text: str = "", answer: str = "", warm: PartTemperature = COLD
) -> Observation:
    quantity = probe_of(machine, probe).quantity
    return Observation(probe, parse_reading(text, Quantity(quantity)) if text else None, answer, warm)


# -- probes -------------------------------------------------------------------------------------------------


@every
def test_no_gate_stands_twice_before_a_probe(name: str, guard: str) -> None:
    """And a capacitor is discharged wherever hands are inside a machine that has one."""
    machine = machine_of(name, guard)
    capacitors = any("capacitance" in p.family.sizes for p in machine.parts)
    for probe in probes_of(machine).values():
        assert len(set(probe.gates)) == len(probe.gates), probe.id
        assert set(probe.gates) <= set(gates())
        dead_first = "power-off-proved-dead" in probe.gates
        if dead_first and capacitors and probe.inside:
            assert "capacitors-discharged" in probe.gates, probe.id
    fits = {p.id for p in probes_of(machine).values() if p.kind == "fit"}
    assert fits == {f"fit.{p.id}" for p in machine.parts if p.family.gear or p.family.fit is not None}


@every
def test_readings_before_and_after_a_part_is_new_are_of_two_parts(name: str, guard: str) -> None:
    """What is new elsewhere parts nothing; heat does."""
    machine = machine_of(name, guard)
    for probe in probes_of(machine).values():
        if probe.kind != "test":
            continue
        taken = Taken(probe, Observation(probe.id, temperature=COLD))
        group = probe.model.group(taken, frozenset())
        assert isinstance(group, Group)
        assert probe.model.group(taken, frozenset({probe.part})) != group
        assert probe.model.group(taken, frozenset({"something else"})) == group
        warm = Taken(probe, replace(taken.observation, temperature=HOT))
        assert probe.model.group(warm, frozenset()) != group


# -- guards -------------------------------------------------------------------------------------------------


def guards(*observations: Observation, machine: Machine, heard: Heard = Heard.HUM) -> dict[str, GuardState]:
    situation = Situation(machine, heard, observations, hot=False)
    judged = judge(situation)
    return {g.name: g for g in guards_for(bench_for(machine, SHOP), situation, judged.post)}


def test_windings_count_as_read_once_two_pairs_were_read_cold() -> None:
    """Neither hot readings nor looks count; the ones that are missing are asked for."""
    machine = machine_of("rsir-ptc", "external")
    cold = [seen(machine, "pins.C-R", "4.7"), seen(machine, "pins.C-S", "11.2")]
    hot = [replace(o, temperature=HOT) for o in cold]
    states = {
        n: guards(*rows, machine=machine)["windings-cold"] for n, rows in enumerate(([], cold[:1], cold, hot))
    }
    assert [states[n].done for n in range(4)] == [False, False, True, False]
    assert "pins.C-R" not in states[1].probes
    assert set(states[0].probes) == {"pins.C-R", "pins.C-S", "pins.S-R"}


def test_gear_is_cleared_by_a_try_on_known_good_that_fails_and_never_by_one_that_runs() -> None:
    """Nor by a try that nobody heard, nor by another probe with the same answer."""
    machine = machine_of("rsir-ptc", "external")

    def cleared(*rows: Observation) -> bool:
        return bool(guards(*rows, machine=machine)["gear"].done)

    stalls, runs, silent, other = (
        *(seen(machine, "attempt.known_good", answer=a) for a in ("hum", "runs", "")),
        seen(machine, "attempt.as_found", answer="hum"),
    )
    assert cleared(stalls)
    assert not cleared(runs)
    assert not cleared(stalls, runs)
    assert not cleared(silent)
    assert not cleared(other)


def test_an_ohmmeters_ol_does_not_condemn_after_a_breaker() -> None:
    """A tester's megohms do, and so does a low reading of either."""
    machine = machine_of("rsir-ptc", "external")

    def ground(heard: Heard, probe: str, text: str) -> bool:
        return bool(guards(seen(machine, probe, text), machine=machine, heard=heard)["ground"].done)

    assert ground(Heard.HUM, "pins.shell", "OL")
    assert not ground(Heard.BREAKER, "pins.shell", "OL")
    assert ground(Heard.BREAKER, "pins.shell", "40")
    assert not guards(machine=machine)["ground"].done


def test_trying_again_is_asked_only_until_it_failed_cold() -> None:
    """A failure before the control was set, hot, or before a part was new does not count."""
    machine = machine_of("rsir-ptc", "external")
    failed = seen(machine, "attempt.as_found", answer="hum")
    setting = seen(machine, "control.setting", answer="was calling all along")

    def asked(*rows: Observation, renewed: frozenset[str] = frozenset()) -> tuple[str, ...]:
        situation = Situation(machine, Heard.HUM, rows, hot=False, renewed=renewed)
        states = guards_for_no_repair(bench_for(machine, SHOP), situation, unexplained=True)
        return next(g.probes for g in states if g.name == "runs")

    assert asked() == ("attempt.as_found",)
    assert asked(failed) == ()
    assert asked(failed, setting) == ("attempt.as_found",)
    assert asked(setting, failed) == ()
    assert asked(replace(failed, temperature=HOT)) == ("attempt.as_found",)
    assert asked(failed, renewed=frozenset({"ptc"})) == ("attempt.as_found",)


# -- findings -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "quantity", "shown"),
    [
        ("4.70", OHM, "4.70 Ω"),
        ("4.7", OHM, "4.7 Ω"),
        ("11", OHM, "11 Ω"),
        ("4k7", OHM, "4.7 kΩ"),
        ("100", OHM, "100 Ω"),
        ("0.05", OHM, "0.05 Ω"),
        ("98.4 uF", FARAD, "98.4 µF"),
        ("OL", OHM, "OL"),
        ("0.0", OHM, "0.0"),
    ],
)
def test_a_reading_is_read_out_with_the_digits_typed(text: str, quantity: Quantity, shown: str) -> None:
    """No more and no fewer; nothing but zeros is as it was typed."""
    assert str(shown_text(Observation("x", parse_reading(text, quantity)))).replace("μ", "µ") == shown


def test_ol_while_hot_is_no_verdict_only_where_heat_can_open_it() -> None:
    """Across the protector, but not between S and R, cold, or with a figure."""
    machine = machine_of("rsir-ptc", "external")

    def says(probe: str, text: str, warm: PartTemperature) -> bool:
        (finding,) = findings(Situation(machine, observations=(seen(machine, probe, text, warm=warm),)))
        return "while hot" in finding.text

    assert says("overload_protector.ohms", "OL", HOT)
    assert not says("overload_protector.ohms", "OL", COLD)
    assert not says("overload_protector.ohms", "0.3", HOT)
    inner = machine_of("rsir-ptc", "internal")
    for probe, wanted in (("pins.C-R", True), ("pins.S-R", False)):
        (finding,) = findings(Situation(inner, observations=(seen(inner, probe, "OL", warm=HOT),)))
        assert ("while hot" in finding.text) == wanted


def test_what_warns_is_not_what_a_healthy_part_reads() -> None:
    """A start that runs does not warn, one that hums does; a whole-machine reading says so too."""
    machine = machine_of("rsir-ptc", "external")
    rows = {
        ("attempt.as_found", "", "runs"): False,
        ("attempt.as_found", "", "hum"): True,
        ("supply.volts_start", "112 V", ""): False,
        ("supply.volts_start", "60 V", ""): True,
        ("ptc.ohms", "5.1", ""): False,
        ("ptc.ohms", "OL", ""): True,
    }
    for (probe, text, answer), warns in rows.items():
        (finding,) = findings(Situation(machine, observations=(seen(machine, probe, text, answer),)))
        assert finding.warns == warns, (probe, text, answer)


# -- shares -------------------------------------------------------------------------------------------------


def test_nothing_known_of_a_display_spreads_it_evenly_over_decades() -> None:
    """By the ln of what is rounded to it, over all numbers; OL and nothing have shares of their own."""
    assert flat(show("OL", OHM)) == 0.3
    assert flat(show("0.0", OHM)) == 0.1
    for text, low, high in (("4.7", 4.65, 4.75), ("47.0", 46.95, 47.05), ("8.00M", 7.995e6, 8.005e6)):
        share = math.log(high / low) / math.log(19.995e6 / 0.05)
        assert flat(show(text, OHM)) == pytest.approx(0.6 * share, rel=1e-6)


def test_a_dead_wire_shows_nothing_or_a_stray_voltage() -> None:
    """Never more than the strays; a fraction of a volt more often than tens."""
    stray = 23.0
    shown = [show(f"{v} V", VOLT) for v in ("0.0", "0.4", "12.0", "22.9", "23.1", "115.0")]
    at = [dead([display], stray) for display in shown]
    by_volt = [p / (display.high - max(display.low, 0.0)) for p, display in zip(at, shown, strict=True)]
    assert by_volt == sorted(by_volt, reverse=True)
    assert at[0] > 0.4
    assert by_volt[2] == pytest.approx(by_volt[3], rel=0.01)
    assert at[3] > 10 * at[4]
    assert at[2] - at[5] == pytest.approx(0.1 * (shown[2].high - shown[2].low) / stray, rel=0.01)


def test_an_open_capacitor_keeps_some_nanofarads_or_a_part_of_what_it_had() -> None:
    """Nothing most often; up to thirty nanofarads spread evenly; then up to the most, by its logarithm."""
    texts = ("0.00 uF", "25 nF", "29 nF", "0.30 uF", "0.60 uF", "9.00 uF", "15 uF")
    shown = {t: show(t, FARAD) for t in texts}
    at = {t: uncharged([d], 10e-6) for t, d in shown.items()}
    assert at["0.00 uF"] > at["25 nF"] > at["0.30 uF"] > at["9.00 uF"] > at["15 uF"]
    spread = {t: p - 0.7 * shown[t].probability(0.0) for t, p in at.items()}
    assert spread["25 nF"] == pytest.approx(0.2 * shown["25 nF"].digit / 3e-8)
    assert spread["25 nF"] == pytest.approx(spread["29 nF"])
    assert spread["0.30 uF"] == pytest.approx(2.0 * spread["0.60 uF"], rel=0.01)
    assert spread["15 uF"] == pytest.approx(0.0, abs=1e-12)


def test_what_is_left_of_an_open_capacitor_is_read_again() -> None:
    """The same number twice is hardly less probable than once; another number is."""
    once, again, other = (show(t, FARAD) for t in ("0.30 uF", "0.30 uF", "3.00 uF"))
    assert uncharged([once, again], 10e-6) > 0.3 * uncharged([once], 10e-6) * again.probability(0.3e-6)
    assert uncharged([once, other], 10e-6) < 0.01 * uncharged([once], 10e-6)


@pytest.mark.parametrize("most", [1e-8, 6e-8, 1e-6, 1e-5])
def test_what_an_open_capacitor_shows_sums_to_one(most: float) -> None:
    """Whatever may be left of it."""
    scale = show("1.00 uF", FARAD).scale
    every = cut_at(scale, [1e-9, 3e-8, 1e-7, 2e-6, 1e-5, 1e-4])
    assert math.fsum(uncharged([stretch], most) for stretch in every) == pytest.approx(1.0, abs=2e-3)


def test_a_tip_that_touches_nothing_shows_it_by_quantity() -> None:
    """Ohms over limit; volts and amps nothing, or a fraction of what is next to nothing."""
    sure = dict.fromkeys(SHOP.slips, 0.0) | {"no_contact": 1.0}

    def alone(text: str, quantity: Quantity, real: float) -> float:
        return show(text, quantity, sure).probability(real)

    assert alone("OL", OHM, 5.0) == pytest.approx(1.0)
    assert alone("5.0", OHM, 5.0) == pytest.approx(0.0, abs=1e-9)
    digit = {text: show(text, VOLT).digit for text in ("0.0 V", "0.5 V")}
    assert alone("0.0 V", VOLT, 115.0) == pytest.approx(0.75 + 0.25 * 0.5 * digit["0.0 V"])
    assert alone("0.5 V", VOLT, 115.0) == pytest.approx(0.25 * digit["0.5 V"] / 1.0)
    assert alone("2.0 V", VOLT, 115.0) == pytest.approx(0.0, abs=1e-9)
    assert alone("4.0 nF", FARAD, 15e-6) == pytest.approx(0.25 * show("4.0 nF", FARAD).digit / 1e-8)


def test_leads_weigh_one_and_have_the_mean_they_are_given() -> None:
    """Known, nulled with a null forgotten, or spread over three nodes of a log-normal."""
    assert lead_nodes(Leads(resistance=0.3), 0.1) == ((0.3, 1.0),)
    assert lead_nodes(Leads(nulled=True), 0.1) == ((0.0, 0.9), (0.25, 0.1))
    assert lead_nodes(Leads(nulled=True), 0.0) == ((0.0, 1.0),)
    nodes = lead_nodes(Leads(), 0.1)
    spread = Leads().spread
    assert spread is not None
    assert math.fsum(w for _, w in nodes) == pytest.approx(1.0)
    logs = [math.log(c / spread.median) for c, _ in nodes]
    assert math.fsum(w * x for x, (_, w) in zip(logs, nodes, strict=True)) == pytest.approx(0.0, abs=1e-12)
    assert math.fsum(w * x * x for x, (_, w) in zip(logs, nodes, strict=True)) == pytest.approx(
        spread.sigma**2
    )


def test_a_touch_adds_ohms_only_where_hands_can_touch_dirt() -> None:
    """A display above the truth is likelier for it, one below never; without the slip neither."""
    clean = dict.fromkeys(SHOP.slips, 0.0) | {"dirty_contact_ohms": SHOP.slips["dirty_contact_ohms"]}
    dirty = clean | {"dirty_contact": 0.2}
    above = [show("9.0", OHM, s).probability(4.7) for s in (clean, dirty)]
    below = [show("3.0", OHM, s).probability(4.7) for s in (clean, dirty)]
    assert above[1] > above[0] + 1e-3
    assert below[1] == pytest.approx(below[0], abs=1e-12)


def test_the_integral_over_an_unknown_is_its_mean_over_close_nodes() -> None:
    """Against a plain sum over ten thousand places; its nodes weigh one."""
    display = show("4.7", OHM)
    for median, sigma in ((4.7, 0.2), (6.0, 0.5), (3.0, 1.0)):
        made = evidence([display], median, sigma)
        zs = [-8 + 16 * k / 10_000 for k in range(10_001)]
        plain = sum(
            math.exp(-(z**2) / 2) / math.sqrt(2 * math.pi) * display.probability(median * math.exp(sigma * z))
            for z in zs
        ) * (zs[1] - zs[0])
        assert made.value == pytest.approx(plain, rel=0.02)
        assert math.fsum(w for _, w in made.nodes) == pytest.approx(1.0)


def test_a_better_meter_tells_more() -> None:
    """Within what its counts allow, the nearer to the truth the more probable; nothing exceeds one."""
    for name in ("clamp", "insulation tester"):
        own = meter(name)
        quantity = AMPERE if name == "clamp" else OHM
        real = 10.0 if name == "clamp" else 100e6
        span = own.range_for(quantity, real)
        exact = round(real / span.resolution)
        shown = [exact + round(share * span.counts) for share in (-0.8, -0.4, 0.0, 1.0)]
        readings = [Reading(quantity, n * span.resolution, resolution=span.resolution) for n in shown]
        at = [Display(reading, own, SHOP.slips).probability(real) for reading in readings]
        assert all(0.0 <= p <= 1.0 for p in at)
        assert at[2] == max(at)
        assert all(a <= b for a, b in pairwise(at[:3]))


# -- a shop's figures ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "taken"),
    [(0.0, True), (1e9, True), (1.0001e9, False), (-1.0, False), (math.nan, False), ("x", False)],
)
def test_a_shops_figure_is_a_number_from_nothing_to_a_billion(value: object, taken: bool) -> None:
    """Anything else is refused with its place."""
    table = {"rates": {"waiting": value}}
    if taken:
        assert shop_from_table(table).rates["waiting"] == value
        return
    with pytest.raises(Refused, match=r"rates\.waiting"):
        shop_from_table(table)


@every
def test_a_weighing_takes_the_means_over_the_leads(name: str, guard: str) -> None:
    """One value for all nodes is itself; else it is the weighted mean."""
    machine = machine_of(name, guard)
    weighing = weighing_of(bench_for(machine, SHOP), Situation(machine))
    row = [1.0 + k for k in range(len(weighing.leads))]
    assert weighing.mean([7.0]) == 7.0
    assert weighing.mean(row) == pytest.approx(
        math.fsum(w * x for x, (_, w) in zip(row, weighing.leads, strict=True))
    )
    display = show("4.7", OHM)
    share = weighing.as_healthy
    assert weighing.none(0.5, [display]) == pytest.approx(share * 0.5 + (1 - share) * flat(display))
    assert weighing.none(0.5, [display, display], 0.2) == pytest.approx(0.1 + 0.8 * flat(display) ** 2)
