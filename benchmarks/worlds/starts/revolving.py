"""
A start by phasors: two revolving fields, stepped in speed, with a compressor of reed valves.

The equations are those of the double revolving field for two windings in quadrature (Morrill 1929;
Veinott; Fitzgerald, Kingsley and Umans, Electric Machinery, section 9.3 and problem set; from memory).
The pill holds charge in traps at its grain borders, which fill with a lag and empty under field, so that
ohms follow temperature, volts and past (after Heywang's model, from memory); the relay has hysteresis;
the protector is a bimetal with a heater, in a balance of heat; reed valves open at pressures and one of
them leaks.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, exp, nan, pi, sin

from benchmarks.worlds.starts.motor import Start, Windings

STEP = 5e-4
"""Of time. [s]"""


def fields(motor: Windings, slip: float, squeeze: float = 1.0) -> tuple[complex, complex]:
    """
    Impedances of the forward and the backward field, half each. [Ω]

    Parameters
    ----------
    slip : float
        [-]
    squeeze : float
        Magnetising reactance as saturated over unsaturated. [-]
    """
    magnet = 0.5j * motor.xm * squeeze

    def of(s: float) -> complex:
        s = s if abs(s) > 1e-4 else 1e-4
        rotor = 0.5 * motor.r2 / s + 0.5j * motor.x2
        return magnet * rotor / (magnet + rotor)

    return of(slip), of(2.0 - slip)


def currents(
    motor: Windings, volts: float, slip: float, series: complex | None, squeeze: float = 1.0
) -> tuple[complex, complex, complex, complex]:
    """
    Main and start current, and both fields' impedances. [A] [Ω]

    Parameters
    ----------
    series : complex or None
        What stands in the start winding's way; None when it is out. [Ω]
    """
    forward, backward = fields(motor, slip, squeeze)
    a = motor.turns
    main = motor.r1 + 1j * motor.x1 + forward + backward
    if series is None:
        return volts / main, 0j, forward, backward
    start = motor.ra + 1j * motor.xa + series + a**2 * (forward + backward)
    cross = 1j * a * (forward - backward)
    # Vm = main Im - cross Ia ; Va = cross Im + start Ia, both across the line
    under = main * start + cross * cross
    return volts * (start + cross) / under, volts * (main - cross) / under, forward, backward


def torque_at(
    motor: Windings, volts: float, slip: float, series: complex | None, squeeze: float = 1.0
) -> float:
    """Mean torque. [N m]"""
    main, start, forward, backward = currents(motor, volts, slip, series, squeeze)
    a = motor.turns
    steady = (abs(main) ** 2 + (a * abs(start)) ** 2) * (forward.real - backward.real)
    both = 2 * a * (forward.real + backward.real) * (main.conjugate() * start).imag
    return (steady + both) / motor.synchronous


@dataclass
class Pill:
    """A thermistor whose traps fill with a lag."""

    cold: float
    celsius: float
    traps: float = 0.0
    heat: float = 1.9
    loss: float = 0.022
    room: float = 25.0

    def ohms(self, volts: float) -> float:
        """At these volts across it. [Ω]"""
        height = 9.5 * self.traps * (1 - 0.35 * min(1.0, volts / 400.0))
        return self.cold * exp(height) * (1 - 0.0015 * min(60.0, self.celsius - 25.0))

    def step(self, amps: float, seconds: float) -> None:
        """Warm it and fill its traps."""
        volts = amps * self.ohms(0.0)
        power = amps**2 * self.ohms(volts)
        self.celsius = min(
            230.0, self.celsius + seconds * (power - self.loss * (self.celsius - self.room)) / self.heat
        )
        full = 1 / (1 + exp(-(self.celsius - 128.0) / 7.0))
        self.traps += (full - self.traps) * min(1.0, seconds / 0.04)


@dataclass
class Cylinder:
    """One cylinder with reed valves that open at a little over the pressures outside, and leak."""

    scale: float
    suction: float = 1.0
    discharge: float = 1.0
    pressure: float = 1.0
    clearance: float = 0.035
    leak: float = 4.0
    before: float = 0.0

    def volume(self, angle: float) -> float:
        """Over the swept volume. [-]"""
        return self.clearance + 0.5 * (1 - cos(angle))

    def torque(self, angle: float, seconds: float) -> float:
        """Against the crank, over the mean torque at working pressures. [N m]"""
        now = self.volume(angle)
        if self.before:
            self.pressure *= (self.before / now) ** 1.12
        self.before = now
        self.pressure = min(max(self.pressure, self.suction * 0.97), self.discharge * 1.03)
        self.pressure += (self.suction - self.pressure) * min(1.0, self.leak * seconds)
        return self.scale * 0.5 * (1.0 - self.pressure) * sin(angle)

    def pumped(self, turns_a_second: float, seconds: float) -> None:
        """Pressures pull apart as it pumps: some twenty seconds to 0.6 and 6 times the pressure at rest."""
        rate = min(1.0, turns_a_second / 50.0) * seconds / 18.0
        self.suction += (0.6 - self.suction) * rate
        self.discharge += (6.0 - self.discharge) * rate


def saturated(motor: Windings, main: complex, forward: complex, volts: float) -> float:
    """Magnetising reactance over its unsaturated value, by the forward flux over its usual one. [-]"""
    flux = abs(main * forward) / (0.5 * motor.volts)
    return 1.0 / (1.0 + 0.25 * max(0.0, flux - 0.9) ** 2) if volts else 1.0


def _series(motor: Windings, pill: Pill | None, amps: float) -> complex:
    return motor.in_series + (complex(pill.ohms(amps * pill.ohms(0.0))) if pill else 0j)


def play(motor: Windings, volts: float, *, seconds: float = 3.0, celsius: float = 25.0) -> Start:
    """
    One start from rest at equal pressures.

    Parameters
    ----------
    volts : float
        At the terminals. [V]
    seconds : float
        Played at most; from 0.6 s at speed on, in steps ten times as long. [s]
    celsius : float
        Of the pill. [°C]
    """
    pill = Pill(motor.pill, celsius) if "ptc" in motor.gear else None
    if pill:
        pill.heat *= motor.volts**2 / motor.pill / 1900.0 * 1.1
    cylinder = Cylinder(motor.load * 2.2)
    speed = angle = now = at_speed = 0.0
    let_go, squeeze, amps, main = nan, 1.0, 0.0, 0j
    first, closed = _locked(motor, volts, celsius)
    times: list[float] = []
    trace: list[float] = []
    while now < seconds and at_speed < 0.8:
        slip = 1 - speed / motor.synchronous
        series = _series(motor, pill, amps) if closed else None
        main, start, forward, _ = currents(motor, volts, slip, series, squeeze)
        squeeze = saturated(motor, main, forward, volts)
        amps = abs(start)
        if pill:
            pill.step(amps, STEP)
        if motor.gear == "csir-current-relay" and closed and abs(main) < 0.62 * abs(first[0]):
            closed, let_go = False, now
        if pill and let_go != let_go and amps < 0.2 * abs(first[1]):
            let_go = now
        torque = torque_at(motor, volts, slip, series, squeeze)
        gas = cylinder.torque(angle, STEP)
        cylinder.pumped(speed / (2 * pi), STEP)
        stands = speed == 0.0 and abs(torque) < motor.breakaway
        push = 0.0 if stands else abs(torque) - 0.1 * motor.load + gas
        speed = max(0.0, speed + STEP * push / motor.inertia)
        angle += STEP * speed
        now += STEP
        at_speed = at_speed + STEP if slip < 0.25 else 0.0
        times.append(now)
        trace.append(amps)
    runs = at_speed > 0.1
    if runs and pill and let_go != let_go:
        let_go = _hold(motor, volts, pill, abs(first[1]), now)
    main, start, *_ = currents(motor, volts, 0.05, motor.in_series if motor.gear == "psc" else None)
    running = abs(main + start) if runs else nan
    return Start(
        runs,
        abs(first[0] + first[1]),
        running,
        let_go,
        trips(motor, abs(first[0] + first[1])),
        tuple(times[::20]),
        tuple(trace[::20]),
    )


def _hold(motor: Windings, volts: float, pill: Pill, first: float, now: float) -> float:
    """Until the pill has let go at running speed; NaN if it does not within ten seconds. [s]"""
    amps = 0.0
    for step in range(2000):
        _, start, *_ = currents(motor, volts, 0.05, _series(motor, pill, amps))
        amps = abs(start)
        pill.step(amps, 5e-3)
        if amps < 0.2 * first:
            return now + step * 5e-3
    return nan


def _locked(motor: Windings, volts: float, celsius: float) -> tuple[tuple[complex, complex], bool]:
    """Currents at standstill with the start winding in, if a relay picks up. [A]"""
    pill = Pill(motor.pill, celsius) if "ptc" in motor.gear else None
    main, start, *_ = currents(motor, volts, 1.0, _series(motor, pill, 0.0))
    nominal, *_ = currents(motor, motor.volts, 1.0, None)
    if motor.gear == "csir-current-relay":
        alone, *_ = currents(motor, volts, 1.0, None)
        if abs(alone) < 0.72 * abs(nominal):
            return (alone, 0j), False
    return (main, start), True


def trips(motor: Windings, amps: float) -> float:
    """
    Until the bimetal opens with the rotor held. [s]

    A bimetal of 4 J/K with a heater, opening at 120 °C; sized to hold the plate's load and to open its locked
    current in some ten seconds, as trade sheets say (from memory).
    """
    plate, *_ = currents(motor, motor.volts, 1.0, None)
    ohms = 38.0 / abs(plate) ** 2
    warm = 25.0
    for step in range(6000):
        warm += 0.02 * (ohms * amps**2 - 0.12 * (warm - 25.0)) / 4.0
        if warm > 120.0:
            return step * 0.02
    return nan
