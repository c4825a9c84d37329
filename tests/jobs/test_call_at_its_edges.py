"""The call at the edges of what it takes: bounds, times, and the first or last of things."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.shop import default_shop
from humclick.errors import CallFileError, HumclickError, Refused
from humclick.jobs.at_hand import fitted_farads, winding_ohms
from humclick.jobs.briefing import briefed
from humclick.jobs.call import Call
from humclick.jobs.call_file import (
    MOST_EVENTS,
    append_all,
    append_event,
    append_events,
    load_call,
    parse_call,
    write_call,
)
from humclick.jobs.call_text import block_of, parted
from humclick.jobs.event_media import PhotoMarked
from humclick.jobs.event_tables import event_from, table_of
from humclick.jobs.events import HEARD, Event
from humclick.jobs.flow import Flow
from humclick.jobs.fold import fold
from humclick.jobs.history import state_of, turns
from humclick.jobs.order import MOST_AHEAD, last_turn
from humclick.jobs.standing import (
    PIN_PAIRS,
    given_last,
    moment,
    pins_found,
    provisional,
    to_redo,
    to_undo,
)
from humclick.jobs.warmth import felt, since, stood

START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
SHOP = default_shop()
CSIR: dict[str, Any] = {"kind": "machine", "arrangement": "csir-current-relay", "protector": "external"}
HUMS: dict[str, Any] = {"kind": "complaint", "heard": "hum_click"}


def events_of(*tables: dict[str, Any]) -> tuple[Event, ...]:
    """Events a minute apart."""
    return tuple(
        event_from({"id": f"e{n:02d}", "at": START + timedelta(minutes=n), **table})
        for n, table in enumerate(tables)
    )


def call(*tables: dict[str, Any]) -> Call:
    return fold(events_of(*tables))


def reading(probe: str, value: str, **more: Any) -> dict[str, Any]:
    return {"kind": "reading", "probe": probe, "value": value, **more}


# -- what an event may hold ---------------------------------------------------------------------------------

RECORDING: dict[str, Any] = {
    "kind": "recording",
    "of": "current",
    "heard": ["hum"],
    "seconds": 10.0,
    "unit": "A",
}


@pytest.mark.parametrize(
    ("given", "taken"),
    [
        ({"of": "sound"}, True),
        ({"of": "light"}, False),
        ({"heard": []}, False),
        ({"heard": ["hum"] * 500}, True),
        ({"heard": ["hum"] * 501}, False),
        ({"heard": list(HEARD[:-1])}, True),
        ({"heard": ["unknown"]}, False),
        ({"causes": {"a": 0.0, "b": -1e4}}, True),
        ({"causes": {"a": -10001.0}}, False),
        ({"causes": {"a": 1e-5}}, False),
        ({"causes": {f"c{n}": 0.0 for n in range(50)}}, True),
        ({"causes": {f"c{n}": 0.0 for n in range(51)}}, False),
        ({"causes": {"": 0.0}}, False),
        ({"seconds": 0.0}, True),
        ({"seconds": 2_678_400.0}, True),
        ({"seconds": 2_678_401.0}, False),
        ({"seconds": -0.1}, False),
        ({"unit": "dB"}, True),
        ({"unit": ""}, True),
        ({"unit": "V"}, False),
        ({"course": [1.0] * 1000}, True),
        ({"course": [1.0] * 1001}, False),
        ({"course": [1e9, -1e9]}, True),
        ({"course": [1.001e9]}, False),
        ({"course": [-1.001e9]}, False),
        ({"spans": [[0.0, 0.0, "locked"], [0.0, 11.0, "running"], [2.0, 2.0, "click"]]}, True),
        ({"spans": [[0.0, 11.1, "locked"]]}, False),
        ({"spans": [[3.0, 2.0, "locked"]]}, False),
        ({"spans": [[-0.1, 2.0, "locked"]]}, False),
        ({"spans": [[0.0, 2.0, "unknown"]]}, False),
        ({"spans": [[0.0, 1.0, "hum"]] * 500}, True),
        ({"spans": [[0.0, 1.0, "hum"]] * 501}, False),
        ({"said": [{"id": "x"}] * 50}, True),
        ({"said": [{"id": "x"}] * 51}, False),
    ],
)
def test_a_recording_is_taken_up_to_its_bounds_and_not_beyond(given: dict[str, Any], taken: bool) -> None:
    """Each bound from both sides; what stands on it is taken."""
    table = {**RECORDING, **given, "id": "r", "at": START}
    if taken:
        made = table_of(event_from(table))
        for name, value in given.items():
            assert made.get(name, "" if name == "unit" else 0.0) == value
    else:
        with pytest.raises(Refused, match=next(iter(given))):
            event_from(table)


@pytest.mark.parametrize(("x", "y", "taken"), [(0.0, 100.0, True), (100.0, 0.0, True), (100.5, 1.0, False)])
def test_a_mark_lies_on_its_photo(x: float, y: float, taken: bool) -> None:
    """From 0 to 100 per cent both ways, both ends included."""
    table = {"kind": "mark", "id": "m", "at": START, "sha256": "ab" * 32, "x": x, "y": y, "label": "C"}
    if taken:
        mark = event_from(table)
        assert isinstance(mark, PhotoMarked)
        assert (mark.x, mark.y) == (x, y)
    else:
        with pytest.raises(Refused, match=r"x must be"):
            event_from(table)


# -- turns --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ahead", "believed"), [(MOST_AHEAD, True), (MOST_AHEAD + 1, False)])
def test_a_turn_is_believed_up_to_the_bound(ahead: int, believed: bool) -> None:
    """In a whole fold, by one event more, and in a file."""
    first, second = events_of({**HUMS, "turn": 3}, {"kind": "note", "text": "later", "turn": 3 + ahead})
    last = 3 + ahead if believed else 3
    assert last_turn((first, second)) == last
    assert fold((first, second)).turn == last
    after = fold((first,)).then(second)
    assert after == fold((first, second))
    assert after.turn == last
    text = "humclick_call = 1\n" + "".join(
        f"[[event]]\n{block_of(event, True).partition(chr(10))[2]}" for event in (first, second)
    )
    text += '[[event]]\nkind = "note"\ntext = "by hand"\n'
    assert parse_call(text.encode()).events[-1].turn == last + 1


# -- unnamed pins -------------------------------------------------------------------------------------------


def test_pins_are_found_once_all_three_pairs_are_measured() -> None:
    """Not before, and not without a machine."""
    rows = [
        reading(f"pins.{a}-{b}", ohms)
        for (a, b), ohms in zip(PIN_PAIRS, ("4.7", "11.2", "15.8"), strict=True)
    ]
    assert pins_found(call(*rows)) is None
    for count in range(3):
        job = call(CSIR, HUMS, *rows[:count])
        assert pins_found(job) is None
        assert Flow(job, SHOP).pins is None
    found = pins_found(call(CSIR, HUMS, *rows))
    assert found is not None
    assert found.conclusion == "sound"
    # more is measured: it stays found
    more = pins_found(call(CSIR, HUMS, *rows, reading("pins.shell", "OL"), reading("pins.C-R", "4.7")))
    assert more is not None
    assert set(more.names) == {"C", "R", "S"}


# -- undo and redo ------------------------------------------------------------------------------------------


def test_what_is_taken_back_last_is_brought_back_first() -> None:
    """An undo of the last thing; a redo only right after; the head of a call and a hazard stay."""
    head: dict[str, Any] = {"kind": "opened", "shop": "N"}
    job = call(head)
    with pytest.raises(Refused, match="nothing to take back"):
        to_undo(job.events, job)
    job = call(head, HUMS, {"kind": "note", "text": "a"})
    assert to_undo(job.events, job).id == "e02"
    with pytest.raises(Refused, match="no undo"):
        to_redo(job.events, job)
    job = call(head, HUMS, {"kind": "note", "text": "a"}, {"kind": "undo", "of": "e02"})
    assert to_undo(job.events, job).id == "e01"
    assert to_redo(job.events, job).id == "e03"
    job = call(head, HUMS, {"kind": "undo", "of": "e01"}, {"kind": "note", "text": "b"})
    with pytest.raises(Refused, match="no undo"):
        to_redo(job.events, job)
    job = call(HUMS, {"kind": "undo", "of": "e00"}, head)
    assert to_redo(job.events, job).id == "e01"
    job = call(HUMS, {"kind": "hazard", "gate": "power-off-proved-dead"})
    with pytest.raises(Refused, match="hazard is not undone"):
        to_undo(job.events, job)


def test_an_arrangement_taken_for_now_is_said_until_it_is_settled() -> None:
    """By the machine's own field, or by the notes of older files."""
    now = {**CSIR, "provisional": True}
    for tables, said in (
        ((CSIR,), False),
        ((now,), True),
        ((now, CSIR), False),
        ((CSIR, {"kind": "note", "text": "Arrangement taken for now: two fit"}), True),
        ((CSIR, {"kind": "note", "text": "Arrangement taken for now: two fit"}, CSIR), True),
        (
            (CSIR, {"kind": "note", "text": "Arrangement taken for now: x"}, {**CSIR, "arrangement": "psc"}),
            False,
        ),
        (
            (
                CSIR,
                {"kind": "note", "text": "Arrangement taken for now: two fit"},
                {"kind": "note", "text": "Arrangement confirmed: seen"},
            ),
            False,
        ),
        ((CSIR, {"kind": "note", "text": "asked the owner"}), False),
    ):
        job = call(*tables)
        assert provisional(job.events, job) is said, tables


