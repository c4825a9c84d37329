"""The odds of a fault stand in one place: with its part, and in a shop's own file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from humclick.parts.family import families, family
from humclick.parts.shelves import family_sources
from humclick.sourced import read_data

ROOT = Path(str(resources.files("humclick")))
FILES = sorted(path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*.toml"))
#: The one list, and the file that a shop replaces.
LISTS = [name for name in FILES if name.startswith("parts/") or name == "diagnosis/shop.toml"]

MODES = {f"{name}.{mode}" for name in families() for mode in family(name).modes}
CASES = set(read_data("humclick.diagnosis", "pins.toml")["case"])
CAUSES = set(read_data("humclick.diagnosis", "recorded.toml")["order"])
ODDS = re.compile(r"(.*_)?(odds|priors?|weights_before)(_.*)?")


def tables(value: Any, where: str = "") -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every table in a file, at any depth, with its place."""
    if isinstance(value, Mapping):
        yield where, value
        for key, inner in value.items():
            yield from tables(inner, f"{where}.{key}")
    elif isinstance(value, list):
        for inner in value:
            yield from tables(inner, where)


def odds_in(data: Mapping[str, Any]) -> list[str]:
    """Places that hold odds: a key that says so, or a number for most of the causes, cases or modes."""
    places = []
    for where, table in tables(data):
        places += [f"{where}.{key}" for key in table if ODDS.fullmatch(key)]
        numbers = {key for key, x in table.items() if isinstance(x, int | float) and not isinstance(x, bool)}
        for names in (CASES, CAUSES):
            if len(numbers & names) > len(names) / 2:
                places.append(where)
        if len(numbers & MODES) > len(MODES) / 2:
            places.append(where)
    return places


@pytest.mark.parametrize("name", [name for name in FILES if name not in LISTS])
def test_no_other_file_holds_odds_of_a_fault(name: str) -> None:
    """No data file but those of the parts and the shop's holds a key or a table of odds."""
    assert odds_in(tomllib.loads((ROOT / name).read_text("utf-8"))) == []


def test_the_sweep_meets_the_lists_there_were_before() -> None:
    """Odds by case, a table over the causes and a table over the modes are all met; every file is read."""
    assert odds_in({"case": {"run_open": {"odds": 0.012, "odds_hot": 0.2}}}) == [
        ".case.run_open.odds",
        ".case.run_open.odds_hot",
    ]
    assert odds_in({"prior": dict.fromkeys(CAUSES, 0.05)}) == [".prior", ".prior"]
    assert odds_in({"before": dict.fromkeys(CAUSES, 0.05)}) == [".before"]
    assert odds_in({"before": dict.fromkeys(MODES, 0.05)}) == [".before"]
    assert len(LISTS) > 15
    assert len(FILES) - len(LISTS) > 30


@pytest.mark.parametrize("name", sorted(families()))
def test_every_fault_of_a_part_has_its_odds_there(name: str) -> None:
    """Every mode but the healthy one has odds of its own in the file of its part."""
    for row in family_sources()[name].table()["mode"]:
        assert ("odds" in row) == (row["name"] != "healthy")


def test_the_groups_name_modes_that_parts_have() -> None:
    """Cases of the pins are groups of modes, none of them in two groups."""
    rows = read_data("humclick.diagnosis", "pins.toml")["case"].values()
    modes = [mode for row in rows for mode in row.get("modes", ())]
    assert len(modes) == len(set(modes)) > 5
    assert set(modes) <= MODES


def test_every_cause_of_a_recording_is_shown_by_a_mode() -> None:
    """A mode names the cause that a recording shows of it: each one there is, and no other."""
    shown = {mode.recorded for name in families() for mode in family(name).listed}
    assert shown - {""} == CAUSES - {"healthy"}
