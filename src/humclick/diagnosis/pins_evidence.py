"""
Readings between unnamed pins, as a call weighs them: which case each share of the posterior speaks for.

The odds, the modes and the likelihood are those of every call (`judge`); here its posterior is only shared
out over cases and over the ways the pins may lie. Beside it stand two things that are no mode of a part: a
meter or a lead at fault, and a machine of another kind. Ohms as shown; windings at 25 °C.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from humclick.diagnosis.displays import Display
from humclick.diagnosis.evidence import lead_nodes
from humclick.diagnosis.factors import flat
from humclick.diagnosis.judged import Judged, judge
from humclick.diagnosis.likelihood import evidence
from humclick.diagnosis.observations.setup import State, winding_setup
from humclick.diagnosis.pins_bridged import Bridged
from humclick.diagnosis.probes import taken_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.diagnosis.windings import PERMUTATIONS, PinDisplay, Sealed
from humclick.parts.family import HEALTHY, Role, family
from humclick.readings import Leads
from humclick.sourced import read_data

__all__ = ["PAIRS", "PINS", "PinsWeighed", "WindingValue", "figures", "lead_mean", "unnamed"]

Names = tuple[str, str, str]
PINS = ("1", "2", "3")
PAIRS = ((0, 1), (0, 2), (1, 2))
_UNIFORM = dict.fromkeys(PERMUTATIONS, 1.0 / len(PERMUTATIONS))
_SEALED = ("run_winding", "start_winding", "internal_protector")

_SOUND: Sealed = (HEALTHY, HEALTHY, HEALTHY)

#: Sealed modes less probable than this are not shared out any further. [-]
_FOLLOWED = 1e-4
#: Ways the pins may lie that are this unlikely against the best are not followed to every lead node. [-]
_HOPELESS = 1e-6
#: Ways the pins may lie that are more likely than this must agree about a winding. [-]
_DOUBT = 0.1
#: Below this part the difference of two integrals is their rounding. [-]
_ROUNDING = 0.01


@dataclass(frozen=True, slots=True)
class WindingValue:
    """A winding's resistance and its standard uncertainty. [Ω at 25 °C]"""

    part: str
    ohms: float
    uncertainty: float


def figures() -> dict[str, Any]:
    """Cases, words and thresholds of pins.toml."""
    return read_data("humclick.diagnosis", "pins.toml")


def unnamed(observations: Iterable[Observation]) -> tuple[Observation, ...]:
    """Readings between pins that nobody has named."""
    numbered = {f"pins.{PINS[i]}-{PINS[j]}" for i, j in PAIRS}
    return tuple(o for o in observations if o.probe in numbered and o.reading is not None)


def lead_mean(leads: Leads) -> tuple[float, float]:
    """What the leads add and its standard deviation. [Ω], [Ω]"""
    spread = leads.spread
    if spread is None:
        return leads.offset or 0.0, 0.0
    mean = spread.median * math.exp(0.5 * spread.sigma**2)
    return mean, mean * math.sqrt(math.expm1(spread.sigma**2))


def _by_pair(displays: Iterable[PinDisplay]) -> list[list[Display]]:
    rows: dict[tuple[int, int], list[Display]] = {}
    for d in displays:
        rows.setdefault((d.first, d.second), []).append(d.display)
    return list(rows.values())


def _real_pairs(names: Names) -> list[frozenset[str]]:
    """What pins each pair of numbers really lies between."""
    return [frozenset({names[i], names[j]}) for i, j in PAIRS]


def _masses(judged: Judged) -> dict[Sealed, float]:
    """Probability of each mode of what is sealed in."""
    bench = judged.bench
    scope = [bench.place[part] for part in _SEALED if part in bench.place]
    run, start, guard = _SEALED
    mass: dict[Sealed, float] = {}
    for config in bench.configs(tuple(sorted(scope))):
        m = bench.modes_of(sorted(scope), config)
        mass[(m.get(run, HEALTHY), m.get(start, HEALTHY), m.get(guard, HEALTHY))] = 0.0
    for m, p in judged.post.shares():
        mass[(m.get(run, HEALTHY), m.get(start, HEALTHY), m.get(guard, HEALTHY))] += p
    return mass


