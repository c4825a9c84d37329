"""What a call has at hand about its motor: plate, stamps, and the windings as measured between the pins."""

from __future__ import annotations

from humclick.errors import Refused
from humclick.jobs.call import Call, ReadingKept
from humclick.messages import Message
from humclick.physics.copper import resistance_at
from humclick.start.at_hand import AtHand, at_hand

__all__ = ["fitted_farads", "of_call", "winding_ohms"]

#: Temperature the windings' data are written for. [°C]
_REFERENCE = 25.0


def _at_reference(measured: ReadingKept, leads: float) -> float | None:
    """One reading at 25 °C without the leads; None where it shows no number. [Ω]"""
    reading = measured.reading
    if reading is None or reading.value is None or reading.below_resolution:
        return None
    ohms = reading.value - leads
    low, high = measured.temperature.between
    return resistance_at(_REFERENCE, ohms, (low + high) / 2) if ohms > 0 else None


def winding_ohms(call: Call) -> tuple[float | None, float | None]:
    """
    Run and start winding as measured between the pins, at 25 °C; None where not measured or over limit. [Ω]

    The last good reading of each of ``pins.C-R``, ``pins.C-S`` and ``pins.S-R`` counts, and the third stands
    in for one of the others.
    """
    leads = call.leads.offset or 0.0
    if call.leads.offset is None and call.leads.spread is not None:
        leads = call.leads.spread.median
    windings: dict[str, float] = {}
    for measured in call.readings:
        if measured.probe in ("pins.C-R", "pins.C-S", "pins.S-R"):
            ohms = _at_reference(measured, leads)
            if ohms is not None:
                windings[measured.probe.removeprefix("pins.")] = ohms
    run, start, both = windings.get("C-R"), windings.get("C-S"), windings.get("S-R")
    if both is not None and run is not None and start is None and both > run:
        start = both - run
    if both is not None and start is not None and run is None and both > start:
        run = both - start
    return run, start


def fitted_farads(call: Call, part: str) -> float | None:
    """Capacitance of a capacitor as last measured, if that one is still fitted; else None. [F]"""
    last = None
    for measured in call.readings:
        if (
            measured.probe == f"{part}.farads"
            and measured.reading is not None
            and measured.reading.value is not None
        ):
            last = None if measured.reading.below_resolution else measured
    if last is None or (part in call.renewed and part not in last.renewed):
        return None
    return None if last.reading is None else last.reading.value


def of_call(call: Call, *, horsepower: float | None = None) -> AtHand:
    """
    What is at hand about a call's motor; `horsepower` if known. [hp]

    Raises `Refused` without a machine of run and start winding, `OutOfRange` for what cannot be its power.
    """
    if call.machine is None:
        raise Refused(
            Message("no machine is described in this call; add an event of kind machine with its arrangement")
        )
    run, start = winding_ohms(call)
    return at_hand(call.machine, run_ohms=run, start_ohms=start, horsepower=horsepower)
