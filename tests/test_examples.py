"""The invented shop's calls end as their notes say, in any order of their readings."""

from __future__ import annotations

import random
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from humclick.diagnosis.advice import advise
from humclick.diagnosis.reasons import explain
from humclick.errors import Refused
from humclick.jobs.call_file import read_call, write_call
from humclick.jobs.fold import fold

EXAMPLES = sorted(p.parent for p in (Path(__file__).parents[1] / "examples").glob("*/call.toml"))
KINDS = {d.name: tomllib.loads((d / "expect.toml").read_text(encoding="utf-8")) for d in EXAMPLES}


@pytest.mark.parametrize("folder", EXAMPLES, ids=lambda d: d.name)
def test_an_example_ends_as_its_note_says(folder: Path) -> None:
    """Advice has the expected kind, remedies and certainty; a recognised machine is refused."""
    expected = KINDS[folder.name]
    situation = fold(read_call(folder / "call.toml")).situation()
    assert situation is not None
    if expected["kind"] == "recognised":
        with pytest.raises(Refused, match=expected["says"][0]):
            advise(situation)
        return
    advice = advise(situation)
    assert advice.kind == expected["kind"]
    if expected["kind"] == "verdict":
        assert advice.verdict is not None
        assert list(advice.verdict.remedies) == expected["remedies"]
        assert advice.verdict.probability >= expected["at_least"]
    if expected.get("by_elimination"):
        assert explain(situation).by_elimination


@pytest.mark.parametrize("name", ["broken-starter", "long-cord", "two-faults"])
def test_any_order_of_readings_gives_the_same_verdict(name: str) -> None:
    """Shuffled looks and measurements of the example, attempts left last, give the same remedies."""
    folder = next(d for d in EXAMPLES if d.name == name)
    situation = fold(read_call(folder / "call.toml")).situation()
    assert situation is not None
    still = [o for o in situation.observations if not o.probe.startswith(("attempt", "fit", "control"))]
    last = [o for o in situation.observations if o not in still]
    for seed in range(3):
        random.Random(seed).shuffle(still)
        advice = advise(replace(situation, observations=(*still, *last)))
        assert advice.verdict is not None
        assert list(advice.verdict.remedies) == KINDS[name]["remedies"]


@pytest.mark.parametrize("folder", EXAMPLES, ids=lambda d: d.name)
def test_an_example_is_written_and_read_without_loss(folder: Path, tmp_path: Path) -> None:
    """Events read from the example, written and read again, are the same events."""
    events = read_call(folder / "call.toml")
    write_call(tmp_path / "copy.toml", events)
    assert read_call(tmp_path / "copy.toml") == events
