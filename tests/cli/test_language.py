"""The terminal in another language: every text passes through the catalogue, and what is typed goes on."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from humclick.arrangements.arrangement import arrangements
from humclick.cli.language import OF_CLICK, chosen, say, without_language
from humclick.cli.layout import table
from humclick.cli.main import VERBS, main
from humclick.cli.session import Session
from humclick.diagnosis.shop import default_shop
from humclick.errors import Refused
from humclick.jobs.call_file import load_call, save_call
from humclick.jobs.event_tables import event_from, table_of
from humclick.messages import Message, Verbatim, translator
from tests.pseudo import in_own_words, unsaid, write_catalogue
from tests.web.pages_asked import EXAMPLES, NAMES

CODE = "eo"
#: What is typed and so the same in every language: verbs, orders, options, names in a call, metavars.
TYPED = re.compile(
    r"humclick.*|--?[\w-]+(?:[ =][A-Z]+\b)?|[A-Z]{3,}(?:\|\w+)*|\[[A-Z .\]|+-]+|\{[\w|]+\}|\S*/\S+|[\w-]+\.(?:toml|html|pdf|svg|csv|png)"
)


@pytest.fixture(scope="module", autouse=True)
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A language made of the ids, as a catalogue in a folder."""
    folder = tmp_path_factory.mktemp("locales")
    write_catalogue(folder, CODE)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HUMCLICK_LOCALES", str(folder))
        translator.cache_clear()
        yield
    translator.cache_clear()


def run(*args: str, stdin: str | None = None, lang: str = CODE) -> str:
    done = CliRunner().invoke(main, ["--lang", lang, *args], input=stdin)
    assert done.exit_code in (0, 1, 2), done.output
    return str(done.output)


def english(text: str, *typed: str) -> list[str]:
    """Words that did not pass through the catalogue."""
    joined = re.sub(r"\s*\n\s*", " ", text)
    return unsaid(TYPED.sub(" ", joined), typed)


def copied(name: str, folder: Path) -> Path:
    """An invented call with what its people wrote marked."""
    path = folder / "call.toml"
    events = load_call(EXAMPLES / name / "call.toml").events
    save_call(path, [event_from(in_own_words(dict(table_of(event)))) for event in events])
    return path


def names_of(path: Path) -> tuple[str, ...]:
    """Names in a call that are typed as they are, whatever the language."""
    session = Session(path, default_shop())
    session.open()
    parts = [part.id for part in session.call.machine.parts] if session.call.machine is not None else []
    gates = [name for reading in session.call.readings for name in reading.unproved]
    values = [reading.text for reading in session.call.readings]
    events = [event.id for event in session.events]
    return (*parts, *gates, *values, *events, *arrangements(), path.name, str(path))


@pytest.mark.parametrize("name", NAMES)
def test_advice_on_every_invented_call_is_said(name: str, tmp_path: Path) -> None:
    """Findings, suspects, the verdict and its reasons, the parts asked for."""
    path = copied(name, tmp_path)
    assert english(run("advise", str(path), "--why"), *names_of(path)) == []
