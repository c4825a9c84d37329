"""The JSON interface: described, idempotent, and refusing with a sentence."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import re
from pathlib import Path
from typing import Any

import msgspec
import pytest

from humclick.errors import Refused
from humclick.jobs import call_file
from humclick.jobs.result import AdviceResult
from humclick.messages import Message, from_data
from humclick.web.engine import answer as answer_of
from humclick.web.listening import recording_json
from humclick.web.photos import cleaned
from humclick.web.store import Store
from tests.web.bench import EVENTS, EXAMPLES, Client, client, picture


def begun(folder: Path) -> Client:
    """A server with one call as a phone sent it."""
    asked = client(folder)
    assert asked("POST", "/api/calls/c1/events", json={"events": EVENTS}).status_code == 200
    return asked


def test_every_path_is_described(tmp_path: Path) -> None:
    """The OpenAPI description names each path with a summary, and no page."""
    found = client(tmp_path)("GET", "/api/openapi.json").json()
    assert found["openapi"].startswith("3.")
    assert {"/api/calls", "/api/calls/{name}/events", "/api/photos/{sha256}"} <= set(found["paths"])
    for path, methods in found["paths"].items():
        assert path.startswith("/api/")
        assert all(each["summary"] for each in methods.values())


def test_events_go_in_and_come_out(tmp_path: Path) -> None:
    """What is posted is listed, read back as it was, and posting it again adds nothing."""
    asked = begun(tmp_path)
    again = asked("POST", "/api/calls/c1/events", json={"events": EVENTS}).json()
    assert (again["added"], again["conflicts"]) == (0, [])
    call = asked("GET", "/api/calls/c1").json()
    assert call["events"] == EVENTS
    assert call["summary"]["id"] == "c1"
    listed = asked("GET", "/api/calls").json()["calls"]
    assert [(each["id"], each["version"]) for each in listed] == [("c1", again["version"])]
    assert call["version"] == again["version"]


def test_two_phones_end_with_the_same_call(tmp_path: Path) -> None:
    """Whatever order two phones send in, the server holds the union."""
    one, two = client(tmp_path / "one"), client(tmp_path / "two")
    note = {"kind": "note", "id": "n1", "at": "2026-03-02T09:10:00+01:00", "text": "from the other phone"}
    for asked, parts in ((one, [EVENTS, [note]]), (two, [[note], EVENTS])):
        for part in parts:
            asked("POST", "/api/calls/c1/events", json={"events": part})
    versions = {asked("GET", "/api/calls/c1").json()["version"] for asked in (one, two)}
    assert len(versions) == 1


def test_advice_has_the_shape_it_says(tmp_path: Path) -> None:
    """The advice on a call is that of the command line, and reads back as its type."""
    asked = begun(tmp_path)
    advice = asked("GET", "/api/calls/c1/advice?why=true")
    result = msgspec.json.decode(advice.content, type=AdviceResult, dec_hook=lambda _, text: Message.of(text))
    assert result.machine.arrangement == "rsir-ptc"
    assert result.kind in ("probe", "wait", "verdict")
    assert result.explanation is not None
    told = advice.json()["messages"][result.explanation.sentence]
    assert from_data(told) == result.explanation.sentence
    assert asked("GET", "/api/schema/advice").json()["$defs"]
    assert asked("GET", "/api/schema/call").json()["title"] == "A call"


def test_photos_are_kept_by_hash(tmp_path: Path) -> None:
    """A clean photo is put under its hash; a raw one is handed over to be cleaned."""
    asked = client(tmp_path)
    clean = cleaned(picture())
    digest = hashlib.sha256(clean).hexdigest()
    assert asked("PUT", f"/api/photos/{digest}", content=clean).json()["width"] == 640
    assert asked("PUT", f"/api/photos/{digest}", content=clean).status_code == 200
    assert asked("GET", f"/api/photos/{digest}").content == clean
    assert asked("PUT", f"/api/photos/{'0' * 64}", content=clean).status_code == 422
    raw = asked("POST", "/api/photos", content=picture(3000, 3000)).json()
    assert asked("GET", f"/api/photos/{raw['sha256']}").headers["content-type"] == "image/jpeg"
    assert asked("PUT", f"/api/photos/{digest}", content=b"<html>").status_code == 422


def clamp_log() -> bytes:
    """A log of a start that hums and trips, again and again. Invented."""
    rows = ["time (s),current (A)"]
    for tenth in range(600):
        hums = (tenth / 10.0) % 20 < 6 and tenth >= 20
        rows.append(f"{tenth / 10.0:.1f},{12.0 if hums else 0.0:.2f}")
    return "\n".join(rows).encode()


def test_a_recording_of_a_start_becomes_evidence(tmp_path: Path) -> None:
    """A clamp's log is read into the call as one event, by the interface and by a plain form alike."""
    asked = begun(tmp_path)
    event = asked("POST", "/api/calls/c1/recordings?file=start.csv", content=clamp_log()).json()["event"]
    assert (event["kind"], event["of"], event["name"]) == ("recording", "current", "start.csv")
    assert set(event["heard"]) == {"hum_click"}
    files = {"recording": ("start.csv", clamp_log(), "text/csv")}
    answer = asked("POST", "/call/c1/recordings", files=files)
    assert (answer.status_code, answer.headers["location"]) == (303, "/call/c1/recordings")
    kept = asked("GET", "/api/calls/c1").json()["events"]
    assert [each["kind"] for each in kept].count("recording") == 2
    for content in (b"", b"nothing", b"RIFF"):
        assert asked("POST", "/api/calls/c1/recordings", content=content).status_code == 422


