"""A case as a row of numbers for the kernel."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from humclick.start import rows as r
from humclick.start.case import (
    Capacitor,
    ClosedCircuit,
    CurrentRelay,
    PotentialRelay,
    Protector,
    Ptc,
    SpeedSwitch,
    StartCase,
    TimedStarter,
)
from humclick.start.heat import constant
from humclick.start.machine import Motor

__all__ = ["audible_amps", "pack_case", "pack_many"]

#: Stands for no resistance in a branch that would otherwise divide by nothing. [Ω]
_LEAST = 1.0e-3


def pack_many(cases: Sequence[StartCase]) -> NDArray[np.float64]:
    """
    Pack cases, one a row.

    For `humclick.start.batch.simulate_packed`; columns are those of `humclick.start.rows`.
    """
    table = np.zeros((len(cases), r.COLUMNS))
    for row, case in zip(table, cases, strict=True):
        _fill(row, case)
    return table


def pack_case(case: StartCase) -> NDArray[np.float64]:
    """Pack one case: a single row of `pack_many`."""
    row: NDArray[np.float64] = pack_many([case])[0]
    return row


def audible_amps(motor: Motor, volts: float) -> float:
    """
    Line current below which no hum is heard. [A]

    The share `audible` (heat.toml) of the run winding's locked-rotor current at that voltage.
    """
    rotor = complex(motor.rotor_ohms, motor.rotor_leakage)
    magnetizing = 1j * motor.run_magnetizing
    z = complex(motor.run_ohms, motor.run_leakage) + rotor * magnetizing / (rotor + magnetizing)
    return constant("audible") * volts / abs(z)


def _fill(row: NDArray[np.float64], case: StartCase) -> None:
    _motor(row, case)
    supply, faults, heat, warm = case.supply, case.faults, case.heat, case.temperatures
    row[r.P_VOLTS : r.P_BREAKER + 1] = (
        supply.volts, supply.hertz, supply.angle, supply.ohms, supply.henries, _breaker(case),
    )  # fmt: skip
    row[r.P_LINE_OPEN] = faults.line_open
    row[r.P_BRIDGE] = 1 / faults.bridge_ohms
    _gear(row, case)
    _protector(row, case.protector)
    load = case.load
    row[r.P_GAS] = load.gas_torque
    row[r.P_COS : r.P_COS + 4] = load.cosines
    row[r.P_SIN : r.P_SIN + 4] = load.sines
    row[r.P_DIFF : r.P_SWAPPED + 1] = (
        load.difference, load.pull_apart, load.equalise, load.friction, load.breakaway, load.viscous,
        load.fan, load.angle, load.seized,
        -load.speed if faults.swapped else load.speed, faults.swapped,
    )  # fmt: skip
    row[r.P_HQ : r.P_GSHELL + 1] = (
        heat.run_capacity, heat.start_capacity, heat.shell_capacity,
        heat.run_conductance, heat.start_conductance, heat.shell_conductance,
    )  # fmt: skip
    run, start = (warm.start, warm.run) if faults.swapped else (warm.run, warm.start)
    row[r.P_TQ : r.P_OPEN + 1] = (run, start, warm.shell, warm.air, warm.ptc, warm.protector, warm.open)
    if faults.swapped:
        for a, b in ((r.P_HQ, r.P_HD), (r.P_GQ, r.P_GD)):
            row[a], row[b] = row[b], row[a]
    row[r.P_AUDIBLE] = audible_amps(case.motor, max(supply.volts, 1.0))


def _breaker(case: StartCase) -> float:
    """Half-cycle current that opens the breaker: none where the earth fault opens it from the first."""
    supply = case.supply
    earth = supply.volts / min(case.faults.run_earth_ohms, case.faults.start_earth_ohms)
    return 0.0 if earth > supply.earth_amps else min(supply.breaker_amps, 1e30)


def _motor(row: NDArray[np.float64], case: StartCase) -> None:
    m, faults = case.motor, case.faults
    w = 2 * math.pi * m.hertz
    q = (m.run_ohms, m.run_leakage / w, m.run_magnetizing / w, m.rotor_ohms, m.rotor_leakage / w)
    d = (
        m.start_ohms,
        m.start_leakage / w,
        m.start_magnetizing / w,
        m.rotor_ohms_start,
        m.rotor_leakage_start / w,
    )
    ratio, shorted_q, shorted_d = m.turns_ratio, faults.run_shorted, faults.start_shorted
    run_open, start_open = faults.run_open, faults.start_open
    if faults.swapped:
        q, d, ratio, shorted_q, shorted_d = d, q, 1 / ratio, shorted_d, shorted_q
        run_open, start_open = start_open, run_open
    k = constant("shared_leakage")
    shorted = shorted_q or shorted_d
    left_q, left_d = 1 - shorted_q, 1 - shorted_d
    row[r.P_RUN_OHMS : r.P_CELSIUS + 1] = (
        left_q * q[0], left_d * d[0], q[3], d[3], ratio, m.poles / 2, m.inertia, m.celsius,
    )  # fmt: skip
    row[r.P_LQQ], row[r.P_LDD] = left_q**2 * (q[1] + q[2]), left_d**2 * (d[1] + d[2])
    row[r.P_LRR], row[r.P_LMM] = q[4] + q[2], d[4] + d[2]
    row[r.P_LQR], row[r.P_LDM] = left_q * q[2], left_d * d[2]
    if shorted:
        ohms, leakage, magnetizing = (q if shorted_q else d)[:3]
        row[r.P_LFF] = shorted**2 * (leakage + magnetizing)
        along = shorted * (1 - shorted) * (magnetizing + k * leakage)
        row[r.P_LQF if shorted_q else r.P_LDF] = along
        row[r.P_LRF if shorted_q else r.P_LMF] = shorted * magnetizing
        row[r.P_SHORT_OHMS] = shorted * ohms + faults.short_ohms
        row[r.P_SHORTED] = 1.0
    coil = case.gear.coil_ohms if isinstance(case.gear, CurrentRelay) else 0.0
    row[r.P_RUN_SERIES] = faults.run_series_ohms + coil
    row[r.P_START_SERIES] = faults.start_series_ohms
    row[r.P_RUN_OPEN], row[r.P_START_OPEN] = run_open, start_open


def _gear(row: NDArray[np.float64], case: StartCase) -> None:
    gear, faults = case.gear, case.faults
    shunt = 1 / faults.start_earth_ohms
    row[r.P_UP], row[r.P_PTC_SPAN], row[r.P_PTC_C] = 1e30, 1.0, 1.0
    kind, contact = r.NONE, _LEAST
    match gear:
        case ClosedCircuit():
            kind, contact = r.PLAIN, gear.ohms
        case Ptc():
            kind = r.PTC
            row[r.P_PTC_OHMS : r.P_PTC_G + 1] = (
                gear.cold_ohms, gear.knee, gear.span, gear.decades * math.log(10), gear.capacity,
                gear.conductance,
            )  # fmt: skip
        case CurrentRelay():
            kind, contact = r.CURRENT, gear.contact_ohms
            upright = math.cos(gear.tilt)
            row[r.P_UP], row[r.P_DOWN] = gear.pick_up**2 * upright, gear.drop_out**2 * upright
        case PotentialRelay():
            kind, contact = r.POTENTIAL, gear.contact_ohms
            row[r.P_UP], row[r.P_DOWN] = gear.pick_up**2, gear.drop_out**2
            shunt += 1 / gear.coil_ohms
        case TimedStarter():
            kind, contact = r.TIMED, gear.contact_ohms
            row[r.P_ON], row[r.P_REARM] = gear.seconds, gear.rearm
        case SpeedSwitch():
            kind, contact = r.SPEEDSWITCH, gear.contact_ohms
            row[r.P_UP], row[r.P_DOWN] = gear.opens_at**2, gear.closes_at**2
    if isinstance(gear, CurrentRelay | PotentialRelay):
        row[r.P_TRAVEL], row[r.P_BOUNCE] = gear.travel, gear.bounce
    stuck = getattr(gear, "stuck", "")
    if isinstance(gear, PotentialRelay) and math.isinf(gear.coil_ohms):
        stuck = stuck or "closed"
    cut = case.start_capacitor is not None and case.start_capacitor.farads == 0
    if cut and case.start_capacitor is not None and math.isinf(case.start_capacitor.leakage_ohms):
        stuck = "open"
    row[r.P_STUCK] = {"": 0.0, "open": -1.0, "closed": 1.0}[stuck]
    row[r.P_KIND], row[r.P_CONTACT], row[r.P_SHUNT] = kind, contact, shunt
    row[r.P_ICS], row[r.P_CS_OHMS], row[r.P_CS_LEAK] = _capacitor(case.start_capacitor)
    there = case.run_capacitor
    if there is not None and not (there.farads == 0 and math.isinf(there.leakage_ohms)):
        row[r.P_HAS_CR] = 1.0
        row[r.P_ICR], row[r.P_CR_OHMS], row[r.P_CR_LEAK] = _capacitor(there)
    else:
        row[r.P_CR_OHMS] = 1.0


def _capacitor(part: Capacitor | None) -> tuple[float, float, float]:
    """Inverse capacitance, series ohms, leakage conductance: a wire where there is none or it is shorted."""
    if part is None:
        return 0.0, 0.0, 0.0
    if math.isinf(part.farads):
        return 0.0, part.loss_ohms, 0.0
    if part.farads == 0:  # only its bleed resistor is left
        return 0.0, part.loss_ohms + min(part.leakage_ohms, 1e9), 0.0
    return 1 / part.farads, part.loss_ohms, 1 / part.leakage_ohms


def _protector(row: NDArray[np.float64], part: Protector | None) -> None:
    row[r.P_DISC_C], row[r.P_DISC_G] = 1.0, 1.0
    if part is None:
        return
    row[r.P_GUARD] = {"": 1.0, "open": -1.0, "closed": 0.0}[part.stuck]
    inside = part.to_winding if part.inside else 0.0
    shell = 1 - part.to_winding if part.inside else part.to_shell
    row[r.P_HEATER : r.P_SHARE_SHELL + 1] = (
        part.heater_ohms, part.capacity, part.conductance, part.trip, part.reset, inside, shell,
    )  # fmt: skip
