"""
A machine of the simulated world: sizes of its own, hidden faults, heat, and what it does when tried.

Shared with the program on purpose: what a start attempt does (`Attempts`), and the tables of looks.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from benchmarks.meter_in_hand import MeterInHand
from benchmarks.world import Case, draw, listed, standstill
from humclick.arrangements.arrangement import PINS
from humclick.circuit.solve import resistance_between
from humclick.diagnosis.attempts import attempts_of
from humclick.diagnosis.checks import checks
from humclick.diagnosis.hearing import reported
from humclick.diagnosis.observations.amps import Amps
from humclick.diagnosis.observations.feed import Feed
from humclick.diagnosis.observations.leads import TipsTogether
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.shop import default_shop
from humclick.parts.family import HEALTHY, Condition, Element, Regime
from humclick.sizes.sound import HORSEPOWER, SoundMachine
from humclick.sourced import Spread, read_data
from humclick.start.rows import OUTCOMES

__all__ = ["LEAKS", "Unit"]

#: Rates of slips in the world, written down here and not read from the shop's file. Guesses. [-]
_PINS_MIXED, _LOOK_WRONG = 0.02, 0.01
#: Current that a sound unit sends to its ground wire, or to a hand. Guesses. [A]
LEAKS = {"proof.ground_current": (5e-5, 5e-4), "proof.touch_current": (1e-5, 2e-4)}


@dataclass
class Unit:
    """
    One machine with what is hidden in it.

    Attributes
    ----------
    case : Case
        The call.
    counts : dict of probe to int
        How often each probe was taken.
    renewed : frozenset of str
        Parts that are new.
    since_try, since_arrival : float
        [min]
    tries : int
        Attempts that drew current.
    """

    case: Case
    counts: dict[str, int] = field(default_factory=dict)
    renewed: frozenset[str] = frozenset()
    since_try: float = 0.0
    since_arrival: float = 0.0
    tries: int = 0

    def __post_init__(self) -> None:
        case = self.case
        self.shop = default_shop()
        self.machine = case.machine
        rng = draw(case.seed, "hands")
        world = case.world
        self.hand = MeterInHand(world, rng)
        self.feels = rng.random() < 0.6
        self.ambient = rng.gauss(22.0, 6.0)
        self.warmth = rng.uniform(35.0, 95.0)
        self.mistaken = draw(case.seed, "temperature").random() < world.wrong_temperature
        self.pins: dict[str, str] = {p: p for p in PINS}
        if rng.random() < _PINS_MIXED * world.slips:
            order = rng.choice([o for o in itertools.permutations(PINS) if o != PINS])
            self.pins = dict(zip(PINS, order, strict=True))
        self.pins |= zip("123", draw(case.seed, "numbers").sample(PINS, 3), strict=True)  # as on the photo
        self.passes = {
            kind: rng.lognormvariate(math.log(row["median"]), math.log(row["factor"]) / 1.96)
            for kind, row in read_data("humclick.physics", "cooling.toml")["passing"].items()
        }
        really_hot = case.really_hot or self.mistaken
        self.since_try = self.since_arrival = 0.0 if really_hot else 600.0

    @property
    def celsius(self) -> float:
        """Temperature of the windings: the shell's, and more for some minutes after a try. [°C]"""
        brief = 15.0 * math.exp(-self.since_try / 10.0) if self.tries else 0.0
        return self.shell_celsius + brief

    @property
    def shell_celsius(self) -> float:
        """Temperature of the shell, which a try of five seconds does not change. [°C]"""
        return self.ambient + max(0.0, self.warmth - self.ambient) * math.exp(-self.since_arrival / 60.0)

    def is_hot(self, kind: str) -> bool:
        """Whether what cools by this clock is still hot from the last try."""
        return self.since_try < self.passes[kind]

    def _heat_of(self, part: str, mode: str) -> str:
        if part == "overload_protector":
            return "external_protector"
        if part in ("internal_protector", "ptc"):
            return part
        return "pressures" if mode in ("unequal", "high_head") else ""

    def modes_now(self) -> dict[str, str]:
        """What is wrong now: parts renewed, control turned to a call and condenser cleaned left out."""
        modes = {p: m for p, m in self.case.modes.items() if p not in self.renewed}
        if self.counts.get("control.setting") and modes.get("control") in ("not_calling", "wrong"):
            del modes["control"]
        if self.counts.get("fit.mechanism") and modes.get("mechanism") == "high_head":
            del modes["mechanism"]
        if self.counts.get("fit.wiring"):
            modes.pop("wiring", None)
        return modes

    @cached_property
    def _strength(self) -> SoundMachine:
        """How strong this very machine is, and its run winding: all other sizes go with them."""
        sound = self.machine.sound
        for name in (HORSEPOWER, "run_ohms"):
            z = draw(self.case.seed, "strength", name).gauss(0.0, 1.0)
            size = sound.size(name)
            sound = sound.given(name, Spread(size.median * math.exp(z * size.sigma), 1.0))
        return sound

    def size(self, part: str, size: str, mode: str, times: float, within: float, n: int | None) -> float:
        """A size of this very part; `n` counts readings where every reading finds another value."""
        spread = self.machine.size(part, size)
        if self.machine.unsized(part, size):
            spread = self._strength.size(self.machine.part(part).family.by_machine[size])
        fitted = part in self.renewed
        fresh = () if n is None else (n,)
        z = draw(self.case.seed, "size", part, size, fitted, *fresh).gauss(0.0, 1.0)
        x = spread.median * math.exp(z * math.log(spread.factor) / 1.96)
        if within > 1.0:
            x *= math.exp(
                draw(self.case.seed, "within", part, mode).gauss(0.0, 1.0) * math.log(within) / 1.96
            )
        return x * times

    def _elements(
        self, part: str, mode: str, condition: Condition, n: int
    ) -> Iterator[tuple[str, str, float]]:
        family_mode = self.machine.part(part).family.mode(mode)
        if family_mode.makes:  # a contact that scatters: good, lost or ohms, anew at each reading
            at = draw(self.case.seed, "contact", part, n).random()
            if at < family_mode.makes:
                mode = HEALTHY
                family_mode = self.machine.part(part).family.mode(mode)
            elif at < family_mode.makes + family_mode.loses:
                mode = "stuck_open" if "stuck_open" in self.machine.part(part).family.modes else mode
        for a, b, branch in self.machine.branches(part, mode, condition):
            if branch.element is Element.OHMIC:
                again = n if family_mode.scattered else None
                ohms = self.size(part, branch.size, mode, branch.times, branch.within, again)
                if branch.size == "winding":
                    ohms *= (235.0 + self.celsius) / (235.0 + 25.0)
                yield a, b, ohms

    def really(self, probe: Probe, rng: random.Random) -> float:
        """The true value between the tips. [SI]"""
        modes = self.modes_now()
        if self.case.unmodelled and rng.random() < 0.2:
            return (
                float(10 ** rng.uniform(-1.0, 5.0))
                if probe.quantity == "resistance"
                else rng.uniform(0.0, 1e-4)
            )
        if isinstance(probe.model, TipsTogether):
            return 0.0
        if probe.quantity == "voltage":
            return self._volts(probe, modes) if probe.id not in checks() else self._to_ground(probe)
        if isinstance(probe.model, Amps):
            return self._amps(modes, rng)
        mode = modes.get(probe.part, HEALTHY)
        if probe.quantity == "capacitance":
            return self._farads(probe.part, mode)
        n = self.counts[probe.id]
        if probe.model.on_part:
            turned = any(
                t.turned
                for t in self.machine.part(probe.part).family.tests
                if probe.id == f"{probe.part}.{t.name}"
            )
            heat = self._heat_of(probe.part, mode)
            hot = bool(heat) and self.is_hot(heat)
            opens = self.machine.part(probe.part).family.mode(mode).hot_open
            if hot and draw(self.case.seed, "hot-open", probe.part, self.tries).random() < opens:
                return math.inf
            condition = Condition(Regime.REST, hot, turned)
            assert probe.points is not None
            return resistance_between(
                list(self._elements(probe.part, mode, condition, n)), *probe.points
            ).ohms
        return self._sealed(probe, modes, n)

    def _sealed(self, probe: Probe, modes: Mapping[str, str], n: int) -> float:
        """Between two pins, or from the pins to the shell. [Ω]"""
        inside = [p for p in ("internal_protector", "run_winding", "start_winding") if p in self._ids()]
        elements: list[tuple[str, str, float]] = []
        for part in inside:
            mode = modes.get(part, HEALTHY)
            hot = part == "internal_protector" and self.is_hot("internal_protector")
            opens = self.machine.part(part).family.mode(mode).hot_open
            if hot and draw(self.case.seed, "hot-open", part, self.tries).random() < opens:
                continue
            elements.extend(self._elements(part, mode, Condition(Regime.REST, hot), n))
        if probe.model.to_shell:
            return min(resistance_between(elements, pin, "shell").ohms for pin in PINS)
        assert probe.pins is not None
        a, b = probe.pins
        return resistance_between(elements, self.pins[a], self.pins[b]).ohms

    def _ids(self) -> set[str]:
        return {p.id for p in self.machine.parts}

    def _farads(self, part: str, mode: str) -> float:
        """What a capacitance range makes of a capacitor: nothing where it is open, OL where it conducts."""
        farads, leak = 0.0, math.inf
        for branch in self.machine.part(part).family.mode(mode).branches:
            x = self.size(part, branch.size, mode, branch.times, branch.within, None)
            if branch.element is Element.CAPACITIVE:
                farads = x
            else:
                leak = min(leak, x)
        if leak < 100.0:
            return math.inf
        if mode == "leaking":  # a leak makes the reading wander
            farads *= math.exp(draw(self.case.seed, "leak", part).gauss(0.0, 0.2))
        stray = draw(self.case.seed, "stray").uniform(0.0, 3e-11)
        return farads + stray

    def _to_ground(self, probe: Probe) -> float:
        """Volts to ground at the outlet; half the line volts on 230 V at 60 Hz, split phase. [V]"""
        modes = self.modes_now()
        rng = draw(self.case.seed, "neutral")
        ungrounded = self.case.modes.get("earth") == "open" or modes.get("supply") == "dead"
        if ungrounded:
            return rng.uniform(0.0, 2.0)
        outlet = probe_of(self.machine, "supply.volts", self.shop)
        split = self.machine.volts_class == "230" and self.machine.nameplate.hertz == 60
        if split:
            return 0.5 * self._volts(outlet, modes)
        return self._volts(outlet, modes) if probe.id == "supply.volts_ground" else rng.uniform(0.0, 3.0)

    def leaks(self, name: str) -> float:
        """Current from the running unit to ground, through what is sound and what is not. [A]"""
        low, high = LEAKS[name]
        shell = probe_of(self.machine, "pins.shell", self.shop)
        own = draw(self.case.seed, "leaks", name).uniform(low, high)
        return own + self.machine.nameplate.volts / self._sealed(shell, self.modes_now(), 0)

    def _volts(self, probe: Probe, modes: Mapping[str, str]) -> float:
        nominal = self.machine.nameplate.volts
        spread = self.machine.size("supply", "outlet")
        z = draw(self.case.seed, "outlet").gauss(0.0, 1.0)
        mode = self.machine.part("supply").family.mode(modes.get("supply", HEALTHY))
        volts = nominal * math.exp(z * math.log(spread.factor) / 1.96) * mode.volts
        ghost = draw(self.case.seed, "ghost", probe.id).uniform(0.0, 20.0) if self.case.world.ghost else 0.0
        if mode.name == "dead":
            return 0.02
        if mode.name == "low":  # how low differs from house to house
            volts *= math.exp(draw(self.case.seed, "low").gauss(0.0, 0.05))
        if probe.model.at_outlet:
            return volts
        whole = mode.name != "open_neutral"
        calls = bool(self.machine.branches("control", modes.get("control", HEALTHY), Condition()))
        if isinstance(probe.model, Feed):
            return volts if whole and calls else ghost
        if not whole:
            return ghost
        # shared physics: how far the supply sags while the machine tries to start
        still = self._still(modes)
        rows = standstill(self.machine).terminal_volts(still, hot=self._passing(still))
        k = listed([w for w, _ in rows], draw(self.case.seed, "sag").random())
        return nominal * math.exp(z * math.log(spread.factor) / 1.96) * rows[k][1]

    def _amps(self, modes: Mapping[str, str], rng: random.Random) -> float:
        """Amps on the common lead: how this attempt goes, times this machine's own locked current."""
        seed = self.case.seed
        if self.case.unmodelled:
            return float(self._locked() * rng.uniform(0.05, 1.3))
        modes = self._still(modes)
        hot = self._passing(modes)
        at = draw(seed, "steady").random() if self.case.world.steady else rng.random()
        # shared physics: what an attempt does and draws
        attempt = attempts_of(self.machine).of(modes, hot=hot)
        ratio, spread = attempt.amps[listed(attempt.outcomes, at)]
        return self._locked() * ratio * math.exp(draw(seed, "drawn").gauss(0.0, spread))

    def _locked(self) -> float:
        """Locked-rotor current of this very machine: near its plate, or as its winding has it. [A]"""
        plate = self.machine.nameplate.locked_rotor_amps
        if plate is not None:
            return plate * math.exp(draw(self.case.seed, "plate").gauss(0.0, 0.08))
        usual, own = (
            self.machine.size("run_winding", "winding").median,
            self._strength.size("run_ohms").median,
        )
        return standstill(self.machine).locked_amps() * usual / own

    # -- attempts and looks -------------------------------------------------------------------------------

    def _still(self, modes: Mapping[str, str]) -> dict[str, str]:
        """Modes left once what had to pass has passed."""
        kept = {}
        for part, mode in modes.items():
            heat = self._heat_of(part, mode)
            if self.machine.eased(part, mode) and (not self.is_hot(heat) if heat else self.since_try > 120.0):
                continue
            kept[part] = mode
        return kept

    def _passing(self, modes: Mapping[str, str]) -> bool:
        return any(self.machine.eased(part, mode) for part, mode in modes.items())

    def attempted(self, probe: Probe, rng: random.Random) -> str:
        """What is heard of a start attempt."""
        modes = self.modes_now()
        if probe.model.on_known_good:
            modes = {p: m for p, m in modes.items() if self.machine.part(p).family.sealed}
        modes = self._still(modes)
        at = rng.random()
        if self.case.unmodelled:
            stays = (
                self.case.complaint.value
                if at < 0.75
                else OUTCOMES[listed([0.2, 0.3, 0.3, 0.1, 0.05, 0.05], rng.random())]
            )
            really = OUTCOMES.index(stays)
        else:
            if self.case.world.steady:
                at = draw(self.case.seed, "steady").random()
            # shared physics: what an attempt does
            really = listed(attempts_of(self.machine).of(modes, hot=self._passing(modes)).outcomes, at)
        row = tuple(1.0 if i == really else 0.0 for i in range(len(OUTCOMES)))
        return OUTCOMES[listed(reported(row, by="listened"), rng.random())]

    def looked(self, probe: Probe) -> str:
        """A look; looking again shows the same."""
        rng = draw(self.case.seed, "look", probe.id)
        look = next(
            x for x in self.machine.part(probe.part).family.looks if probe.id == f"{probe.part}.{x.name}"
        )
        if rng.random() < _LOOK_WRONG * self.case.world.slips:
            return rng.choice(look.outcomes)
        # setting the control mends it, so the answer is what was found; a part put right looks right
        mended = probe.part != "control" and probe.part not in self.modes_now()
        mode = HEALTHY if mended or probe.part in self.renewed else self.case.modes.get(probe.part, HEALTHY)
        row = look.table.get(mode, look.table["otherwise"])
        return look.outcomes[listed(row, rng.random())]
