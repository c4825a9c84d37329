"""
The one screen of a call: where to probe, what to type, what it means, what is still suspected.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from humclick.circuit.pins_drawing import relay_svg
from humclick.diagnosis.advice import Advice, Value
from humclick.diagnosis.findings import HEARD
from humclick.diagnosis.probes import Probe
from humclick.diagnosis.situation import warmth
from humclick.errors import HumclickError, Refused, Unknown
from humclick.jobs.briefing import Briefing, on_machine
from humclick.jobs.entry import answer_to
from humclick.jobs.events import ComplaintHeard, PartFitted, ReadingTaken, RecordingTaken, Waited
from humclick.jobs.standing import UNNAMED_PINS, live, pins_found, provisional
from humclick.meters import Quantity
from humclick.readings.typed import EXAMPLES
from humclick.safety import Stop, energises, gate, place_of, stops_at
from humclick.web import drawings
from humclick.web.desk import Desk, FormRefused, beside
from humclick.web.exchange import Reply
from humclick.web.language import N_
from humclick.web.pages import decision, record
from humclick.web.pages.photos import photos_of
from humclick.web.typeset import page

__all__ = ["UNITS", "pressed", "show", "take_gate", "take_reading", "take_skip", "take_timer", "take_wait"]

#: Units offered on the keypad, the usual one first.
UNITS: dict[str, tuple[str, ...]] = {
    "resistance": ("Ω", "kΩ", "MΩ"),
    "capacitance": ("µF", "nF"),
    "voltage": ("V", "mV"),
    "current": ("A", "mA"),
}
#: How warm the part is: what is kept, and the words.
WARMTHS: tuple[tuple[str, str], ...] = (("", N_("not felt")), ("cold", N_("cold")), ("hot", N_("hot")))

_FIGURE = re.compile(r"[<>]?[0-9.,\s]+")
#: Longest discharge or cooling timer. [s]
_LONGEST = 6 * 3600
#: Longest time a machine is taken to have stood since something was written down. [min]
_LONGEST_STAND = 48 * 60


@dataclass(frozen=True, slots=True)
class Step:
    """
    What the screen asks for now.

    Attributes
    ----------
    kind : str
        ``stop``, ``identify``, ``recognised``, ``barred``, ``gate``, ``probe``, ``wait``, ``verdict``,
        ``after``, ``repaired`` or ``refused``.
    probe : Probe or None
        The probe in question.
    value : Value or None
        What it is worth, where it is among those advised.
    advised : bool
        Whether it is the one advised, and not one chosen instead.
    briefing : Briefing
        What is said of safety before it, with the gates that do not hold yet.
    """

    kind: str
    probe: Probe | None = None
    value: Value | None = None
    advised: bool = True
    briefing: Briefing = field(default_factory=Briefing)


def step_of(desk: Desk) -> Step:
    """What to do next on this call."""
    machine, weighed = desk.call.machine, desk.weighed
    if desk.call.stopped and not (desk.request.asked("taken") or desk.request.given("taken")):
        return Step("stop")
    if machine is None or weighed is None:
        return Step("identify")
    if machine.arrangement.recognised_only:
        return Step("recognised")
    advice = weighed.advice
    if advice is None:
        return Step("refused")
    chosen = desk.request.asked("probe") or desk.request.given("probe")
    if chosen and not (desk.errors and _unknown(desk, chosen)):
        probe = desk.probe(chosen)
        values = (advice.next, *advice.alternatives)
        value = next((v for v in values if v is not None and v.probe == probe.id), None)
        advised = advice.next is not None and advice.next.probe == probe.id
        return _asked(desk, probe, value, advised)
    onward = desk.onward
    if onward is not None and onward.kind in ("work", "prove", "repaired"):
        return Step("repaired" if onward.kind == "repaired" else "after")
    if advice.next is None:
        return Step("verdict")
    return _asked(desk, desk.probe(advice.next.probe), advice.next, True)


def _unknown(desk: Desk, name: str) -> bool:
    """Whether the machine has no such probe."""
    try:
        desk.probe(name)
    except Unknown:
        return True
    return False


def _asked(desk: Desk, probe: Probe, value: Value | None, advised: bool) -> Step:
    request = desk.request
    at_once = request.asked("now") or request.given("now") or request.given("value")
    if value is not None and value.waits > 0 and not at_once:
        return Step("wait", probe, value, advised)
    briefing = desk.briefing(probe)
    taken = request.asked("taken") or request.given("taken")
    if briefing.barred and not taken:
        return Step("barred", probe, value, advised, briefing)
    if briefing.gates and not briefing.dead and not taken:
        return Step("gate", probe, value, advised, briefing)
    return Step("probe", probe, value, advised, briefing)


# -- the screen ---------------------------------------------------------------------------------------------


def show(desk: Desk) -> Reply:
    """The call screen."""
    _ = desk.language.text
    step = step_of(desk)
    advice = desk.weighed.advice if desk.weighed is not None else None
    machine = desk.call.machine
    given: dict[str, Any] = {
        "step": step,
        "advice": advice,
        "machine": machine,
        "refusal": desk.weighed.refusal if desk.weighed is not None else "",
        "last": record.last_entry(desk),
        "entries": record.entries(desk),
        "contradictions": [record.named(desk, each) for each in desk.weighed.contradictions]
        if desk.weighed is not None
        else [],
        "suspects": suspects(desk),
        "before": suspects_before(desk),
        "wiring": _wiring(desk, step),
        "icon": drawings.icon,
        "state": desk.state,
        "timer": _timer(desk),
        "rules": place_of(desk.call.place),
        "pins": _pins(desk),
        "HEARD": HEARD,
        "provisional": provisional(desk.events, desk.call),
        "in_the_way": _in_the_way(step.briefing),
        "open_stops": [
            (each, gate(each.stop.proof) if each.stop.proof else None) for each in desk.call.stopped
        ],
        "kinds": record.KINDS,
        "photos": photos_of(desk),
    }
    match step.kind:
        case "recognised":
            given |= {"hazards": on_machine(desk.call)}
        case "probe":
            given |= _entry(desk, step)
        case "wait":
            given |= _wait(desk, step)
        case "verdict" | "after" | "repaired":
            given |= decision.given(desk)
    return Reply(
        title=_title(desk, step), html=page("call.html", desk, **given), id=desk.id, announce=_announce(desk)
    )


def _in_the_way(briefing: Briefing) -> list[tuple[str, Stop]]:
    """What may stand in the way of the gates shown, each with the gate at which it is offered."""
    offered: dict[str, tuple[str, Stop]] = {}
    for shown in briefing.gates:
        for stop in stops_at(shown.gate.name):
            offered.setdefault(stop.said, (shown.gate.name, stop))
    return list(offered.values())


def _title(desk: Desk, step: Step) -> str:
    header = desk.call.header
    name = header.equipment if header and header.equipment else desk.language.text("Call")
    return name if step.probe is None else f"{desk.language.plain(step.probe.title)} · {name}"


def _announce(desk: Desk) -> str:
    last = record.last_entry(desk)
    return desk.language.plain(last.finding) if last is not None and last.finding else ""


@dataclass(frozen=True, slots=True)
class Shown:
    """A suspect as shown: words, the same short, the customer's words, probability, length of its bar. [-]"""

    label: str
    short: str
    plain: str
    probability: float
    length: int


