"""The job sheet: three pages from one call, at every point of it, safe with any text."""

from __future__ import annotations

import logging
import re
import sys
import zlib
from datetime import UTC, datetime, timedelta
from functools import cache
from html.parser import HTMLParser
from typing import Any

import pytest

from humclick.diagnosis.shop import shop_from_table
from humclick.errors import Refused
from humclick.jobs.call import Call
from humclick.jobs.event_tables import event_from
from humclick.jobs.fold import fold
from humclick.jobs.sheet.model import Sheet
from humclick.jobs.sheet.pdf import sheet_pdf
from humclick.jobs.sheet.render import sheet_html, sheet_of, typeset

START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
HEAD: dict[str, Any] = {
    "kind": "opened",
    "shop": "Northgate Cold Works",
    "customer": "M. Example",
    "equipment": "upright freezer",
    "invented": True,
}
CSIR: dict[str, Any] = {
    "kind": "machine",
    "arrangement": "csir-current-relay",
    "protector": "external",
    "locked_rotor_amps": 12.0,
    "rated_load_amps": 1.6,
    "refrigerant": "R134a",
}
HUMS: dict[str, Any] = {"kind": "complaint", "heard": "hum_click", "words": "It hums, then clicks."}
STAMP: dict[str, Any] = {"kind": "stamp", "part": "start_capacitor", "text": "88-108 MFD 110/125 VAC"}
HOSTILE = "<script>alert(1)</script>\"'&amp;{{ 7*7 }}<img src='http://x.invalid/a'>"


def call(*tables: dict[str, Any]) -> Call:
    return fold(
        event_from({"id": f"e{n:02d}", "at": START + timedelta(minutes=n), **table})
        for n, table in enumerate(tables)
    )


def reading(probe: str, value: str, **more: str) -> dict[str, Any]:
    return {"kind": "reading", "probe": probe, "value": value, **more}


def gate(name: str) -> dict[str, Any]:
    return {"kind": "gate", "gate": name}


LOW: tuple[dict[str, Any], ...] = (
    *(HEAD, CSIR, HUMS, STAMP, gate("power-off-proved-dead"), gate("capacitors-discharged")),
    reading("overload_protector.ohms", "0.2", temperature="cold"),
    reading("start_capacitor.farads", "12.4"),
    reading("current_relay.at_rest", "OL"),
    reading("current_relay.turned_over", "0.2"),
    *(reading(f"pins.{pins}", ohms, temperature="cold") for pins, ohms in (("C-R", "2.1"), ("C-S", "8.8"))),
    *(reading("pins.S-R", "10.8", temperature="cold"), reading("pins.shell", "OL")),
    reading("start_capacitor.look", "bulged or wet"),
)
FITTED: dict[str, Any] = {"kind": "fitted", "part": "start_capacitor", "note": "88-108 MFD 110 VAC"}


@cache
def verdict() -> Sheet:
    return sheet_of(call(*LOW))


class Tags(HTMLParser):
    """Collects tags, addresses and event handlers."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.addresses: list[str] = []
        self.handlers: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note one tag."""
        self.tags.add(tag)
        for name, value in attrs:
            if name in ("src", "href", "srcset", "data", "action", "poster"):
                self.addresses.append(value or "")
            if name.startswith("on"):
                self.handlers.append(name)


def tags(html: str) -> Tags:
    found = Tags()
    found.feed(html)
    return found


def test_the_customer_reads_plain_words() -> None:
    """The customer's page says what is wrong, what is needed, what was tested and what to mind; no jargon."""
    page = verdict().customer_page
    assert page.headline == "We found the cause"
    assert any("start capacitor" in line for line in page.wrong)
    assert page.needed == ("Replace the start capacitor",)
    assert {t.what for t in page.tested if not t.good} == {"The start capacitor"}
    assert any("unplugged" in line for line in page.safety)
    everything = " ".join((page.explained, page.sure, *page.wrong, *page.does, *page.safety)).casefold()
    assert not re.search(r"deciban|posterior|µf|ohm|psc|csir|relay\.|%|probab", everything)


