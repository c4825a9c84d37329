"""
The language of the terminal: US English, or another one that has a catalogue.

It is chosen by ``--lang`` or the environment's ``HUMCLICK_LANG``, and by nothing else: what a command writes
does not hang on the locale of the machine it runs on. The words that are typed (verbs, orders, names of
probes, parts and remedies) are the same in every language.
"""

from __future__ import annotations

import copy
import gettext
import inspect
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

import click

from humclick.errors import HumclickError, Refused, printable
from humclick.messages import (
    ENGLISH,
    N_,
    Message,
    Translator,
    Verbatim,
    catalogue_file,
    counted,
    languages,
    translator,
)

#: Name of the environment's variable.
LANGUAGE = "HUMCLICK_LANG"
_OPTION = "--lang"
_SPOKEN: ContextVar[Translator | None] = ContextVar("spoken", default=None)

#: What the library of the command line says, by its own ids, which it asks `gettext` for.
OF_CLICK = (
    N_("Usage:"),
    N_("Options"),
    N_("Commands"),
    N_("required"),
    N_("default: {default}"),
    N_("env var: {var}"),
    N_("Show this message and exit."),
    N_("Show the version and exit."),
    N_("%(prog)s, version %(version)s"),
    N_("Aborted!"),
    N_("Error: {message}"),
    N_("Try '{command} {option}' for help."),
    N_("Missing command."),
    N_("Missing argument"),
    N_("Missing option"),
    N_("Invalid value: {message}"),
    N_("Invalid value for {param_hint}: {message}"),
    N_("No such option {name!r}."),
    N_("No such command {name!r}."),
    N_("Option {name!r} does not take a value."),
    N_("Choose from:\n\t{choices}"),
    N_("{value!r} is not a valid {number_type}."),
    N_("{value} is not in the range {range}."),
    N_("{name} {filename!r} is a directory."),
    N_("{name} {filename!r} is a file."),
    N_("{name} {filename!r} does not exist."),
    N_("{name} {filename!r} is not readable."),
    N_("{name} {filename!r} is not writable."),
    N_("Argument {name!r} takes {nargs} values."),
    *(N_("file"), N_("directory"), N_("path")),
    counted("Did you mean {possibility}?", "(Did you mean one of: {possibilities}?)", 1),
    counted("Got unexpected extra argument ({args})", "Got unexpected extra arguments ({args})", 1),
    counted("Option {name!r} requires an argument.", "Option {name!r} requires {nargs} arguments.", 1),
    counted("Takes {nargs} values but 1 was given.", "Takes {nargs} values but {len} were given.", 1),
    counted("{value!r} is not {choice}.", "{value!r} is not one of {choices}.", 1),
)


def say(message: str) -> str:
    """A message in the language of the terminal; a string that is none is data, and stays as it is."""
    spoken = _SPOKEN.get()
    return message if spoken is None or not isinstance(message, Message) else spoken.text(message)


def spoken() -> str:
    """Code of the language of the terminal."""
    now = _SPOKEN.get()
    return ENGLISH if now is None else now.code


def reason(error: HumclickError) -> str:
    """Why something was refused, in the language of the terminal."""
    return printable(say(error.message))


def without_language(args: Sequence[str]) -> tuple[list[str], str]:
    """What is typed without ``--lang`` and its language, wherever that stands, and the language asked for."""
    rest, code = list(args), os.environ.get(LANGUAGE, "")
    at, end = 0, rest.index("--") if "--" in rest else len(rest)
    while at < end:
        name, sign, value = rest[at].partition("=")
        if name != _OPTION or (not sign and at + 1 >= end):
            at += 1
            continue
        code = value if sign else rest[at + 1]
        width = 1 if sign else 2
        del rest[at : at + width]
        end -= width
    return rest, code


def chosen(text: str) -> str:
    """The code of a language asked for, such as ``es`` or ``es_MX.UTF-8``; English for none."""
    code = text.strip().partition(".")[0].replace("_", "-")
    known = {name.casefold().replace("_", "-"): name for name in languages()}
    for wanted in (code.casefold(), code.casefold().partition("-")[0]):
        if wanted in known:
            return known[wanted]
    if not code:
        return ENGLISH
    raise Refused(
        Message(
            "no catalogue for the language {code}; there are: {known}",
            code=ascii(text)[:40],
            known=tuple(known.values()),
        )
    )


@contextmanager
def speaking(code: str) -> Iterator[None]:
    """The terminal speaks a language meanwhile, and so does the library of the command line."""
    file = catalogue_file(code)
    if file is None:
        yield
        return
    domain, before = gettext.textdomain(), os.environ.get("LANGUAGE")
    token = _SPOKEN.set(translator(code))
    gettext.bindtextdomain("humclick", str(file.parents[2]))
    gettext.textdomain("humclick")
    os.environ["LANGUAGE"] = code
    try:
        yield
    finally:
        _SPOKEN.reset(token)
        gettext.textdomain(domain)
        os.environ.pop("LANGUAGE")
        if before is not None:
            os.environ["LANGUAGE"] = before


# -- help -------------------------------------------------------------------------------------------------

_EXAMPLE = "Example: "
_Command = TypeVar("_Command", bound=click.Command)


def _paragraph(text: str) -> Message:
    """A paragraph of help; what is typed in an example is no text."""
    line = " ".join(text.split())
    if line.startswith(_EXAMPLE):
        return Message("Example: {command}", command=Verbatim(line.removeprefix(_EXAMPLE)))
    return Message.of(line)


def texts_of(command: click.Command) -> Iterator[Message]:
    """Every text of a verb's help, that of its own verbs too; for the catalogue."""
    for text in filter(None, (command.help, command.epilog)):
        yield from map(_paragraph, inspect.cleandoc(text).split("\n\n"))
    for param in command.params:
        if isinstance(param, click.Option) and param.help:
            yield _paragraph(param.help)
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            verb = command.get_command(context, name)
            if verb is not None:
                yield from texts_of(verb)


def helped(command: _Command) -> _Command:
    """A verb with its help in the language of the terminal; the verb itself in English."""
    if _SPOKEN.get() is None:
        return command
    made = copy.copy(command)
    if made.help:
        made.help = "\n\n".join(say(_paragraph(verb)) for verb in inspect.cleandoc(made.help).split("\n\n"))
    if made.epilog:
        made.epilog = say(_paragraph(made.epilog))
    made.params = [copy.copy(param) for param in made.params]
    for param in made.params:
        if isinstance(param, click.Option) and param.help:
            param.help = say(_paragraph(param.help))
    if isinstance(made, click.Group):
        made.commands = {name: helped(verb) for name, verb in made.commands.items()}
    return made


def with_language(command: click.Command) -> click.Command:
    """A verb, and its own verbs, with ``--lang`` among its options; it is taken before they are read."""
    if not any(_OPTION in param.opts for param in command.params):
        words = "Language of what is written, such as es; also HUMCLICK_LANG."
        command.params.append(click.Option([_OPTION], expose_value=False, metavar="CODE", help=words))
    if isinstance(command, click.Group):
        for verb in command.commands.values():
            with_language(verb)
    return command
