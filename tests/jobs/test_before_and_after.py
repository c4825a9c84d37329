"""
Before and after a repair: every face of every example call, at every point of it and in what may follow.

Whatever is decided, installed and tried, no reason speaks of another remedy than the one decided or done, no
heading stands without its name, no old fault of a new part is shown but as what was suspected before, and
the faces agree.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from humclick.cli.screen import view
from humclick.cli.session import Session
from humclick.cli.words import advice_in_words
from humclick.diagnosis.advice import advise
from humclick.diagnosis.shop import default_shop
from humclick.jobs.call import Call
from humclick.jobs.call_file import append_event, read_call
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import Event, MachineRead, Undone
from humclick.jobs.fold import fold
from humclick.jobs.history import did, state_of, titles, turns
from humclick.jobs.result import AdviceResult, as_json, result_of
from humclick.jobs.sheet.model import Sheet
from humclick.jobs.sheet.render import sheet_of, typeset
from humclick.replacement.demand import replaced_parts
from humclick.web.engine import answer
from humclick.web.exchange import plain_table
from tests.sample import sampled

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SHOP = default_shop()
JUDGED = sorted(
    path.parent.name
    for path in EXAMPLES.glob("*/call.toml")
    if path.parent.name not in ("inverter-driven", "three-phase", "just-begun")
)
#: Swept at every run; the others with ``make test-long``.
SAMPLE = ("broken-starter", "relay-contacts")
SWEPT = sampled(JUDGED, SAMPLE)
_REASON = re.compile(r"(?:needed|fixes it|for this): (.+?); (?:next best|the likeliest): ")
_EMPTY = re.compile(
    r"(?:Done|Repaired|To do|Do it|Verdict|Still to do|then|technician): *(?:[.;:]|$)", re.MULTILINE
)
_BEFORE = re.compile(r"before|decided", re.IGNORECASE)


def example(name: str) -> tuple[Event, ...]:
    return tuple(read_call(EXAMPLES / name / "call.toml"))


def and_then(events: tuple[Event, ...], *tables: dict[str, Any]) -> tuple[Event, ...]:
    """Events, and more after them, a minute apart."""
    last = max(event.at for event in events)
    more = [
        event_from({"id": f"then-{len(events)}-{n}", "at": last + timedelta(minutes=n), **table})
        for n, table in enumerate(tables, 1)
    ]
    return (*events, *more)


def decision(*remedies: str) -> dict[str, Any]:
    return {"kind": "decision", "remedies": list(remedies)}


def tried(answer: str) -> dict[str, Any]:
    return {"kind": "reading", "probe": "attempt.as_found", "value": answer}


def installed(call: Call, remedy: str) -> list[dict[str, Any]]:
    assert call.machine is not None
    return [{"kind": "fitted", "part": part} for part in replaced_parts(call.machine, remedy)[:1]]


def continuations(events: tuple[Event, ...]) -> Iterator[tuple[Event, ...]]:
    """What may follow: decided or not, installed or not, in vain or not, and once more."""
    call = fold(events)
    situation = call.situation()
    assert situation is not None
    advice = advise(situation, shop=SHOP)
    likely = [remedy for remedy, _ in advice.remedies if remedy.startswith("replace ")]
    first = (advice.verdict.due if advice.verdict else ()) or tuple(likely[:1]) or ("replace starter",)
    second = next((remedy for remedy in likely if remedy not in first), "correct wiring")
    new = [table for remedy in first for table in installed(call, remedy)]
    other = installed(call, second)
    yield and_then(events, decision(*first))
    yield and_then(events, decision(*first), *new, tried("runs"))
    yield and_then(events, decision(*first), *new, tried("hum_click"))
    yield and_then(events, *other)
    yield and_then(events, decision(second), *new, tried("runs"))
    yield and_then(
        events, decision(*first), *new, tried("hum"), decision(second), *other, tried("runs"), tried("runs")
    )
    yield and_then(events, decision("hand over"))
    readings = [event for event in events if event.kind == "reading"]
    if readings:
        yield and_then(events, decision(*first), *new, {"kind": "undo", "of": readings[-1].id})


class _Sections(HTMLParser):
    """Text of a page by the heading it stands under."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[list[str]] = [["", ""]]
        self._in_heading = False
        self._muted = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("h1", "h2", "h3"):
            self.found.append(["", ""])
            self._in_heading = True
        self._muted += tag == "style"

    def handle_endtag(self, tag: str) -> None:
        if tag in ("h1", "h2", "h3"):
            self._in_heading = False
        self._muted -= tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._muted:
            self.found[-1][0 if self._in_heading else 1] += f" {' '.join(data.split())}"


def sections(html: str) -> list[tuple[str, str]]:
    parser = _Sections()
    parser.feed(html)
    return [(" ".join(heading.split()), " ".join(text.split())) for heading, text in parser.found]


