"""A call worked on line by line: what is kept, what is refused, what is said."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from humclick.arrangements.arrangement import arrangements
from humclick.cli.orders import ORDERS
from humclick.cli.screen import prompt, view
from humclick.cli.session import Session
from humclick.diagnosis.shop import default_shop
from humclick.jobs.call_file import append_event, read_call
from humclick.jobs.event_tables import new_event
from humclick.jobs.events import MachineRead, ReadingTaken
from humclick.jobs.fold import fold
from humclick.jobs.order import in_order
from tests.cli.bench import begun, worked

FACTS = ("rsir-ptc", "external", "115", "60", "", "", "R134a", "good", "nulled", "3")
CAPACITOR = ("csir-current-relay", "1", "115", "60", "", "", "R134a", "3", "nulled", "hums, then clicks off")
RUN = ("psc", "internal", "230 V", "50 Hz", "", "", "R290", "good", "0.2", "hums and does not start")


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return begun(tmp_path / "call.toml", *FACTS)


def test_opening_questions_describe_the_machine(tmp_path: Path) -> None:
    """Arrangement, protector, plate, meter, leads and complaint are asked and kept as typed."""
    call = begun(
        tmp_path / "call.toml",
        str(arrangements().index("rsir-ptc") + 1),
        "internal",
        "230",
        "50",
        "12.5",
        "1.4",
        "R600a",
        "bench",
        "0.3",
        "2 all day",
    ).call
    assert call.machine is not None
    plate = call.machine.nameplate
    assert (call.machine.arrangement.id, call.machine.protector) == ("rsir-ptc", "internal")
    assert (plate.volts, plate.hertz, plate.locked_rotor_amps, plate.rated_load_amps) == (230, 50, 12.5, 1.4)
    assert (plate.refrigerant, call.meter.name, call.leads.resistance) == ("R600a", "bench", 0.3)
    assert (str(call.complaint), call.words) == ("hum", "all day")
    assert call.header is not None
    assert call.header.invented


def test_wrong_answers_are_asked_again(tmp_path: Path) -> None:
    """A question stays until its answer can be used, and says what would be right."""
    session = begun(tmp_path / "call.toml")
    assert "Power off first" in session.take("?")
    assert "did you mean rsir-ptc" in session.take("rsir-pct")
    assert prompt(session) == "arrangement> "
    session.take("rsir-ptc")
    session.take("")
    assert "100–127 or 200–240" in session.take("300")
    assert prompt(session) == "volts> "
    session.take("?")
    assert prompt(session) == "hertz> "
    assert session.call.machine is not None
    assert session.call.machine.nameplate.volts == 115


def test_a_refused_answer_stays_on_a_small_screen(tmp_path: Path) -> None:
    """What was wrong with an answer is not pushed away by a list shown already; Enter shows the list."""
    asked = Session(tmp_path / "call.toml", default_shop())
    asked.open()
    said = asked.take("nonsense")
    assert "unknown arrangement 'nonsense'" in said
    assert "Which start arrangement is it?" in said
    assert len(said.splitlines()) < 20
    assert "rsir-ptc" in asked.take("").partition("Which")[0]


def test_facts_are_corrected_at_any_time(session: Session) -> None:
    """A fact typed again replaces the old one and keeps the others."""
    session.take("volts 230")
    session.take("lra 9")
    session.take("complaint silent")
    machine = session.call.machine
    assert machine is not None
    assert (machine.nameplate.volts, machine.nameplate.locked_rotor_amps) == (230, 9)
    assert machine.nameplate.refrigerant == "R134a"
    assert str(session.call.complaint) == "silent"


@pytest.mark.parametrize(
    ("facts", "shows", "remedy"),
    [
        (FACTS, {"ptc.ohms": "OL cold", "ptc.shake": "rattles"}, "replace starter"),
        (
            (*CAPACITOR, "stamp start_capacitor 88-108 MFD"),
            {"start_capacitor.farads": "41 uF"},
            "replace start capacitor",
        ),
        (
            (*RUN, "stamp run_capacitor 15 uF 5%"),
            {
                "run_capacitor.farads": "5.2 uF",
                "pins.C-R": "14 cold",
                "pins.C-S": "33 cold",
                "pins.S-R": "47 cold",
                "supply.volts": "231",
                "supply.volts_start": "225",
            },
            "replace run capacitor",
        ),
    ],
    ids=["starter", "start capacitor", "run capacitor"],
)
def test_a_call_is_led_to_its_remedy(
    tmp_path: Path, facts: tuple[str, ...], shows: dict[str, str], remedy: str
) -> None:
    """Answering what is asked ends in the right verdict, or in the right part fitted and running."""
    session = begun(tmp_path / "call.toml", *facts)
    worked(session, shows)
    advice = session.flow.advice
    assert advice is not None
    if advice.verdict is not None:
        assert advice.verdict.remedies == (remedy,)
        session.take("decide")
        assert session.call.decisions[-1].remedies == (remedy,)
    else:
        assert remedy == f"replace {next(iter(session.call.renewed)).replace('_', ' ')}"
        assert "Repaired" in view(session)
    assert session.call.problems == ()
    assert all(not reading.unproved for reading in session.call.readings)
    assert fold(read_call(session.path)) == session.call


def test_a_gate_stands_before_a_reading(session: Session) -> None:
    """The steps are shown in full, a bare reading is refused before they are done, done is recorded."""
    again = Session(session.path, default_shop())
    assert "Prove the meter on a live source you know." in again.open()
    shown = session.take("pins.C-R")
    assert "SAFETY FIRST: Power off, and proved dead" in shown
    assert prompt(session) == "done or cannot> "
    assert "type done 4.7" in " ".join(session.take("4.7").split())
    assert not session.call.readings
    session.take("done locked and tagged")
    assert [(g.gate, g.words) for g in session.call.gates] == [("power-off-proved-dead", "locked and tagged")]
    session.take("4.7 cold")
    assert session.call.readings[0].unproved == ()


def test_gates_that_stand_together_are_confirmed_together(session: Session) -> None:
    """One line passes cover and standing clear, each an event of its own; the next try asks in one line."""
    session.take("earth.continuity 0.1")
    shown = session.take("attempt.as_found")
    assert [gate.gate.name for gate in session.step.briefing.gates] == ["cover-on", "stand-clear"]
    assert shown.count("SAFETY FIRST") == 2
    assert "Codes, your license" in shown
    after = session.take("done")
    assert [(g.gate, g.matter) for g in session.call.gates] == [("cover-on", ""), ("stand-clear", "")]
    assert len(after.splitlines()) <= 6
    assert "Suspects" not in after
    session.take("3")
    shown = session.take("attempt.as_found")
    assert [gate.gate.name for gate in session.step.briefing.gates] == ["stand-clear"]
    assert "SAFETY AGAIN: Stand clear while power is on: [ ] called out" in shown
    assert "SAFETY FIRST" not in shown
    assert "Codes, your license" not in shown


def test_a_reading_confirms_only_what_is_not_live(session: Session) -> None:
    """The dead steps may go with the reading, after a try in one line; a live test has its own done."""
    lines = (
        "pins.C-R",
        "done",
        "4.7 cold",
        "earth.continuity 0.1",
        "attempt.as_found",
        "done",
        "3",
        "pins.C-S",
    )
    for line in lines:
        session.take(line)
    assert session.step.briefing.dead
    assert "type done 11.2" in " ".join(session.take("11.2").split())
    assert session.call.readings[-1].probe == "attempt.as_found"
    session.take("done 11.2 cold")
    assert session.call.readings[-1].text == "11.2"
    assert session.call.readings[-1].unproved == ()
    session.take("attempt.as_found")
    assert not session.step.briefing.dead
    assert [g.gate for g in session.call.gates].count("power-off-proved-dead") == 2


def test_a_reading_does_not_vanish_behind_done(session: Session) -> None:
    """A figure typed behind done is refused where power comes on between them, not kept as words."""
    session.take("supply.volts")
    assert "type done alone" in session.take("done 117 V")
    assert session.call.gates == ()


def test_safety_shows_everything_again(session: Session) -> None:
    """Steps, why and rule are shown whenever they are asked for, with the rules of the place."""
    for line in ("pins.C-R", "done", "4.7"):
        session.take(line)
    shown = " ".join(session.take("safety pins.C-R").split())
    assert "Prove the meter on a live source you know." in shown
    assert "Why: A dead meter shows zero" in shown
    assert "Rule: 29 CFR 1910.333" in shown
    assert "Rules of: not chosen" in shown


def test_a_safety_step_that_cannot_be_done_stops_the_work(session: Session) -> None:
    """What is in the way is asked for; what cannot be proved dead ends the call, with what to do now."""
    assert "The power is not off, or I cannot prove it off" in session.take("cannot")
    said = session.take("cannot no key for the disconnect")
    assert "STOP: Power cannot be proved off" in said
    assert prompt(session) == "stopped> "
    assert session.step.probe is None
    assert [s.words for s in session.call.stopped] == ["no key for the disconnect"]


def test_what_cannot_be_done_without_a_safety_step_is_left_out(session: Session) -> None:
    """A test that needs no safety step and cannot be done is left out, and another one is advised."""
    session.take("earth.look")
    session.take("cannot the plug is behind the wall")
    assert "behind the wall" in session.call.skipped["earth.look"]
    assert session.step.probe is not None
    assert session.step.probe.id != "earth.look"


def test_a_reading_taken_without_a_gate_is_marked(session: Session) -> None:
    """A reading typed with its probe's name is kept at once, and marked where no gate is on record."""
    said = session.take("ptc.ohms 5.1 hot")
    assert "taken without a record of: Power off, and proved dead" in " ".join(said.split())
    readings = session.call.readings
    assert [r.unproved for r in readings] == [("power-off-proved-dead",)]
    assert readings[0].temperature.kind == "hot"