def test_the_last_of_a_kind_is_given_without_what_all_events_have() -> None:
    """And nothing where there is none, or it was taken back."""
    from humclick.jobs.events import MachineRead

    job = call(CSIR, {**CSIR, "arrangement": "psc"}, {"kind": "undo", "of": "e01"})
    given = given_last(job.events, job, MachineRead)
    assert given["arrangement"] == "csir-current-relay"
    assert not given.keys() & {"id", "at", "device", "turn"}
    empty = call(HUMS)
    assert given_last(empty.events, empty, MachineRead) == {}


@pytest.mark.parametrize(
    ("year", "offset", "same"),
    [
        (1970, 0, True),
        (2200, 0, True),
        (2026, 60, True),
        (2026, 90, True),
        (1969, 0, False),
        (2201, 0, False),
    ],
)
def test_a_clock_in_range_is_believed(year: int, offset: int, same: bool) -> None:
    """Years 1970 to 2200, with any zone of whole minutes; beyond, no time is written."""
    from datetime import timezone

    from humclick.jobs.events import UNTIMED

    now = datetime(year, 6, 1, 12, tzinfo=timezone(timedelta(minutes=offset)))
    assert moment(now) == (now if same else UNTIMED)
    if same:
        assert moment(now).utcoffset() == timedelta(minutes=offset)
    odd = datetime(2026, 6, 1, 12, tzinfo=timezone(timedelta(seconds=90)))
    assert moment(odd) == odd
    assert moment(odd).utcoffset() == timedelta(0)


