"""
Readings between numbered pins, repeats together; and whether the largest is the sum of the other two.

Ohms as shown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from humclick.diagnosis.pins_evidence import PAIRS, PINS, figures, lead_mean
from humclick.errors import Refused, Unknown
from humclick.messages import Message, Verbatim
from humclick.meters import Meter, Quantity, default_meter
from humclick.readings import Leads, Reading

__all__ = ["BetweenPins", "SumTest", "by_pair", "sum_test"]

_OHMS = Quantity.RESISTANCE

#: Readings by the two pins they lie between, such as ("1", "2"); one, or repeats.
BetweenPins = Mapping[tuple[str, str], Reading | Sequence[Reading]]


@dataclass(frozen=True, slots=True)
class SumTest:
    """
    Whether the largest reading is the sum of the other two.

    Attributes
    ----------
    longest : (str, str)
        The pair of pins with the largest reading, S and R of a sound compressor.
    residual : float
        Largest reading less the sum of the other two, test leads allowed for. [Ω]
    uncertainty : float
        Its standard uncertainty. [Ω]
    adds_up : bool
        Whether the residual lies within the expanded uncertainty.
    """

    longest: tuple[str, str]
    residual: float
    uncertainty: float
    adds_up: bool


def by_pair(readings: BetweenPins) -> dict[tuple[int, int], tuple[Reading, ...]]:
    """Readings by pair of pins, checked, repeats together."""
    rows: dict[tuple[int, int], list[Reading]] = {}
    for pair, entry in readings.items():
        if isinstance(pair, str) or len(pair) != 2:
            raise Refused(
                Message(
                    "a reading lies between two pins, such as ('1', '2'); got {pair}",
                    pair=Verbatim(repr(pair)),
                )
            )
        for pin in pair:
            if pin not in PINS:
                raise Unknown(Message("pin"), str(pin), PINS)
        first, second = sorted(PINS.index(pin) for pin in pair)
        if first == second:
            raise Refused(
                Message(
                    "both probes stand on pin {first}; a reading lies between two different pins",
                    first=pair[0],
                )
            )
        several = (entry,) if isinstance(entry, Reading) else tuple(entry)
        for reading in several:
            if not isinstance(reading, Reading) or reading.quantity is not _OHMS:
                raise Refused(
                    Message(
                        "between pins {first} and {second} a reading in ohms is needed",
                        first=pair[0],
                        second=pair[1],
                    )
                )
        rows.setdefault((first, second), []).extend(several)
    pairs = {pair: tuple(rows[pair]) for pair in PAIRS if rows.get(pair)}
    if not pairs:
        raise Refused(
            Message("no readings between the pins; measure 1–2, 1–3 and 2–3 with the start gear off")
        )
    return pairs


def sum_test(readings: BetweenPins, meter: Meter | None = None, leads: Leads | None = None) -> SumTest | None:
    """
    Hold the largest reading against the sum of the other two.

    Parameters
    ----------
    readings : mapping of (pin, pin) to Reading or several
        As for `find_pins`.
    meter, leads
        What it was measured with; the program's default meter, leads that nobody looked at.

    Returns
    -------
    SumTest or None
        None unless each of the three pairs showed numbers.

    Raises
    ------
    Refused
        If a reading is not one in ohms between two different pins.
    Unknown
        If a pin is none of 1, 2 and 3.

    Notes
    -----
    S–R = C–S + C–R: *Heating & Cooling Essentials*, p. 531. The residual's variance is the sum of the three
    readings' variances, limit²/3 each, and that of one pair of leads: JCGM 100:2008, 4.3.7 and 5.1.2.
    """
    meter, leads = meter or default_meter(), leads or Leads()
    pairs = by_pair(readings)
    means = {
        pair: math.fsum(r.value or 0.0 for r in repeats) / len(repeats)
        for pair, repeats in pairs.items()
        if all(r.value is not None and not r.below_resolution for r in repeats)
    }
    if len(means) < 3:
        return None
    longest = max(means, key=lambda pair: means[pair])
    lead, lead_deviation = lead_mean(leads)
    residual = 2.0 * means[longest] - math.fsum(means.values()) + lead
    variance = lead_deviation**2
    for mean in means.values():
        variance += meter.standard_uncertainty(_OHMS, mean) ** 2
    uncertainty = math.sqrt(variance)
    adds_up = abs(residual) <= figures()["decide"]["coverage"] * uncertainty
    return SumTest((PINS[longest[0]], PINS[longest[1]]), residual, uncertainty, adds_up)
