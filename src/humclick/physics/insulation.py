"""
Insulation: what a resistance to ground is worth, and whether a machine may be powered on it.

Ohms and degrees Celsius. Proved with an insulation tester (500 V dc for windings under 1000 V), power off,
never while the compressor is under vacuum: the winding flashes over. `standing` is the one rule before
power; every face and all of judgement ask it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from humclick.errors import Unknown
from humclick.messages import Message, listed
from humclick.physics.bounds import between, positive
from humclick.sourced import read_data, sourced

__all__ = [
    "InsulationStanding",
    "InsulationVerdict",
    "PolarizationVerdict",
    "corrected_to_40",
    "judge_insulation",
    "judge_polarization",
    "polarization_index",
    "proves_insulation",
    "standing",
]

_TOP_OF_RANGE = "Ω (for an over-range reading give the top of the tester's range)"


@cache
def _number(table: str, name: str) -> float:
    where = f"insulation.toml {table}.{name}"
    return sourced(read_data("humclick.physics", "insulation.toml")[table][name], where).value


class InsulationStanding(StrEnum):
    """What a reading to the shell allows."""

    NEVER = "never"
    RETEST = "retest"
    UNPROVED = "unproved"
    PASSES = "passes"


def proves_insulation(test_voltage: float | None) -> bool:
    """
    Whether a meter proves insulation; an ohmmeter does not.

    Parameters
    ----------
    test_voltage : float or None
        Of its insulation range; None where it has none. [V]
    """
    return test_voltage is not None and test_voltage >= _number("power", "tester_volts")


def standing(
    ohms: float, *, tester: bool = False, at_least: bool = False, celsius: float | None = None
) -> InsulationStanding:
    """
    What a resistance to the shell allows before power.

    Parameters
    ----------
    ohms : float
        As read; for OL the lower bound that the range gives. [Ω]
    tester : bool
        Read with an insulation tester, not an ohmmeter of a few volts.
    at_least : bool
        The display showed OL: the value is only a lower bound.
    celsius : float, optional
        Measured winding temperature. [°C]

    Returns
    -------
    InsulationStanding
        ``NEVER`` below the floor; ``UNPROVED`` where OL of a low range says too little; ``RETEST`` between
        floor and 5 MΩ: an insulation tester, warm or dry, and again; ``PASSES``.

    Notes
    -----
    The reading as it stands decides. Only a tester's reading at a measured temperature is carried to 40 °C,
    and only above the floor: the correction of IEEE 43 never lifts anything over it. A temperature beyond its
    range lifts nothing: a colder one counts as the coldest, a hotter one is left out.

    Examples
    --------
    >>> standing(600e3).value, standing(3e6).value, standing(2e6, at_least=True).value, standing(20e6).value
    ('never', 'retest', 'unproved', 'passes')
    >>> standing(0.9e6, tester=True, celsius=90.0).value
    'never'
    """
    if not at_least and ohms < _number("power", "floor"):
        return InsulationStanding.NEVER
    judged, lowest = ohms, _number("correction", "lowest")
    if tester and ohms > 0 and celsius is not None and celsius <= _number("correction", "highest"):
        judged = corrected_to_40(ohms, max(celsius, lowest))
    if judged >= _number("power", "retest"):
        return InsulationStanding.PASSES
    return InsulationStanding.UNPROVED if at_least else InsulationStanding.RETEST


@dataclass(frozen=True, slots=True)
class InsulationVerdict:
    """
    An insulation reading against the rule before power.

    Attributes
    ----------
    ohms_at_40 : float
        The reading carried to 40 °C. [Ω]
    minimum : float
        Below it at 40 °C, warm or dry and test again. [Ω]
    floor : float
        Below it, as read, never power. [Ω]
    standing : InsulationStanding
        What it allows.
    passes : bool
        Whether nothing more is asked for.
    says : str
        One plain sentence.
    caveat : str
        Where the standard stops.
    """

    ohms_at_40: float
    minimum: float
    floor: float
    standing: InsulationStanding
    passes: bool
    says: Message
    caveat: Message


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
    says: Message


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


def judge_insulation(ohms: float, celsius: float) -> InsulationVerdict:
    """
    Judge a winding's resistance to ground, read with an insulation tester at a measured temperature.

    Parameters
    ----------
    ohms : float
        Reading of an insulation tester. [Ω]
    celsius : float
        Winding temperature. [°C]

    Raises
    ------
    OutOfRange
        If the reading or the temperature is not usable.

    Notes
    -----
    `standing` decides; minimum and correction from IEEE 43; "good" for a hermetic motor from 100 MΩ is
    common practice.

    Examples
    --------
    >>> judge_insulation(30e6, 20).passes
    True
    >>> judge_insulation(0.4e6, 25).passes
    False
    """
    at_40, minimum, floor = (
        corrected_to_40(ohms, celsius),
        _number("power", "retest"),
        _number("power", "floor"),
    )
    allows = standing(ohms, tester=True, celsius=celsius)
    shown = Message("{ohms:.3g} MΩ at 40 °C", ohms=at_40 / 1e6)
    if allows is InsulationStanding.NEVER:
        says = Message(
            "{ohms:.3g} MΩ is below {floor:.3g} MΩ: never power it. Clean or dry it, then test again.",
            ohms=ohms / 1e6,
            floor=floor / 1e6,
        )
    elif allows is InsulationStanding.RETEST:
        says = Message(
            "{shown} is below {minimum:.3g} MΩ: a warning, not a verdict. Warm or dry the compressor "
            "and test again before power.",
            shown=shown,
            minimum=minimum / 1e6,
        )
    elif at_40 < _number("hermetic", "good"):
        says = Message(
            "{shown}: enough for power, but low for a good hermetic motor. Suspect moisture or acid.",
            shown=shown,
        )
    else:
        says = Message("{shown}: good.", shown=shown)
    caveat = Message.of(read_data("humclick.physics", "insulation.toml")["caveat"])
    return InsulationVerdict(at_40, minimum, floor, allows, allows is InsulationStanding.PASSES, says, caveat)


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
        raise Unknown(Message("thermal class"), thermal_class, classes)
    index, minimum = polarization_index(ohms_at_1_min, ohms_at_10_min), _number("polarization", thermal_class)
    if ohms_at_1_min > _number("polarization", "ceiling"):
        return PolarizationVerdict(
            index, minimum, None, Message("Above 5000 MΩ after one minute the index says nothing.")
        )
    passes = index >= minimum
    says = Message(
        "Index {index:.2g}; class {name} wants {minimum:g} or more.",
        index=index,
        name=thermal_class,
        minimum=minimum,
    )
    if not passes:
        alone = Message("In a random winding this alone condemns nothing.")
        says = listed((says, alone), "space")
    return PolarizationVerdict(index, minimum, passes, says)
