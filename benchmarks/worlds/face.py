"""
What a world shows to the player: a plate, a complaint, what each probe shows, and the truth for the score.

This and the names of probes, answers and remedies are all that worlds and player share.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol


@dataclass(frozen=True)
class Plate:
    """
    What a technician would type of the machine.

    Parameters
    ----------
    arrangement, protector : str
        By the names of the program.
    volts, hertz : float
        Of the plate. [V] [Hz]
    lra, rla : float or None
        Locked-rotor and running amps where the plate can be read. [A]
    refrigerant : str
        As printed, or empty.
    horsepower : float
        True size, for the score's size classes alone. [hp]
    """

    arrangement: str
    protector: str
    volts: float
    hertz: float
    lra: float | None
    rla: float | None
    refrigerant: str
    horsepower: float


@dataclass(frozen=True)
class Shown:
    """What a display or an eye shows, as it would be typed, with the temperature as noted down."""

    value: str
    temperature: str = ""


@dataclass(frozen=True)
class Truth:
    """
    What is the matter.

    Parameters
    ----------
    needs : tuple of frozenset of str
        Each must be met by any one of its remedies.
    allowed : frozenset of str
        Remedies that do no harm besides: a part that is worn too, a wait.
    cause, family : str
        Of the fault, in the world's own words.
    """

    needs: tuple[frozenset[str], ...]
    allowed: frozenset[str]
    cause: str
    family: str

    @property
    def healthy(self) -> bool:
        """Whether no part is to be bought or repaired: a wait or a setting is enough."""
        return all(need <= {"wait", "set control"} for need in self.needs)


@dataclass(frozen=True)
class Opening:
    """How the call is opened."""

    plate: Plate
    heard: str
    words: str
    meter: str
    leads: str | float | None
    stamps: Mapping[str, str] = field(default_factory=dict)


class Case(Protocol):
    """One call of a world; a world gives it by seed and number."""

    @property
    def opening(self) -> Opening:
        """How the call is opened."""
        ...

    @property
    def truth(self) -> Truth:
        """What is the matter."""
        ...

    def shows(self, probe: str) -> Shown | None:
        """What a probe shows now; None where this technician cannot take it."""
        ...

    def wait(self, minutes: float) -> None:
        """Let the machine stand. [min]"""
        ...