def test_the_browser_reads_a_recording_the_same_way() -> None:
    """What the worker calls gives the event the server gives."""
    given = {"name": "start.csv", "events": EVENTS, "now": "2026-03-02T09:30:00+01:00", "device": "phone"}
    event = json.loads(recording_json(memoryview(clamp_log()), json.dumps(given)))
    assert event["heard"][0] == "hum_click"
    assert event["at"] == given["now"]


def test_a_call_goes_from_shop_to_shop_with_its_photos(tmp_path: Path) -> None:
    """A parcel of one server, taken in by another, gives the same call and the same photos."""
    here, there = begun(tmp_path / "here"), client(tmp_path / "there")
    digest = here("POST", "/api/photos", content=picture()).json()["sha256"]
    photo = {"kind": "photo", "id": "p1", "at": "2026-03-02T09:05:00+01:00", "sha256": digest}
    here("POST", "/api/calls/c1/events", json={"events": [photo]})
    parcel = here("GET", "/api/calls/c1/parcel")
    assert parcel.headers["content-type"] == "application/zip"
    taken = there("POST", "/api/import", content=parcel.content).json()
    assert taken == {"id": "c1", "added": 5, "photos": 1, "conflicts": [], "unread": []}
    assert there("POST", "/api/import", content=parcel.content).json()["added"] == 0
    assert there("GET", "/api/calls/c1").json()["events"] == here("GET", "/api/calls/c1").json()["events"]
    assert there("GET", f"/api/photos/{digest}").content == here("GET", f"/api/photos/{digest}").content


def test_the_sheet_comes_as_a_page_that_fetches_nothing(tmp_path: Path) -> None:
    """The HTML sheet has a policy of its own that allows its one style by hash and nothing else."""
    asked = client(tmp_path, examples=EXAMPLES)
    sheet = asked("GET", "/api/calls/example-broken-starter/sheet.html?paper=A4")
    assert sheet.status_code == 200
    assert "style-src 'sha256-" in sheet.headers["content-security-policy"]
    assert "'self'" not in sheet.headers["content-security-policy"]
    assert asked("GET", "/api/calls/example-broken-starter/sheet.html?paper=A9").status_code == 422


