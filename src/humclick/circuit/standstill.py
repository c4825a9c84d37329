"""
The machine at a standstill: what it draws, and what is left of the voltage, in the moment power comes.

The network of the arrangement is solved for phasors with the rotor locked. Volts and amperes rms. Supply,
control and an outside protector lie in series with the rest and are joined to its impedance afterwards. The
shell is bonded to the neutral side.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cached_property

from humclick.arrangements.machine import Machine
from humclick.circuit.network import NetworkBranch, Setup, branches_of
from humclick.circuit.solve import Impedance, branch_currents
from humclick.parts.family import HEALTHY, Condition, Element, Regime, Role
from humclick.sourced import Z95, Spread, read_data

__all__ = ["Standstill", "Start"]

#: Three-point Gauss–Hermite rule for a standard normal unknown: exact to the fifth moment. [-]
_NODES = ((-math.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (math.sqrt(3.0), 1 / 6))

#: Points of a finer rule, for volts that are read as such. [-]
_FINE = tuple((0.6 * k, math.exp(-0.5 * (0.6 * k) ** 2)) for k in range(-5, 6))
_FINE_NODES = tuple((z, w / math.fsum(w for _, w in _FINE)) for z, w in _FINE)

#: Behind the feed the widest spread is integrated over, if it is at least this wide: ln deviation. [-]
_WIDE_SIGMA = math.log(4.0) / Z95
#: In the feed a spread up to this is one point: the sound conductors. [-]
_NARROW = 2.0


@dataclass(frozen=True, slots=True)
class Start:
    """Phasor solution of the part of the network behind the feed, at one volt."""

    admittance: complex  #: Seen by the feed. [S]
    #: Current in the run and the start winding per volt. [A/V]
    run: complex
    start: complex
    ground: float  #: Current through the shell per volt. [A/V]


class Standstill:
    """One machine with its rotor locked, remembered by what differs electrically."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.data = read_data("humclick.circuit", "standstill.toml")
        self._cores: dict[tuple[object, ...], tuple[tuple[float, Start], ...]] = {}
        self._feeds: dict[tuple[object, ...], tuple[tuple[float, complex | None], ...]] = {}
        self._volts: dict[tuple[object, ...], tuple[tuple[float, float], ...]] = {}

    @cached_property
    def _supply(self) -> tuple[str, ...]:
        return (self.machine.having(Role.SUPPLY).id,)

    @cached_property
    def _feeding(self) -> tuple[str, ...]:
        """In series with all the rest: supply, control, and a protector outside the shell."""
        guard = self.machine.has(Role.PROTECTOR)
        outside = () if guard is None or guard.family.sealed else (guard.id,)
        return (*self._supply, self.machine.having(Role.CONTROL).id, *outside)

    @cached_property
    def _still(self) -> frozenset[str]:
        """Parts without a branch in the network of a start: what only turns, and what takes no part."""
        return frozenset(p.id for p in self.machine.parts if p.family.apart or not p.family.terminals)

    def _strays(self, branch: NetworkBranch) -> float:
        """
        How far a branch strays by itself, ln standard deviation. [-]

        What only the size of the machine leaves open is matched to the motor, and strays with it.
        """
        if not self.machine.unsized(branch.part, branch.size):
            return branch.spread.sigma
        size = self.machine.size(branch.part, branch.size)
        return math.sqrt(max(branch.spread.sigma**2 - size.sigma**2, 0.0))

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
            *sorted((p, m) for p, m in modes.items() if p not in self._feeding and p not in self._still),
        )
        if key not in self._cores:
            self._cores[key] = self._solve_core(modes, condition)
        return self._cores[key]

    def _solve_core(self, modes: Mapping[str, str], condition: Condition) -> tuple[tuple[float, Start], ...]:
        setup = Setup(condition=condition, absent=self._still | set(self._feeding))
        branches = [b for b in branches_of(self.machine, modes, setup) if b.size != "insulation"]
        strays = [self._strays(b) for b in branches]
        wide = [i for i, b in enumerate(branches) if strays[i] >= _WIDE_SIGMA and b.size != "winding"]
        widest = max(wide, key=strays.__getitem__, default=None)
        solved = []
        for z, weight in _NODES if widest is not None else ((0.0, 1.0),):
            elements: list[Impedance] = []
            for i, branch in enumerate(branches):
                size = branch.spread.median * (math.exp(z * strays[i]) if i == widest else 1.0)
                elements.append((branch.a, branch.b, self._impedance(branch, condition.regime, size)))
            solved.append((weight, self._phasors(branches, elements)))
        return tuple(solved)

    def _phasors(self, branches: list[NetworkBranch], elements: list[Impedance]) -> Start:
        bond = len(elements)
        wires = [(a, b, 0.0) for a, b in self.machine.wires if {a, b} != {"n", "c"}]
        currents = branch_currents(
            [*elements, ("shell", "c", self.data["ground_bond"]["value"]), *wires], ("k", "c"), 1.0
        )
        for i, branch in enumerate(branches):
            if branch.pulled_by and not self._pulls(branches, currents.elements, branch):
                others = [j for j in range(len(branches)) if j != i]
                return self._phasors([branches[j] for j in others], [elements[j] for j in others])
        winding = {b.part: currents.elements[i] for i, b in enumerate(branches) if b.size == "winding"}
        return Start(
            currents.source,
            winding.get(self.machine.having(Role.RUN_WINDING).id, 0j),
            winding.get(self.machine.having(Role.START_WINDING).id, 0j),
            abs(currents.elements[bond]),
        )

    def _pulls(
        self, branches: list[NetworkBranch], currents: tuple[complex, ...], contact: NetworkBranch
    ) -> bool:
        """Whether the coil carries enough to pull a contact in, set against the run winding's own current."""
        coil = sum(
            abs(i)
            for b, i in zip(branches, currents, strict=False)
            if b.part == contact.part and b.size == contact.pulled_by
        )
        run = self.machine.having(Role.RUN_WINDING)
        winding = self.machine.size(run.id, "winding").median
        ratio = run.family.impedance["winding"][Regime.START]
        return coil * winding * abs(ratio) >= float(self.data["pick_up"]["value"])

    def _feed(
        self, modes: Mapping[str, str], hot: bool, parts: tuple[str, ...] = ()
    ) -> tuple[tuple[float, complex | None], ...]:
        """Series impedance of parts of the feed, by default of all; None where open; weights sum to 1."""
        parts = parts or self._feeding
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
            mode = modes.get(part, HEALTHY)
            rows = self.machine.branches(part, mode, condition)
            wanted = 2 if part in self._supply else 1
            if len(rows) < wanted:
                return ((1.0, None),)
            family_mode = self.machine.part(part).family.mode(mode)
            sizes: dict[str, tuple[Spread, int]] = {}  # conductors of one size are of one cord
            for _, _, branch in rows:
                spread = self.machine.spread_of(part, family_mode, branch)
                sizes[branch.size] = (spread, sizes.get(branch.size, (spread, 0))[1] + 1)
            for spread, count in sizes.values():
                rule = _FINE_NODES if parts == self._supply else _NODES
                rule = rule if spread.factor > _NARROW else ((0.0, 1.0),)
                nodes = [
                    (w * v, None if zs is None else zs + count * spread.median * math.exp(z * spread.sigma))
                    for w, zs in nodes
                    for z, v in rule
                ]
        return tuple(nodes)

    # -- what it does -----------------------------------------------------------------------------------

    @cached_property
    def healthy(self) -> Start:
        """The sound machine, per volt."""
        return self.core({}, Condition(Regime.START))[0][1]

    @cached_property
    def scale(self) -> float:
        """What the plate's locked-rotor current is over that of the circuit of typical sizes. [-]"""
        plate = self.machine.nameplate.locked_rotor_amps
        return 1.0 if plate is None else plate / self.locked_amps()

    def locked_amps(self) -> float:
        """Line current of the sound machine with the rotor locked. [A]"""
        return self.machine.nameplate.volts * abs(self.healthy.admittance)

    def terminal_volts(
        self, modes: Mapping[str, str], *, hot: bool = False
    ) -> tuple[tuple[float, float], ...]:
        """
        Voltage at the machine's own terminals in the moment of an attempt, over nominal.

        Pairs of a weight, which sum to 1, and the fraction; where no current flows the supply shows its
        voltage at rest. [-] `hot`: protector and starter are still hot from the last try.
        """
        key = (hot, *sorted(modes.items()))
        if key not in self._volts:
            self._volts[key] = self._terminal_volts(modes, hot)
        return self._volts[key]

    def shows(self, part: str, mode: str) -> Hashable:
        """What a mode changes when power comes to a cold machine; None where it shows as a sound part."""
        seen = self._shown(part, mode)
        return None if seen == self._shown(part, HEALTHY) else seen

    def _shown(self, part: str, mode: str) -> tuple[Hashable, ...]:
        rows = () if part in self._still else self.machine.sized(part, mode, Condition(Regime.START))
        at_rest = self.machine.sized(part, mode, Condition()) if part in self._supply else ()
        return part, self.machine.part(part).family.mode(mode).volts, rows, at_rest

    def _terminal_volts(self, modes: Mapping[str, str], hot: bool) -> tuple[tuple[float, float], ...]:
        chosen = {p: self.machine.part(p).family.mode(m) for p, m in modes.items()}
        volts = math.prod(m.volts for m in chosen.values())
        (supply,) = self._supply
        if len(self.machine.branches(supply, modes.get(supply, HEALTHY), Condition())) < 2:
            return ((1.0, 0.0),)
        passing_hot = hot and any(m.passing for m in chosen.values())
        upstream = self._feed(modes, passing_hot, self._supply)
        feed = self._feed(modes, passing_hot, self._feeding[1:])
        if all(rest is None for _, rest in feed) or all(cord is None for _, cord in upstream):
            return ((1.0, volts),)
        fractions = []
        for w, rest in feed:
            for v, locked in self.core(modes, Condition(Regime.START, hot=passing_hot)):
                drawn = self.scale * locked.admittance
                for u, cord in upstream:
                    if rest is None or cord is None:
                        fractions.append((w * v * u, volts))
                        continue
                    fractions.append(
                        (w * v * u, volts * abs(1.0 - cord * drawn / (1.0 + (cord + rest) * drawn)))
                    )
        return tuple(fractions)
