"""A machine whose supply does not alternate has no hertz: nothing asks for it, and nothing says it."""

from __future__ import annotations

from pathlib import Path

import pytest

from humclick import library as hc
from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.cli.session import Session
from humclick.cli.words import machine_in_words
from humclick.diagnosis.shop import default_shop
from humclick.jobs.result import as_json, result_of
from humclick.jobs.sheet.machine import machine_rows
from humclick.replacement.demand import demand
from tests.web.pages_asked import Bench

ALL = arrangements()


def alternates(name: str) -> bool:
    return arrangement(name).frame.alternates


def test_only_batteries_give_direct_current() -> None:
    """Of the program's own arrangements."""
    assert [name for name in ALL if not alternates(name)] == ["dc-unit"]


@pytest.mark.parametrize("name", ALL)
def test_hertz_is_said_of_machines_on_alternating_current_only(name: str) -> None:
    """By the library, the terminal, the sheet and the advice for other programs."""
    machine = Machine.of(name)
    rows = {str(row.name): str(row.value) for row in machine_rows(machine)}
    for text in (repr(machine), machine_in_words(machine), rows["Supply"]):
        assert ("Hz" in text) == alternates(name)
        assert ("DC" in text.replace("DC compressor", "")) == (not alternates(name))
    if not arrangement(name).recognised_only:
        call = hc.Call(machine, heard="silent").folded
        assert (result_of(call, default_shop()).machine.hertz is None) == (not alternates(name))
        assert ('"hertz": null' in as_json(result_of(call, default_shop()))) == (not alternates(name))


@pytest.mark.parametrize("name", [name for name in ALL if not arrangement(name).recognised_only])
def test_a_new_compressor_is_ordered_for_its_own_phases(name: str) -> None:
    """Three where the machine is one of three phases; neither phases nor hertz on direct current."""
    marks = {mark.rule.name: mark.value for mark in demand(Machine.of(name), "replace compressor", {}).marks}
    assert ("hertz" in marks) == alternates(name)
    phases = arrangement(name).frame.phases
    assert ("phase" in marks) == (phases > 0)
    if phases:
        assert str(marks["phase"].text if marks["phase"] else "") == f"{phases}"


@pytest.mark.parametrize("name", ["dc-unit", "rsir-ptc", "three-phase"])
def test_the_terminal_asks_for_hertz_where_there_are_any(name: str, tmp_path: Path) -> None:
    """On direct current the question is left out, and an answer nobody asked for is refused with why."""
    session = Session(tmp_path / "call.toml", default_shop())
    session.open()
    session.take(name)
    assert ("hertz" in session.questions) == alternates(name)
    said = session.take("hertz 50")
    assert ("direct current" in said) == (not alternates(name))
    again = Session(tmp_path / "call.toml", default_shop())
    again.open()
    assert ("hertz" in again.questions) == alternates(name)


@pytest.mark.parametrize("name", ["dc-unit", "rsir-ptc"])
def test_the_pages_ask_for_hertz_where_there_are_any(name: str) -> None:
    """The plate asks; the call and the record say what the supply is."""
    bench = Bench()
    at = {"at": "2026-03-02T09:00:00+01:00"}
    bench.calls["c"] = [
        {"kind": "machine", "id": "e1", **at, "arrangement": name},
        {"kind": "complaint", "id": "e2", **at, "heard": "silent"},
    ]
    plate = bench.ask("/call/c/plate")["html"]
    assert ('name="hertz"' in plate) == alternates(name)
    for page in ("/call/c", "/call/c/record"):
        html = bench.ask(page)["html"]
        assert (" Hz" in html) == alternates(name), page
        assert (("12 V DC" in html) or (">DC<" in html)) == (not alternates(name)), page