def suspects(desk: Desk, most: int = 5) -> list[Shown]:
    """The most probable suspects; the last line holds all the rest."""
    return _shown(desk.weighed.advice if desk.weighed is not None else None, most)


def suspects_before(desk: Desk, most: int = 5) -> list[Shown]:
    """Likewise as it stood before what was done, where something was done."""
    if not desk.state.done or desk.before is None:
        return []
    return _shown(desk.before.advice, most)


def _shown(advice: Advice | None, most: int) -> list[Shown]:
    if advice is None:
        return []
    named = [s for k, s in enumerate(advice.suspects[:most]) if k == 0 or s.probability >= 0.01]
    found = [
        Shown(s.label, _short(s.label), s.plain, s.probability, max(1, round(100 * s.probability)))
        for s in named
    ]
    rest = max(0.0, 1.0 - sum(s.probability for s in named))
    if rest >= 0.005:
        found.append(Shown("", "", "", rest, max(1, round(100 * rest))))
    return found


def _short(label: str) -> str:
    """A suspect without what explains its mode."""
    return " + ".join(": ".join(each.split(": ")[:2]) for each in label.split(" + "))


def _wiring(desk: Desk, step: Step) -> drawings.Wiring | None:
    machine, weighed = desk.call.machine, desk.weighed
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
    return {
        "units": UNITS.get(probe.quantity, ()),
        "unit": desk.request.given("unit") or _unit_before(taken, probe),
        "keys": ("7", "8", "9", "4", "5", "6", "1", "2", "3", desk.language.mark, "0", "⌫"),
        "warmths": WARMTHS,
        "warmth": desk.request.given("warmth") if "warmth" in desk.request.form else _felt(desk, probe),
        "typed": pressed(typed, desk.request.given("press")) if desk.request.given("press") else typed,
        "example": EXAMPLES[Quantity(probe.quantity)] if probe.quantity else "",
        "outcomes": [(each, HEARD.get(each, each) if heard else each) for each in probe.outcomes],
        "heard": heard,
        "again": bool(taken),
        "hint": hint,
        "relay": drawings.labelled(relay_svg(hint == "relay-over"), desk.language),
    }


