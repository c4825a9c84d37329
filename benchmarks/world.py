"""
A simulated world: machines with hidden faults, a technician with a meter, and what they show each other.

Written apart from the inference: faults are drawn by enumeration, sizes from their spreads, readings from a
circuit with those sizes in it, displays by adding gain error, noise, leads and slips. Shared on purpose with
the program are what a start attempt does (`Attempts`), the price of being wrong (`loss`), and the tables of
looks and odds in the data files. Every answer is a function of the case, the probe and how often it was taken
before, so that two policies that ask the same get the same.
"""

from __future__ import annotations

import itertools
import math
import random
from bisect import bisect
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.standstill import Standstill
from humclick.diagnosis.attempts import attempts_of
from humclick.diagnosis.decisions import HAND_OVER
from humclick.diagnosis.hearing import reported
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Heard
from humclick.parts.family import HEALTHY
from humclick.sourced import Spread
from humclick.start.rows import OUTCOMES

__all__ = ["WORLDS", "Case", "World", "case", "draw", "listed", "machines", "standstill"]


@dataclass(frozen=True, slots=True)
class World:
    """
    How the world differs from what the program believes.

    Attributes
    ----------
    name, title : str
        Short name, and what is different.
    prior_factor : float
        Each mode's odds are multiplied or divided by this, by a fixed draw per mode. [-]
    slips : float
        Factor on all rates of slips. [-]
    lead_ohms : float or None
        Test leads of this resistance that the technician says are nulled. [Ω]
    gain : float or None
        Relative error of the meter on every reading. [-]
    doubles : float
        Share of calls that get a second fault in a part next to the first. [-]
    wrong_temperature : float
        Share of calls whose parts are hot and called cold. [-]
    unmodelled : float
        Share of calls with a cause the program does not know, on top of its own. [-]
    steady : bool
        A machine does the same at every attempt in the same state, in place of a fresh draw each time.
    ghost : bool
        A voltmeter on a conductor that is not connected shows some volts.
    """

    name: str
    title: str
    prior_factor: float = 1.0
    slips: float = 1.0
    lead_ohms: float | None = None
    gain: float | None = None
    doubles: float = 0.0
    wrong_temperature: float = 0.0
    unmodelled: float = 0.0
    steady: bool = False
    ghost: bool = False


WORLDS: Mapping[str, World] = {
    w.name: w
    for w in (
        World("as-modelled", "odds, slips and spreads as the program believes them"),
        World("priors-off", "odds of each mode three times too high or too low, by a fixed draw", 3.0),
        World("slips-doubled", "twice as many slips of hand and eye", slips=2.0),
        World("leads", "0.5 Ω of test leads, said to be nulled", lead_ohms=0.5),
        World("meter", "meter reads 2 % high", gain=0.02),
        World("doubles", "every fifth call has a second fault in a part next to the first", doubles=0.2),
        World("temperature", "hot parts are called cold in half of the calls", wrong_temperature=0.5),
        World("unmodelled", "every twentieth call has a cause that is not in the list", unmodelled=0.05),
        World("steady", "a machine does the same at every attempt in the same state", steady=True),
        World("ghost", "a voltmeter on a wire that is not connected shows up to 20 V", ghost=True),
    )
}


def draw(*key: object) -> random.Random:
    """A stream of random numbers that depends on nothing but its key."""
    return random.Random("|".join(str(k) for k in key))


