"""
A phone's sound recording of a start: hum, running, clicks and silence, with their times.

A locked motor hums at twice the line frequency and its harmonics, in step with the mains; a running one hums
less and beats at the harmonics of its shaft's speed, a few per cent below synchronous. Both are looked for
beside the noise at neighbouring frequencies, so that talk and fans do little harm, and the likeliest course
of quiet, locked and running is found (Viterbi, IEEE Transactions on Information Theory 13, 1967).
Times in seconds, frequencies in hertz.
"""

from __future__ import annotations

import cmath
import itertools
import math
from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from statistics import median
from typing import Any

from humclick.errors import Refused
from humclick.messages import N_, Message
from humclick.recordings.recording import Recording
from humclick.sourced import read_data

__all__ = ["LONGEST_SOUND", "Passage", "SoundRecognition", "listen"]

#: Longest sound listened to. [s]
LONGEST_SOUND = 900.0
_LEAST_RATE = 2000.0
_STATES = ("quiet", "locked", "running")
#: A stretch of hum or running shorter than this is none; a gap shorter than this does not end it. [s]
_SHORTEST, _GAP = 0.35, 0.5
#: Running must last this long to count. [s]
_RUNS = 0.9
#: What stops this close to the end of the recording may have been cut off by it. [s]
_END = 0.6
_LEAST_POWER = 1e-18


@dataclass(frozen=True, slots=True)
class Passage:
    """A stretch of the recording in which it sounds alike."""

    kind: str  #: ``quiet``, ``locked`` (hum) or ``running``.
    #: [s]
    start: float
    end: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundRecognition:
    """What a sound recording shows."""

    #: What each attempt came to: ``silent``, ``hum``, ``hum_click``, ``starts_then_trips`` or ``runs``;
    #: ``silent`` alone where there is none.
    heard: tuple[str, ...]
    stretches: tuple[Passage, ...]  #: The course of the recording.
    clicks: tuple[float, ...]  #: When something clicked. [s]
    hertz: float  #: Mains frequency that the hum fits better, 50 or 60. [Hz]
    seconds: float  #: Length. [s]
    sentences: tuple[Message, ...]  #: The same, plainly.


@cache
def _data() -> dict[str, Any]:
    return read_data("humclick.recordings", "sound.toml")


