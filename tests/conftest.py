"""No test is timed: how long an example takes says what else the machine was doing."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from humclick.parts.shelves import shelf

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

_RECOGNISED = """
title = "three pins that nobody can place"
seen = ["three pins, and nothing else to be seen"]
protectors = ["internal"]
recognised_only = true
caution = "Never put it across the mains before somebody has told what it is."

[[part]]
family = "three_windings"
connect = { u = "C", v = "R", w = "S", star = "star" }
"""


@pytest.fixture
def recognised(tmp_path: Path) -> Iterator[str]:
    """Name of an arrangement that is recognised and not judged, from a shelf."""
    folder = tmp_path / "shelf" / "arrangements"
    folder.mkdir(parents=True)
    (folder / "three-pins.toml").write_text(_RECOGNISED, encoding="utf-8")
    with shelf(folder.parent):
        yield "three-pins"
