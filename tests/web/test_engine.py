"""A call goes by forms from what is heard to the sheet; what cannot be taken is said beside its field."""

from __future__ import annotations

from typing import Any

import pytest

from tests.web.pages_asked import Bench, Page

#: A broken starter, as the meter and the ear meet it.
ANSWERS = {
    "ptc.shake": "rattles",
    "ptc.ohms": "OL",
    "pins.C-R": "3,4",
    "pins.C-S": "11.2",
    "pins.S-R": "14.6",
    "pins.shell": "OL",
    "leads.short": "0.2",
    "overload_protector.ohms": "0.2",
    "overload_protector.look": "clean",
    "supply.volts": "117",
    "supply.volts_start": "112",
    "supply.look": "clean",
    "feed.volts": "117",
    "control.setting": "was calling all along",
    "control.ohms": "0.1",
    "attempt.as_found": "hum_click",
    "wiring.look": "as drawn",
    "mechanism.condenser": "clean",
    "mechanism.shell": "warm or at room temperature",
    "attempt.known_good": "runs",
    "attempt.amps": "11",
    "earth.continuity": "0.1",
    "proof.sight": "all as it should be",
    "proof.ground_current": "0.3 mA",
}


def begun(bench: Bench, arrangement: str = "rsir-ptc", heard: str = "hum_click") -> str:
    """A call with its machine described, by forms."""
    shown = bench.post("/new", heard=heard, equipment="cooler (invented)")
    (name,) = bench.calls
    path = f"/call/{name}"
    assert shown["status"] == 200
    bench.post(f"{path}/identify", arrangement=arrangement)
    bench.post(f"{path}/plate", volts="115", hertz="60", refrigerant="R134a", locked_rotor_amps="12")
    return path


def asked(page: Page) -> tuple[str, dict[str, str]]:
    """The form that goes on: its action's last word and its hidden values."""
    for word in ("gate", "reading", "wait", "decide"):
        for action, hidden in zip(page.forms, page.hidden, strict=True):
            if action.endswith(f"/{word}"):
                return word, hidden
    return "", {}


def probe_on(reply: dict[str, Any]) -> str:
    """The probe a screen asks for: the one it offers to leave out."""
    page = Page(reply["html"])
    (probe,) = {h["probe"] for a, h in zip(page.forms, page.hidden, strict=True) if a.endswith("/skip")}
    return probe


def step(bench: Bench, path: str, page: Page, reply: dict[str, Any]) -> dict[str, Any]:
    """Do what the screen asks for."""
    word, hidden = asked(page)
    if word == "gate":
        return bench.post(f"{path}/gate", gate=hidden["gate"])
    if word == "wait":
        return bench.post(f"{path}/wait", minutes="30")
    if word == "reading":
        return bench.post(
            f"{path}/reading",
            probe=hidden["probe"],
            value=ANSWERS[hidden["probe"]],
            warmth="cold",
            passed=hidden.get("passed", ""),
        )
    return reply


@pytest.mark.parametrize("language", ["en", "es"])
def test_whole_call_goes_by_forms_from_complaint_to_sheet(language: str) -> None:
    """Doing what each screen asks for ends in a verdict; decided, fitted and proved, the sheet says so."""
    bench = Bench(language)
    path = begun(bench)
    reply = bench.ask(path)
    gates = 0
    for _ in range(40):
        page = Page(reply["html"])
        assert page.faults == []
        word, hidden = asked(page)
        gates += word == "gate" or bool(hidden.get("passed"))  # on a page of its own, or above the reading
        if word == "decide":
            break
        reply = step(bench, path, page, reply)
        assert reply["status"] == 200, Page(reply["html"]).text[:600]
    assert word == "decide"
    assert gates >= 1
    reply = bench.post(f"{path}/decide", remedy="replace starter")
    assert any(action.endswith("/fitted") for action in Page(reply["html"]).forms)
    bench.post(f"{path}/fitted", part="ptc", note="new one (invented)")
    for probe in ("proof.sight", "earth.continuity", "pins.shell"):  # before power, in this order
        barred = Page(bench.ask(f"{path}?probe=attempt.as_found&now=1")["html"])
        assert asked(barred)[0] == ""
        assert f"probe={probe}" in " ".join(barred.links)
        step(bench, path, page := Page(bench.ask(f"{path}?probe={probe}")["html"]), {})
        assert page.faults == []
    reply = bench.ask(f"{path}?probe=attempt.as_found")
    while asked(Page(reply["html"]))[0] in ("gate", "wait"):
        word, hidden = asked(Page(reply["html"]))
        form = {"gate": hidden.get("gate", "")} if word == "gate" else {"minutes": "30"}
        bench.post(f"{path}/{word}", **form)
        reply = bench.ask(f"{path}?probe=attempt.as_found&now=1")
    bench.post(f"{path}/reading", probe="attempt.as_found", value="runs")
    assert bench.summaries[path.removeprefix("/call/")]["state"] == "repaired"
    sheet = Page(bench.ask(f"{path}/sheet")["html"])
    assert {"en": "Repaired", "es": "Reparado"}[language] in sheet.text


