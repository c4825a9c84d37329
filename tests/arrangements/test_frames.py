"""What all machines of a kind have around their gear: one file, of the program or of a shelf."""

from __future__ import annotations

from pathlib import Path

import pytest

from humclick.arrangements.arrangement import arrangement
from humclick.arrangements.frame import frame, frames
from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.drawing import draw_text
from humclick.diagnosis.advice import advise
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.situation import Situation
from humclick.errors import DataError, OutOfRange, Unknown
from humclick.parts.shelves import shelf

FRAMES = Path(__file__).parents[2] / "src" / "humclick" / "arrangements" / "frames"


def test_every_frame_names_its_pins_and_volts() -> None:
    """Each has three pins, volts it is made for, and a way to be tried: simulated, or by itself."""
    for name in frames():
        own = frame(name)
        assert len(set(own.pins)) == 3
        assert own.volts_class(own.usual_volts) in own.volts
        assert own.started != (own.own_try is not None)
        assert own.serves(own.usual_volts)
        assert not own.serves(1.0)


def test_an_unknown_frame_is_refused_with_the_nearest() -> None:
    """The message lists those there are."""
    with pytest.raises(Unknown, match="single-phase"):
        frame("single-fase")


def test_volts_nobody_read_are_the_usual_ones_of_the_kind() -> None:
    """Those that were read stand, or are refused; none are made of others."""
    assert Machine.of("psc").nameplate.volts == 115.0
    assert Machine.of("dc-unit").nameplate.volts == 12.0
    for volts in (0.0, 48.0, 115.0):
        with pytest.raises(OutOfRange, match="10–15 or 20–30"):
            Machine.of("dc-unit", None, Nameplate(volts))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("usual_volts = 12.0", "usual_volts = 120.0", "usual_volts must lie in one of volts"),
        ('gates = ["dc-caution"]', 'gates = ["dc-cautoin"]', "gates must be"),
        ('gear = ["drive"]', 'gear = ["motor"]', "gear"),
    ],
)
def test_a_damaged_frame_says_what_is_wrong(tmp_path: Path, old: str, new: str, said: str) -> None:
    """A field that cannot be right is refused with the file and what would be right."""
    text = (FRAMES / "battery.toml").read_text("utf-8")
    assert old in text
    (tmp_path / "frames").mkdir()
    (tmp_path / "frames" / "cart.toml").write_text(text.replace(old, new), encoding="utf-8")
    with shelf(tmp_path), pytest.raises(DataError, match=said):
        frame("cart")


def _cart(folder: Path, *changes: tuple[str, str]) -> None:
    """A shelf with a frame ``cart`` and an arrangement ``cart-unit`` around it."""
    (folder / "frames").mkdir()
    (folder / "arrangements").mkdir()
    text = (FRAMES / "battery.toml").read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (folder / "frames" / "cart.toml").write_text(text, encoding="utf-8")
    own = (FRAMES.parent / "dc-unit.toml").read_text("utf-8").replace('"battery"\n', '"cart"\n', 1)
    (folder / "arrangements" / "cart-unit.toml").write_text(own, encoding="utf-8")


def test_a_frame_that_names_a_probe_nobody_knows_is_refused(tmp_path: Path) -> None:
    """A guard that waited for such a reading would stay open for ever."""
    _cart(tmp_path, ('loaded = ["unit.load"]', 'loaded = ["unit.lode"]'))
    with shelf(tmp_path), pytest.raises(DataError, match=r"did you mean unit\.load"):
        probes_of(Machine.of("cart-unit"))


def test_a_shelf_brings_a_kind_of_machine_of_its_own(tmp_path: Path) -> None:
    """A frame and an arrangement on a shelf are judged and drawn like those of the program."""
    _cart(tmp_path, ("12.0\n", "48.0\n"), ("24 = [20.0, 30.0]", "48 = [40.0, 60.0]"))
    with shelf(tmp_path):
        machine = Machine.of("cart-unit")
        assert machine.nameplate.volts == 48.0
        assert arrangement("cart-unit").set_in == "cart"
        assert {"pins.U-V", "unit.load", "attempt.as_found"} <= set(probes_of(machine))
        assert advise(Situation(machine, hot=False)).next is not None
        assert "electronic unit" in draw_text(machine)