def _unit_before(taken: list[Any], probe: Probe) -> str:
    """The unit last used here, else the usual one; a winding to the shell reads megohms."""
    units = UNITS.get(probe.quantity, ("",))
    if probe.model.to_shell and not taken:
        return "MΩ"
    return units[0]


def _felt(desk: Desk, probe: Probe) -> str:
    """How warm the part last felt was, where nothing happened since and it cannot have cooled; else empty."""
    kept = {reading.event: reading for reading in desk.call.readings}
    for event in reversed(live(desk.events, desk.call)):
        if isinstance(event, ComplaintHeard | Waited | PartFitted | RecordingTaken):
            return ""
        reading = kept.get(event.id)
        if reading is None:
            continue
        if energises(desk.probe(reading.probe).gates):
            return ""
        if reading.reading is None or reading.reading.quantity is not Quantity.RESISTANCE:
            continue
        said = (
            reading.temperature.kind if isinstance(event, ReadingTaken) and event.temperature.strip() else ""
        )
        minutes = (desk.request.now - event.at).total_seconds() / 60 if event.timed else 0.0
        cooled = said == "hot" and warmth(True, minutes, probe.heat).kind != "hot"
        return said if said in ("cold", "hot") and not cooled else ""
    return ""


def _hint(probe: Probe) -> str:
    """Which drawing helps to find the points: of the pins, or of the relay in one of its positions."""
    if probe.id in UNNAMED_PINS:
        return "number"
    if probe.id.startswith("pins."):
        return "pins"
    if probe.id.startswith("current_relay."):
        return "relay-over" if "over" in probe.id else "relay"
    return ""


def _since(desk: Desk) -> datetime | None:
    """When the machine was last under power or was last written down to have cooled; None if not known."""
    at: datetime | None = None
    for event in live(desk.events, desk.call):
        powered = False
        if isinstance(event, ReadingTaken):
            try:
                powered = energises(desk.probe(event.probe).gates)
            except HumclickError:
                powered = False
        if isinstance(event, ComplaintHeard | Waited) or powered:
            at = min(event.at, desk.request.now) if event.timed else None  # no clock adds to a wait
    return at


def _stood(desk: Desk) -> float | None:
    """How long it has stood by now, as far as is written down; None if not known. [min]"""
    since = _since(desk)
    minutes = None if since is None else (desk.request.now - since).total_seconds() / 60
    return minutes if minutes is not None and 0 <= minutes <= _LONGEST_STAND else None