def case_of(sealed: Sealed, *, opened: bool) -> str:
    """The case that a mode of what is sealed in belongs to, an internal protector open from heat or not."""
    modes = {f"{part}.{mode}" for part, mode in zip(_SEALED, sealed, strict=True)}
    cases = [name for name, row in figures()["case"].items() if modes & set(row.get("modes", ()))]
    opens = [name for name in cases if figures()["case"][name]["word"] == "open"]
    opens += ["protector_hot"] if opened else []
    return "several_open" if len(opens) > 1 else (*opens, *cases, "sound")[0]


def _case(sealed: Sealed, state: State) -> str:
    """The case of a sealed mode in one of its states."""
    return case_of(sealed, opened=bool(state[1]))


class PinsWeighed:
    """
    The readings of a situation between unnamed pins, shared out over cases and namings.

    Parameters
    ----------
    situation : Situation
        With at least one such reading.
    shop : Shop
        Odds and slips.
    share : float
        Probability that it is this machine, before the readings. [-]
    pill : float
        Probability that it has the pill it is taken to have. [-]

    Attributes
    ----------
    cases : dict of case to float
        Probability of this machine, the readings and each case, given all else in the situation. [-]
    names : dict of (str, str, str) to float
        The same by what pins 1, 2 and 3 really are. [-]
    level : float
        Probability of this machine and the readings, neither meter nor kind of machine astray. [-]
    masses : dict of mode to float
        Probability of each mode of what is sealed in, in the call. [-]
    grounded : float
        Probability that a winding touches the shell, in the call. [-]
    """

    def __init__(self, situation: Situation, shop: Shop, share: float = 1.0, pill: float = 1.0) -> None:
        self.pill = pill
        readings = unnamed(situation.observations)
        rest = tuple(o for o in situation.observations if o not in readings)
        self.situation, self.shop = situation, shop
        self.after = judge(situation, shop)
        self.before = judge(replace(situation, observations=rest), shop)
        self.setup = winding_setup(
            self.after.bench, situation.meter, taken_of(situation.machine, readings, shop)
        )
        self.masses = _masses(self.after)
        self.grounded = math.fsum(p for sealed, p in self.masses.items() if "grounded" in sealed)
        self.cases = dict.fromkeys(figures()["case"], 0.0)
        self.names = dict.fromkeys(PERMUTATIONS, 0.0)
        self.level = share * self._level()
        self._share_out()
        self._strangers(share)

    # -- the posterior of the call, shared out --------------------------------------------------------

    @cached_property
    def _lead_nodes(self) -> list[tuple[float, float]]:
        """Nodes of what the leads add, close together where three numbers tell it. [Ω], [-]"""
        spread = self.situation.leads.spread
        pairs = _by_pair(self.setup.displays(0.0))
        means = sorted(
            math.fsum(d.y or 0.0 for d in repeats) / len(repeats)
            for repeats in pairs
            if all(d.y for d in repeats)
        )
        if spread is None or len(means) < 3:
            return list(lead_nodes(self.situation.leads, self.shop.slips["null_forgotten"]))
        implied = means[0] + means[1] - means[2]
        width = math.sqrt(3.0) * max(d.peak[1] for repeats in pairs for d in repeats if d.peak)
        points = {spread.median * math.exp(k * spread.sigma) for k in (-2.5, -1.25, 0.0, 1.25, 2.5)}
        points |= {implied + k * width for k in (-1.5, 0.0, 1.5)}
        at = sorted(math.log(p) for p in points if p > spread.median * math.exp(-3.0 * spread.sigma))
        nodes = []
        for i, place in enumerate(at):
            span = at[min(i + 1, len(at) - 1)] - at[max(i - 1, 0)]
            nodes.append((math.exp(place), span * math.exp(-0.5 * ((place - spread.mu) / spread.sigma) ** 2)))
        total = math.fsum(w for _, w in nodes)
        return sorted(((c, w / total) for c, w in nodes), key=lambda node: (abs(node[0] - implied), node[0]))

    def _likely(self, states: Iterable[State], slips: Mapping[str, float]) -> dict[State, dict[Names, float]]:
        """Probability of the readings in each state and naming, the namings alike before them."""
        setup = replace(self.setup, slips=slips)
        likely = {state: dict.fromkeys(PERMUTATIONS, 0.0) for state in states}
        for epochs in {epochs for _, epochs in likely}:
            modes = [sealed for sealed, opened in likely if opened == epochs]
            naming = dict(_UNIFORM)
            for offset, weight in self._lead_nodes:
                table = setup.windings.evidence(setup.displays(offset, epochs), naming, modes)
                for sealed, row in table.items():
                    for names, p in row.items():
                        likely[sealed, epochs][names] += weight * p
                best = {n: max(row[n] for row in table.values()) for n in naming}
                naming = {n: p for n, p in naming.items() if best[n] > _HOPELESS * max(best.values())}
        return likely

    @cached_property
    def _followed(self) -> dict[Sealed, list[tuple[State, float]]]:
        """Sealed modes that matter, with the states each may be in."""
        follow = [s for s, p in self.masses.items() if p > _FOLLOWED or s == _SOUND]
        return {sealed: self.setup.states(sealed) for sealed in follow}

    @cached_property
    def _tables(self) -> tuple[dict[State, dict[Names, float]], dict[State, dict[Names, float]]]:
        """`_likely` of all states that matter: with all slips of the hand, and without any."""
        states = {state for rows in self._followed.values() for state, _ in rows}
        return self._likely(states, self.shop.slips), self._likely(states, self._clean)

    @property
    def _clean(self) -> dict[str, float]:
        return {k: p if k == "dirty_contact_ohms" else 0.0 for k, p in self.shop.slips.items()}

    def _steady(self, displays: Iterable[Display]) -> float:
        """Probability that no slip of the hand touched any of the numbers shown."""
        slips = ("no_contact", "wild", "dirty_contact", "factor_1000")
        once = 1.0 - math.fsum(self.shop.slips[k] for k in slips)
        return math.prod(once for d in displays if d.y is not None)

    def _of(self, sealed: Sealed) -> float:
        """Probability of the readings in a sealed mode that matters."""
        return math.fsum(w * math.fsum(self._tables[0][s].values()) for s, w in self._followed[sealed])

    def _share_out(self) -> None:
        with_slips, clean = self._tables
        steady = self._steady(d.display for d in self.setup.displays(0.0))
        level = self.level
        looks_sound = self.shop.none["as_healthy"] * self._of(_SOUND) / self._none
        none = level * self.after.post.whole.none
        self.cases["reading_error"] += none * (1.0 - looks_sound)
        masses = {s: level * p for s, p in self.masses.items()}
        masses[_SOUND] += none * looks_sound
        for sealed, mass in masses.items():
            if sealed not in self._followed:
                self.cases[case_of(sealed, opened=False)] += mass
                continue
            for state, weight in self._followed[sealed]:
                row = with_slips[state]
                likely = math.fsum(row.values())
                share = mass * weight * likely / self._of(sealed)
                slipped = 1.0 - min(1.0, steady * math.fsum(clean[state].values()) / likely)
                slipped = slipped if slipped > _ROUNDING else 0.0
                self.cases[_case(sealed, state)] += share * (1.0 - slipped)
                self.cases["reading_error"] += share * slipped  # what only a slip explains
                for names, p in row.items():
                    self.names[names] += share * p / likely

    @cached_property
    def _none(self) -> float:
        """Probability of the readings when the cause is none of those modelled."""
        as_healthy = self.shop.none["as_healthy"]
        anything = math.prod(flat(d.display) for d in self.setup.displays(0.0))
        return as_healthy * self._of(_SOUND) + (1.0 - as_healthy) * anything

    def _level(self) -> float:
        """
        Probability of the readings on a machine of this kind, given all else in the situation.

        Bayes' rule at the most probable hypothesis: likelihood times prior over posterior.
        """
        before = _masses(self.before)
        best = max((s for s in self._followed if before[s]), key=lambda sealed: self.masses[sealed])
        none = self.after.post.whole.none
        if none > self.masses[best]:
            return self._none * self.before.post.whole.none / none
        return self._of(best) * before[best] / self.masses[best]

    # -- what is no mode of a part ----------------------------------------------------------------------

    def _strangers(self, share: float) -> None:
        """Three equal windings, and readings that have nothing to do with the windings."""
        equal_odds, error_odds = self.shop.none["other_kind"], self.shop.slips["meter_fault"]
        dirty = replace(self.setup, slips=self.shop.slips)
        clean = replace(self.setup, slips=self._clean)
        for offset, weight in ((offset, share * w) for offset, w in self._lead_nodes):
            pairs = _by_pair(dirty.displays(offset))
            displays = list(itertools.chain(*pairs))
            equal = self._equal(displays)
            steady = self._steady(displays) * self._equal(
                list(itertools.chain(*_by_pair(clean.displays(offset))))
            )
            slipped = equal - steady if equal - steady > _ROUNDING * equal else 0.0
            self.cases["three_equal"] += weight * equal_odds * (equal - slipped)
            self.cases["reading_error"] += weight * equal_odds * slipped
            zeros = math.prod(d.display.probability(offset) for d in dirty.displays(0.0))
            self.cases["reading_error"] += weight * error_odds * self._at_fault(pairs, zeros)
            for names, p in self._starter_on(pairs, offset).items():
                on = weight * self.shop.slips["gear_on"] * self.pill * p
                self.cases["gear_on"] += on
                self.names[names] += on
        rest = math.fsum(self.cases.values()) - math.fsum(self.names.values())
        for names, prior in _UNIFORM.items():
            self.names[names] += rest * prior

    def _equal(self, displays: Sequence[Display]) -> float:
        """Probability of all displays over three equal windings."""
        third = family("three_windings").size("winding", self.situation.machine.volts_class)
        copper = math.fsum(row[4] for row in self.setup.readings) / len(self.setup.readings)
        median = third.median * figures()["three_equal"]["paths"] * copper
        return evidence(displays, median, math.hypot(third.sigma, self.setup.windings.widen)).value

    def _starter_on(self, pairs: Sequence[Sequence[Display]], offset: float) -> dict[Names, float]:
        """Probability of three displays of good windings with a pill still on them, by how the pins lie."""
        machine = self.situation.machine
        starter = machine.has(Role.STARTER)
        if len(pairs) < 3 or starter is None or not starter.family.gear_ohms or not starter.family.at_pins:
            return {}
        copper = math.fsum(row[4] for row in self.setup.readings) / len(self.setup.readings)
        sizes = [machine.size(part, "winding") for part in ("run_winding", "start_winding")]
        spreads = [(s.median * copper, math.hypot(s.sigma, self.setup.windings.widen)) for s in sizes]
        pill = machine.size(starter.id, starter.family.gear_ohms)
        last = [repeats[-1] for repeats in pairs]
        if any(display.y is None or display.peak is None or display.zero for display in last):
            return {}
        mesh = Bridged((*spreads, (pill.median, pill.sigma)))
        return {
            names: mesh.likelihood(dict(zip(_real_pairs(names), last, strict=True)), offset)
            / len(PERMUTATIONS)
            for names in PERMUTATIONS
        }

    def _at_fault(self, pairs: Sequence[Sequence[Display]], zeros: float) -> float:
        """Probability of the displays of a meter or lead at fault."""
        error = figures()["reading_error"]
        machine = self.situation.machine
        run, start = (machine.size(f"{w}_winding", "winding").median for w in ("run", "start"))
        usual, sigma = math.sqrt(run * start), math.log(error["factor"]) / 2.0
        opens = [math.prod(d.probability(math.inf) for d in repeats) for repeats in pairs]
        apart = math.prod(
            error["open"] * is_open + (1.0 - error["open"]) * evidence(repeats, usual, sigma).value
            for repeats, is_open in zip(pairs, opens, strict=True)
        )
        strange = error["all_open"] * math.prod(opens) + error["all_zero"] * zeros
        return float(strange + (1.0 - error["all_open"] - error["all_zero"]) * apart)

    # -- winding resistances ------------------------------------------------------------------------------

    def values(self, case: str, naming: Mapping[Names, float]) -> tuple[WindingValue, ...]:
        """
        Winding resistances under a case. [Ω at 25 °C]

        None where ways in which the pins may lie do not agree about them.
        """
        states = {
            state: self.masses[sealed] * weight
            for sealed, rows in self._followed.items()
            for state, weight in rows
            if _case(sealed, state) == case
        }
        offset, deviation = lead_mean(self.situation.leads)
        copper = math.fsum(row[4] for row in self.setup.readings) / len(self.setup.readings)
        values: dict[str, WindingValue] = {}
        for names in (n for n, likely in naming.items() if likely >= _DOUBT and states):
            (sealed, epochs), _ = max(
                states.items(),
                key=lambda item: item[1] * self._tables[0][item[0]][names],
            )
            displays = self.setup.displays(offset, epochs)
            for part, (mean, sd) in self.setup.windings.resistances(sealed, displays, names).items():
                uncertainty = math.hypot(sd, mean * self.setup.windings.widen, deviation / copper)
                value = values.setdefault(part, WindingValue(part, mean, uncertainty))
                if abs(value.ohms - mean) > math.hypot(value.uncertainty, uncertainty):
                    return ()
        return tuple(values.values())
