"""
How warm a part was when it was measured: a word or a figure.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from humclick.errors import OutOfRange, ReadingRefused
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.readings.reading import parse_reading
from humclick.readings.typed import normalized, reading_refused
from humclick.sourced import read_data, sourced

__all__ = ["PartTemperature", "parse_temperature"]

_WORDS: dict[str, Literal["cold", "hot", "unknown"]] = {
    **dict.fromkeys(("cold", "cool", "room", "ambient"), "cold"),
    **dict.fromkeys(("hot", "warm"), "hot"),
    **dict.fromkeys(("?", "unknown", "not sure", "don't know", "dont know"), "unknown"),
}
_WRITE = "cold, hot, ? or a figure such as 25 °C or 77 °F"


@dataclass(frozen=True, slots=True)
class PartTemperature:
    """How warm a part is."""

    #: Cold: not run for hours. Hot: ran or tried to in the last hour.
    kind: Literal["cold", "hot", "unknown", "measured"] = "unknown"
    celsius: float | None = None  #: The figure, when measured. [°C]
    #: Whether it had stood so long that it was as warm as its surroundings, whatever the figure.
    rested: bool = False

    def __post_init__(self) -> None:
        if self.kind not in ("cold", "hot", "unknown", "measured"):
            raise OutOfRange(
                Message("a part is cold, hot, unknown or measured, not {kind}", kind=repr(self.kind))
            )
        if (self.kind == "measured") != (self.celsius is not None):
            raise OutOfRange(Message("a measured temperature has a figure, the others have none"))

    @property
    def cool(self) -> bool:
        """Whether it had cooled: as said, by its figure, or because it had stood long enough in any place."""
        if self.celsius is None:
            return self.kind == "cold"
        return self.rested or self.celsius < PartTemperature("cold").between[1]

    @property
    def warm(self) -> bool:
        """Whether it had not: as said or by its figure; what nobody felt is neither."""
        return self.kind != "unknown" and not self.cool

    @property
    def between(self) -> tuple[float, float]:
        """The temperatures it nearly always lies between, from readings.toml. [°C]"""
        table = read_data("humclick.readings", "readings.toml")["part_temperature"][self.kind]
        where = f"readings.toml, part_temperature.{self.kind}"
        if self.celsius is not None:
            error = sourced(table["error"], where).value
            return self.celsius - error, self.celsius + error
        return sourced(table["low"], where).value, sourced(table["high"], where).value


def parse_temperature(text: str) -> PartTemperature:
    """
    Understand ``cold``, ``hot``, ``?``, ``23 C`` or ``75F``.

    Raises `ReadingRefused` for anything but such a word or a temperature with its unit.
    """
    plain = normalized(text, _WRITE)
    word = _WORDS.get(re.sub(r"[.!]", "", plain).casefold().replace("\u2019", "'"))
    if word is not None:
        return PartTemperature(word)
    if not any(letter.isdigit() for letter in plain):
        raise reading_refused(text.strip(), Message("not a temperature"), _WRITE)
    reading = parse_reading(text, Quantity.TEMPERATURE)
    if reading.value is None:
        raise ReadingRefused(
            Message(
                "{text}: the thermometer shows no temperature; write {write}",
                text=repr(reading.text),
                write=_WRITE,
            )
        )
    return PartTemperature("measured", reading.value)
