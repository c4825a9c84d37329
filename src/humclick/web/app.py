"""
The server: the pages, their files, and the JSON interface beside them.

Every page is one question to `humclick.web.engine.answer`, the same that a phone asks itself when there is no
network. A form works without any script: it is kept, and the browser is sent on. The page's own script asks
with the header ``X-Humclick-Part``, and gets the engine's reply as JSON to put into the page that stands.
"""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.staticfiles import NotModifiedResponse

from humclick import __version__
from humclick.errors import HumclickError, StorageTrouble, Unknown
from humclick.limits import FORM_FIELDS, FORM_FILES
from humclick.web.api import DEVICE, device_of, router, taken_in
from humclick.web.asked import COOKIE, language_asked, settings_of
from humclick.web.assets import Asset, Assets, assets
from humclick.web.exchange import Reply
from humclick.web.guard import Guard
from humclick.web.language import language
from humclick.web.nets import NETS, refusal
from humclick.web.notices import words_script
from humclick.web.office import Office
from humclick.web.offline.build import BUILT
from humclick.web.pages.frame import document, header
from humclick.web.photos import MEDIA_TYPES

#: Header of the page's own script: hand over the engine's reply as it is.
PART = "x-humclick-part"
_STATIC = Path(__file__).resolve().parent / "static"
_A_YEAR = 31_536_000
_FOR_GOOD = "public, max-age=31536000, immutable"
_ANEW = "no-cache"
_NO_FILES = Assets({}, "", "", "", True)


