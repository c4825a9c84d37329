"""
What safety costs a call: ``python -m benchmarks.safety_cost [--write FILE]``.

Every example call is replayed, probe by probe in its own order, through the terminal's session and through
the pages. In the terminal, safety costs the lines of all that is shown, less those of the same replay with
every safety text and step silenced, so that what is printed again because of a step counts too; and each line
typed for nothing else. On the pages it costs every line of a screen that asks for safety steps and nothing
else, the lines of safety on other screens, and each tap that only confirms. Lines of a page are its headings,
paragraphs and list items, what is folded away left out. With ``--root FOLDER`` the program in another folder
is measured: an older state, unpacked there; ``--before FILE`` puts its figures beside those of now.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from html.parser import HTMLParser
from importlib import import_module
from pathlib import Path
from typing import Any
from unittest.mock import patch

ROOT = Path(__file__).resolve().parents[1]
#: What describes a call before anything is measured.
_FIRST = ("opened", "machine", "meter", "stamp", "complaint")
#: Where the faces ask what is said of safety.
_FACES = ("humclick.cli.session", "humclick.cli.ending")
#: Elements of a page that stand on a line of their own.
_LINES = ("h1", "h2", "h3", "p", "li")
_VOID = ("input", "br", "hr", "img", "link", "meta")


@contextmanager
def _silenced() -> Iterator[None]:
    """The program without any safety text or step, older states of it too."""
    quiet: dict[str, Any] = {"cautions": lambda _call: ()}
    with suppress(ImportError):
        briefing = import_module("humclick.jobs.briefing")
        quiet["briefed"] = lambda *_a, **_k: briefing.Briefing()
        quiet["briefed_on"] = lambda *_a, **_k: briefing.RemedyBriefing()
    with ExitStack() as stack:
        stack.enter_context(patch("humclick.jobs.call.Call.gates_before", lambda *_a, **_k: ()))
        for module in map(import_module, _FACES):
            for name, instead in quiet.items():
                if hasattr(module, name):
                    stack.enter_context(patch.object(module, name, instead))
        yield


def _script(events: Any, undone: frozenset[str]) -> list[tuple[str, ...]]:
    """What was done on a call after it was described: (kind, …), without what was taken back."""
    found: list[tuple[str, ...]] = []
    for event in events:
        if event.id in undone:
            continue
        match event.kind:
            case "reading":
                found.append(("reading", event.probe, f"{event.value} {event.temperature}".strip()))
            case "wait":
                found.append(("wait", f"{event.minutes:g}"))
            case "fitted":
                found.append(("fitted", event.part))
    return found


def replayed_on_terminal(folder: Path, name: str, *, silent: bool = False) -> Counter[str]:
    """One example call replayed through the terminal's session: lines shown, confirmations, gates held."""
    from humclick.cli.session import Session
    from humclick.diagnosis.shop import default_shop
    from humclick.jobs.call_file import read_call, write_call
    from humclick.jobs.fold import fold

    events = read_call(ROOT / "examples" / name / "call.toml")
    path = folder / f"{name}-{silent}.toml"
    write_call(path, [event for event in events if event.kind in _FIRST])
    session = Session(path, default_shop())
    found: Counter[str] = Counter()

    def take(line: str) -> None:
        found["lines"] += len(session.take(line).splitlines())

    found["lines"] += len(session.open().splitlines())
    while session.questions:
        take("")
    for kind, *rest in _script(events, fold(events).undone):
        if kind != "reading":
            take(f"{kind} {rest[0]}")
            continue
        probe, value = rest
        if session.step.probe is None or session.step.probe.id != probe:
            take(probe)
        if _steps(session) == "with the reading":
            take(f"done {value}")
            found["readings"] += 1
            continue
        while _steps(session):
            found["confirmations"] += 1
            take("done")
        take(value)
        found["readings"] += 1
    found["gates held"] = len(session.call.gates)
    found["marked"] = sum(bool(each.unproved) for each in session.call.readings)
    return found


def _steps(session: Any) -> str:
    """Whether safety steps are waiting, and whether the reading may confirm them; older states too."""
    if hasattr(session, "gates"):
        return "waiting" if session.gates() else ""
    briefing = session.step.briefing
    return "with the reading" if briefing.dead else "waiting" if briefing.gates else ""


