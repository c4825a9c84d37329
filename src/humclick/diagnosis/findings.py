"""
Findings: what each reading means for that part, in that position and temperature, in one sentence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.cases import Config
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.judged import judge
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.model import Said, Says, Taken
from humclick.diagnosis.power import three_equal
from humclick.diagnosis.probes import Probe, probe_of, taken_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.messages import N_, NOTHING, Message
from humclick.meters import Quantity
from humclick.parts.family import HEALTHY
from humclick.readings import format_si
from humclick.sourced import Z95

__all__ = ["HEARD", "Finding", "finding_of", "findings", "shown_text"]

#: What a start attempt is called in words.
HEARD = {
    "silent": Message("silent"),
    "hum": Message("hums and does not start"),
    "hum_click": Message("hums, then clicks off"),
    "starts_then_trips": Message("starts, then trips"),
    "breaker": Message("the breaker trips"),
    "runs": Message("runs"),
}

#: What stands before a finding that is not good.
_SIGNS = {
    Says.BAD: Message("not healthy"),
    Says.UNCLEAR: Message("cannot tell"),
    Says.UNKNOWN: Message("read it again"),
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
_WARM = "cold_but_warm"
#: What a meter shows wrong where hands or eyes slip, and how that is said; a slip not named is of any kind.
_SLIPS = {
    "no_contact": Message("a tip that touched nothing"),
    "dirty_contact": Message("a poor touch of the tips"),
    "factor_1000": Message("a k or M too much or left out"),
    "wild": Message("the wrong two points, the wrong range, or a part still plugged on"),
    _WARM: Message("it was still warm"),
    "pins_mixed": Message("two pins taken for one another"),
}


@dataclass(frozen=True, slots=True)
class Finding:
    """What one observation means, in a sentence."""

    id: str  #: Event it comes from.
    probe: str
    text: Message
    says: Says
    warns: bool  #: Whether it is not what a healthy part gives.

    @property
    def sign(self) -> Message:
        """What stands before the sentence; empty where nothing is amiss."""
        return _SIGNS.get(self.says, NOTHING)


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


def findings(situation: Situation, shop: Shop | None = None) -> tuple[Finding, ...]:
    """
    One sentence per observation: what it means for that part, in that position and temperature.

    Raises
    ------
    Refused, Unknown
        As `advise`.
    """
    judged = judge(replace(situation, observations=()), shop)
    meanings = [finding_of(judged.bench, situation, observation) for observation in situation.observations]
    taken = taken_of(judged.bench.machine, situation.observations, judged.bench.shop)
    for model in dict.fromkeys(probe.model for probe, _ in taken):
        beside = model.together(judged.bench, taken)
        for i, (text, says) in beside.items():
            text = _beside(taken[i].observation, text)
            meanings[i] = replace(meanings[i], text=text, says=says, warns=says is not Says.GOOD)
    if three_equal(situation):
        meanings = [
            replace(f, text=_one_of_three(observation), says=Says.BAD, warns=True)
            if _between_pins(probe, observation)
            else f
            for f, (probe, observation) in zip(meanings, taken, strict=True)
        ]
    return tuple(meanings)


def _beside(observation: Observation, text: Message) -> Message:
    return Message("{value}. {sentence}", value=shown_text(observation), sentence=text)


def _one_of_three(observation: Observation) -> Message:
    return Message(
        "{value}: one of three equal readings: not the two windings of a single-phase machine.",
        value=shown_text(observation),
    )


def _between_pins(probe: Probe, observation: Observation) -> bool:
    return probe.pins is not None and observation.reading is not None


def finding_of(bench: Bench, situation: Situation, observation: Observation) -> Finding:
    """One sentence for one observation, as `findings`; nothing of three equal readings."""
    probe = probe_of(bench.machine, observation.probe, bench.shop)
    alone = replace(situation, observations=(observation,))
    factor = compile_evidence(bench, alone).factors[1]
    text, says = probe.model.finding(_Sayings(bench, Taken(probe, observation), factor, alone))
    return Finding(observation.id, observation.probe, text, says, says is not Says.GOOD)


@dataclass(frozen=True)
class _Sayings:
    """The sentences there are for one observation; which of them holds, its kind says."""

    bench: Bench
    taken: Taken
    factor: Factor
    alone: Situation

    @property
    def shown(self) -> str:
        """What was seen, as it is read out."""
        return shown_text(self.taken.observation)

    def of_leads(self) -> Said:
        form = N_("The leads add {value}; readings of a few ohms are taken with that in mind.")
        return Message.of(form, value=self.shown), Says.GOOD

    def of_check(self, bad: str) -> Said:
        if bad:
            return Message("{value}: {meaning}", value=self.shown, meaning=bad), Says.BAD
        return Message("{value}: as it should be.", value=self.shown), Says.GOOD

    def of_three(self) -> Said:
        form = N_(
            "{value}: any size can be right; it counts beside the two others, which should read the same."
        )
        return Message.of(form, value=self.shown), Says.GOOD

    def of_nothing(self) -> Said:
        return Message("“{value}” says nothing either way.", value=self.shown), Says.UNCLEAR

    def of_parts(self) -> Said:
        bench, (probe, observation) = self.bench, self.taken
        lost = observation.reading is not None and observation.reading.over_limit
        if observation.temperature.kind == "hot" and lost and probe.opens_with_heat:
            form = N_("{value} while hot is no verdict: let it cool and measure again.")
            return Message.of(form, value=self.shown), Says.UNCLEAR
        if observation.temperature.kind == "unknown" and lost and probe.again_cool:
            form = N_("{value}: the protector inside may only be hot: let it cool and measure again.")
            return Message.of(form, value=self.shown), Says.UNCLEAR
        value = _beside_healthy(bench, probe, self.shown)
        part = bench.machine.part(probe.part).family.title if probe.part else None
        any_how, by_itself = _summed(self.factor), _summed(self._only(""))
        best, most = max(any_how.values()), max(by_itself.values())
        if most < _FITS * best:
            slip = self._slip()
            if slip == _WARM:
                form = N_("{value}: so it reads while still warm. Let it cool and read it again.")
                return Message.of(form, value=value), Says.UNCLEAR
            form = N_("{value}: no known condition of the {part} reads this; likeliest {slip}. {again}")
            again = _LIVE_AGAIN if probe.live else _AGAIN
            slip, part = _SLIPS[slip], part or Message("windings")
            return Message.of(form, value=value, part=part, slip=slip, again=again), Says.UNKNOWN
        sound = (0,) * len(self.factor.scope)
        fits = _fitting(bench, self.factor.scope, by_itself, most)
        if by_itself[sound] >= _FITS * most or self._of_some_size():
            return _sound(value, part, tuple(fits[:2])), Says.GOOD
        faults = tuple(fits[:3]) or (Message("more than one fault at once"),)
        if any_how[sound] >= _FITS * best:
            form = N_("{value}: either {slip}, or {faults:or}. Make sure, and read it again.")
            slip = _SLIPS[self._slip(sound)]
            return Message.of(form, value=value, slip=slip, faults=faults), Says.UNCLEAR
        if part is None or len(self.factor.scope) > 1:
            return Message("{value}: speaks for {faults:or}.", value=value, faults=faults), Says.BAD
        form = N_("{value}: speaks for {part} {faults:or}.")
        return Message.of(form, value=value, part=part, faults=faults), Says.BAD

    def _of_some_size(self) -> bool:
        """Whether some sound machine that may be this one reads so, where no stamp says what to read."""
        probe, seen = self.taken
        usual = probe.model.any_size(self.bench, probe)
        value = seen.reading.value if seen.reading is not None else None
        if usual is None or not value or not math.isfinite(value):
            return False
        leads = self.alone.leads.spread if probe.quantity == Quantity.RESISTANCE else None
        less = value - leads.median if leads is not None else value
        median, sigma = usual
        return any(x > 0.0 and abs(math.log(x / median)) <= _OF_ALL * sigma for x in (value, less))

    def _slip(self, config: Config | None = None) -> str:
        """The slip that makes most of the reading, under a configuration or the one it fits best."""

        def most_with(name: str) -> float:
            at = _summed(self._only(name))
            return max(at.values()) if config is None else at[config]

        return max(_SLIPS, key=most_with)

    def _only(self, slip: str) -> Factor:
        """How probable the reading is where only one slip happens, or none."""
        benches = _ONLY.of(self.bench)
        if slip not in benches:
            shop = self.bench.shop
            slips = {name: p if name == slip or name not in _SLIPS else 0.0 for name, p in shop.slips.items()}
            benches[slip] = Bench(self.bench.machine, replace(shop, slips=slips))
        return compile_evidence(benches[slip], self.alone).factors[1]

    def of_start(self) -> Said:
        if self.taken.observation.answer == Heard.RUNS:
            if self.taken.probe.model.on_known_good:
                return Message("On known-good gear it runs: the compressor is good."), Says.GOOD
            return Message("It runs."), Says.GOOD
        value = self.shown
        return self._as_with(value.capital() if isinstance(value, Message) else value), Says.BAD

    def of_whole(self) -> Said:
        healthy, best, _ = self._fits()
        if healthy >= _FITS * best:
            return Message("{value}: as it should be.", value=self.shown), Says.GOOD
        return self._as_with(self.shown), Says.BAD

    def _fits(self) -> tuple[float, float, tuple[Message, ...]]:
        """What the sound machine gives it, the most that a single fault does, and the faults that fit."""
        bench, value = self.bench, self.factor.per_set
        assert value is not None
        rows = []
        for part, mode in bench.space.singles:
            likely = value(((part, mode),))
            rows.append((likely, bench.space.odds[part][mode] * likely, _fault(bench, part, mode)))
        best = max(v for v, _, _ in rows)
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
    """As something healthy reads, and what would read no otherwise."""
    if part is None:
        if not also:
            return Message("{value}: as sound windings read.", value=value)
        form = N_("{value}: as sound windings read; it cannot rule out: {faults}.")
        return Message.of(form, value=value, faults=also)
    if not also:
        return Message("{value}: as a healthy {part} reads.", value=value, part=part)
    form = N_("{value}: as a healthy {part} reads; it cannot rule out: {faults}.")
    return Message.of(form, value=value, part=part, faults=also)


def _fault(bench: Bench, part: int, mode: int) -> Message:
    """A part and its mode."""
    title = bench.machine.parts[part].family.title
    return Message("{part} {mode}", part=title, mode=bench.mode(part, mode).short)


def _fitting(
    bench: Bench, scope: Sequence[int], at: Mapping[tuple[int, ...], float], best: float
) -> list[Message]:
    """Single modes that make the reading about as probable as anything does, by prior times likelihood."""
    rows = []
    for config, p in at.items():
        faults = [(scope[k], m) for k, m in enumerate(config) if m]
        if len(faults) == 1 and p >= _FITS * best:
            part, mode = faults[0]
            title = _fault(bench, part, mode) if len(scope) > 1 else bench.mode(part, mode).short
            rows.append((bench.space.odds[part][mode] * p, title))
    rows.sort(key=lambda row: (-row[0], row[1]))
    return [title for _, title in rows]


def _beside_healthy(bench: Bench, probe: Probe, value: str) -> str:
    """What was read, with what a healthy part gives beside it."""
    healthy = probe.model.healthy(bench, probe)
    if healthy is None:
        return value
    median, sigma = healthy
    quantity = Quantity(probe.quantity)
    if not math.isfinite(median):
        return Message("{value} (healthy: OL)", value=value)
    if median <= 0.0:
        return value
    reach = Z95 if probe.model.any_size(bench, probe) is None else _OF_ALL
    low, high = (format_si(median * math.exp(k * reach * sigma), quantity, 2) for k in (-1, 1))
    form = N_("{value} (healthy: {low} to {high})")
    if (
        quantity is Quantity.RESISTANCE
        and probe.part
        and bench.machine.part(probe.part).family.mode(HEALTHY).bare
    ):
        form = N_("{value} (healthy: {low} to {high}, or OL)")
    return Message.of(form, value=value, low=low, high=high)
