"""Every text of the pages stands in both catalogues, and the pages read what stands there."""

from __future__ import annotations

import io
import re

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import read_mo

from humclick.messages import LOCALES
from humclick.recordings.recognise import CAUSES
from humclick.sourced import read_data
from humclick.web.catalogue import messages, read
from humclick.web.language import language
from humclick.web.sentences import neutral, taken_apart

_PLACES = re.compile(r"\{\w+\}")


def forms(text: object) -> tuple[str, ...]:
    """One text, or one and many."""
    return (
        (text,) if isinstance(text, str) else tuple(map(str, text)) if isinstance(text, list | tuple) else ()
    )


def texts(catalogue: Catalog) -> dict[tuple[str, ...], tuple[str, ...]]:
    """Texts that have a translation, with it."""
    return {forms(m.id): forms(m.string) for m in catalogue if m.id and any(forms(m.string))}


@pytest.mark.parametrize("code", ["es"])
def test_catalogue_holds_every_text(code: str) -> None:
    """No text of templates, pages and model is missing from a catalogue."""
    kept = {forms(m.id)[0] for m in read(code) if m.id}
    assert sorted(set(messages()) - kept) == []


def test_every_text_is_translated() -> None:
    """Every text has its Spanish, with the same places in braces."""
    for message in read("es"):
        if not message.id:
            continue
        ids, strings = forms(message.id), forms(message.string)
        assert all(strings), ids
        assert not message.fuzzy
        for text, string in zip(ids, strings, strict=True):
            assert set(_PLACES.findall(text)) == set(_PLACES.findall(string)), text


def test_compiled_catalogues_are_up_to_date() -> None:
    """The compiled file says the same as the catalogue it was made from; English needs none."""
    compiled = (LOCALES / "es" / "LC_MESSAGES" / "humclick.mo").read_bytes()
    assert texts(read_mo(io.BytesIO(compiled))) == texts(read("es"))


@pytest.mark.parametrize(
    ("english", "spanish"),
    [
        ("PTC starter: broken open", "arrancador PTC: roto y abierto"),
        (
            "Replace the starter (98 % that this fixes it)",
            "Cambiar el arrancador (98 % de que esto lo arregla)",
        ),
        (
            "OL (healthy: 2.7 Ω to 13 Ω): speaks for PTC starter broken open.",
            "OL (sano: de 2,7 Ω a 13 Ω): habla de arrancador PTC roto y abierto.",
        ),
        (
            "At first 12.5 A, 104 % of the plate's LRA, then running after 0.88 s at 1.26 A; it still flowed"
            " at the end.",
            "Al principio 12,5 A, 104 % del LRA de la placa, luego en marcha a los 0,88 s con 1,26 A; al"
            " final seguía pasando.",
        ),
        ("Heard: hum 0.5–3.2 s, running 3.2–5.0 s.", "Se oye: zumbido 0,5–3,2 s, marcha 3,2–5,0 s."),
        ("115 V, 60 Hz", "115 V, 60 Hz"),
        ("4.70 Ω", "4,70 Ω"),
    ],
)
def test_put_together_sentences_are_taken_apart(english: str, spanish: str) -> None:
    """Sentences that judgement puts together are said in Spanish, with a decimal comma."""
    assert language("es").plain(english) == spanish


@pytest.mark.parametrize("cause", CAUSES)
def test_every_cause_a_recording_shows_is_said(cause: str) -> None:
    """What a recording looks like, what else it may be and what looks alike are said in Spanish."""
    spanish, told = language("es"), read_data("humclick.recordings", "causes.toml")[cause]
    sentences = [
        f"This looks like {told['title']} (>99 %): {told['plain']}.",
        f"It may also be {told['title']} (12 %), {told['title']} (5 %).",
        *([f"{told['alike']}."] if "alike" in told else []),
    ]
    assert [sentence for sentence in sentences if spanish.spoken(sentence) is None] == []


def test_text_without_translation_is_marked_as_english() -> None:
    """What cannot be said stays in English and is marked so for a screen reader."""
    assert (
        str(language("es").say("a wholly unknown remark")) == '<span lang="en">a wholly unknown remark</span>'
    )
    assert str(language("en").say("<b>")) == "&lt;b&gt;"


def test_long_unknown_text_is_given_up_quickly() -> None:
    """A long text that fits no form is given up, however many joins it holds."""
    text = ", ".join("x or y and z; w + v" for _ in range(200))
    assert taken_apart(text, lambda _part: None, str) is None
    assert not neutral("open")
