"""The face of the library: plain values in, short answers out, and what cannot be meant is refused."""

from __future__ import annotations

import doctest
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import humclick as hc
from humclick import library
from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.diagnosis.advice import advise

ROOT = Path(__file__).resolve().parents[2]
PAGES = ["docs/tutorial/python.md", "docs/reference/python.md"]
FACE = [name for name in vars(hc.Call) if not name.startswith("_") and name not in ("events", "place")]


@pytest.fixture
def call() -> hc.Call:
    """A cooler that hums and clicks."""
    return hc.Call(hc.machine("rsir-ptc", refrigerant="R134a"), heard="hum_click")


@pytest.mark.parametrize("page", PAGES)
def test_the_pages_run(page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every example on the pages gives what stands below it."""
    monkeypatch.chdir(tmp_path)
    done = doctest.testfile(str(ROOT / page), module_relative=False, optionflags=doctest.ELLIPSIS)
    assert done.attempted > 5
    assert done.failed == 0


@pytest.mark.parametrize("name", [*hc.__all__, *FACE])
def test_every_name_stands_on_the_reference_page(name: str) -> None:
    """What the library offers is written down."""
    assert f"`{name}" in (ROOT / "docs/reference/python.md").read_text(encoding="utf-8")


def test_names_are_loaded_when_they_are_first_used() -> None:
    """Importing the package loads none of its rooms; a wrong name is told the right ones."""
    code = "import sys, humclick; print(sum(name.startswith('humclick.') for name in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "0"
    with pytest.raises(AttributeError, match="open_call"):
        hc.opencall  # noqa: B018
    assert {"Call", "machine"} <= set(dir(hc))


@pytest.mark.parametrize(
    ("probe", "value", "right"),
    [
        ("ptc.ohms", "115 V", "4.7 ohm"),
        ("ptc.ohms", "3 A", "4.7 ohm"),
        ("ptc.ohms", "", "4.7 ohm"),
        ("ptc.ohms", -3, "without the sign"),
        ("ptc.ohms", float("nan"), "4.7 ohm"),
        ("ptc.ohms", True, "text"),
        ("ptc.ohms", None, "text"),
        ("ptc.ohms", [1], "text"),
        ("supply.volts", "12 ohm", "volt"),
        ("ptc.shake", "ratles", "rattles"),
        ("ptc.shake", 3, "answers"),
        ("ptc.ohm", "OL", "ptc.ohms"),
        (3, "OL", "probe"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_what_would_be_right(
    call: hc.Call, probe: Any, value: Any, right: str
) -> None:
    """Wrong answers, quantities, types and names; the call stays as it was."""
    before = call.events
    with pytest.raises(hc.HumclickError, match=right):
        call.seen(probe, value)
    assert call.events == before


@pytest.mark.parametrize(
    ("make", "right"),
    [
        (lambda: hc.machine("rsir-pct"), "rsir-ptc"),
        (lambda: hc.machine("rsir-ptc", protector="inside"), "external"),
        (lambda: hc.machine("rsir-ptc", volts=60), "100"),
        (lambda: hc.Call("rsir-ptc"), "describe it first"),  # type: ignore[arg-type]
        (lambda: hc.Call(hc.machine("rsir-ptc"), heard="humclick"), "hum_click"),
        (lambda: hc.Call(hc.machine("rsir-ptc"), leads="zeroed"), "nulled"),
        (lambda: hc.Call(hc.machine("rsir-ptc"), place="france"), "us"),
        (lambda: hc.Call(hc.machine("rsir-ptc")).cleared("done"), "nothing stops"),
        (lambda: hc.Call(hc.machine("rsir-ptc")).decided("replace starer"), "replace starter"),
        (lambda: hc.Call(hc.machine("rsir-ptc")).fitted("starter"), "ptc"),
        (lambda: hc.open_call("not-there.toml"), "not-there"),
        (lambda: hc.Call(hc.machine("rsir-ptc")).sheet("no-such-folder/sheet.html"), "cannot be written"),
        (lambda: hc.read_recording("not-there.wav"), "not-there"),
    ],
)
def test_what_a_call_cannot_be_made_of_is_refused(make: Any, right: str) -> None:
    """Wrong machines, complaints, leads, places, remedies, parts and files."""
    with pytest.raises(hc.HumclickError, match=right):
        make()


@pytest.mark.parametrize("name", [name for name in arrangements() if arrangement(name).started])
def test_every_machine_is_advised_on_as_below_the_face(name: str) -> None:
    """The face adds nothing: its advice is that of the situation its events make."""
    call = hc.Call(hc.machine(name), heard="hum_click")
    situation = call.folded.situation()
    assert situation is not None
    assert [(each.label, each.probability) for each in call.advice.suspects] == [
        (each.label, each.probability) for each in advise(situation).suspects
    ]


def test_a_call_never_changes_and_is_the_same_from_its_file(call: hc.Call, tmp_path: Path) -> None:
    """Each step gives a new call; saved and opened again it is advised on alike."""
    later = call.seen("ptc.shake", "rattles").seen("ptc.ohms", "OL", temperature="cold")
    assert len(call.folded.readings) == 0
    later.save(tmp_path / "call.toml")
    again = hc.open_call(tmp_path / "call.toml")
    assert again.events == later.events
    assert repr(again.advice) == repr(later.advice)
    assert "replace the starter" in again.sheet(tmp_path / "sheet.html").lower()
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == again.sheet()


def test_a_hazard_stops_the_call_until_it_is_cleared(call: hc.Call) -> None:
    """Stopped is a kind of advice here too."""
    from humclick.safety.stops import stops

    name = next(iter(stops()))
    stopped = call.stopped(name)
    assert stopped.advice.kind == "stop"
    with pytest.raises(hc.HumclickError):
        stopped.cleared("  ")


def test_it_shows_itself_in_a_notebook(call: hc.Call) -> None:
    """A short line of text, and the first suspects as a table."""
    assert "hum_click" in repr(call)
    assert len(repr(call)) < 200
    shown = call._repr_html_()
    assert shown.count("<tr>") == 5
    assert "PTC starter" in shown


def test_a_start_is_tried_and_a_wrong_one_refused(call: hc.Call) -> None:
    """A machine or a call, with figures of the supply."""
    from humclick.start.at_hand import at_hand

    known = at_hand(call.machine)
    assert known is not None
    answer = hc.try_start(call, volts=115.0)
    assert answer.conditions.volts == 115.0
    with pytest.raises(hc.HumclickError, match="volts"):
        hc.try_start(call, volts=-1.0)


def test_the_face_is_the_library_and_nothing_else() -> None:
    """Every name of it is loaded when first used, and is the one of its module; others are refused."""
    for name in library.__all__:
        assert getattr(hc, name) is getattr(library, name)
    assert set(library.__all__) <= set(dir(hc))
    with pytest.raises(AttributeError):
        hc.no_such_name  # noqa: B018
