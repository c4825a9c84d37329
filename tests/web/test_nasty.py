"""Every address of the server, asked with values that nobody sends in good faith: no answer is a failure."""

from __future__ import annotations

import base64
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from humclick.jobs.events import KINDS
from humclick.jobs.on_disk import write_whole
from humclick.limits import JSON_DEPTH
from humclick.web import engine
from humclick.web.guard import JsonDepth, Unfit
from tests.strategies import PART_NAMES, PROBE_NAMES
from tests.web.bench import EVENTS, Client, client, picture

TEMPLATES = Path(engine.__file__).with_name("templates")
#: Every field of every form.
FIELDS = sorted(
    {
        name
        for file in TEMPLATES.glob("*.html")
        for name in re.findall(r'name="([a-z_0-9]+)"', file.read_text("utf-8"))
    }
)
#: Every page and form: of no call, of a call that is there, of one that is not.
PAGES = [
    "/",
    *(f"/{page}" for page in engine._PAGES if page),
    *(f"/call/c1/{page}" for page in engine._OF_CALL),
]
PAGES += [
    "/call/none",
    "/call/UP",
    "/call/c1/none",
    "/nothing",
    "/call/c1/recordings",
    "/import",
    "/photos/0",
]
#: Every path of the JSON interface, its places filled.
API = [
    *("/api/about", "/api/calls", "/api/calls/c1", "/api/calls/c1/events", "/api/calls/c1/advice"),
    *(
        "/api/calls/c1/recordings",
        "/api/calls/c1/parcel",
        "/api/calls/c1/sheet.html",
        "/api/import",
        "/api/photos",
    ),
    *("/api/schema/call", f"/api/photos/{'0' * 64}", "/api/openapi.json", "/api/none"),
]
TEXTS = [
    *(
        "",
        " ",
        "x",
        "0",
        "-1",
        "1e999",
        "nan",
        "-inf",
        "9" * 400,
        "9" * 5000,
        "0x10",
        "٣",
        "½",
        "1,200",
        "4.7",
        "OL",
    ),
    *(
        "\ud800",
        "a\udfff",
        "\ufffe",
        "\x00",
        "\x1b[2J",
        "\u202e",
        "\r\n",
        "é" * 301,
        "x" * 6000,
        "../../etc/passwd",
    ),
    *(
        "<script>",
        "{{7*7}}",
        "%s%n",
        "c1",
        "en",
        "es",
        "dark",
        "runs",
        "hum_click",
        "cold",
        "hot",
        "on",
        "500",
        "G",
    ),
    *(
        "rsir-ptc",
        "psc",
        "three-phase",
        "replace starter",
        "wait",
        "power-off-proved-dead",
        "2026-03-02T09:00:00Z",
    ),
    *(
        "null",
        "[]",
        "[1]",
        '{"a":1}',
        "[" * 5000,
        '{"arrangement":[],"stamps":3}',
        '[{"kind":"machine"}]',
        "9e999",
    ),
    *PROBE_NAMES,
    *PART_NAMES,
]
texts = st.sampled_from(TEXTS) | st.text(alphabet=st.characters(exclude_categories=()), max_size=8)


def deep(levels: int) -> Any:
    value: Any = 1
    for level in range(levels):
        value = [value] if level % 2 else {"a": value}
    return value