def test_several_lines_come_at_once(session: Session) -> None:
    """Pasted readings are taken in any order, and one wrong line does not touch the others."""
    said = session.take("ptc.ohms 5.1 cold\r\nS-R 15.8\npins.C-X 3\nC-R 4.7 @25C\n\npins.shell OL")
    assert [r.probe for r in session.call.readings] == ["ptc.ohms", "pins.S-R", "pins.C-R", "pins.shell"]
    assert "did you mean pins.C-" in said or "first the safety steps" in said
    assert said.count("Next: ") == 1


def test_contradictions_are_said_once(session: Session) -> None:
    """Readings that do not fit together are named when they come, and not again."""
    session.take("C-R 4.7\nC-S 11.2")
    first = session.take("S-R 3.0")
    again = session.take("note re-reading soon")
    assert "!! " in first
    assert "!! " not in again


def test_undo_takes_back_the_last_thing(session: Session) -> None:
    """Undo takes back one line at a time and redo brings it back; the file keeps all of them."""
    session.take("C-R 4.7\nC-S 11.2")
    session.take("undo")
    assert [r.probe for r in session.call.readings] == ["pins.C-R"]
    session.take("undo")
    assert not session.call.readings
    session.take("redo")
    assert [r.probe for r in session.call.readings] == ["pins.C-R"]
    assert sum(isinstance(e, ReadingTaken) for e in read_call(session.path)) == 2


