"""
What a start attempt does on a call: the simulated table, for faults bad enough to be called for.

The table (`humclick.start.power_up`) takes a fault of any degree. On a call an attempt under a mode that
comes in degrees fails with a least probability (`severity.toml`).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from functools import cached_property, lru_cache

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.hearing import reported
from humclick.diagnosis.quadrature import in_steps
from humclick.diagnosis.scales import bits_of
from humclick.diagnosis.stand_in import stand_in
from humclick.sourced import read_data
from humclick.start.power_up import Starts
from humclick.start.rows import OUTCOMES

__all__ = ["Attempt", "Attempts", "attempts_of"]

_RUNS = OUTCOMES.index("runs")


class Attempt:
    """
    A start attempt under all sets of modes that no attempt can tell apart; each answer is kept once given.

    Parameters
    ----------
    starts : Starts
        Of the machine.
    key : tuple of int
        Of the sets (`humclick.start.power_up.Starts.key`).
    fails : float
        The attempt fails at least as probably. [-]
    """

    def __init__(self, starts: Starts, key: tuple[int, ...], fails: float) -> None:
        self._starts = starts
        self._key = key
        self._fails = fails

    @cached_property
    def outcomes(self) -> tuple[float, ...]:
        """Probabilities of what it does, in the order of `OUTCOMES`; sum to 1. [-]"""
        shares = self._starts.outcomes_of(self._key)
        fails = 1.0 - shares[_RUNS]
        if fails >= self._fails:
            return shares
        scale = self._fails / fails
        return tuple(1.0 - self._fails if k == _RUNS else scale * p for k, p in enumerate(shares))

    @cached_property
    def amps(self) -> tuple[tuple[float, float], ...]:
        """Line current by what it comes to, over the sound locked-rotor current, and its ln spread. [-]"""
        return self._starts.amps_of(self._key)

    @cached_property
    def reported(self) -> tuple[float, ...]:
        """Probabilities of what a customer says of it. [-]"""
        return reported(self.outcomes, by="reported")

    @cached_property
    def listened(self) -> tuple[float, ...]:
        """Probabilities of what a technician hears who stands and listens. [-]"""
        return reported(self.outcomes, by="listened")


class AmpsInSteps:
    """
    Line currents of start attempts in steps, numbered, so that what depends on them is worked out once.

    Parameters
    ----------
    sigma : float
        How well the sound machine's locked-rotor current is known, of ln. [-]

    Attributes
    ----------
    places : list of (median, ln standard deviation)
        By number; over the sound locked-rotor current, (0, 0) for none (`humclick.diagnosis.quadrature`). [-]
    """

    def __init__(self, sigma: float) -> None:
        self.places: list[tuple[float, float]] = []
        self._sigma = sigma
        self._number: dict[tuple[float, float], int] = {}
        self._place: dict[tuple[float, float], int] = {}
        self._kept: dict[Attempt, tuple[int, ...]] = {}

    def of(self, attempts: Sequence[Attempt]) -> list[tuple[int, ...]]:
        """Numbers of the currents of attempts, by what each comes to."""
        for attempt in set(attempts).difference(self._kept):
            numbers = []
            for drawn in attempt.amps:
                number = self._place.get(drawn)
                numbers.append(self._numbered(*drawn) if number is None else number)
            self._kept[attempt] = tuple(numbers)
        return list(map(self._kept.__getitem__, attempts))

    def _numbered(self, ratio: float, spread: float) -> int:
        """Number of one current; its own is remembered too."""
        place = in_steps(ratio, math.hypot(self._sigma, spread)) if ratio > 0.0 else (0.0, 0.0)
        number = self._number.setdefault(place, len(self.places))
        if number == len(self.places):
            self.places.append(place)
        self._place[ratio, spread] = number
        return number


class Attempts:
    """
    Start attempts of one machine on a call.

    Parameters
    ----------
    machine : Machine

    Raises
    ------
    DataError
        When first asked, if the table of the machine's arrangement is missing or damaged.
    """

    def __init__(self, machine: Machine) -> None:
        data = read_data("humclick.diagnosis", "severity.toml")
        self._fails = float(data["fails"])
        self._starts = Starts(machine, stand_in(machine))
        self._kept: dict[int, Attempt] = {}
        self._in_steps: dict[float, AmpsInSteps] = {}

    @cached_property
    def _codes(self) -> frozenset[int]:
        parts = self._starts.machine.parts
        severe = [{part.id: mode.name} for part in parts for mode in part.family.listed if mode.degrees]
        return frozenset(code for modes in severe for code in self.key(modes, hot=True))

    def key(self, modes: Mapping[str, str], *, hot: bool) -> tuple[int, ...]:
        """What an attempt goes by; arguments and errors as of `humclick.start.power_up.Starts.key`."""
        return self._starts.key(modes, hot=hot)

    def of(self, modes: Mapping[str, str], *, hot: bool = False) -> Attempt:
        """The attempt under a set of modes; arguments and errors as of `key`."""
        return self.by(self.mark(modes, hot=hot))

    @cached_property
    def _quiet(self) -> int:
        """Every bit: a mode that lets no current flow hides all others."""
        return (1 << self.width) - 1

    @cached_property
    def width(self) -> int:
        """So many bits hold what an attempt sees of a set."""
        return self._starts.most + 1

    def mark(self, modes: Mapping[str, str], *, hot: bool) -> int:
        """What an attempt sees of a set of modes, in bits; arguments and errors as of `key`."""
        key = self.key(modes, hot=hot)
        return self._quiet if key == self._starts.quiet else sum([1 << code for code in key])

    def either_way(self, marks: Collection[int]) -> tuple[list[int], list[int]]:
        """What an attempt sees of sets cold, and hot; from bits as of `Bench.marks`."""
        quiet, width = self._quiet, self.width
        return [bits & quiet for bits in marks], [bits >> width for bits in marks]

    def by(self, mark: int) -> Attempt:
        """The attempt under all sets of which it sees this much, the bits of their modes together."""
        return self.by_all([mark])[0]

    def by_all(self, marks: Sequence[int]) -> list[Attempt]:
        """Attempts under sets, by what is seen of each."""
        attempts = self._kept
        for mark in set(marks).difference(attempts):
            key = self._starts.quiet if mark == self._quiet else bits_of(mark)
            severe = not self._codes.isdisjoint(key)
            attempts[mark] = Attempt(self._starts, key, self._fails if severe else 0.0)
        return list(map(attempts.__getitem__, marks))

    def amps_in_steps(self, sigma: float) -> AmpsInSteps:
        """Line currents in steps, the sound locked-rotor current known to `sigma` (of ln). [-]"""
        if sigma not in self._in_steps:
            self._in_steps[sigma] = AmpsInSteps(sigma)
        return self._in_steps[sigma]


def attempts_of(machine: Machine) -> Attempts:
    """Start attempts of a machine; all of its kind share them, for stamps and plate do not matter."""
    return _shared(machine.arrangement.id, machine.protector, machine.nameplate.volts_class)


@lru_cache(maxsize=8)
def _shared(arrangement: str, protector: str, volts_class: str) -> Attempts:
    return Attempts(Machine.of(arrangement, protector, Nameplate(float(volts_class))))
