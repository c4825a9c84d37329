"""
Copper: resistance and temperature of a winding.

Resistances in ohms, temperatures in degrees Celsius (the scale the law is written in).
"""

from __future__ import annotations

from humclick.errors import OutOfRange, Unknown
from humclick.messages import Message
from humclick.physics.bounds import between, positive
from humclick.sourced import read_data, sourced

__all__ = ["resistance_at", "temperature_from"]


def _number(table: str, name: str) -> float:
    return sourced(
        read_data("humclick.physics", "copper.toml")[table][name], f"copper.toml {table}.{name}"
    ).value


def _constant(material: str) -> float:
    known = read_data("humclick.physics", "copper.toml")["constant"]
    if material not in known:
        raise Unknown(Message("winding material"), material, known)
    return _number("constant", material)


def _celsius(temperature: float, name: str) -> float:
    return between(temperature, _number("range", "lowest"), _number("range", "highest"), name, "°C")


def resistance_at(
    temperature: float, resistance: float, measured_at: float, material: str = "copper"
) -> float:
    """
    Resistance of a winding at another temperature.

    Parameters
    ----------
    temperature : float
        Wanted winding temperature. [°C]
    resistance : float
        Measured resistance. [Ω]
    measured_at : float
        Winding temperature while it was measured. [°C]
    material : str
        ``copper`` or ``aluminium``.

    Returns
    -------
    float
        Resistance at `temperature`. [Ω]

    Raises
    ------
    OutOfRange
        If a temperature lies outside −60 … 250 °C or the resistance is not above zero.
    Unknown
        If the material is not in the list.

    Notes
    -----
    R₂ = R₁ (k + t₂) / (k + t₁), k = 235 for copper and 225 for aluminium: IEC 60034-1.

    Examples
    --------
    >>> round(resistance_at(75, 10.0, 20), 3)
    12.157
    """
    k = _constant(material)
    wanted = _celsius(temperature, "wanted winding temperature")
    measured = _celsius(measured_at, "winding temperature while measuring")
    return positive(resistance, "winding resistance", "Ω") * (k + wanted) / (k + measured)


def temperature_from(
    resistance_hot: float, resistance_cold: float, cold_temperature: float, material: str = "copper"
) -> float:
    """
    Temperature of a winding from its resistance hot and cold.

    Parameters
    ----------
    resistance_hot : float
        Resistance at the unknown temperature. [Ω]
    resistance_cold : float
        Resistance at the known temperature. [Ω]
    cold_temperature : float
        The known temperature. [°C]
    material : str
        ``copper`` or ``aluminium``.

    Returns
    -------
    float
        Winding temperature. [°C]

    Raises
    ------
    OutOfRange
        If a number is not usable, or the two resistances cannot belong to one winding.
    Unknown
        If the material is not in the list.

    Notes
    -----
    t₂ = (R₂ / R₁) (k + t₁) − k: IEC 60034-1, temperature rise by resistance.

    Examples
    --------
    >>> round(temperature_from(5.20, 4.00, 25), 1)
    103.0
    """
    k = _constant(material)
    cold = _celsius(cold_temperature, "cold winding temperature")
    hot_ohms = positive(resistance_hot, "hot resistance", "Ω")
    cold_ohms = positive(resistance_cold, "cold resistance", "Ω")
    temperature = hot_ohms / cold_ohms * (k + cold) - k
    lowest, highest = _number("range", "lowest"), _number("range", "highest")
    if not lowest - 1e-9 <= temperature <= highest + 1e-9:
        raise OutOfRange(
            Message(
                "{hot_ohms:g} Ω against {cold_ohms:g} Ω at {cold:g} °C would mean a winding at "
                "{temperature:.0f} °C, outside {lowest:g} to {highest:g} °C; take both "
                "readings again on the same two terminals",
                hot_ohms=hot_ohms,
                cold_ohms=cold_ohms,
                cold=cold,
                temperature=temperature,
                lowest=lowest,
                highest=highest,
            )
        )
    return temperature
