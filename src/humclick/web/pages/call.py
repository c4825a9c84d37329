"""The one screen of a call: where to probe, what to type, what it means, what is still suspected."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from markupsafe import Markup

from humclick.circuit.pins_drawing import relay_svg
from humclick.diagnosis.advice import Advice
from humclick.diagnosis.findings import HEARD
from humclick.diagnosis.probes import Probe
from humclick.jobs.briefing import Briefing, on_machine
from humclick.jobs.flow import Step, step
from humclick.jobs.standing import UNNAMED_PINS, provisional
from humclick.jobs.warmth import felt, since, stood
from humclick.messages import N_, NOTHING, Message
from humclick.meters import Quantity
from humclick.readings.typed import EXAMPLES
from humclick.safety import Stop, gate, place_of, stops_at
from humclick.web import drawings
from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.pages import decision, record
from humclick.web.pages.photos import photos_of
from humclick.web.typeset import page

#: Units offered on the keypad, the usual one first.
UNITS: dict[str, tuple[str, ...]] = {
    "resistance": ("Ω", "kΩ", "MΩ"),
    "capacitance": ("µF", "nF"),
    "voltage": ("V", "mV"),
    "current": ("A", "mA"),
}
#: How warm the part is: what is kept, and the words.
WARMTHS: tuple[tuple[str, str], ...] = (("", N_("not felt")), ("cold", N_("cold")), ("hot", N_("hot")))


def step_of(desk: Desk) -> Step:
    """What to do next on this call, with the probe chosen on the page before any advised."""
    request = desk.request
    chosen = request.asked("probe") or request.given("probe")
    if chosen and desk.errors and not desk.flow.has(chosen):
        chosen = ""
    at_once = request.asked("now") or request.given("now") or request.given("value")
    taken = request.asked("taken") or request.given("taken")
    return step(desk.flow, chosen, at_once=bool(at_once), already=bool(taken))


# -- the screen ---------------------------------------------------------------------------------------------


def show(desk: Desk) -> Reply:
    """The call screen."""
    step = step_of(desk)
    advice = desk.flow.weighed.advice if desk.flow.weighed is not None else None
    machine, last = desk.call.machine, record.last_entry(desk)
    values: dict[str, Any] = {
        "step": step,
        "advice": advice,
        "machine": machine,
        "refusal": desk.flow.weighed.refusal if desk.flow.weighed is not None else "",
        "last": last,
        "entries": record.entries(desk),
        "doubt": desk.flow.doubt,
        "contradictions": [
            record.with_titles(desk, message)
            for message in (desk.flow.weighed.contradictions if desk.flow.weighed is not None else ())
            if last is None or message not in last.finding  # said there already
        ],
        "suspects": suspects(desk),
        "before": suspects_before(desk),
        "wiring": _wiring(desk, step),
        "icon": drawings.icon,
        "state": desk.flow.state,
        "timer": _timer(desk),
        "rules": place_of(desk.call.place),
        "pins": _pins(desk),
        "HEARD": HEARD,
        "provisional": provisional(desk.flow.events, desk.call),
        "in_the_way": _in_the_way(step.briefing),
        "open_stops": [
            (stopped, gate(stopped.stop.proof) if stopped.stop.proof else None)
            for stopped in desk.call.stopped
        ],
        "kinds": record.KINDS,
        "photos": photos_of(desk),
    }
    match step.kind:
        case "recognised":
            values |= {"hazards": on_machine(desk.call)}
        case "probe":
            values |= _entry(desk, step)
        case "wait":
            values |= _wait(desk, step)
        case "verdict" | "after" | "repaired":
            values |= decision.given(desk)
    return replace(
        page("call.html", desk, N_("Call"), **values), title=_title(desk, step), announce=announced(desk)
    )


def _in_the_way(briefing: Briefing) -> list[tuple[str, Stop]]:
    """What may stand in the way of the gates shown, each with the gate at which it is offered."""
    offered: dict[str, tuple[str, Stop]] = {}
    for entry in briefing.gates:
        for stop in stops_at(entry.gate.name):
            offered.setdefault(stop.said, (entry.gate.name, stop))
    return list(offered.values())


def _title(desk: Desk, step: Step) -> str:
    header = desk.call.header
    name = header.equipment if header and header.equipment else desk.language.text("Call")
    return name if step.probe is None else f"{desk.language.plain(step.probe.title)} · {name}"


def announced(desk: Desk) -> str:
    """What the last entry means, for who cannot see the page."""
    last = record.last_entry(desk)
    return desk.language.plain(last.finding) if last is not None and last.finding else ""


@dataclass(frozen=True, slots=True)
class SuspectLine:
    """A suspect as shown: words, the same short, the customer's words, and its probability. [-]"""

    label: Message
    short: Message
    plain: Message
    probability: float

    @property
    def length(self) -> int:
        """How long its bar is. [%]"""
        return max(1, round(100 * self.probability))