# -- how warm, how long -------------------------------------------------------------------------------------


def flow(*tables: dict[str, Any]) -> Flow:
    return Flow(call(*tables), SHOP)


def test_it_has_stood_since_it_was_last_under_power() -> None:
    """From a complaint, a wait, or an attempt; two days at most; not where a clock ran backwards."""
    at = START + timedelta(minutes=60)
    assert since(flow(CSIR), at) is None
    assert stood(flow(CSIR), at) is None
    assert since(flow(CSIR, HUMS), at) == START + timedelta(minutes=1)
    assert stood(flow(CSIR, HUMS), at) == 59.0
    assert stood(flow(HUMS, CSIR, {"kind": "wait", "minutes": 5.0}), at) == 58.0
    assert stood(flow(HUMS, CSIR, reading("attempt.as_found", "hum")), at) == 58.0
    assert stood(flow(HUMS, CSIR, reading("current_relay.ohms", "0.2")), at) == 60.0  # dead: it stands on
    assert stood(flow(HUMS, CSIR, reading("pins.C-R", "4.7")), at) == 60.0
    assert stood(flow(HUMS), START + timedelta(hours=48)) == 48 * 60
    assert stood(flow(HUMS), START + timedelta(hours=48, minutes=1)) is None
    assert stood(flow(HUMS), START) == 0.0
    assert stood(flow(HUMS), START - timedelta(minutes=5)) == 0.0  # no clock adds to a wait
    untimed = {**HUMS, "at": datetime(1970, 1, 1, tzinfo=UTC)}
    assert stood(flow(untimed), at) is None


