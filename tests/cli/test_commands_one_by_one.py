"""Each command and each piece of the terminal by itself: what it says is what the program knows."""

from __future__ import annotations

import contextlib
import io
import json
import re
import sys
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.circuit.drawing import draw_text
from humclick.cli.advise import advise
from humclick.cli.answers import taken
from humclick.cli.call import call
from humclick.cli.check import check, lines_of
from humclick.cli.described import describable
from humclick.cli.device import terminal
from humclick.cli.draw import draw
from humclick.cli.ending import onward_in_words, proof_in_words, verdict_shown
from humclick.cli.opening import FACTS, question_again, question_in_words, questions_for, set_fact
from humclick.cli.pins import pins
from humclick.cli.reading import read
from humclick.cli.recording import recording
from humclick.cli.schema import schema
from humclick.cli.screen import prompt, view
from humclick.cli.sheet import sheet
from humclick.cli.stopping import barred_in_words, stop_in_words
from humclick.cli.substitute import substitute
from humclick.cli.terminal import Plain, plain_terminal
from humclick.cli.work import work
from humclick.cli.written import save
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Stoppage
from humclick.errors import HumclickError, Refused
from humclick.jobs.briefing import Briefing
from humclick.jobs.call_file import load_call
from humclick.jobs.fold import fold
from humclick.jobs.result import as_json, result_of
from humclick.meters import meters
from humclick.physics.copper import resistance_at
from humclick.physics.discharge import discharge_through
from humclick.physics.insulation import judge_insulation
from humclick.physics.wire import loop_resistance, voltage_drop
from humclick.safety.stops import stops
from tests.cli.bench import begun
from tests.visit import MACHINES, machine_of

EXAMPLES = Path(__file__).parents[2] / "examples"
#: As `humclick` itself asks for help; a command keeps what it was first asked with.
HELP: Any = {"help_option_names": ["-h", "--help"]}
STARTER = EXAMPLES / "broken-starter" / "call.toml"


def ran(command: click.Command, *words: str, code: int = 0) -> str:
    """What a command prints; it ends as expected and without a traceback."""
    done = CliRunner().invoke(command, words, **HELP)
    assert done.exception is None or isinstance(done.exception, (SystemExit, HumclickError))
    assert done.exit_code == code, done.output
    return done.output


def refusal(command: click.Command, *words: str) -> str:
    """The words a command refuses with."""
    done = CliRunner().invoke(command, words, **HELP)
    assert done.exit_code != 0
    return str(done.exception) if isinstance(done.exception, HumclickError) else done.output


# -- a call file --------------------------------------------------------------------------------------------


def test_advice_as_json_is_the_result_itself() -> None:
    """With and without the reasons; in words it names the verdict."""
    job = fold(load_call(STARTER).events)
    for words, why in (((), False), (("--why",), True)):
        shown = ran(advise, str(STARTER), "--json", *words)
        assert json.loads(shown) == json.loads(as_json(result_of(job, default_shop(), why=why)))
    assert "replace the starter" in ran(advise, str(STARTER)).casefold()


def test_check_says_the_line_of_what_cannot_be_used(tmp_path: Path) -> None:
    """And ends with 1; heads are counted only where their number agrees."""
    text = STARTER.read_text("utf-8")
    bad = tmp_path / "bad.toml"
    bad.write_text(text + '\n[[event]]\nkind = "reading"\nprobe = "ptc.ohms"\nvalue = "soon"\n', "utf-8")
    shown = ran(check, str(bad), code=1)
    line = text.count("\n") + 2
    assert f"line {line}" in shown
    heads = [n for n, row in enumerate(text.splitlines(), 1) if row.startswith("[[event]]")]
    assert lines_of(text, len(heads)) == heads
    assert lines_of(text, len(heads) + 1) == []
    rows = json.loads(ran(check, str(bad), "--json", code=1))["problems"]
    assert [(row["line"], row["kept"]) for row in rows] == [(line, "soon")]


