"""One start attempt, played: what a clamp meter, an oscilloscope and a thermometer would have seen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from humclick.errors import OutOfRange, Refused
from humclick.messages import Message, Verbatim
from humclick.start import rows as r
from humclick.start.case import StartCase
from humclick.start.lanes import play
from humclick.start.packed import pack_many

__all__ = ["Run", "Switched", "simulate"]

#: Steps a start may be taken in. [s]
STEPS = (1.0e-6, 4.0e-4)
_EVENTS = 4000


@dataclass(frozen=True, slots=True)
class Switched:
    """Something that happened at a moment."""

    time: float  #: After power came. [s]
    what: str  #: One of `humclick.start.rows.EVENTS`.
    #: Disc temperature [°C] at a trip or reset, shaft speed [rad/s] when a contact opens or speed is reached,
    #: run current [A] when a contact closes, torque [N m] at the break-away, pill temperature [°C].
    value: float


@dataclass(frozen=True, slots=True)
class Run:
    """
    A played attempt. Arrays are of one length; currents are rms of the half cycle that ends at `time`
    (or momentary values of a wave).
    """

    time: NDArray[np.float64]  #: After power came. [s]
    line: NDArray[np.float64]  #: From the outlet. [A]
    run: NDArray[np.float64]  #: Run winding. [A]
    start: NDArray[np.float64]  #: Start winding. [A]
    speed: NDArray[np.float64]  #: Of the shaft. [rad/s]
    torque: NDArray[np.float64]  #: Electromagnetic. [N m]
    gear: NDArray[np.float64]  #: Through the start gear. [A]
    #: Temperatures. [°C]
    ptc: NDArray[np.float64]
    protector: NDArray[np.float64]
    run_winding: NDArray[np.float64]
    start_winding: NDArray[np.float64]
    shell: NDArray[np.float64]
    difference: NDArray[np.float64]  #: Pressure difference over that of running. [-]
    events: tuple[Switched, ...]  #: In order of time.
    features: dict[str, float]  #: See `humclick.start.batch.Features`; NaN where it did not happen.

    @property
    def outcome(self) -> str:
        """What it came to: one of `humclick.start.rows.OUTCOMES`."""
        return r.OUTCOMES[int(self.features["outcome"])]

    def when(self, what: str) -> float:
        """
        Time of the first event of a kind; NaN if it did not happen. [s]

        Raises `Refused` if there is no such kind.
        """
        if what not in r.EVENTS:
            raise Refused(
                Message(
                    "no event is called {what}; there are: {events}",
                    what=Verbatim(repr(what)),
                    events=tuple(r.EVENTS),
                )
            )
        return next((e.time for e in self.events if e.what == what), math.nan)


def simulate(
    case: StartCase,
    seconds: float,
    step: float = 1.0e-4,
    record: Literal["half-cycles", "wave"] = "half-cycles",
) -> Run:
    """
    Play one start attempt.

    Parameters
    ----------
    seconds : float
        How long power stays on, 0.001 … 3600. [s]
    step : float
        Longest step, 1e-6 … 4e-4. [s]
    record : str
        ``half-cycles`` for rms values, ``wave`` for every step (at most 60 s).

    Raises
    ------
    OutOfRange
        If seconds or step lie outside their range.
    Refused
        If `record` is neither of the two.

    Notes
    -----
    At a step of 1e-4 s half-cycle currents are within 0.2 % of the locked-rotor current of those at 1e-5 s
    and switching times within 1 ms, unless a contact opens one current zero later.
    """
    if record not in ("half-cycles", "wave"):
        raise Refused(
            Message("record must be 'half-cycles' or 'wave', got {record}", record=Verbatim(repr(record)))
        )
    check_times(seconds, step, 60.0 if record == "wave" else 3600.0)
    table = pack_many([case])
    wave = record == "wave"
    rows = int(seconds / step * 1.1) + 2000 if wave else int(seconds * (2 * case.supply.hertz + 30)) + 200
    rec = np.zeros((1, rows, len(r.RECORD)))
    ev = np.full((1, _EVENTS, 3), np.nan)
    out = np.zeros((1, len(r.FEATURES)))
    play(table, 0, 1, (0,), step, seconds, False, wave, rec, ev, out)
    moments = rec[0][: int(np.count_nonzero(rec[0, :, 0]))]
    logged = ev[0][~np.isnan(ev[0, :, 0])]
    events = tuple(Switched(float(t), r.EVENTS[int(code)], float(x)) for t, code, x in logged)
    columns = {name: moments[:, k].copy() for k, name in enumerate(r.RECORD)}
    features = dict(zip(r.FEATURES, map(float, out[0]), strict=True))
    if case.faults.swapped:  # the kernel's first axis was the start winding, its forwards our backwards
        for run, start in (("run", "start"), ("run_winding", "start_winding")):
            columns[run], columns[start] = columns[start], columns[run]
        columns["speed"], columns["torque"] = -columns["speed"], -columns["torque"]
        run, start = "run_winding_max", "start_winding_max"
        features[run], features[start] = features[start], features[run]
    return Run(**columns, events=events, features=features)


def check_times(seconds: float, step: float, longest: float) -> None:
    """Refuse a duration or a step that cannot be played."""
    if not 1e-3 <= seconds <= longest:
        raise OutOfRange(
            Message(
                "an attempt must last 0.001 … {longest:g} s, got {seconds:g}",
                longest=longest,
                seconds=seconds,
            )
        )
    if not STEPS[0] <= step <= STEPS[1]:
        raise OutOfRange(
            Message(
                "the step must be {low:g} … {high:g} s, got {step:g}", low=STEPS[0], high=STEPS[1], step=step
            )
        )