def test_a_machine_taken_back_is_asked_for_again(tmp_path: Path) -> None:
    """Undo at the question after the arrangement goes back to the arrangement."""
    session = begun(tmp_path / "call.toml", "rsir-ptc")
    assert session.questions[0] == "protector"
    assert "Which start arrangement is it?" in session.take("undo")
    session.take("psc")
    assert session.call.machine is not None


def test_waiting_cools_the_machine(session: Session) -> None:
    """Minutes waited add up after an attempt, and a long wait makes the machine cold."""
    session.take("attempt.as_found hum_click")
    assert session.call.hot is True
    session.take("wait 4 min")
    session.take("wait 1 h")
    assert (session.call.waited, session.call.hot) == (64.0, False)


def test_a_fitted_part_is_to_be_proved(session: Session) -> None:
    """After a new part the attempt that proves it is asked for; running, the call counts as repaired."""
    assert "Not test-run yet" in session.take("fitted ptc")
    assert session.call.renewed == {"ptc"}
    order = []
    for answer in ("1", "0.1", "OL", "runs"):
        assert session.step.probe is not None
        order.append(session.step.probe.id)
        while session.step.briefing.gates:
            session.take("done")
        session.take(answer)
    assert order == ["proof.sight", "earth.continuity", "pins.shell", "attempt.as_found"]
    assert "Repaired" in view(session)
    assert session.step.probe is not None
    assert session.step.probe.id == "proof.ground_current"
    assert "did you mean" in session.take("fitted ptcc")