anything = st.recursive(
    texts
    | st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.sampled_from([10**400, -(10**18), 5e-324, 1.7e308, deep(JSON_DEPTH - 6), deep(200)]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=4,
)


def sound(answer: httpx.Response) -> None:
    """It is an answer of the server and not a failure of it, and a refusal says something."""
    assert answer.status_code < 500, answer.text
    if answer.status_code >= 400:
        assert len(answer.text) >= 9


def begun(folder: Path) -> Client:
    """A server with one call."""
    asked = client(folder)
    assert asked("POST", "/api/calls/c1/events", json={"events": EVENTS}).status_code == 200
    return asked


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> Client:
    """One server for every case: what a case leaves behind, the next must stand."""
    return begun(tmp_path_factory.mktemp("nasty"))


quick = settings(max_examples=60, deadline=None, suppress_health_check=[*HealthCheck])


def cookie(value: str) -> dict[str, str]:
    return {"cookie": f"humclick={value}"}


cookies = st.one_of(
    texts.map(lambda text: re.sub(r"[^!-~]|[;,]", "", text)),
    anything.map(lambda value: base64.urlsafe_b64encode(json.dumps(value).encode()).decode()),
    st.dictionaries(st.sampled_from(["language", "theme", "meter", "leads_nulled", "shop"]), anything).map(
        lambda value: base64.urlsafe_b64encode(json.dumps(value).encode()).decode()
    ),
    st.sampled_from([2000, 200_000]).map(lambda n: base64.urlsafe_b64encode(b"[" * n + b"]" * n).decode()),
)
queries = st.dictionaries(st.sampled_from([*FIELDS, "why", "paper", "file", "q"]), texts, max_size=3).map(
    lambda query: {key: value.encode("utf-8", "replace").decode() for key, value in query.items()}
)
headers = st.dictionaries(
    st.sampled_from(
        ["accept-language", "x-humclick-device", "x-humclick-part", "content-type", "range", "accept"]
    ),
    st.sampled_from(
        ["", "x" * 3000, "es", "\xff", "text/plain", "bytes=-1", "application/json", "multipart/form-data"]
    ),
    max_size=2,
)


@quick
@given(st.sampled_from(PAGES + API), queries, headers, cookies)
def test_every_address_can_be_asked_with_anything(
    asked: Client, path: str, query: dict[str, str], more: dict[str, str], kept: str
) -> None:
    """A page asked for with odd queries, headers and cookies."""
    coded = {key: value.encode("latin-1", "replace") for key, value in {**more, **cookie(kept)}.items()}
    sound(asked("GET", path, params=query, headers=coded))


@settings(quick, max_examples=200)
@given(
    st.sampled_from(PAGES + API),
    st.dictionaries(st.sampled_from(FIELDS), texts | st.lists(texts, max_size=3), max_size=8),
    st.sampled_from(
        ["urlencoded", "utf-8", "unicode_escape", "utf-16", "utf-7", "none", "raw_unicode_escape"]
    ),
)
def test_every_form_can_be_sent_with_anything(
    asked: Client, path: str, form: dict[str, Any], how: str
) -> None:
    """A form with odd values, coded as a browser does and as none does."""
    if how == "urlencoded":
        clean = json.loads(json.dumps(form).encode().decode(), object_hook=None)
        data = {k: _sent(v) for k, v in clean.items()}
        sound(asked("POST", path, data=data))
        return
    parts = []
    for name, value in form.items():
        for each in value if isinstance(value, list) else [value]:
            raw = each.encode("unicode_escape" if "escape" in how else "utf-8", "surrogatepass")
            parts.append(
                b'--b\r\ncontent-disposition: form-data; name="%s"\r\n\r\n%s\r\n' % (name.encode(), raw)
            )
    body = b"".join(parts) + b"--b--\r\n"
    sound(
        asked(
            "POST",
            path,
            content=body,
            headers={"content-type": f"multipart/form-data; boundary=b; charset={how}"},
        )
    )


def _sent(value: Any) -> Any:
    if isinstance(value, list):
        return [_sent(each) for each in value]
    return value.encode("utf-8", "surrogatepass")


class Forms(HTMLParser):
    """The forms of a page: where each goes, and what each of its fields may hold."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, list[str]]]] = []
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Collect what a form sends."""
        given = dict(attrs)
        if tag == "form" and (given.get("method") or "").lower() == "post":
            self.found.append((given.get("action") or "", {}))
        elif self.found and tag in ("input", "button", "textarea", "select"):
            self._select = given.get("name") or ""
            if self._select:
                self.found[-1][1].setdefault(self._select, []).append(given.get("value") or "on")
        elif self.found and tag == "option" and self._select:
            self.found[-1][1][self._select].append(given.get("value") or "")


@pytest.fixture(scope="module")
def forms(asked: Client) -> list[tuple[str, dict[str, list[str]]]]:
    """Every form that the pages show now."""
    found = []
    for path in PAGES:
        parser = Forms()
        parser.feed(asked("GET", path).text)
        found += [(action or path, fields) for action, fields in parser.found if fields]
    assert len(found) > 8
    return found


@settings(quick, max_examples=120)
@given(st.data())
def test_every_form_as_shown_can_be_sent_with_one_odd_value(
    asked: Client, forms: list[tuple[str, dict[str, list[str]]]], data: st.DataObject
) -> None:
    """A form as a page shows it, filled with what it offers, one or two of its fields odd."""
    action, fields = data.draw(st.sampled_from(forms))
    form: dict[str, Any] = {name: data.draw(st.sampled_from(values)) for name, values in fields.items()}
    for name in data.draw(st.lists(st.sampled_from(sorted(fields)), max_size=2)):
        form[name] = data.draw(texts | st.lists(texts, max_size=2))
    sound(asked("POST", action, data={key: _sent(value) for key, value in form.items()}))
    sound(asked("GET", "/call/c1"))


def _fields(kind: str) -> list[str]:
    return [name for name in KINDS[kind].__dataclass_fields__ if name not in ("id", "at")]


@st.composite
def events(draw: st.DrawFn) -> dict[str, Any]:
    """An event of some kind, its fields and a strange one holding anything."""
    kind = draw(st.sampled_from(sorted(KINDS)))
    names = [*_fields(kind), "id", "at", "own", "zzz"]
    table = draw(st.dictionaries(st.sampled_from(names), anything, max_size=4))
    return {"id": draw(st.uuids()).hex[:16], "at": "2026-03-02T09:30:00+01:00", "kind": kind, **table}


@settings(quick, max_examples=150)
@given(st.lists(events(), max_size=3), st.sampled_from(["/api/calls/c1/events", "/api/calls/c2/events"]))
def test_any_event_can_be_sent(asked: Client, tables: list[dict[str, Any]], path: str) -> None:
    """Events of odd values are kept or refused, and the call can be asked for afterwards."""
    body = json.dumps({"events": tables})
    sound(asked("POST", path, content=body, headers={"content-type": "application/json"}))
    sound(asked("GET", "/api/calls"))
    sound(asked("GET", path.removesuffix("/events")))


_ODD = st.sampled_from(
    [
        0,
        -1,
        1,
        1e-320,
        5e-324,
        1e-30,
        1e-9,
        0.1,
        3.0,
        99.99,
        1e6,
        1e30,
        1e300,
        1.7e308,
        10**30,
        "1",
        None,
        True,
    ]
)


@st.composite
def meters(draw: st.DrawFn) -> dict[str, Any]:
    """A meter of the right shape and of odd figures."""
    scale = draw(st.sampled_from([1e-9, 0.1, 1.0, 200.0, 6e3, 1e6, 1e9, 1e15]) | st.floats(1e-300, 1e300))
    figures = {
        "quantity": draw(st.sampled_from(["resistance", "voltage", "capacitance", "current"])),
        "full_scale": scale,
        "resolution": scale * draw(st.sampled_from([1e-12, 1e-4, 0.5, 0.999999])),
        "percent": draw(st.floats(0, 99.9)),
        "counts": draw(st.sampled_from([0, 1, 5, 10**6, 10**15, 1e300])),
    }
    odd = draw(st.dictionaries(st.sampled_from(sorted(figures)), _ODD, max_size=1))
    own: dict[str, Any] = {"name": draw(texts), "ranges": [{**figures, **odd}] * draw(st.integers(1, 2))}
    if draw(st.booleans()):
        own["test_voltage"] = draw(_ODD)
    return own


@settings(quick, max_examples=15, phases=[Phase.explicit, Phase.generate])
@given(meters(), st.sampled_from(["4.7", "OL", "0.0", "9e99", "1 M"]), st.integers(0, 10**9))
def test_any_meter_of_ones_own_can_be_reckoned_with(
    tmp_path_factory: pytest.TempPathFactory, own: dict[str, Any], value: str, number: int
) -> None:
    """A meter of odd figures is refused, or every page about a reading with it is answered."""
    asked = begun(tmp_path_factory.mktemp("meter"))
    at = "2026-03-02T09:20:00+01:00"
    tables = [{"kind": "meter", "id": "m", "at": at, "own": own}]
    tables += [
        {"kind": "reading", "id": f"r{k}", "at": at, "probe": probe, "value": value}
        for k, probe in enumerate(("pins.C-R", "pins.shell", "supply.volts", "ptc.ohms"))
    ]
    body = json.dumps({"events": tables})
    taken = asked("POST", "/api/calls/c1/events", content=body, headers={"content-type": "application/json"})
    sound(taken)
    for path in (
        "/call/c1",
        "/call/c1/why",
        "/api/calls/c1/advice?why=true",
        "/api/calls/c1/sheet.html",
        "/",
    ):
        sound(asked("GET", path))


@pytest.mark.parametrize(
    ("number", "status", "says"), [(28, 507, "disk is full"), (122, 507, "disk is full"), (30, 503, "later")]
)
def test_a_photo_on_a_full_disk_is_said_and_can_be_sent_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, status: int, says: str
) -> None:
    """Storage that is full or read-only is the server's trouble, in words, and the next try is taken."""
    asked = begun(tmp_path)

    def full(*_: Any) -> None:
        raise OSError(number, "no")

    monkeypatch.setattr("humclick.web.store.write_whole", full)
    answer = asked("POST", "/api/photos", content=picture())
    assert answer.status_code in (status, 503)
    assert says in answer.text or "cannot be written" in answer.text
    form = asked("POST", "/call/c1/photos", files={"photo": ("a.jpg", picture(), "image/jpeg")})
    assert form.status_code in (status, 503)
    monkeypatch.setattr("humclick.web.store.write_whole", write_whole)
    assert asked("POST", "/api/photos", content=picture()).status_code == 200