def test_what_was_felt_counts_until_something_happens() -> None:
    """The last winding read in ohms; not after a wait, a part or power, and hot only until it cooled."""
    pins = probe_of(flow(CSIR).situation.machine, "pins.C-S", SHOP)
    cold, hot = (reading("pins.C-R", "4.7", temperature=felt_so) for felt_so in ("cold", "hot"))
    soon = START + timedelta(minutes=4)
    assert felt(flow(CSIR, HUMS, cold), soon, pins) == "cold"
    assert felt(flow(CSIR, HUMS, hot), soon, pins) == "hot"
    assert felt(flow(CSIR, HUMS, hot), START + timedelta(hours=5), pins) == ""
    assert felt(flow(CSIR, HUMS, cold), START + timedelta(hours=5), pins) == "cold"
    assert felt(flow(CSIR, HUMS, cold, {"kind": "wait", "minutes": 1.0}), soon, pins) == ""
    assert felt(flow(CSIR, HUMS, cold, {"kind": "fitted", "part": "current_relay"}), soon, pins) == ""
    assert felt(flow(CSIR, HUMS, cold, reading("attempt.as_found", "hum")), soon, pins) == ""
    assert felt(flow(CSIR, HUMS, cold, reading("supply.volts", "116 V")), soon, pins) in ("", "cold")
    assert felt(flow(CSIR, HUMS, cold, reading("start_capacitor.farads", "98 uF")), soon, pins) == "cold"
    assert felt(flow(CSIR, HUMS, cold, {"kind": "note", "text": "x"}), soon, pins) == "cold"
    assert felt(flow(CSIR, HUMS, reading("pins.C-R", "4.7")), soon, pins) == ""
    assert felt(flow(CSIR, HUMS, reading("pins.C-R", "4.7", temperature="31 C")), soon, pins) == ""
    assert felt(flow(CSIR, HUMS), soon, pins) == ""
    untimed = {**hot, "at": datetime(1970, 1, 1, tzinfo=UTC)}
    assert felt(flow(untimed, CSIR, HUMS), soon, pins) == ""


# -- at hand ------------------------------------------------------------------------------------------------


def test_leads_are_taken_off_what_the_pins_read() -> None:
    """What the technician measured, nothing where they were nulled, and the usual where nobody said."""
    rows = [
        CSIR,
        reading("pins.C-R", "4.7", temperature="25 C"),
        reading("pins.C-S", "11.2", temperature="25 C"),
    ]
    for meter, off in (({"leads_nulled": True}, 0.0), ({"lead_ohms": 0.4}, 0.4)):
        run, start = winding_ohms(call({"kind": "meter", **meter}, *rows))
        assert run == pytest.approx(4.7 - off)
        assert start == pytest.approx(11.2 - off)
    run, start = winding_ohms(call(*rows))
    usual = call(*rows).leads.spread
    assert usual is not None
    assert run == pytest.approx(4.7 - usual.median)
    assert start == pytest.approx(11.2 - usual.median)
    assert winding_ohms(call({"kind": "meter", "lead_ohms": 4.7}, *rows))[0] is None  # nothing is left


def test_a_pair_that_is_the_smaller_gives_no_other_winding() -> None:
    """The sum of both windings is larger than either; where it reads no larger nothing is made of it."""
    nulled: dict[str, Any] = {"kind": "meter", "leads_nulled": True}

    def ohms(**pins: str) -> tuple[object, object]:
        rows = [reading(f"pins.{name.replace('_', '-')}", x, temperature="25 C") for name, x in pins.items()]
        return winding_ohms(call(nulled, CSIR, *rows))

    assert ohms(C_R="4.0", S_R="4.0") == (pytest.approx(4.0), None)
    assert ohms(C_R="4.0", S_R="3.0") == (pytest.approx(4.0), None)
    assert ohms(C_S="9.0", S_R="9.0") == (None, pytest.approx(9.0))
    assert ohms(C_R="4.0", S_R="13.0") == (pytest.approx(4.0), pytest.approx(9.0))
    assert ohms(C_S="9.0", S_R="13.0") == (pytest.approx(4.0), pytest.approx(9.0))
    assert ohms(C_R="4.0", C_S="8.0", S_R="13.0") == (pytest.approx(4.0), pytest.approx(8.0))
    assert ohms(S_R="13.0") == (None, None)
    assert ohms(C_R="4.0", C_S="OL") == (pytest.approx(4.0), None)


