"""
Many start attempts at once: eight to a core, all cores, only what a table needs of each.

Long attempts are cheap: where currents, speed and pill have come to rest, only heat and pressures are carried
on (`quick`), and the step is 0.2 ms.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humclick.errors import Refused
from humclick.messages import Message
from humclick.start import rows as r
from humclick.start.case import StartCase
from humclick.start.lanes import play
from humclick.start.packed import pack_many
from humclick.start.rows import OUTCOMES
from humclick.start.run import check_times

__all__ = ["LANES", "Features", "halved", "or_never", "simulate_many", "simulate_packed"]

#: Cases side by side: as many as a vector register of 512 bits holds. [-]
LANES = 8

_LONGEST = 3600.0
#: A rotor is at speed above this share of synchronous speed. [-]
_AT_SPEED = 0.75
#: Cases a thread takes at a time, so that none waits long for the last. [-]
_PORTION = 256


@dataclass(frozen=True, slots=True)
class Features:
    """What is kept of each attempt: arrays of one length, NaN where something did not happen."""

    #: Place in `OUTCOMES`. *Started* is: three quarters of synchronous speed reached; *silent*: never above
    #: the share of the locked-rotor current at which a hum is heard.
    outcome: NDArray[np.int8]
    #: Started, and the start gear still carries more than a quarter of its first current at the end.
    unreleased: NDArray[np.bool_]
    peak: NDArray[np.float64]  #: Largest momentary line current. [A]
    #: Largest half-cycle rms of the first second, the first two left out: the plateau of a clamp meter. [A]
    locked: NDArray[np.float64]
    #: Line current above 60 % speed at the end, smoothed over 0.1 s; 0 where it never ran. [A]
    running: NDArray[np.float64]
    #: Three quarters of speed; start contact opened last before a trip, or the pill's current halved; first
    #: trip; first closing. [s]
    speed_time: NDArray[np.float64]
    release_time: NDArray[np.float64]
    trip_time: NDArray[np.float64]
    reclose_time: NDArray[np.float64]
    trips: NDArray[np.float64]  #: How often the protector opened. [-]
    #: Highest temperatures. [°C]
    run_winding_max: NDArray[np.float64]
    start_winding_max: NDArray[np.float64]
    protector_max: NDArray[np.float64]
    ptc_max: NDArray[np.float64]
    #: At the end with power on, and the highest, over synchronous. [-]
    last_speed: NDArray[np.float64]
    top_speed: NDArray[np.float64]
    #: Half-cycle rms at the end with power on. [A]
    last_line: NDArray[np.float64]
    last_gear: NDArray[np.float64]
    first_gear: NDArray[np.float64]  #: Largest half-cycle rms through the start gear in the first second. [A]

    def __len__(self) -> int:
        return len(self.outcome)

    @property
    def started(self) -> NDArray[np.bool_]:
        """Which came up to speed, still turn there and have not tripped."""
        turning = self.last_speed > _AT_SPEED
        return np.asarray(np.isfinite(self.speed_time) & turning & (self.trips == 0), dtype=bool)

    def words(self) -> list[str]:
        """The outcome of each case as a word."""
        return [OUTCOMES[k] for k in self.outcome]

    def shares(self) -> dict[str, float]:
        """Share of each outcome, in the order of `OUTCOMES`. [-]"""
        return {name: float(np.mean(self.outcome == k)) for k, name in enumerate(OUTCOMES)}


def or_never(times: NDArray[np.float64]) -> NDArray[np.float64]:
    """Times of something, infinite where it did not happen. [s]"""
    return np.where(np.isnan(times), np.inf, times)


def halved(
    starts: Callable[[NDArray[np.float64]], NDArray[np.bool_]],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    times: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """
    Close in on the least volts that start each case, all at once.

    Gives the last volts at which each did not start, and at which it did. [V]
    """
    for _ in range(times):
        middle = (low + high) / 2
        up = starts(middle)
        high, low = np.where(up, middle, high), np.where(up, low, middle)
    return low, high


def simulate_many(
    cases: Sequence[StartCase],
    seconds: float,
    step: float = 2.0e-4,
    *,
    quick: bool = True,
    threads: int | None = None,
) -> Features:
    """
    Play many attempts and keep the features of each.

    Parameters
    ----------
    seconds : float
        How long power stays on, 0.001 … 3600. [s]
    step : float
        Longest step. [s]
    quick : bool
        Leap over what is steady (see Notes).
    threads : int or None
        As many as there are cores if left out.

    Raises
    ------
    OutOfRange
        If seconds or step lie outside their range.
    Refused
        If there are no cases.

    Notes
    -----
    A leap passes over whole cycles once, over two windows of twelve half cycles, the squares of line and run
    current agree within 2 %, the speed within 0.2 % of synchronous and the pill moves by less than 1 K/s.
    Meanwhile windings and shell are warmed by the mean currents, the disc goes exponentially to where they
    would bring it, and the leap ends when a winding has moved 2 K, the pressures 3 %, or the disc is 0.4 K
    from its trip. Trip times are then within 2 % of those without leaps.
    """
    return simulate_packed(pack_many(cases), seconds, step, quick=quick, threads=threads)


def _portions(count: int, threads: int) -> Iterator[tuple[int, int]]:
    size = max(LANES, min(_PORTION, -(-count // threads)))
    for first in range(0, count, size):
        yield first, min(first + size, count)


def simulate_packed(
    table: NDArray[np.float64],
    seconds: float,
    step: float = 2.0e-4,
    *,
    quick: bool = True,
    threads: int | None = None,
) -> Features:
    """
    `simulate_many` for cases that are packed already (see `humclick.start.packed.pack_many`).

    Raises as it does, and `Refused` for a table that has not the right columns.
    """
    check_times(seconds, step, _LONGEST)
    if table.ndim != 2 or table.shape[1] != r.COLUMNS or not len(table):
        raise Refused(
            Message(
                "a packed table must have {columns} columns and a row at least, got {shape}",
                columns=r.COLUMNS,
                shape=str(table.shape),
            )
        )
    if not np.isfinite(table).all():
        raise Refused(Message("a packed table must hold finite numbers only"))
    table = np.ascontiguousarray(table, dtype=np.float64)
    out = np.zeros((len(table), len(r.FEATURES)))
    none, nothing = np.zeros((0, 0, len(r.RECORD))), np.zeros((0, 0, 3))

    def part(span: tuple[int, int]) -> None:
        play(table, *span, (0,) * LANES, step, seconds, quick, False, none, nothing, out)

    workers = max(1, threads or os.cpu_count() or 1)
    portions = list(_portions(len(table), workers))
    if workers == 1 or len(portions) == 1:
        for span in portions:
            part(span)
    else:
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(part, portions))
    swapped = table[:, r.P_SWAPPED] > 0.5
    pair = [r.FEATURES.index("run_winding_max"), r.FEATURES.index("start_winding_max")]
    out[:, pair] = np.where(swapped[:, None], out[:, pair[::-1]], out[:, pair])
    columns = {name: out[:, k].copy() for k, name in enumerate(r.FEATURES) if name != "steps"}
    return Features(
        outcome=columns.pop("outcome").astype(np.int8),
        unreleased=columns.pop("unreleased") > 0.5,
        **columns,
    )
