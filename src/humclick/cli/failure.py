"""
What is said when something goes wrong: a refusal, or a failure of the program itself.

A failure is written with its particulars to a file in the user's state folder, so that the screen needs
no more than an apology and a path.
"""

from __future__ import annotations

import os
import sys
import tempfile
import traceback
from contextlib import suppress
from datetime import datetime
from pathlib import Path

import click

from humclick import __version__
from humclick.cli.language import reason, say
from humclick.errors import HumclickError
from humclick.messages import Message, Verbatim


def refused(error: HumclickError) -> None:
    """Say on the error stream why something was refused."""
    click.echo(f"humclick: {reason(error)}", err=True)


def state_folder() -> Path:
    """Where reports are kept: ``XDG_STATE_HOME``, else ``~/.local/state``."""
    named = os.environ.get("XDG_STATE_HOME", "")
    base = Path(named) if named and Path(named).is_absolute() else Path("~/.local/state").expanduser()
    return base / "humclick"


def apology(error: BaseException, safe: Message) -> str:
    """Write a failure to a file and give back what to say, with what is not lost in a sentence."""
    trace = "".join(traceback.format_exception(error))
    moment = datetime.now().astimezone()
    text = (
        f"{moment.isoformat()}\nhumclick {__version__}, Python {sys.version.split()[0]}\n{sys.argv}\n{trace}"
    )
    name = f"failure-{moment:%Y%m%d-%H%M%S}-{os.getpid()}.txt"
    for folder in (state_folder(), Path(tempfile.gettempdir())):
        with suppress(OSError):
            folder.mkdir(parents=True, exist_ok=True)
            path = folder / name
            path.write_text(text, encoding="utf-8", errors="backslashreplace")
            return say(
                Message(
                    "Sorry, the program itself failed here. {kept} What happened is written in {path}",
                    kept=safe,
                    path=Verbatim(path),
                )
            )
    form = Message(
        "Sorry, the program itself failed here ({error}). {kept}", error=type(error).__name__, kept=safe
    )
    return say(form)


def report(error: BaseException, safe: Message) -> None:
    """Say on the error stream that the program failed, and where that is written."""
    click.echo(apology(error, safe), err=True)
