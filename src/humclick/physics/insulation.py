"""
Insulation: what a resistance to ground is worth.

Ohms and degrees Celsius. Taken with an insulation tester (500 V dc for windings under 1000 V), power off,
never while the compressor is under vacuum: the winding flashes over.
"""

from __future__ import annotations

from dataclasses import dataclass

from humclick.errors import Unknown
from humclick.physics.bounds import between, positive
from humclick.sourced import read_data, sourced

__all__ = [
    "InsulationVerdict",
    "PolarizationVerdict",
    "corrected_to_40",
    "judge",
    "judge_polarization",
    "minimum_ohms",
    "polarization_index",
]

_TOP_OF_RANGE = "Ω (for an over-range reading give the top of the tester's range)"


def _number(table: str, name: str) -> float:
    where = f"insulation.toml {table}.{name}"
    return sourced(read_data("humclick.physics", "insulation.toml")[table][name], where).value


@dataclass(frozen=True, slots=True)
class InsulationVerdict:
    """
    An insulation reading against its minimum.

    Attributes
    ----------
    ohms_at_40 : float
        The reading carried to 40 °C. [Ω]
    minimum : float
        What it has to reach at 40 °C. [Ω]
    passes : bool
        Whether it does.
    says : str
        One plain sentence.
    caveat : str
        Where the standard stops.
    """

    ohms_at_40: float
    minimum: float
    passes: bool
    says: str
    caveat: str


@dataclass(frozen=True, slots=True)
class PolarizationVerdict:
    """
    A polarization index against its minimum.

    Attributes
    ----------
    index : float
        Ten-minute over one-minute reading. [-]
    minimum : float
        For the thermal class. [-]
    passes : bool or None
        None when the index says nothing because the insulation is too good.
    says : str
        One plain sentence.
    """

    index: float
    minimum: float
    passes: bool | None
    says: str


def minimum_ohms(winding: str = "random wound", kilovolts: float = 0.23) -> float:
    """
    Smallest insulation resistance at 40 °C with which a winding may be energised. [Ω]

    Parameters
    ----------
    winding : str
        ``random wound`` (any hermetic motor), ``form wound`` or ``before 1970``.
    kilovolts : float
        Rated voltage; used only for ``before 1970``. [kV]

    Raises
    ------
    Unknown
        If the winding is none of the three.
    OutOfRange
        If the voltage is not above zero.

    Notes
    -----
    IEEE 43-2013. Its scope begins at 750 W, so for a small hermetic motor it is guidance.

    Examples
    --------
    >>> minimum_ohms() / 1e6, minimum_ohms("before 1970", 0.23) / 1e6
    (5.0, 1.23)
    """
    rated = positive(kilovolts, "rated voltage", "kV")
    known = read_data("humclick.physics", "insulation.toml")["minimum"]
    if winding == "before 1970":
        return _number("before_1970", "per_kilovolt") * rated + _number("before_1970", "extra")
    if winding not in known:
        raise Unknown("kind of winding", winding, (*known, "before 1970"))
    return _number("minimum", winding)


def corrected_to_40(ohms: float, celsius: float) -> float:
    """
    Insulation resistance carried to 40 °C. [Ω]

    Parameters
    ----------
    ohms : float
        Reading. [Ω]
    celsius : float
        Winding temperature while it was taken; above the dew point. [°C]

    Raises
    ------
    OutOfRange
        If the reading is not above zero (give the top of the range for an over-range reading), or the
        temperature lies outside −10 … 110 °C.

    Notes
    -----
    R₄₀ = R 0.5^((40 − t) / 10): IEEE 43, thermoplastic insulation; thermosetting insulation changes less.

    Examples
    --------
    >>> corrected_to_40(100e6, 20) / 1e6
    25.0
    """
    lowest, highest = _number("correction", "lowest"), _number("correction", "highest")
    t = between(celsius, lowest, highest, "winding temperature", "°C")
    reading = positive(ohms, "insulation resistance", _TOP_OF_RANGE)
    exponent = (_number("correction", "reference") - t) / _number("correction", "halving")
    return float(reading * 0.5**exponent)