def create_app(
    office: Office,
    *,
    static: Path | None = None,
    built: Path = BUILT,
    names: Iterable[str] = (),
    authority: Path | None = None,
) -> FastAPI:
    """
    The application, with the program's own files and runtime unless others are given.

    ``names`` are further ones under which the server is asked, as behind a reverse proxy; ``authority`` is
    the certificate handed out at ``/authority.crt``.
    """
    pages = {"/shell": hashlib.sha256(_document({}, {}, _NO_FILES).encode()).hexdigest()}
    files = assets(static or _STATIC, built, pages, {"words.js": words_script()})
    app = FastAPI(
        title="Hum & Click",
        version=__version__,
        description="Calls, their events, advice, photographs and sheets of a shop.",
        docs_url=None,  # its page fetches scripts from elsewhere
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    app.state.office = office
    app.state.offline = files.offline
    app.add_middleware(Guard, names=tuple(names))
    app.include_router(router)

    _say_refusals(app)
    _add_own_files(app, files, authority)
    _add_uploads(app, office)
    _add_pages(app, office, files)
    return app


def _say_refusals(app: FastAPI) -> None:
    """Whatever is refused is said in words, on a page or as JSON."""

    @app.exception_handler(HumclickError)
    async def refused(request: Request, error: HumclickError) -> Response:
        status = 404 if isinstance(error, Unknown) else 503 if isinstance(error, StorageTrouble) else 422
        return refusal(request, error.message, status)

    @app.exception_handler(RequestValidationError)
    async def not_of_the_shape(request: Request, error: RequestValidationError) -> Response:
        faults = (f"{'.'.join(map(str, fault['loc']))}: {fault['msg']}" for fault in error.errors()[:5])
        return refusal(request, "; ".join(faults), 422)

    @app.exception_handler(StarletteHTTPException)
    async def refused_plainly(request: Request, error: StarletteHTTPException) -> Response:
        return refusal(request, str(error.detail), error.status_code)

    for kind, answered in NETS.items():
        app.add_exception_handler(kind, answered)


def _add_own_files(app: FastAPI, files: Assets, authority: Path | None) -> None:
    """The service worker, the shop's authority, and the shell that stands while there is no network."""

    @app.get("/sw.js", include_in_schema=False)
    def service_worker() -> Response:
        return Response(files.service_worker, 200, {"Cache-Control": _ANEW}, "text/javascript")

    @app.get("/authority.crt", include_in_schema=False)
    def authority_certificate() -> Response:
        if authority is None:
            return PlainTextResponse("this server has no authority of its own", 404)
        return Response(authority.read_bytes(), media_type="application/x-x509-ca-cert")

    @app.get("/shell", include_in_schema=False)
    def empty(request: Request) -> Response:
        settings = settings_of(request.headers)
        words = str(settings.get("language") or language_asked(request.headers))
        return HTMLResponse(_document({"language": words}, settings, files), headers={"Cache-Control": _ANEW})


def _add_uploads(app: FastAPI, office: Office) -> None:
    """Photographs, parcels and recordings."""

    @app.get("/photos/{sha256}", include_in_schema=False)
    def photo(sha256: str) -> Response:
        path = office.store.photo(sha256)
        headers = {"Cache-Control": "private, max-age=31536000, immutable"}
        return Response(path.read_bytes(), 200, headers, MEDIA_TYPES[path.suffix])

    @app.post("/import", include_in_schema=False)
    async def take_in(request: Request) -> Response:
        data, _name = await _file_in(request)
        done = await run_in_threadpool(taken_in, office, data)
        return _onward(request, f"/call/{done['id']}")

    @app.post("/call/{name}/recordings", include_in_schema=False)
    async def recording(request: Request, name: str) -> Response:
        data, file = await _file_in(request)
        await run_in_threadpool(office.record, name, data, file, device_of(request))
        return _onward(request, f"/call/{name}/recordings")


def _add_pages(app: FastAPI, office: Office, files: Assets) -> None:
    """Every page and every file of the pages."""

    @app.api_route("/{path:path}", methods=["GET", "POST"], include_in_schema=False)
    async def page(request: Request, path: str) -> Response:
        if path.startswith("api/"):
            raise StarletteHTTPException(404, f"there is no /{path[:80]}; see /api/openapi.json")
        asset = files.files.get("/" + path)
        if asset is not None and request.method == "GET":
            return await run_in_threadpool(_file, asset, request)
        device = device_of(request) or f"desk-{secrets.token_hex(4)}"
        form, photos = await _form(request, office) if request.method == "POST" else ({}, [])
        reply: dict[str, Any] = {}
        for photo in photos or [{}]:
            reply = await run_in_threadpool(
                office.ask,
                "/" + path,
                method=request.method,
                query=_listed(request.query_params.multi_items()),
                form={**form, **photo},
                language=language_asked(request.headers),
                device=device,
                settings=settings_of(request.headers),
                secure=_secure(request),
                follow=PART in request.headers,
            )
        response = _page(request, reply, files)
        if request.cookies.get(DEVICE) != device:
            response.set_cookie(DEVICE, device, max_age=_A_YEAR, secure=_https(request), samesite="lax")
        return response


def _document(reply: Mapping[str, Any], settings: Mapping[str, Any], files: Assets) -> str:
    """The whole page around a reply, in the look that was chosen; around nothing where the reply is empty."""
    known = {name: reply[name] for name in Reply.__dataclass_fields__ if name in reply}
    known.setdefault("header", header(language(str(reply.get("language") or "en")), ""))
    return document(Reply(**known), theme=str(settings.get("theme") or "auto"), static=files.base)


def _file(asset: Asset, request: Request) -> Response:
    encoding, content = asset.encoded(request.headers.get("accept-encoding", ""))
    headers = {"Cache-Control": _FOR_GOOD, "Vary": "Accept-Encoding", "ETag": '"kept"'}
    if request.headers.get("if-none-match"):
        return NotModifiedResponse(Response(headers=headers).headers)
    if encoding:
        headers["Content-Encoding"] = encoding
    return Response(content, 200, headers, asset.media_type)


def _page(request: Request, reply: dict[str, Any], files: Assets) -> Response:
    go = reply.get("go")
    response: Response
    if request.headers.get(PART):
        response = JSONResponse(reply)
    elif go:
        response = RedirectResponse(_inside(str(go)), 303)
    else:
        status = int(reply.get("status", 200))
        response = HTMLResponse(
            _document(reply, reply.get("settings") or settings_of(request.headers), files),
            200 if status == 303 else status,
        )
    response.headers["Cache-Control"] = "no-store"
    response.headers["Vary"] = f"Accept-Language, Cookie, {PART}"
    if reply.get("settings") is not None:
        text = base64.urlsafe_b64encode(json.dumps(reply["settings"]).encode()).decode()
        secure = _https(request)
        response.set_cookie(COOKIE, text, max_age=_A_YEAR, secure=secure, httponly=True, samesite="lax")
    return response


def _https(request: Request) -> bool:
    return request.url.scheme == "https"


async def _file_in(request: Request) -> tuple[bytes, str]:
    """The one file of a form, and its name; empty where none was chosen."""
    async with request.form(max_files=1, max_fields=20) as form:
        for _, value in form.multi_items():
            if isinstance(value, UploadFile):
                return await value.read(), value.filename or ""
    return b"", ""


def _onward(request: Request, path: str) -> Response:
    """Where to go after a file was taken."""
    if request.headers.get(PART):
        return JSONResponse({"go": path, "html": ""})
    return RedirectResponse(path, 303)


def _inside(path: str) -> str:
    """A path of this server; the list where it is none."""
    return path if path.startswith("/") and not path.startswith(("//", "/\\")) else "/"


def _listed(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """Names and values; a name that comes more than once has a list."""
    lists: dict[str, list[Any]] = {}
    for name, value in pairs:
        lists.setdefault(name, []).append(value)
    return {name: values if len(values) > 1 else values[0] for name, values in lists.items()}


async def _form(request: Request, office: Office) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """
    What a form holds, and of each photograph in it, once cleaned and kept, its hash and size.

    A file of another kind stands as its text, with its name under ``<field>_name``.
    """
    async with request.form(max_files=FORM_FILES, max_fields=FORM_FIELDS) as form:
        pairs: list[tuple[str, Any]] = []
        photos: list[dict[str, Any]] = []
        for name, value in form.multi_items():
            if not isinstance(value, UploadFile):
                pairs.append((name, value))
                continue
            data = await value.read()
            if not data:
                continue
            if (value.content_type or "").startswith("image/"):
                photo = await run_in_threadpool(office.keep_photo, data, clean=True)
                size = {"width": str(photo.width), "height": str(photo.height)}
                photos.append({"sha256": photo.sha256, **size})
            else:
                pairs.append((name, data.decode("utf-8", "replace")))
                pairs.append((f"{name}_name", value.filename or ""))
        return _listed(pairs), photos


def _secure(request: Request) -> bool:
    """Whether the browser will see this as a secure context: https, or this very machine."""
    scheme = request.headers.get("x-forwarded-proto", request.url.scheme)
    return scheme == "https" or request.url.hostname in ("localhost", "127.0.0.1", "::1")
