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

from humclick.errors import choice_of
from humclick.messages import Message, nothing

__all__ = ["NO_CHANGE", "Branch", "Condition", "DataTable", "Element", "Mode", "Regime", "When"]


#: What a mode starts as that changes nothing in a start.
NO_CHANGE = "nothing"


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
    """The state in which a part is looked at."""

    regime: Regime = Regime.REST  #: At rest, at the start with the rotor locked, or running.
    hot: bool = False  #: Just tried: protector and thermistor have not cooled.
    turned: bool = False  #: Turned over against its working position (matters for a gravity relay).


class DataTable(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A table of a data file; a field it does not have is refused."""


class When(DataTable, frozen=True):
    """Under which conditions a branch exists; what is left out does not matter. Regimes apart by ``|``."""

    regime: str = "|".join(Regime)
    hot: bool | None = None
    turned: bool | None = None

    def __post_init__(self) -> None:
        for regime in self.regime.split("|"):
            if regime not in tuple(Regime):
                raise ValueError(f"regime must be {choice_of(regime, Regime)}")

    def holds(self, condition: Condition) -> bool:
        """Whether it holds under a condition."""
        return (
            condition.regime in self.regime.split("|")
            and self.hot in (None, condition.hot)
            and self.turned in (None, condition.turned)
        )


class Branch(DataTable, frozen=True):
    """One two-terminal element of a part in some mode."""

    #: Two terminals of the part. A terminal in braces (``{shell}``) is a node of the machine.
    between: tuple[str, str]
    size: str  #: Name of the size in the family's table: the unknown this branch carries.
    element: Element = Element.OHMIC  #: Ohmic or capacitive.
    times: float = 1.0  #: Factor on the size's median in this mode. [-]
    within: float = 1.0  #: Extra spread factor of this mode, on top of the size's own. [-]
    when: When = When()  #: Conditions under which the branch exists.
    #: Size of the coil whose current must pull this contact in before it closes at a start.
    pulled_by: str = ""

    def exists(self, condition: Condition) -> bool:
        """Whether the branch is there under a condition."""
        return self.when.holds(condition)


class Mode(DataTable, frozen=True):
    """One condition a part can be in."""

    name: str  #: Short name, unique in its family.
    title: Message  #: In the technician's words.
    plain: Message = msgspec.field(default_factory=nothing)  #: In the customer's words.
    odds: float = 1.0  #: Prior odds against the healthy mode, before any complaint. [-]
    remedy: str = ""  #: What mends it; a name in the remedies table. Empty for healthy.
    passing: bool = False  #: True where nothing is broken and time alone mends it.
    #: True where a rest takes a fault that stays out of the next start and its first minutes.
    eased: bool = False
    branches: tuple[Branch, ...] = msgspec.field(name="branch", default=())  #: What the mode is electrically.
    volts: float = 1.0  #: Factor on the supply voltage (supply modes). [-]
    breakaway: float = 1.0  #: Factor on the torque needed to start (mechanism modes). [-]
    load: float = 1.0  #: Factor on the running torque (mechanism modes). [-]
    breaker: float = 1.0  #: Factor on the current at which the branch breaker opens (supply modes). [-]
    #: The mode of another part, as ``part.mode``, that a start attempt under this one is like; ``nothing``
    #: where it changes nothing in a start. Empty for a mode that is simulated itself.
    starts_as: str = ""
    trips: bool = False  #: True where the protector lets go of a healthy running current.
    scattered: bool = False  #: True where repeats after re-seating do not agree.
    hot_open: float = 0.0  #: Probability of being open when hot though the mode is healthy. [-]
    bare: float = 0.0  #: Share of such parts without the resistor others have, of size `bare`. [-]
    #: Of a mode that scatters: share of readings in which it makes good contact all the same, and in which it
    #: makes none. [-]
    makes: float = 0.0
    loses: float = 0.0
    #: True for a fault that comes in all degrees: on a call it is bad enough to fail most attempts.
    degrees: bool = False
    #: Of such a fault: what a failing attempt comes to, share by outcome; as simulated where empty. [-]
    fails: dict[str, float] = msgspec.field(default_factory=dict)
    #: What a recording of the line current shows of it: a cause of ``recorded.toml``; empty for nothing.
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
