"""
The trials of a substitution: the same possible machines, the same conditions, the old part and then the new.

Needs numpy and numba (the ``start`` extra). Volts run from 85 to 110 % of the plate's, pressures are equal or
partly equalised, the machine is cold, or hot: windings and shell warm, air as warm as allowed, the starter
cooled. Besides starts the rotor is held, for the protector, and a healthy machine runs for five minutes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from humclick.arrangements.arrangement import framed
from humclick.arrangements.machine import Machine
from humclick.errors import Refused
from humclick.messages import Message
from humclick.parts.family import Role
from humclick.sourced import read_data, sourced
from humclick.start.attempts import attempts, typical_attempt
from humclick.start.batch import halved, or_never, simulate_many
from humclick.start.case import StartCase
from humclick.start.conditions import StartConditions, pressure_of
from humclick.start.estimate import Possible
from humclick.start.gear.placed import usual

__all__ = [
    "PartTrial",
    "Prepared",
    "TrialCondition",
    "best_case",
    "number",
    "prepared",
    "trial_conditions",
    "try_part",
    "working",
]

Array = NDArray[np.float64]
#: Puts a part into a case; the second argument is where in its printed range it lies, 0 … 1.
Fitted = Callable[[StartCase, float], StartCase]
#: Attempts by pressure and heat.
Prepared = Mapping[tuple[str, bool], Sequence[StartCase]]


@dataclass(frozen=True, slots=True)
class TrialCondition:
    """Under which a start is tried."""

    volts: float  #: Over the plate's. [-]
    pressure: str  #: A word of `humclick.start.conditions.pressures`.
    hot: bool  #: Whether windings and shell are hot.

    @property
    def text(self) -> Message:
        """The condition in words."""
        equal = self.pressure == "equal"
        return Message(
            "{share:.0f} % volts, {pressure}, {warmth}",
            share=100 * self.volts,
            pressure=Message("pressures equal") if equal else Message("pressures partly equal"),
            warmth=Message("hot") if self.hot else Message("cold"),
        )


@dataclass(frozen=True, slots=True)
class PartTrial:
    """What the possible machines did with one part. Arrays have one row a condition, one column a machine."""

    #: Came to speed and stayed; the start winding was never let go.
    started: NDArray[np.bool_]
    unreleased: NDArray[np.bool_]
    #: Until the start gear lets go, and until three quarters of speed; infinite where never. [s]
    release: Array
    speed_time: Array
    heat: Array  #: Rise of the start winding's temperature in the attempt. [K]
    running: Array  #: Line current at speed; NaN where it did not run. [A]
    #: One row for cold with equal pressures, one for hot with partly equal ones; infinite if none. [V]
    least_volts: Array
    #: Rotor held, one row a voltage: until the protector opens; infinite where it does not. [s]
    locked_trip: Array
    #: Rotor held, one row a voltage: highest temperature of the start winding until then. [°C]
    locked_hottest: Array
    run_trips: NDArray[np.bool_]  #: A healthy run, one row a voltage: whether the protector opens.
    run_hottest: Array  #: The same run: highest temperature of the start winding. [°C]
    #: Across start and run capacitor at the highest supply; None without one. [V]
    start_volts: Array | None
    run_volts: Array | None
    #: Through the start winding of the running machine, where a run capacitor feeds it; else None. [A]
    run_amps: Array | None


def number(table: str, name: str, key: str = "value") -> float:
    """One number of substitute.toml, in the unit written there. [as in the file]"""
    row = read_data("humclick.replacement", "substitute.toml")[table][name]
    return sourced({**row, "value": row.get(key)}, f"substitute.toml {table}.{name}").value


def trial_conditions() -> tuple[TrialCondition, ...]:
    """All conditions, the plate's volts with equal pressures and cold among them."""
    words = read_data("humclick.replacement", "substitute.toml")["conditions"]["pressure"]
    shares = [number("conditions", "volts", key) for key in ("low", "plate", "high")]
    return tuple(
        TrialCondition(share, str(word), hot) for share in shares for word in words for hot in (False, True)
    )


