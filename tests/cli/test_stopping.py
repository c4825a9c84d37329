"""At the prompt a stop is a stop, and what is barred is refused until what bars it is answered."""

from __future__ import annotations

from pathlib import Path

import pytest

from humclick.cli.screen import prompt
from humclick.cli.session import Session
from humclick.diagnosis.power import bars, bars_on
from humclick.diagnosis.shop import default_shop
from humclick.safety import stop, stops
from tests.cli.bench import begun

FACTS = ("rsir-ptc", "external", "115", "60", "", "", "R600a", "good", "nulled", "3")
WHOLE = [name for name, each in stops().items() if each.whole]


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return begun(tmp_path / "call.toml", *FACTS)


def live_titles(session: Session) -> list[str]:
    """Titles of every probe under power."""
    return [probe.title for probe in session.flow.probes.values() if probe.energises]


def test_cannot_leak_found_ends_the_call(session: Session) -> None:
    """As a technician says it: no probe from then on, whatever is typed, until it is cleared."""
    said = session.take("cannot: leak found, the detector alarms")
    assert "STOP: Refrigerant leak" in said
    assert "Switch it off from outside the room" in said
    assert prompt(session) == "stopped> "
    kept = len(session.call.readings)
    for line in (
        "",
        "help",
        "undo",
        "redo",
        "skip pins.shell",
        "attempt.as_found",
        "runs",
        "done",
        "done runs",
    ):
        said = session.take(line)
        assert session.call.stopped
        shown = said.split("STOP:")[0] if line == "help" else said
        assert not [title for title in live_titles(session) if title in shown], line
        assert session.flow.advice is not None
        assert session.flow.advice.next is None
    assert len(session.call.readings) == kept
    assert "cleared" in session.take("cleared")
    session.take("cleared detector reads 0 after 30 minutes of airing")
    assert session.call.stopped == ()
    assert prompt(session) != "stopped> "


@pytest.mark.parametrize("name", WHOLE)
def test_every_hazard_by_its_name_and_by_how_it_is_said(tmp_path: Path, name: str) -> None:
    """Stop and its name, or the words on the list; only how it was cleared reopens the call."""
    for number, words in enumerate((name, stop(name).said)):
        session = begun(tmp_path / f"{number}.toml", *FACTS)
        session.take(f"stop {words}")
        assert [each.name for each in session.call.stoppages] == [name]
        session.take("cleared measured, dry and quiet")
        assert session.call.stopped == ()


def test_a_stop_stands_before_the_opening_questions_and_after_the_machine_is_taken_back(
    tmp_path: Path,
) -> None:
    """A hazard met at the door is shown at once, and is still shown when the machine was undone."""
    session = begun(tmp_path / "a.toml")
    assert "STOP: Water" in session.take("stop water under the unit")
    assert prompt(session) == "stopped> "
    again = begun(tmp_path / "b.toml", "rsir-ptc")
    again.take("stop leak")
    assert "STOP" in Session(again.path, again.flow.shop).open()


@pytest.mark.parametrize(
    ("seen", "lifts"),
    [
        (("supply.look burnt or damaged",), ("fitted supply",)),
        (("ptc.shake rattles",), ("fitted ptc",)),
        (("overload_protector.look burnt",), ("fitted overload_protector",)),
        (("pins.shell 700k",), ("shell.insulation 90M",)),
        (("shell.insulation 3M",), ("shell.insulation 3M",)),
        (("earth.continuity OL",), ("fitted earth", "earth.continuity 0.1")),
    ],
)
def test_a_start_chosen_by_hand_is_refused(
    session: Session, seen: tuple[str, ...], lifts: tuple[str, ...]
) -> None:
    """Its name alone shows what forbids it; a bare answer is refused; with its name it is kept and marked."""
    for line in ("earth.continuity 0.1", "pins.shell OL", *seen):
        session.take(line)
    said = session.take("attempt.as_found")
    assert "Type done" not in said
    kept = len(session.call.readings)
    session.chosen, session.queue = "attempt.as_found", []
    assert "not now" in session.take("runs")
    assert len(session.call.readings) == kept
    assert "it is marked so" in session.take("attempt.as_found hums, then clicks off")
    assert session.call.readings[-1].against
    trial = session.probe("attempt.as_found")
    for line in lifts:
        session.take(line)
    assert bars_on(trial, bars(session.situation), session.situation) == ()


def test_a_decision_against_a_bar_tells_nobody_to_power_it(session: Session) -> None:
    """What proves a repair begins with the checks before power, and is not named below the floor at all."""
    session.take("earth.continuity 0.1")
    said = session.take("decide replace starter")
    order = [
        said.find(name)
        for name in (
            "fitted ptc",
            "look it over",
            "ground wire",
            "to the shell",
            "start, ",
            "current to ground",
        )
    ]
    assert -1 not in order
    assert order == sorted(order)
    session.take("pins.shell 700k")
    said = session.take("decide replace starter").split("Next:")[0]
    assert "Do not power it" in said
    assert "attempt.as_found (" not in said
    session.take("stop leak")
    assert "attempt" not in session.take("decide wait")


def test_a_skip_answers_no_hazard_and_no_need(session: Session) -> None:
    """What is left out stays open: the start is offered neither by name nor as the next step."""
    session.take("pins.shell 3M")
    for name in ("shell.insulation", "earth.continuity", "earth.look"):
        session.take(f"skip {name} no tester")
    for _ in session.flow.probes:
        assert session.flow.advice is not None
        if session.flow.advice.next is None:
            break
        probe = session.probe(session.flow.advice.next.probe)
        assert not probe.energises
        session.take(f"skip {probe.id}")
    assert session.flow.advice is not None
    assert session.flow.advice.verdict is not None
    assert session.flow.advice.verdict.remedies == ("hand over",)


def test_the_first_gate_of_a_new_call_is_said_in_full(tmp_path: Path) -> None:
    """What would have been said behind the opening questions counts as read by nobody."""
    session = Session(tmp_path / "new.toml", default_shop())
    said = session.open()
    for typed in ("rsir-ptc", "", "", "", "", "", "R600a", "", "", "hum_click"):
        said = session.take(typed)
    assert session.step.probe is not None
    for gate in session.step.briefing.gates:
        assert gate.full
        for step in gate.gate.steps:
            assert step in " ".join(said.split())
    said = " ".join(session.take("ptc.ohms").split())
    assert "[ ] unplugged or locked out" in said
