"""
What a kind of probe is asked with when one not yet taken is thought about, and what it answers.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from humclick.diagnosis.attempts import Attempt
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.cases import Cases, Config
from humclick.diagnosis.factors import p_hot
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.observations.model import Probe, Taken
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.situation import Observation, Situation, warmth
from humclick.readings import PartTemperature

__all__ = ["Forecast", "Offer", "Outlook", "Row", "rounded"]

_COLD = PartTemperature("cold")

#: Probability of each outcome. [-]
Row = tuple[float, ...]


@dataclass(frozen=True)
class Forecast:
    """
    Outcomes of one probe.

    Attributes
    ----------
    probe : Probe
        The probe.
    waits : float
        Minutes to wait before it can decide. [min]
    labels : tuple of str
        Outcomes in words.
    rows : list of tuple of float
        Distinct rows of outcome probabilities; each sums to 1. [-]
    which : list of int
        Row of each set asked for.
    none : tuple of float
        Row of "none of these".
    edges : tuple of float
        Edges between the numbers of a measurement; what is above the last may have OL apart. [SI]
    """

    probe: Probe
    waits: float
    labels: tuple[str, ...]
    rows: list[Row]
    which: list[int]
    none: Row
    edges: tuple[float, ...] = ()

    def outcome(self, observation: Observation) -> int:
        """Which of the outcomes an observation is, by its number."""
        if observation.reading is None:
            return self.labels.index(observation.answer)
        if observation.reading.value is None:
            return len(self.labels) - 1 if observation.reading.over_limit else 0
        return bisect_right(self.edges, observation.reading.value)


@dataclass(frozen=True)
class Offer:
    """
    A call in which probes are offered.

    Attributes
    ----------
    situation : Situation
        The call so far.
    bench : Bench
        The machine.
    taken : tuple of Taken
        Its observations with their probes.
    likely : frozenset of str
        The remedies most probably needed.
    """

    situation: Situation
    bench: Bench
    taken: tuple[Taken, ...]
    likely: frozenset[str]


@dataclass(frozen=True)
class Outlook:
    """
    A call before the next probe, and the sets of modes it is asked about.

    Attributes
    ----------
    situation : Situation
        The call so far.
    weighing : Weighing
        The machine, and what it is measured with.
    taken : tuple of Taken
        Its observations with their probes.
    leads : tuple of (offset, weight)
        Nodes of what the test leads add, as far as is known by now. [Ω], [-]
    mended : frozenset of str
        Parts new, and modes put right.
    cases : Cases
        Sets asked about.
    """

    situation: Situation
    weighing: Weighing
    taken: tuple[Taken, ...]
    leads: tuple[tuple[float, float], ...]
    mended: frozenset[str]
    cases: Cases

    @property
    def bench(self) -> Bench:
        """The machine."""
        return self.weighing.bench

    def temperature(self, probe: Probe, waits: float) -> PartTemperature:
        """How warm what the probe looks at is when it is taken: cold after a wait. [min]"""
        if waits or probe.mends:  # mending takes longer than cooling
            return _COLD
        return warmth(self.situation.hot, self.situation.waited, probe.heat)

    def hot(self, probe: Probe, waits: float) -> float:
        """Probability that it is hot then. [-]"""
        return p_hot(self.temperature(probe, waits), self.weighing.slips["cold_but_warm"])

    def configs(self, scope: tuple[int, ...]) -> list[Config]:
        """Mode configurations of some parts that are asked about, the sound one among them."""
        return list(dict.fromkeys([(0,) * len(scope), *self.cases.index(scope)[0]]))

    def none(
        self, healthy: Sequence[float], anything: Sequence[float] = (), share: float | None = None
    ) -> Row:
        """
        Row of "none of these": partly what a sound machine shows, partly anything. [-]

        Parameters
        ----------
        healthy : sequence of float
            Under the sound machine. [-]
        anything : sequence of float
            Where nothing is known; all alike if left out. [-]
        share : float, optional
            How probably it shows as a healthy part does; the shop's figure if left out. [-]
        """
        share = self.weighing.as_healthy if share is None else share
        anything = anything or [1.0 / len(healthy)] * len(healthy)
        return tuple([share * p + (1.0 - share) * q for p, q in zip(healthy, anything, strict=True)])

    def by_config(
        self,
        probe: Probe,
        waits: float,
        labels: Sequence[str],
        scope: tuple[int, ...],
        rows: Mapping[Config, Row],
        edges: tuple[float, ...] = (),
        anything: Sequence[float] = (),
    ) -> Forecast:
        """A forecast from a row for each mode configuration of some parts."""
        configs, which = self.cases.index(scope)
        distinct = [rows[config] for config in configs]
        none = self.none(rows[(0,) * len(scope)], anything)
        return Forecast(probe, waits, tuple(labels), distinct, which, none, edges)

    def by_marks(
        self, marks: Mapping[Fault, int], row: Callable[[int], Row]
    ) -> tuple[list[Row], list[int], Row]:
        """
        Distinct rows of what depends on the whole set, which one each set has, and that of the sound one.

        Parameters
        ----------
        marks : mapping of fault to int
            What is seen of each mode, in bits.
        row : callable
            By the bits of a set.
        """
        numbered: dict[Row, int] = {}
        number: dict[int, int] = {}  # of the row of what is seen
        which = []
        for bits in (*self.cases.seen(marks), 0):
            k = number.get(bits)
            if k is None:
                k = number[bits] = numbered.setdefault(row(bits), len(numbered))
            which.append(k)
        rows = list(numbered)
        return rows, which[:-1], rows[which[-1]]

    def by_attempt(
        self,
        row: Callable[[Attempt], Sequence[float]],
        hot: float,
        renewed: frozenset[str],
        *,
        known_good: bool = False,
    ) -> tuple[list[Row], list[int], Row]:
        """The same for what depends on how a start attempt goes, hot with a probability."""
        starts = self.bench.starts

        def mixed(bits: int) -> Row:
            (rested,), (restless,) = map(starts.by_all, starts.either_way([bits]))
            cold, warm = row(rested), row(restless.again)
            return rounded([(1.0 - hot) * c + hot * w for c, w in zip(cold, warm, strict=True)])

        return self.by_marks(self.bench.marks(renewed, known_good=known_good), mixed)


def rounded(row: Sequence[float]) -> Row:
    """A row to steps of 1/200, so that cases nobody could tell apart share it; sums to 1."""
    steps = [round(200.0 * p) + 0.02 for p in row]
    total = math.fsum(steps)
    return tuple(s / total for s in steps)
