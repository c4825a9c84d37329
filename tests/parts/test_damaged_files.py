"""A damaged file of a family or an arrangement is refused: which file, which field, what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest

from humclick.arrangements.arrangement import arrangement
from humclick.arrangements.machine import Machine
from humclick.diagnosis.probes import probes_of
from humclick.errors import DataError
from humclick.parts.family import family
from humclick.parts.laws import law_of
from humclick.parts.shelves import shelf
from tests.parts.test_an_invented_family import ROOT, written

FAMILY = "parts/voltage_switch/voltage_switch.toml"
KIND = "arrangements/csir-voltage-switch.toml"

#: File, what stands in it, what is put there instead, and what the refusal says.
DAMAGES = [
    (
        FAMILY,
        "odds = 0.005",
        'odds = "few"',
        r"voltage_switch\.toml: mode 'never_connects': odds must be a number",
    ),
    (FAMILY, "odds = 0.005", "odds = -1.0", "odds of 'never_connects' .* above 0, got -1"),
    (
        FAMILY,
        "odds = 0.005",
        "ods = 0.005",
        "mode 'never_connects': there is no field 'ods'; did you mean odds",
    ),
    (FAMILY, 'title = "never connects"\n', "", "mode 'never_connects': title is missing"),
    (
        FAMILY,
        'size = "input"',
        'size = "inptu"',
        "size one of closed, input; got 'inptu', did you mean input",
    ),
    (FAMILY, 'between = ["feed", "out"]', 'between = ["fed", "out"]', "did you mean feed"),
    (FAMILY, 'between = ["feed", "out"]', 'between = ["feed"]', "mode 'healthy'.*between"),
    (FAMILY, 'regime = "start"', 'regime = "begin"', "regime must be one of rest, start, run; got 'begin'"),
    (FAMILY, 'role = "starter"', 'role = "startr"', "role"),
    (FAMILY, 'symbol = "coil"', 'symbol = "spool"', "element.*symbol"),
    (FAMILY, 'name = "healthy"', 'name = "sound"', "the first mode must be 'healthy'"),
    (FAMILY, 'name = "blind"', 'name = "never_connects"', "mode never_connects comes twice"),
    (
        FAMILY,
        "otherwise = [0.97, 0.03]",
        "otherwise = [0.97, 0.04]",
        "table.otherwise must have 2 .* sum to 1",
    ),
    (
        FAMILY,
        "never_connects = [0.7, 0.3]",
        "nevr = [0.7, 0.3]",
        "look 'look': table must be of one of healthy",
    ),
    (
        FAMILY,
        'gates = ["power-off-proved-dead"]',
        'gates = ["power-off"]',
        "gates must be one of .*'power-off'",
    ),
    (
        FAMILY,
        "electronic = true",
        'electronic = true\nheat = "warm"',
        "heat must be one of external_protector",
    ),
    (
        FAMILY,
        "electronic = true",
        'electronic = true\nin_time = "ptcc"',
        "in_time must be one of .*did you mean ptc",
    ),
    (FAMILY, "median = 2.0e5\n", "", r"sizes\.input.*needs median"),
    (FAMILY, 'unit = "Ω"\nsource = "invented"\n', 'unit = "Ω"\n', r"sizes\.closed.*source"),
    (FAMILY, 'remedy = "replace starter"\n', "", "mode 'never_connects': remedy is missing"),
    (FAMILY, "[[mode]]", "[[mode", "cannot be read"),
    (KIND, 'family = "voltage_switch"', 'family = "voltage_swich"', "did you mean voltage_switch"),
    (KIND, ', sense = "c"', "", "leaves terminals unconnected: sense"),
    (KIND, 'sense = "c"', 'sense = "c", sens = "d"', "connect names a terminal .*did you mean sense"),
    (KIND, '"external", "internal"', '"outside"', "protectors"),
    (KIND, "seen = [", "sen = [", "there is no field 'sen'|seen is missing"),
    (
        KIND,
        'family = "start_capacitor"\nconnect = { a',
        'family = "supply"\nid = "x"\nconnect = { a',
        "leaves terminals",
    ),
    (KIND, 'title = "cap', 'starts_as = "rsir"\ntitle = "cap', "starts_as must be one of"),
]


@pytest.mark.parametrize(("file", "right", "wrong", "says"), DAMAGES)
def test_what_is_wrong_is_said(tmp_path: Path, file: str, right: str, wrong: str, says: str) -> None:
    """The message names the file and says what would be right; nothing but a `DataError` comes."""
    written(ROOT / "CONTRIBUTING.md", tmp_path)
    text = (tmp_path / file).read_text("utf-8")
    assert right in text
    (tmp_path / file).write_text(text.replace(right, wrong, 1), "utf-8")
    with shelf(tmp_path), pytest.raises(DataError, match=f"(?s){says}") as refused:
        arrangement("csir-voltage-switch")
    assert Path(file).name in str(refused.value)


def test_a_remedy_nobody_knows_is_refused(tmp_path: Path) -> None:
    """A mode put right by a remedy that the shop does not have is refused where the machine is judged."""
    written(ROOT / "CONTRIBUTING.md", tmp_path)
    text = (tmp_path / FAMILY).read_text("utf-8").replace('"replace starter"', '"replace startr"')
    (tmp_path / FAMILY).write_text(text, "utf-8")
    (tmp_path / KIND).rename(tmp_path / "arrangements" / "no-such-remedy.toml")
    with shelf(tmp_path), pytest.raises(DataError, match="did you mean replace starter"):
        probes_of(Machine.of("no-such-remedy"))


@pytest.mark.parametrize(
    ("module", "says"),
    [
        ("def law(part): return 7", "must not make 7"),
        ("law = None", "must have a function law"),
        ("import nothing_of_this_name", "cannot be used"),
        (None, "cannot be used"),
    ],
)
def test_a_law_that_is_none_is_refused(tmp_path: Path, module: str | None, says: str) -> None:
    """Start gear whose module is missing, does not run or makes no law is refused with its file."""
    written(ROOT / "CONTRIBUTING.md", tmp_path)
    file = tmp_path / "parts" / "voltage_switch" / "in_time.py"
    file.unlink() if module is None else file.write_text(module, "utf-8")
    with shelf(tmp_path), pytest.raises(DataError, match=says):
        law_of(family("voltage_switch"), None)  # type: ignore[arg-type]


def test_a_folder_without_its_file_is_refused(tmp_path: Path) -> None:
    """A folder of a family holds a file of its own name; a shelf holds parts or arrangements."""
    with pytest.raises(DataError, match="a folder parts"), shelf(tmp_path):
        pass
    (tmp_path / "parts" / "switch").mkdir(parents=True)
    with pytest.raises(DataError, match=r"holds switch\.toml"), shelf(tmp_path):
        pass
