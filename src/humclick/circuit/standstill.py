"""
The machine at a standstill: what it draws, and what is left of the voltage, in the moment power comes.

The network of the arrangement is solved for phasors with the rotor locked. Volts and amperes rms. Supply,
control and an outside protector lie in series with the rest and are joined to its impedance afterwards. The
shell is bonded to the neutral side.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from humclick.arrangements.machine import Machine
from humclick.circuit.network import NetworkBranch, Setup, branches_of
from humclick.circuit.solve import Impedance, Tie, branch_currents, seen_from
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


class _Tie(NamedTuple):
    """A branch behind the feed as an admittance between merged nodes. [S]"""

    a: str
    b: str
    admittance: complex
    strays: float  #: How far the logarithm of the admittance strays, if it is wide; with its sign. [-]
    pulled_by: str


class Standstill:
    """One machine with its rotor locked, remembered by what differs electrically."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.data = read_data("humclick.circuit", "standstill.toml")
        self._cores: dict[tuple[object, ...], tuple[tuple[float, Start], ...]] = {}
        self._feeds: dict[tuple[object, ...], tuple[tuple[float, float], ...]] = {}
        self._volts: dict[tuple[object, ...], tuple[tuple[float, float], ...]] = {}
        self._tied: dict[tuple[object, ...], tuple[_Tie, ...]] = {}
        self._rests: dict[tuple[object, ...], list[Tie]] = {}
        self._admittances: dict[tuple[object, ...], tuple[tuple[float, complex], ...]] = {}

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
        self, modes: Mapping[str, str], hot: bool, parts: tuple[str, ...]
    ) -> tuple[tuple[float, float], ...]:
        """Series resistance of parts of the feed; empty where open, else weights sum to 1. [-], [Ω]"""
        key = (hot, parts, *sorted((p, m) for p, m in modes.items() if p in parts))
        if key not in self._feeds:
            self._feeds[key] = self._solve_feed(modes, hot, parts)
        return self._feeds[key]

    def _solve_feed(
        self, modes: Mapping[str, str], hot: bool, parts: tuple[str, ...]
    ) -> tuple[tuple[float, float], ...]:
        nodes = [(1.0, 0.0)]
        condition = Condition(Regime.START, hot=hot)
        for part in parts:
            mode = modes.get(part, HEALTHY)
            rows = self.machine.branches(part, mode, condition)
            wanted = 2 if part in self._supply else 1
            if len(rows) < wanted:
                return ()
            family_mode = self.machine.part(part).family.mode(mode)
            sizes: dict[str, tuple[Spread, int]] = {}  # conductors of one size are of one cord
            for _, _, branch in rows:
                spread = self.machine.spread_of(part, family_mode, branch)
                sizes[branch.size] = (spread, sizes.get(branch.size, (spread, 0))[1] + 1)
            for spread, count in sizes.values():
                rule = _FINE_NODES if parts == self._supply else _NODES
                rule = rule if spread.factor > _NARROW else ((0.0, 1.0),)
                nodes = [
                    (w * v, ohms + count * spread.median * math.exp(z * spread.sigma))
                    for w, ohms in nodes
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
        """All that `terminal_volts` goes by."""
        cold = Condition(Regime.START)
        rows: Sequence[Hashable] = ()
        if part in self._feeding:
            spreads = [(row.size, spread) for _, _, row, spread in self.machine.sized(part, mode, cold)]
            rows = [(size, s.median, s.sigma * (s.factor > _NARROW)) for size, s in spreads]
        elif part not in self._still:
            rows = self._ties(part, mode, cold)
        fed = part not in self._supply or self._fed(mode)
        return part, self.machine.part(part).family.mode(mode).volts, tuple(rows), fed

    def _fed(self, mode: str) -> bool:
        """Whether both conductors of the supply arrive."""
        (supply,) = self._supply
        return len(self.machine.sized(supply, mode, Condition())) > 1

    # -- what the part behind the feed draws --------------------------------------------------------------

    @cached_property
    def _place(self) -> dict[str, str]:
        """The node that stands for each, plain wires making theirs one."""
        place = {node: node for node in self.machine.nodes}
        for a, b in self.machine.wires:
            if {a, b} != {"n", "c"}:
                place = {node: place[a] if at == place[b] else at for node, at in place.items()}
        return place

    def _ties(self, part: str, mode: str, condition: Condition) -> tuple[_Tie, ...]:
        """What a part adds to the network behind the feed."""
        key = (part, mode, condition)
        if key not in self._tied:
            rows = []
            for a, b, row, spread in self.machine.sized(part, mode, condition):
                if row.size != "insulation":
                    branch = NetworkBranch(a, b, part, row.size, row.element, spread, row.pulled_by)
                    strays = 0.0 if row.size == "winding" else self._strays(branch)
                    strays *= (strays >= _WIDE_SIGMA) * (-1.0 if row.element is Element.OHMIC else 1.0)
                    ohms = self._impedance(branch, condition.regime, spread.median)
                    rows.append(_Tie(self._place[a], self._place[b], 1.0 / ohms, strays, row.pulled_by))
            self._tied[key] = tuple(rows)
        return self._tied[key]

    def _drawn(self, modes: Mapping[str, str], condition: Condition) -> tuple[tuple[float, complex], ...]:
        """
        Weighted admittances behind the feed; weights sum to 1. [S]

        As of `core`, from the parts that are not sound and what the network of the others is to them.
        """
        left = {p: m for p, m in modes.items() if p not in self._feeding and p not in self._still}
        key = (condition, *sorted(left.items()))
        if key not in self._admittances:
            self._admittances[key] = self._drawn_by(left, condition)
        return self._admittances[key]

    def _drawn_by(self, modes: Mapping[str, str], condition: Condition) -> tuple[tuple[float, complex], ...]:
        every = {part: self._ties(part, modes.get(part, HEALTHY), condition) for part in self._behind}
        ties = [(part, tie) for part, rows in every.items() for tie in rows]
        if any(tie.pulled_by for _, tie in ties):
            return tuple((w, solved.admittance) for w, solved in self.core(modes, condition))
        part, widest = max(ties, key=lambda row: abs(row[1].strays), default=("", None))
        strays = widest.strays if widest is not None else 0.0
        own = modes.keys() | {part} if strays else modes.keys()
        rest = self._beside(tuple(part for part in self._behind if part in own), condition)
        drawn = []
        for z, weight in _NODES if strays else ((0.0, 1.0),):
            varied = [
                (t.a, t.b, t.admittance * math.exp(z * strays) if t is widest else t.admittance)
                for part, t in ties
                if part in own
            ]
            seen = seen_from([*varied, *rest], self._poles)
            if len(seen) > 1:  # near resonance
                return tuple((w, solved.admittance) for w, solved in self.core(modes, condition))
            drawn.append((weight, seen[0][2] if seen else 0j))
        return tuple(drawn)

    @cached_property
    def _poles(self) -> tuple[str, str]:
        """Where the feed ends."""
        return self._place["k"], self._place["c"]

    @cached_property
    def _behind(self) -> tuple[str, ...]:
        """Parts of the network behind the feed."""
        return tuple(
            p.id for p in self.machine.parts if p.id not in self._still and p.id not in self._feeding
        )

    def _beside(self, parts: tuple[str, ...], condition: Condition) -> list[Tie]:
        """The sound network without some parts, as they see it."""
        key = (condition, *parts)
        if key not in self._rests:
            ties = [
                tie[:3]
                for part in self._behind
                if part not in parts
                for tie in self._ties(part, HEALTHY, condition)
            ]
            ties.append((self._place["shell"], self._place["c"], 1.0 / self.data["ground_bond"]["value"]))
            modes = ((part, mode) for part in parts for mode in self.machine.part(part).family.modes)
            ends = {node for of in modes for tie in self._ties(*of, condition) for node in tie[:2]}
            self._rests[key] = seen_from(ties, ends.union(self._poles))
        return self._rests[key]

    def _terminal_volts(self, modes: Mapping[str, str], hot: bool) -> tuple[tuple[float, float], ...]:
        chosen = [self.machine.part(p).family.mode(m) for p, m in modes.items()]
        volts = math.prod([m.volts for m in chosen])
        (supply,) = self._supply
        if not self._fed(modes.get(supply, HEALTHY)):
            return ((1.0, 0.0),)
        passing_hot = hot and any(m.passing for m in chosen)
        upstream = self._feed(modes, passing_hot, self._supply)
        feed = self._feed(modes, passing_hot, self._feeding[1:])
        if not (feed and upstream):
            return ((1.0, volts),)
        fractions: list[tuple[float, float]] = []
        behind_feed = self._drawn(modes, Condition(Regime.START, hot=passing_hot))
        for w, rest in feed:
            for v, admittance in behind_feed:
                drawn = self.scale * admittance
                behind, share = 1.0 + rest * drawn, w * v
                fractions += [
                    (share * u, volts * abs(behind / (behind + cord * drawn))) for u, cord in upstream
                ]
        return tuple(fractions)
