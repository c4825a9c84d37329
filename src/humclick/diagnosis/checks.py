"""
Checks: what says nothing about which part is bad, and decides whether the unit is safe.

They stand in ``checks.toml`` and are judged by a limit. Volts, amperes, ohms.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from humclick.messages import NOTHING, Message
from humclick.readings import Reading
from humclick.safety import place_of
from humclick.sourced import read_data
from humclick.typed_data import named_values

__all__ = ["Check", "checks", "earth_limit"]


#: From so many nominal volts an outlet may be one of a split phase, its lines at half of them. [V]
_SPLIT = 200.0


@dataclass(frozen=True, slots=True)
class Check:
    """
    One check.

    Attributes
    ----------
    id, title, how : str
        Name of its probe, one line, and how it is done.
    quantity : str
        ``voltage`` or ``current``; empty for a look.
    outcomes, good : tuple of str
        Answers of a look, and those that are good.
    points : (str, str) or None
        Nodes of the machine.
    like : str
        Probe of the shop's file whose minutes and risk it has; empty where `minutes` is its own.
    minutes : float
        [min]
    live : bool
        Whether the unit is under power for it.
    gates : tuple of str
        Safety gates of a look.
    bands : tuple of (low, high)
        Shares of nominal volts that are right. [-]
    split : tuple of (low, high)
        More of them where the outlet may be one of a split phase. [-]
    at_most : float or None
        Largest right reading where the place has no figure of its own. [A]
    figure : str
        Name of the place's figure, or empty.
    bad : str
        What a bad one means, and what to do.
    due : str
        Remedy it makes due, or empty.
    bars : bool
        Whether the unit is not powered until it is put right.
    source : str
        Where the limit comes from.
    """

    id: str
    title: Message
    how: Message
    quantity: str = ""
    outcomes: tuple[Message, ...] = ()
    good: tuple[str, ...] = ()
    points: tuple[str, str] | None = None
    like: str = ""
    minutes: float = 1.0
    live: bool = False
    gates: tuple[str, ...] = ()
    bands: tuple[tuple[float, float], ...] = ()
    split: tuple[tuple[float, float], ...] = ()
    at_most: float | None = None
    figure: str = ""
    bad: Message = NOTHING
    due: str = ""
    bars: bool = False
    source: str = ""

    def passes(self, reading: Reading | None, answer: str, nominal: float, place: str = "") -> bool | None:
        """
        Whether what was seen is right; None where nothing was.

        Parameters
        ----------
        reading : Reading or None
            What the meter showed.
        answer : str
            What was seen.
        nominal : float
            Supply of the plate. [V]
        place : str
            Whose rules hold.
        """
        if reading is None:
            return answer in self.good if answer else None
        if reading.over_limit or reading.value is None:
            return False
        value = abs(reading.value)
        if self.at_most is not None:
            limit = place_of(place).figures.get(self.figure)
            return value <= (self.at_most if limit is None else limit.value)
        bands = (*self.bands, *(self.split if nominal >= _SPLIT else ()))
        return any(low * nominal <= value <= high * nominal for low, high in bands)


@cache
def checks() -> Mapping[str, Check]:
    """
    Every check by the name of its probe.

    Raises
    ------
    DataError
        If the data file is damaged.
    """
    rows = read_data("humclick.diagnosis", "checks.toml")["check"]
    return named_values(({"id": name, **row} for name, row in rows.items()), Check, "checks.toml", "id")


def earth_limit(place: str = "") -> float:
    """Largest resistance of a ground wire with its cord, by the rules of a place. [Ω]"""
    figures = place_of(place).figures
    return figures["ground_ohms"].value + figures["cord_ohms"].value
