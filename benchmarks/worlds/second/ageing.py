"""
How parts age, and what strikes several at once.

Each part has a life drawn from Weibull's law, of shape below one for early deaths and above two for wear
(Nelson, Accelerated Testing, and Abernethy, The New Weibull Handbook; from memory), made shorter by heat
(half for ten kelvin, the rule for insulation and electrolytics), by starts and by damp. Damage is age
over life to the power of two: one is worn out, and it goes on. An event of life (a surge, water, a power
cut, a move, a home repair, a choked condenser) adds damage to all that it reaches.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from benchmarks.worlds.second.survey import Built

GEAR: Mapping[str, tuple[str, ...]] = {
    "rsir-ptc": ("pill",),
    "csir-ptc": ("pill", "start cap"),
    "rscr-ptc": ("pill", "run cap"),
    "psc": ("run cap",),
    "psc-ptc-assist": ("pill", "run cap"),
    "csr-potential-relay": ("voltage relay", "start cap", "run cap"),
    "psc-assist-relay": ("voltage relay", "start cap", "run cap"),
    "psc-assist-switch": ("board", "start cap", "run cap"),
    "rsir-assist-relay": ("voltage relay", "start cap"),
    "rsir-assist-switch": ("board", "start cap"),
    "rsir-current-relay": ("current relay",),
    "csir-current-relay": ("current relay", "start cap"),
    "timed-starter": ("board", "start cap"),
}
EVERYWHERE = ("protector", "connector", "windings", "pump", "plug", "thermostat", "condenser", "ground wire")


@dataclass(frozen=True)
class Law:
    """
    Of a part's life.

    Parameters
    ----------
    shape, years : float
        Weibull's shape and scale. [-] [a]
    heat, damp, starts, dust : float
        Exponents of what shortens it. [-]
    modes : mapping of str to float
        In which ways it ends, and how often.
    """

    shape: float
    years: float
    heat: float
    damp: float
    starts: float
    dust: float
    modes: Mapping[str, float]


LAWS: Mapping[str, Law] = {
    "pill": Law(1.4, 22, 0.6, 0.2, 0.5, 0, {"breaks": 8, "weak": 2, "melts shut": 2}),
    "current relay": Law(
        1.8,
        19,
        0.3,
        0.4,
        0.9,
        0,
        {"film": 6, "never closes": 3, "jammed": 2, "sticks shut": 3, "coil burnt": 1},
    ),
    "voltage relay": Law(
        1.6, 19, 0.3, 0.4, 0.8, 0, {"film": 5, "never closes": 3, "sticks shut": 3, "coil burnt": 3}
    ),
    "board": Law(0.9, 24, 0.8, 0.6, 0.2, 0, {"chatters": 4, "dead": 4, "stays": 2}),
    "start cap": Law(2.2, 17, 0.9, 0.1, 0.7, 0, {"dries": 6, "open": 4, "short": 1.5}),
    "run cap": Law(2.6, 18, 1.0, 0.1, 0, 0, {"dries": 7, "open": 3, "short": 1.2, "leaks": 1}),
    "protector": Law(1.3, 34, 0.5, 0.3, 0.5, 0, {"open": 5, "tired": 3, "burnt contact": 2}),
    "connector": Law(1.5, 34, 0.5, 0.9, 0.2, 0, {"common": 3, "start": 3, "run": 3}),
    "windings": Law(
        1.7,
        36,
        0.9,
        0.4,
        0.2,
        0,
        {"start open": 4, "run open": 2, "start short": 2, "run short": 2, "grounded": 4, "bridged": 0.7},
    ),
    "pump": Law(2.0, 33, 0.4, 0, 0.3, 0, {"seized": 5, "stiff": 4}),
    "plug": Law(1.1, 45, 0.3, 0.7, 0, 0, {"burnt": 4, "one wire off": 3, "dead outlet": 2}),
    "thermostat": Law(1.3, 32, 0.1, 0.7, 0.4, 0, {"open": 5, "burnt contact": 2, "wanders": 2}),
    "condenser": Law(2.5, 19, 0.2, 0, 0, 1.0, {"choked": 1}),
    "ground wire": Law(1.0, 220, 0, 0.6, 0, 0, {"off": 1}),
}

EVENTS: Mapping[str, tuple[float, Mapping[str, float]]] = {
    "surge": (
        0.030,
        {"board": 1.1, "run cap": 0.5, "start cap": 0.4, "windings": 0.35, "thermostat": 0.35, "pill": 0.4},
    ),
    "water": (
        0.020,
        {
            "connector": 0.7,
            "plug": 0.5,
            "ground wire": 0.7,
            "current relay": 0.4,
            "voltage relay": 0.4,
            "windings": 0.2,
        },
    ),
    "short cycling": (
        0.035,
        {
            "start cap": 0.8,
            "current relay": 0.6,
            "voltage relay": 0.6,
            "pill": 0.5,
            "protector": 0.4,
            "pump": 0.3,
        },
    ),
    "heat wave": (0.05, {"run cap": 0.4, "protector": 0.3, "windings": 0.25, "condenser": 0.4}),
    "move": (0.02, {"pump": 0.25, "pill": 0.3}),
    "home repair": (0.012, {"connector": 0.5}),
}
"""Chance a year, and damage done at most."""

PASSING: Mapping[str, float] = {
    "pressures": 0.030,
    "tripped": 0.026,
    "set warm": 0.034,
    "long cord": 0.018,
    "low volts": 0.012,
    "leads swapped": 0.006,
    "relay upside down": 0.003,
    "wrong relay": 0.004,
    "liquid": 0.008,
}
"""Reasons for a call that no wear brings, and their chance a year."""


@dataclass
class State:
    """
    A machine at the day of the call.

    Parameters
    ----------
    damage : dict of str to float
        By part; one is worn out. [-]
    mode : dict of str to str
        In which way each would end.
    passing : dict of str to float
        What wears nothing, and its strength. [-]
    age : float
        [a]
    cause : str
        What the last straw was.
    cord, volts : float
        Both conductors of the cord [Ω]; the outlet over the plate's volts [-].
    hot : float
        Minutes until the protector closes again. [min]
    pill : float
        Minutes until the thermistor is cool. [min]
    uneven : float
        Pressures left, over those of running. [-]
    warmth : float
        Of the shell over the room. [K]
    """

    built: Built
    damage: dict[str, float]
    mode: dict[str, str]
    passing: dict[str, float] = field(default_factory=dict)
    age: float = 0.0
    cause: str = "wear"
    cord: float = 0.2
    volts: float = 1.0
    hot: float = 0.0
    pill: float = 0.0
    uneven: float = 0.0
    warmth: float = 0.0

    @property
    def parts(self) -> tuple[str, ...]:
        """All that can wear here."""
        return (*GEAR[self.built.arrangement], *EVERYWHERE)

    def hurt(self, part: str, mode: str = "") -> float:
        """Damage of a part that it has and that ends in that mode. [-]"""
        if part not in self.damage or (mode and self.mode[part] != mode):
            return 0.0
        return self.damage[part]

    def broken(self, part: str, mode: str = "") -> bool:
        """Whether it is worn out, in that mode."""
        return self.hurt(part, mode) >= 1.0


def lives(built: Built, rng: np.random.Generator) -> dict[str, float]:
    """Lives of all parts of a machine. [a]"""
    place = built.appliance
    drawn = {}
    for part in (*GEAR[built.arrangement], *EVERYWHERE):
        law = LAWS[part]
        stress = (
            place.heat**law.heat
            * place.damp**law.damp
            * (place.starts / 30.0) ** law.starts
            * place.dust**law.dust
        )
        drawn[part] = law.years * float(rng.weibull(law.shape)) / stress
    return drawn


def newborn(built: Built, rng: np.random.Generator) -> State:
    """A machine whose parts have their ways to end, and no damage yet."""
    mode = {}
    for part in (*GEAR[built.arrangement], *EVERYWHERE):
        modes = LAWS[part].modes
        odds = list(modes.values())
        mode[part] = str(rng.choice(list(modes), p=np.divide(odds, sum(odds))))
    return State(
        built,
        dict.fromkeys(mode, 0.0),
        mode,
        cord=0.25 * min(1.0, 5 / built.rla) * float(rng.lognormal(0, 0.4)),
        volts=float(rng.normal(1.0, 0.022)),
    )
