"""
The two-winding single-phase induction machine, and its steady state at any slip.

Run winding on the q axis, start winding on the d axis, a quarter turn apart, of unequal turns. Reactances in
ohms at the motor's own frequency. Phasors are rms, with the supply as reference. Not modelled: saturation (a
saturated leakage raises the locked-rotor current), the field's space harmonics, skin effect in the bars.
Model: Krause, Wasynczuk and Sudhoff, Analysis of Electric Machinery, symmetrical and unsymmetrical two-phase
machines; second opinion in the tests: the double revolving field of Fitzgerald, Kingsley and Umans.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from humclick.errors import OutOfRange
from humclick.messages import N_, Message
from humclick.physics.bounds import between, not_negative, positive

__all__ = ["Motor", "Steady", "steady"]

#: Widest range of supply frequency the equivalent circuit is used for. [Hz]
_HERTZ = (5.0, 120.0)
#: Slip is used from well past standstill backwards to well above synchronous speed. [-]
_SLIP = (-1.0, 3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """
    A two-winding single-phase induction motor.

    Raises
    ------
    OutOfRange
        If a value is not above zero (not below, for a leakage), the ratio lies outside 0.2 … 5, the poles are
        not 2, 4, 6 or 8, or the frequency lies outside 5 … 120 Hz.

    Examples
    --------
    >>> Motor(run_ohms=2.02, run_leakage=2.79, run_magnetizing=66.8, start_ohms=7.14, start_leakage=3.22,
    ...       start_magnetizing=92.9, rotor_ohms=4.12, rotor_leakage=2.12, turns_ratio=1.18,
    ...       inertia=0.0146, poles=4, hertz=60).synchronous  # doctest: +ELLIPSIS
    188.49...
    """

    #: Run winding: resistance, leakage and magnetizing reactance. [Ω]
    run_ohms: float
    run_leakage: float
    run_magnetizing: float
    #: The same of the start winding. [Ω]
    start_ohms: float
    start_leakage: float
    start_magnetizing: float
    #: Rotor, referred to the run winding. [Ω]
    rotor_ohms: float
    rotor_leakage: float
    turns_ratio: float  #: Effective turns of the start winding over those of the run winding. [-]
    inertia: float  #: Of all that turns. [kg m²]
    poles: int  #: 2, 4, 6 or 8.
    hertz: float  #: Frequency at which the reactances are given. [Hz]
    #: Rotor referred to the start winding; turns_ratio² times the run side if left out. [Ω]
    rotor_ohms_d: float | None = None
    rotor_leakage_d: float | None = None
    celsius: float = 25.0  #: Temperature at which the resistances hold. [°C]

    def __post_init__(self) -> None:
        for name in ("run_ohms", "run_magnetizing", "start_ohms", "start_magnetizing", "rotor_ohms"):
            positive(getattr(self, name), name, "Ω")
        for name in ("run_leakage", "start_leakage", "rotor_leakage"):
            not_negative(getattr(self, name), name, "Ω")
        if self.rotor_ohms_d is not None:
            positive(self.rotor_ohms_d, "rotor_ohms_d", "Ω")
        if self.rotor_leakage_d is not None:
            not_negative(self.rotor_leakage_d, "rotor_leakage_d", "Ω")
        if self.run_leakage + self.rotor_leakage <= 0 or self.start_leakage + self.rotor_leakage <= 0:
            raise OutOfRange(
                Message("the leakage reactances must not all be zero: such a machine has no inductance")
            )
        between(self.turns_ratio, 0.2, 5.0, "turns_ratio", N_("start over run turns"))
        positive(self.inertia, "inertia", "kg m²")
        if self.poles not in (2, 4, 6, 8):
            raise OutOfRange(Message("poles must be 2, 4, 6 or 8, got {poles}", poles=repr(self.poles)))
        between(self.hertz, *_HERTZ, "hertz", "Hz")
        between(self.celsius, -60.0, 250.0, "celsius", "°C")

    @property
    def rotor_ohms_start(self) -> float:
        """Rotor resistance referred to the start winding. [Ω]"""
        return self.turns_ratio**2 * self.rotor_ohms if self.rotor_ohms_d is None else self.rotor_ohms_d

    @property
    def rotor_leakage_start(self) -> float:
        """Rotor leakage referred to the start winding. [Ω]"""
        leakage = self.rotor_leakage_d
        return self.turns_ratio**2 * self.rotor_leakage if leakage is None else leakage

    @property
    def synchronous(self) -> float:
        """Synchronous speed at the motor's own frequency. [rad/s]"""
        return 4 * math.pi * self.hertz / self.poles