@pytest.mark.skipif(importlib.util.find_spec("weasyprint") is None, reason="no typesetter is installed")
def test_the_sheet_comes_as_pdf(tmp_path: Path) -> None:
    """The PDF sheet is a PDF."""
    asked = client(tmp_path, examples=EXAMPLES)
    pdf = asked("GET", "/api/calls/example-broken-starter/sheet.pdf")
    assert (pdf.status_code, pdf.content[:5]) == (200, b"%PDF-")


@pytest.mark.parametrize(
    ("method", "path", "given", "status"),
    [
        ("GET", "/api/calls/none", {}, 404),
        ("GET", "/api/calls/UPPER", {}, 422),
        ("GET", "/api/nothing", {}, 404),
        ("POST", "/api/calls/c1/events", {"json": {"events": {"kind": "wait"}}}, 422),
        ("POST", "/api/calls/c1/events", {"json": {"events": [{}] * 1001}}, 422),
        ("POST", "/api/calls/c1/events", {"content": b"\xff{"}, 422),
        ("POST", "/api/calls/-/events", {"json": {"events": EVENTS}}, 422),
        ("POST", "/api/import", {"content": b""}, 422),
        ("POST", "/api/import", {"content": b"PK\x03\x04"}, 422),
        ("GET", "/api/calls/c2/advice", {}, 422),
        ("POST", "/api/photos", {"content": b"nothing"}, 422),
        ("GET", "/api/photos/nothing", {}, 422),
    ],
)
def test_what_cannot_be_done_is_refused(
    tmp_path: Path, method: str, path: str, given: dict[str, Any], status: int
) -> None:
    """Refusals have a status of the four hundreds and say why."""
    asked = client(tmp_path)
    asked("POST", "/api/calls/c2/events", json={"events": EVENTS[:1]})
    answer = asked(method, path, **given)
    assert answer.status_code == status
    assert len(json.dumps(answer.json())) > 20


def test_a_damaged_call_stands_in_the_list_and_hides_no_other(tmp_path: Path) -> None:
    """One broken file is named as such; the rest of the shop goes on."""
    asked = begun(tmp_path)
    (Store.at(tmp_path).folder / "calls" / "c0.toml").write_text("humclick_call = nonsense")
    listed = {each["id"]: each for each in asked("GET", "/api/calls").json()["calls"]}
    assert listed["c0"]["state"] == "damaged"
    assert listed["c1"]["state"] != "damaged"
    assert asked("GET", "/").status_code == 200
    assert asked("GET", "/call/c0").status_code == 503


def test_each_event_has_its_own_answer(tmp_path: Path) -> None:
    """One bad event is refused by its id and holds up no other; what is there already counts as kept."""
    asked = begun(tmp_path)
    note = {"kind": "note", "id": "n1", "at": "2026-03-02T09:10:00+01:00", "text": "kept"}
    bad: list[Any] = [
        {**note, "id": "b1", "text": ""},
        {**note, "id": "b2", "kind": "later"},
        {**note, "id": "b3", "turn": 2**62},
        {**note, "id": "b4", "of": "e1"},
        {"kind": "note"},
        {**EVENTS[3], "value": "another"},
        7,
        {**note, "id": ["b5"]},
    ]
    answer = asked("POST", "/api/calls/c1/events", json={"events": [*bad, note, EVENTS[0]]})
    results = answer.json()["results"]
    assert answer.status_code == 200
    assert [result["kept"] for result in results] == [False] * len(bad) + [True, True]
    assert [result["id"] for result in results[:4]] == ["b1", "b2", "b3", "b4"]
    assert all(bool(result["error"]) != result["kept"] for result in results)
    for result, says in zip(
        results, ("text", "kind", "turn", "of", "id", "another", "kind", "id"), strict=False
    ):
        assert says in result["error"]
    kept = {event["id"]: event for event in asked("GET", "/api/calls/c1").json()["events"]}
    assert set(kept) == {"e1", "e2", "e3", "e4", "n1"}
    assert kept["e4"] == EVENTS[3]