def test_prices_are_shown_only_where_they_are_the_shops() -> None:
    """Without the shop's own file no price is printed; with it parts, work and total are."""
    assert verdict().customer_page.costs == ()
    assert "ask before the work" in verdict().customer_page.cost_note
    shop = shop_from_table({"rates": {"minute": 2.0}, "remedy": {"replace start capacitor": {"price": 30.0}}})
    (line,) = sheet_of(call(*LOW), shop, money="EUR").customer_page.costs
    assert (line.parts, line.work, line.total) == ("30.00 EUR", "24.00 EUR", "54.00 EUR")


def test_the_technician_sees_every_reading_in_order() -> None:
    """Every event stands in order with number, finding and weight; gates refer to the entry that passed."""
    page = verdict().technician_page
    readings = [e for e in page.record if e.kind == "reading"]
    assert [e.number for e in page.record] == list(range(1, len(page.record) + 1))
    assert [e.probe for e in readings] == [t["probe"] for t in LOW if t["kind"] == "reading"]
    assert all(e.finding and e.weight for e in readings)
    low = next(e for e in readings if e.probe == "start_capacitor.farads")
    assert (low.value, low.warns, low.passed) == ("12.4 µF", True, ("No. 2", "No. 3"))
    assert page.headline.startswith("Verdict: Replace the start capacitor")
    (now,) = page.standings
    assert now.suspects
    assert now.remedies
    assert page.reasons
    assert any(row.name == "Flip factor" for row in page.figures)
    assert any("None of these" in line for line in page.left_out)
    assert any("at most" in line for line in page.left_out)
    assert "start capacitor" in typeset(verdict())
    assert page.wiring is not None


def test_a_gate_not_passed_is_named() -> None:
    """A reading taken without its safety step is marked in words."""
    page = sheet_of(call(HEAD, CSIR, reading("overload_protector.look", "clean"))).technician_page
    (entry,) = page.record
    assert entry.unproved == ("Power off, and proved dead", "Capacitors discharged, and proved with volts")
    assert "NOT confirmed before it: Power off, and proved dead" in sheet_html(
        call(HEAD, CSIR, reading("overload_protector.ohms", "0.2"))
    )


def test_the_counter_sees_what_to_ask_for() -> None:
    """The counter's page holds the demand for the part of the verdict, with marks still to be read."""
    page = verdict().counter_page
    (found,) = page.demands
    assert found.part == "start_capacitor"
    assert [m.name for m in found.missing] == ["bleed_resistor"]
    html = typeset(verdict())
    assert "88 to 108 µF" in html
    assert "Never a lower voltage." in html


def test_before_a_verdict_nothing_is_ordered() -> None:
    """An interim sheet says so on all three pages and gives the next probe."""
    sheet = sheet_of(call(HEAD, CSIR, HUMS, gate("power-off-proved-dead")))
    assert sheet.state.name == "open"
    assert sheet.customer_page.headline == "Not finished yet"
    assert sheet.technician_page.headline == "No verdict yet"
    assert sheet.technician_page.next
    assert sheet.counter_page.headline in ("Do not order yet", "Nothing to order yet")


def test_a_repair_that_ran_is_told_as_done() -> None:
    """After the part was fitted and the machine ran, the work is told as done, and the part is checked."""
    run = (gate("cover-on"), gate("stand-clear"), reading("fit.start_capacitor", "runs"))
    sheet = sheet_of(call(*LOW, FITTED, *run))
    assert sheet.state.name == "repaired"
    assert sheet.customer_page.done == ("Start capacitor replaced",)
    assert sheet.customer_page.needed == ()
    (part,) = sheet.counter_page.fitted
    assert part.fit == "no"
    assert any("lower" in line.reason for line in part.lines)


def test_a_part_fitted_without_a_start_is_not_called_repaired() -> None:
    """Without a start that ran on record nobody is told that it runs."""
    sheet = sheet_of(call(*LOW, FITTED))
    assert sheet.state.name == "fitted"
    assert "not test-run" in sheet.customer_page.headline


