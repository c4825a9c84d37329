"""A form answered with the page that follows, and worked out before it is sent."""

from __future__ import annotations

import json
from typing import Any

import pytest

from humclick.web.engine import answer
from tests.web.pages_asked import NOW, Bench

READING = {"probe": "ptc.ohms", "value": "4.7", "taken": "1"}


def asked(bench: Bench, name: str, **more: Any) -> dict[str, Any]:
    """A form of the call's, and nothing kept of it."""
    request = {
        "path": f"/call/{name}/reading",
        "method": "POST",
        "form": READING,
        "now": NOW,
        "device": "test",
        "call": {"id": name, "events": bench.calls[name]},
        **more,
    }
    reply: dict[str, Any] = json.loads(answer(json.dumps(request)))
    return reply


def test_a_form_is_answered_with_the_page_it_leads_to() -> None:
    """With `follow` the page is the one that asking for `go` gives, once the events are kept."""
    bench = Bench()
    bench.load("just-begun")
    reply = asked(bench, "just-begun", follow=True)
    assert (reply["status"], reply["go"]) == (303, "/call/just-begun")
    bench.calls["just-begun"] += reply["append"]
    assert reply["html"] == bench.ask(reply["go"])["html"]


def test_a_form_worked_out_before_has_the_same_event_when_it_is_sent() -> None:
    """The event has the id it was prepared under, once; a second sending makes another."""
    bench = Bench()
    bench.load("just-begun")
    before = asked(bench, "just-begun", prepare=True)
    sent, again = asked(bench, "just-begun"), asked(bench, "just-begun")
    assert sent["append"][0]["id"] == before["append"][0]["id"]
    assert again["append"][0]["id"] != sent["append"][0]["id"]


def test_a_prepared_form_that_differs_is_a_new_event() -> None:
    """Another value is not taken for the one that was worked out."""
    bench = Bench()
    bench.load("just-begun")
    before = asked(bench, "just-begun", prepare=True)
    sent = asked(bench, "just-begun", form={**READING, "value": "4.8"})
    assert sent["append"][0]["id"] != before["append"][0]["id"]


@pytest.mark.parametrize("value", ["", "garbage"])
def test_a_form_that_is_refused_is_shown_again(value: str) -> None:
    """With `follow` a refusal is the page with its message, and nowhere to go."""
    bench = Bench()
    bench.load("just-begun")
    reply = asked(bench, "just-begun", form={**READING, "value": value}, follow=True)
    assert (reply["status"], reply["go"], reply["append"]) == (422, None, [])
    assert "error-value" in reply["html"]
