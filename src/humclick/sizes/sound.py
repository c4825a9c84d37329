"""
One model of sound machines: what is known of one narrows every size of it.

The hidden quantity is the trade's horsepower. Each size is a product of powers of it, of volts and hertz, and
of other sizes, times a log-normal scatter (``sound.toml``); logarithms of all sizes are therefore jointly
normal, and what is known of a machine is put in by the closed formula of the conditional normal distribution.
Amperes, ohms, farads, watts, horsepower.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

from humclick.errors import DataError, Unknown
from humclick.messages import Message
from humclick.sourced import Z95, Sourced, Spread, read_data, sourced, spread

__all__ = ["HORSEPOWER", "SoundMachine", "appliances", "kind_of_refrigerant", "sizes", "sound_machine"]

#: The hidden size, and a size like others. [hp]
HORSEPOWER = "horsepower"
#: What volts and hertz are counted in. [V] [Hz]
_VOLTS, _HERTZ = 230.0, 60.0
#: Voltages from here on are of the upper class. [V]
_UPPER = 150.0
#: No size is known better than this; keeps the formula from dividing by nothing. ln standard deviation [-]
_LEAST = 1e-3


@dataclass(frozen=True, slots=True)
class _Relation:
    """One row of the data: the size, its median with all exponents' bases at one, exponents and scatter."""

    name: str
    of: Spread
    powers: tuple[tuple[str, float], ...]


def _data() -> Mapping[str, Any]:
    return read_data("humclick.sizes", "sound.toml")


def _holding(rows: Iterable[Mapping[str, Any]], words: frozenset[str]) -> dict[str, Mapping[str, Any]]:
    """The row of each name that counts for a machine: the last whose words are all true of it."""
    return {str(row.get("name", "")): row for row in rows if words.issuperset(row.get("when", ()))}


@cache
def _relations(words: frozenset[str]) -> tuple[_Relation, ...]:
    power = _holding(_data()["power"], words)[""]
    power = next((row for row in _data()["appliance"] if row["name"] in words), power)
    found = [_Relation(HORSEPOWER, spread(dict(power), "sound.toml power"), ())]
    for name, row in _holding(_data()["size"], words).items():
        known = {relation.name for relation in found} | {"volts", "hertz"}
        for base in row["powers"]:
            if base not in known:
                raise DataError(f"sound.toml {name}: powers name {base}, which does not stand above it")
        found.append(_Relation(name, spread(dict(row), f"sound.toml {name}"), tuple(row["powers"].items())))
    return tuple(found)


@cache
def sizes() -> tuple[str, ...]:
    """Names of all sizes a machine has here, the hidden one first, those of its branch circuit last."""
    rows = (*_data()["size"], *_data()["branch"]["size"])
    return (HORSEPOWER, *dict.fromkeys(str(row["name"]) for row in rows))


@cache
def _branch(name: str) -> Sourced:
    return sourced(_data()["branch"][name], f"sound.toml branch.{name}")


@cache
def appliances() -> Mapping[str, Message]:
    """
    Kinds of appliance that say how strong a machine is, by name, in words.

    >>> str(appliances()["ice"])
    'ice machine'
    """
    return {row["name"]: Message.of(row["title"]) for row in _data()["appliance"]}


def kind_of_refrigerant(numbers: Iterable[str]) -> str:
    """
    The word by which machines of a refrigerant are known; empty where it says nothing of their size.

    >>> kind_of_refrigerant(["R600A"]), kind_of_refrigerant(["R134A"])
    ('household refrigerant', '')
    """
    of = {number: word for word, row in _data()["refrigerants"].items() for number in row if word != "source"}
    return next((f"{of[number]} refrigerant" for number in numbers if number in of), "")


