"""``humclick recording``: what a clamp's log or a phone's sound shows, in words and as data."""

from __future__ import annotations

import json
import wave
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from humclick.cli.main import main
from tests.recordings.sounds import sound

CALL = """\
humclick_call = 1
[[event]]
kind = "machine"
arrangement = "rsir-ptc"
locked_rotor_amps = 18.0
rated_load_amps = 3.2
"""


def run(*args: str) -> Result:
    done = CliRunner().invoke(main, ["recording", *args])
    assert "Traceback" not in done.output
    return done


@pytest.fixture
def log(tmp_path: Path) -> str:
    """A flat run-winding current of eight seconds, tried twice."""
    lines = ["time (s);current (A)"]
    for k in range(1000):
        t = k / 20
        amps = 13.3 + 0.05 * (k % 3) if 1 <= t < 9 or 30 <= t < 36 else 0.01
        lines.append(f"{t:.2f};{amps:.2f}".replace(".", ","))
    path = tmp_path / "clamp.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return str(path)


@pytest.fixture
def call(tmp_path: Path) -> str:
    path = tmp_path / "call.toml"
    path.write_text(CALL, encoding="utf-8")
    return str(path)


def test_a_log_is_told_in_words(log: str, call: str) -> None:
    """Attempts, measures, causes, the sentence and the telling probes stand in lines of 78 letters."""
    done = run(log, "--call", call)
    assert done.exit_code == 0, done.output
    for said in (
        "2 start attempts",
        "locked rotor",
        "stopped after",
        "no current in the start winding",
        "% of the plate's LRA",
        "look the same to a clamp",
        "[pins.C-S]",
        "[ptc.ohms]",
    ):
        assert said in done.stdout
    assert "current_relay" not in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 78


def test_a_log_is_told_as_data(log: str, call: str) -> None:
    """JSON holds the attempts with their measures, the probabilities and the probes."""
    found = json.loads(run(log, "--call", call, "--json").stdout)
    assert found["humclick_recording"] == 1
    assert found["kind"] == "current"
    assert found["heard"] == ["hum_click", "hum_click"]
    assert max(found["probabilities"], key=found["probabilities"].get) == "no_start_current"
    assert found["attempts"][0]["plateau"]["amount"] == pytest.approx(13.35, rel=0.01)
    assert found["attempts"][0]["trip"]["amount"] == pytest.approx(8.0, abs=0.1)
    assert sum(found["probabilities"].values()) + found["none"] == pytest.approx(1.0)
    assert 0.0 < found["none"] < 0.02


def test_what_is_typed_goes_before_the_call(log: str, call: str) -> None:
    """Plate and gear given with the command are used."""
    found = json.loads(
        run(log, "--call", call, "--lra", "13.4 A", "--gear", "current_relay", "--json").stdout
    )
    assert found["probabilities"]["rotor_held"] > found["probabilities"]["no_start_current"]


def test_a_sound_is_told(tmp_path: Path) -> None:
    """A WAV file of the sound is known as such and heard."""
    one = sound("hum_click", 4, noise="fan", rate=8000.0)
    path = tmp_path / "phone.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes((one.values * 32767).astype("<i2").tobytes())
    done = run(str(path))
    assert done.exit_code == 0, done.output
    assert "it hums, then stops" in done.stdout
    assert json.loads(run(str(path), "--json").stdout)["heard"] == ["hum_click"]


def test_a_clamp_on_a_sound_card_is_told(tmp_path: Path) -> None:
    """A WAV file of a clamp is known as current; its scale is asked for."""
    t = np.arange(8000 * 4) / 8000
    size = np.where((t > 1) & (t < 1.5), 0.6, np.where(t >= 1.5, 0.12, 0.0))
    path = tmp_path / "clamp.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        file.writeframes((size * np.sin(2 * np.pi * 50 * t) * 32767).astype("<i2").tobytes())
    found = json.loads(run(str(path), "--json").stdout)
    assert found["kind"] == "current"
    assert found["hertz"] == 50.0
    assert not found["scale_known"]
    assert json.loads(run(str(path), "--scale", "30", "--json").stdout)["scale_known"]


@pytest.mark.parametrize(
    ("content", "more", "says"),
    [
        (b"", (), "empty"),
        (b"\x00\x01" * 500, (), "binary"),
        (b"hello\nworld\n" * 9, (), "no rows of numbers"),
        (b"time,amps\n" + b"".join(b"%d,3\n" % k for k in range(50)), ("--sound",), "not sound"),
        (b"time,amps\n" + b"".join(b"%d,3\n" % k for k in range(50)), ("--rate", "-3"), "above zero"),
    ],
)
def test_what_cannot_be_read_is_refused(
    content: bytes, more: tuple[str, ...], says: str, tmp_path: Path
) -> None:
    """A refusal is one sentence on the error stream and ends with 2."""
    path = tmp_path / "given.csv"
    path.write_bytes(content)
    done = run(str(path), *more)
    assert done.exit_code == 2
    assert says in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    """A name that is not there is refused, not a failure."""
    done = run(str(tmp_path / "no-such.csv"))
    assert done.exit_code == 2
    assert "cannot be read" in done.stderr
