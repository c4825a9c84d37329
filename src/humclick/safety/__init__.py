"""
Safety: hazards, gates and cautions, as facts every face shows.

A **gate** is a list of plain steps that stands before a probe (`humclick.safety.gating`), a **hazard** is
what can hurt and a **caution** what to mind (`humclick.safety.facts`), a **stop** ends a call until it is
answered (`humclick.safety.stops`). Texts and figures are data files here.
"""

from __future__ import annotations

from humclick.safety.discharge import CapacitorDischarge, discharges
from humclick.safety.facts import Fact, Hazard, caution, cautions_for, hazard, hazards, met_at, met_by
from humclick.safety.gating import Gate, defer, energises, gate, gates, gates_for, invalidated_by
from humclick.safety.machine import SafeMachine
from humclick.safety.place import PLACES, Place, PlaceRule, chosen_place, place_of
from humclick.safety.refrigerant import Meaning, flammable, meaning, safety_class, toxic
from humclick.safety.stops import Stop, stop, stop_at, stop_meant, stops, stops_at

__all__ = [
    "PLACES",
    "CapacitorDischarge",
    "Fact",
    "Gate",
    "Hazard",
    "Meaning",
    "Place",
    "PlaceRule",
    "SafeMachine",
    "Stop",
    "caution",
    "cautions_for",
    "chosen_place",
    "defer",
    "discharges",
    "energises",
    "flammable",
    "gate",
    "gates",
    "gates_for",
    "hazard",
    "hazards",
    "invalidated_by",
    "meaning",
    "met_at",
    "met_by",
    "place_of",
    "safety_class",
    "stop",
    "stop_at",
    "stop_meant",
    "stops",
    "stops_at",
    "toxic",
]
