"""
Readings between unnamed pins, weighed: every way the pins may lie, every condition of what is sealed in.

The two winding resistances and what the test leads add are integrated out. Ohms as shown; windings at 25 °C.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.delta import delta_evidence
from humclick.diagnosis.evidence import lead_nodes, p_hot
from humclick.diagnosis.likelihood import Display, evidence, gain
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.windings import PERMUTATIONS, PinDisplay, Sealed, WindingEvidence
from humclick.errors import Refused, Unknown
from humclick.meters import Meter, Quantity
from humclick.parts.family import HEALTHY, family
from humclick.physics.copper import resistance_at
from humclick.readings import Leads, PartTemperature, Reading
from humclick.sourced import read_data

__all__ = [
    "PAIRS",
    "PINS",
    "PinWeigher",
    "Shown",
    "WindingValue",
    "figures",
    "lead_mean",
    "numbers",
    "sorted_pairs",
]

Names = tuple[str, str, str]
PINS = ("1", "2", "3")
PAIRS = ((0, 1), (0, 2), (1, 2))
_UNIFORM = dict.fromkeys(PERMUTATIONS, 1.0 / len(PERMUTATIONS))
_OHMS = Quantity.RESISTANCE

#: Ways the pins may lie that are this unlikely against the best are not followed any further. [-]
_HOPELESS = 1e-6
#: Ways the pins may lie that are more likely than this must agree about a winding. [-]
_DOUBT = 0.1
#: Below this part the difference of two integrals is their rounding. [-]
_ROUNDING = 0.01
#: Any arrangement with two windings will do: what is sealed in is the same.
_ARRANGEMENT = "rsir-ptc"

_SHORTED, _OPEN = "shorted_turns", "open"


@dataclass(frozen=True, slots=True)
class WindingValue:
    """A winding's resistance and its standard uncertainty. [Ω at 25 °C]"""

    part: str
    ohms: float
    uncertainty: float


def figures() -> dict[str, Any]:
    """Priors, words and thresholds of pins.toml."""
    return read_data("humclick.diagnosis", "pins.toml")


Shown = Mapping[tuple[str, str], Reading | Sequence[Reading]]


def sorted_pairs(readings: Shown) -> dict[tuple[int, int], tuple[Reading, ...]]:
    """Readings by pair of pins, checked, repeats together."""
    found: dict[tuple[int, int], list[Reading]] = {}
    for pair, shown in readings.items():
        if isinstance(pair, str) or len(pair) != 2:
            raise Refused(f"a reading lies between two pins, such as ('1', '2'); got {pair!r}")
        for pin in pair:
            if pin not in PINS:
                raise Unknown("pin", str(pin), PINS)
        first, second = sorted(PINS.index(pin) for pin in pair)
        if first == second:
            raise Refused(f"both probes stand on pin {pair[0]}; a reading lies between two different pins")
        several = (shown,) if isinstance(shown, Reading) else tuple(shown)
        for each in several:
            if not isinstance(each, Reading) or each.quantity is not _OHMS:
                raise Refused(f"between pins {pair[0]} and {pair[1]} a reading in ohms is needed")
        found.setdefault((first, second), []).extend(several)
    pairs = {pair: tuple(found[pair]) for pair in PAIRS if found.get(pair)}
    if not pairs:
        raise Refused("no readings between the pins; measure 1–2, 1–3 and 2–3 with the start gear off")
    return pairs


def numbers(pairs: Mapping[tuple[int, int], Sequence[Reading]]) -> dict[tuple[int, int], float]:
    """Mean of the numbers shown at each pair that showed nothing else. [Ω]"""
    means = {}
    for pair, shown in pairs.items():
        values = [r.value for r in shown if r.value is not None and not r.below_resolution]
        if len(values) == len(shown):
            means[pair] = math.fsum(values) / len(values)
    return means


def lead_mean(leads: Leads) -> tuple[float, float]:
    """What the leads add and its standard deviation. [Ω], [Ω]"""
    spread = leads.spread
    if spread is None:
        return leads.offset or 0.0, 0.0
    mean = spread.median * math.exp(0.5 * spread.sigma**2)
    return mean, mean * math.sqrt(math.expm1(spread.sigma**2))