def test_a_call_that_is_full_takes_what_there_is_room_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The events beyond the last are refused each by itself, and say so."""
    monkeypatch.setattr(call_file, "MOST_EVENTS", 6)
    asked = begun(tmp_path)
    notes = [{**EVENTS[0], "kind": "note", "id": f"n{n}", "text": "x"} for n in range(4)]
    for note in notes:
        note.pop("customer"), note.pop("invented")
    results = asked("POST", "/api/calls/c1/events", json={"events": notes}).json()["results"]
    assert [result["kept"] for result in results] == [True, True, False, False]
    assert "begin a new call" in results[-1]["error"]


#: What the disk may do, and where.
TROUBLE: list[tuple[str, Any]] = [
    ("humclick.jobs.on_disk.os.write", OSError(28, "No space left on device")),
    ("humclick.jobs.on_disk.os.fsync", OSError(5, "Input/output error")),
    ("humclick.jobs.on_disk.os.open", OSError(30, "Read-only file system")),
    ("humclick.jobs.on_disk.tempfile.mkstemp", OSError(30, "Read-only file system")),
    ("humclick.jobs.on_disk.tempfile.mkstemp", OSError(24, "Too many open files")),
]


@pytest.mark.parametrize(("where", "error"), TROUBLE)
@pytest.mark.parametrize("new", [False, True])
def test_trouble_with_the_disk_is_no_fault_of_what_was_sent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str, error: OSError, new: bool
) -> None:
    """Events and photos that cannot be written now are answered 503 as JSON, and go in once it is mended."""
    asked, name = begun(tmp_path), "c2" if new else "c1"
    note = {"kind": "note", "id": "n1", "at": "2026-03-02T09:10:00+01:00", "text": "kept"}
    clean = cleaned(picture())
    photo = f"/api/photos/{hashlib.sha256(clean).hexdigest()}"

    def refuse(*_: object, **__: object) -> None:
        raise error

    with monkeypatch.context() as broken:
        broken.setattr(where, refuse)
        events = asked("POST", f"/api/calls/{name}/events", json={"events": [note]})
        pictures = asked("PUT", photo, content=clean)
    touched = [events] if new or "mkstemp" not in where else []
    touched += [pictures] if "mkstemp" in where or "fsync" in where else []
    assert touched
    for answer in touched:
        assert answer.status_code == 503
        assert answer.json()["error"]
        assert "results" not in answer.json()
    again = asked("POST", f"/api/calls/{name}/events", json={"events": [note]}).json()
    assert again["results"] == [{"id": "n1", "kept": True, "error": ""}]
    assert asked("PUT", photo, content=clean).json()["sha256"] == photo[-64:]


@pytest.mark.parametrize("damage", [b"humclick_call = nonsense", b"", b"\0" * 20, b"humclick_call = 2\n"])
def test_a_damaged_file_refuses_no_event_for_good(tmp_path: Path, damage: bytes) -> None:
    """While a call's file cannot be read, what is sent to it is answered 503; after the repair it is kept."""
    asked = begun(tmp_path)
    path = tmp_path / "calls" / "c1.toml"
    sound = path.read_bytes()
    note = {"kind": "note", "id": "n1", "at": "2026-03-02T09:10:00+01:00", "text": "kept"}
    path.write_bytes(damage)
    answer = asked("POST", "/api/calls/c1/events", json={"events": [note]})
    if damage:
        assert answer.status_code == 503
        assert asked("GET", "/api/calls/c1").status_code == 503
        assert path.read_bytes() == damage
    path.write_bytes(sound)
    again = asked("POST", "/api/calls/c1/events", json={"events": [note]}).json()
    assert again["results"][0]["kept"]
    assert len(asked("GET", "/api/calls/c1").json()["events"]) == 5


