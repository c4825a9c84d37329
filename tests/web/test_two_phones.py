"""
Two phones and a server, in any order of work and of faults, end with one call and nothing acknowledged gone.

The phones here keep and send by the rules of ``static/sync.js`` and ``static/keep.js``, which
``tests/browser/test_sync.py`` holds to the same; the engine, the interface and the store are the real ones.
"""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from humclick.errors import HumclickError
from humclick.jobs.fold import fold
from humclick.jobs.order import merge
from humclick.jobs.standing import to_undo
from humclick.web.exchange import events_in, plain_table
from humclick.web.store import Store, version_of
from tests.visit import accepted
from tests.web.bench import client

CALL = "c1"
DEAD = "power-off-proved-dead"
#: What may happen to a request: nothing; it or its reply is lost; it comes twice, or late; another answers.
FAULTS = ("", "lost", "lost reply", "doubled", "late", "page", "unavailable", "nothing named")
KEPT: tuple[tuple[str, dict[str, Any]], ...] = (
    ("note", {"text": "x"}),
    ("gate", {"gate": DEAD}),
    ("reading", {"probe": "attempt.as_found", "value": "hum_click"}),
    ("reading", {"probe": "pins.C-R", "value": "4.7"}),
    ("machine", {"arrangement": "psc"}),
    ("fitted", {"part": "compressor"}),
)


class Gone(Exception):
    """The network is."""


class Phone:
    """What a phone keeps, and the rules by which it sends and fetches."""

    def __init__(self, name: str, clock: datetime) -> None:
        self.name, self.clock = name, clock
        self.tables: dict[str, dict[str, Any]] = {}
        self.outbox: dict[str, str] = {}
        self.compared = ("", "")

    def keeps(self, kind: str, given: dict[str, Any]) -> None:
        """An entry, as the engine makes it."""
        event, _ = accepted(events_in(self.tables.values()), kind, self.clock, given, self.name)
        self.tables[event.id] = plain_table(event)
        self.outbox[event.id] = ""

    def syncs(self, network: Network, faults: list[str]) -> None:
        """One round: send, compare, and send again what the server has lost."""
        try:
            self._sends(network, faults)
            if self._pulls(network, faults):
                self._sends(network, faults)
        except Gone:
            return

    def _sends(self, network: Network, faults: list[str]) -> None:
        waiting = [name for name, refused in self.outbox.items() if not refused]
        if not waiting:
            return
        body = {"events": [self.tables[name] for name in waiting]}
        answer = network.asks("POST", f"/api/calls/{CALL}/events", faults, json=body)
        for result in (answer or {}).get("results", []):
            if result["id"] in self.outbox and result["kept"] is True:
                del self.outbox[result["id"]]
            elif result["id"] in self.outbox:
                self.outbox[result["id"]] = result["error"]

    def _pulls(self, network: Network, faults: list[str]) -> bool:
        listed = network.asks("GET", "/api/calls", faults)
        if listed is None or "calls" not in listed:
            return False
        lines = {line["id"]: line["version"] for line in listed["calls"]}
        have = version_of(self.tables)
        if CALL not in lines:
            return self._lost(set(self.tables))
        if not lines[CALL] or lines[CALL] == have or self.compared == (lines[CALL], have):
            return False
        call = network.asks("GET", f"/api/calls/{CALL}", faults)
        if call is None or call.get("id") != CALL:
            return False
        there = {table["id"]: table for table in call["events"]}
        self.tables = {**there, **self.tables}
        self.outbox = {n: refused for n, refused in self.outbox.items() if n not in there or refused}
        self.compared = (call["version"], version_of(self.tables))
        return self._lost(set(self.tables) - set(there))

    def _lost(self, names: set[str]) -> bool:
        fresh = names - set(self.outbox)
        self.outbox |= dict.fromkeys(sorted(fresh), "")
        return bool(fresh)


class Network:
    """Between phones and server; it does what it is told goes wrong."""

    def __init__(self, folder: Path) -> None:
        self.server = client(folder)
        self.late: list[tuple[str, str, dict[str, Any]]] = []
        self.acknowledged: set[str] = set()
        self.named: set[str] = set()

    def asks(self, method: str, path: str, faults: list[str], **given: Any) -> dict[str, Any] | None:
        """The answer, if it is one of our server; None for any other."""
        fault = faults.pop(0) if faults else ""
        if fault in ("page", "unavailable"):
            return None
        if fault == "nothing named":
            return {"ok": True, "results": [{"id": "another", "kept": True}]}
        if fault == "late":
            self.late.append((method, path, given))
        if fault in ("lost", "late"):
            raise Gone
        if fault == "doubled":
            self.server(method, path, **given)
        answer = self.server(method, path, **given)
        if fault == "lost reply":
            raise Gone
        return self._read(answer)

    def _read(self, answer: httpx.Response) -> dict[str, Any] | None:
        assert answer.status_code in (200, 404, 503), answer.text
        found: dict[str, Any] = answer.json()
        self.acknowledged |= {r["id"] for r in found.get("results", ()) if r["kept"]}
        self.named |= self.acknowledged | {table["id"] for table in found.get("events", ())}
        return found if answer.status_code == 200 else None