def suspects(desk: Desk, most: int = 5) -> list[SuspectLine]:
    """The most probable suspects; the last line holds all the rest."""
    return _shown(desk.flow.weighed.advice if desk.flow.weighed is not None else None, most)


def suspects_before(desk: Desk, most: int = 5) -> list[SuspectLine]:
    """Likewise as it stood before what was done, where something was done."""
    if not desk.flow.state.done or desk.flow.before is None:
        return []
    return _shown(desk.flow.before.advice, most)


def _shown(advice: Advice | None, most: int) -> list[SuspectLine]:
    if advice is None:
        return []
    named = [s for k, s in enumerate(advice.suspects[:most]) if k == 0 or s.probability >= 0.01]
    lines = [SuspectLine(s.label, s.short, s.plain, s.probability) for s in named]
    rest = max(0.0, 1.0 - sum(s.probability for s in named))
    if rest >= 0.005:
        lines.append(SuspectLine(NOTHING, NOTHING, NOTHING, rest))
    return lines


def _wiring(desk: Desk, step: Step) -> drawings.Wiring | None:
    machine, weighed = desk.call.machine, desk.flow.weighed
    if machine is None or weighed is None:
        return None
    points = None
    if step.probe is not None:
        points = step.probe.points
        if step.probe.quantity == "current":  # a clamp goes round a wire: between these two, not on them
            points = ("c", "C")
    shares = {part: p for part, p in weighed.shares.items() if p >= 0.02}
    return drawings.wiring(machine, desk.language, points, shares, step.probe)


def _entry(desk: Desk, step: Step) -> dict[str, Any]:
    probe = step.probe
    assert probe is not None
    taken = [r for r in desk.call.readings if r.probe == probe.id]
    heard = probe.heard
    typed, hint = desk.request.given("value"), _hint(probe)
    chosen = "warmth" in desk.request.form
    return {
        "units": UNITS.get(probe.quantity, ()),
        "unit": desk.request.given("unit") or _unit_before(taken, probe),
        "keys": ("7", "8", "9", "4", "5", "6", "1", "2", "3", desk.language.mark, "0", "⌫"),
        "warmths": WARMTHS,
        "warmth": desk.request.given("warmth") if chosen else felt(desk.flow, desk.request.now, probe),
        "typed": pressed(typed, desk.request.given("press")) if desk.request.given("press") else typed,
        "example": EXAMPLES[Quantity(probe.quantity)] if probe.quantity else "",
        "outcomes": [(outcome, HEARD[outcome] if heard else outcome) for outcome in probe.outcomes],
        "heard": heard,
        "again": bool(taken),
        "hint": hint,
        "relay": Markup(  # escaped where it is drawn
            drawings.recoloured(relay_svg(hint == "relay-over", translate=desk.language.plain))
        ),
    }


def _unit_before(taken: list[Any], probe: Probe) -> str:
    """The unit last used here, else the usual one; a winding to the shell reads megohms."""
    units = UNITS.get(probe.quantity, ("",))
    if probe.model.to_shell and not taken:
        return "MΩ"
    return units[0]


def _hint(probe: Probe) -> str:
    """Which drawing helps to find the points: of the pins, or of the relay in one of its positions."""
    if probe.id in UNNAMED_PINS:
        return "number"
    if probe.id.startswith("pins."):
        return "pins"
    if probe.id.startswith("current_relay."):
        return "relay-over" if "over" in probe.id else "relay"
    return ""


def _wait(desk: Desk, step: Step) -> dict[str, Any]:
    assert step.value is not None
    now, minutes = desk.request.now, step.value.waits
    began = since(desk.flow, now) if stood(desk.flow, now) is not None else None
    until = None if began is None else began + timedelta(minutes=minutes)
    return {
        "minutes": minutes,
        "until": until,
        "over": until is not None and until <= now,
        "began": began,
    }


def _timer(desk: Desk) -> datetime | None:
    """A discharge timer that was started, by its end in the address."""
    try:
        until = datetime.fromisoformat(desk.request.asked("until"))
    except ValueError:
        return None
    return until if until.tzinfo is not None else None


def _pins(desk: Desk) -> Any:
    """What three readings between unnamed pins say, where they are the last thing done."""
    taken = desk.call.readings
    if not taken or taken[-1].probe not in UNNAMED_PINS:
        return None
    return desk.flow.pins


def pressed(typed: str, key: str) -> str:
    """
    What stands in the field after a key of the keypad.

    Examples
    --------
    >>> pressed("4.", "7"), pressed("47", "⌫"), pressed("4", "OL"), pressed("OL", "3")
    ('4.7', '4', 'OL', '3')
    """
    if key == "OL":
        return "OL"
    if key == "⌫":
        return "" if typed == "OL" else typed[:-1]
    return key if typed == "OL" else typed + key