class SoundMachine:
    """
    All sizes of a sound machine, given what is known of it; made by `sound_machine`.

    Logarithms of the sizes have a mean and a covariance, in the order of `names`. [-]
    """

    def __init__(
        self, names: tuple[str, ...], mean: list[float], covariance: list[list[float]], volts: float
    ) -> None:
        self.names, self._mean, self._covariance, self._volts = names, mean, covariance, volts
        self._at = {name: k for k, name in enumerate(names)}
        self._units = {HORSEPOWER: "hp", **{row["name"]: row["unit"] for row in _data()["size"]}}

    def _place(self, name: str) -> int:
        try:
            return self._at[name]
        except KeyError:
            raise Unknown(Message("size of a machine"), name, sizes()) from None

    def size(self, name: str) -> Spread:
        """
        A size: half of all sound machines of which the same is known lie below, and 95 % within the factor.

        Raises `Unknown` if there is no such size. [unit of sound.toml]
        """
        row = next((row for row in _data()["branch"]["size"] if row["name"] == name), None)
        if row is not None:
            return self._in_branch(row)
        at = self._place(name)
        factor = math.exp(Z95 * math.sqrt(max(self._covariance[at][at], 0.0)))
        return Spread(math.exp(self._mean[at]), factor, self._units[name], "humclick.sizes, sound.toml")

    def correlation(self, first: str, second: str) -> float:
        """How far the logarithms of two sizes go together, −1 to 1. [-]"""
        a, b = self._place(first), self._place(second)
        both = math.sqrt(self._covariance[a][a] * self._covariance[b][b])
        return max(-1.0, min(1.0, self._covariance[a][b] / both)) if both > 0.0 else 0.0

    @property
    def branch_amps(self) -> float:
        """What the breaker of its branch circuit is made for. [A]"""
        rated, locked = self.size("rated_load_amps").median, self.size("locked_rotor_amps").median
        over_rated, over_locked = _branch("over_rated_load").value, _branch("over_locked_rotor").value
        return max(_branch("usual").value, over_rated * rated, over_locked * locked)

    def _in_branch(self, row: Mapping[str, Any]) -> Spread:
        usual = spread(dict(row), f"sound.toml {row['name']}")
        by_amps = (self.branch_amps / _branch("usual").value) ** float(row["per_amp"])
        return usual.scaled(by_amps * (self._volts / _VOLTS) ** float(row["volts"]))

    def given(self, name: str, known: Spread) -> SoundMachine:
        """
        The same with one more size known, within its spread. [unit of sound.toml]

        Notes
        -----
        Conditional normal distribution of the logarithms: with K = Σ_kn / (Σ_nn + σ²), the mean moves by
        K (y − μ_n) and the covariance loses K Σ_nk (any textbook of probability).
        """
        at, cov = self._place(name), self._covariance
        column = [row[at] for row in cov]
        total = column[at] + max(known.sigma, _LEAST) ** 2
        away = (known.mu - self._mean[at]) / total
        mean = [m + c * away for m, c in zip(self._mean, column, strict=True)]
        covariance = [
            [x - c * d / total for x, d in zip(row, column, strict=True)]
            for row, c in zip(cov, column, strict=True)
        ]
        return SoundMachine(self.names, mean, covariance, self._volts)


@cache
def _unmeasured(words: frozenset[str], volts: float, hertz: float) -> SoundMachine:
    """A machine of which only kind, volts and hertz are known."""
    fixed = {"volts": math.log(volts / _VOLTS), "hertz": math.log(hertz / _HERTZ)}
    place: dict[str, int] = {}
    mean: list[float] = []
    cov: list[list[float]] = []
    for relation in _relations(words):
        mu, row = relation.of.mu, [0.0] * len(mean)
        for base, exponent in relation.powers:
            if base in fixed:
                mu += exponent * fixed[base]
                continue
            at = place[base]
            mu += exponent * mean[at]
            row = [r + exponent * c for r, c in zip(row, cov[at], strict=True)]
        own = relation.of.sigma**2 + math.fsum(
            exponent * row[place[base]] for base, exponent in relation.powers if base not in fixed
        )
        for other, shared in zip(cov, row, strict=True):
            other.append(shared)
        cov.append([*row, own])
        place[relation.name] = len(mean)
        mean.append(mu)
    return SoundMachine(tuple(place), mean, cov, volts)


@lru_cache(maxsize=512)
def _machine(
    words: frozenset[str], volts: float, hertz: float, known: tuple[tuple[str, Spread], ...]
) -> SoundMachine:
    machine = _unmeasured(words, volts, hertz)
    for name, value in known:
        machine = machine.given(name, value)
    return machine


def sound_machine(
    volts: float,
    hertz: float = _HERTZ,
    words: Iterable[str] = (),
    known: Mapping[str, Spread] | None = None,
) -> SoundMachine:
    """
    All sizes of a sound machine, given what is known of it.

    Parameters
    ----------
    volts, hertz : float
        Of the plate. [V] [Hz]
    words : iterable of str
        What is true of it, of the words in sound.toml: ``run capacitor``, ``no run capacitor``,
        ``start capacitor``, ``electronic``, ``no pill``, ``household refrigerant``, a kind of appliance;
        others say nothing.
    known : mapping of name to Spread
        Sizes known from plate, stamps or a list, by the names of `sizes`.

    Raises
    ------
    Unknown
        If a size known is none.

    Examples
    --------
    >>> machine = sound_machine(230, 60, ["run capacitor"], {"locked_rotor_amps": Spread(61, 1)})
    >>> 15e-6 < machine.size("run_farads").median < 60e-6
    True
    """
    level = "115 V" if volts < _UPPER else "230 V"
    rows = tuple(sorted((known or {}).items(), key=lambda row: row[0]))
    return _machine(frozenset({*words, level}), float(volts), float(hertz), rows)