def test_three_unnamed_pins_are_asked_for(session: Session) -> None:
    """Pins asks for three readings one after the other, or takes them in one line."""
    session.take("pins")
    session.take("done")
    for value in ("4.0", "11.0", "15.0"):
        session.take(value)
    assert [r.probe for r in session.call.readings] == ["pins.1-2", "pins.1-3", "pins.2-3"]
    session.take("pins 4.1 11.1 15.1")
    assert [r.text for r in session.call.readings][3:] == ["4.1", "11.1", "15.1"]
    assert "pins takes" in session.take("pins 4.1 11.1")


def test_decisions_are_recorded_by_name(session: Session) -> None:
    """Without a verdict the remedies are named; a wrong name is refused with the right one."""
    assert "no verdict yet" in session.take("decide")
    assert "did you mean" in session.take("decide replace startr")
    session.take("decide replace starter and replace overload protector")
    assert session.call.decisions[-1].remedies == ("replace starter", "replace overload protector")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        *(("help", "fitted PART"), ("why", "decibans"), ("why ptc.ohms", "ptc.ohms"), ("list", "pins.shell")),
        *(("what if ptc.ohms", "If ptc.ohms shows"), ("suspects", "Needed:"), ("machine", "115 V 60 Hz")),
        *(("draw pins.C-R", "(1) on C"), ("list parts", "PTC starter"), ("list arrangements", "psc")),
        *(("list remedies", "replace starter"), ("list meters", "insulation tester"), ("list x", "list")),
    ],
)
def test_orders_only_tell(session: Session, typed: str, said: str) -> None:
    """Orders that ask for something show it and write nothing."""
    before = session.path.read_bytes()
    assert said in session.take(typed)
    assert session.path.read_bytes() == before


def test_every_order_is_in_the_help_and_survives_nonsense(session: Session) -> None:
    """Each order answers nonsense with a sentence, with and without a machine, and help names it."""
    bare = Session(session.path.with_name("bare.toml"), default_shop())
    bare.open()
    told = session.take("help")
    for word in ORDERS:
        assert re.search(rf"\b{word}\b", told), word
        for typed in (f"{word}", f"{word} %%% \x07 nonsense"):
            if word != "quit" and not typed.startswith("sheet"):
                assert session.take(typed)
                assert bare.take(typed)
    assert read_call(bare.path)


def test_a_recognised_machine_is_not_judged(tmp_path: Path, recognised: str) -> None:
    """A machine that is only recognised shows its caution; notes are still kept."""
    session = begun(tmp_path / "call.toml", recognised)
    session.questions = []
    assert "Never put it across the mains" in session.take("")
    session.take("note three equal readings")
    assert session.call.notes[0].text == "three equal readings"
    assert session.take("suspects")
    assert session.take("4.7")