# -- machines and faults --------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def machines() -> tuple[Machine, ...]:
    """
    One machine per arrangement, protector, voltage and frequency.

    Every second one has its plate and stamps read: locked-rotor amperes, capacitor stamps.
    """
    found = []
    for name in arrangements():
        if not arrangement(name).started:
            continue
        kinds = itertools.product(arrangement(name).protectors, ((115, 60), (115, 50), (230, 50), (230, 60)))
        for i, (protector, (volts, hertz)) in enumerate(kinds):
            machine = Machine.of(name, protector, Nameplate(float(volts), float(hertz)))
            found.append(_plated(machine) if (i + i // 4) % 2 else machine)
    return tuple(found)


def _plated(machine: Machine) -> Machine:
    known = {}
    for placed in machine.parts:
        if "capacitor" in placed.id:
            typical = machine.size(placed.id, "capacitance")
            known[f"{placed.id}.capacitance"] = Spread(typical.median, 1.1, "F", "stamp")
    amps = 17.0 if machine.volts_class == "115" else 8.5
    return Machine(
        machine.arrangement, machine.protector, replace(machine.nameplate, locked_rotor_amps=amps), known
    )


def _key(machine: Machine) -> tuple[object, ...]:
    return (machine.arrangement.id, machine.protector, machine.nameplate)


_STANDSTILLS: dict[tuple[object, ...], Standstill] = {}
_SETS: dict[tuple[object, ...], tuple[list[dict[str, str]], list[float]]] = {}


def standstill(machine: Machine) -> Standstill:
    """Volts and locked-rotor current: the program's own network, shared on purpose."""
    return _STANDSTILLS.setdefault(_key(machine), Standstill(machine))


def _odds(part: str, mode: str, own: float, world: World) -> float:
    if world.prior_factor == 1.0:
        return own
    up = draw("prior", part, mode).random() < 0.5
    return own * world.prior_factor if up else own / world.prior_factor


def _sets(machine: Machine, world: World, shop: Shop) -> tuple[list[dict[str, str]], list[float]]:
    """
    Every set of up to three modes that are not healthy, with running sums of weights; last: unknown.

    What takes no part in a start is drawn by itself (`_apart`): it makes no call and hides none.
    """
    key = (machine.arrangement.id, machine.protector, world.name)
    if key in _SETS:
        return _SETS[key]
    faults = [
        (p.id, m.name, _odds(p.id, m.name, shop.odds.get(f"{p.id}.{m.name}", m.odds), world))
        for p in machine.parts
        if not p.family.apart
        for m in p.family.modes.values()
        if m.name != HEALTHY
    ]
    sets: list[dict[str, str]] = [{}]
    sums = [shop.none["no_fault"]]
    for size in (1, 2, 3):
        for chosen in itertools.combinations(faults, size):
            modes = {part: mode for part, mode, _ in chosen}
            if len(modes) < size:
                continue
            weight = math.prod(odds for _, _, odds in chosen)
            for pair, factor in shop.joint.items():
                if all(modes.get(part) == mode for part, mode in pair):
                    weight *= factor
            sets.append(modes)
            sums.append(sums[-1] + weight)
    sums.append(sums[-1] + shop.none["odds"])
    _SETS[key] = (sets, sums)
    return sets, sums


def _apart(machine: Machine, world: World, shop: Shop, rng: random.Random) -> dict[str, str]:
    """Faults of parts that take no part in a start, such as an open ground, by their odds."""
    found = {}
    for placed in machine.parts:
        for mode in placed.family.modes.values() if placed.family.apart else ():
            if mode.name == HEALTHY:
                continue
            odds = _odds(placed.id, mode.name, shop.odds.get(f"{placed.id}.{mode.name}", mode.odds), world)
            if rng.random() < odds / (1.0 + odds):
                found[placed.id] = mode.name
    return found


@dataclass(frozen=True)
class Case:
    """
    One call: what is hidden, and who comes.

    Attributes
    ----------
    seed : str
        Everything random about the call follows from it.
    machine, world
        The machine, and how the world goes.
    modes : mapping of part to mode
        What is really wrong.
    unmodelled : bool
        The cause is one the program does not know.
    complaint : Heard
        As reported.
    needed : frozenset of str
        Remedies that fix it.
    hot : bool or None
        What the technician knows on arrival: tried just now, off for hours, not known.
    really_hot : bool
        Whether it was tried just now.
    """

    seed: str
    machine: Machine
    world: World
    modes: Mapping[str, str]
    unmodelled: bool
    complaint: Heard
    needed: frozenset[str]
    hot: bool | None
    really_hot: bool

    @property
    def faults(self) -> int:
        """Number of parts not healthy."""
        return len(self.modes)


def _needed(machine: Machine, modes: Mapping[str, str]) -> frozenset[str]:
    remedies = {machine.part(part).remedy(mode) for part, mode in modes.items()}
    return frozenset(remedies - {"wait"}) or frozenset({"wait"})


def listed(row: tuple[float, ...] | list[float], at: float) -> int:
    """Place in a row of probabilities where a number between 0 and 1 falls."""
    total = 0.0
    for k, p in enumerate(row):
        total += p
        if at < total:
            return k
    return len(row) - 1


def case(seed: str, machine: Machine, world: World, *, faults: int | None = None) -> Case:
    """
    Draw a call in which the machine is reported not to start.

    Parameters
    ----------
    seed : str
        Names the call.
    machine : Machine
        The machine.
    world : World
        How the world goes.
    faults : int, optional
        Keep only calls with this many parts not healthy (a stratum).
    """
    shop = default_shop()
    rng = draw(seed, "case", world.name if world.prior_factor != 1.0 else "")
    sets, sums = _sets(machine, world, shop)
    extra = draw(seed, "extra")
    unmodelled = extra.random() < world.unmodelled
    double = extra.random() < world.doubles
    while True:
        k = bisect(sums, rng.random() * sums[-1])
        unknown = unmodelled or k >= len(sets)
        modes = {} if unknown else dict(sets[k])
        if double and len(modes) == 1:
            modes |= _neighbour(machine, next(iter(modes)), rng)
        if unknown:
            heard = OUTCOMES[listed([0.16, 0.3, 0.4, 0.1, 0.04, 0.0], rng.random())]
        else:
            really = listed(attempts_of(machine).of(modes, hot=True).outcomes, rng.random())
            row = [1.0 if i == really else 0.0 for i in range(len(OUTCOMES))]
            heard = OUTCOMES[listed(reported(tuple(row), by="reported"), rng.random())]
        if heard == "runs" or (faults is not None and len(modes) != faults):
            continue
        break
    arrival = draw(seed, "arrival").random()
    modes |= _apart(machine, world, shop, draw(seed, "apart"))
    hot = True if arrival < 0.4 else False if arrival < 0.7 else None
    really_hot = hot if hot is not None else draw(seed, "arrival", "really").random() < 0.35
    needed = HAND_OVER if unknown else _needed(machine, modes)
    return Case(seed, machine, world, modes, unknown, Heard(heard), needed, hot, really_hot)


def _neighbour(machine: Machine, part: str, rng: random.Random) -> dict[str, str]:
    """A fault in a part that shares a node with another."""
    own = set(machine.part(part).connect.values())
    near = [p for p in machine.parts if p.id != part and not p.family.apart and own & set(p.connect.values())]
    if not near:
        return {}
    chosen = rng.choice(near)
    rows = [m for m in chosen.family.modes.values() if m.name != HEALTHY]
    return {chosen.id: rng.choices(rows, [m.odds for m in rows])[0].name}
