"""The terminal in another language: every text passes through the catalogue, and what is typed goes on."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from humclick.arrangements.arrangement import arrangements
from humclick.cli.main import VERBS, main
from humclick.cli.opening import FACTS
from humclick.cli.orders import ORDERS
from humclick.cli.session import Session
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.shop import default_shop
from humclick.jobs.call_file import load_call, write_call
from humclick.jobs.event_tables import event_from, table_of
from humclick.messages import translator
from humclick.meters import meters
from humclick.parts.family import families, family
from humclick.safety import gates
from tests.pseudo import in_own_words, unsaid, write_catalogue
from tests.sample import sampled
from tests.web.pages_asked import EXAMPLES, NAMES

CODE = "eo"
#: What is typed and so the same in every language: verbs, orders, options, names in a call, metavars.
TYPED = re.compile(
    r"humclick.*|--?[\w-]+(?:[ =][A-Z]+\b)?|[A-Z]{3,}(?:\|\w+)*|\[[A-Z .\]|+-]+|\{[\w|,. ]+\}|\S*/\S+"
    r"|[\w-]+\.(?:toml|html|pdf|svg|csv|png)"
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
    done = CliRunner().invoke(main, ["--lang", lang, *args], input=stdin, prog_name="humclick")
    assert done.exit_code in (0, 1, 2), done.output
    return str(done.output)


def english(text: str, *typed: str) -> list[str]:
    """Words that did not pass through the catalogue."""
    joined = re.sub(r"\s*\n\s*", " ", text)
    for name in sorted(typed, key=len, reverse=True):
        joined = joined.replace(name, " ")
    return unsaid(TYPED.sub(" ", joined))


def copied(name: str, folder: Path) -> Path:
    """An invented call with what its people wrote marked."""
    path = folder / "call.toml"
    events = load_call(EXAMPLES / name / "call.toml").events
    write_call(path, [event_from(in_own_words(dict(table_of(event)))) for event in events])
    return path


def names_of(path: Path) -> tuple[str, ...]:
    """Names in a call that are typed as they are, whatever the language."""
    session = Session(path, default_shop())
    session.open()
    machine = session.call.machine
    parts = [part.id for part in machine.parts] if machine is not None else []
    if machine is not None and not machine.arrangement.recognised_only:
        parts += probes_of(machine)
    gates = [name for reading in session.call.readings for name in reading.unproved]
    values = [reading.text for reading in session.call.readings]
    events = [event.id for event in session.flow.events]
    return (*parts, *gates, *values, *events, *arrangements(), path.name, str(path))


@pytest.mark.parametrize("name", sampled(NAMES, NAMES[::4]))
def test_advice_on_every_invented_call_is_said(name: str, tmp_path: Path) -> None:
    """Findings, suspects, the verdict and its reasons, the parts asked for."""
    path = copied(name, tmp_path)
    assert english(run("advise", str(path), "--why"), *names_of(path)) == []


@pytest.mark.parametrize("name", sampled(NAMES, NAMES[1::4]))
def test_the_sheet_of_every_invented_call_is_said(name: str, tmp_path: Path) -> None:
    """As text, from the terminal."""
    path = copied(name, tmp_path)
    assert english(run("check", str(path)), *names_of(path)) == []


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_the_help_of_every_verb_is_said(verb: str) -> None:
    """What each does, and every option of it."""
    assert english(run(verb, "--help"), *VERBS, *arrangements()) == []


def test_a_call_is_taken_in_another_language(tmp_path: Path) -> None:
    """Orders and probes are typed as ever; what comes back is said, refusals too."""
    path = copied("just-begun", tmp_path)
    lines = "help\nprobes\nptc.ohms OL cold\nptc.ohms 12 V\nwhy\nwhat if ptc.shake\nundo\nquit\n"
    typed = (*names_of(path), *lines.split(), *ORDERS, *FACTS, *gates(), "… hot, cold", " reading ")
    assert english(run("call", str(path), stdin=lines), *typed) == []


#: Names that are typed, which a list or a refusal shows as they are.
OF_LISTS = (
    *(*VERBS, *ORDERS, *FACTS, *gates(), *meters(), *families(), *arrangements(), *default_shop().remedies),
    *("external", "integrated", "internal", "equal", "partly", "running", "high"),
    *(mode for name in families() for mode in family(name).modes),
)

#: What ``list`` lists.
LISTS = ("probes", "parts", "remedies", "arrangements", "meters")
#: Files that are not what they should be, by their names.
WRONG_FILES: dict[str, bytes] = {
    "torn.toml": b"[torn",
    "version.toml": b"humclick_call = 9",
    "top.toml": b"humclick_call = 1\nevnt = 3",
    "kind.toml": b'humclick_call = 1\n[[event]]\nkind = "redaing"',
    "field.toml": b'humclick_call = 1\n[[event]]\nkind = "reading"\nprobe = "x"\nvalu = 3',
    "value.toml": b'humclick_call = 1\n[[event]]\nkind = "reading"\nprobe = "x"\nvalue = 3',
    "twice.toml": b"humclick_call = 1\nhumclick_call = 1",
    "deep.toml": b"humclick_call = 1\na = " + b"[" * 60 + b"]" * 60,
    "binary.toml": b"\0\1\2",
    "wide.toml": "humclick_call = 1".encode("utf-16"),
    "latin.toml": b"\xe9",
    "bare.toml": b"humclick_call = 1\n",
    "empty.csv": b"",
    "words.csv": b"hello\nworld\n",
    "short.csv": b"t,A\n0,1\n1,2\n",
    "sheet.csv": b"PK\x03\x04abc",
    "page.pdf": b"%PDF-1.4",
    "cut.wav": b"RIFF\0\0\0\0WAVEfmt \2\0\0\0ab",
    "rates.toml": b"[rates]\nhuor = 3",
    "hour.toml": b"rates = 3",
    "section.toml": b"rats = 3",
    "odds.toml": b"[odds]\n'ptcc.open' = 3",
}
#: What is typed wrong, or answered with a refusal.
WRONG = [
    shlex.split(line)
    for line in Path(__file__).with_name("wrong_input.txt").read_text("utf-8").splitlines()
    if not line.startswith("#")
]


def test_wrong_input_is_known_for_every_verb() -> None:
    """A verb that is added has what can be typed wrong in it."""
    assert {verb for verb, *_ in WRONG} == set(VERBS)


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_what_is_refused_is_said(verb: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing stands in English but what was typed, and the names that can be."""
    path = copied("just-begun", tmp_path)
    monkeypatch.chdir(tmp_path)
    for name, data in WRONG_FILES.items():
        (tmp_path / name).write_bytes(data)
    left = {}
    for typed in (rest for name, *rest in WRONG if name == verb):
        pieces = [piece for word in typed for piece in re.split(r"[=:; ]+", word) if piece]
        said = run(verb, *typed)
        if words := english(
            said, *names_of(path), *OF_LISTS, *typed, *pieces, *WRONG_FILES, "readings", str(tmp_path)
        ):
            left[" ".join(typed)] = words
    assert left == {}


