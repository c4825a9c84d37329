"""The nameplate, the protector, the meter, the stamps, whose machine it is."""

from __future__ import annotations

from typing import Any

from humclick.errors import HumclickError
from humclick.jobs.entry import one_of
from humclick.jobs.events import ComplaintHeard, MachineRead, MeterTaken, Opened
from humclick.jobs.fold import COMPRESSOR
from humclick.jobs.standing import given_last
from humclick.messages import N_, Message
from humclick.meters import Quantity, meters
from humclick.readings import parse_reading
from humclick.sizes.entry import cooling_from, horsepower_from
from humclick.sizes.sound import appliances
from humclick.web import drawings
from humclick.web.desk import Desk, FormRefused, beside
from humclick.web.exchange import Reply
from humclick.web.typeset import page

#: Where the protector sits, in words.
PROTECTORS: dict[str, str] = {
    "external": N_("A disc on the common pin or strapped to the shell"),
    "integrated": N_("Built into the starter"),
    "internal": N_("None to be seen: it is inside the shell"),
}

_FIELDS: tuple[tuple[str, Quantity], ...] = (
    ("volts", Quantity.VOLTAGE),
    ("locked_rotor_amps", Quantity.CURRENT),
    ("rated_load_amps", Quantity.CURRENT),
)


#: How strong the machine is, and how that is read.
_STRENGTHS = (("horsepower", horsepower_from), ("cooling", cooling_from))


def show(desk: Desk) -> Reply:
    """What is known of machine and meter, to be put right or completed."""
    now = given_last(desk.flow.events, desk.call, MachineRead)
    machine = desk.call.machine
    placed = machine.parts if machine is not None else ()
    stamped = sorted(placed, key=lambda part: "capacitor" not in part.id)  # what most often bears a stamp
    parts = [(part.id, part.family.title) for part in stamped]
    return page(
        "plate.html",
        desk,
        N_("Nameplate"),
        now=now,
        usual_volts=machine.arrangement.frame.usual_volts if machine is not None else 0.0,
        meter_now=given_last(desk.flow.events, desk.call, MeterTaken),
        heading=given_last(desk.flow.events, desk.call, Opened),
        complaint=given_last(desk.flow.events, desk.call, ComplaintHeard),
        machine=machine,
        protectors=[(name, PROTECTORS[name]) for name in (machine.arrangement.protectors if machine else ())],
        meters=meters(),
        parts=[*parts, (COMPRESSOR, Message("compressor"))],
        icon=drawings.icon,
        appliances=appliances(),
    )


def _amount(desk: Desk, name: str, quantity: Quantity) -> float | None:
    typed = desk.request.given(name)
    if not typed:
        return None
    with beside(name):
        value = parse_reading(typed, quantity).value
    if value is None:
        raise FormRefused(name, Message("a figure is needed here, not over limit"))
    return value


def _changed(desk: Desk, kind: str, now: dict[str, Any], new: dict[str, Any], field: str) -> None:
    if new == now:
        return
    try:
        desk.keep(kind, **new)
    except HumclickError as error:
        raise FormRefused(_field(str(error), new, field), error.message) from None


def _field(message: str, new: dict[str, Any], otherwise: str) -> str:
    """The field a message is about: the one whose name it begins with."""
    if message.startswith("nominal volts"):
        return "volts"
    if message.startswith("line frequency"):
        return "hertz"
    return next((name for name in new if message.startswith(name)), otherwise)


def take(desk: Desk) -> Reply:
    """Keep what was changed, and the stamp where one was typed."""
    _keep(desk)
    if desk.request.given("stamp"):
        _keep_stamp(desk)
    return desk.go(desk.path())


def _keep(desk: Desk) -> None:
    request = desk.request
    heading = given_last(desk.flow.events, desk.call, Opened)
    typed: dict[str, str] = {
        name: request.given(name) for name in ("customer", "equipment") if name in request.form
    }
    new_heading: dict[str, Any] = {**heading, **typed}
    if any(new_heading.get(k) for k in ("customer", "equipment")) or heading:
        _changed(desk, "opened", heading, new_heading, "customer")
    now = given_last(desk.flow.events, desk.call, MachineRead)
    if now:
        new = dict(now)  # what else is known of the machine stays: that it is taken for now, too
        for name, quantity in _FIELDS:
            if name in request.form:
                new[name] = _amount(desk, name, quantity)
        for name, typed_as in _STRENGTHS:
            if name in request.form:
                with beside(name):
                    new[name] = typed_as(request.given(name)) if request.given(name) else None
        if request.given("hertz") in ("50", "60"):
            new["hertz"] = float(request.given("hertz"))
        for name in ("refrigerant", "protector", "appliance"):
            if name in request.form:
                new[name] = "" if request.given(name) == "not-sure" else request.given(name)
        _changed(desk, "machine", now, new, "volts")
    meter = given_last(desk.flow.events, desk.call, MeterTaken)
    if "meter" in request.form or "leads" in request.form:
        _take_meter(desk, meter)


def _take_meter(desk: Desk, now: dict[str, Any]) -> None:
    new: dict[str, Any] = {"name": "", "own": {}, "leads_nulled": False, "lead_ohms": None}
    new.update(now)
    named = desk.request.given("meter")
    if named and (now or named != desk.call.meter.name):
        with beside("meter"):
            new |= {"own": {}, "name": one_of(Message("meter"), named, list(meters()))}
    leads = desk.request.given("leads")
    if leads == "nulled":
        new |= {"leads_nulled": True, "lead_ohms": None}
    elif leads == "not-nulled":
        new |= {"leads_nulled": False, "lead_ohms": _amount(desk, "lead_ohms", Quantity.RESISTANCE)}
    if now or any(new.values()):
        _changed(desk, "meter", now, new, "lead_ohms")


def take_stamp(desk: Desk) -> Reply:
    """Keep what is stamped on a part, and what else was changed on the page; then the page again."""
    _keep(desk)
    _keep_stamp(desk)
    return desk.go(desk.back("plate"))


def _keep_stamp(desk: Desk) -> None:
    with beside("stamp"):
        desk.keep("stamp", part=desk.request.given("part"), text=desk.request.given("stamp"))
