"""
The usual checklist, as a trade habit: a fixed order, round limits, and action at the first abnormal reading.

Written from common practice, without the model: outlet volts, control, overload protector, start device,
capacitors, windings, ground; whoever finds nothing abnormal tries once more and then replaces the compressor.
The careful variant first tries start gear known to be good. Limits in ohms and shares of nominal values.
"""

from __future__ import annotations

from benchmarks.visit import Visit

__all__ = ["careful", "usual"]

_OL = float("inf")


def _value(visit: Visit, probe: str) -> float:
    """A reading as a number, OL as infinity."""
    reading = visit.take(probe).reading
    assert reading is not None
    return _OL if reading.value is None else reading.value


def _supply(visit: Visit) -> str:
    nominal = visit.machine.nameplate.volts
    return "" if 0.9 * nominal <= _value(visit, "supply.volts") <= 1.1 * nominal else "restore supply"


def _control(visit: Visit) -> str:
    answer = visit.take("control.setting").answer
    if answer.startswith("was off"):
        return "set control"
    if answer.startswith("was set right"):
        return "replace control"
    if answer == "never calls" and _value(visit, "control.ohms") > 100.0:
        return "replace control"
    return ""


def _protector(visit: Visit) -> str:
    """OL is read once more after ten minutes; the second reading decides."""
    if visit.machine.protector == "internal" or _value(visit, "overload_protector.ohms") < 5.0:
        return ""
    visit.wait(10.0)
    if _value(visit, "overload_protector.ohms") < 5.0:
        return "wait"
    return visit.machine.part("overload_protector").remedy("open")


def _starter(visit: Visit) -> str:
    """The start device, by its ohms."""
    parts = {p.id for p in visit.machine.parts}
    high = visit.machine.volts_class == "230"
    if "ptc" in parts:
        if visit.take("ptc.shake").answer == "rattles":
            return "replace starter"
        low, top = (8.0, 50.0) if high else (3.0, 20.0)
        ohms = _value(visit, "ptc.ohms")
        if top < ohms < 1e5:  # perhaps warm
            visit.wait(10.0)
            ohms = _value(visit, "ptc.ohms")
        if not low <= ohms <= top:
            return "replace starter"
    if "current_relay" in parts:
        if visit.take("current_relay.position").answer == "upside down":
            return "correct wiring"
        if _value(visit, "current_relay.coil") > 2.0 or _value(visit, "current_relay.at_rest") < 1000.0:
            return "replace relay"
        if _value(visit, "current_relay.turned_over") > 2.0:
            return "replace relay"
    if "potential_relay" in parts:
        if _value(visit, "potential_relay.at_rest") > 2.0:
            return "replace relay"
        if not 1000.0 <= _value(visit, "potential_relay.coil") <= 30000.0:
            return "replace relay"
    if "timed_starter" in parts and visit.take("timed_starter.look").answer != "clean":
        return "replace starter"
    return ""


def _capacitors(visit: Visit) -> str:
    """A fifth off its stamp, or less than half of the usual where there is no stamp; bulged or wet."""
    for part in ("start_capacitor", "run_capacitor"):
        if part not in {p.id for p in visit.machine.parts}:
            continue
        remedy = f"replace {part.replace('_', ' ')}"
        if visit.take(f"{part}.look").answer == "bulged or wet":
            return remedy
        stamp = visit.machine.known.get(f"{part}.capacitance")
        usual_size = visit.machine.size(part, "capacitance").median
        low, top = (0.8 * usual_size, 1.25 * usual_size) if stamp else (0.45 * usual_size, 3.0 * usual_size)
        if not low <= _value(visit, f"{part}.farads") <= top:
            return remedy
    return ""


def _windings(visit: Visit) -> str:
    run, start, both = (_value(visit, f"pins.{p}") for p in ("C-R", "C-S", "S-R"))
    if max(run, start, both) == _OL or run < 0.4 or start < run:
        return "replace compressor"
    if abs(both - run - start) > 0.2 * (run + start):
        return "replace compressor"
    if _value(visit, "pins.shell") < 1e6:
        return "replace compressor"
    return ""


def _all(visit: Visit) -> str:
    for step in (_supply, _control, _protector, _starter, _capacitors, _windings):
        found = step(visit)
        if found:
            return found
    return ""


def usual(visit: Visit) -> frozenset[str]:
    """The checklist with its usual stop: nothing abnormal and it does not start means the compressor."""
    found = _all(visit)
    if not found:
        found = "wait" if visit.take("attempt.as_found").answer == "runs" else "replace compressor"
    return frozenset({found})


def careful(visit: Visit) -> frozenset[str]:
    """The checklist, with known-good start gear tried before a compressor is condemned for its sound."""
    found = _all(visit)
    if not found:
        if visit.take("attempt.as_found").answer == "runs":
            return frozenset({"wait"})
        if visit.take("attempt.known_good").answer != "runs":
            return frozenset({"replace compressor"})
        gear = [p for p in visit.machine.parts if p.family.gear and p.id != "overload_protector"]
        found = gear[0].remedy(
            next(m for m in gear[0].family.modes if not gear[0].family.modes[m].passing and m != "healthy")
        )
    return frozenset({found})
