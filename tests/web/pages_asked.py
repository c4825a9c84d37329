"""A desk for the tests: calls kept in memory, the engine asked as the server and the phone ask it."""

from __future__ import annotations

import json
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from humclick.jobs.call_file import load_call
from humclick.web.engine import answer
from humclick.web.exchange import plain_table

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
NAMES = sorted(folder.name for folder in EXAMPLES.iterdir() if (folder / "call.toml").exists())
#: Pages of a call, by what stands behind its id.
PAGES = ("", "identify", "plate", "pins", "probes", "record", "photos", "recordings")
SLOW_PAGES = ("why", "whatif", "sheet")
NOW = "2026-11-25T10:00:00+00:00"
_VOID = frozenset({"br", "hr", "img", "input", "link", "meta", "option", "path", "circle", "rect", "ellipse"})
_FIELDS = frozenset({"input", "select", "textarea"})


class Bench:
    """Calls by id, the language, and the settings of a device."""

    def __init__(self, language: str = "en") -> None:
        self.language = language
        self.calls: dict[str, list[dict[str, Any]]] = {}
        self.summaries: dict[str, Any] = {}
        self.settings: dict[str, Any] = {}
        self.photos: list[dict[str, Any]] = []
        self.now = NOW

    def load(self, name: str) -> str:
        """One of the invented shop's calls."""
        self.calls[name] = [plain_table(event) for event in load_call(EXAMPLES / name / "call.toml").events]
        return f"/call/{name}"

    def ask(self, path: str, method: str = "GET", form: dict[str, Any] | None = None) -> dict[str, Any]:
        """One request, the address with its query; what it appends is kept."""
        bare, _, query = path.partition("?")
        pieces = bare.split("/")
        named = pieces[2] if len(pieces) > 2 and pieces[1] == "call" else ""
        request = {
            "path": bare,
            "method": method,
            "query": dict(each.split("=", 1) for each in query.split("&") if "=" in each),
            "form": form or {},
            "now": self.now,
            "device": "test",
            "language": self.language,
            "call": {"id": named, "events": self.calls[named]} if named in self.calls else None,
            "calls": list(self.summaries.values()),
            "settings": self.settings,
            "photos": self.photos,
        }
        reply: dict[str, Any] = json.loads(answer(json.dumps(request)))
        if reply["append"]:
            self.calls.setdefault(reply["id"], []).extend(reply["append"])
            self.summaries[reply["id"]] = reply["summary"]
        self.settings = reply["settings"] or self.settings
        return reply

    def post(self, path: str, **form: Any) -> dict[str, Any]:
        """Send a form and go where the answer says; the page there, or the form again."""
        reply = self.ask(path, "POST", form)
        return self.ask(reply["go"].replace("%2B", "+")) if reply["go"] else reply


class Page(HTMLParser):
    """
    A page taken apart, with what is wrong with it.

    Attributes
    ----------
    faults : list of str
        Tags that do not match, fields without a label, attributes a strict content policy forbids.
    forms, hidden : lists
        Action and hidden values of each form.
    text : str
        What is read.
    """

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.faults: list[str] = []
        self.open: list[str] = []
        self.ids: Counter[str] = Counter()
        self.labels: set[str] = set()
        self.fields: list[dict[str, str]] = []
        self.tags: Counter[str] = Counter()
        self.links: list[str] = []
        self.forms: list[str] = []
        self.hidden: list[dict[str, str]] = []
        self.pieces: list[str] = []
        self.feed(html)
        self.close()
        self.faults += [f"<{tag}> is not closed" for tag in self.open]
        self.faults += [f"id {name} comes {n} times" for name, n in self.ids.items() if n > 1]
        for field in self.fields:
            if field.get("type") in ("hidden",) or field.get("inside") or field.get("aria-label"):
                continue
            if field.get("id") not in self.labels:
                self.faults.append(f"field {field.get('name')} has no label")

    @property
    def text(self) -> str:
        """What is read, in one line."""
        return " ".join(" ".join(self.pieces).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what a tag opens and carries."""
        given = {name: value or "" for name, value in attrs}
        self.tags[tag] += 1
        if "id" in given:
            self.ids[given["id"]] += 1
        for name in given:
            if name == "style" or name.startswith("on"):
                self.faults.append(f"<{tag}> has {name}, which the content policy forbids")
        if tag in ("script", "style", "iframe"):
            self.faults.append(f"<{tag}> inside a page")
        if tag == "label" and "for" in given:
            self.labels.add(given["for"])
        if tag in _FIELDS:
            self.fields.append({**given, "inside": "label" if "label" in self.open else ""})
        if tag == "a":
            self.links.append(given.get("href", ""))
        if tag == "form":
            self.forms.append(given.get("action", ""))
            self.hidden.append({})
        if tag == "input" and given.get("type") == "hidden" and self.hidden:
            self.hidden[-1][given.get("name", "")] = given.get("value", "")
        if tag == "img" and not given.get("alt"):
            self.faults.append("a picture without words")
        if tag not in _VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A tag that closes itself."""
        self.handle_starttag(tag, attrs)
        if tag not in _VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        """A tag closes the one that was opened last."""
        if tag in _VOID:
            return
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> closes {self.open[-1:] or 'nothing'}")
        if tag in self.open:
            while self.open.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        """What is read."""
        self.pieces.append(data)