@pytest.mark.parametrize(
    "orders",
    [
        (
            "foo",
            "ptc.ohms xyz",
            "list foo",
            "skip",
            "skip foo",
            "stamp",
            "stamp foo bar",
            "wait x",
            "undo foo",
        ),
        ("meter best", "plate", "volts 9999", "hertz 70", "lra 999999", "rla -1", "heard foo", "help foo"),
        ("what if", "what if foo", "decide foo", "cleared", "hazard foo", "done", "cannot", "passed foo"),
        ("arrangement foo", "protector foo", "refrigerant foo", "leads foo"),
    ],
)
def test_what_is_refused_in_a_call_is_said(orders: tuple[str, ...], tmp_path: Path) -> None:
    """Orders that are not understood, and figures that cannot be."""
    path = copied("just-begun", tmp_path)
    said = run("call", str(path), stdin="\n".join((*orders, "quit", "")))
    assert (
        english(
            said, *names_of(path), *OF_LISTS, *" ".join(orders).split(), *LISTS, "hot", "cold", "compressor"
        )
        == []
    )


def test_the_language_stands_in_the_option_or_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """The option first; a language without a catalogue is refused with those there are."""
    monkeypatch.setenv("HUMCLICK_LANG", CODE)
    said = CliRunner().invoke(main, ["--help"], prog_name="humclick").output
    assert english(said, *VERBS) == []
    assert said != run("--help", lang="en")
    refused = CliRunner().invoke(main, ["--lang", "xx", "--help"])
    assert refused.exit_code == 2
    assert "es" in refused.output
