"""
A recording as it was read: values on a time base, with what had to be guessed said in words.

Amperes where the scale is known, otherwise as recorded; times in seconds.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass

from humclick.errors import OutOfRange
from humclick.limits import LOG_BYTES, LOG_VALUES
from humclick.messages import Message

__all__ = ["LARGEST_FILE", "LONGEST", "MOST_VALUES", "RATES", "Recording"]

#: Largest file read. [byte]
LARGEST_FILE = LOG_BYTES
#: Most values kept of one recording. [-]
MOST_VALUES = LOG_VALUES
#: Longest recording. [s]
LONGEST = 31 * 86_400.0
#: Lowest and highest sample rate. [Hz]
RATES = (0.001, 400_000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """One channel of a recording."""

    name: str  #: The file's name.
    #: Held as an `array`, whatever sequence is given; a missing sample is nan. In `unit`.
    values: Sequence[float]
    step: float  #: Time between samples. [s]
    start: float = 0.0  #: Time of the first sample, as recorded. [s]
    times: Sequence[float] | None = None  #: Only where the step is not constant. [s]
    unit: str = ""  #: ``A``; ``mV`` or empty where the scale is unknown.
    waveform: bool = False  #: True for the current or the sound itself, False for rms values.
    clip: float | None = None  #: Magnitude at which the peaks are cut off; None if they are not. In `unit`.
    missing: int = 0  #: Samples that are not there or could not be read. [-]
    notes: tuple[str, ...] = ()  #: What had to be guessed, a sentence each.

    def __post_init__(self) -> None:
        for name in ("values", "times"):
            values = getattr(self, name)
            if values is not None and not isinstance(values, array):
                object.__setattr__(self, name, array("d", values))
        if not RATES[0] <= 1.0 / max(self.step, 1e-12) <= RATES[1]:
            raise OutOfRange(
                Message(
                    "{name}: {rate:g} samples a second cannot be right; recordings of {low:g} to "
                    "{high:g} Hz are read. Give the true rate with --rate",
                    name=self.name,
                    rate=1 / max(self.step, 1e-12),
                    low=RATES[0],
                    high=RATES[1],
                )
            )

    @property
    def rate(self) -> float:
        """Samples a second. [Hz]"""
        return 1.0 / self.step

    @property
    def scale_known(self) -> bool:
        """Whether the values are amperes."""
        return self.unit == "A"

    @property
    def seconds(self) -> float:
        """Length. [s]"""
        if self.times is not None and len(self.times):
            return float(self.times[-1]) - float(self.times[0]) + self.step
        return len(self.values) * self.step
