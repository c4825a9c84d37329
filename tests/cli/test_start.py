"""``humclick start``: answers with ranges as text and as data, for a call or for what the plate says."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from humclick.cli.main import main
from humclick.cli.start import patience

EXAMPLE = str(Path(__file__).resolve().parents[2] / "examples" / "broken-starter" / "call.toml")
TYPED = ("--arrangement", "csir-current-relay", "--lra", "12", "--run-ohms", "3.4", "--start-ohms", "11.2")
FEW = ("--machines", "12")


def run(*args: str) -> Result:
    done = CliRunner().invoke(main, ["start", *args])
    assert "Traceback" not in done.output
    return done


def data(*args: str) -> dict[str, Any]:
    done = run(*args, *FEW, "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert isinstance(found, dict)
    return found


def test_a_call_is_answered_with_ranges() -> None:
    """The machine of a call file is started in words: shares, amps, volts, curve, what is unknown."""
    done = run(EXAMPLE, *FEW)
    assert done.exit_code == 0, done.output
    for said in ("Starts:", "locked-rotor amps", " to ", "least volts that start it", "0 A |", "#"):
        assert said in done.stdout
    assert "What cannot be known" in done.stdout
    assert "cover on" in " ".join(done.stdout.split())
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_typed_machine_is_answered_as_data() -> None:
    """The same as JSON in SI units, with low, middle and high of each answer."""
    told = data(*TYPED)
    assert 0 <= told["starts"] <= 1
    amps = told["locked_amps"]
    assert amps["low"] <= amps["middle"] <= amps["high"]
    assert amps["unit"] == "A"
    assert told["weak"]["share"] == pytest.approx(0.8)


@pytest.mark.parametrize(("name", "begins"), [("start.svg", b"<svg"), ("start.png", b"\x89PNG")])
def test_the_curves_are_drawn(tmp_path: Path, name: str, begins: bytes) -> None:
    """With --picture current, speed, torque and temperatures stand in a file, and the answer as before."""
    path = tmp_path / name
    done = run(*TYPED, *FEW, "--picture", str(path))
    assert done.exit_code == 0, done.output
    assert f"written: {path}" in done.stdout
    assert "Starts:" in done.stdout
    assert begins in path.read_bytes()[:400]


def test_a_protector_inside_closes_later_again() -> None:
    """The protector inside the shell, among warm windings, waits longer than the one outside."""
    psc = ("--arrangement", "psc", "--lra", "20", "--protector")
    inside, outside = (data(*psc, where) for where in ("internal", "external"))
    assert inside["open_time"]["middle"] > outside["open_time"]["middle"]


def test_a_cord_is_said_with_what_was_asked() -> None:
    """The resistance of the supply stands among the conditions, as it was typed."""
    assert "1.8 Ω of supply" in " ".join(run(*TYPED, *FEW, "--supply-ohms", "1.8").stdout.split())


def test_low_volts_lower_the_margin() -> None:
    """At fewer volts there is less torque to spare, and the least volts stay what they are."""
    full, low = data(*TYPED), data(*TYPED, "--volts", "88")
    assert low["torque_margin"]["middle"] < 0.7 * full["torque_margin"]["middle"]
    assert low["least_volts"]["middle"] == pytest.approx(full["least_volts"]["middle"], rel=0.05)


def test_conditions_reach_the_attempt() -> None:
    """Pressure, ambient, cord and capacitor are taken as typed."""
    told = data(
        *TYPED,
        *("--pressure", "50%", "--ambient", "95 F", "--supply-ohms", "1.2", "--capacitor", "40 uF", "--hot"),
    )
    asked = told["conditions"]
    assert asked["difference"] == pytest.approx(0.5)
    assert asked["ambient"] == pytest.approx(35.0)
    assert asked["supply_ohms"] == pytest.approx(1.2)
    assert asked["start_farads"] == pytest.approx(40e-6)
    assert asked["hot"] is True


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((), "call FILE or --arrangement"),
        ((EXAMPLE, "--arrangement", "psc"), "call FILE or --arrangement"),
        (("/no/such/call.toml",), "no such file"),
        ((*TYPED, "--pressure", "sideways"), "unknown pressure"),
        (("--arrangement", "rsir-ptc", "--capacitor", "40"), "no capacitor"),
        (("--arrangement", "three-phase"), "single-phase"),
        (("--arrangement", "rsir-pct"), "did you mean rsir-ptc"),
        ((*TYPED, "--rla", "20"), "swapped"),
        ((*TYPED, "--volts", "3"), "volts at the outlet"),
        ((*TYPED, "--fault", "open"), "PART=MODE"),
        ((*TYPED, "--fault", "pct=open"), "unknown part"),
        ((*TYPED, "--fault", "start_capacitor=opne"), "did you mean open"),
    ],
)
def test_wrong_use_is_refused_in_words(args: tuple[str, ...], said: str) -> None:
    """What cannot be started ends with 2 and says what would be right."""
    done = run(*args)
    assert done.exit_code == 2
    assert said in done.stderr
    assert done.stdout == ""


def test_a_fault_is_played() -> None:
    """With a seized mechanism nothing starts, and the text says what was taken as wrong."""
    assert data(*TYPED, "--fault", "mechanism=seized")["starts"] == 0
    assert "mechanism seized" in run(*TYPED, *FEW, "--fault", "mechanism=seized").stdout


def test_a_measured_capacitor_is_taken() -> None:
    """The capacitor is taken as it was measured in the call, unless another is named."""
    file = EXAMPLE.replace("broken-starter", "weak-run-capacitor")
    weak, new = data(file), data(file, "--capacitor", "6 uF")
    assert weak["conditions"]["run_farads"] == pytest.approx(2.1e-6)
    assert weak["starts"] < new["starts"]


def test_a_call_without_a_machine_is_refused(tmp_path: Path) -> None:
    """A call that names no machine has nothing to start."""
    path = tmp_path / "call.toml"
    path.write_text("humclick_call = 1\n", encoding="utf-8")
    done = run(str(path))
    assert done.exit_code == 2
    assert "no machine is described" in done.stderr


def test_a_long_wait_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    """Only where an answer takes long is it said why."""
    with patience(30.0):
        pass
    assert capsys.readouterr().err == ""
    with patience(0.01):
        time.sleep(0.3)
    assert "once" in capsys.readouterr().err


def test_help_stays_light() -> None:
    """Help of the verb is shown without arrays or compilers having been read, and promptly."""
    script = (
        "import sys\nfrom humclick.cli.main import main\n"
        "try: main(['start', '--help'])\nexcept SystemExit: pass\n"
        "print([n for n in ('numpy', 'scipy', 'numba', 'msgspec') if n in sys.modules], file=sys.stderr)"
    )
    begun = time.monotonic()
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60)
    assert done.stderr.strip() == "[]"
    assert "Example: humclick start" in done.stdout
    assert time.monotonic() - begun < 3.0
