"""
A probe, and the model of its kind: everything that is asked of a kind of observation.

A kind is one file of this package: which probes of it a machine has, what they depend on, how probable an
observation is, what a probe not yet taken would show, when it is offered. What all kinds share stands here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, ClassVar, NamedTuple, Protocol

from humclick.arrangements.machine import Machine
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Observation
from humclick.messages import Message
from humclick.meters import Meter
from humclick.parts.family import Role
from humclick.safety import energises

if TYPE_CHECKING:
    from humclick.diagnosis.bench import Bench
    from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook
    from humclick.diagnosis.observations.weighing import Weighing
    from humclick.parts.family import BenchTest, Look

__all__ = [
    "COVER_ON",
    "INSIDE",
    "METER",
    "Group",
    "Model",
    "Probe",
    "Said",
    "Sayings",
    "Says",
    "Taken",
    "rest_of",
    "touching",
    "with_discharge",
]

_DEAD = "power-off-proved-dead"
#: How a protector inside the shell cools.
INSIDE = "internal_protector"
_DISCHARGED = "capacitors-discharged"
#: Gates of what is done under power, cover on.
COVER_ON = ("cover-on", "stand-clear")
#: Gate of what is measured on the line.
METER = "meter-for-line"


@dataclass(frozen=True, slots=True)
class Probe:
    """
    Something that can be tested.

    Attributes
    ----------
    id, title, how : str
        Name, one line, and how it is done.
    model : Model
        Of its kind: how judgement reads it.
    quantity : str
        ``resistance``, ``capacitance``, ``voltage``, ``current``, or empty for a look or an attempt.
    outcomes : tuple of str
        Answers offered for a look or an attempt.
    part : str
        The part it looks at, or empty.
    points : (str, str) or None
        Nodes of the machine to mark on its drawing.
    pins : (str, str) or None
        The two pins it is measured between, by their names or by the numbers of a photo.
    clamp : (str, str) or None
        Nodes at the ends of the wire a clamp goes round.
    minutes, risk : float
        Time, and risk in money. [min], [money]
    live : bool
        True where power is on and the cover must be closed.
    inside : bool
        True where the terminal cover must be off.
    gates : tuple of str
        Safety gates to pass first.
    heat : str
        What must cool before it can decide: a kind of `humclick.physics.cooling`, or empty.
    mends : frozenset of str
        What is put right by doing it: a part, or a single mode as ``part.mode``.
    meter : Meter or None
        The meter it is always read with; None for the one in use.
    due : mapping of answer to remedy
        What is owed to the machine once this is seen, whether it is the cause or not.
    bars : frozenset of str
        Answers after which the machine is not powered until it is put right.
    again : bool
        Whether a later look at the same thing decides.
    stops : mapping of answer to stop
        Answers that end the call; names of `humclick.safety.stops`.
    turned : bool
        Whether the part is turned over for it.
    again_cool : bool
        Whether it is read once more, cool, before power where it was open while hot.
    look : Look or None
        The look of the part's family it stands for.
    test : BenchTest or None
        The measurement of the part's family it stands for.
    of : frozenset of str
        Parts that it reads though it is of none: once they are new, it is of others.
    """

    id: str
    title: Message
    how: Message
    model: Model
    quantity: str = ""
    outcomes: tuple[str, ...] = ()
    part: str = ""
    points: tuple[str, str] | None = None
    pins: tuple[str, str] | None = None
    clamp: tuple[str, str] | None = None
    minutes: float = 1.0
    risk: float = 0.0
    live: bool = False
    inside: bool = True
    gates: tuple[str, ...] = ()
    heat: str = ""
    mends: frozenset[str] = frozenset()
    meter: Meter | None = None
    due: Mapping[str, str] = field(default_factory=dict)
    bars: frozenset[str] = frozenset()
    again: bool = False
    stops: Mapping[str, str] = field(default_factory=dict)
    turned: bool = False
    again_cool: bool = False
    look: Look | None = None
    test: BenchTest | None = None
    of: frozenset[str] = frozenset()

    @property
    def kind(self) -> str:
        """Name of its kind."""
        return self.model.name

    @property
    def energises(self) -> bool:
        """Whether it puts the machine under power."""
        return energises(self.gates)

    @property
    def first(self) -> bool:
        """Whether a silent machine is looked at so before it is opened."""
        return self.look is not None and self.look.first

    @property
    def covered(self) -> bool:
        """Whether the terminal cover must be on for it."""
        return self.live and not self.model.at_outlet

    @property
    def repairs(self) -> bool:
        """Whether something is put right by doing it."""
        return bool(self.mends)

    @property
    def tries_as_it_is(self) -> bool:
        """Whether it is powered up to see whether it starts, nothing put right."""
        return self.model.tries and not self.repairs

    @property
    def heard(self) -> bool:
        """Whether it is answered by what is heard of a start attempt."""
        return self.model.heard

    @property
    def opens_with_heat(self) -> bool:
        """Whether what it spans can be open from heat alone; between S and R no protector lies."""
        return self.heat not in ("", "windings") and (not self.pins_named or self.pins != ("S", "R"))

    @property
    def proves_safety(self) -> bool:
        """Whether power rests on it: then it is read again, and never corrected on paper."""
        return self.model.to_shell or self.model.checks or self.part == "earth"

    @property
    def pins_named(self) -> bool:
        """Whether it is measured between two pins whose names are known."""
        return self.pins is not None and not self.pins[0].isdigit()


class Taken(NamedTuple):
    """An observation with its probe."""

    probe: Probe
    observation: Observation


class Says(StrEnum):
    """What an observation comes to: one of four."""

    GOOD = "good"
    BAD = "bad"
    UNCLEAR = "unclear"  #: It cannot tell, and says why.
    UNKNOWN = "unknown"  #: No known condition gives it: a slip of the hand, or something not in the model.


#: A sentence, and what it comes to.
Said = tuple[Message, Says]


class Sayings(Protocol):
    """An observation by itself, and the sentences there are for it."""

    @property
    def bench(self) -> Bench:
        """The machine."""

    @property
    def taken(self) -> Taken:
        """The observation with its probe."""

    @property
    def factor(self) -> Factor:
        """How probable it is under what."""

    @property
    def shown(self) -> str:
        """What was seen, as it is read out."""

    def of_leads(self) -> Said:
        """What the leads add."""

    def of_check(self, bad: str) -> Said:
        """A check that passes, or what it means that it does not."""

    def of_start(self) -> Said:
        """How a start attempt went, and which faults make it go so."""

    def of_whole(self) -> Said:
        """As it should be, or which faults of the whole machine make it likely."""

    def of_parts(self) -> Said:
        """As a healthy part reads, or which of its faults it speaks for."""

    def of_three(self) -> Said:
        """That it counts beside two others."""

    def of_nothing(self) -> Said:
        """That it says nothing."""


@dataclass(frozen=True, slots=True)
class Group:
    """
    What observations that are weighed together have in common.

    Attributes
    ----------
    unknown : str
        What they share: the name of a probe, or of what several probes look at.
    heat : str
        Temperature they were taken at, where that matters.
    answer : str
        What was seen: seeing the same again is not news.
    mended : frozenset of str
        What was put right before, as far as it matters to them.
    alone : int or None
        Number of the observation where it shares nothing with others.
    """

    unknown: str
    heat: str = ""
    answer: str = ""
    mended: frozenset[str] = frozenset()
    alone: int | None = None


class Model:
    """
    A kind of probe. The defaults are those of one that says nothing of the parts and is never advised.

    Attributes
    ----------
    name : str
        Of the kind.
    order : int
        Where its probes stand in a usual call; those of one order stand by their parts.
    at_outlet : bool
        Whether it is taken at the outlet, whatever the machine's cover.
    heard : bool
        Whether it is answered by what is heard of a start attempt.
    tries : bool
        Whether it tries the machine to be left as it is then, so that a start proves it.
    on_known_good : bool
        Whether known-good gear takes the place of the machine's own.
    deeper : bool
        Whether with it taken a look from outside comes too late to be asked for.
    on_part : bool
        Whether it measures a part by itself.
    to_shell : bool
        Whether it measures the insulation to the shell.
    repeats : bool
        Whether an odd reading is worth taking again.
    checks : bool
        Whether it says nothing of the parts and decides whether the unit is safe.
    beside : bool
        Whether readings of several probes are one picture, which a fault makes uneven: they need not agree.
    by_rest : bool
        Whether it is judged against the outlet's volts at rest.
    """

    name: ClassVar[str]
    order: ClassVar[int]
    at_outlet: ClassVar[bool] = False
    heard: ClassVar[bool] = False
    tries: ClassVar[bool] = False
    on_known_good: ClassVar[bool] = False
    deeper: ClassVar[bool] = False
    on_part: ClassVar[bool] = False
    to_shell: ClassVar[bool] = False
    repeats: ClassVar[bool] = False
    beside: ClassVar[bool] = False
    by_rest: ClassVar[bool] = False
    checks: ClassVar[bool] = False

    # -- which there are ------------------------------------------------------------------------------------

    def serves(self, machine: Machine) -> bool:
        """Whether a machine has what probes of this kind need."""
        return True

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        """Every probe of this kind that a machine has, in the order of its parts."""
        raise NotImplementedError

    def on_demand(self, machine: Machine, name: str, shop: Shop) -> Probe | None:
        """A probe that is made only when its name is asked for; None where the name is not of this kind."""
        return None

    # -- what was seen --------------------------------------------------------------------------------------

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        """What an observation shares with others; None where it stands by itself."""
        return None

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        """
        How probable observations of one group are.

        Parameters
        ----------
        weighing : Weighing
            The machine, and what it was measured with.
        taken : sequence of Taken
            The observations.
        mended : frozenset of str
            Parts new, and modes put right, before the first of them.

        Returns
        -------
        Factor
            Which observations it is of is left empty.
        """
        return Factor(())

    def finding(self, say: Sayings) -> Said:
        """What one observation means; a sentence, and what it comes to."""
        if say.factor.per_set is not None:
            return say.of_whole()
        return say.of_parts() if say.factor.table else say.of_nothing()

    def together(self, bench: Bench, taken: Sequence[Taken], meter: Meter) -> Mapping[int, Said]:
        """What observations of this kind, read with a meter, mean beside each other, by their numbers."""
        return {}

    def healthy(self, bench: Bench, probe: Probe) -> tuple[float, float] | None:
        """Median and ln standard deviation of a healthy part; None where that is not said beside it."""
        return None

    def cold_and_hot(self, bench: Bench, probe: Probe) -> tuple[tuple[float, float], ...] | None:
        """What a sound part reads cold and hot, each as `healthy`; None where heat changes nothing."""
        return None

    def any_size(self, bench: Bench, probe: Probe) -> tuple[float, float] | None:
        """
        What sound machines of every size that may be this one read: median and ln standard deviation.

        None where a stamp tells what to read, or it does not go by the size of the machine.
        """
        return None

    # -- what would be seen ---------------------------------------------------------------------------------

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """Whether it makes sense to take it now; what safety forbids is asked elsewhere."""
        return probe.meter is None and probe.part not in offer.situation.renewed

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        """
        What it would show; None where it has nothing to tell.

        Parameters
        ----------
        outlook : Outlook
            The call so far, and the sets of modes asked about.
        probe : Probe
            Of this kind.
        waits : float
            Cold after such a wait, or as things stand now. [min]
        """
        return None


def touching(machine: Machine) -> tuple[str, ...]:
    """Gates of hands at the terminals: a machine with a capacitor is discharged first."""
    capacitors = any("capacitance" in p.family.sizes for p in machine.parts)
    own = machine.arrangement.frame.touching
    return (_DEAD, _DISCHARGED, *own) if capacitors else (_DEAD, *own)


def with_discharge(machine: Machine, gates: tuple[str, ...]) -> tuple[str, ...]:
    """Gates of a part's test or look, where it is touched also discharged."""
    if _DEAD not in gates:
        return gates
    return tuple(dict.fromkeys((*touching(machine), *gates)))


def rest_of(machine: Machine) -> str:
    """What must pass before a start attempt can decide: an inner protector, else the pressures."""
    inside = machine.has(Role.PROTECTOR)
    return INSIDE if inside is not None and inside.family.sealed else "pressures"