@pytest.mark.parametrize(("name", "guard"), MACHINES[::4])
def test_a_drawing_is_that_of_the_machine_described(name: str, guard: str, tmp_path: Path) -> None:
    """In characters, in words and as SVG; with the points of a probe."""
    machine = machine_of(name, guard)
    words = ("--arrangement", name, "--protector", guard)
    assert ran(draw, *words) == draw_text(machine, None, None) + "\n"
    assert ran(draw, *words, "--probe", "pins.C-R") == draw_text(machine, ("C", "R"), None) + "\n"
    assert ran(draw, *words, "--describe") != ran(draw, *words)
    out = tmp_path / "a.svg"
    ran(draw, *words, "--svg", str(out))
    light = out.read_text("utf-8")
    ran(draw, *words, "--svg", str(out), "--dark")
    assert light.startswith("<svg")
    assert out.read_text("utf-8") != light
    assert "no two points" in refusal(draw, *words, "--probe", "attempt.as_found")
    assert "--arrangement" in refusal(draw)
    assert "--arrangement" in refusal(draw, str(STARTER), *words)


def test_suspects_are_shaded_by_how_suspect_they_are(tmp_path: Path) -> None:
    """Only where it is asked for."""
    plain, shaded = tmp_path / "a.svg", tmp_path / "b.svg"
    ran(draw, str(STARTER), "--svg", str(plain))
    ran(draw, str(STARTER), "--svg", str(shaded), "--suspects")
    assert plain.read_bytes() != shaded.read_bytes()


def test_a_sheet_is_written_by_its_ending_and_never_over_a_call(tmp_path: Path) -> None:
    """HTML and PDF; another ending is refused."""
    html, pdf = tmp_path / "s.html", tmp_path / "s.pdf"
    ran(sheet, str(STARTER), "-o", str(html), "-o", str(pdf))
    assert b"<html" in html.read_bytes()[:200].lower()
    assert pdf.read_bytes().startswith(b"%PDF")
    assert ".pdf or .html" in refusal(sheet, str(STARTER), "-o", str(tmp_path / "s.docx"))


