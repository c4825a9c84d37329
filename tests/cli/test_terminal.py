"""Nothing out of a file steers the terminal."""

from __future__ import annotations

import sys
import unicodedata
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from humclick.cli.layout import lines
from humclick.cli.main import VERBS, main
from humclick.errors import printable

#: Clears the screen, hides text, sets the title, rings, goes back over the line, turns the writing.
CODES = "\x1b[2J\x1b[8m\x1b]0;t\x07\x08\r\x9b1m\u202e\x7f"


def steers(text: str) -> bool:
    return any(
        c not in "\n\t" and (unicodedata.category(c) in ("Cc", "Cs") or c in "\u202e\u2066") for c in text
    )


@given(st.text(alphabet=st.characters(exclude_categories=()), max_size=40))
def test_a_printable_text_steers_nothing_and_keeps_the_rest(text: str) -> None:
    """What steers is shown by its number; every other letter stays, and doing it twice changes nothing."""
    shown = printable(text)
    assert not steers(shown)
    assert printable(shown) == shown
    if not steers(text) and not set(text) & set("\u202a\u202b\u202c\u202d\u2067\u2068\u2069"):
        assert shown == text


@pytest.mark.parametrize("verb", ["advise", "check", "draw", "sheet", "pins", "recording", "substitute"])
def test_codes_in_a_file_or_its_name_are_shown_and_not_done(tmp_path: Path, verb: str) -> None:
    """Each verb that reads a file, given codes in its text, in its keys and in its name."""
    assert verb in VERBS
    texts = [
        f'humclick_call = 1\n[[event]]\nkind = "{CODES}"\n',
        f"humclick_call = 1\n{CODES} = 1\n",
        f'humclick_call = 1\n["{CODES.encode("unicode_escape").decode().replace("x", "u00")}"]\n',
        f'humclick_call = 1\n[[event]]\nkind = "note"\ntext = "{CODES}"\n',
        CODES,
        f"time,{CODES}\n1,2\n2,3\n",
    ]
    for number, text in enumerate(texts):
        path = tmp_path / f"{number}{CODES}.toml"
        path.write_text(text, encoding="utf-8", errors="surrogatepass")
        done = CliRunner().invoke(main, [verb, str(path)])
        assert done.exit_code == 2, done.output
        assert not steers(done.output)


def test_codes_in_a_shop_file_are_shown_and_not_done(tmp_path: Path) -> None:
    """A shop file's words are refused where they hold codes, in words that hold none."""
    path = tmp_path / "shop.toml"
    path.write_text('[remedy.wait]\ntitle = "\\u001b[2J"\n', encoding="utf-8")
    call = Path(__file__).resolve().parents[2] / "examples" / "broken-starter" / "call.toml"
    done = CliRunner().invoke(main, ["advise", str(call), "--shop", str(path)])
    assert done.exit_code == 2
    assert "title" in done.output
    assert not steers(done.output)


def test_the_streams_are_as_before_afterwards() -> None:
    """The guard stands only while a verb runs."""
    before = sys.stdout, sys.stderr
    CliRunner().invoke(main, ["list"])
    assert (sys.stdout, sys.stderr) == before


@given(st.integers(0, 120), st.integers(1, 99999))
def test_a_line_number_stays_with_its_word(length: int, number: int) -> None:
    """However long the path before it, a message never ends its line between "line" and the number."""
    assert f"line {number}" in lines(f"{'x' * length}, line {number}: not a table")
