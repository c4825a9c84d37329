"""
Machines as they are made: drawn around the typical sizes of an arrangement, and kept if they are sound.

A draw is a motor with the start gear and capacitors that belong to it, and a number for everything else that
strays (line, pill, relay, protector, load, crank, moment of switching). The same draw gives the same values
whatever is wrong with the machine, so that sets of modes are compared on the same machines.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import Refused
from humclick.messages import Message
from humclick.parts.family import Role
from humclick.sourced import Spread, read_data, sourced, spread
from humclick.start.at_hand import at_hand
from humclick.start.attempts import machine_with
from humclick.start.batch import simulate_packed
from humclick.start.case import StartCase
from humclick.start.estimate import Estimate, Possible, estimate
from humclick.start.fit import start_case
from humclick.start.gear.mechanism import RATED_SLIP
from humclick.start.machine import steady
from humclick.start.packed import pack_many
from humclick.start.rows import OUTCOMES

__all__ = ["Design", "Drawn", "designs"]

_RUNS = OUTCOMES.index("runs")
#: So many times the wanted number is drawn at most before giving up. [-]
_PATIENCE = 30


@dataclass(frozen=True)
class Design:
    """One machine, exactly known, under one set of circumstances."""

    machine: Machine  #: With every size that belongs to the motor known.
    possible: Possible  #: Its motor.
    #: Of its random numbers.
    seed: int
    number: int
    locked_amps: float  #: Line current at standstill, start circuit closed, plate volts at the motor. [A]
    #: Torque that breaks the compressor away with pressures equal, over the motor's at slip 0.05. [-]
    breakaway: float
    #: What a protector that trips early bears at most, over the run winding's locked-rotor current. [-]
    early: float
    _normals: dict[str, float] = field(default_factory=dict)

    def normal(self, name: str) -> float:
        """Standard normal number of a name: the same each time. [-]"""
        if name not in self._normals:
            key = (self.seed, self.number, zlib.crc32(name.encode()))
            self._normals[name] = float(np.random.default_rng(key).standard_normal())
        return self._normals[name]

    def turn(self, name: str) -> float:
        """Angle of a name, even over the circle. [rad]"""
        return math.pi * (1.0 + math.erf(self.normal(name) / math.sqrt(2.0)))

    def value(self, name: str, of: Spread) -> float:
        """
        Value of a named quantity within its spread. [as in `of`]

        What a maker matches to the motor is: the torque to break away is a part of the starting torque. And
        a protector that trips on a healthy current bears less than this machine's own running current.
        """
        size = of.median * math.exp(of.sigma * self.normal(name))
        if name == f"{self.machine.having(Role.MECHANISM).id}.breakaway":
            return self.breakaway
        return min(size, self.early) if name.endswith("protector.early") else size

    def case(
        self,
        modes: Mapping[str, str] | None = None,
        *,
        hot: bool = False,
        share: float = 1.0,
        attempt: str = "",
    ) -> StartCase:
        """
        Put its start attempt together.

        `hot` is as in `humclick.start.fit.start_case`; `share` is that of the plate's volts at the outlet.
        [-] Another name of the `attempt` is another moment of switching, and another crank angle.
        """
        return start_case(
            self.machine,
            self.possible.motor,
            modes,
            hot=hot,
            volts=self.machine.nameplate.volts * share,
            angle=self.turn(f"{attempt}switching"),
            crank=self.turn(f"{attempt}crank"),
            draw=self.value,
        )


@dataclass(frozen=True, slots=True)
class Drawn:
    """Sound machines, and how many had to be drawn for them."""

    designs: tuple[Design, ...]  #: The sound ones.
    tried: int  #: All.


def _number(group: str, name: str) -> float:
    return sourced(read_data("research", "designs.toml")[group][name], f"designs.toml {name}").value


def _limit(name: str) -> float:
    return _number("sound", name)


def _reasonable(drawn: Possible, volts: float) -> bool:
    """Whether the steady machine at rated slip is one of 1/20 to 5 hp, and its capacitor bears the volts."""
    running = drawn.running(volts)
    if not _limit("least_watts") < drawn.shaft_watts < _limit("most_watts"):
        return False
    if drawn.shaft_watts < _limit("efficiency") * running.power_in:
        return False
    if drawn.run_farads is not None and abs(running.capacitor_volts) > _limit("capacitor_volts") * volts:
        return False
    return drawn.locked(volts).torque > 0 and steady(drawn.motor, volts, RATED_SLIP).torque > 0


def _margin(machine: Machine) -> Spread:
    rows = read_data("research", "designs.toml")["margin"]
    kind = machine.arrangement.abbreviation
    return spread(rows.get(kind, rows["other"]), f"designs.toml margin {kind}")


def _drawn(known: Estimate, base: Machine, count: int, seed: int) -> Iterator[Design]:
    volts, margin = base.nameplate.volts, _margin(base)
    for number, possible in enumerate(known.possible(count, seed)):
        if not _reasonable(possible, volts):
            continue
        locked, running = possible.locked(volts), possible.running(volts)
        alone, rated = steady(possible.motor, volts, 1.0), steady(possible.motor, volts, RATED_SLIP)
        z = float(np.random.default_rng((seed, number)).standard_normal())
        yield Design(
            machine=machine_with(base, possible),
            possible=possible,
            seed=seed,
            number=number,
            locked_amps=abs(locked.line),
            breakaway=locked.torque / rated.torque / (margin.median * math.exp(margin.sigma * z)),
            early=_number("early", "share") * abs(running.line) / abs(alone.run),
        )


def _sound(drawn: list[Design]) -> list[Design]:
    """Those that start and run without a trip at low, plate and high volts, no winding too hot."""
    sound = drawn
    for share in (_limit("low"), 1.0, _limit("high")):
        if not sound:
            break
        table = pack_many([design.case(share=share, attempt="proof ") for design in sound])
        features = simulate_packed(table, _limit("seconds"), threads=1)
        warm = np.maximum(features.run_winding_max, features.start_winding_max)
        good = (features.outcome == _RUNS) & ~features.unreleased & (warm < _limit("winding_celsius"))
        sound = [design for design, ok in zip(sound, good, strict=True) if ok]
    return sound


def _needing(drawn: list[Design]) -> list[Design]:
    """Those that do not start without their start gear, where the arrangement says that it is needed."""
    data = read_data("research", "designs.toml")["needed"]
    if not drawn or drawn[0].machine.arrangement.abbreviation not in data["kinds"]:
        return drawn
    starter = drawn[0].machine.having(Role.STARTER)
    idle = [m for m in starter.family.listed if m.recorded == data["without"]]
    without = {starter.id: min(idle, key=lambda mode: len(mode.branches)).name}  # nothing joins, not poorly
    table = pack_many([design.case(without, attempt="proof ") for design in drawn])
    features = simulate_packed(table, _limit("seconds"), threads=1)
    return [design for design, outcome in zip(drawn, features.outcome, strict=True) if outcome != _RUNS]


def designs(name: str, protector: str, nameplate: Nameplate, count: int, seed: int) -> Drawn:
    """
    Draw sound machines of an arrangement.

    The same seed gives the same machines. Raises `Unknown` if the arrangement does not exist or does not come
    with that protector, and `Refused` if hardly any machine drawn is sound.

    Drawn from `humclick.start.estimate` with nothing measured. Sound: starts at plate volts and at the low
    and the high volts of designs.toml with pressures equal, runs on without a trip, lets its start winding
    go; and needs the start gear that a maker has fitted beside a run capacitor. Proved at
    another switching and crank angle than those of the design's other attempts.
    """
    base = Machine.of(name, protector, nameplate)
    known = estimate(at_hand(base))
    sound: list[Design] = []
    tried = 0
    portion = max(16, count)
    while len(sound) < count:
        if tried >= _PATIENCE * portion:
            raise Refused(
                Message.of(
                    f"of {tried} machines drawn for {name} only {len(sound)} are sound: see designs.toml"
                )
            )
        sound += _needing(_sound(list(_drawn(known, base, portion, seed + tried))))
        tried += portion
    return Drawn(tuple(sound[:count]), tried)