def sections_of_text(text: str) -> list[tuple[str, str]]:
    """The same of plain text: a heading is underlined, or a line that ends in a colon."""
    found, lines = [["", ""]], text.splitlines()
    for line, below in zip(lines, [*lines[1:], ""], strict=True):
        if line and (
            set(below) == {"-"} or re.fullmatch(r"(Before the repair|When it was decided|Now):", line)
        ):
            found.append([line, ""])
        elif not line:
            found.append(["", ""])
        else:
            found[-1][1] += f" {' '.join(line.split())}"
    return [(heading, text) for heading, text in found]


def page(events: tuple[Event, ...], where: str, language: str = "en") -> str:
    request = {
        "path": f"/call/c1{where}",
        "now": (max(e.at for e in events) + timedelta(minutes=3)).isoformat(),
        "call": {"id": "c1", "events": [plain_table(event) for event in events]},
        "language": language,
    }
    reply = json.loads(answer(json.dumps(request)))
    assert reply["status"] == 200, reply
    return str(reply["html"])


def old_faults(call: Call) -> list[str]:
    """The faults that parts renewed on a call may have had, in words."""
    assert call.machine is not None
    return [
        f"{part.family.title}: {part.family.mode(mode).title}"
        for part in call.machine.parts
        if part.id in call.renewed
        for mode in part.family.modes
        if mode != "healthy"
    ]


def check_data(call: Call, result: AdviceResult, sheet: Sheet) -> None:
    """What is handed over: done, due, reasons, suspects."""
    every = turns(call)
    for turn, told in zip(every, result.turns, strict=True):
        if told.explanation is not None:
            named = _REASON.search(told.explanation.sentence)
            wanted = titles(sorted(turn.about), SHOP)
            assert named is None or named[1] == wanted, (named, wanted)
    for suspect in result.suspects:
        assert not {part for part, _ in suspect.parts} & call.renewed, suspect.label
    for value in (result.next, *result.alternatives):
        if value is not None:
            assert not [remedy for remedy in result.done if remedy in value.reason], value.reason
    if result.verdict is not None:
        assert result.verdict.remedies
        assert result.verdict.due or set(result.verdict.remedies) <= set(result.done)
        assert len(result.verdict.titles) == len(result.verdict.remedies)
        assert "wait" not in result.verdict.remedies or "let it cool" in result.verdict.sentence.casefold()
    customer, technician = sheet.customer_page, sheet.technician_page
    assert customer.done == tuple(did((r,), SHOP)[:1].upper() + did((r,), SHOP)[1:] for r in result.done)
    assert all(did((r,), SHOP) in technician.headline for r in result.done)
    assert technician.headline == result.heading
    assert customer.headline.startswith("Repaired") == technician.headline.startswith("Repaired")
    last = every[-1] if every else None
    if "not settled" in technician.verdict_note and last is not None:
        before = last.before.situation()
        assert before is not None
        assert advise(before, shop=SHOP).verdict is None
    if last is not None and sheet.state.name in ("repaired", "fitted"):
        assert last.done or set(sheet.state.done)


def check_faces(events: tuple[Event, ...], call: Call, result: AdviceResult, sheet: Sheet) -> None:
    """What is read: terminal, sheet, pages."""
    text = advice_in_words(result, call)
    faces = {
        "text": sections_of_text(text),
        "sheet": sections(typeset(sheet)),
        **{where: sections(page(events, where)) for where in ("", "/why", "/sheet")},
    }
    faults = old_faults(call)
    for face, found in faces.items():
        for heading, said in found:
            assert not _EMPTY.search(f"{heading} {said}"), (face, heading)
            assert "entries were taken back" not in said or " 1 entries" not in said
            if _BEFORE.search(heading):
                continue
            for fault in faults:
                shown = re.search(rf"\d %[#. ]*{re.escape(fault)}|{re.escape(fault)}[^%]{{0,40}}?\d %", said)
                assert shown is None, (face, heading, fault)
    whole = {face: " ".join(" ".join(each) for each in found) for face, found in faces.items()}
    if result.kind in ("repaired", "prove", "work"):
        for face in ("text", "sheet", "", "/sheet"):
            assert result.heading in whole[face], (face, result.heading)


def checked(events: tuple[Event, ...]) -> None:
    call = fold(events)
    result = result_of(call, SHOP, why=True)
    json.loads(as_json(result))
    sheet = sheet_of(call)
    check_data(call, result, sheet)
    check_faces(events, call, result, sheet)


