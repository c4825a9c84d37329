"""
Recordings of invented machines: the current of a start by phasors, seen through a meter with its errors.

Nothing here is shared with the recogniser. Line current and torque come from the revolving-field equations
of the two-winding machine at the slip of the moment (Fitzgerald, Kingsley and Umans, Electric Machinery),
speed from the torque left over; a PTC, relays and a protector follow their own heat and current. All cases
run side by side as arrays. SI units; speeds over synchronous speed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

__all__ = ["CASES", "GEARS", "Logged", "logged", "simulated"]

STEP = 0.005
GEARS = ("ptc", "relay", "potential")
#: Faults made for each gear.
CASES: dict[str, tuple[str, ...]] = {
    "ptc": (
        "healthy",
        "no_start_current",
        "ptc_hot",
        "never_released",
        "seized",
        "low_voltage",
        "run_winding_open",
        "shorted_turns",
        "protector_early",
        "nothing",
    ),
    "relay": (
        "healthy",
        "no_start_current",
        "never_released",
        "seized",
        "low_voltage",
        "weak_start_capacitor",
        "shorted_turns",
        "protector_early",
        "nothing",
    ),
    "potential": (
        "healthy",
        "weak_start_capacitor",
        "never_released",
        "seized",
        "low_voltage",
        "run_winding_open",
        "shorted_turns",
        "run_capacitor_open",
        "protector_early",
        "nothing",
    ),
}
Array = Any


@dataclass(frozen=True)
class Logged:
    """
    One recording: times, amperes, and what was wrong, with the plate of the machine.

    `alike` names causes whose line current is the same in this case, noise and plate left aside.
    """

    gear: str
    cause: str
    time: Array
    amps: Array
    locked_rotor_amps: float
    rated_load_amps: float
    volts: float
    alike: frozenset[str]


class _Machines:
    """Random two-winding machines, all at 60 Hz; impedances referred to the run winding."""

    def __init__(self, gear: Sequence[str], cause: Sequence[str], rng: Array) -> None:
        n = len(gear)
        u = rng.uniform
        self.n = n
        self.gear, self.cause = np.array(gear), np.array(cause)
        ptc, relay = self.gear == "ptc", self.gear == "relay"
        self.size = np.exp(u(np.log(0.35), np.log(2.6), n))

        def spread(width: float) -> Array:
            return np.exp(rng.normal(0, width / 2, n))

        self.r1, self.x1 = 2.6 * self.size * spread(0.16), 3.1 * self.size * spread(0.16)
        self.r2, self.x2 = 3.4 * self.size * spread(0.16), 2.7 * self.size * spread(0.16)
        self.xm = 62.0 * self.size * spread(0.16)
        self.a = u(1.0, 1.35, n)
        self.ra = np.where(ptc, u(3.2, 4.6, n), u(2.4, 3.4, n)) * self.r1
        self.xa = self.a**2 * self.x1 * u(0.6, 0.9, n)
        self.nominal = 115.0
        self.volts = 115.0 * u(0.95, 1.05, n)
        self.series = u(0.1, 0.5, n) * self.size + 0.1j
        za = self.ra + 1j * self.xa + self.a**2 * self._fields(np.ones(n))[2]
        want = np.where(ptc, 0.0, za.imag + u(0.55, 0.9, n) * za.real)
        self.start_x = want  # reactance of the start capacitor, or what both capacitors make together
        self.run_x = np.where(self.gear == "potential", 5.5 * want * u(0.85, 1.2, n), np.inf)
        self.ptc_cold = np.where(ptc, u(1.2, 2.2, n) * self.r1, 0.0)
        self.ptc_switch = u(112.0, 132.0, n)
        self.ptc_now = np.full(n, 27.0)
        none = np.zeros(n)
        self.locked, _, torque, _, aux = self.solve(np.ones(n), self.volts * 0 + 115.0, self._aux(none > 1))
        heat = np.abs(aux) ** 2 * self.ptc_cold
        self.ptc_joules = np.maximum(heat, 1e-3) * u(0.45, 0.9, n) / (self.ptc_switch - 27.0)
        self.ptc_loss = self.ptc_joules / u(25.0, 50.0, n)
        self.synchronous = 2 * np.pi * 60 / 1.0
        self.rated = 0.62 * self._breakdown()
        self.load_end = self.rated * u(0.55, 0.95, n)
        self.load_start = self.load_end * u(0.15, 0.35, n)
        self.inertia = np.maximum(torque - self.load_start, 0.2 * torque) * u(0.12, 0.38, n)
        self.open_aux = np.where(
            np.isinf(self.run_x), np.inf, -1j * np.where(np.isinf(self.run_x), 1.0, self.run_x)
        )
        run = self._running()
        self.lra = self.locked * np.exp(rng.normal(0, 0.03, n))
        self.rla = run * np.exp(rng.normal(0.1, 0.05, n))
        ultimate = np.maximum(1.45 * run, self.locked / u(2.9, 4.2, n))
        trip = u(5.0, 11.0, n)
        self.ultimate = ultimate
        self.tau = trip / -np.log(1 - (ultimate / self.locked) ** 2)
        self.reset = u(0.5, 0.7, n)
        at_speed = self.solve(np.full(n, 0.2), np.full(n, 115.0), self._aux(np.zeros(n) > 1))[1]
        still = self.solve(np.ones(n), np.full(n, 115.0), np.full(n, np.inf))[1]
        self.drop_out = np.minimum(at_speed * u(1.0, 1.06, n), 0.86 * still)
        self.pick_up = np.maximum(1.06 * self.drop_out, u(0.8, 0.86, n) * still)
        self.lets_go = u(0.74, 0.84, n)
        self._break(rng, relay, ptc, run)

    def _break(self, rng: Array, relay: Array, ptc: Array, run: Array) -> None:
        """Put the faults in."""
        n, u = self.n, rng.uniform

        def is_(cause: str) -> Array:
            return self.cause == cause

        self.seized = is_("seized")
        self.stuck_closed = is_("never_released") & ~ptc
        self.bridged = is_("never_released") & ptc
        self.never = is_("no_start_current")
        self.main_open = is_("run_winding_open")
        self.dead = is_("nothing")
        self.turns = np.where(is_("shorted_turns"), u(0.07, 0.12, n), 0.0)
        low = is_("low_voltage")
        self.volts = np.where(low, 115.0 * u(0.55, 0.72, n), self.volts)
        self.ptc_now = np.where(is_("ptc_hot"), self.ptc_switch + u(25.0, 45.0, n), self.ptc_now)
        weak = is_("weak_start_capacitor")
        self.start_x = np.where(weak, self.start_x * u(3.0, 4.5, n), self.start_x)
        gone = is_("run_capacitor_open")
        self.run_x = np.where(gone, np.inf, self.run_x)
        self.open_aux = np.where(gone, np.inf, self.open_aux)
        early = is_("protector_early")
        self.ultimate = np.where(early, run * u(0.55, 0.8, n), self.ultimate)
        seconds = u(4.0, 30.0, n)
        share = np.minimum((self.ultimate / run) ** 2, 0.9)
        self.tau = np.where(early, np.maximum(seconds, 1.0) / -np.log(1 - share) + 35.0, self.tau)

    def _fields(self, slip: Array) -> tuple[Array, Array, Array]:
        def field(s: Array) -> Array:
            rotor = self.r2 / np.maximum(s, 1e-4) + 1j * self.x2
            return 0.5j * self.xm * rotor / (rotor + 1j * self.xm)

        forward, backward = field(slip), field(2.0 - slip)
        return forward, backward, forward + backward

    def _aux(self, opened: Array, resistance: Array | None = None) -> Array:
        """Impedance in series with the start winding."""
        closed = np.where(self.gear == "ptc", self.ptc_cold, -1j * self.start_x + 0.03 * self.start_x)
        if resistance is not None:
            closed = np.where(self.gear == "ptc", resistance, closed)
        opened_z = getattr(self, "open_aux", np.full(self.n, np.inf))
        return np.where(opened, opened_z, closed)

    def solve(
        self,
        slip: Array,
        volts: Array,
        aux: Array,
        main_open: Array | None = None,
        turns: Array | None = None,
    ) -> tuple[Array, ...]:
        """Line amperes, run winding amperes, torque, slip, start winding phasor."""
        forward, backward, both = self._fields(slip)
        cross = 1j * self.a * (forward - backward)
        y_a = np.where(np.isinf(np.abs(aux)), 0.0, 1.0)
        z_aux = np.where(y_a > 0, aux, 0.0)
        zm = self.r1 + 1j * self.x1 + both
        za = self.ra + 1j * self.xa + self.a**2 * both + z_aux
        z_am, z_ma = cross, -cross
        if turns is not None:
            beta = np.maximum(turns, 1e-9)
            y = np.where(turns > 0, 1.0 / (self.r1 / beta + 1j * self.x1 + both), 0.0)
            # the shorted loop sits on the run winding's axis and is eliminated
            zm, za, z_am, z_ma = (
                zm - both * y * both,
                za - cross * y * -cross,
                z_am - cross * y * both,
                z_ma - both * y * -cross,
            )
        open_m = np.zeros(self.n, bool) if main_open is None else main_open
        zs = self.series
        # [zm+zs, z_ma+zs; z_am+zs, za+zs] [im, ia] = v
        m11 = np.where(open_m, 1e9, zm + zs)
        m12, m21, m22 = z_ma + zs, z_am + zs, np.where(y_a > 0, za + zs, 1e9)
        det = m11 * m22 - m12 * m21
        im, ia = volts * (m22 - m12) / det, volts * (m11 - m21) / det
        on_axis = im
        if turns is not None:
            on_axis = im - y * (both * im - cross * ia)
        part = 2 * self.a * (np.conj(on_axis) * ia).imag
        power = np.abs(on_axis) ** 2 + self.a**2 * np.abs(ia) ** 2
        torque = (power + part) * forward.real - (power - part) * backward.real
        return np.abs(im + ia), np.abs(im), torque, slip, ia

    def _breakdown(self) -> Array:
        grid = [
            self.solve(np.full(self.n, s), np.full(self.n, 115.0), np.full(self.n, np.inf))
            for s in (0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.4)
        ]
        return np.max([g[2] for g in grid], axis=0)

    def _running(self) -> Array:
        """Line amperes at the final load."""
        best = np.full(self.n, 0.3)
        for s in np.linspace(0.3, 0.005, 80):
            torque = self.solve(np.full(self.n, s), np.full(self.n, 115.0), self.open_aux)[2]
            best = np.where(torque > self.load_end, s, best)
        return self.solve(best, np.full(self.n, 115.0), self.open_aux)[0]


def simulated(
    gear: Sequence[str], cause: Sequence[str], seed: int, seconds: float = 60.0
) -> tuple[_Machines, Array]:
    """Line current of each case every 5 ms, power put on at 0. [A]"""
    rng = np.random.default_rng(seed)
    m = _Machines(gear, cause, rng)
    n = m.n
    count = int(seconds / STEP)
    speed, disc, running = np.zeros(n), np.zeros(n), np.zeros(n)
    on, released = np.ones(n, bool), np.zeros(n, bool)
    picked = np.zeros(n, bool)
    relay, potential = m.gear == "relay", m.gear == "potential"
    out = np.zeros((count, n), np.float32)
    for k in range(count):
        hot = np.minimum(m.ptc_cold * 10 ** (np.maximum(m.ptc_now - m.ptc_switch, 0.0) / 18.0), 3e3 * m.size)
        resistance = np.where(m.bridged, 0.05 * m.size, hot)
        opened = np.where(relay, ~picked, np.where(potential, released, False)) & ~m.stuck_closed
        aux = m._aux(opened | m.never, resistance)
        line, main, torque, _, ia = m.solve(1.0 - speed, m.volts, aux, m.main_open, m.turns)
        line = np.where(on & ~m.dead, line, 0.0)
        out[k] = line
        torque = np.where(line > 0, torque, 0.0)
        load = m.load_start + (m.load_end - m.load_start) * (1 - np.exp(-running / 2.0))
        moving = ~m.seized & ((speed > 0) | (torque > m.load_start * 1.1))
        speed = np.clip(np.where(moving, speed + STEP * (torque - load) / m.inertia, 0.0), 0.0, 0.9995)
        running = np.where(speed > 0.5, running + STEP, 0.0)
        m.ptc_now = m.ptc_now + STEP * (
            np.where(line > 0, np.abs(ia) ** 2 * hot, 0.0) / m.ptc_joules
            - (m.ptc_now - 27.0) * m.ptc_loss / m.ptc_joules
        )
        m.ptc_now = np.minimum(m.ptc_now, m.ptc_switch + 60.0)
        coil = np.where(on, main, 0.0)
        picked = np.where(picked, coil > m.drop_out, coil > m.pick_up)
        released = (released | (speed > m.lets_go)) & on & (line > 0)
        disc += STEP / m.tau * ((line / m.ultimate) ** 2 - disc)
        tripping = on & (disc >= 1.0)
        closing = ~on & (disc <= m.reset)
        on = (on & ~tripping) | closing
    return m, out


def logged(
    gear: Sequence[str], cause: Sequence[str], seed: int, *, rate: float = 20.0, seconds: float = 60.0
) -> list[Logged]:
    """Rms logs of a meter: gain and offset, noise, steps of the display, uneven and missing samples."""
    m, out = simulated(gear, cause, seed, seconds)
    rng = np.random.default_rng(seed + 1)
    found = []
    per = 1.0 / rate / STEP
    for i in range(m.n):
        before = rng.uniform(0.4, 2.0)
        lead = np.zeros(int(before / STEP))
        wave = np.concatenate((lead, out[:, i].astype(float))) ** 2
        sums = np.concatenate(([0.0], np.cumsum(wave)))
        edges = np.arange(rng.uniform(per, 2 * per), len(wave), per)
        ends = edges.astype(int)
        begin = (edges - per).astype(int)
        amps = np.sqrt((sums[ends] - sums[begin]) / np.maximum(ends - begin, 1))
        top = max(float(amps.max()), 1.0)
        amps = amps * (1 + rng.normal(0, 0.0075)) * (1 + rng.normal(0, 0.01, len(amps)))
        amps = np.abs(amps + rng.normal(0, 0.002 * top, len(amps)) + 0.002 * top)
        shown = 0.01 if top < 40 else 0.1
        amps = np.round(amps / shown) * shown
        time = edges * STEP + rng.normal(0, 0.05 / rate, len(edges)) * (rng.random() < 0.5)
        keep = rng.random(len(edges)) > 0.01
        found.append(
            Logged(
                gear[i],
                cause[i],
                time[keep],
                amps[keep],
                float(m.lra[i]),
                float(m.rla[i]),
                m.nominal,
                _alike(cause[i], out[:, i]),
            )
        )
    return found


def _alike(cause: str, line: Array) -> frozenset[str]:
    """Causes that draw the same current from the line as this one did."""
    first = float(line[4:10].mean())
    later = float(line[int(2.0 / STEP)])
    tripped = bool((line[10:] == 0).any())
    restarted = line[np.nonzero(line[10:] == 0)[0][0] + 10 :] if tripped else line[:0]
    runs_later = bool(((restarted > 0) & (restarted < 0.4 * first)).any())
    if cause == "ptc_hot" and not runs_later:
        return frozenset({"no_start_current"})
    if cause == "never_released" and later > 0.93 * first:
        return frozenset({"seized"})
    if cause == "shorted_turns" and later > 0.6 * first:
        return frozenset({"seized", "never_released"})
    if cause == "protector_early" and not tripped:
        return frozenset({"healthy"})
    return frozenset()
