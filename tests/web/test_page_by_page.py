"""Each page by itself: what it shows of a desk, what a form of it keeps, and where it sends to."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from humclick.arrangements.arrangement import arrangements
from humclick.diagnosis.recognise import candidates, questions
from humclick.errors import HumclickError, Refused
from humclick.jobs.call_file import load_call
from humclick.web.desk import Desk, FormRefused
from humclick.web.exchange import CallGiven, Reply, Request, Settings, plain_table
from humclick.web.pages import (
    answers,
    calls,
    decision,
    identify,
    new,
    offline,
    photos,
    pins,
    plate,
    probes,
    recordings,
    settings,
    sheet,
    why,
)
from tests.web.pages_asked import EXAMPLES, NAMES, Page

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
HASH = "0123456789abcdef" * 4


def desk(name: str = "", form: dict[str, Any] | None = None, code: str = "en", **more: Any) -> Desk:
    """A desk with one of the invented shop's calls on it."""
    call = None
    if name:
        call = CallGiven(name, [plain_table(e) for e in load_call(EXAMPLES / name / "call.toml").events])
    path = f"/call/{name}" if name else "/"
    method = "POST" if form is not None else "GET"
    asked = Request(path=path, method=method, form=form or {}, now=NOW, language=code, call=call, **more)
    return Desk(asked)


def begun(form: dict[str, Any], *events: dict[str, Any]) -> Desk:
    """A desk with a form on a call of these events."""
    tables = [
        {"id": f"e{k}", "at": (NOW - timedelta(hours=1)).isoformat(), **e} for k, e in enumerate(events)
    ]
    return Desk(Request(path="/call/c", method="POST", form=form, now=NOW, call=CallGiven("c", tables)))


def kept(reply: Reply) -> list[tuple[str, dict[str, Any]]]:
    return [
        (e["kind"], {k: v for k, v in e.items() if k not in ("kind", "id", "at", "device", "turn")})
        for e in reply.append
    ]


RSIR = {
    "kind": "machine",
    "arrangement": "rsir-ptc",
    "protector": "external",
    "volts": 115.0,
    "refrigerant": "R134a",
}
HUMS = {"kind": "complaint", "heard": "hum_click"}

SHOWN: dict[str, Callable[[Desk], Reply]] = {
    "identify": identify.show,
    "photos": photos.show,
    "pins": pins.show,
    "plate": plate.show,
    "recordings": recordings.show,
}
WEIGHED: dict[str, Callable[[Desk], Reply]] = {"probes": probes.show, "why": why.show, "sheet": sheet.show}


@pytest.mark.parametrize("code", ["en", "es"])
@pytest.mark.parametrize("name", NAMES[::4])
def test_every_page_of_a_call_is_sound_in_every_language(name: str, code: str) -> None:
    """Tags match, fields have labels, it has a title; and nothing is kept by looking."""
    at = desk(name, code=code)
    machine = at.call.machine
    judged = machine is not None and not machine.arrangement.recognised_only
    titles = set()
    for page, show in {**SHOWN, **(WEIGHED if judged else {"sheet": sheet.show})}.items():
        reply = show(at)
        assert Page(reply.html).faults == [], page
        assert not reply.append
        titles.add(reply.title)
    assert len(titles) == len(SHOWN) + (3 if judged else 1)


def test_pages_without_a_call_are_sound() -> None:
    """The list, the settings, a new call, and what works without a network."""
    for show in (calls.show, settings.show, new.show, offline.show):
        assert Page(show(desk()).html).faults == []


# -- calls --------------------------------------------------------------------------------------------------

ROWS: list[dict[str, Any]] = [
    {"id": "a", "title": "", "customer": "Café Uno", "state": "open", "updated": "2026-03-01T09:00:00+00:00"},
    {
        "id": "b",
        "customer": "Dos",
        "state": "repaired",
        "updated": "2026-03-02T09:00:00+00:00",
        "invented": True,
    },
    {"id": "c", "customer": "Tres", "state": "needed", "updated": "nonsense"},
]


def test_calls_are_found_by_any_of_their_words() -> None:
    """All words, in any order and case; nothing found is said; open ones come before those that are done."""
    every = calls.show(desk(calls=ROWS)).html
    assert [every.index(n) for n in ("Tres", "Café Uno", "Dos")] == sorted(
        every.index(n) for n in ("Tres", "Café Uno", "Dos")
    )
    found = calls.show(desk(calls=ROWS, query={"q": "UNO café"})).html
    assert "Café Uno" in found
    assert "Tres" not in found
    assert "Dos" not in found
    assert "Dos" in calls.show(desk(calls=ROWS, query={"q": "repaired"})).html
    assert "Café" not in calls.show(desk(calls=ROWS, query={"q": "uno dos"})).html


