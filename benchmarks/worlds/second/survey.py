"""
Appliances of a survey, as tables: what stands where, how large, how hard it works, and in what air.

Ohms of windings by size are of the order that makers' resistance charts for hermetic compressors give
(from memory); running amps follow NEC table 430.248 at a share of it, since suction gas cools the motor
(from memory); microfarads by the sizes on makers' start-gear charts (from memory). Nothing here is
computed from a motor's theory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, log

import numpy as np


@dataclass(frozen=True)
class Appliance:
    """
    A row of the survey.

    Parameters
    ----------
    name : str
        In words.
    share : float
        Of all calls. [-]
    horsepower : tuple of float
        Least and most. [hp]
    supplies : mapping of (volts, hertz) to share
        [V] [Hz]
    gear : mapping of str to float
        Arrangements and their shares.
    inner : float
        Share with the protector inside the shell. [-]
    starts : float
        A day. [1/d]
    heat, damp, dust : float
        How hard its place is, 1 for a kitchen. [-]
    """

    name: str
    share: float
    horsepower: tuple[float, float]
    supplies: Mapping[tuple[float, float], float]
    gear: Mapping[str, float]
    inner: float
    starts: float
    heat: float
    damp: float
    dust: float


_US = {(115.0, 60.0): 1.0}
_ANY = {(115.0, 60.0): 0.7, (230.0, 50.0): 0.3}
_BOTH = {(115.0, 60.0): 0.4, (230.0, 60.0): 0.4, (230.0, 50.0): 0.2}
_LINE = {(230.0, 60.0): 0.85, (230.0, 50.0): 0.15}

APPLIANCES: tuple[Appliance, ...] = (
    Appliance(
        "kitchen fridge",
        20,
        (0.08, 0.25),
        _ANY,
        {"rsir-ptc": 5, "rscr-ptc": 5, "rsir-current-relay": 1.5},
        0.1,
        25,
        1,
        1,
        1.2,
    ),
    Appliance(
        "chest freezer",
        8,
        (0.09, 0.33),
        _ANY,
        {"rsir-ptc": 4, "csir-ptc": 2, "rscr-ptc": 2, "csir-current-relay": 1},
        0.1,
        20,
        1.1,
        1.6,
        1.3,
    ),
    Appliance(
        "small bar cooler",
        5,
        (0.05, 0.125),
        _ANY,
        {"rsir-ptc": 6, "rsir-current-relay": 3, "timed-starter": 1},
        0.1,
        40,
        1.2,
        1.2,
        1.2,
    ),
    Appliance(
        "bottle cooler",
        10,
        (0.2, 0.5),
        _BOTH,
        {"csir-current-relay": 5, "csir-ptc": 2, "timed-starter": 2, "rsir-current-relay": 1},
        0.25,
        60,
        1.3,
        1.2,
        1.8,
    ),
    Appliance(
        "prep table",
        8,
        (0.2, 0.5),
        _US,
        {
            "csir-current-relay": 5,
            "csir-ptc": 1.5,
            "timed-starter": 2,
            "rsir-assist-relay": 1,
            "rsir-assist-switch": 1,
        },
        0.25,
        70,
        1.7,
        1.3,
        2.2,
    ),
    Appliance(
        "ice machine",
        8,
        (0.33, 1.0),
        _BOTH,
        {"csr-potential-relay": 6, "csir-current-relay": 2, "psc-assist-relay": 1},
        0.4,
        35,
        1.5,
        2.2,
        1.7,
    ),
    Appliance(
        "reach-in freezer",
        9,
        (0.5, 1.25),
        _BOTH,
        {"csr-potential-relay": 6, "csir-current-relay": 3, "psc-assist-relay": 1, "psc-assist-switch": 1},
        0.45,
        50,
        1.4,
        1.1,
        1.8,
    ),
    Appliance(
        "dehumidifier",
        5,
        (0.15, 0.4),
        _US,
        {"rscr-ptc": 4, "psc": 4, "psc-ptc-assist": 2},
        0.5,
        30,
        1.2,
        2.5,
        1.6,
    ),
    Appliance(
        "window air conditioner",
        10,
        (0.4, 1.8),
        _BOTH,
        {"psc": 8, "psc-ptc-assist": 3, "psc-assist-switch": 1},
        0.6,
        30,
        1.6,
        1.5,
        1.6,
    ),
    Appliance(
        "walk-in condensing unit",
        9,
        (1.0, 3.5),
        _LINE,
        {"csr-potential-relay": 7, "psc-assist-relay": 2, "psc": 1},
        0.8,
        45,
        1.6,
        1.4,
        1.5,
    ),
    Appliance(
        "outdoor condensing unit",
        8,
        (1.5, 5.0),
        _LINE,
        {
            "psc": 5,
            "psc-assist-relay": 2,
            "psc-assist-switch": 2,
            "psc-ptc-assist": 2,
            "csr-potential-relay": 1,
        },
        0.9,
        30,
        1.7,
        1.8,
        1.5,
    ),
)

_CHART_115 = (
    (1 / 20, 17, 32),
    (1 / 12, 10.5, 23),
    (1 / 8, 7.4, 18),
    (1 / 6, 5.6, 15),
    (1 / 5, 4.7, 13),
    (1 / 4, 3.7, 11.5),
    (1 / 3, 2.5, 8.5),
    (1 / 2, 1.6, 6.2),
    (3 / 4, 1.05, 4.6),
    (1.0, 0.8, 3.7),
    (2.0, 0.42, 2.2),
    (5.0, 0.2, 1.2),
)
"""Horsepower, ohms of the run and the start winding at 115 V, of the order of makers' charts."""

