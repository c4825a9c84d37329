"""What safety has to know of a machine, whoever describes it. Volts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from humclick.messages import Message
from humclick.sourced import Spread

__all__ = ["SafeMachine"]


class _Nameplate(Protocol):
    @property
    def volts(self) -> float: ...
    @property
    def refrigerant(self) -> str: ...


class _Family(Protocol):
    @property
    def name(self) -> str: ...
    @property
    def title(self) -> Message: ...
    @property
    def sizes(self) -> Mapping[str, object]: ...
    @property
    def heat(self) -> str: ...
    @property
    def electronic(self) -> bool: ...
    @property
    def at_pins(self) -> bool: ...


class _Part(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def family(self) -> _Family: ...


class _Arrangement(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def title(self) -> Message: ...
    @property
    def caution(self) -> Message: ...
    @property
    def simulated(self) -> bool: ...
    @property
    def started(self) -> bool: ...
    @property
    def gates(self) -> tuple[str, ...]: ...


class SafeMachine(Protocol):
    """What safety has to know of a machine; `humclick.arrangements.machine.Machine` is one."""

    @property
    def arrangement(self) -> _Arrangement:
        """Its start arrangement."""

    @property
    def nameplate(self) -> _Nameplate:
        """Volts and refrigerant."""

    @property
    def parts(self) -> tuple[_Part, ...]:
        """Its parts."""

    @property
    def known(self) -> Mapping[str, Spread]:
        """Sizes read from stamps."""

    def size(self, part: str, size: str) -> Spread:
        """What a part's size should be."""
