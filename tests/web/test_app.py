"""Pages from the server: forms without any script, headers on every answer, bounds before every request."""

from __future__ import annotations

import gzip
import re
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from humclick.web.app import PART
from humclick.web.assets import assets
from humclick.web.guard import CSP
from humclick.web.offline.build import BUILT
from humclick.web.photos import checked
from humclick.web.store import Store
from tests.web.bench import EVENTS, EXAMPLES, Client, client, picture


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Client:
    """A server with the invented shop's calls."""
    return client(tmp_path_factory.mktemp("shop"), examples=EXAMPLES)


def begun(folder: Path) -> Client:
    """A server with one call as a phone sent it."""
    Store.at(folder).append("c1", EVENTS)
    return client(folder)


@pytest.mark.parametrize(
    "path",
    [
        *("/", "/new", "/settings", "/about-offline", "/call/example-just-begun", "/shell"),
        *("/call/example-broken-starter/why", "/call/example-broken-starter/record"),
    ],
)
def test_every_page_comes_whole_and_with_its_headers(shop: Client, path: str) -> None:
    """A page is HTML with a strict policy, no style and no script of its own inside."""
    page = shop("GET", path)
    assert page.status_code == 200
    assert page.headers["content-security-policy"] == CSP
    assert page.headers["x-content-type-options"] == "nosniff"
    assert page.headers["referrer-policy"] == "no-referrer"
    assert page.text.startswith("<!doctype html>")
    assert not re.search(r"<style|\sstyle=|\son\w+=|<script(?![^>]* src=)", page.text)
    assert re.findall(r"(?:src|href)=\"((?:https?:)?//[^\"]*)", page.text) == []


def test_the_policy_lets_nothing_in_from_elsewhere() -> None:
    """No source but the server itself, and no inline script or style."""
    assert "unsafe-inline" not in CSP
    assert "'unsafe-eval'" not in CSP
    assert "default-src 'none'" in CSP
    assert not re.search(r"https?:|\*", CSP)


def test_a_call_goes_forward_by_plain_forms(tmp_path: Path) -> None:
    """Without any script a new call is begun, kept, and the browser is sent to it."""
    asked = client(tmp_path)
    answer = asked("POST", "/new", data={"heard": "hum_click", "customer": "invented"})
    assert answer.status_code == 303
    where = answer.headers["location"]
    assert re.fullmatch(r"/call/[a-z0-9-]+(/\w+)?", where)
    assert asked("GET", where).status_code == 200
    name = where.split("/")[2]
    kinds = [event.kind for event in Store.at(tmp_path).events(name)]
    assert "opened" in kinds
    assert "complaint" in kinds


def test_the_pages_script_gets_the_reply_itself(tmp_path: Path) -> None:
    """With its header the answer is the engine's reply as JSON, events already kept."""
    asked = begun(tmp_path)
    reply = asked("POST", "/call/c1/note", data={"text": "seen"}, headers={PART: "1"}).json()
    assert [table["kind"] for table in reply["append"]] == ["note"]
    assert reply["go"].startswith("/call/c1")
    assert Store.at(tmp_path).events("c1")[-1].kind == "note"


def test_a_form_that_cannot_be_taken_comes_back_and_keeps_nothing(tmp_path: Path) -> None:
    """A reading before its safety steps is answered with 422 and the page, and the call is as it was."""
    asked = begun(tmp_path)
    answer = asked("POST", "/call/c1/reading", data={"probe": "pins.C-S", "value": "7.1"})
    assert answer.status_code == 422
    assert "safety steps" in answer.text
    assert len(Store.at(tmp_path).events("c1")) == 4