@pytest.mark.parametrize("path", ["/api/calls/c1/events", "/api/calls/c1/recordings", "/api/import"])
def test_json_too_deep_is_refused_before_it_is_read(tmp_path: Path, path: str) -> None:
    """Lists within lists are refused by their depth, whether or not a string hides a bracket."""
    asked = begun(tmp_path)
    for body in (b"[" * 200_000, b'{"events":[' * 5000, b'{"events":["\\"[[", ' + b"[" * 5000):
        answer = asked("POST", path, content=body, headers={"content-type": "application/json"})
        assert answer.status_code == 422
    text = "[" * 500 + '"' + "{" * 500
    note = {"kind": "note", "id": "n9", "at": "2026-03-02T09:20:00+01:00", "text": text}
    assert asked("POST", "/api/calls/c1/events", json={"events": [note]}).json()["added"] == 1


@given(
    st.lists(st.sampled_from(['"', "\\", "[", "]", "{", "}", "a", "\\u0022"]), max_size=40), st.integers(1, 5)
)
def test_the_depth_of_json_is_told_whatever_the_pieces(marks: list[str], size: int) -> None:
    """A body that comes in pieces of any size has the depth it has as a whole."""
    body = "".join(marks).encode()
    whole, parts = JsonDepth(), JsonDepth()
    outcome = []
    for looked, steps in ((whole, [body]), (parts, [body[k : k + size] for k in range(0, len(body), size)])):
        try:
            for piece in steps:
                looked.take(piece)
            outcome.append(looked.depth)
        except Unfit:
            outcome.append(-1000)
    assert outcome[0] == outcome[1]
