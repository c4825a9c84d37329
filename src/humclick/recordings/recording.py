"""
A recording as it was read: values on a time base, with what had to be guessed said in words.

Amperes where the scale is known, otherwise as recorded; times in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType
from typing import Any

from humclick.errors import OutOfRange
from humclick.limits import LOG_BYTES, LOG_PLAIN_ROWS, LOG_VALUES

try:
    import numpy as _numpy

    numpy: ModuleType | None = _numpy
except ImportError:  # everything here has a plain path
    numpy = None

__all__ = [
    "LARGEST_FILE",
    "LONGEST",
    "MOST_PLAIN_ROWS",
    "MOST_VALUES",
    "RATES",
    "Recording",
    "numpy",
]

#: Largest file read. [byte]
LARGEST_FILE = LOG_BYTES
#: Most values kept of one recording. [-]
MOST_VALUES = LOG_VALUES
#: Most rows read where each has to be looked at by itself (time stamps, odd cells). [-]
MOST_PLAIN_ROWS = LOG_PLAIN_ROWS
#: Longest recording. [s]
LONGEST = 31 * 86_400.0
#: Lowest and highest sample rate. [Hz]
RATES = (0.001, 400_000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """
    One channel of a recording.

    Attributes
    ----------
    name : str
        The file's name.
    values : sequence of float
        A numpy array where numpy is installed, else a list or an array; a missing sample is nan. In `unit`.
    step : float
        Time between samples. [s]
    start : float
        Time of the first sample, as recorded. [s]
    times : sequence of float or None
        Only where the step is not constant. [s]
    unit : str
        ``A``; ``mV`` or empty where the scale is unknown.
    waveform : bool
        True for the current or the sound itself, False for rms values.
    clip : float or None
        Magnitude at which the peaks are cut off; None if they are not. In `unit`.
    missing : int
        Samples that are not there or could not be read. [-]
    notes : tuple of str
        What had to be guessed, a sentence each.
    """

    name: str
    values: Any
    step: float
    start: float = 0.0
    times: Any = None
    unit: str = ""
    waveform: bool = False
    clip: float | None = None
    missing: int = 0
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not RATES[0] <= 1.0 / max(self.step, 1e-12) <= RATES[1]:
            raise OutOfRange(
                f"{self.name}: {1 / max(self.step, 1e-12):g} samples a second cannot be right; "
                f"recordings of {RATES[0]:g} to {RATES[1]:g} Hz are read. Give the true rate with --rate"
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
