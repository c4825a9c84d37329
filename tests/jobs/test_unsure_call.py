"""A call whose arrangement nobody is sure of: on every face, until a look or a tap settles it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from humclick import library as hc
from humclick.cli.session import Session
from humclick.diagnosis.shop import default_shop
from humclick.errors import Unknown
from humclick.jobs.call import Call
from humclick.jobs.event_tables import event_from
from humclick.jobs.fold import fold
from humclick.jobs.result import as_json, result_of
from humclick.jobs.sheet.render import sheet_html
from tests.web.pages_asked import Bench

AT = {"at": "2026-03-02T09:00:00+01:00"}
UNSURE: dict[str, Any] = {
    "kind": "machine",
    "arrangement": "rsir-ptc",
    "provisional": True,
    "also_fits": ["rscr-ptc", "csir-current-relay", "rsir-current-relay"],
}
HUMS: dict[str, Any] = {"kind": "complaint", "heard": "hum_click"}
RELAY = "A plug-on relay with a coil of thick wire, marked for its way up"
SHOP = default_shop()


def read(probe: str, value: str) -> dict[str, Any]:
    return {"kind": "reading", "probe": probe, "value": value}


def folded(*tables: dict[str, Any]) -> Call:
    return fold([event_from({"id": f"e{k}", **AT, **table}) for k, table in enumerate(tables)])


def taken_for(call: Call) -> tuple[str, tuple[str, ...]]:
    assert call.machine is not None
    return call.machine.arrangement.id, call.machine.also


def test_what_is_seen_under_the_cover_comes_before_what_it_was_taken_for() -> None:
    """Whenever it was seen; the rest stay possible until somebody settles it; an undo takes it all back."""
    also = tuple(UNSURE["also_fits"])
    assert taken_for(folded(UNSURE, HUMS)) == ("rsir-ptc", also)
    seen = folded(UNSURE, HUMS, read("cover.pins", RELAY))
    name, rest = taken_for(seen)
    assert name == "rsir-current-relay"
    assert set(rest) == {"rsir-ptc", *also} - {name}
    plated = {**UNSURE, "volts": 115.0, "locked_rotor_amps": 14.0}
    assert taken_for(folded(UNSURE, HUMS, read("cover.pins", RELAY), plated)) == (name, rest)
    assert taken_for(folded(UNSURE, HUMS, read("cover.pins", RELAY), {"kind": "undo", "of": "e2"})) == (
        "rsir-ptc",
        also,
    )
    settled = {"kind": "machine", "arrangement": "rscr-ptc"}
    assert taken_for(folded(UNSURE, HUMS, settled)) == ("rscr-ptc", ())
    assert not folded(UNSURE, read("cover.pins", "not sure"), HUMS).problems


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 0, 2), (2, 1, 0)])
def test_one_more_event_says_the_same_as_all_of_them(order: tuple[int, ...]) -> None:
    """A look that changes what the machine is taken for is folded like any other."""
    looks = [read("cover.pins", RELAY), read("cover.capacitors", "None to be seen"), read("pins.C-R", "3.5")]
    events = [
        event_from({"id": f"e{k}", **AT, "turn": k + 1, **table})
        for k, table in enumerate((UNSURE, HUMS, *(looks[k] for k in order)))
    ]
    call = fold(events[:2])
    for event in events[2:]:
        call = call.then(event)
    whole = fold(events)
    assert taken_for(call) == taken_for(whole)
    assert call.situation() == whole.situation()


def test_other_programs_and_the_sheet_are_told_with_odds() -> None:
    """Every one that matters, adding up to one; nothing of it once it is settled."""
    call = folded(UNSURE, HUMS, read("pins.C-R", "3.5"))
    told = json.loads(as_json(result_of(call, SHOP)))
    assert sum(row["probability"] for row in told["arrangements"]) == pytest.approx(1.0)
    assert {row["name"] for row in told["arrangements"]} == {"rsir-ptc", *UNSURE["also_fits"]}
    html = sheet_html(call, SHOP)
    assert "taken for now only" in html
    assert "% capacitor start with a current relay" in html.replace("\xa0", " ")
    known = folded({"kind": "machine", "arrangement": "rsir-ptc"}, HUMS)
    assert json.loads(as_json(result_of(known, SHOP)))["arrangements"] == []
    assert "taken for now only" not in sheet_html(known, SHOP)


def test_on_the_pages_a_tap_weighs_them_all_and_a_tap_settles_it() -> None:
    """Saving the plate turns nothing into a fact; the tap leads back to where it was made."""
    bench = Bench()
    bench.calls["c"] = [{"id": "e0", **AT, **HUMS}]
    html = bench.ask("/call/c/identify?feed=mains&pins=pill&capacitors=not-sure&added=not-sure&kit=not-sure")[
        "html"
    ]
    assert "Not sure: weigh them all" in html
    bench.post("/call/c/identify", arrangement="rsir-ptc", fits=["rsir-ptc", "rscr-ptc", "csir-ptc"])
    bench.post("/call/c/plate", volts="115", locked_rotor_amps="14", refrigerant="R134a")
    last = [event for event in bench.calls["c"] if event["kind"] == "machine"][-1]
    assert last["provisional"] is True
    assert last["locked_rotor_amps"] == 14.0
    assert set(last["also_fits"]) == {"rscr-ptc", "csir-ptc"}
    page = bench.ask("/call/c")["html"]
    assert page.count("It is this one") == 3
    after = bench.post("/call/c/identify", arrangement="csir-ptc", back="/call/c")
    assert "It is this one" not in after["html"]
    assert "Start arrangement not settled" not in after["html"]
    last = [event for event in bench.calls["c"] if event["kind"] == "machine"][-1]
    assert (last["arrangement"], last.get("provisional", False)) == ("csir-ptc", False)
    assert last["locked_rotor_amps"] == 14.0


def test_choosing_one_of_several_is_a_choice() -> None:
    """The page says which fit; whoever takes one of them is sure."""
    bench = Bench()
    bench.calls["c"] = [{"id": "e0", **AT, **HUMS}]
    html = bench.ask("/call/c/identify?feed=mains&pins=pill&capacitors=not-sure&added=not-sure&kit=not-sure")[
        "html"
    ]
    forms = html.split("<form")[1:]
    chosen = next(form for form in forms if 'value="rscr-ptc"' in form and "This is it" in form)
    assert 'name="fits"' not in chosen


def test_in_the_terminal_not_sure_weighs_all_and_a_name_settles_it(tmp_path: Path) -> None:
    """A look is answered by its number; what is not known is left out and not asked again."""
    session = Session(tmp_path / "call.toml", SHOP)
    session.open()
    assert "Type not sure" in session.take("?")
    session.take("not sure")
    assert session.call.machine is not None
    assert len(session.call.machine.also) > 10
    session.questions.clear()
    said = session.take("complaint hums, then clicks off")
    assert "Not settled" in said
    assert "(rscr-ptc)" in said
    session.take("cover.feed 1")
    session.take("cover.pins 3")
    assert session.call.machine.arrangement.id == "rsir-current-relay"
    session.take("cover.capacitors ?")
    advice = session.flow.advice
    assert advice is not None
    assert "cover.capacitors" not in {v.probe for v in (advice.next, *advice.alternatives) if v is not None}
    said = session.take("arrangement csir-current-relay")
    assert session.call.machine.also == ()
    assert "Not settled" not in said


def test_in_python_too() -> None:
    """Others it may have are named with it, and settled by name."""
    call = hc.Call(hc.machine("rsir-ptc", also=["rscr-ptc", "rsir-ptc"]), heard="hum_click")
    assert {one.name for one in call.advice.arrangements} == {"rsir-ptc", "rscr-ptc"}
    seen = call.seen(
        "cover.capacitors", "A run capacitor: metal can or small block, a few to some tens of µF"
    )
    assert seen.machine.arrangement.id == "rscr-ptc"
    assert "goes with" in str(seen.findings[-1].text)
    assert seen.settled("rscr-ptc").advice.arrangements == ()
    with pytest.raises(Unknown, match="rscr-ptc"):
        call.settled("rscr-pct")
    with pytest.raises(Unknown, match="rsir-ptc"):
        hc.machine("rscr-ptc", also=["rsir-pct"])
