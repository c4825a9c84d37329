"""
Sentences: what there is to say of one observation by itself.

Which of them holds, its kind says (`humclick.diagnosis.observations.model.Model.finding`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.cases import Config
from humclick.diagnosis.evidence import compile_evidence, lead_nodes
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.judged import judge
from humclick.diagnosis.law import gain
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.model import Said, Says, Taken
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.messages import N_, Message
from humclick.meters import Quantity
from humclick.parts.family import HEALTHY
from humclick.readings import Leads, format_si
from humclick.sourced import Z95

__all__ = ["HEARD", "SLIPS", "WARM", "Alone", "shown_text"]

#: What a start attempt is called in words.
HEARD = {
    "silent": Message("silent"),
    "hum": Message("hums and does not start"),
    "hum_click": Message("hums, then clicks off"),
    "starts_then_trips": Message("starts, then trips"),
    "breaker": Message("the breaker trips"),
    "runs": Message("runs"),
}

#: Benches on which only one slip happens, or none.
_ONLY: Memory[str, Bench] = Memory()
#: A condition fits a reading when it makes it at least this probable, set against the best. [-]
_FITS = 0.25
#: So many standard deviations hold 995 of 1000 sound machines: no size within is held against one. [-]
_OF_ALL = 2.807
#: How a reading is repeated.
_AGAIN = Message("Read it again: lift the tips, press on bright metal, same two points.")
_LIVE_AGAIN = Message("Read it again at the same two points, on the volts range.")
#: Slips that are spoken of by name.
WARM, _TOUCH = "cold_but_warm", "dirty_contact"
#: Slips that may show anything, however far from what is there.
_ANYWHERE = frozenset({"wild", "factor_1000"})
#: What a warm part has many times more of than a cold one. A choice. [-]
_MUCH_MORE = 3.0
#: What a meter shows wrong where hands or eyes slip, and how that is said; a slip not named is of any kind.
SLIPS = {
    "no_contact": Message("a tip that touched nothing"),
    "dirty_contact": Message("a poor touch of the tips"),
    "factor_1000": Message("a k or M too much or left out"),
    "wild": Message("the wrong two points, the wrong range, or a part still plugged on"),
    WARM: Message("it was still warm"),
    "pins_mixed": Message("two pins taken for one another"),
}


def shown_text(observation: Observation) -> str:
    """What was seen, as it should be read out."""
    if observation.reading is None:
        return HEARD.get(observation.answer) or Message.of(observation.answer)
    if observation.reading.over_limit:
        return "OL"
    if observation.reading.below_resolution:
        return observation.reading.text
    value, last = observation.reading.value or 0.0, observation.reading.resolution or 0.0
    digits = max(1, math.floor(math.log10(value / last) + 1e-9) + 1) if value > 0 and last > 0 else 3
    return format_si(observation.reading.value, observation.reading.quantity, min(digits, 6))


@dataclass(frozen=True)
class Alone:
    """The sentences there are for one observation; which of them holds, its kind says."""

    bench: Bench
    taken: Taken
    factor: Factor
    alone: Situation
    named: list[str] = field(default_factory=list)  #: Slips that were named.

    @property
    def shown(self) -> str:
        """What was seen, as it is read out."""
        return shown_text(self.taken.observation)

    def of_leads(self) -> Said:
        """What the leads add, or that leads never add so much."""
        seen, usual = self.taken.observation.reading, Leads().spread
        if seen is None or seen.value is None:
            form = N_("{value} with the tips together: a broken lead or a blown meter fuse. Change it first.")
            return Message.of(form, value=self.shown), Says.BAD
        if usual is not None and seen.value > usual.median * math.exp(_OF_ALL * usual.sigma):
            form = N_(
                "{value}: more than leads add. Clean the tips or change the leads; hold them together again."
            )
            return Message.of(form, value=self.shown), Says.BAD
        form = N_("The leads add {value}; readings of a few ohms are taken with that in mind.")
        return Message.of(form, value=self.shown), Says.GOOD

    def of_check(self, bad: str) -> Said:
        """A check that passes, or what it means that it does not."""
        if bad:
            return Message("{value}: {meaning}", value=self.shown, meaning=bad), Says.BAD
        return Message("{value}: as it should be.", value=self.shown), Says.GOOD

    def of_three(self) -> Said:
        """That it counts beside two others."""
        form = N_(
            "{value}: any size can be right; it counts beside the two others, which should read the same."
        )
        return Message.of(form, value=self.shown), Says.GOOD

    def of_nothing(self) -> Said:
        """That it says nothing."""
        return Message("“{value}” says nothing either way.", value=self.shown), Says.UNCLEAR

    def of_parts(self) -> Said:
        """As a good part reads, which faults it speaks for, or that no known condition reads so."""
        bench, (probe, observation) = self.bench, self.taken
        if observation.temperature.kind == "hot" and probe.opens_with_heat and self._lost():
            form = N_("{value} while hot is no verdict: let it cool and measure again.")
            return Message.of(form, value=self.shown), Says.UNCLEAR
        if observation.temperature.kind == "unknown" and probe.again_cool and self._off_the_top():
            form = N_("{value}: the protector inside may only be hot: let it cool and measure again.")
            return Message.of(form, value=self.shown), Says.UNCLEAR
        value, machine = self._beside_expected(), bench.machine
        part = machine.part(probe.part).family.title if probe.part else None
        any_how, by_itself = _summed(self.factor), _summed(self._only(""))
        best, most = max(any_how.values()), max(by_itself.values())
        sound = (0,) * len(self.factor.scope)
        fits = self._fitting(by_itself, most)
        likely = by_itself[sound] >= _FITS * most or self._of_some_size()
        beyond = likely and self._beyond_sound()
        if beyond:  # only what reads otherwise than sound explains it
            fits = self._fitting(by_itself, by_itself[sound] / _FITS**2)
        if likely and not beyond and most >= _FITS * best:
            return _sound(value, part, tuple(fits[:2])), Says.GOOD
        if most < _FITS * best or not fits:
            return self._of_no_condition(value, part, self._slip(sound))
        faults = tuple(fits[:3])
        if self._on_the_way():
            form = N_("{value}: either {slip}, or {faults:or}. Let it cool and read it again.")
            return Message.of(form, value=value, slip=self._said(WARM), faults=faults), Says.UNCLEAR
        if any_how[sound] >= _FITS * best:
            slip = self._slip(sound)
            if slip in _ANYWHERE:  # no nearer to sound than to a fault
                return self._of_no_condition(value, part, slip)
            says = Says.UNKNOWN if self._below() else Says.UNCLEAR  # a poor touch adds ohms
            return self._either(value, slip, faults), says
        if not probe.proves_safety and self._too_rare(any_how, by_itself):
            return self._either(value, self._slip(sound), faults), Says.UNKNOWN
        if part is None or len(self.factor.scope) > 1:
            return Message("{value}: speaks for {faults:or}.", value=value, faults=faults), Says.BAD
        form = N_("{value}: speaks for {part} {faults:or}.")
        return Message.of(form, value=value, part=part, faults=faults), Says.BAD

    def _fitting(self, at: Mapping[Config, float], best: float) -> list[Message]:
        """Single modes that make the reading about as probable as anything does, the likeliest first."""
        bench, scope = self.bench, self.factor.scope
        rows = []
        for config, p in at.items():
            faults = [(scope[k], m) for k, m in enumerate(config) if m]
            if len(faults) == 1 and p >= _FITS * best and not self._across_sound(*faults[0]):
                part, mode = faults[0]
                title = _fault(bench, part, mode) if len(scope) > 1 else bench.mode(part, mode).short
                rows.append((bench.space.odds[part][mode] * p, title))
        rows.sort(key=lambda row: (-row[0], row[1]))
        return [title for _, title in rows]

    def _across_sound(self, part: int, mode: int) -> bool:
        """Whether a fault lies on the other side of what sound ones read than the reading does."""
        probe, seen = self.taken
        value = seen.reading.value if seen.reading is not None else None
        sound = probe.model.healthy(self.bench, probe)
        if value is None or sound is None or not 0.0 < sound[0] < math.inf:
            return False
        times = [branch.times for branch in self.bench.mode(part, mode).branches if branch.times != 1.0]
        return any((t - 1.0) * (value - sound[0]) < 0.0 for t in times)

    def _either(self, value: str, slip: str, faults: tuple[Message, ...]) -> Message:
        form = N_("{value}: either {slip}, or {faults:or}. Make sure, and read it again.")
        return Message.of(form, value=value, slip=self._said(slip), faults=faults)

    def _a_little_more(self) -> bool:
        """Whether so little more was read than a sound part has that a poor touch adds it."""
        model, probe, seen = self.taken.probe.model, self.taken.probe, self.taken.observation
        usual = model.any_size(self.bench, probe) or model.healthy(self.bench, probe)
        value = seen.reading.value if seen.reading is not None else None
        if usual is None or value is None or value < usual[0]:
            return False
        touch = self.bench.shop.slips["dirty_contact_ohms"]
        return value <= _MUCH_MORE * usual[0] * math.exp(_OF_ALL * usual[1]) + touch

    def _below(self) -> bool:
        """Whether less was read than a sound part has."""
        model, probe, seen = self.taken.probe.model, self.taken.probe, self.taken.observation
        usual = model.any_size(self.bench, probe) or model.healthy(self.bench, probe)
        value = seen.reading.value if seen.reading is not None else None
        return usual is not None and value is not None and value < usual[0]

    def _too_rare(self, any_how: Mapping[Config, float], by_itself: Mapping[Config, float]) -> bool:
        """
        Whether a slip on a sound part is much likelier than the faults that fit, as rare as these are: by
        themselves, and in a machine with this complaint.
        """
        space, scope = self.bench.space, self.factor.scope
        before = judge(replace(self.alone, observations=()), self.bench.shop).post
        least, sound = _FITS * max(by_itself.values()), (0,) * len(scope)
        alone = heard = 0.0
        for config, p in by_itself.items():
            faults = [(scope[k], mode) for k, mode in enumerate(config) if mode]
            if len(faults) == 1 and p >= least:
                part, mode = faults[0]
                alone += space.odds[part][mode] * any_how[config]
                heard += before.by_mode[space.name[part, mode]] * any_how[config]
        others = math.fsum(math.fsum(row) for part, row in enumerate(space.odds) if part not in scope)
        calm = 1.0 - math.fsum(before.of_part(self.bench.parts[part]) for part in scope)
        rare = alone < _FITS * others * any_how[sound] and heard < _FITS * calm * any_how[sound]
        return rare and self._slip(sound) in _ANYWHERE

    def _lost(self) -> bool:
        """Whether more was read than any cold sound part has, up to OL."""
        probe, reading = self.taken.probe, self.taken.observation.reading
        healthy = probe.model.healthy(self.bench, probe) or probe.model.any_size(self.bench, probe)
        if reading is None or (healthy is not None and not math.isfinite(healthy[0])):
            return False
        if reading.value is None or healthy is None:
            return self._off_the_top()
        return reading.value > healthy[0] and self._within(*healthy) is not True

    def _off_the_top(self) -> bool:
        """Whether the meter showed OL, or a number was typed that it can only show as OL."""
        probe, reading = self.taken.probe, self.taken.observation.reading
        if reading is None or reading.value is None:
            return reading is not None
        return reading.value >= (probe.meter or self.alone.meter).highest(Quantity(probe.quantity))

    def _of_no_condition(self, value: str, part: Message | None, slip: str) -> Said:
        if slip == WARM or (part is not None and self._on_the_way()):
            self._said(WARM)
            form = N_("{value}: so it reads while still warm. Let it cool and read it again.")
            return Message.of(form, value=value), Says.UNCLEAR
        form = N_("{value}: no known condition of the {part} reads this; likeliest {slip}. {again}")
        again = _LIVE_AGAIN if self.taken.probe.live else _AGAIN
        words, part = self._said(slip), part or Message("windings")
        if slip == _TOUCH and self._a_little_more():
            form = N_("{value}: a little more than good; likeliest {slip}. {again}")
            return Message.of(form, value=value, slip=words, again=again), Says.UNCLEAR
        return Message.of(form, value=value, part=part, slip=words, again=again), Says.UNKNOWN

    def _of_some_size(self) -> bool:
        """Whether some sound machine that may be this one reads so, where no stamp says what to read."""
        usual = self.taken.probe.model.any_size(self.bench, self.taken.probe)
        return usual is not None and self._within(*usual) is True

    def _beyond_sound(self) -> bool:
        """Whether no sound part reads so, whatever else may or may not."""
        model, probe = self.taken.probe.model, self.taken.probe
        usual = model.any_size(self.bench, probe) or model.healthy(self.bench, probe)
        return usual is not None and self._within(*usual) is False

    def _within(self, median: float, sigma: float) -> bool | None:
        """
        Whether what was read lies within what sound ones read, leads and meter allowed for; None where that
        cannot be said. [SI], [-]
        """
        probe, seen = self.taken
        value = seen.reading.value if seen.reading is not None else None
        quantity, meter = Quantity(probe.quantity), probe.meter or self.alone.meter
        if value is None or not 0.0 < median < math.inf or not meter.measures(quantity):
            return None
        if value >= meter.highest(quantity):
            return None
        counts = meter.count_limit(quantity, value)
        if median > counts:  # else the meter cannot tell it from nothing
            counts = 0.0
        adds = [0.0]
        if quantity is Quantity.RESISTANCE:
            forgotten = self.bench.shop.slips["null_forgotten"]
            adds += [offset for offset, _ in lead_nodes(self.alone.leads, forgotten)]
        reach = _OF_ALL * math.hypot(sigma, gain(meter, quantity, median))
        low, high = median * math.exp(-reach) - counts, median * math.exp(reach) + counts
        return any(low <= value - added <= high for added in adds)

    def _on_the_way(self) -> bool:
        """Whether a sound part that is still warm passes this on its way to cold."""
        probe, seen = self.taken
        value = seen.reading.value if seen.reading is not None else None
        if not probe.heat or value is None or seen.temperature.kind == "measured" or not probe.part:
            return False
        ends = probe.model.cold_and_hot(self.bench, probe)
        if ends is None:
            return False
        (cold, _), (hot, wide) = ends
        return _MUCH_MORE * cold < hot < math.inf and cold < value <= hot * math.exp(Z95 * wide)

    def _beside_expected(self) -> str:
        """What was read, with what a good part reads beside it, as the meter shows it."""
        probe = self.taken.probe
        healthy = probe.model.healthy(self.bench, probe)
        if healthy is None or healthy[0] <= 0.0:
            return self.shown
        median, sigma = healthy
        if not math.isfinite(median):
            return Message("{value} (expect OL)", value=self.shown)
        reach = Z95 if probe.model.any_size(self.bench, probe) is None else _OF_ALL
        low, high = (self._as_displayed(median * math.exp(k * reach * sigma)) for k in (-1, 1))
        if low == high:
            return Message("{value} (expect about {amount})", value=self.shown, amount=low)
        if low.rpartition(" ")[2] == high.rpartition(" ")[2]:
            low = low.rpartition(" ")[0]
        form = N_("{value} (expect {low} to {high})")
        family = self.bench.machine.part(probe.part).family if probe.part else None
        if (
            Quantity(probe.quantity) is Quantity.RESISTANCE
            and family is not None
            and family.mode(HEALTHY).bare
        ):
            form = N_("{value} (expect {low} to {high}, or OL)")
        return Message.of(form, value=self.shown, low=low, high=high)

    def _as_displayed(self, value: float) -> str:
        """A value as the meter shows it, of two digits that count."""
        quantity, meter = Quantity(self.taken.probe.quantity), self.taken.probe.meter or self.alone.meter
        digit = meter.range_for(quantity, value).resolution if meter.measures(quantity) else 0.0
        if not digit or value >= 9.95 * digit:
            return format_si(value, quantity, 2)
        return format_si(max(round(value / digit), 1) * digit, quantity, 1)

    def _said(self, slip: str) -> Message:
        """How a slip is said, noted as named."""
        self.named.append(slip)
        return SLIPS[slip]

    def _slip(self, config: Config | None = None) -> str:
        """The slip that makes most of the reading, under a configuration or the one it fits best."""

        def most_with(name: str) -> float:
            factor = self._only(name)
            if factor.per_set is not None:
                return self._fits(factor)[1]
            at = _summed(factor)
            return max(at.values()) if config is None else at[config]

        probe, seen = self.taken
        never = set() if probe.opens_with_heat else {WARM}
        if probe.quantity != Quantity.RESISTANCE:
            never.add(_TOUCH)  # it adds ohms
        if self._below():
            never |= {WARM, _TOUCH}  # both read more
        if seen.reading is not None and seen.reading.below_resolution:
            never.add("factor_1000")  # nothing times a thousand is nothing
        return max((name for name in SLIPS if name not in never), key=most_with)

    def _only(self, slip: str) -> Factor:
        """How probable the reading is where only one slip happens, or none."""
        benches = _ONLY.of(self.bench)
        if slip not in benches:
            shop = self.bench.shop
            slips = {name: p if name == slip or name not in SLIPS else 0.0 for name, p in shop.slips.items()}
            benches[slip] = Bench(self.bench.machine, replace(shop, slips=slips))
        return compile_evidence(benches[slip], self.alone).factors[1]

    def of_start(self) -> Said:
        """How a start attempt went, and which faults make it go so."""
        if self.taken.observation.answer == Heard.RUNS:
            if self.taken.probe.model.on_known_good:
                return Message("On known-good gear it runs: the compressor is good."), Says.GOOD
            return Message("It runs."), Says.GOOD
        value = self.shown
        return self._as_with(value.capital() if isinstance(value, Message) else value), Says.BAD

    def of_whole(self) -> Said:
        """As it should be, which faults of the whole machine fit, or that nothing makes it read so."""
        healthy, best, _ = self._fits()
        if self.taken.observation.reading is not None:
            healthy, by_itself, _ = self._fits(self._only(""))
            if by_itself < _FITS * best:
                form = N_(
                    "{value}: nothing that can be wrong with this unit reads this; likeliest {slip}. {again}"
                )
                again = _LIVE_AGAIN if self.taken.probe.live else _AGAIN
                words = self._said(self._slip())
                return Message.of(form, value=self.shown, slip=words, again=again), Says.UNKNOWN
            best = by_itself
        if healthy >= _FITS * best:
            return Message("{value}: as it should be.", value=self.shown), Says.GOOD
        return self._as_with(self.shown), Says.BAD

    def _fits(self, factor: Factor | None = None) -> tuple[float, float, tuple[Message, ...]]:
        """What the sound machine gives it, the most that a single fault does, and the faults that fit."""
        bench, value = self.bench, (factor or self.factor).per_set
        assert value is not None
        rows = []
        for part, mode in bench.space.singles:
            likely = value(((part, mode),))
            rows.append((likely, bench.space.odds[part][mode] * likely, _fault(bench, part, mode)))
        best = max(value(()), *(v for v, _, _ in rows))
        fits = sorted((r for r in rows if r[0] >= _FITS * best), key=lambda r: -r[1])
        return value(()), best, tuple(label for _, _, label in fits)

    def _as_with(self, value: str) -> Message:
        _, _, faults = self._fits()
        if len(faults) <= 4:
            return Message("{value}: as with {faults:semicolon}.", value=value, faults=faults)
        return Message(
            "{value}: as with {faults:semicolon} and {more} more.",
            value=value,
            faults=faults[:4],
            more=len(faults) - 4,
        )


def _summed(factor: Factor) -> dict[Config, float]:
    """Probability of what was seen under each configuration, over what the leads may add. [-]"""
    return {config: math.fsum(row) for config, row in factor.table.items()}


def _sound(value: str, part: Message | None, also: tuple[Message, ...]) -> Message:
    """As something good reads, and what would read no otherwise."""
    good = Message("{value}: reads like good windings.", value=value)
    if part is not None:
        good = Message("{value}: reads like a good {part}.", value=value, part=part)
    if not also:
        return good
    return Message("{good} It doesn't rule out: {faults:or}.", good=good, faults=also)


def _fault(bench: Bench, part: int, mode: int) -> Message:
    """A part and its mode."""
    title = bench.machine.parts[part].family.title
    return Message("{part} {mode}", part=title, mode=bench.mode(part, mode).short)