def test_a_new_call_begins_with_what_is_heard() -> None:
    """And the device's own meter; the machine of an earlier call comes over where it can be used."""
    own = Settings(meter="clamp", leads_nulled=True, shop="Ours")
    reply = new.take(desk(form={"heard": "hum", "words": "since noon", "customer": "X"}, settings=own))
    kinds = dict(kept(reply))
    assert list(kinds) == ["opened", "meter", "complaint"]
    assert (kinds["opened"]["shop"], kinds["opened"]["customer"]) == ("Ours", "X")
    assert (kinds["complaint"]["heard"], kinds["complaint"]["words"]) == ("hum", "since noon")
    assert reply.go == f"/call/{reply.id}/identify"
    earlier = {
        "machine": {"arrangement": "csir-current-relay"},
        "stamps": [["start_capacitor", "88-108 MFD"], "junk"],
    }
    reply = new.take(desk(form={"heard": "hum", "machine": json.dumps(earlier)}))
    assert [kind for kind, _ in kept(reply)] == ["opened", "complaint", "machine", "stamp"]
    assert reply.go == f"/call/{reply.id}"
    for broken in ("{", "{}", json.dumps({"machine": {"arrangement": "none such"}, "stamps": []})):
        assert (new.take(desk(form={"heard": "hum", "machine": broken})).go or "").endswith("/identify")
    with pytest.raises(FormRefused):
        new.take(desk(form={"heard": "a bang"}))


# -- settings -----------------------------------------------------------------------------------------------

CHOSEN = {
    "language": "es",
    "theme": "dark",
    "meter": "clamp",
    "shop": "Ours",
    "place": "eu",
    "leads_nulled": "1",
}


def test_settings_are_kept_as_chosen_and_nothing_else_is_taken() -> None:
    """Each field by its own name."""
    reply = settings.take(desk(form=CHOSEN))
    assert reply.settings == {**CHOSEN, "leads_nulled": True}
    assert (reply.status, reply.language) == (303, "es")
    bad = {"language": "xx", "theme": "pink", "meter": "spoon", "place": "moon", "shop": "x" * 301}
    for name, value in bad.items():
        with pytest.raises(FormRefused) as refusal:
            settings.take(desk(form={**CHOSEN, name: value}))
        assert refusal.value.field == name
    assert (
        settings.take(desk(form={**CHOSEN, "shop": "x" * 300, "meter": "", "place": ""})).settings is not None
    )


# -- the machine --------------------------------------------------------------------------------------------


def test_questions_lead_to_the_arrangements_that_fit() -> None:
    """One question at a time; an answer that is none counts as not given."""
    first = questions()[0]
    shown = Page(identify.show(desk("just-begun")).html)
    assert first.text in shown.text
    option = first.options[0].name
    fits = candidates({first.name: option})
    html = identify.show(desk("just-begun", query={first.name: option, "nonsense": "x"})).html
    assert Page(html).faults == []
    every = identify.show(desk("just-begun", query={"list": "1"})).html
    assert all(name in every for name in arrangements())
    assert set(fits) <= set(arrangements())


def test_the_arrangement_chosen_is_kept_with_what_else_fits() -> None:
    """And one that does not exist is refused with the nearest."""
    reply = identify.take(begun({"arrangement": "rsir-ptc", "fits": ["rsir-ptc", "csir-ptc", "junk"]}, HUMS))
    ((kind, given),) = kept(reply)
    assert (kind, given["arrangement"]) == ("machine", "rsir-ptc")
    assert given["also_fits"] == ["csir-ptc"]
    assert reply.go == "/call/c/plate"
    with pytest.raises(FormRefused, match="rsir-ptc"):
        identify.take(begun({"arrangement": "rsir-pct"}, HUMS))


