"""What is typed in the language of the terminal is kept in English."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from humclick.arrangements.machine import Machine
from humclick.cli.language import say, speaking
from humclick.cli.own_words import english, in_english
from humclick.cli.session import Session
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.shop import default_shop
from humclick.messages import Message
from tests.web.pages_asked import EXAMPLES, NAMES

HEARD = ("hums, then clicks off", "no sound")


def machine_of(name: str) -> Machine:
    """The machine of an invented call."""
    session = Session(EXAMPLES / name / "call.toml", default_shop())
    session.open()
    assert session.call.machine is not None
    return session.call.machine


@pytest.fixture
def spanish() -> Iterator[None]:
    with speaking("es"):
        yield


@pytest.mark.usefixtures("spanish")
@pytest.mark.parametrize("name", NAMES[:6])
def test_every_answer_shown_may_be_typed_as_it_is_shown(name: str) -> None:
    """For every look and listen of a machine, its outcomes in Spanish mean the same outcome."""
    for probe in probes_of(machine_of(name)).values():
        if not probe.quantity:
            for outcome in probe.outcomes:
                assert in_english(probe, say(Message.of(outcome))) == outcome
                assert in_english(probe, outcome) == outcome


@pytest.mark.usefixtures("spanish")
def test_warmth_at_the_end_of_a_reading_is_understood() -> None:
    """A number with how warm the part was; other text is left as it is."""
    ohms = next(probe for probe in probes_of(machine_of(NAMES[0])).values() if probe.quantity)

    assert in_english(ohms, "5.2 caliente") == "5.2 hot"
    assert in_english(ohms, "5.2 frío") == "5.2 cold"
    assert in_english(ohms, "5.2 ohm") == "5.2 ohm"
    assert in_english(ohms, "5.2 hot") == "5.2 hot"


def test_in_english_nothing_is_turned() -> None:
    """Without another language a text is what was typed."""
    assert english("hums", HEARD) == "hums"
