"""
Nameplate: the currents a motor may draw, and the protection that belongs to them.

Amperes, volts, horsepower (the code's tables are written in it). On a hermetic motor-compressor the marked
rated-load and locked-rotor currents win over every table here (NEC 440.4, 440.6).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from humclick.errors import OutOfRange, Unknown
from humclick.messages import Message
from humclick.physics.bounds import positive
from humclick.sourced import read_data, sourced

__all__ = [
    "HermeticLimits",
    "full_load_amps",
    "hermetic_limits",
    "locked_rotor_amps",
    "table_locked_rotor_amps",
    "ultimate_trip_amps",
]


def _number(table: str, name: str) -> float:
    where = f"nameplate.toml {table}.{name}"
    return sourced(read_data("humclick.physics", "nameplate.toml")[table][name], where).value


@dataclass(frozen=True, slots=True)
class HermeticLimits:
    """
    Largest settings that protect a hermetic motor-compressor. All in [A].

    Attributes
    ----------
    overload_relay : float
        Separate overload relay.
    fuse_as_overload : float
        Fuse or inverse-time breaker that serves as the overload protection.
    thermal_protector : float
        Greatest continuous current a thermal protector or protective system may let pass.
    branch_device : float
        Short-circuit and ground-fault device of the branch circuit.
    branch_device_to_start : float
        The same, where the former will not carry the start.
    """

    overload_relay: float
    fuse_as_overload: float
    thermal_protector: float
    branch_device: float
    branch_device_to_start: float


def locked_rotor_amps(letter: str, horsepower: float, volts: float, phases: int = 1) -> tuple[float, float]:
    """
    Lowest and highest locked-rotor current a nameplate code letter stands for. [A]

    Parameters
    ----------
    letter : str
        Code letter, A to V without I, O and Q.
    horsepower : float
        Rated power. [hp]
    volts : float
        Rated voltage. [V]
    phases : int
        1 or 3.

    Returns
    -------
    tuple of float
        The highest of letter V is infinite.

    Raises
    ------
    Unknown
        If the letter is not in the list.
    OutOfRange
        If a number is not above zero or the phases are neither 1 nor 3.

    Notes
    -----
    1000 × kVA/hp × hp / V, and √3 V for three phases: NEC Table 430.7(B). For a hermetic unit the
    locked-rotor current on the nameplate wins (NEC 440.4, 440.6).

    Examples
    --------
    >>> tuple(round(amps, 1) for amps in locked_rotor_amps("H", 1, 230))
    (27.4, 30.8)
    """
    letters = read_data("humclick.physics", "nameplate.toml")["code_letters"]
    known = [key for key in letters if len(key) == 1]
    key = str(letter).strip().upper()
    if key not in known:
        raise Unknown(Message("locked-rotor code letter"), str(letter), known)
    if phases not in (1, 3):
        raise OutOfRange(Message("phases must be 1 or 3, got {phases}", phases=repr(phases)))
    line = positive(volts, "rated voltage", "V") * (math.sqrt(3) if phases == 3 else 1)
    amps = 1000 * positive(horsepower, "rated power", "hp") / line
    low, high = letters[key]
    return low * amps, high * amps


def _from_table(table: str, horsepower: float, volts: float) -> float:
    data = read_data("humclick.physics", "nameplate.toml")
    power = positive(horsepower, "rated power", "hp")
    line = positive(volts, "rated voltage", "V")
    rows = {name: row for name, row in data[table].items() if name not in ("unit", "source")}
    ranges = {name: span for name, span in data["columns"].items() if name not in ("unit", "source")}
    columns = [name for name, (low, high) in ranges.items() if low <= line <= high]
    if not columns:
        raise Unknown(
            Message("voltage of the current table"), f"{line:g} V", [f"{name} V" for name in ranges]
        )
    for name, row in rows.items():
        if math.isclose(power, float(sum(Fraction(part) for part in name.split())), rel_tol=0.01):
            return float(row[list(ranges).index(columns[0])])
    raise Unknown(
        Message("horsepower of the current table"), f"{power:g} hp", [f"{name} hp" for name in rows]
    )


def full_load_amps(horsepower: float, volts: float) -> float:
    """
    Table full-load current of a general single-phase motor. [A]

    For a hermetic unit the rated-load current on its nameplate wins (NEC 440.4, 440.6).

    Parameters
    ----------
    horsepower : float
        1/6 to 5, as listed. [hp]
    volts : float
        110 to 120, 208, or 220 to 240. [V]

    Raises
    ------
    Unknown
        If the power or the voltage is not in the table.
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    NEC Table 430.248.

    Examples
    --------
    >>> full_load_amps(1 / 3, 115), full_load_amps(0.5, 230)
    (7.2, 4.9)
    """
    return _from_table("full_load", horsepower, volts)


def table_locked_rotor_amps(horsepower: float, volts: float) -> float:
    """
    Table locked-rotor current of a general single-phase motor. [A]

    Meant by the code for choosing switches; the nameplate of a hermetic unit wins.

    Parameters
    ----------
    horsepower : float
        1/2 to 5, as listed. [hp]
    volts : float
        110 to 120, 208, or 220 to 240. [V]

    Raises
    ------
    Unknown
        If the power or the voltage is not in the table.
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    NEC Table 430.251(A).

    Examples
    --------
    >>> table_locked_rotor_amps(0.75, 115)
    82.8
    """
    return _from_table("locked_rotor", horsepower, volts)


def hermetic_limits(rated_load_amps: float) -> HermeticLimits:
    """
    Largest protective settings for a hermetic motor-compressor.

    Parameters
    ----------
    rated_load_amps : float
        RLA, or the branch-circuit selection current if the nameplate has a greater one. [A]

    Raises
    ------
    OutOfRange
        If the current is not above zero.

    Notes
    -----
    NEC 440.52(A) and (B): 140, 125 and 156 %; NEC 440.22(A): 175 %, up to 225 % if it will not start.

    Examples
    --------
    >>> round(hermetic_limits(5.0).thermal_protector, 2)
    7.8
    """
    rla = positive(rated_load_amps, "rated-load current", "A")
    names = (
        "overload_relay",
        "fuse_as_overload",
        "thermal_protector",
        "branch_device",
        "branch_device_to_start",
    )
    return HermeticLimits(**{name: _number("hermetic", name) * rla for name in names})


def ultimate_trip_amps(full_load: float) -> float:
    """
    Greatest continuous current the thermal protector of a general motor may let pass. [A]

    Parameters
    ----------
    full_load : float
        Table full-load current. [A]

    Raises
    ------
    OutOfRange
        If the current is not above zero.

    Notes
    -----
    170 % up to 9 A, 156 % up to 20 A, 140 % above: NEC 430.32(A)(2).

    Examples
    --------
    >>> round(ultimate_trip_amps(9.0), 2)
    15.3
    """
    amps = positive(full_load, "full-load current", "A")
    trip = read_data("humclick.physics", "nameplate.toml")["ultimate_trip"]
    step = sum(amps > limit for limit in trip["up_to_amps"])
    return float(trip["factor"][step] * amps)
