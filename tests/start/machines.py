"""Motors of the textbooks, as data for the checks."""

from __future__ import annotations

from dataclasses import replace

from humclick.start.machine import Motor

#: Krause, Wasynczuk and Sudhoff: 1/4 hp, 110 V, 60 Hz, four poles, capacitor start.
KRAUSE = Motor(
    run_ohms=2.02,
    run_leakage=2.79,
    run_magnetizing=66.8,
    start_ohms=7.14,
    start_leakage=3.22,
    start_magnetizing=92.9,
    rotor_ohms=4.12,
    rotor_leakage=2.12,
    turns_ratio=1.18,
    inertia=0.0146,
    poles=4,
    hertz=60.0,
    rotor_ohms_d=5.74,
    rotor_leakage_d=2.95,
)
#: Its start capacitor and contact at 60 Hz. [Ω]
KRAUSE_CAPACITOR = 3 - 14.5j
#: The same with a cage that is exactly round: n² times the run side on both axes.
ROUND = replace(KRAUSE, start_magnetizing=66.8 * 1.18**2, rotor_ohms_d=None, rotor_leakage_d=None)


def main_only(
    run_ohms: float,
    run_leakage: float,
    rotor_ohms: float,
    rotor_leakage: float,
    magnetizing: float,
    poles: int = 4,
    hertz: float = 60.0,
) -> Motor:
    """A motor of which only the main winding is given; the start winding is any, and stays open."""
    return Motor(
        run_ohms=run_ohms,
        run_leakage=run_leakage,
        run_magnetizing=magnetizing,
        start_ohms=run_ohms,
        start_leakage=run_leakage,
        start_magnetizing=magnetizing,
        rotor_ohms=rotor_ohms,
        rotor_leakage=rotor_leakage,
        turns_ratio=1.0,
        inertia=0.01,
        poles=poles,
        hertz=hertz,
    )
