"""
Stops: what ends a call, or a part of it, until that very hazard is answered.

Whoever cannot pass a gate says why, and that is a stop. A whole-call stop ends all testing; another one bars
every probe that needs one of its gates. No skip and no undo lifts a stop. All texts come from ``stops.toml``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from humclick.errors import DataError, Unknown
from humclick.messages import Message
from humclick.safety.gating import gate, gates
from humclick.sourced import read_data
from humclick.typed_data import named_values

__all__ = ["Stop", "stop", "stop_at", "stop_meant", "stops", "stops_at"]


@dataclass(frozen=True, slots=True)
class Stop:
    """A hazard that stops work."""

    name: str
    title: Message
    #: How a person says it.
    said: Message
    #: Gates at which it is offered.
    gates: tuple[str, ...]
    #: Whether it ends the whole call; else only what needs one of `gates`.
    whole: bool
    #: Gate that must be passed again before it can be answered; empty where words answer it.
    proof: str
    #: What people write when they mean it.
    words: tuple[str, ...]
    steps: tuple[Message, ...]
    #: What the customer is told.
    customer: Message
    #: The question whose answer reopens the call.
    answer: Message
    source: str


@cache
def stops() -> Mapping[str, Stop]:
    """Every stop by name."""
    rows = read_data("humclick.safety", "stops.toml")["stop"]
    table = named_values(({"proof": "", **row} for row in rows), Stop, "stops.toml")
    for entry in table.values():
        unknown = ({*entry.gates, entry.proof} - {""}) - set(gates())
        if unknown:
            raise DataError(f"stops.toml: {entry.name} names unknown gates {sorted(unknown)}")
    return table


def stop(name: str) -> Stop:
    """One stop by name; `Unknown` if there is none."""
    if name not in stops():
        raise Unknown(Message("stop"), name, stops())
    return stops()[name]


def stops_at(gate_name: str) -> tuple[Stop, ...]:
    """
    What may be in the way at a gate, the one that a plain "cannot" means first.

    A gate for which the data names nothing bars what needs it, until it is passed.
    """
    at = gate(gate_name)
    offered = tuple(entry for entry in stops().values() if gate_name in entry.gates)
    # what has no other gate than this one is what a plain "cannot" at it means
    return tuple(sorted(offered, key=lambda entry: entry.proof != gate_name)) or (_plain(at.name, at.title),)


def _plain(name: str, title: Message) -> Stop:
    return Stop(
        name="",
        title=Message("Not done: {title}", title=title),
        said=Message("It cannot be done here"),
        gates=(name,),
        whole=False,
        proof=name,
        words=(),
        steps=(Message("Test nothing that needs this step until it is done."),),
        customer=Message("A safety step could not be done here."),
        answer=Message("How did you do it?"),
        source="",
    )


def stop_at(gate_name: str, name: str) -> Stop:
    """The stop recorded at a gate under a name; an empty name is what the gate's plain "cannot" means."""
    if name:
        return stop(name)
    return stops_at(gate_name)[0]


def stop_meant(gate_name: str, text: str) -> Stop:
    """
    The stop meant by what somebody wrote at a gate, or anywhere where no gate is named.

    Without a word that is known it is the plain "cannot"; `Unknown` where there is no gate either.

    Examples
    --------
    >>> stop_meant("flammable-caution", "cannot: leak found, the detector alarms").name
    'leak'
    >>> stop_meant("power-off-proved-dead", "no idea").name
    'not-dead'
    """
    sentence = " ".join(text.casefold().split())
    near = stops_at(gate_name) if gate_name else ()
    rest = tuple(entry for entry in stops().values() if entry not in near)
    # longer words first: "no detector" is not "detector alarms", and "terminal-leak" is no leak elsewhere
    called = [
        (word, entry)
        for entry in (*near, *rest)
        for word in (entry.name, entry.title.casefold(), entry.said.casefold())
        if word and word in sentence
    ]
    if called:
        return max(called, key=lambda pair: len(pair[0]))[1]
    spoken = sorted(
        ((word, entry) for entry in (*near, *rest) for word in entry.words), key=lambda pair: -len(pair[0])
    )
    for word, entry in spoken:
        if re.search(rf"\b{re.escape(word)}\b", sentence) and (entry.whole or entry in near):
            return entry
    if not near:
        raise Unknown(Message("hazard"), text.strip()[:60], stops())
    return near[0]
