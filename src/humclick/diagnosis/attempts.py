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
from humclick.errors import DataError, choice_of
from humclick.sourced import read_data
from humclick.start.power_up import Starts
from humclick.start.rows import OUTCOMES

__all__ = ["Attempt", "Attempts", "attempts_of"]

_RUNS = OUTCOMES.index("runs")
_TRIPS = OUTCOMES.index("starts_then_trips")
#: How a machine stands against unequal pressures. Common practice; a guess. [-]
_STANDS = {OUTCOMES.index("hum"): 0.1, OUTCOMES.index("hum_click"): 0.9}
_NOTHING = (0.0,) * len(OUTCOMES)


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
    usual : tuple of float
        Added to how the table's attempts fail before that is scaled: where hardly any of them does, it says
        how such a fault fails. By outcome. [-]
    late : float
        So probably a machine that starts trips all the same while somebody still stands there. [-]
    restart : float
        So probably a machine that has not rested stands where it would start. [-]
    """

    __slots__ = (
        "_again", "_fails", "_late", "_listened", "_outcomes", "_restart", "_starts", "_usual", "key"
    )  # fmt: skip

    def __init__(
        self,
        starts: Starts,
        key: tuple[int, ...],
        fails: float = 0.0,
        usual: Sequence[float] = _NOTHING,
        late: float = 0.0,
        restart: float = 0.0,
    ) -> None:
        self._starts = starts
        self.key = key
        self._fails = fails
        self._usual = usual
        self._late = late
        self._restart = restart
        self._again: Attempt | None = None
        self._outcomes: tuple[float, ...] = ()
        self._listened: tuple[float, ...] = ()

    @property
    def outcomes(self) -> tuple[float, ...]:
        """Probabilities of what it does, in the order of `OUTCOMES`; sum to 1. [-]"""
        if not self._outcomes:
            self._outcomes = self._weighed()
        return self._outcomes

    def _weighed(self) -> tuple[float, ...]:
        shares = _tripping(self._starts.outcomes_of(self.key), self._late)
        fails = 1.0 - shares[_RUNS]
        if fails >= self._fails:
            return shares
        failing = [
            0.0 if k == _RUNS else p + more
            for k, (p, more) in enumerate(zip(shares, self._usual, strict=True))
        ]
        scale = self._fails / sum(failing)
        return tuple([1.0 - self._fails if k == _RUNS else scale * p for k, p in enumerate(failing)])

    @property
    def again(self) -> Attempt:
        """The same before it has rested: against pressures not equal some of those that start stand. [-]"""
        if self._again is None:
            self._again = Attempt(self._starts, self.key)
            self._again._outcomes = _standing(self.outcomes, self._restart)
        return self._again

    @property
    def amps(self) -> tuple[tuple[float, float], ...]:
        """Line current by what it comes to, over the sound locked-rotor current, and its ln spread. [-]"""
        return self._starts.amps_of(self.key)

    @property
    def listened(self) -> tuple[float, ...]:
        """Probabilities of what a technician hears who stands and listens. [-]"""
        if not self._listened:
            self._listened = reported(self.outcomes, by="listened")
        return self._listened


def _tripping(shares: tuple[float, ...], late: float) -> tuple[float, ...]:
    """Outcomes where a share of the machines that run trips later. [-]"""
    if not late:
        return shares
    more = {_RUNS: -late * shares[_RUNS], _TRIPS: late * shares[_RUNS]}
    return tuple(p + more.get(k, 0.0) for k, p in enumerate(shares))


def _standing(shares: tuple[float, ...], stands: float) -> tuple[float, ...]:
    """Outcomes where a share of the machines that start stands instead, and mostly clicks off."""
    moved = {k: stands * shares[k] for k in (_RUNS, _TRIPS)}
    more = {k: share * sum(moved.values()) for k, share in _STANDS.items()}
    return tuple(p - moved.get(k, 0.0) + more.get(k, 0.0) for k, p in enumerate(shares))


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
        self._numbers: dict[tuple[int, ...], tuple[int, ...]] = {}

    def of(self, attempts: Sequence[Attempt]) -> list[tuple[int, ...]]:
        """Numbers of the currents of attempts, by what each comes to."""
        known = self._numbers
        for attempt in attempts:
            if attempt.key not in known:
                known[attempt.key] = tuple([self._numbered(drawn) for drawn in attempt.amps])
        return [known[attempt.key] for attempt in attempts]

    def _numbered(self, drawn: tuple[float, float]) -> int:
        """Number of one current, a ratio and its spread."""
        number = self._place.get(drawn)
        if number is not None:
            return number
        ratio, spread = drawn
        place = in_steps(ratio, math.hypot(self._sigma, spread)) if ratio > 0.0 else (0.0, 0.0)
        number = self._number.setdefault(place, len(self.places))
        if number == len(self.places):
            self.places.append(place)
        self._place[drawn] = number
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
        self._fails, self._weight, self._late = (float(data[name]) for name in ("fails", "weight", "late"))
        self._restart = float(data["restart"])
        self._starts = Starts(machine, stand_in(machine))
        self._kept: dict[int, Attempt] = {}
        self._by_key: dict[tuple[tuple[int, ...], float], Attempt] = {}
        self._in_steps: dict[float, AmpsInSteps] = {}

    @cached_property
    def _severe(self) -> dict[int, tuple[float, ...]]:
        """Modes that come in degrees, by their number: what they add to how attempts fail, by outcome. [-]"""
        usual: dict[int, tuple[float, ...]] = {}
        for part in self._starts.machine.parts:
            for mode in (mode for mode in part.family.listed if mode.degrees and not mode.starts_as):
                if unknown := mode.fails.keys() - set(OUTCOMES):
                    raise DataError(
                        f"{part.family.name}.toml: fails must be of {choice_of(min(unknown), OUTCOMES)}"
                    )
                shares = tuple(self._weight * mode.fails.get(outcome, 0.0) for outcome in OUTCOMES)
                usual |= dict.fromkeys(self.key({part.id: mode.name}, hot=True), shares)
        return usual

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
        return self._starts.most + 2  # the last one is that of faults which trip it later

    def mark(self, modes: Mapping[str, str], *, hot: bool) -> int:
        """What an attempt sees of a set of modes, in bits; arguments and errors as of `key`."""
        key = self.key(modes, hot=hot)
        if key == self._starts.quiet:
            return self._quiet
        later = not hot and any(fault in self._eased for fault in self._starts.machine.in_a_start(modes))
        return sum([1 << code for code in key]) | (later << self.width - 1)

    @cached_property
    def _eased(self) -> frozenset[tuple[str, str]]:
        """Faults that a rest takes out of the next start, and that stop it again after some minutes."""
        parts = self._starts.machine.parts
        return frozenset((part.id, mode.name) for part in parts for mode in part.family.listed if mode.eased)

    def either_way(self, marks: Collection[int]) -> tuple[list[int], list[int]]:
        """What an attempt sees of sets cold, and hot; from bits as of `Bench.marks`."""
        quiet, width = self._quiet, self.width
        return [bits & quiet for bits in marks], [bits >> width for bits in marks]

    def by(self, mark: int) -> Attempt:
        """The attempt under all sets of which it sees this much, the bits of their modes together."""
        return self.by_all([mark])[0]

    def by_all(self, marks: Sequence[int]) -> list[Attempt]:
        """Attempts under sets, by what is seen of each."""
        attempts, starts, quiet = self._kept, self._starts, self._quiet
        ordinary, last = quiet >> 1, self.width - 1
        for mark in set(marks).difference(attempts):
            later = self._late if mark != quiet and mark >> last else 0.0
            key = starts.quiet if mark == quiet else starts.worst_of_each(bits_of(mark & ordinary))
            attempt = self._by_key.get((key, later))
            if attempt is None:
                attempt = self._by_key[key, later] = self._attempt(key, later)
            attempts[mark] = attempt
        return list(map(attempts.__getitem__, marks))

    def _attempt(self, key: tuple[int, ...], later: float) -> Attempt:
        rows = [self._severe[code] for code in key if code in self._severe]
        usual = tuple(map(sum, zip(*rows, strict=True)))
        fails = self._fails if rows else 0.0
        return Attempt(self._starts, key, fails, usual or _NOTHING, later, self._restart)

    def amps_in_steps(self, sigma: float) -> AmpsInSteps:
        """Line currents in steps, the sound locked-rotor current known to `sigma` (of ln). [-]"""
        if sigma not in self._in_steps:
            self._in_steps[sigma] = AmpsInSteps(sigma)
        return self._in_steps[sigma]


def attempts_of(machine: Machine) -> Attempts:
    """Start attempts of a machine; all of its kind share them, for stamps and plate do not matter."""
    return _shared(machine.arrangement.id, machine.protector, machine.volts_class)


@lru_cache(maxsize=8)
def _shared(arrangement: str, protector: str, volts_class: str) -> Attempts:
    return Attempts(Machine.of(arrangement, protector, Nameplate(float(volts_class))))