def test_the_technicians_decision_counts_and_a_difference_is_said() -> None:
    """The decision taken stands on the sheet; that it differs from the judged one is written beside it."""
    decided = {"kind": "decision", "remedies": ["hand over"], "words": "no parts in the van"}
    sheet = sheet_of(call(*LOW, decided))
    assert sheet.state.name == "handed"
    assert "The two differ." in sheet.technician_page.verdict_note


def test_a_machine_only_recognised_has_a_sheet(recognised: str) -> None:
    """A machine that is only recognised gets its caution and drawing, no suspects and no order."""
    machine = {"kind": "machine", "arrangement": recognised, "volts": 230.0}
    sheet = sheet_of(call(HEAD, machine))
    assert sheet.state.name == "recognised"
    assert sheet.technician_page.standings == ()
    assert sheet.counter_page.demands == ()
    assert sheet.technician_page.cautions[0] in typeset(sheet).replace("&#39;", "'")


def test_an_empty_call_has_a_sheet() -> None:
    """A call with nothing in it still gives three pages that say so."""
    html = sheet_html(call())
    assert html.count("<section") == 3
    assert "Not started yet" in html


def test_any_text_is_shown_and_never_run() -> None:
    """HTML, template signs and addresses in every field come out as text; nothing is fetched, no script."""
    html = sheet_html(
        call(
            HEAD | {"shop": HOSTILE, "customer": HOSTILE, "equipment": HOSTILE},
            CSIR | {"refrigerant": HOSTILE},
            HUMS | {"words": HOSTILE + "long " * 900},
            STAMP | {"text": HOSTILE},
            {"kind": "photo", "sha256": "ab" * 32, "caption": HOSTILE},
            gate("power-off-proved-dead") | {"words": HOSTILE},
            {"kind": "note", "text": HOSTILE + "Ω" * 3000},
            reading("overload_protector.ohms", "0.2", note=HOSTILE),
            reading("no.such", HOSTILE),
            {"kind": "skip", "probe": "supply.volts", "reason": HOSTILE},
            {"kind": "decision", "remedies": ["replace start capacitor", HOSTILE], "words": HOSTILE},
            FITTED | {"note": HOSTILE},
        )
    )
    found = tags(html)
    assert not found.tags & {"script", "img", "iframe", "link", "object", "embed", "form"}
    assert found.addresses == ["#customer", "#technician", "#counter"]
    assert found.handlers == []
    assert "{{ 7*7 }}" in html
    assert html.count("&lt;script&gt;alert(1)&lt;/script&gt;") > 12


def test_the_file_needs_nothing_from_outside() -> None:
    """One file: styles and drawing inside, no address, no import, and a policy that forbids fetching."""
    html = typeset(verdict(), "Letter")
    assert "default-src 'none'" in html
    assert "size: 8.5in 11in" in html
    assert not re.search(r"@import|url\(", html)
    without_names = html.replace("http://www.w3.org/2000/svg", "")
    assert "http" not in without_names.replace("http-equiv", "")
    ids = re.findall(r'\sid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_the_same_call_gives_the_same_file() -> None:
    """Nothing on the sheet depends on when it is printed."""
    assert typeset(sheet_of(call(*LOW))) == typeset(verdict())


def test_the_sheet_becomes_a_pdf(caplog: pytest.LogCaptureFixture) -> None:
    """The sheet becomes a PDF of at least three pages, and the typesetter has nothing to complain of."""
    pytest.importorskip("weasyprint")
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        made = sheet_pdf(call(HEAD, CSIR | {"arrangement": "three-phase", "protector": "", "volts": 230.0}))
    assert made.startswith(b"%PDF-")
    packed = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", made, re.DOTALL)
    plain = b"".join(zlib.decompressobj().decompress(each) for each in packed if each[:1] == b"\x78")
    assert len(re.findall(rb"/Type ?/Page(?!s)", made + plain)) >= 3
    assert [record.getMessage() for record in caplog.records if record.name.startswith("weasyprint")] == []


def test_a_missing_typesetter_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without WeasyPrint the message says how to install it and that the HTML prints as well."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(Refused, match=r"pip install 'humclick\[sheet\]'"):
        sheet_pdf(call())
    with pytest.raises(Refused, match="paper must be A4 or Letter"):
        sheet_pdf(call(), paper="A5")
