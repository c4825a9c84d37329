"""
Under which conditions a start is asked about: volts, pressures, temperature, what is fitted, what is wrong.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from humclick.arrangements.machine import Machine
from humclick.errors import OutOfRange, Refused, Unknown
from humclick.messages import Message, Verbatim
from humclick.physics.bounds import between
from humclick.sourced import read_data, sourced

__all__ = ["StartConditions", "modes_of", "pressure_of", "pressures"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StartConditions:
    """Conditions of a start."""

    volts: float  #: At the outlet, at rest. [V]
    #: Pressure difference when power comes, over that of running; 0 is equalised. [-]
    difference: float = 0.0
    ambient: float = 25.0  #: Of the air around the shell. [°C]
    hot: bool = False  #: Right after attempts: windings, start gear and protector still hot.
    supply_ohms: float | None = None  #: Of outlet and cord, there and back; the usual if None. [Ω]
    #: Capacitors actually fitted; those of the machine if None. [F]
    start_farads: float | None = None
    run_farads: float | None = None

    def __post_init__(self) -> None:
        between(self.volts, 20.0, 480.0, "volts at the outlet", "V")
        between(self.difference, 0.0, 3.0, "pressure difference", "times that of running")
        between(self.ambient, -40.0, 70.0, "ambient temperature", "°C")
        if self.supply_ohms is not None:
            between(self.supply_ohms, 0.0, 50.0, "resistance of the supply", "Ω")
        for name in ("start_farads", "run_farads"):
            farads = getattr(self, name)
            if farads is not None:
                between(farads, 1e-7, 5e-3, name.replace("_farads", " capacitor"), "F")


def pressures() -> tuple[str, ...]:
    """Words for the pressures at the moment of a start."""
    return tuple(read_data("humclick.start", "answers.toml")["pressure"])


def pressure_of(text: str) -> float:
    """
    Pressure difference over that of running, from a word or a figure. [-]

    Raises `Unknown` for another word, and `OutOfRange` for a figure outside 0 … 3.

    >>> pressure_of("equal"), pressure_of("50 %")
    (0.0, 0.5)
    """
    word = str(text).strip().lower()
    words = read_data("humclick.start", "answers.toml")["pressure"]
    if word in words:
        return sourced(words[word], f"answers.toml pressure.{word}").value
    number = word.removesuffix("%").strip().replace(",", ".")
    try:
        figure = float(number) / (100 if word.endswith("%") else 1)
    except ValueError:
        raise Unknown(
            Message("pressure"), text, (*pressures(), "or a share of the running difference")
        ) from None
    if not math.isfinite(figure) or not 0 <= figure <= 3:
        raise OutOfRange(
            Message("the pressure difference must be 0 to 3 times that of running, got {text}", text=text)
        )
    return figure


def modes_of(text: str, machine: Machine) -> dict[str, str]:
    """
    Modes from words such as ``ptc=bridged, supply=sags``.

    Raises `Refused` if the words have another form, and `Unknown` for a part or mode that does not exist.
    """
    modes = {}
    for piece in filter(None, (piece.strip() for piece in text.split(","))):
        part, equals, mode = (word.strip() for word in piece.partition("="))
        if not equals:
            raise Refused(
                Message(
                    "write what is wrong as part=mode, such as ptc=bridged, got {piece}",
                    piece=Verbatim(repr(piece)),
                )
            )
        machine.part(part).family.mode(mode)
        modes[part] = mode
    return modes