@pytest.mark.parametrize("name", SWEPT)
def test_every_point_of_an_example_tells_before_from_after(name: str) -> None:
    """Every prefix of an example from the machine on says what it should on every face."""
    events = example(name)
    first = next(n for n, event in enumerate(events) if isinstance(event, MachineRead))
    points = [n for n in range(first + 1, len(events) + 1) if events[n - 1].kind not in ("gate", "photo")]
    for n in points[:: max(1, len(points) // 4)]:
        checked(events[:n])
    checked(events)


@pytest.mark.parametrize("name", SWEPT)
def test_whatever_follows_tells_before_from_after(name: str) -> None:
    """Decided, installed, tried in vain or not, and once more: every face tells it right."""
    for events in continuations(example(name)):
        checked(events)


@pytest.mark.parametrize(
    "name",
    sampled(["relay-contacts", "broken-starter", "swapped-leads", "seized-compressor"], ["swapped-leads"]),
)
def test_advice_and_the_prompt_say_the_same_next_step(name: str, tmp_path: Path) -> None:
    """``advise`` on a file and ``call`` on it go on with the same step."""
    for number, events in enumerate((example(name), *continuations(example(name)))):
        path = tmp_path / f"{number}.toml"
        for event in events:
            append_event(path, event)
        session = Session(path, SHOP)
        session.open()
        result = result_of(session.call, SHOP)
        step = session.flow.onward
        assert step is not None
        assert step.kind == result.kind
        assert step.probe == (result.next.probe if result.next is not None else "")
        asked = session.step.probe
        assert (asked.id if asked is not None else "") == step.probe
        if result.kind in ("work", "prove", "repaired"):
            assert result.heading in " ".join(view(session).split())


def test_the_reason_is_the_one_that_stood_at_the_decision() -> None:
    """What was read after the decision, or taken back after it, changes nothing of its reason."""
    events = example("broken-starter")
    decided = and_then(events, decision("replace starter"))
    then = result_of(fold(decided), SHOP, why=True).turns[-1].explanation
    later = and_then(
        decided, {"kind": "reading", "probe": "supply.volts", "value": "117"}, tried("hum_click")
    )
    assert result_of(fold(later), SHOP, why=True).turns[-1].explanation == then
    readings = [event for event in events if event.kind == "reading"]
    undone = and_then(decided, {"kind": "undo", "of": readings[-1].id})
    assert result_of(fold(undone), SHOP, why=True).turns[-1].explanation == then
    assert any(
        "taken back since" in row.remark for row in sheet_of(fold(undone)).technician_page.reasons
    ) or (then is not None and abs(then.reasons[-1].decibans) < 1.0)


def test_a_second_go_is_told_after_the_first() -> None:
    """What was done in vain stays told; the reason is that of what was decided after it."""
    events = example("broken-starter")
    call = fold(events)
    again = and_then(
        events,
        decision("replace starter"),
        *installed(call, "replace starter"),
        tried("hum_click"),
        decision("replace overload protector"),
        *installed(call, "replace overload protector"),
        tried("runs"),
    )
    both = turns(fold(again))
    assert [turn.decided for turn in both] == [("replace starter",), ("replace overload protector",)]
    assert [turn.outcome for turn in both] == ["hum_click", "runs"]
    situation = fold(again).situation()
    assert situation is not None
    state = state_of(fold(again), advise(situation, shop=SHOP))
    assert (state.name, state.done) == ("repaired", ("replace starter", "replace overload protector"))


def test_one_entry_taken_back_is_one_entry() -> None:
    """What was taken back is no misunderstanding, and is counted in good English; a redo is not counted."""
    events = example("broken-starter")
    readings = [event for event in events if event.kind == "reading"]
    once = and_then(events, {"kind": "undo", "of": readings[-1].id})
    page_ = sheet_of(fold(once)).technician_page
    assert page_.problems == ()
    assert page_.taken_back == "1 entry was taken back; it stays in the call."
    undo = next(event for event in once if isinstance(event, Undone))
    assert sheet_of(fold(and_then(once, {"kind": "undo", "of": undo.id}))).technician_page.taken_back == ""
    twice = and_then(once, {"kind": "undo", "of": readings[-2].id})
    assert sheet_of(fold(twice)).technician_page.taken_back.startswith("2 entries were")


@pytest.mark.parametrize("complaint", ["breaker", "hum_click"])
def test_a_tripped_breaker_stays_off(complaint: str) -> None:
    """The customer of a tripped breaker or a grounded motor reads not to reset it, whatever else is said."""
    tables: list[dict[str, Any]] = [
        {"kind": "machine", "arrangement": "rsir-ptc"},
        {"kind": "complaint", "heard": complaint},
    ]
    if complaint != "breaker":
        tables.append({"kind": "reading", "probe": "pins.shell", "value": "12 ohm"})
    events = and_then(
        (event_from({"kind": "opened", "id": "o", "at": "2026-03-02T09:00:00+01:00"}),), *tables
    )
    for then in (events, and_then(events, decision("hand over"))):
        said = " ".join(sheet_of(fold(then)).customer_page.safety)
        assert "Do not reset the breaker" in said
        assert "every try heats" not in said


def test_handing_over_puts_nothing_right() -> None:
    """Where nothing on the list fits that is said, and never how probably handing over fixes it."""
    for name in JUDGED:
        verdict = result_of(fold(example(name)), SHOP).verdict
        if verdict is not None and "hand over" in verdict.due:
            assert "fixes it" not in verdict.sentence + verdict.because
