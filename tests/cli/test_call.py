"""``humclick call`` through a pipe: from the first question to the verdict, killed, resumed, failing."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from humclick.cli.main import main
from humclick.cli.session import Session
from humclick.diagnosis.shop import shop_from_table
from humclick.errors import HumclickError
from humclick.jobs.call_file import load_call, read_call
from humclick.jobs.fold import fold

COMMAND = (sys.executable, "-c", "from humclick.cli.main import main; main()")
ANSWERS = {
    "rsir-ptc": ("external", "115", "60", "", "", "R134a", "good", "nulled", "3"),
    "csir-current-relay": ("external", "115", "60", "", "", "R134a", "good", "nulled", "3"),
    "psc": ("internal", "230", "50", "", "", "R134a", "good", "nulled", "2"),
}
WINDINGS = ("C-R 4.7 cold", "C-S 11.2 cold", "S-R 15.8 cold")
READINGS = {
    "rsir-ptc": ("done", *WINDINGS, "ptc.shake rattles", "ptc.ohms OL cold"),
    "csir-current-relay": (
        *("done", "done", "stamp start_capacitor 88-108 MFD", *WINDINGS),
        *("current_relay.turned_over 0.2", "start_capacitor.farads 41 uF"),
    ),
    "psc": (
        *("done", "done", "stamp run_capacitor 15 uF 5%", "C-R 14 cold", "C-S 33 cold", "S-R 47 cold"),
        *("supply.volts_start 226", "run_capacitor.farads 5.2 uF", "wiring.pins clean and dry"),
    ),
}
REMEDY = {
    "rsir-ptc": "replace starter",
    "csir-current-relay": "replace start capacitor",
    "psc": "replace run capacitor",
}


def piped(path: Path, *lines: str) -> subprocess.CompletedProcess[str]:
    """Run a call with lines from a pipe."""
    return subprocess.run(
        (*COMMAND, "call", str(path)),
        input="".join(f"{line}\n" for line in lines),
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
    )


@pytest.mark.parametrize("name", sorted(ANSWERS))
def test_a_call_goes_through_a_pipe_to_its_verdict(tmp_path: Path, name: str) -> None:
    """Questions, gates and readings typed through a pipe end in the verdict and its record."""
    done = piped(tmp_path / "call.toml", name, *ANSWERS[name], *READINGS[name], "decide", "quit")
    assert (done.returncode, done.stderr) == (0, "")
    assert "Verdict: " in done.stdout
    assert "To prove the repair" in done.stdout
    assert f"To go on:\n  humclick call {tmp_path / 'call.toml'}" in done.stdout
    call = fold(read_call(tmp_path / "call.toml"))
    assert call.problems == ()
    assert call.decisions[0].remedies == (REMEDY[name],)


def test_a_killed_call_is_resumed_with_all_that_was_accepted(tmp_path: Path) -> None:
    """After kill -9 in the middle every accepted line is in the file, and the call goes on there."""
    path = tmp_path / "call.toml"
    with subprocess.Popen(
        (*COMMAND, "call", str(path)),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    ) as running:
        assert running.stdin is not None
        assert running.stdout is not None
        for line in ("rsir-ptc", *ANSWERS["rsir-ptc"], "done", "C-R 4.7 cold", "C-S 11.2 cold"):
            running.stdin.write(f"{line}\n")
        running.stdin.flush()
        for said in running.stdout:
            if "11.2 Ω" in said:  # the last line was accepted
                break
        running.send_signal(signal.SIGKILL)
    read = load_call(path)
    assert read.torn == ""
    assert [r.probe for r in fold(read.events).readings] == ["pins.C-R", "pins.C-S"]
    again = piped(path, "S-R 15.8 cold", "quit")
    assert "Call resumed" in again.stdout
    assert [r.probe for r in fold(read_call(path)).readings] == ["pins.C-R", "pins.C-S", "pins.S-R"]


def test_a_torn_line_is_told_on_resuming(tmp_path: Path) -> None:
    """A block cut off by a power failure is named and does not stop the call."""
    path = tmp_path / "call.toml"
    piped(path, "rsir-ptc", *ANSWERS["rsir-ptc"], "C-R 4.7")
    path.write_bytes(path.read_bytes() + b'\n# event e99 begins\n[[event]]\nkind = "note"\nid = "e99"\nte')
    again = piped(path, "C-S 11.2")
    assert "what is left of it stays in the file" in again.stdout
    assert again.returncode == 0
    assert [r.probe for r in fold(read_call(path)).readings] == ["pins.C-R", "pins.C-S"]


def test_bytes_that_are_no_text_are_survived(tmp_path: Path) -> None:
    """Bytes that are not UTF-8 are refused like any nonsense."""
    done = subprocess.run(
        (*COMMAND, "call", str(tmp_path / "call.toml")),
        input=b"\xff\xfe\x00\nrsir-ptc\n\xc3\x28\n",
        capture_output=True,
        timeout=120,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert fold(read_call(tmp_path / "call.toml")).machine is not None


def test_the_terminal_may_know_few_letters(tmp_path: Path) -> None:
    """A terminal without Ω and µ gets a question mark for them, and no failure."""
    done = subprocess.run(
        (*COMMAND, "call", str(tmp_path / "call.toml")),
        input=b"rsir-ptc\n\n\n\n\n\n\n\n\n3\nC-R 4.7\n",
        capture_output=True,
        timeout=120,
        env={**os.environ, "PYTHONIOENCODING": "latin-1"},
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"4.7 ?" in done.stdout


@pytest.mark.parametrize("text", ["", "not toml", "humclick_call = 2\n", "\0"])
def test_a_file_that_is_no_call_is_refused_and_left_alone(tmp_path: Path, text: str) -> None:
    """A file that is not a call ends with 2 and a message, and is not touched."""
    path = tmp_path / "other.txt"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(main, ["call", str(path)])
    assert done.exit_code == 2
    assert str(path) in done.stderr
    assert "Traceback" not in done.output
    assert path.read_text(encoding="utf-8") == text


def test_leaving_by_interrupt_says_how_to_go_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C and the end of the input leave with the same words and no error."""

    def interrupted(self: Session, typed: str) -> str:
        raise KeyboardInterrupt

    path = str(tmp_path / "call.toml")
    ended = CliRunner().invoke(
        main,
        ["call", path, "--shop-name", "Invented Cold Shop", "--customer", "Invented Bakery", "--invented"],
        input="",
    )
    monkeypatch.setattr(Session, "take", interrupted)
    stopped = CliRunner().invoke(main, ["call", path], input="help\n")
    for done in (ended, stopped):
        assert done.exit_code == 0
        assert f"Everything is kept. To go on:\n  humclick call {path}" in done.output
    header = fold(read_call(path)).header
    assert header is not None
    assert (header.shop, header.customer) == ("Invented Cold Shop", "Invented Bakery")
    assert header.invented


