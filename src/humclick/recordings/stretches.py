"""
Every start attempt of a recording: where current flows, and where it stops.

Amperes where the scale is known, times in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

from humclick.recordings.currents import Trace

__all__ = ["CurrentStretch", "current_stretches"]

#: Current flows above this share of the largest. [-]
_SHARE = 0.015
#: A clamp shows up to this with nothing in it. [A]
_LEAST_AMPS = 0.08
#: Gaps and bursts shorter than this are bounce or noise. [s]
_SHORTEST = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class CurrentStretch:
    """A stretch in which current flows."""

    #: When current came and when it stopped, or the recording ended. [s]
    on: float
    off: float
    #: First window with current, and the one after the last.
    first: int
    last: int
    before: bool  #: Whether current flowed already when the recording began.
    cut: bool  #: Whether current still flowed when it ended.

    @property
    def seconds(self) -> float:
        """How long current flowed. [s]"""
        return self.off - self.on


def current_stretches(trace: Trace, locked_rotor_amps: float | None = None) -> tuple[CurrentStretch, ...]:
    """
    Find every start attempt.

    A current far below `locked_rotor_amps`, that of the nameplate, is none. [A]
    """
    amps = trace.amps
    ordered = sorted(amps)
    high = ordered[-2] if len(ordered) > 20 else ordered[-1]
    quiet = [v for v in ordered if v < 0.05 * high]
    floor = quiet[len(quiet) // 2] if quiet else 0.0
    spread = quiet[int(0.9 * (len(quiet) - 1))] - floor if quiet else 0.0
    level = max(_SHARE * high, floor + 4.0 * spread)
    if trace.scale_known:
        level = max(level, _LEAST_AMPS)
        if locked_rotor_amps is not None:
            level = max(level, 0.01 * locked_rotor_amps)
    elif not quiet and ordered[0] < 0.5 * high and ordered[len(ordered) // 2] < 0.6 * high:
        level = max(level, 1.0 * ordered[len(ordered) // 10])  # nothing but noise, or an offset
    return _stretches(trace, level)


def _stretches(trace: Trace, level: float) -> tuple[CurrentStretch, ...]:
    amps, times, step = trace.amps, trace.times, trace.step
    runs: list[list[int]] = []
    flowing = False
    for k, value in enumerate(amps):
        now = value > (0.8 * level if flowing else level)
        if now and not flowing:
            runs.append([k, k + 1])
        elif now:
            runs[-1][1] = k + 1
        flowing = now
    joined: list[list[int]] = []
    for run in runs:
        if joined and times[run[0]] - times[joined[-1][1] - 1] - step < _SHORTEST:
            joined[-1][1] = run[1]
        else:
            joined.append(run)
    stretches = []
    for first, last in joined:
        lasting = times[last - 1] - times[first] + step
        if lasting < _SHORTEST and last < len(amps):
            continue
        if last - first == 1 and step < 0.1:
            continue
        stretches.append(
            CurrentStretch(
                on=_edge(trace, first),
                off=_edge(trace, last) if last < len(amps) else times[-1] + 0.5 * step,
                first=first,
                last=last,
                before=first == 0,
                cut=last == len(amps),
            )
        )
    return tuple(stretches)


def _edge(trace: Trace, at: int) -> float:
    """
    When current came or went between the window before `at` and the one after it.

    A window that holds the edge shows the share of it in which current flowed, squared and averaged: the edge
    is put where that share says. [s]
    """
    amps, times, step = trace.amps, trace.times, trace.step
    if at == 0:
        return times[0] - 0.5 * step
    rising = at < len(amps) and amps[at] > amps[at - 1]
    inside = at if rising else at - 1
    beyond = inside + 1 if rising else inside - 1
    full = amps[beyond] if 0 <= beyond < len(amps) else amps[inside]
    share = min(amps[inside] / full, 1.0) ** 2 if full > 0 else 1.0
    if rising:
        return times[inside] + (0.5 - share) * step
    return times[inside] + (share - 0.5) * step