@dataclass(frozen=True, slots=True)
class Steady:
    """A steady state at constant speed."""

    #: Currents of the run winding, the start winding and both together. [A]
    run: complex
    start: complex
    line: complex
    terminal_volts: complex  #: Across the run winding. [V]
    #: Across the start winding alone, induced if its circuit is open: what a potential relay sees. [V]
    start_volts: complex
    #: Across what is in series with the start winding: the run capacitor where there is one; the start gear
    #: and its capacitor together where there is none. [V]
    capacitor_volts: complex
    #: The start winding's current, divided between the start gear and the run capacitor. [A]
    through_gear: complex
    through_capacitor: complex
    torque: float  #: Mean electromagnetic torque. [N m]
    torque_ripple: float  #: Amplitude of the torque at twice the line frequency. [N m]
    power_in: float  #: From the supply, its own loss excluded. [W]
    #: Power across the air gap by the field that turns with the rotor, and against it. [W]
    forward: float
    backward: float
    #: Copper of both windings; cage; resistance in series with the start winding. [W]
    stator_loss: float
    rotor_loss: float
    outside_loss: float
    power_out: float  #: Mechanical, before friction. [W]


def _outside(gear: complex | None, capacitor: complex | None) -> complex | None:
    """Gear and run capacitor side by side; None is an open branch."""
    if gear is None or capacitor is None:
        return capacitor if gear is None else gear
    both = gear + capacitor
    if gear == 0 or capacitor == 0:
        return 0j
    if both == 0:
        raise OutOfRange(
            Message("start gear and run capacitor resonate without loss: give either some resistance")
        )
    return gear * capacitor / both


def _checked(volts: float, hertz: float | None, slip: float, motor: Motor) -> float:
    not_negative(volts, "volts", "V")
    between(slip, *_SLIP, "slip", "(1 at standstill, 0 at synchronous speed)")
    return motor.hertz if hertz is None else between(hertz, *_HERTZ, "hertz", "Hz")


#: Two by two, row by row.
_Square = tuple[tuple[complex, complex], tuple[complex, complex]]


def _induced(motor: Motor, m: float, mutual: tuple[float, float], rotor: tuple[float, float]) -> _Square:
    """Rotor currents over stator currents, [[qq, qd], [dq, dd]], from the two rotor voltage equations. [-]"""
    n, (xm, xd), (xrq, xrd) = motor.turns_ratio, mutual, rotor
    a, b = motor.rotor_ohms + 1j * xrq, -m / n * xrd
    c, d = n * m * xrq, motor.rotor_ohms_start + 1j * xrd
    e, g, o, h = 1j * xm, -m / n * xd, n * m * xm, 1j * xd
    det = a * d - b * c
    return (
        ((b * o - d * e) / det, (b * h - d * g) / det),
        ((c * e - a * o) / det, (c * g - a * h) / det),
    )


def _windings(motor: Motor, k: float, mutual: tuple[float, float], induced: _Square) -> _Square:
    """Impedance of run and start winding with the rotor's part, at `k` times the motor's frequency. [Ω]"""
    (xm, xd), ((qq, qd), (dq, dd)) = mutual, induced
    return (
        (motor.run_ohms + 1j * (motor.run_leakage * k + xm) + 1j * xm * qq, 1j * xm * qd),
        (1j * xd * dq, motor.start_ohms + 1j * (motor.start_leakage * k + xd) + 1j * xd * dd),
    )


