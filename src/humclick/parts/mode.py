"""
A mode: one condition a part can be in, and what it does to the circuit.

A mode is a list of **branches** between the part's terminals, each valid under a **condition**: at rest
(dead, an ohmmeter on it), at the start (energised, rotor locked) or running; hot or cold; turned over or not.
Resistances in ohms at 25 °C, capacitances in farads. A branch that is absent is open.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import msgspec

from humclick.errors import one_of
from humclick.messages import Message, nothing

__all__ = ["Branch", "Condition", "Element", "Mode", "Regime", "Row", "When"]


class Regime(StrEnum):
    """In which of its three lives the circuit is."""

    REST = "rest"
    START = "start"
    RUN = "run"


class Element(StrEnum):
    """What a branch is made of."""

    OHMIC = "ohmic"
    CAPACITIVE = "capacitive"


@dataclass(frozen=True, slots=True)
class Condition:
    """
    The state in which a part is looked at.

    Attributes
    ----------
    regime : Regime
        At rest, at the start with the rotor locked, or running.
    hot : bool
        Just tried: protector and thermistor have not cooled.
    turned : bool
        Turned over against its working position (matters for a gravity relay).
    """

    regime: Regime = Regime.REST
    hot: bool = False
    turned: bool = False


class Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A table of a data file; a field it does not have is refused."""


class When(Row, frozen=True):
    """Under which conditions a branch exists; what is left out does not matter. Regimes apart by ``|``."""

    regime: str = "|".join(Regime)
    hot: bool | None = None
    turned: bool | None = None

    def __post_init__(self) -> None:
        for regime in self.regime.split("|"):
            if regime not in tuple(Regime):
                raise ValueError(f"regime must be {one_of(regime, Regime)}")

    def holds(self, condition: Condition) -> bool:
        """Whether it holds under a condition."""
        return (
            condition.regime in self.regime.split("|")
            and self.hot in (None, condition.hot)
            and self.turned in (None, condition.turned)
        )


class Branch(Row, frozen=True):
    """
    One two-terminal element of a part in some mode.

    Attributes
    ----------
    between : tuple of str
        Two terminals of the part. A terminal in braces (``{shell}``) is a node of the machine.
    size : str
        Name of the size in the family's table: the unknown this branch carries.
    element : Element
        Ohmic or capacitive.
    times : float
        Factor on the size's median in this mode. [-]
    within : float
        Extra spread factor of this mode, on top of the size's own. [-]
    when : When
        Conditions under which the branch exists.
    pulled_by : str
        Size of the coil whose current must pull this contact in before it closes at a start.
    """

    between: tuple[str, str]
    size: str
    element: Element = Element.OHMIC
    times: float = 1.0
    within: float = 1.0
    when: When = When()
    pulled_by: str = ""

    def exists(self, condition: Condition) -> bool:
        """Whether the branch is there under a condition."""
        return self.when.holds(condition)


class Mode(Row, frozen=True):
    """
    One condition a part can be in.

    Attributes
    ----------
    name : str
        Short name, unique in its family.
    title : str
        In the technician's words.
    plain : str
        In the customer's words.
    odds : float
        Prior odds against the healthy mode, before any complaint. [-]
    remedy : str
        What puts it right; a name in the remedies table. Empty for healthy.
    passing : bool
        True where nothing is broken and time alone mends it.
    eased : bool
        True where a rest takes a fault that stays out of the next start and its first minutes.
    branches : tuple of Branch
        What the mode is electrically.
    volts : float
        Factor on the supply voltage (supply modes). [-]
    breakaway : float
        Factor on the torque needed to start (mechanism modes). [-]
    load : float
        Factor on the running torque (mechanism modes). [-]
    trips : bool
        True where the protector lets go of a healthy running current.
    scattered : bool
        True where repeats after re-seating do not agree.
    hot_open : float
        Probability of being open when hot though the mode is healthy. [-]
    degrees : bool
        True for a fault that comes in all degrees: on a call it is bad enough to fail most attempts.
    recorded : str
        What a recording of the line current shows of it: a cause of ``recorded.toml``; empty for nothing.
    makes, loses : float
        Of a mode that scatters: share of readings in which it makes good contact all the same, and in which
        it makes none. [-]
    """

    name: str
    title: Message
    plain: Message = msgspec.field(default_factory=nothing)
    odds: float = 1.0
    remedy: str = ""
    passing: bool = False
    eased: bool = False
    branches: tuple[Branch, ...] = msgspec.field(name="branch", default=())
    volts: float = 1.0
    breakaway: float = 1.0
    load: float = 1.0
    trips: bool = False
    scattered: bool = False
    hot_open: float = 0.0
    makes: float = 0.0
    loses: float = 0.0
    degrees: bool = False
    recorded: str = ""

    @property
    def short(self) -> Message:
        """The title without what stands behind its colon, to be named in a sentence."""
        return Message.of(self.title.partition(":")[0])

    def __post_init__(self) -> None:
        if not self.odds > 0:
            raise ValueError(
                f"odds of {self.name!r} against the healthy mode must be above 0, got {self.odds:g}"
            )
        if not self.plain:
            msgspec.structs.force_setattr(self, "plain", self.title)