def test_the_plate_keeps_only_what_was_changed() -> None:
    """A figure with its unit, a gas that was not read, a meter; each fault beside its own field."""
    reply = plate.take(
        begun({"volts": "230 V", "locked_rotor_amps": "12,5", "refrigerant": "not-sure"}, RSIR)
    )
    ((kind, given),) = kept(reply)
    assert kind == "machine"
    assert (given["volts"], given["locked_rotor_amps"], given.get("refrigerant", "")) == (230.0, 12.5, "")
    assert kept(plate.take(begun({"volts": "115", "refrigerant": "R134a"}, RSIR))) == []
    assert [k for k, _ in kept(plate.take(begun({"leads": "not-nulled", "lead_ohms": "0.3"}, RSIR)))] == [
        "meter"
    ]
    for form, field in (
        ({"volts": "OL"}, "volts"),
        ({"volts": "5 V"}, "volts"),
        ({"locked_rotor_amps": "many"}, "locked_rotor_amps"),
        ({"meter": "spoon"}, "meter"),
        ({"leads": "not-nulled", "lead_ohms": "x"}, "lead_ohms"),
    ):
        with pytest.raises(FormRefused) as refusal:
            plate.take(begun(form, RSIR))
        assert refusal.value.field == field, form
    stamped = plate.take_stamp(
        begun({"part": "overload_protector", "stamp": "X 4711", "back": "/call/c/plate"}, RSIR)
    )
    assert kept(stamped)[0][1]["text"] == "X 4711"


# -- answers ------------------------------------------------------------------------------------------------


def test_a_reading_goes_behind_its_safety_steps() -> None:
    """Refused before them, taken once confirmed or where it was taken already; a unit beside it counts."""
    form = {"probe": "ptc.ohms", "value": "5.1", "unit": "kohm", "warmth": "cold"}
    with pytest.raises(FormRefused, match="safety steps"):
        answers.take_reading(begun(form, RSIR, HUMS))
    ((kind, given),) = kept(answers.take_reading(begun({**form, "taken": "1"}, RSIR, HUMS)))
    assert (kind, given["probe"], given["value"], given["temperature"]) == (
        "reading",
        "ptc.ohms",
        "5.1 kohm",
        "cold",
    )
    done = answers.take_reading(begun({**form, "passed": "power-off-proved-dead"}, RSIR, HUMS))
    assert [k for k, _ in kept(done)] == ["gate", "reading"]
    with pytest.raises(FormRefused) as refusal:
        answers.take_reading(begun({**form, "value": "soon", "taken": "1"}, RSIR, HUMS))
    assert refusal.value.field == "value"
    looked = begun({**form, "press": "7"}, RSIR, HUMS)
    assert not answers.take_reading(looked).append


def test_unnamed_pins_lead_from_pair_to_pair() -> None:
    """Then back to the call."""
    one = answers.take_reading(begun({"probe": "pins.1-2", "value": "4.7", "taken": "1"}, RSIR))
    assert one.go == "/call/c?probe=pins.1-3"
    rest = [{"kind": "reading", "probe": p, "value": "4.7"} for p in ("pins.1-2", "pins.1-3")]
    last = answers.take_reading(begun({"probe": "pins.2-3", "value": "4.7", "taken": "1"}, RSIR, *rest))
    assert last.go == "/call/c"


def test_gates_skips_and_waits_are_kept_in_their_words() -> None:
    """Each goes back to the probe that was chosen."""
    gate = answers.take_gate(begun({"gate": "power-off-proved-dead", "chosen": "ptc.ohms", "now": "1"}, RSIR))
    assert kept(gate)[0][1]["gate"] == "power-off-proved-dead"
    assert gate.go == "/call/c?probe=ptc.ohms&now=1"
    skip = answers.take_skip(begun({"probe": "ptc.shake", "reason": "stuck"}, RSIR))
    assert kept(skip)[0][1] == {"probe": "ptc.shake", "reason": "stuck"}
    unsafe = kept(answers.take_skip(begun({"probe": "ptc.shake", "gate": "Power off"}, RSIR)))[0][1]
    assert unsafe["reason"] == "cannot be done safely here: Power off"
    assert kept(answers.take_wait(begun({"minutes": "12,5"}, RSIR))) == [("wait", {"minutes": 12.5})]
    for bad in ("soon", "-3", "nan"):
        with pytest.raises(FormRefused) as refusal:
            answers.take_wait(begun({"minutes": bad}, RSIR))
        assert refusal.value.field == "minutes"


@pytest.mark.parametrize(
    ("seconds", "taken"),
    [("1", True), ("21600", True), ("21601", False), ("0", False), ("-1", False), ("1e9", False)],
)
def test_a_timer_ends_at_a_time_in_its_address(seconds: str, taken: bool) -> None:
    """So that a reload loses nothing; nothing is kept."""
    at = begun({"seconds": seconds}, RSIR)
    if not taken:
        with pytest.raises(HumclickError):
            answers.take_timer(at)
        return
    reply = answers.take_timer(at)
    until = (reply.go or "").partition("until=")[2].replace("%2B", "+")
    assert datetime.fromisoformat(until) == NOW + timedelta(seconds=float(seconds))
    assert not reply.append


# -- decision, photos, pins ---------------------------------------------------------------------------------