def test_a_capacitor_counts_by_its_last_figure() -> None:
    """OL is no figure and changes nothing; a reading below the display's last digit says there is none."""
    first = reading("start_capacitor.farads", "98 uF")
    ol, none = (reading("start_capacitor.farads", text) for text in ("OL", "0.0 uF"))
    fitted: dict[str, Any] = {"kind": "fitted", "part": "start_capacitor"}
    other: dict[str, Any] = {"kind": "fitted", "part": "current_relay"}
    assert fitted_farads(call(CSIR), "start_capacitor") is None
    assert fitted_farads(call(CSIR, first), "start_capacitor") == pytest.approx(98e-6)
    assert fitted_farads(call(CSIR, first), "run_capacitor") is None
    assert fitted_farads(call(CSIR, first, ol), "start_capacitor") == pytest.approx(98e-6)
    assert fitted_farads(call(CSIR, first, none), "start_capacitor") is None
    assert fitted_farads(call(CSIR, first, fitted), "start_capacitor") is None
    assert fitted_farads(call(CSIR, first, other), "start_capacitor") == pytest.approx(98e-6)
    assert fitted_farads(call(CSIR, fitted, first), "start_capacitor") == pytest.approx(98e-6)


# -- call files ---------------------------------------------------------------------------------------------


def test_a_file_is_read_back_byte_for_byte(tmp_path: Path) -> None:
    """Written whole or event by event, with turns or without: the same events, and they write the same."""
    tables: tuple[dict[str, Any], ...] = (
        {"kind": "opened", "shop": "N", "invented": True},
        CSIR,
        {**HUMS, "words": 'It "hums",\nthen clicks'},
        reading("pins.C-R", "4.7", temperature="cold", note="Ω"),
        {"kind": "decision", "remedies": ["replace relay", "clear condenser"]},
        {**RECORDING, "spans": [[0.0, 1.0, "hum"]], "causes": {"a": -1.5}},
    )
    for turn in (0, 4):
        events = events_of(*({**t, "turn": turn + n if turn else 0} for n, t in enumerate(tables)))
        whole, one = tmp_path / f"whole{turn}.toml", tmp_path / f"one{turn}.toml"
        write_call(whole, events)
        assert load_call(whole).events == events
        first = whole.read_bytes()
        write_call(whole, load_call(whole).events)
        assert whole.read_bytes() == first
        for event in events:
            written = append_event(one, event)
            assert written.fresh == (event,)
            assert written.after.events == load_call(one).events
        assert load_call(one).events == events
        assert append_events(one, events).fresh == ()
        with pytest.raises(CallFileError, match="in the file already"):
            append_all(one, events[:1])


def test_after_a_turn_every_block_has_one(tmp_path: Path) -> None:
    """An event without a turn below one with a turn is written with its 0, so that it keeps its place."""
    counted, plain = events_of({**HUMS, "turn": 2}, {"kind": "note", "text": "x"})
    file = tmp_path / "call.toml"
    write_call(file, (plain, counted))
    assert file.read_text("utf-8").count("turn = ") == 1
    write_call(file, (counted, plain))
    assert "turn = 0" in file.read_text("utf-8")
    assert load_call(file).events == (counted, plain)