def prepared(machine: Machine, motors: Sequence[Possible], seed: int = 0) -> Prepared:
    """
    The attempts of the possible machines at the plate's volts, with whatever part is usual.

    The machines agree with what is at hand; `seed` decides what strays besides the motor.
    """
    words = dict.fromkeys((condition.pressure, condition.hot) for condition in trial_conditions())
    made: dict[tuple[str, bool], list[StartCase]] = {}
    for pressure, hot in words:
        start = _start_conditions(machine, TrialCondition(1.0, pressure, hot))
        cases = attempts(machine, motors, start, {}, seed)
        made[pressure, hot] = [_warmed(case) for case in cases] if hot else cases
    return made


def working(cases: Prepared, fit: Fitted, *, shares: Array) -> NDArray[np.bool_]:
    """
    Which possible machines work with the old part: start at the plate's volts, let go, and run on untripped.

    Shares are as in `try_part`. [-]
    """
    plain = [fit(case, float(share)) for case, share in zip(cases["equal", False], shares, strict=True)]
    features = simulate_many(plain, number("trial", "works_seconds"))
    return np.asarray(features.started & ~features.unreleased, dtype=bool)


def try_part(
    machine: Machine,
    motors: Sequence[Possible],
    prepared: Prepared,
    fit: Fitted,
    *,
    shares: Array,
    chosen: NDArray[np.intp],
) -> PartTrial:
    """
    Try one part on the possible machines.

    `fit` puts the part in, `shares` say for each motor where in its printed range the part lies [-], and
    `chosen` are the places of the motors that are tried. Raises `Refused` if there is none.
    """
    if not len(chosen):
        raise Refused(Message("a trial needs one possible machine at least"))
    tried = trial_conditions()
    plate = machine.nameplate.volts
    cases = [
        [
            fit(prepared[condition.pressure, condition.hot][k], float(shares[k])).with_(
                supply__volts=plate * condition.volts
            )
            for k in chosen
        ]
        for condition in tried
    ]
    motors = [motors[k] for k in chosen]
    flat = [case for row in cases for case in row]
    features = simulate_many(flat, number("trial", "seconds"))
    shape = (len(tried), len(motors))
    before = np.array([case.temperatures.start for case in flat])
    started = features.started
    locked, hottest = _locked(tried, cases)
    trips, warmest = _running(tried, cases)
    volts, amps = _fed(cases[_by_volts(tried, hot=False)[-1]], motors)
    return PartTrial(
        started=started.reshape(shape),
        unreleased=(features.unreleased & started).reshape(shape),
        release=np.where(started, or_never(features.release_time), math.nan).reshape(shape),
        speed_time=or_never(features.speed_time).reshape(shape),
        heat=(features.start_winding_max - before).reshape(shape),
        running=np.where(started, features.running, math.nan).reshape(shape),
        least_volts=np.array([_least_volts(cases[k], machine) for k in _extremes(tried)]),
        locked_trip=locked,
        locked_hottest=hottest,
        run_trips=trips,
        run_hottest=warmest,
        start_volts=_start_volts(
            tried, cases, features.first_gear.reshape(shape), features.last_gear.reshape(shape)
        ),
        run_volts=volts,
        run_amps=amps,
    )


def best_case(machine: Machine, motor: Possible, fit: Fitted, condition: TrialCondition) -> StartCase:
    """The most probable motor with a part in the middle of its range, everything else as is usual."""
    case = typical_attempt(machine, motor, _start_conditions(machine, condition))
    return fit(_warmed(case) if condition.hot else case, 0.5)


def _start_conditions(machine: Machine, condition: TrialCondition) -> StartConditions:
    return StartConditions(
        volts=machine.nameplate.volts * condition.volts,
        difference=pressure_of(condition.pressure),
        ambient=number("conditions", "hot_air") if condition.hot else 25.0,
    )


def _warmed(case: StartCase) -> StartCase:
    """Windings and shell hot from running, pill and disc at the shell's temperature."""
    run = framed(Role.RUN_WINDING)
    shell, winding = usual(run, "hot_shell"), usual(run, "hot_winding")
    disc = shell if case.protector is None else min(shell, case.protector.reset - 1.0)
    warm = replace(
        case.temperatures, run=winding, start=winding, shell=shell, ptc=shell, protector=disc, open=False
    )
    return replace(case, temperatures=warm)


