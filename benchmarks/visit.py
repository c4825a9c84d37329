"""
A technician at a machine of the simulated world: takes probes, waits, fits parts, and pays for it.

Readings come from a circuit with this machine's own sizes in it (`benchmarks.unit`), displays from gain
error, noise, leads and slips. Shared with the program on purpose: the price of being wrong (`loss`), and the
temperature assumed where nobody wrote one (`warmth`).
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from benchmarks.unit import LEAKS, Unit
from benchmarks.world import draw
from humclick.diagnosis.checks import checks
from humclick.diagnosis.decisions import HAND_OVER, loss
from humclick.diagnosis.observations.feed import Feed
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.situation import Observation, Situation, Stoppage, warmth
from humclick.meters import Quantity
from humclick.physics.insulation import proves_insulation
from humclick.readings import PartTemperature

__all__ = ["Visit"]

#: Rate of a slip in the world, written down here and not read from the shop's file. Guesses. [-]
_COLD_BUT_WARM = 0.03
#: Meters that are not in every van: share of visits without one, by what it is needed for. Guesses. [-]
_NO_METER = {"shell.insulation": 0.3, "proof.ground_current": 0.8, "proof.touch_current": 0.9}


def _runs(probe: Probe) -> bool:
    """Whether the machine is under power for it, cover on; what is read at the outlet is not."""
    return probe.live and (probe.energises or probe.id not in checks()) and not probe.model.at_outlet


@dataclass
class Visit(Unit):
    """
    One technician at one machine: takes probes, waits, fits parts, and pays for it.

    Attributes
    ----------
    minutes, money : float
        Spent so far; money holds time, waiting and risk. [min], [money]
    """

    minutes: float = 0.0
    money: float = 0.0
    observations: list[Observation] = field(default_factory=list)
    repairs: int = 0
    renewals: dict[str, int] = field(default_factory=dict)
    skipped: frozenset[str] = frozenset()
    stoppages: tuple[Stoppage, ...] = ()
    waited: float = 0.0
    cover_open: bool = False
    hot: bool | None = None
    log: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__post_init__()
        case = self.case
        self.hot = case.hot
        at_hand = draw(case.seed, "meters")
        self.no_meter = {name for name, share in _NO_METER.items() if at_hand.random() < share}
        if self.mistaken:
            self.hot = False

    # -- what the program is told -----------------------------------------------------------------------

    def situation(self) -> Situation:
        """The call as the program sees it."""
        return Situation(
            machine=self.machine,
            complaint=self.case.complaint,
            observations=tuple(self.observations),
            meter=self.hand.meter,
            leads=self.hand.leads,
            waited=self.waited,
            hot=self.hot,
            skipped=self.skipped,
            renewed=self.renewed,
            repairs=self.repairs,
            fitted=dict(self.renewals),
            stoppages=self.stoppages,
        )

    # -- what the technician does -----------------------------------------------------------------------

    def wait(self, minutes: float) -> None:
        """Let it cool."""
        self.waited += minutes
        self._pass(minutes)
        self.money += minutes * self.shop.rates["waiting"]
        kinds = {"internal_protector" if self.machine.protector == "internal" else "external_protector"}
        kinds |= {"pressures", "windings"}
        kinds |= {"ptc"} if any(p.family.name == "ptc" for p in self.machine.parts) else set()
        if all(warmth(self.hot, self.waited, kind).kind == "cold" for kind in kinds):
            self.hot = False
        self.log.append(f"wait {minutes:g}")

    def follow(self, name: str) -> None:
        """Take a probe that was advised, or say that there is no meter for it here."""
        if name in self.no_meter:
            self.skipped |= {name}
            self.log.append(f"{name}: no meter for it")
        else:
            self.take(name)

    def take(self, name: str) -> Observation:
        """Take a probe and write down what it shows."""
        probe = probe_of(self.machine, name, self.shop)
        n = self.counts.get(name, 0)
        self.counts[name] = n + 1
        self._pay(probe)
        rng = draw(self.case.seed, "probe", name, n)
        temperature = self._felt(probe, rng)
        reading, answer = None, ""
        self.repairs += bool(probe.mends)
        new = {part for part in probe.mends if "." not in part}
        self.renewed |= new
        self.renewals |= dict.fromkeys(new, self.repairs)
        if probe.heard:
            answer = self.attempted(probe, rng)
        elif probe.look is not None:
            answer = self.looked(probe)
        elif probe.kind == "unread":
            answer = probe.outcomes[0]  # what could be read was read before
        elif name in LEAKS:
            reading = self.hand.leaking(self.leaks(name), rng)
        elif probe.id in checks() and not probe.quantity:
            answer = checks()[name].good[0]  # what was put back is as it should be
        else:
            reading = self.hand.shown(self.really(probe, rng), Quantity(probe.quantity), rng, probe.meter)
        seen = Observation(
            name,
            reading,
            answer,
            temperature,
            self.renewed,
            f"{name}#{n}",
            repairs=self.repairs,
            tester=proves_insulation((probe.meter or self.hand.meter).test_voltage),
            top=(probe.meter or self.hand.meter).highest(Quantity.RESISTANCE),
        )
        self.observations.append(seen)
        if answer in probe.stops:
            self.stoppages += (Stoppage(probe.stops[answer], "", seen.id, answer),)
        shown = answer or (reading.text if reading else "")
        self.log.append(f"{name} = {shown}" + (f" ({temperature.kind})" if probe.heat else ""))
        if (
            _runs(probe)
            and not isinstance(probe.model, Feed)
            and answer != "silent"
            and not (reading and reading.below_resolution)
        ):
            self.hot, self.waited, self.since_try = True, 0.0, 0.0
            self.tries += 1
        return seen

    def _pass(self, minutes: float) -> None:
        self.minutes += minutes
        self.since_try += minutes
        self.since_arrival += minutes

    def _pay(self, probe: Probe) -> None:
        shop = self.shop
        minutes = probe.minutes
        live = _runs(probe)
        if probe.inside and not self.cover_open:
            minutes += shop.opening["cover"]
        elif live and self.cover_open:
            minutes += shop.opening["closed"]
        self.cover_open = False if live else self.cover_open or probe.inside
        self._pass(minutes)
        self.money += shop.money(minutes) + probe.risk
        grounded = any(mode == "grounded" for mode in self.case.modes.values())
        if grounded and live:
            self.money += shop.rates["energised_ground"]

    def _felt(self, probe: Probe, rng: random.Random) -> PartTemperature:
        """What is written down about the part's temperature."""
        powered = probe.live
        looks = self.feels or self.counts[probe.id] > 1  # asked for it again, everybody feels the part
        if powered or not looks:
            return warmth(self.hot, self.waited, probe.heat)  # what is assumed when nobody wrote it
        if self.mistaken:
            return PartTemperature("cold")
        warm = (
            self.shell_celsius > 40.0
            if probe.pins is not None
            else bool(probe.heat) and self.is_hot(probe.heat)
        )
        if warm and rng.random() < _COLD_BUT_WARM * self.case.world.slips:
            warm = False
        return PartTemperature("hot" if warm else "cold")

    # -- the end -------------------------------------------------------------------------------------------

    @property
    def fitted(self) -> frozenset[str]:
        """Remedies carried out on trial: parts fitted, the condenser cleaned."""
        found: set[str] = set()
        for part in self.renewed:
            placed = self.machine.part(part)
            found |= {placed.remedy(m) for m in placed.family.modes if placed.remedy(m).startswith("replace")}
        if self.counts.get("fit.mechanism"):
            found.add("clear condenser")
        if self.counts.get("fit.wiring"):
            found.add("correct wiring")
        return frozenset(found)

    @property
    def done(self) -> frozenset[str]:
        """Remedies already done: parts fitted on trial, and a control that was turned to a call."""
        return self.fitted | (
            frozenset({"set control"}) if self.counts.get("control.setting") else frozenset()
        )

    @property
    def left(self) -> frozenset[str]:
        """Remedies still needed."""
        return self.left_of(self.case.needed)

    def left_of(self, needed: frozenset[str]) -> frozenset[str]:
        """What of some remedies is still to be done, with what is due in any case."""
        if needed == HAND_OVER:
            return needed
        return ((needed | self.due) - self.done) - {"wait"} or frozenset({"wait"})

    @property
    def due(self) -> frozenset[str]:
        """What was seen broken or blocked, done or not: it is put right whatever the cause."""
        found = set()
        for placed in self.machine.parts:
            for look in placed.family.looks:
                answers = {o.answer for o in self.observations if o.probe == f"{placed.id}.{look.name}"}
                due = {look.due[answer] for answer in answers & set(look.due)}
                found |= {placed.remedies.get(remedy, remedy) for remedy in due}
        return frozenset(found)

    def covered(self, action: frozenset[str]) -> frozenset[str]:
        """What is put right by now and by an action together."""
        both = {*action, *self.done, "wait"}
        if "replace compressor" in both:  # new start gear comes with it
            both |= {f"replace {x}" for x in ("overload protector", "starter", "relay")}
            both |= {"replace start capacitor", "replace run capacitor"}
        if "replace control" in both:
            both.add("set control")
        return frozenset(both)

    def price(self, action: frozenset[str]) -> float:
        """What a decision costs beyond what was needed anyway, parts fitted on trial included. [money]"""
        unneeded = self.shop.rates["unneeded"]
        in_vain = self.fitted - self.case.needed - self.due
        wasted = sum(self.shop.remedy(r).cost + unneeded for r in in_vain)
        own = action if action == HAND_OVER else action - self.done or frozenset({"wait"})
        return float(wasted + loss(own, self.left, self.shop))
