"""
Attempts counted: from what single attempts came to, to the lines of a table.

Shares are counts with a Dirichlet pseudo-count spread evenly over the outcomes; amps and times are a median
and a standard deviation of the natural logarithm, for each outcome that was seen.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from humclick.sourced import read_data, sourced
from humclick.start.rows import OUTCOMES
from humclick.start.start_table import DEFAULTS, Fault

__all__ = ["Attempts", "alike", "lines_of", "shares"]

Key = tuple[bool, tuple[Fault, ...]]

#: Fewer attempts than this say nothing of amps and times. [-]
_FEW = 3
#: Standard deviation of ln that a single value is given. [-]
_SINGLE = 0.3
#: Fewer values of an outcome than this do not tell two plates apart. [-]
_ENOUGH = 5


def _constant(name: str) -> float:
    return sourced(read_data("research", "power_up_table.toml")["statistics"][name], name).value


@dataclass(frozen=True, slots=True)
class Attempts:
    """What attempts came to: arrays of one length."""

    outcome: NDArray[np.int_]  #: Place in `OUTCOMES`.
    #: Line current after five seconds, or the last before, over the sound machine's locked-rotor current. [-]
    amps: NDArray[np.float64]
    #: Largest half-cycle rms of the first second, the first two left out, over the same. [-]
    highest: NDArray[np.float64]
    #: First trip; start winding let go; NaN where it did not happen. [s]
    trip: NDArray[np.float64]
    release: NDArray[np.float64]
    left_in: NDArray[np.float64]  #: 1 where it turned and its start winding was not let go, else 0.

    def cut(self, first: int, last: int) -> Attempts:
        """Attempts number `first` up to `last`."""
        return Attempts(*(getattr(self, f.name)[first:last] for f in fields(self)))

    @staticmethod
    def together(lots: Sequence[Attempts]) -> Attempts:
        """Several lots as one."""
        return Attempts(*(np.concatenate([getattr(lot, f.name) for lot in lots]) for f in fields(Attempts)))

    def counts(self) -> NDArray[np.int_]:
        """How often each outcome was seen."""
        return np.bincount(self.outcome, minlength=len(OUTCOMES))


def shares(counts: NDArray[np.int_]) -> NDArray[np.float64]:
    """
    Probabilities from counts. [-]

    Counts are in the order of `OUTCOMES`.

    Mean of a Dirichlet posterior with an even prior worth `pseudo` attempts (power_up_table.toml).
    """
    pseudo = _constant("pseudo")
    probabilities: NDArray[np.float64] = (counts + pseudo / len(counts)) / (counts.sum() + pseudo)
    return probabilities


def alike(first: Attempts, second: Attempts) -> bool:
    """Whether two lots could be of the same kind: their counts by χ², their amps by the middle of ln."""
    table = np.array([first.counts(), second.counts()], dtype=float)
    table = table[:, table.sum(axis=0) > 0]
    if table.shape[1] > 1:
        expected = table.sum(axis=1, keepdims=True) * table.sum(axis=0) / table.sum()
        distance = float(np.sum((table - expected) ** 2 / expected))
        if chi2.sf(distance, table.shape[1] - 1) < _constant("alike_shares"):
            return False
    for k in range(len(OUTCOMES)):
        a, b = (lot.amps[(lot.outcome == k) & (lot.amps > 0)] for lot in (first, second))
        if min(len(a), len(b)) < _ENOUGH:
            continue
        if abs(np.mean(np.log(a)) - np.mean(np.log(b))) > _constant("alike_amps"):
            return False
    return True


def _number(value: float, digits: int = 3) -> str:
    text = f"{value:.{digits}g}" if value < 100 else f"{value:.0f}"
    return text[1:] if text.startswith("0.") else text


def _middle(values: NDArray[np.float64], digits: int = 3) -> list[str]:
    """Median and sd of ln, empty where most are nothing."""
    there = values[np.isfinite(values) & (values > 0)]
    if 2 * len(there) < len(values) or not len(there):
        return ["", ""]
    spread = float(np.std(np.log(there), ddof=1)) if len(there) > 2 else _SINGLE
    return [_number(float(np.median(there)), digits), _number(round(max(spread, 0.01), 2))]


def _outcomes(attempts: Attempts) -> Iterator[list[str]]:
    """The columns from the outcome on, one line for each outcome seen; only its share where seen rarely."""
    probability = shares(attempts.counts())
    for k in range(len(OUTCOMES)):
        which = attempts.outcome == k
        if not which.any():
            continue
        share = [str(k), str(max(1, round(1000 * probability[k])))]
        if which.sum() < _FEW:
            yield share
            continue
        left = float(np.mean(attempts.left_in[which]))
        yield [
            *share,
            *_middle(attempts.amps[which]),
            *_middle(attempts.highest[which]),
            *_middle(attempts.trip[which], 2),
            *_middle(attempts.release[which], 2),
            _number(left, 2) if left >= 0.005 else "",
        ]


def lines_of(
    guard: str, by_plate: Mapping[str, Mapping[Key, Attempts]], number: Mapping[Fault, int]
) -> list[str]:
    """
    Lines of a table for one protector.

    `guard` is ``outside`` or ``inside``.

    Plates that are `alike` are written together, with an empty plate.
    """
    lots = list(by_plate.values())
    body: list[list[str]] = []
    for outcome in _outcomes(Attempts.together([a for lot in lots for a in lot.values()])):
        body.append([guard[0], "", "", DEFAULTS, *outcome])
    for key in lots[0]:
        by_lot = [lot[key] for lot in lots]
        pooled = all(alike(by_lot[0], other) for other in by_lot[1:])
        written = {"": Attempts.together(by_lot)} if pooled else dict(zip(by_plate, by_lot, strict=True))
        hot, chosen = key
        code = ".".join(str(n) for n in sorted(number[fault] for fault in chosen))
        for plate, attempts in written.items():
            start = [guard[0], plate, "h" if hot else "", code or "0"]
            for outcome in _outcomes(attempts):
                body.append([*start, *outcome])
                start = ["", "", "", ""]
    return [",".join(row).rstrip(",") for row in body]
