"""
What happens at power-up: silent, hum, hum and click, starts then trips, breaker, runs.

The network of the arrangement is solved for phasors twice, with the rotor locked and at speed; starting
torque follows from the two winding currents. Volts and amperes rms. Supply, control and an outside protector
lie in series with the rest and are joined to its impedance afterwards. The shell is bonded to the neutral
side.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from humclick.arrangements.machine import Machine
from humclick.circuit.network import NetworkBranch, Setup, branches_of
from humclick.circuit.solve import Element as Impedance
from humclick.circuit.solve import branch_currents
from humclick.parts.family import HEALTHY, Condition, Element, Regime
from humclick.sourced import Spread, read_data

__all__ = ["OUTCOMES", "PowerUp", "Start", "reported"]

OUTCOMES = ("silent", "hum", "hum_click", "starts_then_trips", "breaker", "runs")

_SUPPLY = ("supply",)
_FEED = (*_SUPPLY, "control", "overload_protector")
_MECHANICAL = ("mechanism",)

#: Three-point Gauss–Hermite rule for a standard normal unknown: exact to the fifth moment. [-]
_NODES = ((-math.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (math.sqrt(3.0), 1 / 6))

#: Points of a finer rule, for volts that are read as such. [-]
_FINE = tuple((0.6 * k, math.exp(-0.5 * (0.6 * k) ** 2)) for k in range(-5, 6))
_FINE_NODES = tuple((z, w / math.fsum(w for _, w in _FINE)) for z, w in _FINE)

#: A spread at least this wide is integrated over; narrower ones act through the torque spread. [-]
_WIDE = 4.0
#: In the feed a spread up to this is one point: the sound conductors. [-]
_NARROW = 2.0


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def _above(value: float, threshold: float, spread: float) -> float:
    """Probability that a log-normal threshold lies below `value`."""
    if value <= 0.0:
        return 0.0
    return _phi(math.log(value / threshold) / spread)


@dataclass(frozen=True, slots=True)
class Start:
    """
    Phasor solution of the part of the network behind the feed, at one volt.

    Attributes
    ----------
    admittance : complex
        Seen by the feed. [S]
    run, start : complex
        Current in the run and the start winding per volt. [A/V]
    ground : float
        Current through the shell per volt. [A/V]
    """

    admittance: complex
    run: complex
    start: complex
    ground: float


_DEAD = Start(0j, 0j, 0j, 0.0)


class PowerUp:
    """
    Start attempts of one machine, remembered by what differs electrically.

    Parameters
    ----------
    machine : Machine
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.data = read_data("humclick.circuit", "power_up.toml")
        self._cores: dict[tuple[object, ...], tuple[tuple[float, Start], ...]] = {}
        self._feeds: dict[tuple[object, ...], tuple[tuple[float, complex | None], ...]] = {}
        self._volts: dict[tuple[object, ...], tuple[tuple[float, float], ...]] = {}
        self._outcomes: dict[tuple[object, ...], tuple[float, ...]] = {}
        margins = self.data["start"]["margin"]
        self.margin = float(margins.get(machine.arrangement.abbreviation, margins["other"]))

    # -- solved networks ------------------------------------------------------------------------------

    def _impedance(self, branch: NetworkBranch, regime: Regime, ohms: float) -> complex:
        if branch.element is Element.CAPACITIVE:
            return -1j / (2.0 * math.pi * self.machine.nameplate.hertz * ohms) + 0.0
        ratio = self.machine.part(branch.part).family.impedance.get(branch.size)
        return ohms * ratio[regime] if ratio else complex(ohms)

    def core(self, modes: Mapping[str, str], condition: Condition) -> tuple[tuple[float, Start], ...]:
        """
        Weighted phasor solutions behind the feed, one per node of the widest unknown.

        Weights sum to 1.
        """
        key = (
            condition,
            *sorted((p, m) for p, m in modes.items() if p not in _FEED and p not in _MECHANICAL),
        )
        if key not in self._cores:
            self._cores[key] = self._solve_core(modes, condition)
        return self._cores[key]

    def _solve_core(self, modes: Mapping[str, str], condition: Condition) -> tuple[tuple[float, Start], ...]:
        setup = Setup(condition=condition, absent=frozenset(_FEED))
        found = [b for b in branches_of(self.machine, modes, setup) if b.size != "insulation"]
        wide = [i for i, b in enumerate(found) if b.spread.factor >= _WIDE and b.size != "winding"]
        widest = max(wide, key=lambda i: found[i].spread.factor, default=None)
        solved = []
        for z, weight in _NODES if widest is not None else ((0.0, 1.0),):
            elements: list[Impedance] = []
            for i, branch in enumerate(found):
                size = branch.spread.median * (math.exp(z * branch.spread.sigma) if i == widest else 1.0)
                elements.append((branch.a, branch.b, self._impedance(branch, condition.regime, size)))
            solved.append((weight, self._phasors(found, elements)))
        return tuple(solved)

    def _phasors(self, found: list[NetworkBranch], elements: list[Impedance]) -> Start:
        bond = len(elements)
        wires = [(a, b, 0.0) for a, b in self.machine.wires if {a, b} != {"n", "c"}]
        currents = branch_currents(
            [*elements, ("shell", "c", self.data["breaker"]["ground_bond"]), *wires], ("k", "c"), 1.0
        )
        for i, branch in enumerate(found):
            if branch.pulled_by and not self._pulls(found, currents.elements, branch):
                kept = [j for j in range(len(found)) if j != i]
                return self._phasors([found[j] for j in kept], [elements[j] for j in kept])
        winding = {b.part: currents.elements[i] for i, b in enumerate(found) if b.size == "winding"}
        return Start(
            currents.source,
            winding.get("run_winding", 0j),
            winding.get("start_winding", 0j),
            abs(currents.elements[bond]),
        )

    def _pulls(
        self, found: list[NetworkBranch], currents: tuple[complex, ...], contact: NetworkBranch
    ) -> bool:
        """Whether the coil carries enough to pull a contact in, set against the run winding's own current."""
        coil = sum(
            abs(i)
            for b, i in zip(found, currents, strict=False)
            if b.part == contact.part and b.size == contact.pulled_by
        )
        winding = self.machine.size("run_winding", "winding").median
        ratio = self.machine.part("run_winding").family.impedance["winding"]["start"]
        return coil * winding * abs(ratio) >= float(self.data["start"]["pick_up"])

    def _feed(
        self, modes: Mapping[str, str], hot: bool, parts: tuple[str, ...] = _FEED
    ) -> tuple[tuple[float, complex | None], ...]:
        """Series impedance of parts of the feed, None where it is open; weights sum to 1."""
        key = (hot, parts, *sorted((p, m) for p, m in modes.items() if p in parts))
        if key not in self._feeds:
            self._feeds[key] = self._solve_feed(modes, hot, parts)
        return self._feeds[key]

    def _solve_feed(
        self, modes: Mapping[str, str], hot: bool, parts: tuple[str, ...]
    ) -> tuple[tuple[float, complex | None], ...]:
        nodes: list[tuple[float, complex | None]] = [(1.0, 0j)]
        condition = Condition(Regime.START, hot=hot)
        for part in parts:
            if part not in {p.id for p in self.machine.parts}:
                continue
            mode = modes.get(part, HEALTHY)
            rows = self.machine.branches(part, mode, condition)
            wanted = 2 if part == "supply" else 1
            if len(rows) < wanted:
                return ((1.0, None),)
            family_mode = self.machine.part(part).family.mode(mode)
            sizes: dict[str, tuple[Spread, int]] = {}  # conductors of one size are of one cord
            for _, _, branch in rows:
                spread = self.machine.spread_of(part, family_mode, branch)
                sizes[branch.size] = (spread, sizes.get(branch.size, (spread, 0))[1] + 1)
            for spread, count in sizes.values():
                rule = _FINE_NODES if parts == _SUPPLY else _NODES
                rule = rule if spread.factor > _NARROW else ((0.0, 1.0),)
                nodes = [
                    (w * v, None if zs is None else zs + count * spread.median * math.exp(z * spread.sigma))
                    for w, zs in nodes
                    for z, v in rule
                ]
        return tuple(nodes)

    # -- what it does -----------------------------------------------------------------------------------

    @cached_property
    def healthy(self) -> tuple[Start, Start]:
        """The sound machine with the rotor locked and at speed, per volt."""
        locked = self.core({}, Condition(Regime.START))[0][1]
        running = self.core({}, Condition(Regime.RUN))[0][1]
        return locked, running

    @cached_property
    def scale(self) -> float:
        """What the plate's locked-rotor current is over that of the circuit of typical sizes. [-]"""
        plate = self.machine.nameplate.locked_rotor_amps
        return 1.0 if plate is None else plate / self.locked_amps()

    def locked_amps(self) -> float:
        """Line current of the sound machine with the rotor locked. [A]"""
        return self.machine.nameplate.volts * abs(self.healthy[0].admittance)

    def torque(self, start: Start) -> float:
        """
        Starting torque over that of the sound machine at nominal volts, before the feed's drop. [-]

        Notes
        -----
        T ∝ I_run I_start sin(angle between them): Fitzgerald, Kingsley and Umans, Electric Machinery,
        chapter on single- and two-phase motors.
        """
        return _torque(start) / _torque(self.healthy[0])

    def outcomes(self, modes: Mapping[str, str], *, hot: bool = False) -> tuple[float, ...]:
        """
        Probabilities of what an attempt really does.

        Parameters
        ----------
        modes : mapping of part id to mode
            Parts not named are healthy.
        hot : bool
            Whether protector and starter are still hot from the last try: passing conditions last only
            while they are.

        Returns
        -------
        tuple of float
            In the order of `OUTCOMES`; sums to 1.
        """
        key = (hot, *sorted(modes.items()))
        if key not in self._outcomes:
            self._outcomes[key] = self._outcome(modes, hot)
        return self._outcomes[key]

    def terminal_volts(
        self, modes: Mapping[str, str], *, hot: bool = False
    ) -> tuple[tuple[float, float], ...]:
        """
        Voltage at the machine's own terminals in the moment of an attempt, over nominal.

        Parameters
        ----------
        modes : mapping of part id to mode
            Parts not named are healthy.
        hot : bool
            As in `outcomes`.

        Returns
        -------
        tuple of (weight, fraction)
            Weights sum to 1; where no current flows the supply shows its voltage at rest. [-]
        """
        key = (hot, *sorted(modes.items()))
        if key not in self._volts:
            self._volts[key] = self._terminal_volts(modes, hot)
        return self._volts[key]

    def _terminal_volts(self, modes: Mapping[str, str], hot: bool) -> tuple[tuple[float, float], ...]:
        chosen = {p: self.machine.part(p).family.mode(m) for p, m in modes.items()}
        volts = math.prod(m.volts for m in chosen.values())
        if len(self.machine.branches("supply", modes.get("supply", HEALTHY), Condition())) < 2:
            return ((1.0, 0.0),)
        passing_hot = hot and any(m.passing for m in chosen.values())
        upstream = self._feed(modes, passing_hot, _SUPPLY)
        found = []
        for w, rest in self._feed(modes, passing_hot, _FEED[1:]):
            for v, locked in self.core(modes, Condition(Regime.START, hot=passing_hot)):
                drawn = self.scale * locked.admittance
                for u, cord in upstream:
                    if rest is None or cord is None:
                        found.append((w * v * u, volts))
                        continue
                    found.append((w * v * u, volts * abs(1.0 - cord * drawn / (1.0 + (cord + rest) * drawn))))
        return tuple(found)

    def _outcome(self, modes: Mapping[str, str], hot: bool) -> tuple[float, ...]:
        chosen = {p: self.machine.part(p).family.mode(m) for p, m in modes.items()}
        if not hot:  # what only had to wait has passed
            modes = {p: m for p, m in modes.items() if not chosen[p].passing or p == "control"}
            chosen = {p: chosen[p] for p in modes}
        breakaway = math.prod(m.breakaway for m in chosen.values())
        load = math.prod(m.load for m in chosen.values())
        volts = math.prod(m.volts for m in chosen.values())
        early = any(m.trips for m in chosen.values())
        protects = modes.get("overload_protector") != "welded"
        passing_hot = hot and any(m.passing for m in chosen.values())
        total = [0.0] * len(OUTCOMES)
        for w_feed, series in self._feed(modes, passing_hot):
            if series is None:
                total[0] += w_feed
                continue
            for w_core, locked in self.core(modes, Condition(Regime.START, hot=passing_hot)):
                share = self._share(modes, locked, series, volts, breakaway, load, early, protects)
                for i, p in enumerate(share):
                    total[i] += w_feed * w_core * p
        return tuple(total)

    def _share(
        self,
        modes: Mapping[str, str],
        locked: Start,
        series: complex,
        volts: float,
        breakaway: float,
        load: float,
        early: bool,
        protects: bool,
    ) -> list[float]:
        hum, brk, begin = self.data["hum"], self.data["breaker"], self.data["start"]
        healthy_amps = abs(self.healthy[0].admittance)
        left = volts / (1.0 + self.scale * series * locked.admittance)
        line = abs(locked.admittance * left) / healthy_amps
        nominal = self.machine.nameplate.volts
        fault = 1.0 - (1.0 - _above(line * self.locked_amps(), brk["amps"], brk["amps_spread"])) * (
            1.0 - _above(locked.ground * abs(left) * nominal, brk["ground_amps"], brk["ground_spread"])
        )
        silent = (1.0 - fault) * (1.0 - _above(line, hum["audible"], hum["audible_spread"]))
        live = 1.0 - fault - silent
        starts = live * _above(self.torque(locked) * abs(left) ** 2 * self.margin, breakaway, begin["spread"])
        stalls = live - starts
        clicks = stalls * (_above(line, hum["trips"], hum["trips_spread"]) if protects else 0.02)
        trips = starts * self._trips(modes, series, volts, load, early, protects)
        return [silent, stalls - clicks, clicks, trips, fault, starts - trips]

    def _trips(
        self,
        modes: Mapping[str, str],
        series: complex,
        volts: float,
        load: float,
        early: bool,
        protects: bool,
    ) -> float:
        """Probability that a machine which has started is stopped again by its protector."""
        if not protects:
            return 0.02
        if early:
            return 0.95
        run = self.data["run"]
        lasts = 1.0
        sound = self.healthy[1]
        for weight, running in self.core(modes, Condition(Regime.RUN)):
            left = abs(volts / (1.0 + self.scale * series * running.admittance))
            line = abs(running.admittance) * left / abs(sound.admittance) * load ** run["load_power"]
            left_in = max(0.0, abs(running.start) * left - 1.1 * abs(sound.start)) / abs(
                self.healthy[0].start
            )
            stays = (1.0 - _above(line, run["line"], run["line_spread"])) * (
                1.0 - _above(left_in, run["start_winding"], run["start_winding_spread"])
            )
            lasts -= weight * (1.0 - stays)
        return 1.0 - lasts


def _torque(start: Start) -> float:
    if not start.run or not start.start:
        return 0.0
    angle = cmath.phase(start.start / start.run)
    return abs(start.run) * abs(start.start) * abs(math.sin(angle))


def reported(outcomes: tuple[float, ...], *, by: str) -> tuple[float, ...]:
    """
    Probabilities of what is reported, given those of what happens.

    Parameters
    ----------
    outcomes : tuple of float
        In the order of `OUTCOMES`.
    by : str
        ``reported`` (the customer, a first impression) or ``listened`` (the technician stands and listens).

    Returns
    -------
    tuple of float
        In the same order.
    """
    table = read_data("humclick.circuit", "power_up.toml")[by]
    rows = [table[name] for name in OUTCOMES]
    return tuple(sum(p * row[j] for p, row in zip(outcomes, rows, strict=True)) for j in range(len(OUTCOMES)))
