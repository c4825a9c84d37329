"""
The JSON interface: calls, events, advice, photographs, parcels and sheets.

It is described at ``/api/openapi.json``. Events are tables as `humclick.jobs.schema.call_schema` has them.
Posting them is idempotent: what is there already is passed over, so a phone may send again whatever it is not
sure of.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from typing import Annotated, Any
from urllib.parse import unquote

from fastapi import APIRouter, Body, Path, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse, Response

from humclick import __version__
from humclick.errors import HumclickError, Refused, Unknown, printable
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import PhotoTaken
from humclick.jobs.fold import fold
from humclick.jobs.schema import call_schema
from humclick.limits import EVENTS_AT_ONCE
from humclick.messages import Message
from humclick.web.asked import language_chosen, said_to
from humclick.web.exchange import plain_table
from humclick.web.office import Office
from humclick.web.parcel import pack
from humclick.web.photos import MEDIA_TYPES, PhotoKept
from humclick.web.store import Store, call_id, version_of

router = APIRouter(prefix="/api")

CallId = Annotated[str, Path(pattern=r"^[a-z0-9][a-z0-9-]{0,63}$", description="Id of the call.")]
Sha256 = Annotated[str, Path(pattern=r"^[0-9a-f]{64}$", description="SHA-256 of the photo's bytes.")]
#: Most events in one request.
MOST_AT_ONCE = EVENTS_AT_ONCE
#: Cookie that names the device.
DEVICE = "humclick-device"
_DEVICE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_STYLE = re.compile(r"<style[^>]*>(.*?)</style>", re.DOTALL)
_BINARY: dict[str, Any] = {
    "requestBody": {"required": True, "content": {"application/octet-stream": {"schema": {"type": "string"}}}}
}


def device_of(request: Request) -> str:
    """Which phone or desk asks: as its script says, else as its cookie says; empty where neither does."""
    name = unquote(request.headers.get("x-humclick-device", "")) or request.cookies.get(DEVICE, "")
    return name if _DEVICE.fullmatch(name) else ""


def _office(request: Request) -> Office:
    office = request.app.state.office
    assert isinstance(office, Office)
    return office


def _store(request: Request) -> Store:
    return _office(request).store


def _known(request: Request, name: str) -> Store:
    store = _store(request)
    if not store.has(name):
        raise Unknown(Message("call"), name, store.ids()[:20])
    return store


@router.get("/about", summary="Version of the program")
def about() -> dict[str, str]:
    """The program's name and version."""
    return {"program": "Hum & Click", "version": __version__}


@router.get("/schema/{what}", summary="JSON Schema of a call or of advice")
def schema_named(what: Annotated[str, Path(pattern="^(call|advice)$")]) -> dict[str, Any]:
    """The shape of a call's content, or of the advice on one."""
    from humclick.jobs.result import advice_schema

    return call_schema() if what == "call" else advice_schema()


@router.get("/calls", summary="Every call's line in the list")
def calls(request: Request) -> dict[str, Any]:
    """Summaries, the call written last first; ``version`` changes whenever a call has new events."""
    return {"calls": _office(request).summaries()}


@router.get("/calls/{name}", summary="One call with its events")
def call_with_events(request: Request, name: CallId) -> dict[str, Any]:
    """The events in the order of the call file, and the hashes of those of its photos that are here."""
    store = _known(request, name)
    events = store.events(name)
    return {
        "id": name,
        "version": version_of(event.id for event in events),
        "events": [plain_table(event) for event in events],
        "photos": [e.sha256 for e in events if isinstance(e, PhotoTaken) and store.has_photo(e.sha256)],
        "summary": _office(request).summary(name),
    }


@router.post("/calls/{name}/events", summary="Append events; what is there already is passed over")
def append(
    request: Request,
    name: CallId,
    events: Annotated[list[Any], Body(embed=True, max_length=MOST_AT_ONCE)],
) -> dict[str, Any]:
    """
    The union of what is kept and what is sent. The call is begun if it is new.

    ``results`` says of each event, by its ``id``, whether it is ``kept`` now, and if not, in ``error`` why:
    one that is refused holds up no other. ``conflicts`` lists ids under which another event is kept; that one
    stays. 503 if the store cannot keep anything now: send again later.
    """
    results: list[dict[str, Any]] = []
    sound = []
    for table in events:
        event = table if isinstance(table, dict) else {}
        name_given = str(event.get("id", ""))[:64].encode("ascii", "backslashreplace").decode()
        results.append({"id": name_given, "kept": False, "error": ""})
        try:
            sound.append(event_from(event))
        except HumclickError as error:
            results[-1]["error"] = error.message
    call_id(name)
    done = _store(request).take(name, sound)
    others = {**done.refused, **dict.fromkeys(done.conflicts, Message("another event is kept under this id"))}
    for result in results:
        why = result["error"] or others.get(result["id"], "")
        result["kept"], result["error"] = not why, printable(said_to(request.headers, why))
    return {
        "added": done.added,
        "version": done.version,
        "conflicts": list(done.conflicts),
        "results": results,
    }


@router.get("/calls/{name}/advice", summary="Advice on a call as it stands")
def advice(
    request: Request, name: CallId, why: Annotated[bool, Query(description="Explain each reading.")] = False
) -> Response:
    """What ``humclick advise --json`` says; its shape is at ``/api/schema/advice``."""
    from humclick.diagnosis.shop import default_shop
    from humclick.jobs.result import as_json, result_of

    result = result_of(fold(_known(request, name).events(name)), default_shop(), why=why)
    return Response(as_json(result), media_type="application/json")