def test_a_photo_by_a_plain_form_is_cleaned_and_joined_to_the_call(tmp_path: Path) -> None:
    """Without any script a photo is scaled, kept by its hash, and stands in the call."""
    asked = begun(tmp_path)
    files = {"photo": ("cover.jpg", picture(3000, 1500), "image/jpeg")}
    answer = asked("POST", "/call/c1/photos", data={"caption": "cover"}, files=files)
    assert answer.status_code == 303
    store = Store.at(tmp_path)
    photo = next(event for event in store.events("c1") if event.kind == "photo")
    data = store.photo(photo.sha256).read_bytes()  # type: ignore[attr-defined]
    assert checked(data).width == 2048
    shown = asked("GET", f"/photos/{photo.sha256}")  # type: ignore[attr-defined]
    assert (shown.content, shown.headers["content-type"]) == (data, "image/jpeg")


def test_a_parcel_by_a_plain_form_opens_the_call(tmp_path: Path) -> None:
    """A call file handed in is taken in, and the browser is sent to the call."""
    data = (EXAMPLES / "broken-starter" / "call.toml").read_bytes()
    asked = client(tmp_path)
    answer = asked("POST", "/import", files={"parcel": ("call.toml", data, "application/toml")})
    assert answer.status_code == 303
    assert asked("GET", answer.headers["location"]).status_code == 200


def test_settings_are_kept_in_the_browser_and_followed(tmp_path: Path) -> None:
    """Language and look chosen once are followed on every page after."""
    asked = client(tmp_path)
    answer = asked("POST", "/settings", data={"language": "es", "theme": "dark"})
    assert "httponly" in answer.headers["set-cookie"].casefold()
    assert "samesite=lax" in answer.headers["set-cookie"].casefold()
    page = asked("GET", "/").text
    assert '<html lang="es" data-theme="dark"' in page
    assert (
        '<html lang="es"' in client(tmp_path)("GET", "/", headers={"accept-language": "es-MX,en;q=0.8"}).text
    )


def test_what_is_not_there_is_404(shop: Client) -> None:
    """Unknown pages, calls and photos are answered with a sentence."""
    for path in ("/nothing", "/call/none", "/photos/" + "0" * 64, "/static/x/app.js", "/../etc/passwd"):
        assert shop("GET", path).status_code == 404, path


def test_another_site_cannot_post_here(tmp_path: Path) -> None:
    """A form of another site is refused, by what the browser says of it; our own and tools are taken."""
    asked = begun(tmp_path)
    note = {"text": "x"}
    for headers in ({"sec-fetch-site": "cross-site"}, {"origin": "http://elsewhere.example"}):
        assert asked("POST", "/call/c1/note", data=note, headers=headers).status_code == 403
    for headers in ({"sec-fetch-site": "same-origin"}, {"origin": "http://localhost"}, {}):
        assert asked("POST", "/call/c1/note", data=note, headers=headers).status_code == 303


def test_a_foreign_name_for_this_server_is_refused(tmp_path: Path) -> None:
    """Asked under a name that is not its own the server refuses; a name it was given is taken."""
    assert client(tmp_path)("GET", "/", headers={"host": "elsewhere.example"}).status_code == 421
    assert (
        client(tmp_path, names=["shop.example"])("GET", "/", headers={"host": "shop.example"}).status_code
        == 200
    )
    for host in ("127.0.0.1:8000", "[::1]:8000", "192.168.1.7", "localhost:1"):
        assert client(tmp_path)("GET", "/about-offline", headers={"host": host}).status_code == 200


def test_bodies_are_bounded(tmp_path: Path) -> None:
    """More than is taken is refused, said beforehand or not."""
    asked = begun(tmp_path)
    large = b"text=" + b"x" * (3 * 1024 * 1024)
    form = {"content-type": "application/x-www-form-urlencoded"}
    assert asked("POST", "/call/c1/note", content=large, headers=form).status_code == 413

    async def in_pieces() -> AsyncIterator[bytes]:
        for at in range(0, len(large), 65536):
            yield large[at : at + 65536]

    assert asked("POST", "/call/c1/note", content=in_pieces(), headers=form).status_code in (400, 413)
    assert asked("POST", "/api/calls/c1/events", content=large).status_code == 413