def test_a_full_file_takes_no_more() -> None:
    """So many events and no more."""
    block = '[[event]]\nkind = "wait"\nminutes = 1\n'
    assert len(parse_call(("humclick_call = 1\n" + block * MOST_EVENTS).encode()).events) == MOST_EVENTS
    with pytest.raises(CallFileError, match=f"more than {MOST_EVENTS} events"):
        parse_call(("humclick_call = 1\n" + block * (MOST_EVENTS + 1)).encode())


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", 1, "must begin with humclick_call = 1"),
        ("humclick_call = true\n", 1, "must begin with"),
        ("\nhumclick_call = 2\n", 2, "version 2; this program reads 1"),
        ("humclick_call = 1\nevnt = 3\n", 2, r"unknown key evnt; write \[\[event\]\]"),
        ("humclick_call = 1\nwait = 3\n", 2, r'write \[\[event\]\] with kind = "wait"'),
        ("humclick_call = 1\n\n\nx = 3\n", 4, "at the top stand humclick_call"),
        ('humclick_call = 1\n[[event]]\nkind = "wait"\nminutes = -1\n', 4, "minutes must be"),
        ('humclick_call = 1\n[[event]]\nkind = "wait"\n', 2, "minutes is missing"),
        ("humclick_call = 1\n[[event]]\nkind = \n", 3, "not TOML"),
        ('humclick_call = 1\nevent = "x"\n', 2, "write each event as a block"),
    ],
)
def test_a_wrong_file_is_told_with_the_line(text: str, line: int, said: str) -> None:
    """What is wrong, on which line, and what would be right."""
    with pytest.raises(CallFileError, match=said) as caught:
        parse_call(text.encode())
    assert caught.value.line == line


def test_one_id_stands_once() -> None:
    """The second is told with the line of the first; where none is written each gets its own."""
    block = '[[event]]\nid = "a"\nkind = "wait"\nminutes = 1\n'
    with pytest.raises(CallFileError, match="the id 'a' stands already at line 3") as caught:
        parse_call(("humclick_call = 1\n" + block * 2).encode())
    assert caught.value.line == 7
    same = parse_call(("humclick_call = 1\n" + block.replace('id = "a"\n', "") * 3).encode()).events
    assert len({event.id for event in same}) == 3
    assert [event.at for event in same] == sorted(event.at for event in same)
    assert same[1].at - same[0].at == timedelta(microseconds=1)


def test_a_torn_block_is_told_with_its_line() -> None:
    """The line where the first begins; the rest is read."""
    head = b"humclick_call = 1\n"
    sound = b'\n# event a begins\n[[event]]\nid = "a"\nkind = "wait"\nminutes = 1\n# event a is complete\n'
    torn = b'\n# event b begins\n[[event]]\nid = "b"\nki'
    made = parse_call(head + sound + torn)
    assert [event.id for event in made.events] == ["a"]
    assert made.torn_line == (head + sound).count(b"\n") + 2
    assert "# event b begins" in made.torn
    assert parted(head + sound) == (head + sound, "", None)
    # zeros at the very start belong to no block, and are told
    with pytest.raises(CallFileError, match="binary data"):
        parse_call(b"\0" + head + sound)


# -- history ------------------------------------------------------------------------------------------------


def outcome(*tables: dict[str, Any]) -> list[tuple[tuple[str, ...], tuple[str, ...], str]]:
    return [(t.decided, t.done, t.outcome) for t in turns(call(CSIR, HUMS, *tables))]


def test_goes_at_fixing_it_begin_and_end_where_people_say() -> None:
    """A decision begins one; changed before anything is done it counts from the change; a try ends it."""
    relay, capacitor = ({"kind": "fitted", "part": name} for name in ("current_relay", "start_capacitor"))
    decide = {"kind": "decision", "remedies": ["replace relay", "replace relay"]}
    also = {"kind": "decision", "remedies": ["replace start capacitor"]}
    hums, runs = (reading("attempt.as_found", answer) for answer in ("hum_click", "runs"))
    assert outcome() == []
    assert outcome(hums) == []
    assert outcome(decide) == [(("replace relay",), (), "")]
    assert outcome(decide, also) == [(("replace start capacitor",), (), "")]
    assert outcome(decide, relay) == [(("replace relay",), ("replace relay",), "")]
    assert outcome(decide, relay, runs) == [(("replace relay",), ("replace relay",), "runs")]
    assert outcome(decide, hums, also)[0] == (("replace relay",), (), "hum_click")
    assert outcome(decide, relay, also) == [
        (("replace relay",), ("replace relay",), ""),
        (("replace start capacitor",), (), ""),
    ]
    assert outcome(decide, capacitor) == [
        (("replace relay",), (), ""),
        ((), ("replace start capacitor",), ""),
    ]
    assert outcome(relay, capacitor) == [((), ("replace relay", "replace start capacitor"), "")]
    assert outcome(relay, hums, capacitor) == [
        ((), ("replace relay",), "hum_click"),
        ((), ("replace start capacitor",), ""),
    ]
    assert outcome(relay, reading("attempt.known_good", "runs")) == [((), ("replace relay",), "")]
    assert outcome(relay, {"kind": "undo", "of": "e02"}) == []