class _Screen(HTMLParser):
    """Lines of a screen, what is folded away left out, and the forms that confirm."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.all = self.spoken = 0
        self.gate = self.passed = ""
        self._open: list[tuple[str, bool, bool]] = []
        self._form = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form":
            self._form = (given.get("action") or "").rsplit("/", 1)[-1]
        if tag == "input" and (self._form, given.get("name")) == ("gate", "gate"):
            self.gate = given.get("value") or ""
        if tag == "input" and (self._form, given.get("name")) == ("reading", "passed"):
            self.passed = given.get("value") or ""
        if tag not in _VOID:
            hidden, spoken = self._open[-1][1:] if self._open else (False, False)
            hidden = hidden or (tag == "details" and "open" not in given)
            spoken = spoken or "spoken" in (given.get("class") or "").split()
            self.all += tag in _LINES and not hidden
            self.spoken += tag in _LINES and spoken and not hidden
            self._open.append((tag, hidden, spoken))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        pass

    def handle_endtag(self, tag: str) -> None:
        if any(tag == each[0] for each in self._open):
            while self._open.pop()[0] != tag:
                pass


def replayed_on_pages(name: str) -> Counter[str]:
    """One example call replayed through the pages: lines of safety, taps that only confirm, gates held."""
    from tests.web.pages_asked import Bench

    from humclick.jobs.call_file import read_call
    from humclick.jobs.fold import fold

    bench = Bench()
    path = bench.load(name)
    events = read_call(ROOT / "examples" / name / "call.toml")
    bench.calls[name] = [each for each in bench.calls[name] if each["kind"] in _FIRST]
    found: Counter[str] = Counter()

    def screen(reply: dict[str, Any]) -> _Screen:
        page = _Screen(reply["html"])
        found["lines"] += page.all if page.gate else page.spoken
        return page

    for kind, *rest in _script(events, fold(events).undone):
        if kind == "wait":
            screen(bench.post(f"{path}/wait", minutes=rest[0]))
        elif kind == "fitted":
            screen(bench.post(f"{path}/fitted", part=rest[0]))
        else:
            here = f"{path}?probe={rest[0]}&now=1"
            page = screen(bench.ask(here))
            while page.gate:
                found["taps"] += 1
                bench.ask(f"{path}/gate", "POST", {"gate": page.gate})
                page = screen(bench.ask(here))
            value = rest[1].removesuffix(" cold")
            screen(bench.post(f"{path}/reading", probe=rest[0], value=value, passed=page.passed))
            found["readings"] += 1
    found["gates held"] = sum(each["kind"] == "gate" for each in bench.calls[name])
    return found


def measured() -> dict[str, Any]:
    """What safety costs over all example calls: lines, confirmations and taps."""
    from tests.web.pages_asked import NAMES

    terminal: Counter[str] = Counter()
    pages: Counter[str] = Counter()
    calls = 0
    with tempfile.TemporaryDirectory() as folder:
        for name in NAMES:
            from humclick.jobs.call_file import read_call
            from humclick.jobs.fold import fold

            machine = fold(read_call(ROOT / "examples" / name / "call.toml")).machine
            if machine is None or machine.arrangement.recognised_only:
                continue
            calls += 1
            full = replayed_on_terminal(Path(folder), name)
            with _silenced():
                bare = replayed_on_terminal(Path(folder), name, silent=True)
            full["lines"] -= bare["lines"]
            terminal.update(full)
            pages.update(replayed_on_pages(name))
    return {"calls": calls, "terminal": dict(terminal), "pages": dict(pages)}


def main() -> None:
    """Measure, print, and write where asked."""
    global ROOT
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--root", type=Path)
    parser.add_argument("--write", type=Path)
    parser.add_argument("--before", type=Path, help="figures of an older state, to be kept beside these")
    given = parser.parse_args()
    if given.root is not None:
        ROOT = given.root.resolve()
        sys.path[:0] = [str(ROOT / "src"), str(ROOT)]
        for name in [each for each in sys.modules if each.split(".")[0] in ("humclick", "tests")]:
            del sys.modules[name]
    found: dict[str, Any] = {"now": measured()}
    if given.before is not None:
        found["before"] = json.loads(given.before.read_text("utf-8"))["now"]
    print(json.dumps(found, indent=2))
    if given.write is not None:
        given.write.write_text(json.dumps(found, indent=2) + "\n", "utf-8")


if __name__ == "__main__":
    main()