def judge(
    ohms: float, celsius: float, winding: str = "random wound", kilovolts: float = 0.23
) -> InsulationVerdict:
    """
    Judge a winding's resistance to ground.

    Parameters
    ----------
    ohms : float
        Reading of an insulation tester. [Ω]
    celsius : float
        Winding temperature. [°C]
    winding, kilovolts
        As in `minimum_ohms`.

    Raises
    ------
    OutOfRange
        If the reading or the temperature is not usable.
    Unknown
        If the kind of winding is not in the list.

    Notes
    -----
    Minimum and correction from IEEE 43; "good" for a hermetic motor from 100 MΩ is common practice.

    Examples
    --------
    >>> judge(30e6, 20).passes
    True
    >>> judge(0.4e6, 25).passes
    False
    """
    at_40, minimum = corrected_to_40(ohms, celsius), minimum_ohms(winding, kilovolts)
    passes = at_40 >= minimum
    shown, floor = f"{at_40 / 1e6:.3g} MΩ at 40 °C", f"{minimum / 1e6:.3g} MΩ"
    if not passes:
        says = f"{shown} is below the {floor} wanted: do not energise; dry or clean, then measure again."
    elif at_40 < _number("hermetic", "good"):
        says = (
            f"{shown} is above the {floor} wanted, yet less than a good hermetic motor: "
            "suspect moisture or acid."
        )
    else:
        says = f"{shown} is well above the {floor} wanted."
    return InsulationVerdict(
        at_40, minimum, passes, says, str(read_data("humclick.physics", "insulation.toml")["caveat"])
    )


def polarization_index(ohms_at_1_min: float, ohms_at_10_min: float) -> float:
    """
    Insulation resistance after ten minutes over that after one. [-]

    Parameters
    ----------
    ohms_at_1_min, ohms_at_10_min : float
        Readings with the test voltage kept on. [Ω]

    Raises
    ------
    OutOfRange
        If a reading is not above zero.

    Notes
    -----
    IEEE 43. In a random winding the absorption current is gone in 2–3 min, so a low index alone condemns
    nothing.

    Examples
    --------
    >>> polarization_index(60e6, 180e6)
    3.0
    """
    one = positive(ohms_at_1_min, "insulation resistance after 1 min", _TOP_OF_RANGE)
    return positive(ohms_at_10_min, "insulation resistance after 10 min", _TOP_OF_RANGE) / one


def judge_polarization(
    ohms_at_1_min: float, ohms_at_10_min: float, thermal_class: str = "B"
) -> PolarizationVerdict:
    """
    Judge a polarization index for a thermal class.

    Parameters
    ----------
    ohms_at_1_min, ohms_at_10_min : float
        Readings with the test voltage kept on. [Ω]
    thermal_class : str
        ``A``, ``B``, ``F`` or ``H``.

    Raises
    ------
    OutOfRange
        If a reading is not above zero.
    Unknown
        If the thermal class is not in the list.

    Notes
    -----
    Minimum 1.5 for class A and 2.0 above; not judged above 5000 MΩ at one minute: IEEE 43.

    Examples
    --------
    >>> judge_polarization(60e6, 180e6, "F").passes
    True
    """
    classes = ("A", "B", "F", "H")
    if thermal_class not in classes:
        raise Unknown("thermal class", thermal_class, classes)
    index, minimum = polarization_index(ohms_at_1_min, ohms_at_10_min), _number("polarization", thermal_class)
    if ohms_at_1_min > _number("polarization", "ceiling"):
        return PolarizationVerdict(
            index, minimum, None, "Above 5000 MΩ after one minute the index says nothing."
        )
    passes = index >= minimum
    says = f"Index {index:.2g}; class {thermal_class} wants {minimum:g} or more."
    if not passes:
        says += " In a random winding this alone condemns nothing."
    return PolarizationVerdict(index, minimum, passes, says)
