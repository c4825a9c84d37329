"""The load of a reciprocating compressor: gas torque over the crank angle from the pressures."""

from __future__ import annotations

import math

from humclick.errors import OutOfRange
from humclick.messages import Message
from humclick.physics.bounds import between, positive

__all__ = ["indicated_work", "reciprocating"]

_POINTS = 1440
Four = tuple[float, float, float, float]


def _checked(
    displacement: float, suction: float, discharge: float, clearance: float, exponent: float
) -> None:
    positive(displacement, "displacement", "m³")
    positive(suction, "suction pressure", "Pa")
    if not discharge >= suction:
        raise OutOfRange(
            Message(
                "discharge pressure must not lie below suction ({suction:g} Pa), got {discharge:g}",
                suction=suction,
                discharge=discharge,
            )
        )
    between(clearance, 0.001, 0.3, "clearance", "of the displacement")
    between(exponent, 1.001, 1.7, "polytropic exponent", "")


def indicated_work(
    displacement: float, suction: float, discharge: float, clearance: float = 0.03, exponent: float = 1.1
) -> float:
    """
    Work of one turn of an ideal single cylinder with clearance. [J]

    Parameters
    ----------
    displacement : float
        Stroke volume. [m³]
    suction, discharge : float
        Absolute pressures. [Pa]
    clearance : float
        Dead volume over displacement. [-]
    exponent : float
        Of compression and re-expansion. [-]

    Raises
    ------
    OutOfRange
        If discharge lies below suction or a value outside its range.

    Notes
    -----
    W = n/(n−1) p_s V_s ((p_d/p_s)^((n−1)/n) − 1), with V_s = V_d (1 + c − c (p_d/p_s)^(1/n)) drawn in:
    textbook indicator diagram (Stoecker and Jones, Refrigeration and Air Conditioning, from memory).
    """
    _checked(displacement, suction, discharge, clearance, exponent)
    ratio = discharge / suction
    drawn: float = displacement * (1 + clearance - clearance * ratio ** (1 / exponent))
    if drawn <= 0:
        raise OutOfRange(
            Message(
                "at a pressure ratio of {ratio:g} re-expansion fills the cylinder; nothing is drawn in",
                ratio=ratio,
            )
        )
    k = (exponent - 1) / exponent
    work: float = suction * drawn * (ratio**k - 1) / k
    return work


def reciprocating(
    displacement: float,
    suction: float,
    discharge: float,
    clearance: float = 0.03,
    exponent: float = 1.1,
    rod: float = 4.0,
) -> tuple[float, Four, Four]:
    """
    Mean gas torque of one cylinder, and harmonics 1 to 4 over that mean.

    Parameters
    ----------
    displacement, suction, discharge, clearance, exponent : float
        As in `indicated_work`. [m³], [Pa], [Pa], [-], [-]
    rod : float
        Connecting rod over crank radius. [-]

    Returns
    -------
    tuple of (mean, cosines, sines)
        Mean [N m]; cosines and sines of the crank angle from top dead centre [-]. The suction side of the
        piston is at suction pressure; harmonics above the fourth are left out.
    """
    work = indicated_work(displacement, suction, discharge, clearance, exponent)
    between(rod, 1.5, 50.0, "connecting rod over crank radius", "")
    mean = work / (2 * math.pi)
    if mean == 0:
        return 0.0, (0.0, 0.0, 0.0, 0.0), (0.0, 0.0, 0.0, 0.0)
    dead = clearance * displacement
    cosines, sines = [0.0] * 4, [0.0] * 4
    total = 0.0
    for k in range(_POINTS):
        x = 2 * math.pi * (k + 0.5) / _POINTS
        root = math.sqrt(rod**2 - math.sin(x) ** 2)
        volume = dead + 0.5 * displacement * (1 - math.cos(x) + rod - root)
        slope = 0.5 * displacement * (math.sin(x) + math.sin(x) * math.cos(x) / root)
        if x < math.pi:  # re-expansion, then suction
            pressure = max(suction, discharge * (dead / volume) ** exponent)
        else:
            pressure = min(discharge, suction * ((dead + displacement) / volume) ** exponent)
        torque = -(pressure - suction) * slope / _POINTS
        total += torque
        for h in range(4):
            cosines[h] += 2 * torque * math.cos((h + 1) * x)
            sines[h] += 2 * torque * math.sin((h + 1) * x)
    c, s = [v / total for v in cosines], [v / total for v in sines]
    return mean, (c[0], c[1], c[2], c[3]), (s[0], s[1], s[2], s[3])
