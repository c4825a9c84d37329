"""Files that verbs write: drawings and sheets. A call file is never written over."""

from __future__ import annotations

from pathlib import Path

import click

from humclick.cli.language import say
from humclick.errors import Refused
from humclick.messages import Message, Verbatim


def save(path: Path, data: bytes, *, quiet: bool = False) -> None:
    """Write a file, and say so unless told to be quiet; refused where a call stands in it."""
    try:
        if path.is_file():
            with path.open("rb") as old:
                if b"humclick_call" in old.read(2000):
                    raise Refused(
                        Message("{path}: a call stands in this file; give another name", path=Verbatim(path))
                    )
        path.write_bytes(data)
    except Refused:
        raise
    except (OSError, ValueError) as error:
        why = str(getattr(error, "strerror", None) or error)
        raise Refused(
            Message("{path}: cannot be written: {why}", path=Verbatim(path), why=Verbatim(why))
        ) from None
    if not quiet:
        click.echo(say(Message("written: {path}", path=Verbatim(path))))