def test_decimal_comma_is_taken_and_its_unit_with_it() -> None:
    """In Spanish 3,4 with the unit chosen beside it is kept as typed and read as 3.4 Ω."""
    bench = Bench("es")
    path = begun(bench)
    bench.post(f"{path}/reading", probe="pins.C-R", value="3,4", unit="Ω", taken="1")
    kept = bench.calls[path.removeprefix("/call/")][-1]
    assert (kept["kind"], kept["value"]) == ("reading", "3,4 Ω")
    assert "3,4 Ω" in bench.ask(path)["html"]


@pytest.mark.parametrize(
    ("probe", "value", "words"),
    [
        ("pins.C-R", "abc", "abc"),
        ("pins.C-R", "", "nothing is entered"),
        ("pins.C-R", "115 V", "resistance"),
        ("pins.C-R", "1,200", "comma"),
        ("ptc.shake", "loud", "loud"),
    ],
)
def test_bad_reading_stands_beside_its_field_and_is_not_lost(probe: str, value: str, words: str) -> None:
    """A reading that cannot be understood gives 422, its message at the field, the text, and no event."""
    bench = Bench()
    path = begun(bench)
    before = len(bench.calls[path.removeprefix("/call/")])
    reply = bench.post(f"{path}/reading", probe=probe, value=value, taken="1")
    page = Page(reply["html"])
    assert reply["status"] == 422
    assert page.faults == []
    assert words in page.text
    assert 'id="error-value"' in reply["html"]
    if probe == "pins.C-R":
        (field,) = [f for f in page.fields if f.get("name") == "value"]
        assert field["value"] == value
        assert field["aria-describedby"] == "error-value"
    assert len(bench.calls[path.removeprefix("/call/")]) == before
    assert reply["append"] == []


@pytest.mark.parametrize(
    ("where", "form", "field"),
    [
        ("plate", {"volts": "500"}, "volts"),
        ("plate", {"locked_rotor_amps": "many", "refrigerant": "R290"}, "locked_rotor_amps"),
        ("stamp", {"part": "ptc", "stamp": ""}, "stamp"),
        ("note", {"text": ""}, "text"),
        ("decide", {}, ""),
        ("fitted", {"part": "wheel"}, ""),
        ("mark", {"sha256": "a" * 64, "x": "", "y": "", "label": "C"}, ""),
        ("gate", {"gate": "none"}, ""),
        ("undo", {"of": "nothing"}, "of"),
        ("reading", {"probe": "nothing", "value": "1"}, ""),
        ("wait", {"minutes": "long"}, ""),
        ("photos", {}, "photo"),
        ("identify", {"arrangement": "steam"}, "arrangement"),
    ],
)
def test_form_that_cannot_be_taken_appends_nothing(where: str, form: dict[str, str], field: str) -> None:
    """Every form refuses what it cannot use with 422 on its own page, the rest of it still filled in."""
    bench = Bench()
    path = begun(bench)
    reply = bench.ask(f"{path}/{where}", "POST", form)
    assert reply["status"] == 422
    assert reply["append"] == []
    assert Page(reply["html"]).faults == []
    if field:
        assert f'id="error-{field}"' in reply["html"]
    if "refrigerant" in form:
        assert 'value="R290"' in reply["html"]


def test_reading_is_not_taken_before_its_safety_steps() -> None:
    """While a gate is open a reading is refused, unless the person says that it was taken already."""
    bench = Bench()
    path = begun(bench)
    assert bench.post(f"{path}/reading", probe="pins.C-R", value="3.4")["status"] == 422
    assert bench.post(f"{path}/reading", probe="pins.C-R", value="3.4", taken="1")["status"] == 200
    assert "taken without a record of" in Page(bench.ask(path)["html"]).text