def _wait(desk: Desk, step: Step) -> dict[str, Any]:
    assert step.value is not None
    since, minutes = _since(desk) if _stood(desk) is not None else None, step.value.waits
    until = None if since is None else since + timedelta(minutes=minutes)
    return {
        "minutes": minutes,
        "until": until,
        "over": until is not None and until <= desk.request.now,
        "began": since,
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
    return pins_found(desk.call)


# -- forms --------------------------------------------------------------------------------------------------


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


def take_reading(desk: Desk) -> Reply:
    """
    Keep a reading, a look or an attempt.

    Raises
    ------
    FormRefused
        If it cannot be understood.
    """
    request = desk.request
    probe = desk.probe(request.given("probe"))
    if request.given("press"):  # a key of the keypad, where no script runs
        return show(desk)
    step = step_of(desk)
    briefing, said = step.briefing, request.given("passed").split()
    if step.kind in ("stop", "barred"):
        raise FormRefused("value", "this is not safe to do now; for a reading taken already, say so below")
    unsaid = briefing.gates and not request.given("taken") and said != list(briefing.names)
    if step.kind == "gate" or unsaid:
        raise FormRefused("value", "first the safety steps; for a reading taken already, say so below")
    text = request.given("value")
    if not text:
        right = (
            f"what the display shows, such as {EXAMPLES[Quantity(probe.quantity)]}" if probe.quantity else ""
        )
        raise FormRefused("value", f"nothing is entered yet; enter {right or 'one of the answers'}")
    if probe.quantity and _FIGURE.fullmatch(text) and request.given("unit"):
        text = f"{text} {request.given('unit')}"
    with beside("value"):
        value, warmth = answer_to(probe, text)
        _pass(desk, [each for each in said if each in briefing.names])
        desk.keep(
            "reading",
            probe=probe.id,
            value=value,
            temperature=request.given("warmth") or warmth,
            note=request.given("note"),
        )
    return desk.go(_after_reading(desk, probe), _announce(desk))


def _after_reading(desk: Desk, probe: Probe) -> str:
    """The next pair of unnamed pins while they are being found, else the call."""
    if probe.id in UNNAMED_PINS:
        taken = {r.probe for r in desk.call.readings}
        for name in UNNAMED_PINS:
            if name not in taken:
                return f"{desk.path()}?probe={name}"
    return desk.path()


def _same_probe(desk: Desk) -> str:
    """The call again, with the probe that was chosen."""
    chosen = desk.request.given("chosen")
    if not chosen:
        return desk.path()
    now = "&now=1" if desk.request.given("now") else ""
    return f"{desk.path()}?probe={desk.probe(chosen).id}{now}"


def _pass(desk: Desk, names: list[str], words: str = "") -> None:
    """Keep that some gates were passed, each by itself, with what it was about."""
    machine = desk.call.machine
    known = {each.name: each for each in desk.call.gates_of(names)} if machine is not None else {}
    for name in names:
        matter = known[name].matter if name in known else ""
        desk.keep("gate", gate=gate(name).name, words=words, matter=matter)


def take_gate(desk: Desk) -> Reply:
    """
    Keep that the safety steps that stood together were done: every gate is an event of its own.

    Raises
    ------
    FormRefused
        If there is no such gate.
    """
    with beside("gate"):
        _pass(desk, desk.request.given("gate").split(), desk.request.given("words"))
    return desk.go(_same_probe(desk))


def take_hazard(desk: Desk) -> Reply:
    """
    Keep that a hazard was found, or that a safety step cannot be done: the work stops.

    Raises
    ------
    FormRefused
        If there is no such hazard or gate.
    """
    request = desk.request
    name, _, at = request.given("hazard").partition("@")
    with beside("hazard"):
        desk.keep("hazard", hazard=name, gate=at, words=request.given("words"))
    return desk.go(desk.path(), desk.heading)


def take_cleared(desk: Desk) -> Reply:
    """
    Keep how a hazard was cleared: only this reopens the call.

    Raises
    ------
    FormRefused
        If nothing is open under that name, or it is not said how.
    """
    request = desk.request
    stoppage = next((s for s in desk.call.stoppages if s.event == request.given("of")), None)
    if stoppage is None:
        raise FormRefused("words", "this call is not stopped for that now")
    told = request.given("words")
    if not told:
        raise FormRefused("words", stoppage.stop.answer)
    with beside("words"):
        if stoppage.stop.proof:
            _pass(desk, [stoppage.stop.proof], told)
        if any(each.event == stoppage.event for each in desk.call.stoppages):
            desk.keep("cleared", of=stoppage.event, words=told)
    return desk.go(desk.path())


def take_skip(desk: Desk) -> Reply:
    """
    Keep that a probe cannot be done here; the plan goes on without it.

    Raises
    ------
    FormRefused
        If there is no such probe.
    """
    request = desk.request
    probe = desk.probe(request.given("probe"))
    reason = request.given("reason")
    gate = request.given("gate")
    if gate:
        reason = f"cannot be done safely here: {gate}" + (f". {reason}" if reason else "")
    desk.keep("skip", probe=probe.id, reason=reason)
    return desk.go(desk.back())


def take_wait(desk: Desk) -> Reply:
    """
    Keep that the machine was left alone: for the minutes typed, else for as long as it has truly stood.

    Raises
    ------
    FormRefused
        If the minutes are not a number.
    """
    typed = desk.request.given("minutes").replace(",", ".")
    stood = _stood(desk)
    if not typed and desk.request.given("elapsed") and stood is not None:
        desk.keep("wait", minutes=round(stood, 1))
        return desk.go(_same_probe(desk))
    try:
        minutes = float(typed)
    except ValueError:
        raise FormRefused(
            "minutes", f"{typed[:40]!r} is not a number of minutes; write it such as 10"
        ) from None
    with beside("minutes"):
        desk.keep("wait", minutes=minutes)
    return desk.go(_same_probe(desk))


def take_timer(desk: Desk) -> Reply:
    """
    Start a timer: its end goes into the address, so that a locked screen or a reload loses nothing.

    Raises
    ------
    FormRefused
        If the seconds are not a number.
    """
    try:
        seconds = float(desk.request.given("seconds"))
    except ValueError:
        raise FormRefused("seconds", "a timer needs its seconds") from None
    if not 0 < seconds <= _LONGEST:
        raise Refused(f"a timer runs from 1 second to {_LONGEST // 3600} hours")
    until = (desk.request.now + timedelta(seconds=seconds)).isoformat(timespec="seconds").replace("+", "%2B")
    path = _same_probe(desk)
    return desk.go(f"{path}{'&' if '?' in path else '?'}until={until}")