def _driven(
    volts: float, windings: _Square, supply: complex, outside: complex | None
) -> tuple[complex, complex]:
    """Currents of run and start winding behind the supply; `outside` is in series with the latter. [A]"""
    (z11, z12), (z21, z22) = windings
    if outside is None:
        return volts / (supply + z11), 0j
    s11, s12, s21, s22 = supply + z11, supply + z12, supply + z21, supply + z22 + outside
    whole = s11 * s22 - s12 * s21
    return volts * (s22 - s12) / whole, volts * (s11 - s21) / whole


def steady(
    motor: Motor,
    volts: float,
    slip: float = 1.0,
    *,
    hertz: float | None = None,
    start_impedance: complex | None = None,
    run_capacitor: complex | None = None,
    supply_impedance: complex = 0j,
) -> Steady:
    """
    Currents, torque and powers at constant slip, in q-d form.

    The supply has `volts` [V] behind its impedance [Ω] and `hertz` [Hz], the motor's own if left out; `slip`
    is 1 at standstill and 0 at synchronous speed. [-] `start_impedance` is that of the start gear and its
    capacitor in series, None if open, `run_capacitor` that beside the start gear, None if there is none. [Ω]
    Raises `OutOfRange` if volts are below zero, or slip or frequency lie outside their range.

    With m = 1 − slip and n the turns ratio, rotor voltages are
    0 = r_qr i_qr + jω λ_qr − m ω λ_dr/n and 0 = r_dr i_dr + jω λ_dr + n m ω λ_qr;
    T = (P/2) Re(n λ_qr i*_dr − λ_dr i*_qr / n). Air-gap powers follow from T ω_s = P_f − P_b and
    rotor loss = s P_f + (2 − s) P_b, which needs no division by the slip.
    """
    f, n, m = _checked(volts, hertz, slip, motor), motor.turns_ratio, 1.0 - slip
    k = f / motor.hertz
    xm, xd = motor.run_magnetizing * k, motor.start_magnetizing * k
    xrq, xrd = motor.rotor_leakage * k + xm, motor.rotor_leakage_start * k + xd
    (qq, qd), (dq, dd) = induced = _induced(motor, m, (xm, xd), (xrq, xrd))
    windings = _windings(motor, k, (xm, xd), induced)
    z21, z22 = windings[1]
    run, start = _driven(volts, windings, supply_impedance, _outside(start_impedance, run_capacitor))
    iqr, idr = qq * run + qd * start, dq * run + dd * start
    lqr, ldr = (xm * run + xrq * iqr) / (2 * math.pi * f), (xd * start + xrd * idr) / (2 * math.pi * f)
    torque = motor.poles / 2 * (n * lqr * idr.conjugate() - ldr * iqr.conjugate() / n).real
    ripple = motor.poles / 2 * abs(n * lqr * idr - ldr * iqr / n)
    terminal = volts - supply_impedance * (run + start)
    start_volts = z21 * run + z22 * start
    across = terminal - start_volts
    through = 0j if run_capacitor is None else start if run_capacitor == 0 else across / run_capacitor
    rotor = motor.rotor_ohms * abs(iqr) ** 2 + motor.rotor_ohms_start * abs(idr) ** 2
    gap = torque * 4 * math.pi * f / motor.poles
    return Steady(
        run=run,
        start=start,
        line=run + start,
        terminal_volts=terminal,
        start_volts=start_volts,
        capacitor_volts=across,
        through_gear=start - through,
        through_capacitor=through,
        torque=torque,
        torque_ripple=ripple,
        power_in=(terminal * (run + start).conjugate()).real,
        forward=(rotor + (2 - slip) * gap) / 2,
        backward=(rotor - slip * gap) / 2,
        stator_loss=motor.run_ohms * abs(run) ** 2 + motor.start_ohms * abs(start) ** 2,
        rotor_loss=rotor,
        outside_loss=(across * start.conjugate()).real,
        power_out=m * gap,
    )
