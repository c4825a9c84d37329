"""The invented shop's calls end as their notes say, in any order of their readings, and make a sheet."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest

from humclick.arrangements.arrangement import arrangements
from humclick.cli.words import advice_in_words
from humclick.diagnosis.advice import advise
from humclick.diagnosis.judged import judge
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.jobs.call import Call
from humclick.jobs.call_file import read_call, write_call
from humclick.jobs.fold import fold
from humclick.jobs.result import AdviceResult, result_of
from humclick.jobs.sheet.render import sheet_html

FOLDER = Path(__file__).parents[1] / "examples"
EXPECTED: Mapping[str, dict[str, Any]] = {
    file.parent.name: tomllib.loads(file.read_text(encoding="utf-8"))
    for file in sorted(FOLDER.glob("*/expect.toml"))
}
JUDGED = [name for name, expected in EXPECTED.items() if expected["kind"] != "recognised"]
#: One of each state a call can be in and of each kind of machine.
SHEETS = [
    *("broken-starter", "grounded-winding", "hot-protector-still-hot", "just-begun", "relay-contacts"),
    *("two-faults", "gate-not-confirmed", "inverter-driven", "three-phase", "battery-thin-cable"),
]


@cache
def call(name: str) -> Call:
    return fold(read_call(FOLDER / name / "call.toml"))


@cache
def result(name: str) -> AdviceResult:
    return result_of(call(name), default_shop())


def situation(name: str) -> Situation:
    found = call(name).situation()
    assert found is not None
    return found


def machine_changed(seen: Observation) -> bool:
    """Whether something was done to the machine, so that later readings are of another one."""
    return seen.probe.startswith(("attempt.", "fit.", "control.setting"))


def shuffled(seen: tuple[Observation, ...], seed: int) -> tuple[Observation, ...]:
    """Looks and measurements in another order, those before an attempt still before it."""
    mixed: list[Observation] = []
    for changed, group in groupby(seen, key=machine_changed):
        own = list(group)
        if not changed:
            random.Random(seed).shuffle(own)
        mixed += own
    return tuple(mixed)


def test_every_folder_is_whole() -> None:
    """Each example has its call, its note and what is expected of it."""
    for folder in (each for each in FOLDER.iterdir() if each.is_dir()):
        assert {"call.toml", "expect.toml", "what-was-wrong.md"} <= {f.name for f in folder.iterdir()}


def test_every_arrangement_has_an_example() -> None:
    """The examples together show every start arrangement, voltage class, frequency and protector."""
    machines = [found for name in EXPECTED if (found := call(name).machine) is not None]
    assert {m.arrangement.id for m in machines} == set(arrangements())
    assert {m.volts_class for m in machines} >= {"115", "230", "400", "12", "24"}
    assert {m.nameplate.hertz for m in machines} == {50.0, 60.0}
    assert {m.protector for m in machines} == {"external", "integrated", "internal"}


@pytest.mark.parametrize("name", EXPECTED)
def test_an_example_is_marked_as_invented_and_is_clean(name: str) -> None:
    """Nothing in the file is unusable, and the call says that it is practice."""
    assert call(name).problems == ()
    header = call(name).header
    assert header is not None
    assert header.invented


@pytest.mark.parametrize("name", JUDGED)
def test_an_example_ends_as_its_note_says(name: str) -> None:
    """Advice has the expected kind, remedies, certainty and sentences."""
    expected, found = EXPECTED[name], result(name)
    assert found.kind == expected["kind"]
    if found.verdict is not None:
        assert sorted(found.verdict.remedies) == sorted(expected["remedies"])
        assert found.verdict.probability >= expected["at_least"]
        assert found.verdict.by_elimination or not expected.get("by_elimination", False)
    if "next" in expected:
        assert found.next is not None
        assert found.next.probe == expected["next"]
    said = " ".join(advice_in_words(found, call(name)).split())
    assert [sentence for sentence in expected["says"] if sentence not in said] == []


@pytest.mark.parametrize("name", JUDGED)
def test_what_was_not_confirmed_is_marked(name: str) -> None:
    """Readings are marked as unproved exactly where the example left a gate out."""
    missing = {gate for gates in result(name).unproved.values() for gate in gates}
    assert missing == set(EXPECTED[name].get("unproved", ()))


@pytest.mark.parametrize("name", [name for name in EXPECTED if "never" in EXPECTED[name]])
def test_what_must_not_be_done_is_not_done(name: str) -> None:
    """Probes that would be dangerous stand neither in the record nor in the advice."""
    never = set(EXPECTED[name]["never"])
    assert never.isdisjoint(reading.probe for reading in call(name).readings)
    assert never.isdisjoint(value.probe for value in result(name).alternatives)


@pytest.mark.parametrize("name", JUDGED)
def test_any_order_of_readings_gives_the_same_advice(name: str) -> None:
    """Shuffled looks and measurements give the same probabilities, and the same advice."""
    found, first = result(name), situation(name)
    probable = judge(first).post.by_remedy
    for seed in range(2):
        mixed = replace(first, observations=shuffled(first.observations, seed))
        assert judge(mixed).post.by_remedy == pytest.approx(probable, rel=1e-6, abs=1e-12)
    if len(first.observations) < 8:  # planning on a long call takes its time
        advice, before = advise(mixed), advise(first)
        assert advice.kind == before.kind
        assert (advice.next and advice.next.probe) == (found.next and found.next.probe)
        assert (advice.verdict and advice.verdict.remedies) == (found.verdict and found.verdict.remedies)


@pytest.mark.parametrize("name", SHEETS)
def test_an_example_makes_a_sheet(name: str) -> None:
    """The sheet of the example is one HTML file that says it is practice and names the equipment."""
    page = sheet_html(call(name))
    header = call(name).header
    assert header is not None
    assert page.lower().startswith("<!doctype html>")
    assert header.equipment in page
    assert "nvented" in page


@pytest.mark.parametrize("name", EXPECTED)
def test_an_example_is_written_and_read_without_loss(name: str, tmp_path: Path) -> None:
    """Events read from the example, written and read again, are the same events."""
    events = read_call(FOLDER / name / "call.toml")
    write_call(tmp_path / "copy.toml", events)
    assert read_call(tmp_path / "copy.toml") == events
