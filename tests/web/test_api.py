"""The JSON interface: described, idempotent, and refusing with a sentence."""

from __future__ import annotations

import hashlib
import importlib.util
import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from humclick.jobs.result import AdviceResult
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
    result = msgspec.json.decode(advice.content, type=AdviceResult)
    assert result.machine.arrangement == "rsir-ptc"
    assert result.kind in ("probe", "wait", "verdict")
    assert result.explanation is not None
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
    assert taken == {"id": "c1", "added": 5, "photos": 1, "conflicts": []}
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
        ("POST", "/api/calls/c1/events", {"content": b'{"events": "\\ud800"}'}, 422),
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