def _extremes(tried: Sequence[TrialCondition]) -> tuple[int, int]:
    """The easiest and the hardest condition at the plate's volts."""
    plate = [k for k, condition in enumerate(tried) if condition.volts == 1.0]
    return plate[0], plate[-1]


def _least_volts(cases: Sequence[StartCase], machine: Machine) -> Array:
    """Least volts at the outlet that start each case, by halving over all at once. [V]"""
    plate = machine.nameplate.volts
    low = np.full(len(cases), number("trial", "lowest") * plate)
    high = np.full(len(cases), number("trial", "highest") * plate)

    def starts(volts: Array) -> NDArray[np.bool_]:
        at = [case.with_(supply__volts=float(v)) for case, v in zip(cases, volts, strict=True)]
        return simulate_many(at, number("trial", "seconds")).started

    never = ~starts(high)
    _, high = halved(starts, low, high, int(number("trial", "halvings")))
    return np.where(never, math.inf, high)


def _by_volts(tried: Sequence[TrialCondition], hot: bool) -> list[int]:
    """Places of the conditions with equal pressures, one a voltage."""
    return [k for k, condition in enumerate(tried) if condition.pressure == "equal" and condition.hot == hot]


def _locked(tried: Sequence[TrialCondition], cases: Sequence[Sequence[StartCase]]) -> tuple[Array, Array]:
    """With the rotor held: when the protector opens, and how hot the start winding is until then. [s] [°C]"""
    rows = _by_volts(tried, hot=False)
    held = [_held(case) for k in rows for case in cases[k]]
    features = simulate_many(held, number("trial", "locked_seconds"))
    shape = (len(rows), len(held) // len(rows))
    return or_never(features.trip_time).reshape(shape), features.start_winding_max.reshape(shape)


def _held(case: StartCase) -> StartCase:
    """The rotor held, and a protector that stays open, so that heat ends with its first trip."""
    held = case.with_(load__seized=True)
    return held if case.protector is None else held.with_(protector__reset=-50.0)


def _running(
    tried: Sequence[TrialCondition], cases: Sequence[Sequence[StartCase]]
) -> tuple[NDArray[np.bool_], Array]:
    """Whether the protector opens in a healthy run from hot, and how warm the start winding grows. [°C]"""
    rows = _by_volts(tried, hot=True)
    features = simulate_many([case for k in rows for case in cases[k]], number("trial", "run_seconds"))
    ran = np.isfinite(features.speed_time)
    trips = np.asarray((ran & (features.trips > 0)).reshape(len(rows), -1), dtype=bool)
    return trips, features.start_winding_max.reshape(len(rows), -1)


def _start_volts(
    tried: Sequence[TrialCondition], cases: Sequence[Sequence[StartCase]], first: Array, last: Array
) -> Array | None:
    """
    Across the start capacitor at the highest supply: highest current through it over ω C. [V]

    That is exact half cycle by half cycle as far as the current is a sine.
    """
    rows = [k for k, condition in enumerate(tried) if condition.volts == max(c.volts for c in tried)]
    if cases[0][0].start_capacitor is None:
        return None
    volts = np.zeros((len(rows), len(cases[0])))
    for n, k in enumerate(rows):
        for m, case in enumerate(cases[k]):
            assert case.start_capacitor is not None
            farads = case.start_capacitor.farads
            if 0 < farads < math.inf:
                volts[n, m] = max(first[k, m], last[k, m]) / (2 * math.pi * case.supply.hertz * farads)
    return volts


def _fed(cases: Sequence[StartCase], motors: Sequence[Possible]) -> tuple[Array | None, Array | None]:
    """Across the run capacitor and through the start winding at the highest supply, by phasors. [V] [A]"""
    if cases[0].run_capacitor is None:
        return None, None
    volts, amps = [], []
    for case, motor in zip(cases, motors, strict=True):
        assert case.run_capacitor is not None
        running = replace(motor, run_farads=case.run_capacitor.farads).running(case.supply.volts)
        volts.append(abs(running.capacitor_volts))
        amps.append(abs(running.start))
    return np.array(volts), np.array(amps)
