"""
The command ``humclick``: its verbs, each in a file of its own that is read when it is asked for.

Whatever goes wrong ends in a sentence and an exit code: 2 where something given was refused, 70 where the
program itself failed.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence
from typing import Any

import click

from humclick import __version__
from humclick.cli.failure import refused, report
from humclick.cli.language import chosen, helped, say, speaking, with_language, without_language
from humclick.cli.terminal import plain_terminal
from humclick.errors import HumclickError
from humclick.messages import Message

#: Verbs in the order of a call; each stands in a module under its own name.
VERBS = (
    *("call", "advise", "check", "sheet", "draw", "pins", "start", "substitute", "recording", "list", "work"),
    *("schema", "serve"),
)


class Verbs(click.Group):
    """A group that reads a verb's file when it is asked for, and never shows a traceback."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Verbs in the order of a call."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """One verb, read from its file."""
        if cmd_name not in VERBS:
            return None
        name = "listing" if cmd_name == "list" else cmd_name
        verb = getattr(importlib.import_module(f"humclick.cli.{name}"), name)
        assert isinstance(verb, click.Command)
        return helped(with_language(verb))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The verb asked for; a wrong one is refused with the nearest right one."""
        if args and not args[0].startswith("-") and args[0] not in VERBS:
            from difflib import get_close_matches

            near = get_close_matches(args[0], VERBS, n=1, cutoff=0.5)
            hint = Message("It has: {verbs}.", verbs=VERBS)
            if near:
                hint = Message("Did you mean {verb}?", verb=near[0])
            ctx.fail(say(Message("No such verb {verb}. {hint}", verb=repr(args[0]), hint=hint)))
        return super().resolve_command(ctx, args)

    def main(self, args: Sequence[str] | None = None, *more: Any, **options: Any) -> Any:
        """Run; a refusal ends with 2, a failure of the program itself with 70 and a report."""
        rest, code = without_language(sys.argv[1:] if args is None else args)
        for stream in (sys.stdin, sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")
        with plain_terminal():
            try:
                with speaking(chosen(code)):
                    return self._run(rest, more, options)
            except HumclickError as error:  # no such language
                if not options.get("standalone_mode", True):
                    raise
                refused(error)
                sys.exit(2)

    def _run(self, args: Sequence[str], more: tuple[Any, ...], options: dict[str, Any]) -> Any:
        try:
            return super(Verbs, helped(self)).main(args, *more, **options)
        except HumclickError as error:
            if not options.get("standalone_mode", True):
                raise
            refused(error)
            sys.exit(2)
        except Exception as error:
            if not options.get("standalone_mode", True):
                raise
            report(error, Message("Nothing that was written to a call file is lost."))
            sys.exit(70)


@click.command(
    cls=Verbs,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Start with: humclick call FILE",
)
@click.version_option(__version__, prog_name="humclick")
def main() -> None:
    """From a compressor that will not start to a verdict that can be defended."""


with_language(main)