_START_UF = (
    (1 / 12, 45),
    (1 / 8, 64),
    (1 / 5, 88),
    (1 / 4, 108),
    (1 / 3, 145),
    (1 / 2, 189),
    (3 / 4, 243),
    (1.0, 270),
    (5.0, 400),
)
_RUN_UF = (
    (1 / 12, 5),
    (1 / 8, 8),
    (1 / 5, 12),
    (1 / 3, 15),
    (1 / 2, 20),
    (1.0, 30),
    (2.0, 40),
    (3.0, 60),
    (5.0, 90),
)
_NEC_115 = (
    (1 / 20, 1.9),
    (1 / 12, 2.6),
    (1 / 8, 3.4),
    (1 / 6, 4.4),
    (1 / 4, 5.8),
    (1 / 3, 7.2),
    (1 / 2, 9.8),
    (3 / 4, 13.8),
    (1.0, 16.0),
    (1.5, 20.0),
    (2.0, 24.0),
    (3.0, 34.0),
    (5.0, 56.0),
)
"""NEC table 430.248, 115 V, from 1/6 hp up (from memory); carried on downwards."""


def from_chart(chart: tuple[tuple[float, ...], ...], at: float, column: int = 1) -> float:
    """
    A figure of a chart, between its rows by logarithms.

    Examples
    --------
    >>> round(from_chart(_NEC_115, 0.5), 2), round(from_chart(_NEC_115, 1.0), 2)
    (9.8, 16.0)
    """
    rows = [(log(row[0]), log(row[column])) for row in chart]
    return float(exp(np.interp(log(at), [x for x, _ in rows], [y for _, y in rows])))


@dataclass(frozen=True)
class Built:
    """A machine as it left the works; ohms at 25 °C. [Ω] [A] [µF]"""

    appliance: Appliance
    arrangement: str
    protector: str
    horsepower: float
    volts: float
    hertz: float
    run_ohms: float
    start_ohms: float
    rla: float
    lra: float
    start_uf: float
    run_uf: float
    pill: float
    coil: float
    margin: float


def build(rng: np.random.Generator) -> Built:
    """One machine of the survey."""
    shares = [each.share for each in APPLIANCES]
    appliance = APPLIANCES[int(rng.choice(len(APPLIANCES), p=np.divide(shares, sum(shares))))]
    low, high = appliance.horsepower
    horsepower = float(exp(rng.uniform(log(low), log(high))))
    supplies, odds = list(appliance.supplies), list(appliance.supplies.values())
    volts, hertz = supplies[int(rng.choice(len(supplies), p=np.divide(odds, sum(odds))))]
    gears, weights = list(appliance.gear), list(appliance.gear.values())
    arrangement = gears[int(rng.choice(len(gears), p=np.divide(weights, sum(weights))))]
    outer = "integrated" if arrangement == "timed-starter" else "external"
    if outer == "external" and arrangement.endswith(("-ptc", "-current-relay")) and rng.random() < 0.3:
        outer = "integrated"
    protector = "internal" if rng.random() < appliance.inner else outer
    square = (volts / 115.0) ** 2
    wound = 0.75 if arrangement.startswith(("psc", "csr")) else 1.0
    run = from_chart(_CHART_115, horsepower) * square * float(rng.lognormal(0, 0.13))
    start = from_chart(_CHART_115, horsepower, 2) * square * wound * float(rng.lognormal(0, 0.2))
    rla = from_chart(_NEC_115, horsepower) * 115.0 / volts * float(rng.uniform(0.55, 0.9))
    uf = 1.0 if volts < 200 else 0.3
    start_uf = from_chart(_START_UF, horsepower) * (uf if horsepower < 1.2 else 0.5)
    return Built(
        appliance,
        arrangement,
        protector,
        horsepower,
        volts,
        hertz,
        run,
        start,
        rla,
        lra=rla * float(rng.uniform(4.0, 6.5)),
        start_uf=start_uf,
        run_uf=from_chart(_RUN_UF, horsepower) * (1.0 if volts > 200 or horsepower < 0.4 else 1.3),
        pill=float(rng.lognormal(log(6.0 if volts < 200 else 22.0), 0.4)),
        coil=float(rng.lognormal(log(4000 if volts < 200 else 9500), 0.4)),
        margin=float(np.clip(rng.lognormal(log(1.9), 0.2), 1.25, 3.0)),
    )
