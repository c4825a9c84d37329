"""
Invented sounds of a start, with talk-like and fan-like noise as loud as the machine.

The locked hum has random harmonics of twice the line frequency; running is a weaker hum with beats at the
shaft's speed and rushing; clicks are short decaying bursts. Talk is a wandering pitch through formants in
syllables with hisses between, a fan is coloured noise with blade tones and a mains hum of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["PATTERNS", "Sound", "fan", "sound", "talk"]

PATTERNS = ("silent", "hum", "hum_click", "starts_then_trips", "runs")
Array = Any


@dataclass(frozen=True)
class Sound:
    """Samples between −1 and 1, their rate, what happened and when."""

    values: Array
    rate: float
    pattern: str
    on: float
    off: float
    hertz: float


def _band(noise: Array, rate: float, shape: Array) -> Array:
    """Noise shaped by a weight for each frequency."""
    spectrum = np.fft.rfft(noise)
    return np.fft.irfft(spectrum * shape(np.fft.rfftfreq(len(noise), 1 / rate)), len(noise))


def _unit(values: Array) -> Array:
    return values / max(float(np.sqrt(np.mean(values**2))), 1e-12)


def _harmonics(phase: Array, gains: Array, offsets: Array) -> Array:
    """Sum of gain × cos(k phase + offset) over k from 1."""
    turn = np.exp(1j * phase)
    each = np.ones_like(turn)
    total = np.zeros(len(phase))
    for gain, offset in zip(gains, offsets, strict=True):
        each = each * turn
        total += gain * (each.real * np.cos(offset) - each.imag * np.sin(offset))
    return total


def talk(count: int, rate: float, rng: Array) -> Array:
    """Talk-like noise of rms 1: syllables of a wandering pitch, and hisses."""
    t = np.arange(count) / rate
    pitch = rng.uniform(95, 210) * np.exp(
        0.12 * np.sin(2 * np.pi * rng.uniform(0.3, 0.9) * t + rng.uniform(0, 6))
        + 0.06 * np.sin(2 * np.pi * rng.uniform(1.5, 3.0) * t + rng.uniform(0, 6))
    )
    phase = 2 * np.pi * np.cumsum(pitch) / rate
    formants = rng.uniform((350, 900, 2200), (800, 1700, 2900))
    k = np.arange(1, 30)
    f = k * float(pitch.mean())
    gains = sum(np.exp(-(((f - c) / (0.18 * c + 60)) ** 2)) for c in formants) + 0.08
    voiced = _harmonics(phase, gains / k**0.3, np.zeros(len(k)))
    syllables = np.clip(np.sin(2 * np.pi * rng.uniform(1.8, 3.2) * t + rng.uniform(0, 6)) + 0.3, 0, None)
    phrases = (np.sin(2 * np.pi * rng.uniform(0.12, 0.3) * t + rng.uniform(0, 6)) > -0.5).astype(float)
    hiss = _band(rng.normal(size=count), rate, lambda f: ((f > 2500) & (f < 7000)).astype(float))
    gate = np.clip(np.sin(2 * np.pi * rng.uniform(1.8, 3.2) * t + 2.0) - 0.6, 0, None)
    return _unit((_unit(voiced) * syllables + 0.5 * _unit(hiss) * gate) * phrases)


def fan(count: int, rate: float, rng: Array) -> Array:
    """Fan-like noise of rms 1: rushing air, blade tones and a weak mains hum."""
    t = np.arange(count) / rate
    corner = rng.uniform(150, 500)
    air = _unit(_band(rng.normal(size=count), rate, lambda f: 1 / (1 + (f / corner) ** 2) ** 0.4 * (f > 25)))
    turn = rng.uniform(18, 27)
    blades = rng.integers(4, 7)
    tones = sum(
        rng.uniform(0.1, 0.5) / k * np.cos(2 * np.pi * turn * blades * k * t + rng.uniform(0, 6))
        for k in (1, 2, 3)
    )
    mains = 0.1 * np.cos(2 * np.pi * 120 * t + rng.uniform(0, 6))
    return _unit(air * (1 + 0.15 * np.sin(2 * np.pi * turn * t)) + tones + mains)


def _click(values: Array, at: float, rate: float, size: float, rng: Array) -> None:
    begin = int(at * rate)
    length = min(int(0.02 * rate), len(values) - begin)
    if length > 0:
        decay = np.exp(-np.arange(length) / (rng.uniform(0.0015, 0.004) * rate))
        values[begin : begin + length] += size * decay * rng.normal(size=length)


def sound(
    pattern: str,
    seed: int,
    *,
    noise: str = "fan",
    decibels: float = 0.0,
    hertz: float = 60.0,
    rate: float = 16000.0,
) -> Sound:
    """One recording of a start; signal over noise in decibels while the machine sounds."""
    rng = np.random.default_rng(seed)
    seconds = rng.uniform(9.0, 18.0)
    count = int(seconds * rate)
    t = np.arange(count) / rate
    on = rng.uniform(1.0, 3.0)
    off = seconds + 1.0
    start = rng.uniform(0.25, 1.2)
    locked_until = seconds + 1.0
    if pattern == "hum_click":
        off = locked_until = on + rng.uniform(2.5, seconds - on - 1.5)
    elif pattern in ("runs", "starts_then_trips"):
        locked_until = on + start
        if pattern == "starts_then_trips":
            off = on + start + rng.uniform(2.0, max(seconds - on - start - 1.5, 2.1))
    phases = rng.uniform(0, 2 * np.pi, 8)
    line = hertz * rng.normal(1.0, 2e-4)
    gains = np.array([1.0, 0.6, 0.45, 0.3, 0.25, 0.2, 0.15, 0.1]) * np.exp(rng.normal(0, 0.5, 8))
    hum = _harmonics(2 * np.pi * 2 * line * t, gains, phases)
    hum = _unit(hum)
    poles = rng.choice([2, 4])
    shaft = 2 * line / poles * rng.uniform(0.93, 0.98)
    k = np.arange(1, 16 if poles == 2 else 26)
    sizes = np.exp(rng.normal(0, 0.6, len(k))) / k**0.4
    beats = _harmonics(2 * np.pi * shaft * t, sizes, rng.uniform(0, 6, len(k)))
    rush = _band(rng.normal(size=count), rate, lambda f: ((f > 150) & (f < 3000)) / (1 + f / 600))
    loud = rng.uniform(0.25, 0.5)
    running = loud * (0.75 * _unit(beats) + 0.5 * _unit(rush) + rng.uniform(0.2, 0.6) * hum)
    is_locked = (t >= on) & (t < min(locked_until, off))
    is_running = (t >= locked_until) & (t < off)
    edge = int(0.03 * rate)
    smooth = np.ones(edge) / edge
    clean = hum * np.convolve(is_locked, smooth, "same") + running * np.convolve(is_running, smooth, "same")
    if pattern == "silent":
        clean = np.zeros(count)
    active = (t >= on) & (t < off) if pattern != "silent" else t >= 0
    level = float(np.sqrt(np.mean(clean[active] ** 2))) if pattern != "silent" else 0.5
    if pattern in ("hum_click", "starts_then_trips"):
        _click(clean, off, rate, 3.0 * level, rng)
    if rng.random() < 0.7:
        _click(clean, on, rate, 2.0 * level, rng)
    other = {"fan": fan, "talk": talk}[noise](count, rate, rng)
    mixed = clean + other * level * 10 ** (-decibels / 20)
    mixed = mixed + 0.003 * level * rng.normal(size=count)
    mixed = 0.5 * mixed / float(np.abs(mixed).max())
    values = np.round(mixed * 32767) / 32768
    return Sound(values.astype(np.float32), rate, pattern, on, off, hertz)
