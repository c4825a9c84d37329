"""The command itself: help, wrong verbs, failures, and that nothing heavy is read for them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import humclick
from humclick.cli import failure, listing
from humclick.cli.main import VERBS, main
from humclick.errors import Refused
from humclick.messages import Message


def test_help_names_every_verb() -> None:
    """Help lists each verb with a sentence; each verb's help ends its first paragraph and has an example."""
    told = CliRunner().invoke(main, ["--help"])
    assert told.exit_code == 0
    for verb in VERBS:
        assert f"  {verb} " in told.output
        own = CliRunner().invoke(main, [verb, "-h"])
        assert own.exit_code == 0
        assert f"Example: humclick {verb}" in own.output
    assert CliRunner().invoke(main, ["--version"]).output == f"humclick, version {humclick.__version__}\n"


def test_help_reads_nothing_heavy() -> None:
    """Help is shown without judgement, arrays or templates having been read."""
    script = (
        "import sys\nfrom humclick.cli.main import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "heavy = ('numpy', 'msgspec', 'jinja2', 'humclick.diagnosis.advice', 'humclick.jobs.fold')\n"
        "print([name for name in heavy if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60)
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize(
    ("args", "said"),
    [
        *((["advice"], "Did you mean advise?"), (["frobnicate"], "It has: call, advise")),
        *((["advise"], "Missing argument 'FILE'"), (["advise", "/no/such/call.toml"], "no such file")),
        *((["list", "gears"], "is not one of"), (["advise", "/tmp"], "folder")),
    ],
)
def test_wrong_use_ends_with_2_and_what_is_right(args: list[str], said: str) -> None:
    """A wrong verb, argument or file ends with exit code 2 and a message on the error stream."""
    done = CliRunner().invoke(main, args)
    assert done.exit_code == 2
    assert said in done.stderr
    assert done.stdout == ""


def test_a_failure_is_reported_in_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An unforeseen failure in a verb ends with 70 and the path of its report."""

    def failing(*_: object) -> None:
        raise ZeroDivisionError("an invented failure")

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setitem(listing._LISTS, "meters", failing)
    done = CliRunner().invoke(main, ["list", "meters"])
    assert done.exit_code == 70
    (report,) = (tmp_path / "humclick").iterdir()
    assert str(report) in done.stderr
    assert "Traceback" not in done.output
    assert "ZeroDivisionError" in report.read_text(encoding="utf-8")


def test_a_failure_is_told_where_no_folder_can_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a state folder the report goes to the temporary one; without that the failure is named."""
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    monkeypatch.setenv("XDG_STATE_HOME", str(blocked))
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path))
    told = failure.apology(RuntimeError("an invented failure"), Message("Kept."))
    assert str(tmp_path / "failure-") in told
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(blocked))
    assert failure.apology(RuntimeError("x"), Message("Kept.")).endswith("(RuntimeError). Kept.")


def test_errors_pass_where_the_caller_asks_for_them() -> None:
    """Out of standalone mode errors are raised, so that other programs can handle them."""
    with pytest.raises(Refused):
        main(["advise", "/no/such/call.toml"], standalone_mode=False)
    with pytest.raises(click.UsageError):
        main(["frobnicate"], standalone_mode=False)
