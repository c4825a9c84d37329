"""A lead or contact inside that conducts through ohms is told from what is open, shorted or sound."""

from __future__ import annotations

import math

import pytest

import humclick as hc
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.findings import findings
from humclick.diagnosis.judged import judge
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.pins import find_pins
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.parts.family import family
from humclick.readings import Leads, PartTemperature, parse_reading
from tests.sample import sampled

COLD = PartTemperature("cold")
#: What is raised, by the pin: the part and its mode.
BEHIND = {
    "C": ("internal_protector", "burnt"),
    "R": ("run_winding", "burnt_lead"),
    "S": ("start_winding", "burnt_lead"),
}


def between(kind: str, pin: str, ohms: float, *, pairs: tuple[str, ...] = ("C-R", "C-S", "S-R")) -> Situation:
    """A machine of usual windings, one pin behind so many ohms."""
    machine = Machine.of(kind, "internal", Nameplate(115.0, 60.0))
    run, start = (machine.size(part, "winding").median for part in ("run_winding", "start_winding"))
    true = {"C-R": run, "C-S": start, "S-R": run + start}
    seen = []
    for k, pair in enumerate(pairs):
        value = true[pair] + (ohms if pin in pair else 0.0)
        reading = parse_reading(
            f"{value:.1f}" if value < 600.0 else f"{value / 1e3:.3g}k", Quantity.RESISTANCE
        )
        seen.append(Observation(f"pins.{pair}", reading, temperature=COLD, id=str(k)))
    return Situation(machine, Heard.HUM_CLICK, tuple(seen), leads=Leads(nulled=True))


@pytest.mark.parametrize(
    "kind", sampled(["rsir-ptc", "csr-potential-relay", "psc", "timed-starter"], ["psc"])
)
@pytest.mark.parametrize("pin", BEHIND)
@pytest.mark.parametrize("ohms", [250.0, 700.0, 5e3, 8e4])
def test_ohms_inside_are_found_whatever_they_are(kind: str, pin: str, ohms: float) -> None:
    """Three readings tell which pin is behind them, and that nothing else explains them."""
    post = judge(between(kind, pin, ohms)).post
    part, mode = BEHIND[pin]
    assert post.of_mode(part, mode) > 0.6
    assert post.none < 0.1


@pytest.mark.parametrize("kind", ["rsir-ptc", "csr-potential-relay"])
def test_a_contact_of_few_ohms_does_not_pass_for_sound(kind: str) -> None:
    """The three readings do not add up by twice of it; the more it is, the surer."""
    chances = [judge(between(kind, "C", ohms)).post.of_mode(*BEHIND["C"]) for ohms in (0.0, 3.0, 6.0, 12.0)]
    assert chances[0] < 1e-3
    assert chances == sorted(chances)
    assert chances[-1] > 0.5


@pytest.mark.parametrize("pin", BEHIND)
@pytest.mark.parametrize("ohms", [120.0, 2e3, 8e4])
def test_no_reading_between_closed_and_open_is_unknown(pin: str, ohms: float) -> None:
    """One alone says at least that it may be this; of so many ohms as are rare there, a slip is likelier."""
    pair = {"C": "C-R", "R": "C-R", "S": "C-S"}[pin]
    finding = findings(between("psc", pin, ohms, pairs=(pair,)))[0]
    assert finding.says not in (Says.GOOD, Says.UNCLEAR) or ohms < 1e3
    assert finding.says is not Says.UNKNOWN or ohms > 1e4
    assert finding.warns or ohms < 1e3


def test_sound_windings_are_hardly_thought_burnt_inside() -> None:
    """Whatever is read of them, it stays below a thousandth."""
    for pairs in (("C-R",), ("C-S", "S-R"), ("C-R", "C-S", "S-R")):
        post = judge(between("psc", "C", 0.0, pairs=pairs)).post
        assert math.fsum(post.of_mode(*mode) for mode in BEHIND.values()) < 2e-3


def test_pins_by_themselves_say_the_same() -> None:
    """Three unmarked pins, one of them behind ohms: burnt inside, and measured once more."""
    readings = {
        pair: parse_reading(text, Quantity.RESISTANCE)
        for pair, text in ((("1", "2"), "588"), (("1", "3"), "16.2"), (("2", "3"), "604"))
    }
    found = find_pins(readings)
    assert found.cases[0].name == "burnt_inside"
    assert found.conclusion == "burnt"


def test_a_start_behind_a_burnt_lead_fails_as_behind_a_burnt_connector() -> None:
    """Each names a mode that is simulated, and comes in degrees."""
    for name, mode in BEHIND.values():
        row = family(name).mode(mode)
        assert row.degrees
        assert row.starts_as
    attempt = hc.machine("psc", protector="internal")
    assert {p.id for p in attempt.parts} >= {name for name, _ in BEHIND.values()}
