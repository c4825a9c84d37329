"""
The catalogues: every text the program can show, gathered from code, templates and data files.

``python -m humclick.web.catalogue`` brings the ``.po`` files up to date, keeping what is translated, and
writes the ``.mo`` files that `humclick.messages.translator` reads. It needs Babel; the program does not.
A new language begins with ``python -m humclick.web.catalogue <code>``.

In code a text is marked by what takes it: `Message`, `counted`, ``_`` and ``N_``, with the text as a literal.
In a data file it stands under a key that holds words, or is the name of a remedy.
"""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterator, Sequence
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from humclick.messages import ENGLISH, LOCALES, languages

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog

_SOURCES = (("**.py", "python"), ("**.html", "jinja2"))
_KEYWORDS: dict[str, tuple[int, ...] | None] = {"_": None, "N_": None, "Message": None, "counted": (1, 2)}
#: What refuses a number by its name: the place of the name among what it is given.
_KEYWORDS |= {"positive": (2,), "not_negative": (2,), "at_least": (3,), "between": (4,)}
#: Keys of data files that hold words for people.
_WORDS = frozenset(
    {
        "alike",
        "answer",
        "assumes",
        "at_zero",
        "bad",
        "before",
        "caution",
        "caveat",
        "customer",
        "defer",
        "did",
        "does",
    }
    | {
        "how",
        "if_bad",
        "lasts",
        "must",
        "next",
        "outcomes",
        "plain",
        "question",
        "reason",
        "said",
        "seen",
        "steps",
        "tested",
    }
    | {"text", "tick", "title", "where", "why"}
)
#: Data files every text of which is for people, and those none of which is shown by this catalogue.
_ALL_WORDS, _NO_WORDS = frozenset({"words.toml"}), frozenset({"call.toml", "designs.toml"})
#: What is the same in every language.
_ONE_PLACE = re.compile(r"\{[^{}]*\}")


def _in_table(table: Any, wanted: bool = False, every: bool = False) -> Iterator[str]:
    """Texts of a data file, and the names of remedies; all of a table where `every` text is for people."""
    if isinstance(table, str):
        if wanted:
            yield table
    elif isinstance(table, list):
        for member in table:
            yield from _in_table(member, wanted, every)
    elif isinstance(table, dict):
        for key, value in table.items():
            if key == "remedy" and isinstance(value, dict):
                yield from value
            if key == "element" and isinstance(value, list):  # the word beside a part's title in its drawing
                yield from (row["word"] for row in value if "word" in row)
            if key == "mark" and isinstance(value, list):  # named before what is printed there
                yield from (row["name"].replace("_", " ") for row in value if "name" in row)
            if key == "mode":  # named in a sentence without what stands behind its colon
                yield from (row["title"].partition(":")[0] for row in value)
            whole = every or (key == "reason" and isinstance(value, dict))
            yield from _in_table(value, key != "source" and (whole or key in _WORDS), whole)


def _in_data() -> Iterator[str]:
    for file in sorted(Path(str(resources.files("humclick"))).rglob("*.toml")):
        if file.name not in _NO_WORDS:
            yield from _in_table(tomllib.loads(file.read_text("utf-8")), every=file.name in _ALL_WORDS)


def _in_help() -> Iterator[str]:
    """Texts of the command's help: every verb and every option."""
    from humclick.cli.language import texts_of
    from humclick.cli.main import main

    yield from (text.id for text in texts_of(main))


def messages() -> dict[str, tuple[str, ...]]:
    """
    Every text with a translation of its own: the text, or one and many, by the text.

    Needs Babel to read code and templates.
    """
    from babel.messages.extract import extract_from_dir

    table: dict[str, tuple[str, ...]] = {}
    extracted = extract_from_dir(
        str(resources.files("humclick")),
        method_map=[*_SOURCES],
        options_map={"**.html": {"trimmed": "false"}},
        keywords=_KEYWORDS,
    )
    texts = [(text,) if isinstance(text, str) else tuple(text) for _, _, text, _, _ in extracted]
    for forms in (*texts, *((text,) for text in (*_in_data(), *_in_help()))):
        if forms and forms[0].strip() and not _ONE_PLACE.fullmatch(forms[0]):
            table.setdefault(forms[0], forms)
    return table


def _file(code: str, ending: str) -> Path:
    return LOCALES / code / "LC_MESSAGES" / f"humclick.{ending}"


def catalogue_of(code: str) -> Catalog:
    """The catalogue of a language as it stands."""
    from babel.messages.pofile import read_po

    with _file(code, "po").open("rb") as file:
        return read_po(file, locale=code, domain="humclick")


def gathered(code: str, old: Catalog | None = None) -> Catalog:
    """A catalogue that holds every text, with the translations of an older one."""
    from babel.messages.catalog import Catalog as Made

    made = Made(locale=code, domain="humclick", project="Hum & Click", charset="utf-8", fuzzy=False)
    for text, forms in sorted(messages().items(), key=lambda item: item[0].casefold()):
        before = old.get(text) if old is not None else None
        string = before.string if before is not None and before.string else None
        flags = ("python-brace-format",) if "{" in text else ()
        made.add(forms if len(forms) > 1 else text, string, flags=flags)
    return made


def compiled_catalogue(catalogue: Catalog) -> bytes:
    """A catalogue as the program reads it."""
    import io

    from babel.messages.mofile import write_mo

    buffer = io.BytesIO()
    write_mo(buffer, catalogue)
    return buffer.getvalue()


def _translated(string: str | Sequence[str] | None) -> bool:
    """Whether a text, or every form of a counted one, is there."""
    return bool(string) and (isinstance(string, str) or all(string or ()))


def brought_up_to_date(code: str) -> int:
    """Bring the files of a language up to date; the number of texts still without translation."""
    from babel.messages.pofile import write_po

    source = _file(code, "po")
    source.parent.mkdir(parents=True, exist_ok=True)
    made = gathered(code, catalogue_of(code) if source.exists() else None)
    with source.open("wb") as file:
        write_po(file, made, width=110, omit_header=False, no_location=True)
    _file(code, "mo").write_bytes(compiled_catalogue(made))
    return sum(not _translated(message.string) for message in made if message.id)


if __name__ == "__main__":
    for language in sys.argv[1:] or [code for code in languages() if code != ENGLISH]:
        print(f"{language}: {brought_up_to_date(language)} texts without translation")
