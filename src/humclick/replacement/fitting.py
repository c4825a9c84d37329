"""
Fitting: a part's marks put into a start attempt as numbers.

A mark is a range; `share`, 0 … 1, says where in it the part at hand lies, so that the old and the new part of
one possible machine lie at the same place of their ranges. What a mark does not say stays as the case has it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from humclick.arrangements.machine import Machine
from humclick.errors import Refused
from humclick.messages import Message, Verbatim
from humclick.parts.family import Family, Role
from humclick.replacement.marks import MarkRule, MarkValue
from humclick.sourced import Spread, read_data
from humclick.start.attempts import machine_with
from humclick.start.case import (
    Capacitor,
    CurrentRelay,
    PotentialRelay,
    Protector,
    Ptc,
    StartCase,
    TimedStarter,
)
from humclick.start.estimate import Possible
from humclick.start.fit import start_case

__all__ = ["ASSIST", "assist_arrangement", "assisted", "fit_part", "known_of"]

#: The name of a part that is not in the machine: a universal start-assist.
ASSIST = "start_assist"
Marks = Mapping[str, MarkValue]


def _within(marks: Marks, rules: Mapping[str, MarkRule], name: str, share: float) -> float | None:
    """The value of a mark at a share of its range; a single value stands for its tolerance. [its unit]"""
    value = marks.get(name)
    if value is None or value.low is None or value.high is None:
        return None
    low, high = value.low, value.high
    if value.single and name in rules and rules[name].tolerance:
        low, high = (end * (1 + sign * rules[name].tolerance / 100) for end, sign in ((low, -1), (high, 1)))
    return low + (high - low) * share


def known_of(part: str, kind: Family, marks: Marks, rules: Mapping[str, MarkRule]) -> dict[str, Spread]:
    """
    Sizes of the old part for the estimate of the motor.

    By ``part.size``; empty where no mark is a size.
    """
    size, name, unit = (
        (kind.gear_ohms, "ohms", "Ω") if kind.gear_ohms else ("capacitance", "capacitance", "F")
    )
    low, high = (_within(marks, rules, name, share) for share in (0.0, 1.0))
    if size not in kind.sizes or low is None or high is None or low <= 0:
        return {}
    return {
        f"{part}.{size}": Spread(math.sqrt(low * high), max(math.sqrt(high / low), 1.02), unit, "its mark")
    }


def fit_part(
    case: StartCase, role: Role, marks: Marks, rules: Mapping[str, MarkRule], share: float
) -> StartCase:
    """
    Put a part into an attempt.

    `share` is where in its printed range it lies. [-] Raises `Refused` if the machine has no such part, its
    marks contradict each other, or it is not one that is simulated.
    """

    def at(name: str) -> float | None:
        return _within(marks, rules, name, share)

    match role:
        case Role.START_CAPACITOR | Role.RUN_CAPACITOR:
            starts = role is Role.START_CAPACITOR
            old = case.start_capacitor if starts else case.run_capacitor
            if old is None:
                raise Refused(Message("this machine has no {role}", role=Message.of(role)))
            new = _capacitor(old, at("capacitance"), marks)
            return replace(case, start_capacitor=new) if starts else replace(case, run_capacitor=new)
        case Role.PROTECTOR:
            if case.protector is None:
                raise Refused(Message("this machine has no overload protector outside the shell"))
            return replace(case, protector=_protector(case.protector, marks))
        case _:
            return replace(case, gear=_gear(case, at))


def _capacitor(old: Capacitor, farads: float | None, marks: Marks) -> Capacitor:
    bleed = marks.get("bleed_resistor")
    leakage = math.inf if bleed is not None and bleed.text.casefold() == "no" else old.leakage_ohms
    if farads is None or old.farads in (0.0, math.inf):
        return replace(old, leakage_ohms=leakage)
    # its loss is a share of its reactance, so it goes with one over the farads
    return Capacitor(farads, old.loss_ohms * old.farads / farads, leakage)


def _gear(case: StartCase, at: object) -> Ptc | CurrentRelay | PotentialRelay | TimedStarter:
    assert callable(at)
    gear = case.gear
    match gear:
        case Ptc():
            return replace(gear, cold_ohms=at("ohms") or gear.cold_ohms)
        case TimedStarter():
            return replace(gear, seconds=at("time") or gear.seconds)
        case CurrentRelay() | PotentialRelay():
            pick, drop = at("pick_up"), at("drop_out")
            ratio = gear.drop_out / gear.pick_up
            if pick is None and drop is None:
                return gear
            pick = drop / ratio if pick is None else pick
            drop = pick * ratio if drop is None else drop
            if drop >= pick:
                if drop > 1.5 * pick:
                    raise Refused(
                        Message(
                            "a relay drops out below its pick-up, but {drop:.3g} is above {pick:.3g}: "
                            "swapped?",
                            drop=drop,
                            pick=pick,
                        )
                    )
                drop = 0.98 * pick
            return replace(gear, pick_up=pick, drop_out=drop)
        case _:
            raise Refused(Message("this machine has no start gear whose marks could be tried"))


def _protector(old: Protector, marks: Marks) -> Protector:
    """
    Trip current I_u is the lowest that ever opens it at 25 °C: heater = conductance (trip − 25) / I_u².

    With another opening temperature alone the heater stays and the disc has farther to go.
    """

    def middle(name: str) -> float | None:
        value = marks.get(name)
        if value is None or value.low is None or value.high is None:
            return None
        return 0.5 * (value.low + value.high)

    trip, amps, reset = middle("trip_temperature"), middle("trip_amps"), middle("reset_temperature")
    new = old if trip is None else replace(old, trip=trip, reset=min(old.reset, trip - 5.0))
    if amps is not None:
        new = replace(new, heater_ohms=new.conductance * (new.trip - 25.0) / amps**2)
    return new if reset is None else replace(new, reset=min(reset, new.trip - 1.0))


def assist_arrangement(kind: str, capacitor: bool, run_capacitor: bool) -> str:
    """
    The arrangement a start-assist makes of a machine.

    Raises `Refused` if there is no such assist.
    """
    word = " ".join(kind.casefold().replace("-", " ").replace("_", " ").split())
    rows = read_data("humclick.replacement", "substitute.toml")["assist"]["makes"]
    word = next((row["kind"] for row in rows if word in row["called"]), word)
    names = next((row for row in rows if (row["kind"], row["capacitor"]) == (word, capacitor)), None)
    if names is None:
        kinds = sorted({row["kind"] for row in rows})
        more = Message("; a relay or a timer comes with a capacitor") if word in kinds else ""
        raise Refused(
            Message(
                "{kind} is no kind of start-assist that is tried; there are: {kinds}{more}",
                kind=Verbatim(repr(kind)),
                kinds=tuple(kinds),
                more=more,
            )
        )
    return str(names["beside_run_capacitor" if run_capacitor else "alone"])


def assisted(
    case: StartCase,
    machine: Machine,
    motor: Possible,
    marks: Marks,
    rules: Mapping[str, MarkRule],
    share: float,
) -> StartCase:
    """
    Put a start-assist in the place of start gear and start capacitor, or beside a run capacitor.

    `case` is of the machine as it is, `machine` as it would be by `assist_arrangement`. Raises as `fit_part`.
    """
    typical = start_case(machine_with(machine, motor), motor.motor, volts=case.supply.volts)
    joined = replace(case, gear=typical.gear, start_capacitor=typical.start_capacitor)
    if joined.start_capacitor is not None:
        joined = fit_part(joined, Role.START_CAPACITOR, marks, rules, share)
    return replace(joined, gear=_gear(joined, lambda name: _within(marks, rules, name, share)))