def test_a_failure_of_the_program_is_apologised_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An unforeseen failure ends with 70, an apology and the path of a report; no traceback is shown."""

    def failing(self: Session, typed: str) -> str:
        raise RuntimeError("an invented failure")

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(Session, "take", failing)
    done = CliRunner().invoke(main, ["call", str(tmp_path / "call.toml")], input="help\n")
    assert done.exit_code == 70
    assert "Traceback" not in done.output
    (report,) = (tmp_path / "state" / "humclick").iterdir()
    assert str(report) in done.stderr
    assert "an invented failure" in report.read_text(encoding="utf-8")
    assert read_call(tmp_path / "call.toml")


@pytest.mark.parametrize(("given", "kept"), [(["--place", "EU"], "eu"), ([], "")])
def test_the_place_of_a_new_call_is_recorded(tmp_path: Path, given: list[str], kept: str) -> None:
    """Whose safety rules hold is chosen when a call is begun; one not known is refused."""
    path = tmp_path / "call.toml"
    done = CliRunner().invoke(main, ["call", str(path), *given], input="quit\n")
    assert done.exit_code == 0, done.output
    assert fold(read_call(path)).place == kept
    refused = CliRunner().invoke(main, ["call", str(tmp_path / "other.toml"), "--place", "mars"], input="")
    assert refused.exit_code != 0
    assert not (tmp_path / "other.toml").exists()


def test_the_place_of_the_shop_file_is_taken(tmp_path: Path) -> None:
    """A shop names its place once in its own file; a place that is none is refused with those known."""
    assert shop_from_table({"place": "mx"}).place == "mx"
    for wrong in ("mars", 3):
        with pytest.raises(HumclickError, match="us"):
            shop_from_table({"place": wrong})
