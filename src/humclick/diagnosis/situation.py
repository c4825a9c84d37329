"""
What is known about a call when judgement is asked for.

The fold of a call's events ends in a `Situation`; everything in `humclick.diagnosis` starts from one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from humclick.arrangements.machine import Machine
from humclick.meters import Meter, default_meter
from humclick.physics.cooling import minutes_for, probability_passed
from humclick.readings import Leads, PartTemperature, Reading
from humclick.safety import Stop, stop_at

__all__ = ["COOLED", "Heard", "Observation", "Situation", "Stoppage", "called", "wait_minutes", "warmth"]

#: A part is taken as cold once this probable. [-]
COOLED = 0.9


class Heard(StrEnum):
    """What a start attempt sounds and looks like: the complaint, and the answer of a start attempt."""

    SILENT = "silent"
    HUM = "hum"
    HUM_CLICK = "hum_click"
    TRIPS = "starts_then_trips"
    BREAKER = "breaker"
    RUNS = "runs"


@dataclass(frozen=True, slots=True)
class Stoppage:
    """
    A hazard that was found on the call and is not answered yet.

    Attributes
    ----------
    name : str
        Of `humclick.safety.stops`; empty where a gate could not be passed for another reason.
    gate : str
        The gate that could not be passed, or empty.
    event : str
        Id of the event that recorded it.
    words : str
        As told.
    """

    name: str
    gate: str = ""
    event: str = ""
    words: str = ""

    @property
    def stop(self) -> Stop:
        """What it stops, and what to do now."""
        return stop_at(self.gate, self.name)

    def lifted_by(self, gate: str) -> bool:
        """Whether passing a gate answers it by itself: one that bars only what needs that gate."""
        return not self.stop.whole and self.stop.proof == gate


@dataclass(frozen=True, slots=True)
class Observation:
    """
    One thing seen or measured.

    Attributes
    ----------
    probe : str
        Name of the probe, for example ``pins.C-R`` or ``ptc.shake``.
    reading : Reading or None
        What the meter showed, for a measurement.
    answer : str
        What was seen or heard, for a look or a start attempt; empty for a measurement.
    temperature : PartTemperature
        Temperature of the part measured.
    renewed : frozenset of str
        Parts that had been replaced by new ones before this was seen.
    id : str
        The event it comes from.
    causes : tuple of (cause, logarithm)
        For a recording of the line current: how probable it is under each cause of ``recorded.toml``, as
        natural logarithms with the best at 0. [-]
    repairs : int
        Repairs made before it was seen. [-]
    tester : bool
        Read with a meter that proves insulation.
    top : float or None
        Top of the ohms of the meter it was read with, which OL exceeds; None for the meter of the call. [Ω]
    meter : Meter or None
        The meter it was read with, where that is not the one of the call now.
    """

    probe: str
    reading: Reading | None = None
    answer: str = ""
    temperature: PartTemperature = field(default_factory=PartTemperature)
    renewed: frozenset[str] = frozenset()
    id: str = ""
    causes: tuple[tuple[str, float], ...] = ()
    repairs: int = 0
    tester: bool = False
    top: float | None = None
    meter: Meter | None = None


@dataclass(frozen=True, slots=True)
class Situation:
    """
    A call as judgement sees it.

    Attributes
    ----------
    machine : Machine
        Arrangement, nameplate and stamps.
    complaint : Heard or None
        What the customer or the technician heard at the last attempt; None if not known.
    observations : tuple of Observation
        In the order taken.
    meter, leads
        What it was measured with.
    waited : float
        Minutes since the machine last tried to start, as far as known. [min]
    hot : bool or None
        Whether protector and starter are hot now: True just after an attempt, False once cooled,
        None when not known.
    skipped : frozenset of str
        Probes that cannot be done here.
    renewed : frozenset of str
        Parts replaced during this call.
    repairs : int
        Repairs made during this call. [-]
    fitted : mapping of part to int
        Which of the repairs, counted from 1, last renewed a part. [-]
    stoppages : tuple of Stoppage
        What was found and is not answered yet.
    place : str
        Whose rules hold (`humclick.safety.place_of`); empty for the strictest of all.
    tripped : bool
        Whether a complaint said that a breaker tripped, be it that another one was heard since.
    """

    machine: Machine
    complaint: Heard | None = None
    observations: tuple[Observation, ...] = ()
    meter: Meter = field(default_factory=default_meter)
    leads: Leads = field(default_factory=Leads)
    waited: float = 0.0
    hot: bool | None = None
    skipped: frozenset[str] = frozenset()
    renewed: frozenset[str] = frozenset()
    repairs: int = 0
    fitted: Mapping[str, int] = field(default_factory=dict)
    stoppages: tuple[Stoppage, ...] = ()
    place: str = ""
    tripped: bool = False

    def renewed_since(self, observation: Observation) -> frozenset[str]:
        """Parts renewed after something was seen, once more or for the first time."""
        again = {part for part, repair in self.fitted.items() if repair > observation.repairs}
        return frozenset(again | (self.renewed - observation.renewed))


def warmth(hot: bool | None, waited: float, heat: str) -> PartTemperature:
    """
    How warm a part is, by whether the machine was tried and how long ago.

    Parameters
    ----------
    hot : bool or None
        Whether the machine has just tried to start; None if not known.
    waited : float
        Since then. [min]
    heat : str
        What has to cool: a kind of `humclick.physics.cooling`; empty for anything on the shell.

    Returns
    -------
    PartTemperature
        Cold, hot or unknown.
    """
    cooled = waited > 0 and probability_passed(heat or "external_protector", waited) >= COOLED
    if hot is False or cooled:
        return PartTemperature("cold")
    return PartTemperature("hot" if hot else "unknown")


def wait_minutes(situation: Situation, heat: str) -> float:
    """How long something has still to cool before it can decide; zero once it has. [min]"""
    if not heat or warmth(situation.hot, situation.waited, heat).kind == "cold":
        return 0.0
    return max(1.0, math.ceil(minutes_for(heat, COOLED) - situation.waited))


def called(machine: Machine, observations: Sequence[Observation]) -> frozenset[str]:
    """
    Modes that no longer matter because a test has put them right.

    Setting the control is such a test: from then on it calls, unless it cannot. So is cleaning the condenser
    and trying again.
    """
    probes = {o.probe for o in observations}
    return frozenset().union(*(modes for probe, modes in machine.put_right.items() if probe in probes))
