"""Beneath the pages: notices, templates, icons, failures, devices."""

from __future__ import annotations

import json
import os
from typing import Any

import pytest

from humclick.errors import Refused
from humclick.jobs.call_file import load_call
from humclick.messages import languages
from humclick.web import api, drawings, nets, notices, tasks, typeset
from humclick.web.exchange import plain_table
from humclick.web.language import language
from humclick.web.pages import (
    calls,
)
from tests import own_loop
from tests.visit import MACHINES, machine_of
from tests.web.bench import picture
from tests.web.pages_asked import EXAMPLES
from tests.web.test_page_by_page import ROWS, desk


def test_every_notice_of_the_script_has_words_in_every_language() -> None:
    """With the same places to fill, as a module of the script."""
    text = notices.words_script()
    assert text.startswith("export default ")
    table = json.loads(text.removeprefix("export default ").rstrip(";\n"))
    assert set(table) <= set(languages())
    assert {"en", "es"} <= set(table)
    for code, row in table.items():
        assert set(row) == set(notices.NOTICES), code
        for key, words in row.items():
            assert sorted(_places(words)) == sorted(_places(notices.NOTICES[key])), (code, key)


def _places(text: str) -> list[str]:
    return [piece.partition("}")[0] for piece in text.split("{")[1:]]


def test_templates_escape_what_is_typed_and_compile() -> None:
    """A name with a tag in it is shown, not run; every template is Python for the phone."""
    hostile = desk(form={"words": "<b>&"}, calls=[{**ROWS[0], "customer": "<script>x</script>"}])
    html = calls.show(hostile).html
    assert "<script>" not in html
    assert "&lt;script&gt;" in html
    made = typeset.compiled()
    assert len(made) >= 15
    for name, source in made.items():
        compile(source, name, "exec")


@pytest.mark.parametrize(("name", "guard"), MACHINES[::3])
def test_a_wiring_takes_its_colours_from_the_page(name: str, guard: str) -> None:
    """No fixed colour is left in it; the window is a piece of the whole, at the points that are probed."""
    machine = machine_of(name, guard)
    whole = drawings.wiring(machine, language("en"))
    assert whole.window == ""
    assert "#" not in "".join(drawings._COLOUR.findall(str(whole.whole))[:0]) + ""
    at = drawings.wiring(machine, language("en"), ("C", "R"), {"run_winding": 0.5})
    assert at.points
    assert 'href="#wiring"' in at.window
    assert "var(--draw-ink)" in at.whole
    assert "var(--draw-mark-1)" in at.whole
    assert "var(--draw-mark-1)" not in whole.whole


def test_an_icon_that_is_not_there_is_a_question_mark() -> None:
    """So that no page falls for it."""
    assert drawings.icon("no such thing") == drawings.icon("not-sure")
    assert 'aria-hidden="true"' in drawings.icon("not-sure")


class Asked:
    """The little that a net asks of a request."""

    def __init__(self, path: str) -> None:
        self.url = type("Url", (), {"path": path})()
        self.headers: dict[str, str] = {}


@pytest.mark.parametrize(
    ("error", "status", "says"),
    [
        (OSError(28, os.strerror(28)), 507, "disk is full"),
        (OSError(5, os.strerror(5)), 503, "does not answer"),
        (UnicodeError("x"), 422, "half a letter"),
        (RecursionError(), 422, "too deeply"),
        (MemoryError(), 503, "no memory"),
    ],
)
def test_a_failure_that_is_nobodys_mistake_says_what_to_do(error: Exception, status: int, says: str) -> None:
    """As JSON where JSON was asked, else as plain text."""
    kind = next(kind for kind in nets.NETS if isinstance(error, kind))
    for path in ("/api/calls", "/call/x"):
        answer: Any = own_loop.run(nets.NETS[kind](Asked(path), error))  # type: ignore[arg-type]
        assert answer.status_code == status
        assert says in answer.body.decode()
        assert (b'"error"' in answer.body) == path.startswith("/api")


def test_pieces_of_work_give_plain_values() -> None:
    """A photo drawn anew keeps no place; a parcel comes apart; a sheet is a PDF."""
    clean, looked = tasks.photo_cleaned(picture(640, 480))
    assert looked == tasks.photo_checked(clean)
    assert looked[1:3] == [640, 480]
    text, kept_photos = tasks.parcel_unpacked((EXAMPLES / "broken-starter" / "call.toml").read_bytes())
    assert json.loads(text)["events"]
    assert kept_photos == []
    events = [plain_table(e) for e in load_call(EXAMPLES / "broken-starter" / "call.toml").events]
    assert tasks.sheet_typeset(json.dumps(events), "A4").startswith(b"%PDF")
    with pytest.raises(Refused):
        tasks.photo_checked(b"not a picture")


def test_a_device_is_named_by_its_script_or_its_cookie() -> None:
    """A name that no device has is none."""
    asked = [
        Headed({"x-humclick-device": "van%203"}, {}),
        Headed({}, {api.DEVICE: "desk-1"}),
        Headed({"x-humclick-device": "a\nb"}, {api.DEVICE: "desk-1"}),
        Headed({}, {}),
    ]
    named = [api.device_of(each) for each in asked]  # type: ignore[arg-type]
    assert named[1] == "desk-1"
    assert named[2:] == ["", ""]
    assert api.about()["program"]
    assert api.schema_named("call") != api.schema_named("advice")


class Headed:
    """Headers and cookies of a request."""

    def __init__(self, headers: dict[str, str], cookies: dict[str, str]) -> None:
        self.headers, self.cookies = headers, cookies