def test_a_call_is_resumed_where_it_stood(session: Session) -> None:
    """Opening the file again asks no question twice and knows every reading."""
    session.take("C-R 4.7\nS-R 15.8")
    again = Session(session.path, default_shop())
    said = again.open()
    assert "resumed" in said
    assert again.questions == []
    assert again.call == session.call
    assert again.step.probe == session.step.probe


def test_a_call_left_in_its_questions_goes_on_asking(tmp_path: Path) -> None:
    """What was answered before leaving is offered again; the arrangement is not asked twice."""
    begun(tmp_path / "call.toml", "rsir-ptc", "internal", "230")
    again = Session(tmp_path / "call.toml", default_shop())
    assert "[internal]" in again.open()
    again.take("")
    assert "[230]" in view(again)


def test_another_writer_is_heard(session: Session) -> None:
    """What another device appended meanwhile is there after the next line."""
    append_event(session.path, new_event("reading", probe="pins.C-R", value="4.7", device="other"))
    session.take("C-S 11.2")
    assert {r.probe for r in session.call.readings} == {"pins.C-R", "pins.C-S"}


def test_a_damaged_file_is_not_written_over(session: Session) -> None:
    """If the file was damaged meanwhile, the line is refused and the file stays as it is."""
    session.path.write_text("humclick_call = 1\n[[event\n", encoding="utf-8")
    assert "line 2" in session.take("C-R 4.7")
    assert session.path.read_text(encoding="utf-8") == "humclick_call = 1\n[[event\n"


def test_events_follow_each_other_whatever_the_clock_says(session: Session) -> None:
    """A line typed after an event of the future stands behind it, at the time of this clock."""
    append_event(session.path, new_event("gate", gate="cover-on", at=datetime(2190, 1, 1, tzinfo=UTC)))
    session.take("note now")
    session.take("C-R 4.7")
    events = read_call(session.path)
    assert [e.kind for e in in_order(events)[-3:]] == ["gate", "note", "reading"]
    assert all(e.at.year < 2190 for e in in_order(events)[-2:])
    assert "cover-on" not in session.call.proved


def test_changing_the_arrangement_says_what_no_longer_fits(session: Session) -> None:
    """Readings of parts the machine no longer has are named, and kept in the file."""
    session.take("ptc.ohms 5.1")
    said = session.take("arrangement rsir-current-relay")
    assert "not used" in said
    assert "ptc.ohms" in said
    assert sum(isinstance(e, MachineRead) for e in session.flow.events) >= 2


def test_the_terminal_has_a_name_of_its_own(
    session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is the same each time and telling nothing, stands in each event, and its gates hold there alone."""
    session.take("pins.C-R")
    while session.step.briefing.gates:
        session.take("done")
    assert {event.device for event in session.flow.events} == {session.flow.device}
    again = Session(session.path, session.flow.shop)
    again.open()
    again.choose("pins.C-R")
    assert again.flow.device == session.flow.device
    assert again.step.briefing.gates == ()
    monkeypatch.setenv("HUMCLICK_DEVICE", "van-2")
    other = Session(session.path, session.flow.shop)
    other.open()
    other.choose("pins.C-R")
    assert other.flow.device == "van-2"
    assert other.step.briefing.gates


@pytest.mark.parametrize("line", ["arrangement csir-current-relay", "undo", "protector internal"])
@pytest.mark.parametrize("asked", ["ptc.ohms", "overload_protector.ohms", "pins"])
def test_a_probe_the_machine_no_longer_has_is_not_asked_for(tmp_path: Path, line: str, asked: str) -> None:
    """Whatever was asked for by name, and however the machine changes, something can be typed next."""
    session = begun(tmp_path / "call.toml", "rsir-ptc", "external", asked)
    session.take(line)
    session.take(line)
    assert prompt(session)
    assert session.step.probe is None or session.flow.has(session.step.probe.id)
