"""
Three readings between named pins that do not fit together: what the solver of unnamed ones makes of them.

The names are left open and the readings solved as those of pins 1, 2 and 3 (`humclick.diagnosis.pins`): pins
taken for one another, a starter still plugged on, a bridge inside, or one reading that is wrong.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.judged import judge
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.pins import PinFinding, pins_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.diagnosis.sum_test import SumTest, sum_test
from humclick.messages import N_, Message
from humclick.meters import Meter, Quantity
from humclick.readings import Leads, Reading, format_si

__all__ = ["PAIRS_NAMED", "NamedPins", "named_pins"]

#: Named pairs, and the numbers they have while their names are left open.
PAIRS_NAMED = {"pins.C-R": ("1", "2"), "pins.C-S": ("1", "3"), "pins.S-R": ("2", "3")}
_CALLED = ("C", "R", "S")
#: A start winding with this share of the run winding's ohms may be the run winding. Common practice. [-]
_EXCHANGED = 0.7
#: One reading is the wrong one where the rest fits so much better without it than without any other. [-]
_CLEARLY = 3.0
#: Conclusions of the solver that leave the readings in doubt.
_DOUBTED = frozenset({"remeasure", "unclear", "gear_on"})

_SOLVED: Memory[tuple[tuple[Observation, ...], Meter, Leads, Heard | None], PinFinding] = Memory()


@dataclass(frozen=True, slots=True)
class NamedPins:
    """
    What three readings that do not fit as they are named come to.

    Attributes
    ----------
    readings : tuple of str
        Probes of the three.
    conclusion : str
        As `PinFinding.conclusion`, or ``misnamed``.
    sentence : str
        In plain words.
    says : Says
        What it comes to.
    suspects : tuple of str
        Probes whose readings are in doubt, the likeliest wrong first.
    names : mapping of probe to probe
        Which pair each reading really lies between, where the pins are misnamed; else empty.
    """

    readings: tuple[str, ...]
    conclusion: str
    sentence: Message
    says: Says
    suspects: tuple[str, ...]
    names: Mapping[str, str]

    @property
    def doubted(self) -> bool:
        """Whether they are to be put right before anything rests on them."""
        return self.says is Says.UNKNOWN


def named_pins(situation: Situation, shop: Shop) -> NamedPins | None:
    """
    What the last readings of three named pairs come to; None where they fit, or are not all three numbers.

    Raises
    ------
    Refused, Unknown
        As `humclick.diagnosis.advice.advise`.
    """
    last = {o.probe: o for o in situation.observations if o.probe in PAIRS_NAMED and o.reading is not None}
    if len(last) < 3 or not situation.machine.started:
        return None
    shown = {pair: last[name].reading for name, pair in PAIRS_NAMED.items()}
    values: dict[str, float] = {name: _value(o.reading) for name, o in last.items()}
    if min(values.values()) <= 0.0:
        return None
    test = sum_test({pair: r for pair, r in shown.items() if r is not None}, situation.meter, situation.leads)
    if test is None or _fits(test, values):
        return None
    finding = _solved(situation, shop, tuple(last.values()))
    return _said(situation, shop, finding, test, values)


def _value(reading: Reading | None) -> float:
    """A number that was shown; 0 for OL and for nothing but zeros. [Ω]"""
    return reading.value or 0.0 if reading is not None else 0.0


def _fits(test: SumTest, values: Mapping[str, float]) -> bool:
    """Whether three readings add up as they are named."""
    return (
        test.adds_up
        and test.longest == PAIRS_NAMED["pins.S-R"]
        and values["pins.C-S"] >= _EXCHANGED * values["pins.C-R"]
    )


def _solved(situation: Situation, shop: Shop, three: tuple[Observation, ...]) -> PinFinding:
    """What the solver says with the names left open."""
    renumbered = tuple(
        replace(o, probe="pins." + "-".join(PAIRS_NAMED[o.probe])) if o in three else o
        for o in situation.observations
        if o.probe not in PAIRS_NAMED or o in three
    )
    open_ = replace(situation, observations=renumbered)
    known = _SOLVED.of(judge(replace(situation, observations=()), shop).bench)
    key = renumbered, situation.meter, situation.leads, situation.complaint
    if key not in known:
        known[key] = pins_of(open_, shop)
    return known[key]


def _said(
    situation: Situation, shop: Shop, finding: PinFinding, test: SumTest, values: Mapping[str, float]
) -> NamedPins:
    readings = tuple(PAIRS_NAMED)
    real = finding.names
    if test.adds_up and all(real) and real != _CALLED and finding.conclusion not in _DOUBTED:
        names = {probe: _between(real, probe) for probe in readings}
        wrong = [
            Message("the pin called {pin} is really {name}", pin=pin, name=str(name))
            for pin, name in zip(_CALLED, real, strict=True)
            if pin != name
        ]
        form = N_(
            "The three fit if the pins are named anew: {wrong:and}. Look at the pins before a winding is "
            "blamed, and see that the starter sits right."
        )
        sentence = Message.of(form, wrong=tuple(wrong))
        return NamedPins(readings, "misnamed", sentence, Says.UNKNOWN, readings, names)
    if finding.cases[0].name == "gear_on" and not test.adds_up:
        form = N_("The three together: {what}. Pull it off and measure all three pairs again.")
        sentence = Message.of(form, what=finding.cases[0].plain)
        return NamedPins(readings, "gear_on", sentence, Says.UNKNOWN, readings, {})
    if test.adds_up or finding.conclusion not in _DOUBTED:
        sentence = Message("The three together: {what}.", what=finding.cases[0].plain)
        says = Says.GOOD if finding.conclusion == "sound" else Says.BAD
        return NamedPins(readings, finding.conclusion, sentence, says, (), {})
    suspects = _suspects(situation, shop, values)
    return NamedPins(readings, finding.conclusion, _unsummed(values, suspects), Says.UNKNOWN, suspects, {})


def _between(real: tuple[str | None, ...], probe: str) -> str:
    """The probe between the pins that two called pins really are."""
    pins = {real[_CALLED.index(pin)] for pin in probe.removeprefix("pins.").split("-")}
    return next(name for name in PAIRS_NAMED if set(name.removeprefix("pins.").split("-")) == pins)


def _suspects(situation: Situation, shop: Shop, values: Mapping[str, float]) -> tuple[str, ...]:
    """The reading without which the two others fit good windings best; all three where that is not clear."""
    bench = judge(replace(situation, observations=()), shop).bench
    last = {o.probe: o for o in situation.observations if o.probe in values and o.reading is not None}
    without = {}
    for name in values:
        rest = tuple(o for probe, o in last.items() if probe != name)
        factor = compile_evidence(bench, replace(situation, observations=rest)).factors[1]
        without[name] = math.fsum(factor.table[(0,) * len(factor.scope)])
    ranked = sorted(without, key=lambda name: -without[name])
    clear = without[ranked[0]] >= _CLEARLY * without[ranked[1]]
    return tuple(ranked[:1] if clear else ranked)


def _unsummed(values: Mapping[str, float], suspects: tuple[str, ...]) -> Message:
    """That the readings do not add up, and which to read again."""
    run, start, both = (values[name] for name in PAIRS_NAMED)
    ohms = {name: format_si(value, Quantity.RESISTANCE) for name, value in values.items()}
    sums = Message(
        "C–R {run} and C–S {start} should add up to S–R, which reads {both}.",
        run=ohms["pins.C-R"],
        start=ohms["pins.C-S"],
        both=ohms["pins.S-R"],
    )
    should = {"pins.C-R": both - start, "pins.C-S": both - run, "pins.S-R": run + start}
    if len(suspects) > 1 or should[suspects[0]] <= 0.0:
        form = N_(
            "{sums} Which one is wrong cannot be told. Read all three again: lift the tips, press on bright "
            "metal."
        )
        return Message.of(form, sums=sums)
    form = N_(
        "{sums} Likeliest wrong: {pair}; about {ohms} would fit. Read it again: lift the tips, press on "
        "bright metal, same two points."
    )
    pair = suspects[0].removeprefix("pins.").replace("-", "–")
    return Message.of(form, sums=sums, pair=pair, ohms=format_si(should[suspects[0]], Quantity.RESISTANCE, 2))