@pytest.mark.parametrize(
    ("remedies", "tail", "name", "due"),
    [
        (["hand over"], [], "handed", ("hand over",)),
        (["wait"], [], "passing", ("wait",)),
        (["set control", "wait"], [], "passing", ("set control", "wait")),
        (["set control", "replace relay"], [], "needed", ("set control", "replace relay")),
        (["clear condenser"], ["runs"], "repaired", ()),
        (["correct wiring"], ["hum"], "needed", ("correct wiring",)),
        (["replace relay"], ["runs"], "needed", ("replace relay",)),
        (["replace relay"], ["current_relay"], "fitted", ()),
        (
            ["replace relay", "replace start capacitor"],
            ["current_relay"],
            "needed",
            ("replace start capacitor",),
        ),
        (["replace relay"], ["current_relay", "runs"], "repaired", ()),
        (["replace compressor"], ["compressor"], "fitted", ()),
    ],
)
def test_how_far_a_call_has_come(
    remedies: list[str], tail: list[str], name: str, due: tuple[str, ...]
) -> None:
    """By what was decided, what was fitted, and what came of the try."""
    from humclick.diagnosis.advice import advise

    rows = [
        reading("attempt.as_found", each) if each in HEARD else {"kind": "fitted", "part": each}
        for each in tail
    ]
    job = call(CSIR, HUMS, {"kind": "decision", "remedies": remedies}, *rows)
    situation = job.situation()
    assert situation is not None
    state = state_of(job, advise(situation))
    assert (state.name, state.due) == (name, due)
    assert state.decided
    assert not state.failed


# -- briefings ----------------------------------------------------------------------------------------------


def test_local_codes_and_who_may_work_live_are_said_once() -> None:
    """With the first gate of a device, and never without a gate."""
    rows: list[dict[str, Any]] = [CSIR, HUMS]
    job = call(*rows)
    assert job.machine is not None
    probe = probe_of(job.machine, "current_relay.coil", SHOP)
    first = briefed(job.events, job, probe, SHOP)
    assert first.gates
    assert all(each.full and each.new for each in first.gates)
    assert first.defer
    assert first.live_work is not None
    assert first.cautions
    rows += [{"kind": "gate", "gate": first.gates[0].gate.name, "matter": first.gates[0].gate.matter}]
    job = call(*rows)
    second = briefed(job.events, job, probe, SHOP)
    assert second.names == first.names[1:]
    assert not second.defer
    assert second.live_work is None
    assert [fact.name for fact in second.cautions] == ["photograph-first"]  # until a hand was inside
    shown = briefed(job.events, job, probe, SHOP, on_screen=second.texts)
    assert all(each.new and not each.full for each in shown.gates)
    rows += [{"kind": "gate", "gate": g.gate.name, "matter": g.gate.matter} for g in second.gates]
    job = call(*rows)
    third = briefed(job.events, job, probe, SHOP)
    assert not third.gates
    assert not third.cautions
    assert not third.hazards or all(each.full for each in third.hazards)


def test_a_flow_without_a_machine_refuses_in_words() -> None:
    """No probe, no situation, no judgement, no pins."""
    bare = flow(HUMS)
    assert (bare.weighed, bare.advice, bare.onward, bare.before, bare.pins) == (None,) * 5
    assert bare.probes == {}
    assert not bare.has("pins.C-R")
    assert bare.still_worth() == ()
    with pytest.raises(HumclickError, match="no machine is described"):
        bare.probe("pins.C-R")
    assert flow(CSIR).has("pins.C-R")
    assert not flow(CSIR).has("ptc.ohms")
