"""Every text the program shows stands in the catalogues, and the pages read what stands there."""

from __future__ import annotations

import io
import re

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import read_mo

from humclick.messages import LOCALES, Message, languages, translator
from humclick.web.catalogue import catalogue_of, messages

_PLACES = re.compile(r"\{(\w+)")
CODES = [code for code in languages() if code != "en"]


def forms(text: object) -> tuple[str, ...]:
    """One text, or one and many."""
    return (
        (text,) if isinstance(text, str) else tuple(map(str, text)) if isinstance(text, list | tuple) else ()
    )


def texts(catalogue: Catalog) -> dict[tuple[str, ...], tuple[str, ...]]:
    """Texts that have a translation, with it."""
    return {forms(m.id): forms(m.string) for m in catalogue if m.id and any(forms(m.string))}


@pytest.mark.parametrize("code", CODES)
def test_catalogue_holds_every_text_and_no_other(code: str) -> None:
    """No text of templates, code and data is missing from a catalogue, and none is left from before."""
    assert {forms(m.id)[0] for m in catalogue_of(code) if m.id} == set(messages())


@pytest.mark.parametrize("code", CODES)
def test_every_text_is_translated(code: str) -> None:
    """Every text has its translation, with the same places in braces."""
    for message in catalogue_of(code):
        if not message.id:
            continue
        ids, strings = forms(message.id), forms(message.string)
        assert all(strings), ids
        assert not message.fuzzy
        wanted = set().union(*(_PLACES.findall(text) for text in ids))
        for string in strings:
            assert set(_PLACES.findall(string)) <= wanted, ids
        assert set().union(*(_PLACES.findall(string) for string in strings)) == wanted, ids


@pytest.mark.parametrize("code", CODES)
def test_compiled_catalogues_are_up_to_date(code: str) -> None:
    """The compiled file says the same as the catalogue it was made from."""
    compiled = (LOCALES / code / "LC_MESSAGES" / "humclick.mo").read_bytes()
    assert texts(read_mo(io.BytesIO(compiled))) == texts(catalogue_of(code))


def test_a_sentence_of_judgement_is_said_with_a_decimal_comma() -> None:
    """Values stand in the places of the translated sentence, messages among them translated too."""
    value = Message("{value} (expect {low} to {high})", value="OL", low="2.7 Ω", high="13 Ω")
    faults = (Message("broken open"),)
    found = Message(
        "{value}: speaks for {part} {faults:or}.", value=value, part=Message("PTC starter"), faults=faults
    )
    assert found == "OL (expect 2.7 Ω to 13 Ω): speaks for PTC starter broken open."
    assert (
        translator("es").text(found)
        == "OL (se espera de 2,7 Ω a 13 Ω): habla de arrancador PTC roto y abierto."
    )
