"""What a doubted reading is proposed to be, and what three windings that do not add up come to."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import advise
from humclick.diagnosis.displays import Display
from humclick.diagnosis.findings import findings
from humclick.diagnosis.fixes import fixes
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.pins import pins_of
from humclick.diagnosis.pins_bridged import Bridged, ring
from humclick.diagnosis.pins_named import named_pins
from humclick.diagnosis.sayings import SLIPS
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity, default_meter
from humclick.readings import Leads, PartTemperature, parse_reading
from tests.published import published

SHOP = default_shop()
PAIRS = ("pins.C-R", "pins.C-S", "pins.S-R")


def seen(probe: str, text: str, quantity: Quantity = Quantity.RESISTANCE) -> Observation:
    return Observation(probe, parse_reading(text, quantity), temperature=PartTemperature("cold"), id=probe)


def call(*rows: Observation, arrangement: str = "rsir-ptc") -> Situation:
    machine = Machine.of(arrangement, "external")
    return Situation(machine, Heard.HUM_CLICK, rows, leads=Leads(nulled=True))


def three(text: str, arrangement: str = "rsir-ptc") -> Situation:
    return call(*map(seen, PAIRS, text.split()), arrangement=arrangement)


@pytest.mark.parametrize(
    ("probe", "text", "name", "question"),
    [
        ("potential_relay.coil", "4.7", "unit", "Did you mean 4.7 kΩ?"),
        ("ptc.ohms", "4.7k", "warm", "Was it still warm?"),
        ("potential_relay.coil", "0.2", "points", "Or was this"),
        ("overload_protector.ohms", "600k", "strike", "Did a tip slip"),
        ("pins.C-S", "0.0", "strike", "Did a tip slip"),
    ],
)
def test_the_likeliest_slip_is_proposed_first(probe: str, text: str, name: str, question: str) -> None:
    """And to strike the reading out and take it again is always the last."""
    kind = "csr-potential-relay" if probe.startswith("potential") else "rsir-ptc"
    found = fixes(call(seen(probe, text), arrangement=kind), SHOP, probe)
    assert found[0].name == name
    assert question in found[0].question
    assert found[-1].name == "strike"


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(("pins.C-R", "ptc.ohms", "overload_protector.ohms", "control.ohms", "earth.continuity")),
    st.floats(-3.0, 9.0),
)
def test_what_is_proposed_reads_good_and_is_never_a_fault(probe: str, power: float) -> None:
    """A value is proposed where a sound part reads so; nothing is, where the reading stands."""
    text = f"{float(f'{10**power:.2g}'):.4f}".rstrip("0").rstrip(".")
    situation = call(seen(probe, text))
    said = findings(situation)[0]
    found = fixes(situation, SHOP, probe)
    assert bool(found) == (said.says is Says.UNKNOWN or bool(said.slip))
    assert not said.slip or said.slip in SLIPS
    for fix in found:
        for change in fix.changes:
            if change.value:
                again = call(seen(probe, change.value))
                assert findings(again)[0].says is Says.GOOD
                assert probe != "earth.continuity"


@pytest.mark.parametrize(
    ("text", "conclusion", "suspects"),
    [
        ("3.2 4.9 3.7", "gear_on", PAIRS),
        ("4 11 4", "remeasure", ("pins.S-R",)),
        ("40 11 15", "remeasure", ("pins.C-R",)),
        ("4 15 11", "misnamed", PAIRS),
        ("15 11 4", "misnamed", PAIRS),
        ("11 4 15", "misnamed", PAIRS),
    ],
)
def test_three_windings_that_do_not_fit_are_solved_in_the_call(
    text: str, conclusion: str, suspects: tuple[str, ...]
) -> None:
    """The finding says what they come to, and the next step is to read what is in doubt again."""
    situation = three(text)
    found = named_pins(situation, SHOP)
    assert found is not None
    assert (found.conclusion, found.suspects) == (conclusion, suspects)
    last = findings(situation)[-1]
    assert found.sentence in last.text
    assert last.says is Says.UNKNOWN
    advice = advise(situation)
    assert advice.next is not None
    assert advice.next.probe in suspects


def test_it_is_the_solver_of_the_pins_command() -> None:
    """The same three readings of unnamed pins come to the same case."""
    rows = zip(("pins.1-2", "pins.1-3", "pins.2-3"), ("3.2", "4.9", "3.7"), strict=True)
    finding = pins_of(call(*(seen(probe, text) for probe, text in rows)), SHOP)
    assert finding.cases[0].name == "gear_on"
    named = named_pins(three("3.2 4.9 3.7"), SHOP)
    assert named is not None
    assert finding.cases[0].plain in named.sentence


def test_only_a_pill_bridges_the_pins() -> None:
    """A current relay at rest is open: on such a machine the readings are taken for what they are."""
    found = named_pins(three("3.2 4.9 3.7", "csir-current-relay"), SHOP)
    assert found is not None
    assert found.conclusion != "gear_on"


@pytest.mark.parametrize("text", ["4 11 15", "4.0 11.0 15.4", "4.1 11.2 15.0", "OL 11 OL", "0.0 4 4"])
def test_three_that_fit_are_left_alone(text: str) -> None:
    """And so are those of which one is no number: the modes speak for them."""
    assert named_pins(three(text), SHOP) is None


@published(source="Heating & Cooling Essentials", where="p. 531", printed_to="1 Ω")
def test_six_seven_and_eight_ohms_do_not_add_up() -> None:
    """A triple that was published as an example, and breaks the sum rule: it is doubted and read again."""
    found = named_pins(three("6 7 8", "csir-current-relay"), SHOP)
    assert found is not None
    assert found.doubted


@settings(max_examples=100, deadline=None)
@given(*(st.floats(0.5, 80.0) for _ in range(3)))
def test_a_ring_is_told_from_its_three_readings(run: float, start: float, pill: float) -> None:
    """What is read between two pins is the part there beside the two others, and goes back to the parts."""
    both = [(run, start, pill), (start, run, pill), (pill, run, start)]
    read = [a * (b + c) / (a + b + c) for a, b, c in both]
    back = ring((read[0], read[1], read[2]))
    assert back is not None
    assert back == pytest.approx((run, start, pill), rel=1e-6)
    assert ring((read[0], read[1], read[0] + read[1])) is None


def test_a_likely_ring_is_likelier_than_an_unlikely_one() -> None:
    """The readings of usual sizes are the more probable ones, and none can be where no ring gives them."""
    mesh = Bridged(((4.0, 0.4), (11.0, 0.5), (5.0, 0.45)))

    def of(*texts: str) -> float:
        shown = {
            frozenset(pair): Display(parse_reading(text, Quantity.RESISTANCE), default_meter(), SHOP.slips)
            for pair, text in zip(("CR", "CS", "SR"), texts, strict=True)
        }
        return mesh.likelihood(shown, 0.0)

    assert of("3.2", "4.9", "3.7") > of("30.0", "42.0", "33.0") > 0.0
    assert math.isclose(of("4.0", "11.0", "60.0"), 0.0, abs_tol=1e-300)