@router.post(
    "/calls/{name}/recordings", summary="Read a recording of a start into a call", openapi_extra=_BINARY
)
async def record(request: Request, name: CallId, file: str = "recording.csv") -> dict[str, Any]:
    """A clamp's log (CSV) or a WAV file; ``file`` is its name. The event that was appended comes back."""
    data = await request.body()
    table = await run_in_threadpool(_office(request).record, name, data, file, device_of(request))
    return {"event": table}


@router.get("/photos/{sha256}", summary="A photo")
def photo(request: Request, sha256: Sha256) -> Response:
    """The bytes as kept."""
    path = _store(request).photo(sha256)
    return Response(path.read_bytes(), media_type=MEDIA_TYPES[path.suffix])


@router.put("/photos/{sha256}", summary="Keep a photo under the hash of its bytes", openapi_extra=_BINARY)
async def put_photo(request: Request, sha256: Sha256) -> dict[str, Any]:
    """JPEG, PNG or WebP, already scaled and without a camera's notes; sending it again changes nothing."""
    data = await request.body()
    photo = await run_in_threadpool(_office(request).keep_photo, data, sha256)
    return {"sha256": photo.sha256, "width": photo.width, "height": photo.height}


@router.post("/photos", summary="Keep a photo as it comes from the camera", openapi_extra=_BINARY)
async def post_photo(request: Request) -> dict[str, Any]:
    """It is set upright, scaled, and freed of where and when it was taken; the answer says its hash."""
    data = await request.body()
    photo = await run_in_threadpool(lambda: _office(request).keep_photo(data, clean=True))
    return {"sha256": photo.sha256, "width": photo.width, "height": photo.height}


@router.get("/calls/{name}/parcel", summary="The call with its photos as one zip file")
def parcel(request: Request, name: CallId) -> Response:
    """``call.toml`` and the photos by their hashes."""
    store = _known(request, name)
    events = store.events(name)
    photos = {}
    for taken in fold(events).photos:
        try:
            photos[taken.sha256] = store.photo(taken.sha256).read_bytes()
        except Unknown:
            continue
    headers = {"Content-Disposition": f'attachment; filename="call-{name}.zip"'}
    return Response(pack(name, events, photos), headers=headers, media_type="application/zip")


@router.post("/import", summary="Take in a parcel or a call file", openapi_extra=_BINARY)
async def take_in(request: Request) -> dict[str, Any]:
    """The call is merged with one of the same id; a call file by itself gets an id of its content."""
    data = await request.body()
    return await run_in_threadpool(taken_in, _office(request), data)


def taken_in(office: Office, data: bytes) -> dict[str, Any]:
    """
    Keep what a parcel or a call file holds; ``unread`` names entries in it that this version cannot read.

    Refused, and nothing kept, if it cannot be read or a photo in it is not one.
    """
    text, photos = office.room.do("parcel", data)
    call = json.loads(text)
    if not call["events"]:
        raise Refused(Message("there are no events in this call"))
    name = call_id(call["id"])
    for photo, looked in photos:
        office.store.keep_photo(photo, looked=PhotoKept(*looked))
    readable, unread = [], []
    for table in call["events"]:
        try:
            event_from(table)
            readable.append(table)
        except HumclickError:
            unread.append(str(table.get("id", ""))[:64])
    done = office.store.append(name, readable)
    return {
        "id": name,
        "added": done.added,
        "photos": len(photos),
        "conflicts": list(done.conflicts),
        "unread": unread,
    }


@router.get("/calls/{name}/sheet.html", summary="The job sheet as one page to print")
def sheet_to_print(request: Request, name: CallId, paper: str = "", lang: str = "") -> Response:
    """
    Self-contained; ``paper`` is ``A4``, ``Letter`` or left to the printer.

    ``lang`` is the code of a language, such as ``es``; without it the one the browser asks for.
    """
    from humclick.jobs.sheet.render import PAPERS, sheet_html

    if paper and paper not in PAPERS:
        raise Refused(
            Message("paper must be {papers:or}, got {paper}", papers=tuple(PAPERS), paper=ascii(paper)[:20])
        )
    spoken = language_chosen(request.headers, lang)
    html = sheet_html(fold(_known(request, name).events(name)), paper=paper, language=spoken)
    digests = (base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in _STYLE.findall(html))
    styles = " ".join(f"'sha256-{digest}'" for digest in digests) or "'none'"
    csp = f"default-src 'none'; style-src {styles}; img-src data:; base-uri 'none'; frame-ancestors 'none'"
    return Response(html, headers={"Content-Security-Policy": csp}, media_type="text/html")


@router.get("/calls/{name}/sheet.pdf", summary="The job sheet as PDF")
def sheet_on_paper(request: Request, name: CallId, paper: str = "A4", lang: str = "") -> Response:
    """Three pages: customer, technician, parts counter; ``lang`` as in HTML. 501 without a typesetter."""
    tables = [plain_table(event) for event in _known(request, name).events(name)]
    spoken = language_chosen(request.headers, lang)
    try:
        data = _office(request).room.do("sheet", json.dumps(tables), paper, spoken)
    except Refused as error:
        if isinstance(error.__cause__, ImportError | OSError):
            return JSONResponse({"error": printable(said_to(request.headers, error.message))}, 501)
        raise
    headers = {"Content-Disposition": f'inline; filename="sheet-{name}.pdf"'}
    return Response(data, headers=headers, media_type="application/pdf")
