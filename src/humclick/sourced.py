"""
Numbers that travel with their unit and their source.

Every data file of the program is TOML and is read here and nowhere else.
A sourced number is a table ``{ value = …, unit = "…", source = "…" }``, a spread is
``{ median = …, factor = …, unit = "…", source = "…" }``: 95 % of healthy parts lie between
median/factor and median×factor.
"""

from __future__ import annotations

import marshal
import math
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from humclick.errors import DataError, OutOfRange
from humclick.messages import Message

__all__ = ["Sourced", "Spread", "read_data", "sourced", "spread"]

#: Tables read before, by package and file, as `marshal` has them (`humclick.web.prepared`).
PREPARED: dict[tuple[str, str], bytes] = {}
#: Two-sided 95 % point of the standard normal distribution. [-]
Z95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Sourced:
    """A number with its unit and where it comes from."""

    value: float
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class Spread:
    """A positive quantity known within a factor: log-normal."""

    median: float  #: Half of all lie below. In `unit`.
    factor: float  #: 95 % lie within median/factor … median×factor; 1 means exactly known. [-]
    unit: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        if not (self.median > 0 and math.isfinite(self.median)):
            raise OutOfRange(
                Message(
                    "the median of a spread must be positive and finite, got {median}", median=self.median
                )
            )
        if not (self.factor >= 1 and math.isfinite(self.factor)):
            raise OutOfRange(
                Message("the factor of a spread must be 1 or more, got {factor}", factor=self.factor)
            )

    @property
    def mu(self) -> float:
        """Mean of the natural logarithm. [-]"""
        return math.log(self.median)

    @property
    def sigma(self) -> float:
        """Standard deviation of the natural logarithm. [-]"""
        return math.log(self.factor) / Z95

    def scaled(self, by: float, extra_factor: float = 1.0) -> Spread:
        """
        The same quantity times a number, itself known within `extra_factor`.

        Log-normal factors multiply: their log standard deviations add as squares.
        """
        sigma = math.hypot(math.log(self.factor), math.log(extra_factor))
        return Spread(self.median * by, math.exp(sigma), self.unit, self.source)


@cache
def read_data(package: str, name: str) -> dict[str, Any]:
    """
    Read one of the program's TOML data files.

    Raises `DataError` if the file is missing or is not TOML.
    """
    if (prepared := PREPARED.get((package, name))) is not None:
        table: dict[str, Any] = marshal.loads(prepared)
        return table
    import tomllib  # here: where tables were read before, no start waits for it

    try:
        root, *folders = package.split(".")  # a folder without a module is no package in a zip
        text = resources.files(root).joinpath(*folders, name).read_text(encoding="utf-8")
        return tomllib.loads(text)
    except (FileNotFoundError, NotADirectoryError, ModuleNotFoundError, KeyError) as error:
        raise DataError(f"data file {name} is missing from {package}") from error
    except tomllib.TOMLDecodeError as error:
        raise DataError(f"data file {name} of {package} is damaged: {error}") from error


def sourced(table: dict[str, Any], where: str) -> Sourced:
    """
    Read a sourced number from a TOML table.

    Raises `DataError` if value, unit or source is missing.
    """
    try:
        return Sourced(float(table["value"]), str(table["unit"]), str(table["source"]))
    except (KeyError, TypeError, ValueError) as error:
        raise DataError(f"{where}: needs value, unit and source ({error})") from error


def spread(table: dict[str, Any], where: str) -> Spread:
    """
    Read a sourced spread from a TOML table.

    Raises `DataError` if median, factor, unit or source is missing.
    """
    try:
        return Spread(
            float(table["median"]), float(table["factor"]), str(table["unit"]), str(table["source"])
        )
    except (KeyError, TypeError, ValueError) as error:
        raise DataError(f"{where}: needs median, factor, unit and source ({error})") from error