def listen(recording: Recording, *, hertz: float | None = None) -> SoundRecognition:
    """
    Hear what a start did.

    `hertz` is the mains frequency, 50 or 60; it is found from the hum if left out. [Hz] Raises `Refused` if
    it is no sound, too short or too long.
    """
    name = recording.name
    if not recording.waveform or recording.rate < _LEAST_RATE:
        raise Refused(
            Message(
                "{name}: is not a sound recording; one of {least:g} samples a second or more is needed",
                name=name,
                least=_LEAST_RATE,
            )
        )
    if not 1.0 <= recording.seconds <= LONGEST_SOUND:
        raise Refused(
            Message(
                "{name}: {seconds:.1f} s long; sound of 1 to {most:g} s is listened to. Start "
                "the recorder, try the start, stop it",
                name=name,
                seconds=recording.seconds,
                most=LONGEST_SOUND,
            )
        )
    if hertz not in (None, 50.0, 60.0):
        raise Refused(Message("the mains frequency must be 50 or 60 Hz, got {hertz}", hertz=hertz))
    thin = _thinned(recording)
    spectra, amplitudes = _spectra(thin)
    if len(spectra) < 3:
        raise Refused(Message("{name}: too short to hear a start in it", name=name))
    if hertz is None:
        hertz = max(
            (60.0, 50.0), key=lambda f: sum(sorted(h for h, _ in _hums(spectra, f))[len(spectra) // 2 :])
        )
    course = _stretches(_course(spectra, amplitudes, hertz), recording.seconds)
    clicks = _clicks(recording)
    heard, stretches = _outcomes(course, recording.seconds)
    return SoundRecognition(
        heard=heard,
        stretches=stretches,
        clicks=clicks,
        hertz=hertz,
        seconds=recording.seconds,
        sentences=_sentences(heard, stretches, clicks, recording.seconds),
    )


# -- frames -----------------------------------------------------------------------------------------------


def _thinned(recording: Recording) -> list[float]:
    """The sound at the rate of the frames: means over 1/4096 s, then every other one of (1 2 1)/4."""
    width = recording.rate / (2 * _data()["frames"]["rate"])
    heard = (v if math.isfinite(v) else 0.0 for v in recording.values)
    sums = array("d", itertools.accumulate(heard, initial=0.0))
    at = array("d")
    for k in range(int(len(recording.values) / width) + 1):
        place = k * width
        i = min(int(place), len(sums) - 2)
        at.append(sums[i] + (place - i) * (sums[i + 1] - sums[i]))
    means = array("d", ((b - a) / width for a, b in itertools.pairwise(at)))
    thin = [0.25 * means[k - 1] + 0.5 * means[k] + 0.25 * means[k + 1] for k in range(1, len(means) - 1, 2)]
    middle = sum(thin) / max(len(thin), 1)
    return [v - middle for v in thin]


def _spectra(thin: list[float]) -> tuple[list[list[float]], list[dict[int, complex]]]:
    """Power in each bin of each frame under a Hann window, and amplitudes where mains may hum."""
    frames = _data()["frames"]
    length, hop = frames["length"], frames["hop"]
    window = [0.5 - 0.5 * math.cos(2 * math.pi * k / length) for k in range(length)]
    top = length // 2
    hums = sorted({*_hum_bins(50.0), *_hum_bins(60.0)})
    turns = [cmath.exp(-2j * math.pi * k / length) for k in range(top)]
    powers, amplitudes = [], []
    for s in range(0, len(thin) - length + 1, hop):
        row = _transform([v * w for v, w in zip(thin[s : s + length], window, strict=True)], turns)
        powers.append([abs(c) ** 2 for c in row[:top]])
        amplitudes.append({b: row[b] for b in hums})
    return powers, amplitudes


def _hum_bins(hertz: float) -> list[int]:
    """Bins of twice the line frequency and its harmonics."""
    frames = _data()["frames"]
    step = frames["rate"] / frames["length"]
    return [round(2 * hertz * k / step) for k in range(1, frames["harmonics"] + 1)]


def _transform(values: Sequence[complex], turns: list[complex]) -> list[complex]:
    """Discrete Fourier transform of a power of two of values (Cooley and Tukey)."""
    if len(values) == 1:
        return [complex(values[0])]
    even, odd = _transform(values[::2], turns[::2]), _transform(values[1::2], turns[::2])
    turned = [t * o for t, o in zip(turns, odd, strict=False)]
    return [e + t for e, t in zip(even, turned, strict=True)] + [
        e - t for e, t in zip(even, turned, strict=True)
    ]


# -- figures of a frame -----------------------------------------------------------------------------------


def _beside(row: list[float], at: int) -> float:
    """Noise beside a bin: median of the bins from the third to the eighth on both sides."""
    near = [row[k] for k in (*range(at - 8, at - 2), *range(at + 3, at + 9)) if 0 < k < len(row)]
    return max(float(median(near)), _LEAST_POWER)


def _over(power: float, noise: float) -> float:
    """Decades of a bin over its noise, between −0.5 and 2.5."""
    return float(min(max(math.log10(max(power, _LEAST_POWER) / noise), -0.5), 2.5))


def _hums(spectra: list[list[float]], hertz: float) -> list[tuple[float, float]]:
    """For each frame decades of the hum over the noise, best three harmonics; and the hum's power."""
    bins = _hum_bins(hertz)
    hums = []
    for row in spectra:
        lines = [(_over(row[b], _beside(row, b)), max(row[b] - _beside(row, b), _LEAST_POWER)) for b in bins]
        best = sorted(lines, reverse=True)[:3]
        hums.append((sum(o for o, _ in best) / 3, sum(p for _, p in lines)))
    return hums


def _steady(amplitudes: list[dict[int, complex]], hertz: float) -> list[float]:
    """How well the hum of each frame keeps step with the mains over the frames beside it, −1 to 1. [-]"""
    frames = _data()["frames"]
    lag = frames["lag"]
    seconds = lag * frames["hop"] / frames["rate"]
    turns = {
        b: cmath.exp(2j * math.pi * 2 * hertz * k * seconds) for k, b in enumerate(_hum_bins(hertz), start=1)
    }
    pairs = []
    for frame, later in zip(amplitudes, amplitudes[lag:], strict=False):
        products = [frame[b].conjugate() * later[b] / turn for b, turn in turns.items()]
        whole = sum(abs(p) for p in products)
        pairs.append(sum(p.real for p in products) / whole if whole > _LEAST_POWER else 0.0)
    # a frame keeps step with what follows or with what went before, whichever does better
    steadiness = []
    for k in range(len(amplitudes)):
        near = [pairs[j] for j in (k - lag, k) if 0 <= j < len(pairs)]
        steadiness.append(max(near, default=0.0))
    return steadiness


def _turnings(spectra: list[list[float]], hertz: float) -> list[float]:
    """For each frame decades of the shaft's harmonics over the noise, at the one speed that fits best."""
    data = _data()
    frames, shaft = data["frames"], data["shaft"]
    step = frames["rate"] / frames["length"]
    line = [2 * hertz * k / step for k in range(1, 12)]
    tables: dict[tuple[int, ...], list[float]] = {}
    over = [[math.nan] * len(row) for row in spectra]

    def at(frame: int, b: int) -> float:
        if over[frame][b] != over[frame][b]:
            over[frame][b] = _over(spectra[frame][b], _beside(spectra[frame], b))
        return over[frame][b]

    for poles in shaft["poles"]:
        synchronous = 2 * hertz / poles
        for k in range(41):
            turning = synchronous * (shaft["least"] + (shaft["most"] - shaft["least"]) * k / 40)
            bins = []
            for m in range(1, 3 * frames["turns"]):
                place = m * turning / step
                if place >= 14 and min(abs(place - b) for b in line) > 2.2:
                    bins.append(round(place))
            key = tuple(bins[: frames["turns"]])
            if key and key not in tables:
                tables[key] = [sum(at(i, b) for b in key) / len(key) for i in range(len(spectra))]
    smooth = {key: _running_mean(row) for key, row in tables.items()}
    best = max(smooth, key=lambda key: sum(sorted(smooth[key])[-max(len(spectra) // 3, 8) :]))
    return smooth[best]


def _running_mean(row: list[float], reach: int = 2) -> list[float]:
    means = []
    for k in range(len(row)):
        part = row[max(k - reach, 0) : k + reach + 1]
        means.append(sum(part) / len(part))
    return means


# -- course -----------------------------------------------------------------------------------------------


def _course(spectra: list[list[float]], amplitudes: list[dict[int, complex]], hertz: float) -> list[int]:
    """Likeliest state of each frame."""
    data = _data()
    hums = _hums(spectra, hertz)
    turning = _turnings(spectra, hertz)
    powers = _running_median([p for _, p in hums])
    loudest = sorted(powers)[max(len(powers) - 2, 0)]
    figures = [
        {"hum": h, "turning": t, "below": min(max(math.log10(loudest / p), 0.0), 4.0), "steady": c}
        for (h, _), t, p, c in zip(hums, turning, powers, _steady(amplitudes, hertz), strict=True)
    ]
    emit = [
        [sum(_density(figure[n], *data[state][n]) for n in figure) for state in _STATES] for figure in figures
    ]
    stay, leave = math.log(data["change"]["stay"]), math.log((1 - data["change"]["stay"]) / 2)
    score = emit[0]
    back: list[list[int]] = []
    for now in emit[1:]:
        step = [
            max(range(3), key=lambda a, b=b: score[a] + (stay if a == b else leave))  # type: ignore[misc]
            for b in range(3)
        ]
        score = [now[b] + score[step[b]] + (stay if step[b] == b else leave) for b in range(3)]
        back.append(step)
    state = max(range(3), key=lambda s: score[s])
    path = [state]
    for step in reversed(back):
        state = step[state]
        path.append(state)
    return _believed(path[::-1], figures)


def _believed(path: list[int], figures: list[dict[str, float]]) -> list[int]:
    """The course without stretches that noise alone could make."""
    least = _data()["least"]
    states: list[int] = []
    groups = [(state, len(list(group))) for state, group in itertools.groupby(path)]
    for place, (state, count) in enumerate(groups):
        part = figures[len(states) : len(states) + count]
        hum = sum(f["hum"] for f in part) / count
        turning = sum(f["turning"] for f in part) / count
        steady = sum(f["steady"] for f in part) / count
        led = place > 0 and states[-1] == 1
        if state == 1:
            alone = place + 1 == len(groups) or groups[place + 1][0] == 0
            enough = least["clear"] if alone and count < least["frames"] else least["hum"]
            believed = (
                hum >= enough and steady >= least["steady"] and not (alone and count < least["hum_frames"])
            )
        else:
            believed = (
                hum + turning >= least["running"] and turning >= least["turning"] and steady >= least["keeps"]
            )
            believed = believed and (led or count >= least["frames"])
        if not believed:
            state = 0
        states += [state] * count
    return states


def _running_median(row: list[float]) -> list[float]:
    return [median(row[max(k - 1, 0) : k + 2]) for k in range(len(row))]


def _density(value: float, middle: float, spread: float) -> float:
    """Log density, with tails that forgive."""
    gap = (value - middle) / spread
    return -1.5 * math.log1p(gap * gap / 2.0) * 1.6 - math.log(spread)


def _stretches(states: list[int], seconds: float) -> list[Passage]:
    frames = _data()["frames"]
    hop, half = frames["hop"] / frames["rate"], 0.5 * frames["length"] / frames["rate"]
    stretches: list[Passage] = []
    at = 0
    for state, group in itertools.groupby(states):
        count = len(list(group))
        start = 0.0 if at == 0 else half + (at - 0.5) * hop
        at += count
        end = seconds if at == len(states) else half + (at - 0.5) * hop
        stretches.append(Passage(_STATES[state], start, end))
    return stretches


def _outcomes(stretches: list[Passage], seconds: float) -> tuple[tuple[str, ...], tuple[Passage, ...]]:
    """What each attempt came to, and the course without stretches too short to be one."""
    course: list[Passage] = []
    for stretch in stretches:
        brief = stretch.end - stretch.start < (_GAP if stretch.kind == "quiet" else _SHORTEST)
        kind = course[-1].kind if brief and course else stretch.kind
        if course and course[-1].kind == kind:
            course[-1] = Passage(kind, course[-1].start, stretch.end)
        else:
            course.append(Passage(kind, stretch.start, stretch.end))
    heard = []
    for loud, group in itertools.groupby(course, key=lambda s: s.kind != "quiet"):
        if not loud:
            continue
        run = list(group)
        ends = run[-1].end < seconds - _END
        running = sum(s.end - s.start for s in run if s.kind == "running")
        if running < _RUNS and all(s.kind == "running" for s in run):
            continue
        if running >= _RUNS and run[-1].kind == "running":
            heard.append("starts_then_trips" if ends else "runs")
        else:
            heard.append("hum_click" if ends else "hum")
    return tuple(heard) or ("silent",), tuple(course)


# -- clicks -----------------------------------------------------------------------------------------------


def _clicks(recording: Recording) -> tuple[float, ...]:
    """When something clicked: short bursts of high sound over that around them. [s]"""
    data = _data()["click"]
    width = max(int(data["block"] * recording.rate), 4)
    energy = []
    for k in range((len(recording.values) - 2) // width):
        block = [v if math.isfinite(v) else 0.0 for v in recording.values[k * width : (k + 1) * width + 2]]
        energy.append(sum((a - 2 * b + c) ** 2 for a, b, c in zip(block, block[1:], block[2:], strict=False)))
    reach = max(int(data["around"] / data["block"]), 3)
    if not energy:
        return ()
    whole = median(energy)
    clicks: list[float] = []
    for k, e in enumerate(energy):
        if e < data["over"] * whole or e < max(energy[max(k - 2, 0) : k + 3]):
            continue
        around = [*energy[max(k - reach, 0) : max(k - 3, 0)], *energy[k + 7 : k + reach]]
        if around and e > data["alone"] * max(around):
            clicks.append(k * width / recording.rate)
    return tuple(clicks[:200])


def _sentences(
    heard: Sequence[str], stretches: Sequence[Passage], clicks: Sequence[float], seconds: float
) -> tuple[Message, ...]:
    """The course in words."""
    if heard == ("silent",):
        if clicks:
            text = N_("Neither hum nor running is heard in {seconds:.0f} s, only a click at {at:.1f} s.")
            return (Message.of(text, seconds=seconds, at=clicks[0]),)
        return (Message("Neither hum nor running is heard in {seconds:.0f} s.", seconds=seconds),)
    forms = {
        "locked": N_("hum {start:.1f}–{end:.1f} s"),
        "running": N_("running {start:.1f}–{end:.1f} s"),
        "quiet": N_("quiet {start:.1f}–{end:.1f} s"),
    }
    course = tuple(Message.of(forms[s.kind], start=s.start, end=s.end) for s in stretches)
    outcomes = {
        "hum": Message("it hums to the end of the recording"),
        "hum_click": Message("it hums, then stops: the protector opened, or power was taken off"),
        "starts_then_trips": Message("it starts and runs, then stops"),
        "runs": Message("it starts and runs"),
    }
    attempts = [
        Message("Attempt {n}: {outcome}.", n=number, outcome=outcomes[outcome])
        for number, outcome in enumerate(heard, start=1)
    ]
    return (Message("Heard: {stretches}.", stretches=course), *attempts)