def test_files_are_written_but_not_over_a_call(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And not where nothing can be; quietly where told to be."""
    path = tmp_path / "x.bin"
    save(path, b"one")
    assert capsys.readouterr().out == f"written: {path}\n"
    save(path, b"two", quiet=True)
    assert (path.read_bytes(), capsys.readouterr().out) == (b"two", "")
    copy = tmp_path / "call.toml"
    copy.write_bytes(STARTER.read_bytes())
    with pytest.raises(Refused, match="a call stands in this file"):
        save(copy, b"gone")
    assert copy.read_bytes() == STARTER.read_bytes()
    for wrong in (tmp_path, tmp_path / "no" / "x", Path("a\0b")):
        with pytest.raises(Refused, match="cannot be written"):
            save(wrong, b"x")


def test_schemas_describe_what_is_written() -> None:
    """Of a call and of advice, as JSON Schema."""
    for what in ("call", "advice"):
        shown = json.loads(ran(schema, what))
        assert isinstance(shown, dict)
        assert "$schema" in shown or "$defs" in shown
    assert json.loads(ran(schema, "call")) != json.loads(ran(schema, "advice"))


# -- figures ------------------------------------------------------------------------------------------------


def test_figures_are_those_of_the_physics() -> None:
    """As JSON, to the last digit; units as they are typed."""

    def worked(*words: str) -> Any:
        return json.loads(ran(work, *words, "--json"))

    d = discharge_through(88e-6, 230.0, 10e3, None)
    shown = worked("discharge", "--uF", "88", "--volts", "230", "--ohms", "10k")
    assert (shown["seconds"], shown["joules"], shown["resistor_watts"]) == (
        d.seconds,
        d.joules,
        d.resistor_watts,
    )
    made = worked("wire", "--gauge", "16 AWG", "--length", "50ft", "--amps", "30", "--stranded")
    metres = 50 * 0.3048
    assert made["loop_ohms"] == pytest.approx(loop_resistance(metres, "16 AWG", 20.0, stranded=True))
    assert made["volts_lost"] == pytest.approx(voltage_drop(metres, "16 AWG", 30.0, 20.0, stranded=True))
    assert made["terminal_volts"] is None
    hot = worked("copper", "--ohms", "4.7", "--at", "25C", "--to", "212F")
    assert hot["ohms"] == pytest.approx(resistance_at(100.0, 4.7, 25.0, "copper"))
    back = worked("copper", "--ohms", "4.7", "--at", "25C", "--hot", f"{hot['ohms']:.9f}")
    assert back["celsius"] == pytest.approx(100.0, abs=0.01)
    amps = worked("capacitor", "--volts", "370", "--uF", "25")["amps"]
    assert worked("capacitor", "--volts", "370", "--amps", f"{amps:.9f}")["farads"] == pytest.approx(25e-6)
    judged = judge_insulation(30e6, 20.0)
    assert worked("insulation", "--ohms", "30M", "--at", "20C")["insulation"]["says"] == judged.says
    assert "Give either" in refusal(work, "copper", "--ohms", "4.7", "--at", "25C")
    assert "Give either" in refusal(work, "capacitor", "--volts", "370")


def test_pins_are_found_from_three_readings(tmp_path: Path) -> None:
    """With the lowest to the shell; drawn where a layout is named; broken leads refused."""
    shown = ran(pins, "4.7", "11.2", "15.9", "--leads", "nulled")
    assert all(letter in shown for letter in "CRS")
    table = json.loads(ran(pins, "4.7", "11.2", "15.9", "--leads", "nulled", "--json"))
    assert table["names"] == ["C", "R", "S"]
    out = tmp_path / "pins.svg"
    ran(pins, "4.7", "11.2", "15.9", "--layout", "row", "--svg", str(out))
    assert out.read_text("utf-8").startswith("<svg")
    assert "broken" in refusal(pins, "4.7", "11.2", "15.9", "--leads", "OL")


def test_a_recording_is_named_and_kept_only_where_asked(tmp_path: Path) -> None:
    """A log of a start that hums is said to hum; with --keep it stands in the call."""
    log = tmp_path / "log.csv"
    rows = [(0.05 * k, 12.0 if 10 <= k < 150 else 0.0) for k in range(200)]
    log.write_text("time (s),current (A)\n" + "".join(f"{t:.2f},{a}\n" for t, a in rows), "utf-8")
    told = json.loads(ran(recording, str(log), "--lra", "12", "--json"))
    assert told
    file = tmp_path / "call.toml"
    file.write_bytes(STARTER.read_bytes())
    before = len(load_call(file).events)
    ran(recording, str(log), "--call", str(file))
    assert len(load_call(file).events) == before
    ran(recording, str(log), "--call", str(file), "--keep")
    assert [e.kind for e in load_call(file).events[before:]] == ["recording"]
    assert "leave --sound out" in refusal(recording, str(log), "--sound")


def test_a_substitute_needs_a_machine_and_a_picture_its_ending(tmp_path: Path) -> None:
    """Both are refused before anything is simulated."""
    new = ("--part", "start_capacitor", "--new", "97-117 MFD 250 VAC")
    assert ".svg or .png" in refusal(substitute, str(STARTER), *new, "--picture", "x.gif")
    empty = tmp_path / "c.toml"
    empty.write_text('humclick_call = 1\n\n[[event]]\nkind = "note"\ntext = "x"\n', "utf-8")
    assert "no machine is described" in refusal(substitute, str(empty), *new)
    assert "--arrangement" in refusal(substitute, *new)


def test_a_machine_is_given_by_a_call_or_described() -> None:
    """Never both, never neither; the plate has its usual figures."""
    got: list[Any] = []

    @click.command()
    @click.argument("file", required=False)
    @describable
    def show(**given: Any) -> None:
        """Keep what is given."""
        got.append(given)

    ran(show, "--arrangement", "rsir-ptc", "--plate", "230", "--hertz", "50", "--lra", "8.4")
    plate = got[0]["machine"].nameplate
    assert (got[0]["file"], plate.volts, plate.hertz, plate.locked_rotor_amps) == (None, 230.0, 50.0, 8.4)
    ran(show, "x.toml")
    assert (got[1]["file"], got[1]["machine"]) == ("x.toml", None)
    assert "Give either" in refusal(show)
    assert "Give either" in refusal(show, "x.toml", "--arrangement", "rsir-ptc")


# -- the terminal -------------------------------------------------------------------------------------------


@given(st.text(max_size=60))
def test_nothing_that_steers_a_terminal_reaches_it(text: str) -> None:
    """Newlines and tabs pass; everything else that is not printed is replaced."""
    out = io.StringIO()
    assert Plain(out).write(text) == len(text)
    shown = out.getvalue()
    assert not set(shown) - {"\n", "\t"} & {chr(k) for k in range(32)}
    assert "\x1b" not in shown
    assert "\x9b" not in shown


def test_both_streams_are_plain_and_come_back() -> None:
    """Also where something fails meanwhile."""
    before = sys.stdout, sys.stderr
    kinds = []
    with contextlib.suppress(RuntimeError), plain_terminal():
        kinds = [type(sys.stdout), type(sys.stderr)]
        raise RuntimeError
    assert kinds == [Plain, Plain]
    assert (sys.stdout, sys.stderr) == before
    out = io.StringIO()
    Plain(out).writelines(["a\x1b", "b"])
    assert out.getvalue().replace("\ufffd", "?").startswith("a")
    assert "\x1b" not in out.getvalue()


def test_a_terminal_has_the_same_name_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """That tells neither person nor machine; another where one is given, not longer than can be kept."""
    monkeypatch.delenv("HUMCLICK_DEVICE", raising=False)
    name = terminal()
    assert name == terminal()
    assert re.fullmatch(r"terminal-[0-9a-f]{8}", name)
    monkeypatch.setenv("HUMCLICK_DEVICE", "  van 3  ")
    assert terminal() == "van 3"
    monkeypatch.setenv("HUMCLICK_DEVICE", "x" * 150)
    assert len(terminal()) == 100


# -- a call at the terminal ---------------------------------------------------------------------------------


def test_lines_from_a_pipe_are_kept_one_by_one(tmp_path: Path) -> None:
    """The call is there afterwards, with what was typed."""
    file, typed = tmp_path / "call.toml", "\n".join(["rsir-ptc", "external", *[""] * 7, "1", "quit", ""])
    done = CliRunner().invoke(call, [str(file), "--place", "us"], **HELP, input=typed)
    assert done.exception is None
    job = fold(load_call(file).events)
    assert job.machine is not None
    assert job.machine.arrangement.id == "rsir-ptc"
    assert job.complaint is not None
    assert job.place == "us"


def test_questions_are_asked_until_the_complaint_is_known(tmp_path: Path) -> None:
    """All, then all but the arrangement, then none; each with what is usual; the list only once."""
    session = begun(tmp_path / "c.toml")
    asked = [name for name in FACTS if name not in ("hp", "cooling", "appliance")]  # where known
    assert questions_for(session.flow.events, session.call) == asked
    shown, again = question_in_words(session), question_again(session)
    assert all(name in shown for name in arrangements())
    assert len(again) < len(shown)
    session.take("rsir-ptc")
    left = questions_for(session.flow.events, session.call)
    assert left == asked[1:]
    assert set(arrangement("rsir-ptc").protectors) <= set(question_in_words(session).split())
    set_fact(session, "complaint", "2; since noon")
    assert questions_for(session.flow.events, session.call) == []
    with pytest.raises(Refused, match="of what"):
        set_fact(session, "volts", " ")


@pytest.mark.parametrize(
    ("fact", "text", "field", "value"),
    [
        ("volts", "230 V", "volts", 230.0),
        ("hertz", "50 Hz", "hertz", 50.0),
        ("lra", "12,5", "locked_rotor_amps", 12.5),
        ("rla", "1.6 A", "rated_load_amps", 1.6),
        ("refrigerant", "R600a", "refrigerant", "R600a"),
        ("hp", "1/4", "horsepower", 0.25),
        ("cooling", "850 W", "cooling", 850.0),
        ("appliance", "ice", "appliance", "ice"),
        ("appliance", "window or room", "appliance", "room-unit"),
    ],
)
def test_a_fact_is_set_by_its_word(fact: str, text: str, field: str, value: Any, tmp_path: Path) -> None:
    """On the machine that is described; before one is, it is refused."""
    session = begun(tmp_path / "c.toml")
    with pytest.raises(Refused, match="first the arrangement"):
        set_fact(session, fact, text)
    session.take("rsir-ptc")
    set_fact(session, fact, text)
    assert getattr(session.situation.machine.nameplate, field) == value
    assert fact not in session.questions


def test_meter_and_leads_are_kept_apart(tmp_path: Path) -> None:
    """A meter by its number or name; leads nulled, not nulled, or what they show."""
    session = begun(tmp_path / "c.toml", "rsir-ptc")
    other = next(name for name in meters() if name != session.call.meter.name)
    set_fact(session, "leads", "0.3")
    set_fact(session, "meter", other)
    assert (session.call.meter.name, session.call.leads.resistance, session.call.leads.nulled) == (
        other,
        0.3,
        False,
    )
    set_fact(session, "leads", "nulled")
    assert session.call.leads.offset == 0.0
    set_fact(session, "leads", "no")
    assert not session.call.leads.nulled


READY = ("rsir-ptc", "external", "115", "60", "", "", "R134a", "", "nulled", "hums, then clicks off")


def test_a_reading_is_taken_by_its_name_with_what_it_means(tmp_path: Path) -> None:
    """Behind its safety steps; a name alone chooses it; a line too long or not understood keeps nothing."""
    session = begun(tmp_path / "c.toml", *READY)
    assert session.questions == []
    count = len(session.flow.events)
    for line in ("x" * 100_000, "frobnicate", "5.1 parsec"):
        with pytest.raises(HumclickError):
            taken(session, line)
    assert len(session.flow.events) == count
    assert taken(session, "ptc.ohms") == ""
    assert session.step.probe is not None
    assert session.step.probe.id == "ptc.ohms"
    with pytest.raises(HumclickError, match="safety steps"):
        taken(session, "OL cold")
    said = taken(session, "ptc.ohms OL cold")
    assert said.startswith("! ")
    assert session.call.readings[-1].probe == "ptc.ohms"
    assert read(session, "ptc.shake", "rattles", already=True).startswith("! ")
    assert len(session.flow.events) == count + 2


def test_the_screen_shows_the_next_step_then_the_verdict(tmp_path: Path) -> None:
    """With how to prove it; once stopped, only that; the prompt says where it is."""
    session = begun(tmp_path / "c.toml", *READY)
    assert "Next" in view(session)
    first = prompt(session)
    for line in ("ptc.shake rattles", "ptc.ohms OL cold", "pins.C-R 3.4 cold", "pins.C-S 11.2 cold"):
        taken(session, line)
    shown = verdict_shown(session)
    assert "replace starter" in shown
    assert "fitted ptc" in proof_in_words(session, ["replace starter"])
    assert proof_in_words(session, ["hand over"]) == ""
    session.take("decide")
    onward = session.flow.onward
    assert onward is not None
    assert "fitted PART" in onward_in_words(session.flow, onward)
    session.take("fitted ptc")
    onward = session.flow.onward
    assert onward is not None
    assert (onward.kind, onward.probe in onward_in_words(session.flow, onward)) == ("prove", True)
    assert first
    assert prompt(session)


def test_what_stops_a_call_says_what_to_do_and_what_reopens_it() -> None:
    """For every stop there is: its steps in order, and the answer that clears it."""
    for stop in stops().values():
        shown = " ".join(stop_in_words([Stoppage(stop.name)]).split())
        assert f"STOP: {' '.join(str(stop.title).split())}" in shown
        at = [shown.find(" ".join(str(step).split())) for step in stop.steps]
        assert at == sorted(at)
        assert min(at, default=0) >= 0
        assert "Type cleared" in shown
    probe = machine_probe()
    barred = barred_in_words(Briefing(first="pins.shell"), probe)
    assert "type pins.shell" in barred
    assert f"Type {probe.id} and the reading" in barred


def machine_probe() -> Any:
    """A probe that puts the machine under power."""
    from humclick.diagnosis.probes import probe_of

    return probe_of(machine_of("rsir-ptc"), "attempt.as_found")
