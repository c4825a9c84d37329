"""The pictures of the three starts are what is simulated today, and their page says what they show."""

from __future__ import annotations

import math
import re

import pytest
from docs.three_starts import FOLDER, STARTS, page, pictures, run_of

NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
#: Another processor may round another way; a picture is the same within half a point. [points]
HALF_A_POINT = 0.5


@pytest.mark.parametrize("name", [f"{name}.svg" for name in STARTS])
def test_pictures_are_fresh(name: str) -> None:
    """Each committed picture has the lines, words and places of today's simulation."""
    old, new = (FOLDER / name).read_text(encoding="utf-8"), pictures()[name]
    assert re.sub(r"\d", "", NUMBER.sub("", old)) == re.sub(r"\d", "", NUMBER.sub("", new)), (
        "run `python docs/three_starts.py`"
    )
    pairs = zip(NUMBER.findall(old), NUMBER.findall(new), strict=True)
    apart = [abs(float(a) - float(b)) for a, b in pairs]
    assert max(apart) <= HALF_A_POINT, "run `python docs/three_starts.py`"


def test_the_page_tells_what_is_seen() -> None:
    """A healthy start ends at running amps, a bridged one trips at many, one at low volts never turns."""
    healthy, bridged, cord = (run_of(name) for name in STARTS)
    assert healthy.line[-1] < 2.0 < 7.0 < bridged.line[bridged.time < 6.0][-1]
    assert math.isnan(healthy.when("protector opens"))
    assert 5.0 < bridged.when("protector opens") < 8.0
    assert bridged.start_winding.max() - bridged.start_winding[0] > 60.0
    assert math.isnan(cord.features["speed_time"])
    assert 14.0 < cord.when("protector opens") < 20.0
    page = (FOLDER / "three-starts.md").read_text(encoding="utf-8")
    assert [name for name in STARTS if f"({name}.svg)" not in page] == []


def test_the_tables_before_and_after_a_recording_are_fresh() -> None:
    """The page says what is suspected today, before and after each start is read as a clamp's log."""
    text = (FOLDER / "three-starts.md").read_text(encoding="utf-8")
    assert text.count("| suspects before | with the recording |") == len(STARTS)
    assert page(text) == text, "run `python docs/three_starts.py`"
