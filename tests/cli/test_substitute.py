"""``humclick substitute``: the answer as text, as data and as a picture, and wrong use."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from humclick.cli.main import main

TYPED = ("--arrangement", "rsir-ptc", "--lra", "12", "--run-ohms", "3.4", "--start-ohms", "11.2")
PILL = ("--part", "ptc", "--old", "ohms: 5; voltage: 180", "--machines", "3")


def run(*args: str) -> Result:
    done = CliRunner().invoke(main, ["substitute", *args])
    assert "Traceback" not in done.output
    return done


def test_a_substitute_is_answered_in_words(tmp_path: Path) -> None:
    """The answer, numbers, conditions, marks to read and what is never done fit an 80-column screen."""
    picture = tmp_path / "both.svg"
    done = run(*TYPED, *PILL, "--new", "ohms: 12; voltage: 180", "--curves", "--picture", str(picture))
    assert done.exit_code == 0, done.output
    for said in (
        "Answer:",
        "Release time",
        "100 % volts, pressures equal, cold",
        "Never",
        "old part, o new part",
    ):
        assert said in done.stdout
    lines = [line for line in done.stdout.splitlines() if not line.startswith("written:")]
    assert max(map(len, lines)) <= 80
    assert "<title" in picture.read_text(encoding="utf-8")


def test_a_bridge_is_refused_as_data() -> None:
    """As JSON a bridged starter is "no", with its flag, and nothing was simulated."""
    done = run(*TYPED, *PILL, "--new", "bridged", "--json")
    told = json.loads(done.stdout)
    assert told["fit"] == "no"
    assert told["flags"]
    assert told["machines"] == 0


def test_marks_come_from_the_call(tmp_path: Path) -> None:
    """Machine, windings and what was noted of the old part are taken from a call file."""
    call = tmp_path / "call.toml"
    call.write_text(
        "humclick_call = 1\n"
        '[[event]]\nkind = "machine"\narrangement = "csir-current-relay"\nlocked_rotor_amps = 12.0\n'
        '[[event]]\nkind = "stamp"\npart = "start_capacitor"\ntext = "88-108 MFD 165 VAC"\n',
        encoding="utf-8",
    )
    done = run(
        str(call), "--part", "start_capacitor", "--new", "88-108 MFD 165 VAC", "--machines", "3", "--json"
    )
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert "88 to 108 µF" in told["old"]
    assert told["fit"] == "same"


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ((*PILL, "--new", "ohms: 5"), "call FILE or --arrangement"),
        ((*TYPED, "--part", "fuse", "--new", "5 A"), "to replace"),
        ((*TYPED, *PILL, "--new", "colour: red"), "unknown mark"),
        ((*TYPED, *PILL, "--new", "ohms: 5", "--picture", "both.gif"), ".svg or .png"),
        (("/no/such.toml", *PILL, "--new", "ohms: 5"), "no such file"),
    ],
)
def test_wrong_use_is_refused_in_words(args: tuple[str, ...], said: str) -> None:
    """What cannot be tried ends with 2 and says what would be right."""
    done = run(*args)
    assert done.exit_code == 2
    assert said in done.stderr


def test_help_stays_light() -> None:
    """Help of the verb is shown without arrays or compilers having been read."""
    script = (
        "import sys\nfrom humclick.cli.main import main\n"
        "try: main(['substitute', '--help'])\nexcept SystemExit: pass\n"
        "print([n for n in ('numpy', 'scipy', 'numba', 'matplotlib') if n in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60)
    assert done.stderr.strip() == "[]"
    assert "Example: humclick substitute" in done.stdout
