"""
Which pin is which, and what the windings say: three readings between pins that nobody has named.

Every way the pins may lie and every condition of what is sealed in are weighed together, the two winding
resistances integrated out. Readings in ohms as shown; windings in ohms at 25 °C.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.pins_evidence import (
    PAIRS,
    PINS,
    PinsWeighed,
    WindingValue,
    figures,
    unnamed,
)
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.diagnosis.sum_test import BetweenPins, SumTest, by_pair, sum_test
from humclick.errors import Refused, Unknown
from humclick.messages import Message, Verbatim, listed
from humclick.meters import Meter, Quantity, default_meter
from humclick.parts.family import family
from humclick.readings import Leads, PartTemperature, Reading, format_si

__all__ = ["Case", "PinFinding", "WindingValue", "find_pins", "pins_of"]

Names = tuple[str, str, str]
_OHMS = Quantity.RESISTANCE
_GROUNDED = Message("A winding touches the shell: this compressor must not be powered.")

#: Where no machine is known: what is sealed in is the same wherever there are two windings, and what else may
#: be wrong moves the odds of a winding by less than a quarter.
_ARRANGEMENT = "rsir-ptc"
_TO_SHELL = ("pins.shell", "shell.insulation")

#: Conclusions under which a winding has a value.
_WITH_VALUES = ("sound", "open", "wait", "shorted")


@dataclass(frozen=True, slots=True)
class Case:
    """What may be the matter: name, words, probability. [-]"""

    name: str
    title: Message
    plain: Message
    probability: float


@dataclass(frozen=True, slots=True)
class PinFinding:
    """
    What the readings between the pins say.

    Attributes
    ----------
    permutations : tuple of ((str, str, str), float)
        What pins 1, 2 and 3 really are, with its probability, most probable first; they sum to 1.
    names : tuple of str or None
        C, R or S of pins 1, 2 and 3 where that is as good as certain.
    cases : tuple of Case
        Most probable first; they sum to 1.
    grounded : float or None
        Probability of a winding touching the shell; None if not measured. [-]
    sum_test : SumTest or None
        None unless each of the three pairs showed a number.
    windings : tuple of WindingValue
        Under the leading case and naming; empty where that makes no sense.
    conclusion : str
        sound, open, wait, shorted, bridged, grounded, inverter, remeasure or unclear.
    sentence : str
        The same in plain words.
    warnings : tuple of str
        What must not be done.
    next : tuple of str
        What tells the remaining cases apart.
    """

    permutations: tuple[tuple[Names, float], ...]
    names: tuple[str | None, str | None, str | None]
    cases: tuple[Case, ...]
    grounded: float | None
    sum_test: SumTest | None
    windings: tuple[WindingValue, ...]
    conclusion: str
    sentence: Message
    warnings: tuple[Message, ...]
    next: tuple[Message, ...]

    def probability(self, case: str) -> float:
        """
        Probability of one case. [-]

        Raises
        ------
        Unknown
            If there is no such case.
        """
        for row in self.cases:
            if row.name == case:
                return row.probability
        raise Unknown(Message("case"), case, [c.name for c in self.cases])


def find_pins(
    readings: BetweenPins,
    *,
    nameplate: Nameplate | None = None,
    temperature: PartTemperature | None = None,
    meter: Meter | None = None,
    leads: Leads | None = None,
    protector: Literal["external", "internal", "unknown"] = "unknown",
    shell: Reading | None = None,
    shop: Shop | None = None,
) -> PinFinding:
    """
    Find out which pin is C, which S and which R, and what the windings are like, of a machine not known.

    Parameters
    ----------
    readings : mapping of (pin, pin) to Reading or several
        One to three pairs of the pins "1", "2" and "3", start gear off; repeats together. [Ω]
    nameplate : Nameplate, optional
        Volts and locked-rotor amperes narrow what a winding should measure.
    temperature : PartTemperature, optional
        Of the windings; unknown if left out.
    meter, leads
        What it was measured with; the program's default meter, leads that nobody looked at.
    protector : "external", "internal" or "unknown"
        Where the overload protector sits.
    shell : Reading, optional
        Lowest reading of any pin to bare metal of the shell. [Ω]
    shop : Shop, optional
        Odds and slips; the program's own if left out.

    Returns
    -------
    PinFinding

    Raises
    ------
    Refused
        If there is no reading, or one is not in ohms between two different pins.
    Unknown
        If a pin or the protector's place is not one of those above.
    """
    meter, leads, nameplate = meter or default_meter(), leads or Leads(), nameplate or Nameplate()
    shares = _protectors(protector)
    if not meter.measures(_OHMS):
        raise Refused(
            Message(
                "meter {name} does not measure resistance; choose the one the ohms were read on",
                name=Verbatim(repr(meter.name)),
            )
        )
    to_shell = "pins.shell" if meter.test_voltage is None else "shell.insulation"
    observations = _observations(readings, to_shell, shell, temperature or PartTemperature())
    situations = []
    for place, share in shares.items():
        machine = Machine.of(_ARRANGEMENT, place, nameplate)
        situations.append((share, Situation(machine, None, observations, meter, leads)))
    return _finding(situations, shop or default_shop(), figures()["gear_on"]["pill"])


def _protectors(place: str) -> dict[str, float]:
    """How probably an overload protector sits in each place, by what is known of it. [-]"""
    inside = float(figures()["protector"]["internal"])
    known = {"external": {"external": 1.0}, "internal": {"internal": 1.0}}
    shares = {**known, "unknown": {"external": 1.0 - inside, "internal": inside}}.get(place)
    if shares is None:
        raise Unknown(Message("place of the protector"), str(place), ("external", "internal", "unknown"))
    return shares


def _observations(
    readings: BetweenPins, to_shell: str, shell: Reading | None, warm: PartTemperature
) -> tuple[Observation, ...]:
    """Readings between the pins, and from them to the shell, as a call has them."""
    observations = [
        Observation(f"pins.{PINS[i]}-{PINS[j]}", reading, temperature=warm)
        for (i, j), repeats in by_pair(readings).items()
        for reading in repeats
    ]
    if shell is not None:
        if shell.quantity is not _OHMS:
            raise Refused(
                Message("between a pin and the shell a reading in ohms is needed, such as OL or 2 MΩ")
            )
        observations.append(Observation(to_shell, shell, temperature=warm))
    return tuple(observations)


def pins_of(situation: Situation, shop: Shop | None = None) -> PinFinding:
    """
    What the readings between unnamed pins say in a call, weighed with all else seen in it.

    Parameters
    ----------
    situation : Situation
        With at least one such reading. Of a machine that is only recognised, nothing but the readings between
        the pins and to the shell is weighed, as `find_pins` does.
    shop : Shop, optional
        Odds and slips; the program's own if left out.

    Raises
    ------
    Refused
        If no two unnamed pins were measured.
    """
    observations = unnamed(situation.observations)
    if not observations:
        raise Refused(
            Message("no readings between the pins; measure 1–2, 1–3 and 2–3 with the start gear off")
        )
    machine = situation.machine
    if not machine.started:
        place = "internal" if machine.protector == "internal" else "external"
        machine = Machine.of(_ARRANGEMENT, place, machine.nameplate)
        observations += tuple(
            o for o in situation.observations if o.probe in _TO_SHELL and o.reading is not None
        )
        situation = Situation(machine, None, observations, situation.meter, situation.leads)
    return _finding([(1.0, situation)], shop or default_shop())


def _finding(situations: Sequence[tuple[float, Situation]], shop: Shop, pill: float = 1.0) -> PinFinding:
    """Several machines that it may be, each with its share, weighed together."""
    weighed = [PinsWeighed(situation, shop, share, pill) for share, situation in situations]
    total = math.fsum(p for candidate in weighed for p in candidate.cases.values())
    words = figures()["case"]
    chances = {name: math.fsum(candidate.cases[name] for candidate in weighed) / total for name in words}
    rows = [
        Case(name, Message.of(words[name]["title"]), Message.of(words[name]["plain"]), p)
        for name, p in chances.items()
    ]
    cases = tuple(sorted(rows, key=lambda case: (-case.probability, case.name)))
    ways = {n: math.fsum(candidate.names[n] for candidate in weighed) / total for n in weighed[0].names}
    ranked = tuple(sorted(ways.items(), key=lambda item: -item[1]))
    situation = situations[0][1]
    pairs: dict[tuple[str, str], list[Reading]] = {}
    for o in unnamed(situation.observations):
        pin, _, other = o.probe.removeprefix("pins.").partition("-")
        pairs.setdefault((pin, other), []).extend([o.reading] if o.reading else [])
    shells = [o for o in situation.observations if o.probe in _TO_SHELL and o.reading is not None]
    bare = any(o.probe == "pins.shell" and o.reading and o.reading.value is not None for o in shells)
    grounded = (
        math.fsum(candidate.level * candidate.grounded for candidate in weighed) / total if shells else None
    )
    test = sum_test(pairs, situation.meter, situation.leads)
    conclusion = _conclusion(cases, test, bare or (grounded or 0.0) > 0.5)
    first = next((case for case in cases if words[case.name]["word"] == conclusion), cases[0])
    leading = max(weighed, key=lambda candidate: candidate.cases[first.name])
    names = _names(ways)
    windings = leading.values(first.name, dict(ranked)) if conclusion in _WITH_VALUES else ()
    return PinFinding(
        ranked,
        names,
        cases,
        grounded,
        test,
        windings,
        conclusion,
        _sentence(conclusion, cases, first, names, test, windings, len(pairs)),
        _warnings(cases, conclusion == "grounded"),
        _next(cases, conclusion, bool(shells), situation.leads, pairs),
    )


def _names(permutations: Mapping[Names, float]) -> tuple[str | None, str | None, str | None]:
    names: list[str | None] = []
    for i in range(3):
        chance = {pin: math.fsum(p for n, p in permutations.items() if n[i] == pin) for pin in "CRS"}
        best = max(chance, key=lambda pin: chance[pin])
        names.append(best if chance[best] >= figures()["decide"]["named"] else None)
    return names[0], names[1], names[2]


def _conclusion(cases: Sequence[Case], test: SumTest | None, grounded: bool) -> str:
    if grounded:
        return "grounded"
    data = figures()
    by_word: dict[str, float] = {}
    for case in cases:
        word = str(data["case"][case.name]["word"])
        by_word[word] = by_word.get(word, 0.0) + case.probability
    word = max(by_word, key=lambda w: by_word[w])
    if word in ("sound", "shorted") and test is not None and not test.adds_up:
        return "remeasure"
    return word if by_word[word] >= data["decide"]["enough"] else "unclear"


def _sentence(
    conclusion: str,
    cases: Sequence[Case],
    leading: Case,
    names: Sequence[str | None],
    test: SumTest | None,
    windings: Sequence[WindingValue],
    pairs: int,
) -> Message:
    if conclusion == "grounded":
        return _GROUNDED
    if conclusion == "unclear":
        return Message("Not clear yet: {first}, or {second}.", first=leading.plain, second=cases[1].plain)
    words = leading.plain
    if conclusion == "remeasure":
        words = Message.of(figures()["case"]["reading_error"]["plain"])
    elif conclusion == "sound" and pairs != 3:
        words = Message("so far {what}", what=leading.plain)
    clauses = [words.capital()]
    if test is not None and not test.adds_up:
        clauses.append(
            Message(
                "the largest reading is off the sum of the others by {ohms:.2g} Ω", ohms=abs(test.residual)
            )
        )
    if conclusion in ("open", "shorted", "bridged", "burnt"):
        clauses.append(Message("measure once more before you condemn it"))
    sentences = [Message("{clauses:semicolon}.", clauses=tuple(clauses))]
    if all(names) and conclusion not in ("remeasure", "inverter"):
        first, second, third = (str(name) for name in names)
        sentences.append(
            Message(
                "Pin 1 is {first}, pin 2 is {second}, pin 3 is {third}.",
                first=first,
                second=second,
                third=third,
            )
        )
    if windings:
        sentences.append(Message("At 25 °C: {windings}.", windings=tuple(map(_winding, windings))))
    return listed(sentences, "space")


def _winding(winding: WindingValue) -> Message:
    return Message(
        "{part} {ohms} ± {uncertainty}",
        part=family(winding.part).title,
        ohms=format_si(winding.ohms, _OHMS, 3),
        uncertainty=format_si(winding.uncertainty, _OHMS, 2),
    )


def _warnings(cases: Sequence[Case], grounded: bool) -> tuple[Message, ...]:
    warnings = [_GROUNDED] if grounded else []
    equal = next(case for case in cases if case.name == "three_equal")
    if equal.probability >= figures()["decide"]["warn"]:
        warnings.append(
            Message(
                "It may be an inverter-driven or three-phase compressor: never put it across the mains, "
                "and never fit start gear to it."
            )
        )
    return tuple(warnings)


def _next(
    cases: Sequence[Case],
    conclusion: str,
    shell: bool,
    leads: Leads,
    pairs: Mapping[tuple[str, str], Sequence[Reading]],
) -> tuple[Message, ...]:
    """What tells the remaining cases apart, without saying anything twice."""
    if conclusion == "grounded":
        return ()
    data = figures()
    words = [
        Message("Measure pins {first} and {second} too.", first=PINS[i], second=PINS[j])
        for i, j in PAIRS
        if (PINS[i], PINS[j]) not in pairs
    ]
    for case in cases:
        if case.probability >= data["decide"]["remaining"]:
            words.extend(map(Message.of, data["case"][case.name]["next"]))
    if not shell:
        words.append(Message.of(data["case"]["sound"]["next"][0]))
    else:
        words = [w for w in words if w not in data["case"]["sound"]["next"]]
    if leads.spread is not None:
        words.append(Message("Hold the probe tips together and null the leads."))
    return tuple(dict.fromkeys(words))