def test_any_event_is_taken_back_and_brought_back() -> None:
    """The record takes back an event in the middle, keeps it in sight, and brings it back."""
    bench = Bench()
    path = begun(bench)
    name = path.removeprefix("/call/")
    bench.post(f"{path}/reading", probe="pins.C-R", value="OL", taken="1")
    bench.post(f"{path}/note", text="seen")
    (reading,) = [event["id"] for event in bench.calls[name] if event["kind"] == "reading"]
    page = Page(bench.post(f"{path}/undo", of=reading, back=f"{path}/record")["html"])
    assert "taken back" in page.text
    assert "Bring back" in page.text
    bench.post(f"{path}/undo", of=reading, back=f"{path}/record")
    assert "OL" in Page(bench.ask(path)["html"]).text
    assert "taken back" not in Page(bench.ask(f"{path}/record")["html"]).text.replace(
        "what is taken back", ""
    )


def test_keypad_works_without_a_script() -> None:
    """A key of the keypad, sent as a form, comes back in the field and keeps nothing."""
    bench = Bench()
    path = begun(bench)
    reply = bench.post(f"{path}/reading", probe="pins.C-R", value="4.", press="7", taken="1")
    (field,) = [f for f in Page(reply["html"]).fields if f.get("name") == "value"]
    assert (reply["status"], field["value"], reply["append"]) == (200, "4.7", [])


def test_probe_left_out_is_planned_around() -> None:
    """A probe that cannot be done is left out, and another is asked for."""
    bench = Bench()
    path = begun(bench)
    first = probe_on(bench.ask(path))
    assert probe_on(bench.post(f"{path}/skip", probe=first)) != first


def test_steps_of_dead_work_are_confirmed_by_their_button_only() -> None:
    """With the steps shown named a reading records each of them; without, or with others, it is refused."""
    bench = Bench()
    path = begun(bench)
    page = Page(bench.ask(f"{path}?probe=pins.C-R&now=1")["html"])
    word, hidden = asked(page)
    assert word == "reading"
    assert hidden["passed"] == "power-off-proved-dead"
    assert "Every step is done: enter the reading" in page.text
    for passed in ("", "cover-on", "power-off-proved-dead stand-clear"):
        refused = bench.post(f"{path}/reading", probe="pins.C-R", value="4.7", passed=passed)
        assert refused["status"] == 422
    wrong = bench.post(f"{path}/reading", probe="pins.C-R", value="abc", passed=hidden["passed"])
    assert wrong["status"] == 422
    name = path.removeprefix("/call/")
    assert not any(each["kind"] == "gate" for each in bench.calls[name])
    bench.post(f"{path}/reading", probe="pins.C-R", value="4.7", passed=hidden["passed"])
    assert [each["kind"] for each in bench.calls[name]][-2:] == ["gate", "reading"]


def test_steps_before_power_are_confirmed_together_before_it() -> None:
    """One tap records cover and standing clear, each by itself; only then is there anything to enter."""
    bench = Bench()
    path = begun(bench)
    bench.post(f"{path}/reading", probe="earth.continuity", value="0.1", taken="1")
    word, hidden = asked(Page(bench.ask(f"{path}?probe=attempt.as_found&now=1")["html"]))
    assert (word, hidden["gate"]) == ("gate", "cover-on stand-clear")
    refused = bench.post(f"{path}/reading", probe="attempt.as_found", value="runs", passed=hidden["gate"])
    assert refused["status"] == 422
    bench.post(f"{path}/gate", gate=hidden["gate"])
    kept = bench.calls[path.removeprefix("/call/")]
    assert [each.get("gate") for each in kept if each["kind"] == "gate"] == ["cover-on", "stand-clear"]
    word, _ = asked(Page(bench.ask(f"{path}?probe=attempt.as_found&now=1")["html"]))
    assert word == "reading"


@pytest.mark.parametrize(
    ("place", "said"),
    [("us", "EPA Section 608"), ("eu", "F-gas certificate"), ("mx", "CONOCER"), ("", "in many places")],
)
def test_the_place_chosen_once_is_on_the_call_and_in_its_rules(place: str, said: str) -> None:
    """A place of the settings is put on a new call; its certificate stands with the compressor's change."""
    bench = Bench()
    bench.post("/settings", language="en", theme="auto", meter="", shop="", place=place)
    path = begun(bench)
    kept = bench.calls[path.removeprefix("/call/")]
    assert kept[0].get("place", "") == place
    assert said in bench.post(f"{path}/decide", remedy="replace compressor")["html"]


