"""What a verdict is worth against the truth, and tables of it with Wilson intervals."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

from benchmarks.worlds.face import Truth

FREE = frozenset({"wait", "set control"})
"""Remedies that cost a customer nothing but time."""

WITH_COMPRESSOR = frozenset(
    {
        "replace starter",
        "replace relay",
        "replace start capacitor",
        "replace run capacitor",
        "replace overload protector",
    }
)
"""What a new compressor brings along (the remedy reads: with new start gear)."""

WORN = {
    "earth": frozenset({"restore ground"}),
    "wiring": frozenset({"repair terminals", "correct wiring"}),
    "ptc": frozenset({"replace starter"}),
    "timed_starter": frozenset({"replace starter"}),
    "current_relay": frozenset({"replace relay"}),
    "potential_relay": frozenset({"replace relay"}),
    "start_capacitor": frozenset({"replace start capacitor"}),
    "run_capacitor": frozenset({"replace run capacitor"}),
    "overload_protector": frozenset({"replace overload protector"}),
    "mechanism": frozenset({"clear condenser", "replace compressor", "warm compressor"}),
    "pins": frozenset({"replace compressor"}),
    "shell": frozenset({"replace compressor"}),
}
"""Remedies of what a test or a look of a part speaks against: where one is allowed, the part is worn."""

SIZES = (
    (0.0, 0.2, "below 1/5 hp"),
    (0.2, 0.6, "1/5 to 1/2 hp"),
    (0.6, 1.6, "3/4 to 1 1/2 hp"),
    (1.6, 9.9, "2 to 5 hp"),
)


@dataclass(frozen=True)
class Outcome:
    """
    One call played to its end.

    Parameters
    ----------
    number : int
        Of the call in its world.
    ended : str
        ``verdict``, ``handed over``, ``stopped``, ``stuck`` or ``error``.
    ordered : tuple of str
        Remedies of the verdict.
    claimed : float or None
        What the program said of its verdict. [-]
    probes, refused, impossible : int
        Readings taken, entries the program refused, probes this technician could not take.
    minutes : float
        Of the visit, by the program's own times and the waits. [min]
    seconds : float
        Of computing. [s]
    bad : tuple of str
        Tests and looks at parts whose last finding says that the part is bad.
    """

    number: int
    arrangement: str
    horsepower: float
    cause: str
    family: str
    needs: tuple[tuple[str, ...], ...]
    allowed: tuple[str, ...]
    ended: str
    ordered: tuple[str, ...]
    claimed: float | None
    probes: int
    refused: int
    impossible: int
    minutes: float
    seconds: float
    error: str = ""
    bad: tuple[str, ...] = ()

    @property
    def truth(self) -> Truth:
        """The truth again."""
        return Truth(tuple(map(frozenset, self.needs)), frozenset(self.allowed), self.cause, self.family)

    @property
    def right(self) -> bool:
        """Every need met, and nothing bought that was sound."""
        return self.ended == "verdict" and is_right(self.truth, self.ordered)

    @property
    def spared(self) -> bool:
        """
        Whether a machine with nothing broken is called healthy.

        Nothing sound is ordered, and no test and no look is said to speak against a sound part. Handing over
        condemns nothing and is counted apart.
        """
        return not self.condemned and not self.slandered

    @property
    def slandered(self) -> tuple[str, ...]:
        """Tests and looks said to speak against a part that is neither to blame nor worn."""
        worn = frozenset().union(*self.truth.needs, self.allowed)
        return tuple(each for each in self.bad if not worn & WORN.get(each.partition(".")[0], frozenset()))

    @property
    def condemned(self) -> bool:
        """Something sound was to be bought or repaired."""
        return self.ended == "verdict" and bool(superfluous(self.truth, self.ordered))


def brought(ordered: Iterable[str]) -> frozenset[str]:
    """All that an order puts right."""
    got = frozenset(ordered)
    return got | WITH_COMPRESSOR if "replace compressor" in got else got


def superfluous(truth: Truth, ordered: Iterable[str]) -> frozenset[str]:
    """What was ordered and neither needed nor worn."""
    wanted = frozenset().union(*truth.needs, truth.allowed)
    return frozenset(ordered) - wanted - FREE


def is_right(truth: Truth, ordered: Iterable[str]) -> bool:
    """
    Whether an order puts the machine right and buys nothing sound.

    Examples
    --------
    >>> relay = Truth((frozenset({"replace relay"}),), frozenset(), "relay", "gear")
    >>> is_right(relay, ("replace relay", "wait")), is_right(relay, ("replace compressor",))
    (True, False)
    """
    ordered = tuple(ordered)
    got = brought(ordered)
    return all(need & got for need in truth.needs if not need <= FREE) and not superfluous(truth, ordered)


def wilson(hits: int, of: int, z: float = 1.96) -> tuple[float, float]:
    """
    Wilson's 95 % interval of a share (E. B. Wilson 1927, J. Am. Stat. Assoc. 22, 209).

    Examples
    --------
    >>> [round(bound, 3) for bound in wilson(10, 20)]
    [0.299, 0.701]
    """
    if of == 0:
        return 0.0, 1.0
    share = hits / of
    middle = share + z * z / (2 * of)
    half = z * sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    below = 1 + z * z / of
    return max(0.0, (middle - half) / below), min(1.0, (middle + half) / below)


def size_class(horsepower: float) -> str:
    """The class of a size. [hp]"""
    return next(name for low, high, name in SIZES if low <= horsepower < high)


def summary(outcomes: Sequence[Outcome]) -> dict[str, object]:
    """All figures of a run."""
    of = len(outcomes)
    claimed = [
        (each.claimed, each.right)
        for each in outcomes
        if each.claimed is not None and each.ended == "verdict"
    ]
    healthy = [each for each in outcomes if each.truth.healthy]
    compressor = [
        each
        for each in outcomes
        if each.condemned and "replace compressor" in superfluous(each.truth, each.ordered)
    ]
    return {
        "calls": of,
        "right first time": _share(each.right for each in outcomes),
        "condemned something sound": _share(each.condemned for each in outcomes),
        "condemned a sound compressor": len(compressor),
        "handed over": _share(each.ended == "handed over" for each in outcomes),
        "stopped by a hazard": sum(each.ended == "stopped" for each in outcomes),
        "stuck": sum(each.ended == "stuck" for each in outcomes),
        "errors": sum(each.ended == "error" for each in outcomes),
        "missed": _share(
            each.ended == "verdict" and not each.right and not each.condemned for each in outcomes
        ),
        "nothing broken: right": _share(each.right for each in healthy),
        "nothing broken: nothing ordered": _share(not each.condemned for each in healthy),
        "nothing broken: no sound part called bad": _share(not each.slandered for each in healthy),
        "nothing broken: handed over": _share(each.ended == "handed over" for each in healthy),
        "healthy called healthy": _share(each.spared for each in healthy),
        "verdicts": len(claimed),
        "claimed, mean": round(sum(p for p, _ in claimed) / max(1, len(claimed)), 4),
        "right of verdicts": _share(right for _, right in claimed),
        "calibration": calibration(claimed),
        "probes, mean": _mean(each.probes for each in outcomes),
        "minutes, mean": _mean(each.minutes for each in outcomes),
        "refused entries": sum(each.refused for each in outcomes),
        "probes not possible": sum(each.impossible for each in outcomes),
        "seconds a call": _mean(each.seconds for each in outcomes),
        "by size": by(outcomes, lambda each: size_class(each.horsepower)),
        "by size, nothing broken": healthy_by_size(healthy),
        "by arrangement": by(outcomes, lambda each: each.arrangement),
        "by family": by(outcomes, lambda each: each.family),
    }


def calibration(claimed: Sequence[tuple[float, bool]]) -> list[dict[str, object]]:
    """What was claimed beside what was right, by classes of claim."""
    edges = (0.0, 0.6, 0.8, 0.9, 0.95, 0.99, 1.0001)
    rows: list[dict[str, object]] = []
    for low, high in pairwise(edges):
        inside = [(p, right) for p, right in claimed if low <= p < high]
        if inside:
            mean = sum(p for p, _ in inside) / len(inside)
            rows.append({"claimed": round(mean, 4), **_share(right for _, right in inside)})
    return rows


def by(outcomes: Sequence[Outcome], of: Callable[[Outcome], str]) -> dict[str, dict[str, object]]:
    """Right first time and sound parts condemned, by a class of calls."""
    classes: dict[str, list[Outcome]] = {}
    for each in outcomes:
        classes.setdefault(of(each), []).append(each)
    return {
        name: {**_share(each.right for each in group), "condemned": sum(each.condemned for each in group)}
        for name, group in sorted(classes.items())
    }


def healthy_by_size(outcomes: Sequence[Outcome]) -> dict[str, dict[str, object]]:
    """Machines with nothing broken that are called healthy, and what was ordered for them, by their size."""
    rows: dict[str, dict[str, object]] = {}
    for _, _, name in SIZES:
        group = [each for each in outcomes if size_class(each.horsepower) == name]
        if group:
            over = sum(each.ended == "handed over" for each in group)
            rows[name] = {
                **_share(each.spared for each in group),
                "condemned": sum(each.condemned for each in group),
                "handed over": over,
            }
    return rows


def _share(hits: Iterable[bool]) -> dict[str, object]:
    each = list(hits)
    low, high = wilson(sum(each), len(each))
    share = round(sum(each) / len(each), 4) if each else None
    return {"hits": sum(each), "of": len(each), "share": share, "low": round(low, 4), "high": round(high, 4)}


def _mean(values: Iterable[float]) -> float:
    each = list(values)
    return round(sum(each) / max(1, len(each)), 3)