def test_without_a_runtime_the_server_still_works_and_keeps_no_service_worker_busy(tmp_path: Path) -> None:
    """A build without network is not fatal: pages come from the server, and nothing is promised offline."""
    asked = client(tmp_path, built=tmp_path / "nothing")
    assert asked.app.state.offline is False
    page = asked("GET", "/").text
    base = re.search(r'src="(/static/\w+)/app.js"', page)
    assert base is not None
    assert '"offline": false' in asked("GET", f"{base[1]}/places.js").text
    assert "FILES = []" in asked("GET", "/sw.js").text


def small_build(folder: Path) -> Path:
    """A build of the right shape, with a few bytes in each file."""
    for name, file in (("runtime", "pyodide.mjs"), ("engine", "engine.zip")):
        (folder / name).mkdir(parents=True)
        (folder / name / f"{file}.gz").write_bytes(gzip.compress(b"plain " * 200))
        (folder / name / f"{file}.br").write_bytes(b"brotli")
    (folder / "built.json").write_text('{"runtime": "r1", "engine": "e1", "python": "1"}')
    return folder


def test_files_come_compressed_typed_and_for_good(tmp_path: Path) -> None:
    """What a browser accepts decides the form; types are our own; what has a version is kept for good."""
    asked = client(tmp_path, built=small_build(tmp_path / "built"))
    packed = asked("GET", "/offline/runtime-r1/pyodide.mjs", headers={"accept-encoding": "identity"})
    assert packed.content == b"plain " * 200
    assert packed.headers["content-type"].startswith("text/javascript")
    assert "immutable" in packed.headers["cache-control"]
    assert packed.headers["vary"] == "Accept-Encoding"
    listed = asked("GET", "/sw.js")
    assert listed.headers["cache-control"] == "no-cache"
    for path in re.findall(r'"(/[^"]+)"', listed.text.split("FILES = ")[1].split("]")[0]):
        assert asked("GET", path, headers={"accept-encoding": "identity"}).status_code == 200, path


def test_the_shortest_form_a_browser_accepts_is_chosen(tmp_path: Path) -> None:
    """Brotli before gzip before nothing, and never one that was refused."""
    static = tmp_path / "static"
    static.mkdir()
    found = assets(static, small_build(tmp_path / "built")).files["/offline/engine-e1/engine.zip"]
    assert found.encoded("gzip, br")[0] == "br"
    assert found.encoded("gzip, br;q=0") == ("gzip", gzip.compress(b"plain " * 200))
    assert found.encoded("") == ("", b"plain " * 200)


def test_the_version_changes_with_any_file(tmp_path: Path) -> None:
    """A changed script or build gives every address a new version, so no two versions are ever mixed."""
    static = tmp_path / "static"
    static.mkdir()
    (static / "app.js").write_text("1")
    (static / "sw.js").write_text('const VERSION = "@VERSION@", FILES = "@FILES@";')
    built = small_build(tmp_path / "built")
    first = assets(static, built)
    (static / "app.js").write_text("2")
    second = assets(static, built)
    (built / "built.json").write_text('{"runtime": "r1", "engine": "e2", "python": "1"}')
    third = assets(static, built)
    assert len({first.version, second.version, third.version}) == 3
    assert f"{second.base}/app.js" in second.service_worker
    assert "/offline/engine-e2/engine.zip" in third.service_worker


@pytest.mark.skipif(not (BUILT / "built.json").is_file(), reason="the browser's runtime is not built here")
def test_the_build_is_within_its_budget_of_bytes() -> None:
    """A first visit takes 9 MB at most, compressed."""
    found = assets(Path(__file__).parents[2] / "src" / "humclick" / "web" / "static", BUILT)
    total = 0
    for each in found.files.values():
        _, content = each.encoded("gzip, br")
        total += len(content)
    assert 3e6 < total <= 9e6
