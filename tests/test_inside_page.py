"""The page for the developer says what is so: the steps of a reading, and the map of packages."""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

import pytest

import humclick
from humclick.cli.screen import shown_next
from humclick.jobs.flow import step
from humclick.jobs.judgements import Weighed
from tests.cli.bench import begun

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs/explanation/a-reading-typed.md").read_text(encoding="utf-8")
SOURCE = Path(humclick.__file__).parent
#: What the page tells of the other face, and of the place where kinds of probes lie.
ELSEWHERE = {"web.pages"}


def steps() -> list[str]:
    """The ten lines."""
    return re.findall(r"^\d+\. (.+)$", PAGE, re.M)


def named() -> Iterator[str]:
    """Functions that the lines name, in their order."""
    for line in steps():
        yield from (name for name in re.findall(r"`(\w+(?:\.\w+)+)`", line) if name not in ELSEWHERE)


def entered(tmp_path: Path) -> list[str]:
    """Every function entered by the page's reading, in the order of their first entries."""
    session = begun(
        tmp_path / "call.toml",
        *("rsir-ptc", "external", "115", "60", "", "", "R134a", "good", "nulled"),
        *("hums, then clicks", "ptc.shake", "done", "rattles"),
    )
    names: dict[str, None] = {}

    def note(frame: FrameType, event: str, _arg: object) -> None:
        path = Path(frame.f_code.co_filename)
        if event == "call" and path.is_relative_to(SOURCE):
            module = ".".join(path.relative_to(SOURCE).with_suffix("").parts)
            names.setdefault(f"{module}.{frame.f_code.co_qualname}")

    sys.setprofile(note)
    try:
        session.take("ptc.ohms OL cold")
    finally:
        sys.setprofile(None)
    return list(names)


def test_a_reading_takes_the_steps_of_the_page(tmp_path: Path) -> None:
    """Ten lines; each function they name is entered when the reading is typed, in that order."""
    assert len(steps()) == 10
    order = entered(tmp_path)
    order = [name.removesuffix(".__init__") for name in order]
    wanted = list(named())
    assert [name for name in wanted if name not in order] == []
    assert sorted(wanted, key=order.index) == wanted


def test_the_last_steps_are_those_of_every_face() -> None:
    """What the page calls common to the faces lies below them."""
    assert step.__module__ == "humclick.jobs.flow"
    assert Weighed.__module__ == "humclick.jobs.judgements"
    assert shown_next.__module__ == "humclick.cli.screen"


def test_the_map_is_the_tree_and_the_contract() -> None:
    """Each package and module of the top stands in the map once, on the floor of the contract."""
    rows = re.findall(r"^\| (\d) [^|]*\| `(\w+)` \|", PAGE, re.M)
    tree = {
        path.stem for path in SOURCE.iterdir() if (path / "__init__.py").exists() or path.suffix == ".py"
    } - {"__init__", "__main__"}
    assert sorted(name for _, name in rows) == sorted(tree)

    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    layers = [re.findall(r"\w+", layer) for layer in contracts[0]["layers"]]
    assert [name for layer in layers for name in layer] == [name for _, name in rows]
    floors = dict(map(reversed, rows))
    for layer in layers:
        assert len({floors[name] for name in layer}) == 1, layer


@pytest.mark.parametrize("floor", range(7))
def test_the_floors_of_the_package_are_those_of_the_map(floor: int) -> None:
    """What `help(humclick)` shows is the same list."""
    (line,) = re.findall(rf"^    {floor}  \S.*?  +(\S.*)$", humclick.__doc__ or "", re.M)
    rows = re.findall(rf"^\| {floor} [^|]*\| `(\w+)` \|", PAGE, re.M)
    assert sorted(set(re.findall(r"\w+", line))) == sorted(rows)