class TwoPhones(RuleBasedStateMachine):
    """Every way to work and to fail, in any order."""

    phones = st.integers(0, 1)
    faults = st.lists(st.sampled_from(FAULTS), max_size=4)

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.network = Network(self.folder)
        self.path = self.folder / "calls" / f"{CALL}.toml"
        self.copies: list[bytes | None] = [None]
        self.aside: bytes | None = None
        self.ever: set[str] = set()
        self.number = 0

    @initialize(years=st.tuples(*[st.sampled_from([1970, 2026, 2199])] * 2))
    def begins(self, years: tuple[int, int]) -> None:
        """Two phones whose clocks are years apart; one has begun the call."""
        self.both = [Phone(f"phone-{n}", datetime(y, 6, 1, tzinfo=UTC)) for n, y in enumerate(years)]
        self.both[0].keeps("machine", {"arrangement": "csir-current-relay", "refrigerant": "R134a"})

    @rule(phone=phones, what=st.sampled_from(KEPT))
    def writes(self, phone: int, what: tuple[str, dict[str, Any]]) -> None:
        """An entry on one phone."""
        try:
            self.both[phone].keeps(*what)
        except HumclickError:
            return  # the call as this phone knows it has no such part

    @rule(phone=phones)
    def undoes(self, phone: int) -> None:
        """The last entry this phone knows of is taken back."""
        events = events_in(self.both[phone].tables.values())
        try:
            of = to_undo(events, fold(events)).id
        except HumclickError:
            return
        self.both[phone].keeps("undo", {"of": of})

    @rule(phone=phones)
    def holds_what_is_refused(self, phone: int) -> None:
        """An entry that this server cannot read, as of a later version."""
        self.number += 1
        table = {"kind": "later", "id": f"later{self.number}", "at": "2026-03-02T09:00:00Z"}
        self.both[phone].tables[table["id"]] = table
        self.both[phone].outbox[table["id"]] = ""

    @rule(phone=phones, faults=faults)
    def syncs(self, phone: int, faults: list[str]) -> None:
        """One phone reaches for the server."""
        self.both[phone].syncs(self.network, list(faults))

    @rule(which=st.integers(0, 9))
    def late_comes(self, which: int) -> None:
        """A request that was on its way arrives, behind others; nobody hears the answer."""
        if self.network.late:
            method, path, given = self.network.late.pop(which % len(self.network.late))
            self.network.server(method, path, **given)

    @rule()
    def is_copied(self) -> None:
        """The shop makes a copy of its files."""
        self.copies.append(self.path.read_bytes() if self.path.exists() and self.aside is None else None)

    @rule(which=st.integers(0, 9))
    def is_put_back(self, which: int) -> None:
        """An older copy takes the place of the file, or the file is deleted."""
        self._becomes(self.copies[which % len(self.copies)])

    @rule()
    def is_damaged(self) -> None:
        """Somebody breaks the file."""
        if self.aside is None and self.path.exists():
            self.aside = self.path.read_bytes()
            self.path.write_text("humclick_call = nonsense")

    @rule()
    def is_mended(self) -> None:
        """Somebody mends it."""
        if self.aside is not None:
            self._becomes(self.aside)

    def _becomes(self, data: bytes | None) -> None:
        self.aside = None
        self.path.unlink(missing_ok=True)
        if data is not None:
            self.path.write_bytes(data)

    @invariant()
    def nothing_leaves_a_phone(self) -> None:
        """What a phone held it holds; what left an outbox was named by the server as kept."""
        for phone in getattr(self, "both", ()):
            self.ever |= set(phone.tables)
            assert set(phone.tables) - set(phone.outbox) <= self.network.named
        assert self.ever == set().union(*(phone.tables for phone in getattr(self, "both", ())))

    def teardown(self) -> None:
        """Faults end: both phones and the server hold all that was ever entered, and make the same of it."""
        try:
            if hasattr(self, "both"):
                self._ends()
        finally:
            shutil.rmtree(self.folder)

    def _ends(self) -> None:
        self.is_mended()
        while self.network.late:
            self.late_comes(0)
        for _ in range(3):
            for phone in self.both:
                phone.syncs(self.network, [])
        kept = Store.at(self.folder).events(CALL)
        readable = {name for name in self.ever if not name.startswith("later")}
        assert {event.id for event in kept} == readable
        assert self.network.acknowledged <= readable
        for phone in self.both:
            here = events_in(phone.tables.values())
            assert here == merge(kept)
            assert fold(here) == fold(kept)
            assert all(refused and name.startswith("later") for name, refused in phone.outbox.items())
        holding = [fold(kept).on(phone.name) for phone in self.both]
        assert holding == [fold(events_in(self.both[0].tables.values())).on(p.name) for p in self.both]


TestTwoPhones = TwoPhones.TestCase
TestTwoPhones.settings = settings(max_examples=40, stateful_step_count=30, deadline=None)
