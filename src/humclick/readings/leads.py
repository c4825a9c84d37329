"""
Test leads: what they add to a resistance reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from humclick.errors import OutOfRange
from humclick.messages import Message
from humclick.sourced import Spread, read_data, spread

__all__ = ["Leads"]


@dataclass(frozen=True, slots=True)
class Leads:
    """The test leads of a call."""

    nulled: bool = False  #: The meter subtracts the leads itself.
    #: What the meter showed with the tips together, before nulling if it was nulled; None if nobody looked.
    #: [Ω]
    resistance: float | None = None

    def __post_init__(self) -> None:
        if self.resistance is not None and not (self.resistance >= 0 and math.isfinite(self.resistance)):
            raise OutOfRange(
                Message(
                    "lead resistance must be 0 or more, such as 0.3; got {resistance:g}. Touch the tips "
                    "together and write what the meter shows",
                    resistance=self.resistance,
                )
            )

    @property
    def offset(self) -> float | None:
        """What the leads add to a resistance reading; None if unknown. [Ω]"""
        return 0.0 if self.nulled else self.resistance

    @property
    def spread(self) -> Spread | None:
        """What unknown leads may add; None when the offset is known. [Ω]"""
        return _typical_leads() if self.offset is None else None


@cache
def _typical_leads() -> Spread:
    """Leads nobody looked at, from meters.toml."""
    data = read_data("humclick", "meters.toml")
    return spread(data["leads"]["not_nulled"], "meters.toml, leads.not_nulled")
