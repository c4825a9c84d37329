"""
The atlas: every probe of every arrangement read over the whole axis in six contexts, and what must hold.

Coarsely here, whole with `-m long`. `docs/atlas.py` draws it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from research.atlas import (
    COARSE,
    CONTEXTS,
    FINE,
    ROUGH,
    Cell,
    Place,
    machine,
    places,
    situation,
    stretches,
    swept,
    values,
)

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import advise
from humclick.diagnosis.findings import Finding, findings
from humclick.diagnosis.judged import judge
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.probes import probe_of, probes_of
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.parts.family import HEALTHY
from humclick.readings import Leads, PartTemperature, parse_reading, parse_stamp
from humclick.sourced import Spread
from tests.published import published
from tests.sample import sampled

#: How much each kind of finding alarms.
ALARM = {Says.GOOD: 0, Says.UNCLEAR: 1, Says.BAD: 2, Says.UNKNOWN: 2}
#: Below it no winding is put under power: IEEE 43-2013, random-wound below 1 kV (from memory). [Ω]
MINIMUM_OHMS = 5e6
#: Numbered pins are read alike: one pair stands for all.
_SAME = ("pins.1-3", "pins.2-3")
_UNNAMED = "pins.1-2"
#: A finding of good costs the sound machine no more than this of its odds, one of bad gives it none. [-]
_KEEPS, _LOSES = 0.2, 1.05

EVERY = [place for place in places() if place.probe not in _SAME]
#: One place for each probe, the last arrangement that has it.
ONE = list({place.probe: place for place in EVERY}.values())
_OTHERS = [name for name in CONTEXTS if name != "healthy"]


def alarms(cells: Sequence[Cell]) -> list[int]:
    return [ALARM[cell.finding.says] for cell in cells]


def check(place: Place, name: str, cells: Sequence[Cell]) -> None:
    """Every value has a finding, and away from what is good alarm never falls."""
    ranks = alarms(cells)
    shown = [(cell.text, str(cell.finding.says)) for cell in cells]
    for cell, rank in zip(cells, ranks, strict=True):
        assert cell.finding.text
        assert cell.finding.warns == (rank > 0)
    calm = [k for k, rank in enumerate(ranks) if rank == 0]
    if not calm:
        return
    if _may_be_hot(cells[-1]):  # a protector that let go with heat is as it should be
        calm += [k for k in range(calm[-1] + 1, len(cells)) if _may_be_hot(cells[k])]
    sides = [ranks[: calm[0]][::-1], ranks[calm[-1] + 1 :]]
    gaps = [ranks[a + 1 : b] for a, b in itertools.pairwise(calm) if b > a + 1]
    if gaps:  # between the two ways a sound part reads it rises and falls
        assert _may_be_hot(cells[-1]) or _reads_two_ways(place), (place, name, shown)
        (gap,) = gaps
        top = gap.index(max(gap))
        sides += [gap[: top + 1], gap[top:][::-1]]
    for side in sides:
        assert side == sorted(side), (place, name, shown)


def _may_be_hot(cell: Cell) -> bool:
    return cell.finding.says is Says.UNCLEAR and "may only be hot" in cell.finding.text


def _reads_two_ways(place: Place) -> bool:
    """
    Whether sound machines read one of two things there: a start capacitor its bleed resistor, or OL for none;
    the amps of a try those of running, or of a rotor that stands against its own pressures.
    """
    built = machine(place.arrangement, place.protector, plate=True)
    probe = probes_of(built)[place.probe]
    if probe.quantity == "current":
        return probe.energises
    return probe.quantity == "resistance" and bool(built.part(probe.part).family.mode(HEALTHY).bare)


def agrees(place: Place, name: str, cells: Sequence[Cell]) -> None:
    """What is said of a value is what the posterior makes of it, for one value of each stretch."""
    context = CONTEXTS[name]
    for says, row in stretches(cells):
        cell = row[len(row) // 2]
        seen = situation(place, context, cell.text)
        judged = judge(seen)
        factor = judged.evidence.factors[-1]
        parts = [judged.bench.parts[k] for k in factor.scope]
        if not parts:  # it says which faults fit, of the whole machine, and not that one of them is there
            continue
        before, after = (_sound(place, of, parts) for of in (situation(place, context), seen))
        if says is Says.GOOD:
            assert after >= _KEEPS * before, (place, name, cell.text, before, after, cell.finding.text)
        elif says is Says.BAD:
            assert after <= _LOSES * before, (place, name, cell.text, before, after, cell.finding.text)


def _sound(place: Place, of: Situation, parts: Sequence[str]) -> float:
    """Odds that some parts are sound. [-]"""
    post = judge(of).post
    wrong = min(math.fsum(post.of_part(part) for part in parts), 1.0 - 1e-9)
    return (1.0 - wrong) / max(wrong, 1e-12)


def safe(cells: Sequence[Cell], place: Place) -> None:
    """Nothing that puts power on is advised."""
    built = machine(place.arrangement, place.protector, plate=True)
    for cell in cells:
        assert cell.advice is not None
        if cell.advice.next is not None:
            assert not probe_of(built, cell.advice.next.probe).energises, (place, cell.text)
        else:
            assert cell.advice.bars, (place, cell.text)


@pytest.mark.parametrize("place", sampled(ONE, ONE[::2]), ids=lambda place: place.probe)
def test_away_from_good_alarm_never_falls(place: Place) -> None:
    """And every value has a finding that says one of four; with nothing else found, and coarsely."""
    context = CONTEXTS["healthy"]
    figures = ROUGH if place.probe.startswith(("pins.", "shell.")) else COARSE
    check(place, "healthy", swept(place, context, values(place, context, figures)))


@pytest.mark.parametrize("name", sampled(_OTHERS, ("fresh", "grounded")))
def test_nor_does_it_in_other_contexts(name: str) -> None:
    """Nothing known, a try a moment ago, a warm part, a grounded winding, a pocket meter."""
    for place in ONE[list(CONTEXTS).index(name) % 3 :: 3]:  # each probe in one or two of them
        if place.probe != _UNNAMED:
            check(place, name, swept(place, CONTEXTS[name], values(place, CONTEXTS[name], ROUGH)))


@pytest.mark.parametrize(
    "place", [p for p in ONE if p.probe in ("ptc.ohms", "pins.C-R", "supply.volts")], ids=lambda p: p.probe
)
def test_finding_and_posterior_agree(place: Place) -> None:
    """What reads good does not make its part suspect, and what reads bad does not clear it."""
    context = CONTEXTS["healthy"]
    agrees(place, "healthy", swept(place, context, values(place, context, ROUGH)))


@pytest.mark.parametrize("name", ["rsir-ptc", "three-phase"])
@pytest.mark.parametrize("probe", ["pins.shell", "shell.insulation"])
def test_no_power_below_the_insulation_rule(name: str, probe: str) -> None:
    """Whatever is read below it, the next step puts no power on."""
    place = Place(name, "internal", probe)
    safe(swept(place, CONTEXTS["healthy"], ("0.0", "4.7k", "1M", "4.7M"), advised=True), place)


@pytest.mark.long
@pytest.mark.parametrize("name", CONTEXTS)
@pytest.mark.parametrize("kind", [name for name in arrangements() if not arrangement(name).recognised_only])
def test_the_whole_atlas_holds(kind: str, name: str) -> None:
    """Every arrangement, every place of its protector, every probe, every context, every value."""
    context = CONTEXTS[name]
    for place in (p for p in EVERY if p.arrangement == kind):
        figures = ROUGH if place.probe == _UNNAMED else FINE
        cells = swept(place, context, values(place, context, figures))
        check(place, name, cells)
        if name in ("healthy", "fresh") and place.probe != _UNNAMED:
            agrees(place, name, cells)
        ends = [row[k].text for _, row in stretches(cells) for k in {0, len(row) - 1}]
        probe = probes_of(machine(kind, place.protector, plate=True))[place.probe]
        if probe.model.to_shell:
            low = [c.text for c in cells if 0.0 <= _ohms(c.text) < MINIMUM_OHMS and c.text in ends]
            safe(swept(place, context, low, advised=True), place)
        elif name == "grounded":
            safe(swept(place, context, ends, advised=True), place)
        else:
            assert all(cell.advice for cell in swept(place, context, ends, advised=True))


def _ohms(text: str) -> float:
    value = parse_reading(text, Quantity.RESISTANCE).value
    return math.inf if value is None else value


# -- trailing zeros ------------------------------------------------------------------------------------------


def _same_digits() -> Iterator[tuple[Place, str]]:
    for place in ONE:
        quantity = probes_of(machine(place.arrangement, place.protector, plate=True))[place.probe].quantity
        units = {"resistance": ("", "k", "M"), "voltage": (" V",), "capacitance": (" uF",)}.get(quantity, ())
        yield from ((place, unit) for unit in units if place.probe != _UNNAMED)


_PLACED = list(_same_digits())


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(_PLACED), st.integers(1, 999), st.integers(0, 2), st.sampled_from(sorted(CONTEXTS)))
def test_trailing_zeros_turn_nothing(at: tuple[Place, str], figure: int, decimals: int, name: str) -> None:
    """A value written with more zeros says the same word for word, and leaves the same suspects."""
    place, unit = at
    short = f"{figure / 10**decimals:.{decimals}f}"
    longer = [f"{short}{zeros}" if "." in short else f"{short}.{zeros}" for zeros in ("0", "00")]
    said = [situation(place, CONTEXTS[name], f"{text}{unit}") for text in (short, *longer)]
    first = judge(said[0]).post
    for other in said[1:]:
        assert findings(other)[-1].says is findings(said[0])[-1].says
        again = judge(other).post
        assert again.none == pytest.approx(first.none, rel=1e-6)
        assert again.by_mode == pytest.approx(first.by_mode, rel=1e-6, abs=1e-12)


def test_29_microfarads_are_29_0_microfarads() -> None:
    """At the edge of a stamp, where a whole microfarad of rounding would be the difference."""
    built = Machine.of("psc", known={"run_capacitor.capacitance": marked("30 MFD 370 VAC")})
    odds = []
    for text in ("29 uF", "29.0 uF", "29.00 uF"):
        seen = Observation("run_capacitor.farads", parse_reading(text, Quantity.CAPACITANCE))
        odds.append(judge(Situation(built, Heard.HUM, (seen,))).post.of_part("run_capacitor"))
    assert max(odds) == pytest.approx(min(odds), rel=1e-9)


# -- the rules of the trade ----------------------------------------------------------------------------------


def marked(text: str) -> Spread:
    """What a mark says a start or run capacitor has."""
    low, high = parse_stamp(text).limits("run" if "370" in text else "start")
    return Spread(math.sqrt(low * high), math.sqrt(high / low), "F")


def _with(part: str) -> list[str]:
    """Arrangements whose starts are simulated that have a part, with an external protector if it is that."""
    found: list[str] = []
    for name in arrangements():
        kind = arrangement(name)
        if kind.started and any(p.id == part for p in Machine.of(name, kind.protectors[0]).parts):
            found.append(name)
    return found


def _said(name: str, probe: str, text: str, felt: str = "cold", stamp: str = "") -> Finding:
    known = {}
    if stamp:
        known[f"{probe.partition('.')[0]}.capacitance"] = marked(stamp)
    built = Machine.of(name, arrangement(name).protectors[0], Nameplate(115.0, 60.0), known)
    quantity = Quantity(probes_of(built)[probe].quantity)
    warm = PartTemperature(felt)  # type: ignore[arg-type]
    seen = Observation(probe, parse_reading(text, quantity), temperature=warm)
    return findings(Situation(built, Heard.HUM_CLICK, (seen,), leads=Leads(nulled=True)))[0]


_GOOD, _DOUBT = (Says.GOOD,), (Says.UNCLEAR, Says.BAD, Says.UNKNOWN)
#: Part, probe, what is shown, how warm, the mark, and what a practitioner says.
RULES = [
    *(("overload_protector", "ohms", text, "cold", "", _GOOD) for text in ("0.1", "0.2", "0.3")),
    ("overload_protector", "ohms", "OL", "cold", "", (Says.BAD,)),
    ("overload_protector", "ohms", "0.0", "cold", "", (Says.UNCLEAR,)),
    ("overload_protector", "ohms", "OL", "hot", "", (Says.UNCLEAR,)),
    *(("ptc", "ohms", text, "cold", "", _GOOD) for text in ("4.7", "4.9", "7.5")),
    ("current_relay", "at_rest", "OL", "cold", "", _GOOD),
    *(("current_relay", "at_rest", text, "cold", "", (Says.BAD,)) for text in ("0.0", "0.2")),
    *(("current_relay", "turned_over", text, "cold", "", _GOOD) for text in ("0.0", "0.1", "0.2")),
    *(("current_relay", "turned_over", text, "cold", "", _DOUBT) for text in ("3.8", "4.0")),
    *(("current_relay", "coil", text, "cold", "", _GOOD) for text in ("0.0", "0.1")),
    *(
        ("start_capacitor", "farads", text, "cold", "15 MFD 330 VAC", _GOOD)
        for text in ("14.84 uF", "15.41 uF")
    ),
    *(
        ("start_capacitor", "farads", text, "cold", "88-108 MFD 125 VAC", _GOOD)
        for text in ("88 uF", "97.5 uF", "108 uF")
    ),
    ("start_capacitor", "farads", "40 uF", "cold", "88-108 MFD 125 VAC", (Says.BAD,)),
]


@published(source="common practice", where="how a practitioner takes a reading", printed_to="rule")
@pytest.mark.parametrize("rule", RULES, ids=lambda rule: f"{rule[0]}.{rule[1]} {rule[2]} {rule[3]}")
def test_the_rules_of_the_trade_hold_for_every_arrangement(rule: tuple[str, ...]) -> None:
    """On every machine that has the part, at 115 V, its amps not read."""
    part, test, text, felt, stamp, right = rule
    kinds = _with(part)
    assert kinds
    for name in kinds:
        finding = _said(name, f"{part}.{test}", text, felt, stamp)
        assert finding.says in right, (name, finding.text)


# -- named cases ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("probe", "texts"),
    [
        ("overload_protector.ohms", ("600k", "5M", "5.0M")),
        ("earth.continuity", ("5M", "5.0M")),
        ("supply.cord", ("600", "60k", "60.0k")),
        ("pins.C-S", ("0.0", "0.4")),
        ("supply.volts", ("60 V", "240 V")),
        ("supply.volts_start", ("240 V",)),
    ],
)
def test_what_no_condition_reads_is_said_so(probe: str, texts: tuple[str, ...]) -> None:
    """Between two modes and beyond them the reading is doubted, never called good or a fault."""
    place = Place("rsir-ptc", "external", probe)
    for cell in swept(place, CONTEXTS["healthy"], texts):
        assert cell.finding.says is Says.UNKNOWN, (cell.text, cell.finding.text)
        assert "Read it again" in cell.finding.text
        assert cell.finding.slip


def test_a_pill_that_reads_as_a_warm_one_is_to_cool() -> None:
    """Said to be cold and reading more than a cold one: neither good nor broken before it has cooled."""
    for cell in swept(Place("rsir-ptc", "external", "ptc.ohms"), CONTEXTS["healthy"], ("60", "600", "5k")):
        assert cell.finding.says is Says.UNCLEAR
        assert "cool" in cell.finding.text


def test_a_capacitor_above_its_stamp_is_not_called_low() -> None:
    """What a fault makes less of is not named where more was read."""
    (cell,) = swept(Place("psc", "internal", "run_capacitor.farads"), CONTEXTS["healthy"], ("45 uF",))
    assert ALARM[cell.finding.says] == 2
    assert "below" not in cell.finding.text


@pytest.mark.parametrize(("volts", "sound"), [(115.0, "100"), (230.0, "100")])
def test_a_capacitor_at_any_share_of_its_stamp_is_told_from_a_slip(volts: float, sound: str) -> None:
    """From a hundredth of its stamp to two thirds it is bad, whatever is left of it."""
    kind = arrangement("csir-current-relay")
    stamp = {"start_capacitor.capacitance": marked("88-108 MFD 125 VAC")}
    built = Machine.of(kind.id, kind.protectors[0], Nameplate(volts, 60.0), stamp)
    for text in ("0.3 uF", "1.0 uF", "3.1 uF", "9.0 uF", "15.0 uF", "30.0 uF", "60.0 uF"):
        seen = Observation("start_capacitor.farads", parse_reading(text, Quantity.CAPACITANCE))
        finding = findings(Situation(built, Heard.HUM, (seen,)))[0]
        assert finding.says is Says.BAD, (text, finding.text)
    seen = Observation("start_capacitor.farads", parse_reading(f"{sound} uF", Quantity.CAPACITANCE))
    assert findings(Situation(built, Heard.HUM, (seen,)))[0].says is Says.GOOD


def test_leads_that_add_ohms_are_no_leads() -> None:
    """Tips together read some tenths; more is a bad lead, and OL a broken one."""
    for text, says in (("0.2", Says.GOOD), ("5.0", Says.BAD), ("OL", Says.BAD)):
        (cell,) = swept(Place("psc", "internal", "leads.short"), CONTEXTS["healthy"], (text,))
        assert cell.finding.says is says


def test_an_alarm_that_ends_in_advice_has_one() -> None:
    """After every kind of finding there is a next step or a verdict."""
    place = Place("rsir-ptc", "external", "ptc.ohms")
    for text in ("4.7", "60", "OL"):
        advice = advise(situation(place, CONTEXTS["healthy"], text), shop=default_shop())
        assert advice.next is not None or advice.verdict is not None