def test_a_place_that_is_none_is_refused() -> None:
    """A place that is not in the list is answered beside its field."""
    reply = Bench().ask("/settings", "POST", {"language": "en", "theme": "auto", "place": "atlantis"})
    assert reply["status"] == 422
    assert "choose one of the places" in reply["html"]


def test_timer_stands_in_the_address() -> None:
    """A discharge timer is an end in the address, so that a locked screen or a reload loses nothing."""
    bench = Bench()
    path = begun(bench)
    reply = bench.ask(f"{path}/timer", "POST", {"seconds": "22"})
    assert reply["go"].endswith("until=2026-11-25T10:00:22%2B00:00")
    assert reply["append"] == []


def test_way_back_leads_only_to_the_same_call() -> None:
    """A way back that a form names leads to a page of the call, never elsewhere."""
    bench = Bench()
    path = begun(bench)
    for back in ("https://elsewhere.example/", "//elsewhere.example", "/call/other", f"{path}/../x"):
        reply = bench.ask(f"{path}/note", "POST", {"text": "seen", "back": back})
        assert reply["go"].startswith(path)
        assert ".." not in reply["go"]


def test_settings_are_kept_by_the_device_and_used() -> None:
    """Language and meter chosen once are handed back to be kept, and the next page and call use them."""
    bench = Bench()
    reply = bench.post("/settings", language="es", theme="dark", meter="clamp", shop="Taller (inventado)")
    if reply["status"] == 422:  # the meter's name is not this one here: take one that is offered
        reply = bench.post("/settings", language="es", theme="dark", meter="", shop="Taller (inventado)")
    assert bench.settings["language"] == "es"
    assert "Avisos" in bench.ask("/")["html"]
    bench.post("/new", heard="silent")
    (name,) = bench.calls
    assert bench.calls[name][0]["shop"] == "Taller (inventado)"
    assert bench.post("/settings", language="xx", theme="dark")["status"] == 422


def test_questions_under_the_cover_end_in_one_arrangement() -> None:
    """Answers lead to one arrangement; not being sure leaves several, the record says so."""
    bench = Bench()
    bench.post("/new", heard="hum")
    (name,) = bench.calls
    page = bench.ask(f"/call/{name}/identify?feed=mains&pins=relay&capacitors=start")
    assert 'value="csir-current-relay"' in page["html"]
    page = bench.ask(f"/call/{name}/identify?feed=mains&pins=relay&capacitors=not-sure&added=not-sure")
    assert 'value="csir-current-relay"' in page["html"]
    assert 'value="rsir-current-relay"' in page["html"]
    bench.post(
        f"/call/{name}/identify",
        arrangement="rsir-current-relay",
        fits=["rsir-current-relay", "csir-current-relay"],
    )
    assert "taken for now" in Page(bench.ask(f"/call/{name}")["html"]).text


def test_same_machine_is_taken_over_into_a_new_call() -> None:
    """A new call on the same machine begins with its arrangement, plate and stamps."""
    bench = Bench()
    path = bench.load("broken-starter")
    (link,) = [
        each for each in Page(bench.ask(f"{path}/record")["html"]).links if each.startswith("/new?like=")
    ]
    assert "machine=" in link
    bench.post("/new", heard="hum", machine='{"machine":{"arrangement":"rsir-ptc"},"stamps":[["ptc","4R7"]]}')
    (name,) = [each for each in bench.calls if each != "broken-starter"]
    assert [event["kind"] for event in bench.calls[name]] == ["opened", "complaint", "machine", "stamp"]


def test_photos_and_their_marks_are_kept_and_shown() -> None:
    """A photo is kept by its hash, a mark by its place; both are shown on its page and on the sheet."""
    bench = Bench()
    path = begun(bench)
    bench.photos = [{"hash": "b" * 64, "caption": "pins", "width": 400, "height": 300}]
    bench.post(f"{path}/photos", sha256="b" * 64, caption="pins")
    page = bench.post(f"{path}/mark", sha256="b" * 64, x="25", y="60,5", label="C")
    assert "60.5 % from the top" in Page(page["html"]).text
    assert f'src="/photos/{"b" * 64}"' in page["html"]
    assert "C (25 %, 60.5 %)" in Page(bench.ask(f"{path}/sheet")["html"]).text