class PinWeigher:
    """Evidence of the readings for every case and every way the pins may lie."""

    def __init__(
        self,
        pairs: Mapping[tuple[int, int], tuple[Reading, ...]],
        nameplate: Nameplate,
        temperature: PartTemperature,
        meter: Meter,
        leads: Leads,
        inside: float,
    ) -> None:
        self.pairs, self.meter, self.leads, self.inside = pairs, meter, leads, inside
        self.figures = figures()
        self.slips = default_shop().slips
        self.machine = Machine.of(_ARRANGEMENT, "internal" if inside else "external", nameplate)
        low, high = temperature.between
        at = [resistance_at(t, 1.0, 25.0) for t in (low, 0.5 * (low + high), high)]
        self.copper = at[1]
        typical = self.machine.size("run_winding", "winding").median
        error = (at[2] - at[0]) / at[1] / math.sqrt(12.0)
        self.widen = math.hypot(gain(meter, _OHMS, typical), error)
        self.windings = WindingEvidence(self.machine, self.widen)
        self.hot = p_hot(temperature, self.slips["cold_but_warm"])
        self.clean = {k: 0.0 if k != "dirty_contact_ohms" else p for k, p in self.slips.items()}
        slips = ("no_contact", "wild", "dirty_contact", "factor_1000")
        self.steady = 1.0 - math.fsum(self.slips[k] for k in slips)
        self.likely: dict[str, dict[Names, float]] = {case: {} for case in self.figures["case"]}

    def displays(self, offset: float, slips: Mapping[str, float]) -> dict[tuple[int, int], list[Display]]:
        """Displays by pair, for leads that add an offset. [Ω]"""
        return {p: [Display(r, self.meter, slips, offset) for r in own] for p, own in self.pairs.items()}

    def at_pins(self, offset: float, slips: Mapping[str, float]) -> list[PinDisplay]:
        """The same, ready for `WindingEvidence`."""
        return [
            PinDisplay(i, j, display, self.copper, False)
            for (i, j), own in self.displays(offset, slips).items()
            for display in own
        ]

    def lead_nodes(self) -> list[tuple[float, float]]:
        """Nodes of what the leads add, most telling first, with weights. [Ω], [-]"""
        spread = self.leads.spread
        means = sorted(numbers(self.pairs).values())
        if spread is None or len(means) < 3:
            return sorted(lead_nodes(self.leads, self.slips["null_forgotten"]), key=lambda node: -node[1])
        implied = means[0] + means[1] - means[2]
        width = math.sqrt(3.0) * max(
            d.peak[1] for own in self.displays(0.0, self.slips).values() for d in own if d.peak
        )
        points = {spread.median * math.exp(k * spread.sigma) for k in (-2.5, -1.25, 0.0, 1.25, 2.5)}
        points |= {implied + k * width for k in (-1.5, 0.0, 1.5)}
        at = sorted(math.log(p) for p in points if p > spread.median * math.exp(-3.0 * spread.sigma))
        nodes = []
        for i, place in enumerate(at):
            span = at[min(i + 1, len(at) - 1)] - at[max(i - 1, 0)]
            nodes.append((math.exp(place), span * math.exp(-0.5 * ((place - spread.mu) / spread.sigma) ** 2)))
        total = math.fsum(w for _, w in nodes)
        return sorted(((c, w / total) for c, w in nodes), key=lambda node: (abs(node[0] - implied), node[0]))

    def weigh(self) -> None:
        """Fill `likely`: probability of the readings by case and naming, the naming's prior included."""
        naming = dict(_UNIFORM)
        modes = {sealed for sealed, _ in itertools.chain(*self.shares().values())}
        modes.add(_sealed(start="bridged"))
        for offset, weight in self.lead_nodes():
            shown = self.at_pins(offset, self.slips)
            table = self.windings.evidence(shown, naming, modes)
            self._of_modes(table, weight)
            self._of_contact(shown, table, offset, weight, naming)
            self._of_bridge(table, offset, weight, naming)
            self._of_strangers(offset, weight)
            best = max(max(row.values()) for row in table.values())
            naming = {
                n: p for n, p in naming.items() if max(row[n] for row in table.values()) > _HOPELESS * best
            }

    def _add(self, case: str, names: Names, value: float) -> None:
        self.likely[case][names] = self.likely[case].get(names, 0.0) + value

    def _slip(self, case: str, names: Names, value: float) -> None:
        """What only a slip of the hand explains is not that case, but an error of reading."""
        self._add(case, names, -value)
        self._add("reading_error", names, value * self.odds(case) / self.odds("reading_error"))

    def shares(self) -> dict[str, tuple[tuple[Sealed, float], ...]]:
        """Sealed modes each case is made of, with their shares. [-]"""
        shares: dict[str, tuple[tuple[Sealed, float], ...]] = {
            "sound": ((_sealed(), 1.0),),
            "run_open": ((_sealed(run=_OPEN), 1.0),),
            "start_open": ((_sealed(start=_OPEN), 1.0),),
            "several_open": ((_sealed(_OPEN, _OPEN), 1.0),),
            "shorted_turns": ((_sealed(run=_SHORTED), 0.5), (_sealed(start=_SHORTED), 0.5)),
        }
        if self.inside:
            shares["protector_hot"] = shares["protector_failed"] = ((_sealed(guard=_OPEN), 1.0),)
        return shares

    def _of_modes(self, table: Mapping[Sealed, Mapping[Names, float]], weight: float) -> None:
        for case, modes in self.shares().items():
            for sealed, share in modes:
                for names, value in table[sealed].items():
                    self._add(case, names, weight * share * value)

    def _of_contact(
        self,
        shown: Sequence[PinDisplay],
        table: Mapping[Sealed, Mapping[Names, float]],
        offset: float,
        weight: float,
        naming: Mapping[Names, float],
    ) -> None:
        """Sound windings that only a slip of hand or contact explains count as an error of reading."""
        clean = self.windings.evidence(self.at_pins(offset, self.clean), naming, [_sealed()])[_sealed()]
        for names, value in table[_sealed()].items():
            slipped = value - clean[names] * self.steady ** len(shown)
            if slipped > _ROUNDING * value:
                self._slip("sound", names, weight * slipped)

    def _of_bridge(
        self,
        table: Mapping[Sealed, Mapping[Names, float]],
        offset: float,
        weight: float,
        naming: Mapping[Names, float],
    ) -> None:
        """A bridge of any resistance where three numbers tell it; else of the usual one."""
        if len(numbers(self.pairs)) == 3:
            found = delta_evidence(self.displays(offset, self.slips), self.windings, self.copper)
            for names in naming:
                self._add("bridged", names, weight * naming[names] * found[names])
            return
        for names, value in table[_sealed(start="bridged")].items():
            self._add("bridged", names, weight * value)

    def _of_strangers(self, offset: float, weight: float) -> None:
        """Three equal windings, and readings that have nothing to do with each other."""
        displays = self.displays(offset, self.slips)
        error = self.figures["reading_error"]
        volts = self.machine.nameplate.volts_class
        third = family("three_windings").size("winding", volts)
        median = third.median * self.figures["three_equal"]["paths"] * self.copper
        sigma = math.hypot(third.sigma, self.widen)
        shown = [d for own in displays.values() for d in own]
        steady = [d for own in self.displays(offset, self.clean).values() for d in own]
        equal = evidence(shown, median, sigma).value
        slipped = equal - evidence(steady, median, sigma).value * self.steady ** len(steady)
        run, start = (self.machine.size(f"{w}_winding", "winding").median for w in ("run", "start"))
        sigma = math.log(error["factor"]) / 2.0
        apart = 1.0
        for own in displays.values():
            open_here = math.prod(d.probability(math.inf) for d in own)
            number = evidence(own, math.sqrt(run * start), sigma).value
            apart *= error["open"] * open_here + (1.0 - error["open"]) * number
        dead = math.prod(d.probability(math.inf) for own in displays.values() for d in own)
        touching = math.prod(
            d.probability(offset) for own in self.displays(0.0, self.slips).values() for d in own
        )
        strange = error["all_open"] * dead + error["all_zero"] * touching
        strange += (1.0 - error["all_open"] - error["all_zero"]) * apart
        for names, prior in _UNIFORM.items():
            self._add("three_equal", names, weight * prior * equal)
            if slipped > _ROUNDING * equal:
                self._slip("three_equal", names, weight * prior * slipped)
            self._add("reading_error", names, weight * prior * strange)

    def odds(self, case: str) -> float:
        """Prior odds of a case against sound. [-]"""
        row = self.figures["case"][case]
        if case.startswith("protector"):
            cold, warm = float(row["odds"]), float(row.get("odds_hot", row["odds"]))
            return self.inside * (self.hot * warm + (1.0 - self.hot) * cold)
        return float(row["odds"])

    def posterior(self) -> dict[str, dict[Names, float]]:
        """Probability of each case and naming together; they sum to 1."""
        joint = {c: {n: self.odds(c) * p for n, p in row.items()} for c, row in self.likely.items()}
        total = math.fsum(p for row in joint.values() for p in row.values())
        if not total > 0.0:
            raise Refused("these readings fit nothing that is known; check them and type them again")
        return {c: {n: p / total for n, p in row.items()} for c, row in joint.items()}

    def values(self, case: str, naming: Mapping[Names, float]) -> tuple[WindingValue, ...]:
        """
        Winding resistances under a case. [Ω at 25 °C]

        None where ways in which the pins may lie do not agree about them.
        """
        modes = [sealed for sealed, _ in self.shares().get(case, ())]
        offset = math.fsum(c * w for c, w in self.lead_nodes())
        shown = self.at_pins(offset, self.slips)
        lead = lead_mean(self.leads)[1] / self.copper
        found: dict[str, WindingValue] = {}
        for names, likely in naming.items():
            if likely < _DOUBT or not modes:
                continue
            table = self.windings.evidence(shown, {names: 1.0}, modes)
            best = max(modes, key=lambda sealed: table[sealed][names])
            for part, (mean, sd) in self.windings.resistances(best, shown, names).items():
                uncertainty = math.sqrt(sd**2 + (mean * self.widen) ** 2 + lead**2)
                value = found.setdefault(part, WindingValue(part, mean, uncertainty))
                if abs(value.ohms - mean) > math.hypot(value.uncertainty, uncertainty):
                    return ()
        return tuple(found.values())


def _sealed(run: str = HEALTHY, start: str = HEALTHY, guard: str = HEALTHY) -> Sealed:
    return run, start, guard