@pytest.mark.parametrize("broken", ["\ud800", "x\udfff", "\udc80y"])
def test_half_a_letter_is_refused_wherever_it_comes_in(tmp_path: Path, broken: str) -> None:
    """A lone surrogate in any text, key or depth of an event is refused with a word, and never a failure."""
    asked, as_json = begun(tmp_path), {"content-type": "application/json"}
    plain: dict[str, Any] = {"kind": "note", "id": "n1", "at": "2026-03-02T09:10:00Z", "text": "x"}
    tables: list[dict[str, Any]] = [
        *({**plain, name: broken} for name in ("kind", "id", "at", "device", "turn", "text")),
        {**plain, broken: "x"},
        {**plain, "text": [broken]},
        {**plain, "kind": "meter", "own": {"name": broken}},
        {**plain, "kind": "meter", "own": {broken: {"a": [{"b": broken}]}}},
        {**plain, "kind": "recording", "of": broken, "heard": [broken], "causes": {broken: -1}},
        {**plain, "kind": "decision", "remedies": [broken]},
    ]
    for table in tables:
        body = json.dumps({"events": [table]})
        answer = asked("POST", "/api/calls/c1/events", content=body, headers=as_json)
        assert answer.status_code == 200
        assert not answer.json()["results"][0]["kept"]
        given = {"path": "/call/c1/record", "call": {"id": "c1", "events": [*EVENTS, table]}}
        try:
            reply = json.loads(answer_of(json.dumps(given)))
        except Refused:
            continue  # the request as a whole is not text
        assert reply["status"] == 200
    for path in ("/api/calls/c1/events", "/api/calls/c9/events"):
        for body in (json.dumps({"events": broken}), json.dumps({broken: []}), json.dumps(broken)):
            assert asked("POST", path, content=body, headers=as_json).status_code == 422
    for form in ("text=%ED%A0%80", "text=%ED%A0%80&of=%ED%B0%80"):
        headers = {"content-type": "application/x-www-form-urlencoded"}
        assert asked("POST", "/call/c1/note", content=form, headers=headers).status_code in (303, 422)
    file = 'humclick_call = 1\n[[event]]\nkind = "note"\ntext = "\\ud800"\n'
    assert asked("POST", "/api/import", content=file).status_code == 422
    assert len(asked("GET", "/api/calls/c1").json()["events"]) <= 6


def test_a_gate_passed_on_one_desk_holds_on_no_other(tmp_path: Path) -> None:
    """Each browser has a name of its own, script or none, and is asked for its own safety steps."""
    first = begun(tmp_path)
    second = client(tmp_path)
    path = "/call/c1?probe=supply.volts"
    assert "kind-gate" in first("GET", path).text
    while "kind-gate" in (page := first("GET", path).text):
        gate = re.search(r'name="gate" value="([^"]+)"', page)
        assert gate is not None
        first("POST", "/call/c1/gate", data={"gate": gate[1], "probe": "supply.volts"})
    assert "kind-gate" in second("GET", path).text
    named = {"x-humclick-device": "phone-1"}
    assert "kind-gate" in first("GET", path, headers=named).text
    devices = {event.get("device") for event in first("GET", "/api/calls/c1").json()["events"]}
    assert len(devices - {None}) == 1
    assert {client(tmp_path)("GET", "/").cookies["humclick-device"] for _ in range(3)} != devices


@pytest.mark.parametrize("turn", [{}, {"turn": 1}, {"turn": 5000}, {"turn": 2**31 - 1}])
def test_no_single_event_stops_a_call(tmp_path: Path, turn: dict[str, int]) -> None:
    """After an event of the last moment there is, at any turn, pages go on taking entries and undo."""
    asked = begun(tmp_path)
    far = {"kind": "note", "id": "far", "at": "2200-12-31T23:59:59.999999Z", "text": "far", **turn}
    assert asked("POST", "/api/calls/c1/events", json={"events": [far]}).json()["results"][0]["kept"]
    for text in ("one", "two"):
        assert asked("POST", "/call/c1/note", data={"text": text}).status_code == 303
    assert asked("POST", "/call/c1/undo").status_code == 303
    events = asked("GET", "/api/calls/c1").json()["events"]
    undo = next(event for event in events if event["kind"] == "undo")
    assert next(event for event in events if event["id"] == undo["of"])["text"] == "two"
    assert undo["at"] < "2200"
