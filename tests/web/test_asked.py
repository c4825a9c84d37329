"""In which language the server answers: the address, the device's own choice, the browser, else English."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import pytest

from humclick.errors import Refused
from humclick.messages import Message, translator
from humclick.web.asked import COOKIE, language_asked, language_chosen, said_to, settings_of
from tests.web.bench import EVENTS, client

SPANISH = {"accept-language": "es-MX,es;q=0.9,en;q=0.8"}


def cookie(**settings: str) -> dict[str, str]:
    """A header with the settings kept on a device."""
    return {"cookie": f"{COOKIE}={base64.urlsafe_b64encode(json.dumps(settings).encode()).decode()}"}


def test_the_language_is_chosen_in_this_order() -> None:
    """The code given, that of the device, that of the browser; a language without a catalogue is none."""
    assert language_asked({}) == "en"
    assert language_asked({"accept-language": "xx, es-US"}) == "es"
    assert language_chosen(cookie(language="en") | SPANISH) == "en"
    assert language_chosen(cookie(language="xx") | SPANISH) == "es"
    assert language_chosen(SPANISH, "en") == "en"
    with pytest.raises(Refused, match="'xx'; there are: en, es"):
        language_chosen({}, "xx")


@pytest.mark.parametrize("text", ["", "no base64!", base64.urlsafe_b64encode(b"[" * 99).decode()])
def test_a_cookie_of_another_making_keeps_nothing(text: str) -> None:
    """It is passed over, and so is what no person can have chosen."""
    assert settings_of({"cookie": f"{COOKIE}={text}"}) == {}
    assert settings_of(cookie(shop="a\x1b[2J")) == {}


def test_a_message_is_said_and_a_plain_text_is_data() -> None:
    """As everywhere."""
    spanish = translator("es").text(Message("not a file name"))
    assert said_to(SPANISH, Message("not a file name")) == spanish != "not a file name"
    assert said_to(SPANISH, "not a file name") == "not a file name"


def test_the_server_says_refusals_and_sheets_in_the_language_asked_for(tmp_path: Path) -> None:
    """Refusals as JSON, of an event and of the guard; the sheet by its address too."""
    ask = client(tmp_path)
    known = translator("es").text
    assert ask("POST", "/api/calls/one/events", json={"events": EVENTS}).status_code == 200
    html = ask("GET", "/api/calls/one/sheet.html?lang=es")
    assert '<html lang="es"' in html.text
    assert known(Message("For the customer")) in html.text
    assert '<html lang="en"' in ask("GET", "/api/calls/one/sheet.html").text
    refused = ask("GET", "/api/calls/one/sheet.html?paper=A9", headers=SPANISH)
    assert refused.json()["error"] == known(
        Message("paper must be {papers:or}, got {paper}", papers=("A4", "Letter"), paper="'A9'")
    )
    wrong = ask(
        "POST", "/api/calls/one/events", json={"events": [{"kind": "waits", "id": "x"}]}, headers=SPANISH
    ).json()
    assert wrong["results"][0]["error"].startswith(known(Message("kind must be {allowed}")).partition("{")[0])
    foreign = ask(
        "POST", "/api/calls/one/events", json=[], headers=SPANISH | {"origin": "https://else.where"}
    )
    assert foreign.text == known(Message("this came from another site"))