def test_a_decision_needs_a_remedy_and_a_part_is_fitted_by_name() -> None:
    """What was decided is kept with its words."""
    with pytest.raises(FormRefused):
        decision.take_decision(begun({}, RSIR))
    made = decision.take_decision(begun({"remedy": ["replace starter"], "words": "agreed"}, RSIR, HUMS))
    assert kept(made) == [("decision", {"remedies": ["replace starter"], "words": "agreed"})]
    fitted = decision.take_fitted(begun({"part": "ptc", "note": "new"}, RSIR))
    assert kept(fitted) == [("fitted", {"part": "ptc", "note": "new"})]
    with pytest.raises(FormRefused):
        decision.take_fitted(begun({"part": "door"}, RSIR))


def test_the_verdict_names_the_part_that_is_due_first() -> None:
    """Of all that can be new; sealed parts are not among them, the compressor is."""
    given = decision.given(desk("broken-starter"))
    names = [name for name, _title, _first in given["parts"]]
    assert given["remedies"] == ("replace starter",)
    assert names[0] == "ptc"
    assert given["parts"][0][2]
    assert given["new_part"]
    assert "run_winding" not in names
    assert [d.part for d in given["demands"]] == ["ptc"]


def test_photos_keep_their_captions_and_marks() -> None:
    """A photo taken twice keeps its caption; a mark has a place in per cent and a label."""
    tables: list[dict[str, Any]] = [
        {"kind": "photo", "sha256": HASH, "caption": "cover"},
        {"kind": "photo", "sha256": HASH},
        {"kind": "mark", "sha256": HASH, "x": 10, "y": 20, "label": "C"},
    ]
    (shown,) = photos.photos_of(begun({}, *tables))
    assert (shown.caption, shown.width, [m.label for m in shown.marks]) == ("cover", 0, ["C"])
    mark = photos.take_mark(begun({"sha256": HASH, "x": "12,5", "y": "99", "words": "white wire"}, *tables))
    assert kept(mark)[0][1] == {"sha256": HASH, "x": 12.5, "y": 99.0, "label": "white wire"}
    for form, field in (
        ({"x": "here", "y": "1"}, "x"),
        ({"x": "1", "y": "2"}, "words"),
        ({"x": "101", "y": "1", "label": "C"}, "x"),
    ):
        with pytest.raises(FormRefused) as refusal:
            photos.take_mark(begun({"sha256": HASH, **form}, *tables))
        assert refusal.value.field == field
    with pytest.raises(FormRefused):
        photos.take(begun({}))


def test_pins_are_named_once_three_pairs_are_read() -> None:
    """Before that the pairs that are left are asked for."""
    names = ("pins.1-2", "pins.1-3", "pins.2-3")
    read: list[dict[str, Any]] = [
        {"kind": "reading", "probe": p, "value": v}
        for p, v in zip(names, ("4.7", "11.2", "15.9"), strict=True)
    ]
    some, all_ = (pins.show(begun({}, RSIR, *read[:n])).html for n in (1, 3))
    assert "probe=pins.1-3" in some
    assert "probe=pins.1-3" not in all_
    turned = pins.show(replace_query(begun({}, RSIR, *read), {"layout": "row", "over": "1"}))
    assert Page(turned.html).faults == []


def replace_query(at: Desk, query: dict[str, str]) -> Desk:
    """The same desk with something asked of the page."""
    return Desk(replace(at.request, query=query, method="GET"))


def test_what_if_leads_to_the_list_where_nothing_is_advised() -> None:
    """With a probe named, its outcomes are shown, the likeliest first; a machine is needed for either."""
    shown = why.show_what_if(replace_query(desk("just-begun"), {"probe": "ptc.shake"}))
    assert Page(shown.html).faults == []
    assert shown.title == "What if"
    assert why.show_what_if(replace_query(desk("broken-starter"), {})).title == "Choose a probe"
    with pytest.raises(Refused):
        probes.show(begun({}))


def test_a_recording_is_shown_with_how_it_moved_what_is_suspected() -> None:
    """Parts that moved, before and after; without a machine nothing is worked out."""
    event = {
        "kind": "recording",
        "of": "current",
        "heard": ["hum"],
        "causes": {"no_start_current": 0.0, "healthy": -6.0},
    }
    (taken,) = recordings.recordings_of(begun({}, RSIR, HUMS, event))
    assert taken.shifts
    starter = next(s for s in taken.shifts if "starter" in s.part.casefold())
    assert starter.after > starter.before
    (alone,) = recordings.recordings_of(begun({}, event))
    assert alone.shifts is None
