"""
What a sweep is asked for: machines and conditions, each one value, a list, a range or a draw.

A spec is a small TOML file. Lists and ranges are crossed with each other; draws are made anew for each of the
possible machines tried at a point::

    draws = 20                                       # possible machines at each point
    [machine]
    arrangement = ["rsir-ptc", "csir-current-relay"]
    locked_rotor_amps = { median = 12.0, factor = 1.2 }   # drawn, log-normal
    [conditions]
    volts = { from = 0.85, to = 1.10, steps = 6 }    # over the plate's
    pressure = ["equal", "partly"]
    supply_ohms = { low = 0.2, high = 1.5 }          # drawn, uniform
"""

from __future__ import annotations

import hashlib
import itertools
import json
import math
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from humclick.arrangements.machine import UNREAD, Machine, Nameplate
from humclick.errors import Refused, Unknown
from humclick.messages import Message
from humclick.sourced import Z95
from humclick.start.at_hand import AtHand, at_hand
from humclick.start.conditions import StartConditions, modes_of, pressure_of

__all__ = [
    "CONDITIONS",
    "MACHINE",
    "MOST",
    "WORDS",
    "Drawn",
    "Point",
    "SweepSpec",
    "conditions_of",
    "machine_of",
    "spec_of",
]

Value = float | int | str | bool | None
#: Names under [machine] and what stands if they are left out.
MACHINE: Mapping[str, Value] = {
    "arrangement": "rsir-ptc",
    "protector": "",
    "volts": None,  # what is usual for the kind
    "hertz": 60.0,
    "locked_rotor_amps": None,
    "rated_load_amps": None,
    "run_ohms": None,
    "start_ohms": None,
    "horsepower": None,
    "poles": None,
}
#: Names under [conditions].
CONDITIONS: Mapping[str, Value] = {
    "volts": 1.0,
    "pressure": "equal",
    "ambient": 25.0,
    "hot": False,
    "supply_ohms": None,
    "start_farads": None,
    "run_farads": None,
    "modes": "",
}
#: Names whose values are words.
WORDS = ("arrangement", "protector", "pressure", "modes")
_TOP = {"draws": 20, "seed": 0, "seconds": 3.0}
#: Attempts in one sweep. [-]
MOST = 10_000_000
_FORMS = "a value, a list, { from, to, steps }, { low, high } or { median, factor }"


@dataclass(frozen=True, slots=True)
class Drawn:
    """A value drawn for each possible machine."""

    #: Low and high of a uniform draw, or median and 95 % factor of a log-normal one. [as the name]
    first: float
    second: float
    normal: bool  #: Whether it is log-normal.

    def at(self, rng: np.random.Generator) -> float:
        """One draw. [as the name]"""
        if self.normal:
            return float(self.first * math.exp(math.log(self.second) / Z95 * rng.standard_normal()))
        return float(rng.uniform(self.first, self.second))


@dataclass(frozen=True, slots=True)
class Point:
    """One point of the grid: every name with its value or its draw; names of conditions begin with a dot."""

    values: Mapping[str, Value | Drawn]

    def drawn(self, rng: np.random.Generator) -> dict[str, Value]:
        """The values of one attempt, in the order of the names."""
        return {name: v.at(rng) if isinstance(v, Drawn) else v for name, v in self.values.items()}

    @property
    def machine_drawn(self) -> bool:
        """Whether anything of the machine is drawn."""
        return any(isinstance(v, Drawn) for name, v in self.values.items() if not name.startswith("."))


@dataclass(frozen=True)
class SweepSpec:
    """A sweep."""

    text: str  #: As it was written.
    #: Possible machines at each point; the same seed gives the same rows.
    draws: int
    seed: int
    seconds: float  #: Length of an attempt. [s]
    axes: Mapping[str, tuple[Value | Drawn, ...]]  #: Values of each name; conditions begin with a dot.

    @property
    def points(self) -> int:
        """How many points the grid has."""
        return math.prod(len(values) for values in self.axes.values())

    @property
    def attempts(self) -> int:
        """How many attempts it takes."""
        return self.points * self.draws

    @property
    def mark(self) -> str:
        """Tells this sweep from every other one; comments and order of names do not matter."""
        plain = [
            self.draws,
            self.seed,
            self.seconds,
            sorted((k, [repr(v) for v in vs]) for k, vs in self.axes.items()),
        ]
        return hashlib.sha256(json.dumps(plain).encode()).hexdigest()[:16]

    def point(self, place: int) -> Point:
        """One point of the grid; the last name goes round first."""
        values: dict[str, Value | Drawn] = {}
        for name in reversed(tuple(self.axes)):
            place, at = divmod(place, len(self.axes[name]))
            values[name] = self.axes[name][at]
        return Point({name: values[name] for name in self.axes})


def spec_of(text: str, where: str = "the spec") -> SweepSpec:
    """
    Read a spec.

    Raises `Refused` if it is no TOML, a value has not the right form or lies outside its range, or the sweep
    is too large, and `Unknown` if a name, arrangement, part or mode does not exist.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refused(Message.of(f"{where}: this is not TOML: {error}")) from None
    for name in data:
        if name not in (*_TOP, "machine", "conditions"):
            raise Unknown(Message.of(f"name in {where}"), name, (*_TOP, "machine", "conditions"))
    top = {name: data.get(name, usual) for name, usual in _TOP.items()}
    for name, low, high in (("draws", 1, 100_000), ("seed", 0, 2**31), ("seconds", 0.01, 3600.0)):
        kind = float if name == "seconds" else int
        if (
            isinstance(top[name], bool)
            or not isinstance(top[name], int | kind)
            or not low <= top[name] <= high
        ):
            raise Refused(
                Message.of(f"{where}: {name} must be a number from {low:g} to {high:g}, got {top[name]!r}")
            )
    axes: dict[str, tuple[Value | Drawn, ...]] = {}
    for table, usual, dot in (("machine", MACHINE, ""), ("conditions", CONDITIONS, ".")):
        rows = data.get(table, {})
        if not isinstance(rows, dict):
            raise Refused(Message.of(f"{where}: [{table}] must be a table of names and values"))
        for name in rows:
            if name not in usual:
                raise Unknown(Message.of(f"name under [{table}] of {where}"), name, usual)
        for name, left_out in usual.items():
            axes[f"{dot}{name}"] = _axis(rows.get(name, left_out), name, f"{where}, {table}.{name}")
    spec = SweepSpec(text, int(top["draws"]), int(top["seed"]), float(top["seconds"]), axes)
    if spec.attempts > MOST:
        raise Refused(
            Message.of(
                f"{where}: {spec.attempts:,} attempts are too many ({MOST:,} at most); shorten a list or take"
                " fewer draws"
            )
        )
    _tried(spec, where)
    return spec


def _axis(values: Any, name: str, where: str) -> tuple[Value | Drawn, ...]:
    if values is None:
        return (None,)
    if isinstance(values, list):
        if not values:
            raise Refused(Message.of(f"{where}: the list is empty; write {_FORMS}"))
        return tuple(_value(value, name, where) for value in values)
    if isinstance(values, dict):
        return _formed(values, name, where)
    return (_value(values, name, where),)


def _formed(form: Mapping[str, Any], name: str, where: str) -> tuple[Value | Drawn, ...]:
    keys = set(form)
    if name in WORDS or name == "hot":
        raise Refused(Message.of(f"{where}: only a value or a list can stand here, got {dict(form)!r}"))
    if keys not in ({"from", "to", "steps"}, {"low", "high"}, {"median", "factor"}):
        raise Refused(
            Message.of(f"{where}: write {_FORMS}, got the keys {', '.join(sorted(keys)) or 'none'}")
        )
    numbers = {key: _value(value, name, f"{where}.{key}") for key, value in form.items()}
    a, b = _pair(numbers)
    if "steps" in keys:
        steps = form["steps"]
        if isinstance(steps, bool) or not isinstance(steps, int) or not 2 <= steps <= 10_000:
            raise Refused(Message.of(f"{where}: steps must be a whole number from 2 to 10000, got {steps!r}"))
        return tuple(round(float(v), 12) for v in np.linspace(a, b, steps))
    if "low" in keys:
        if not a < b:
            raise Refused(Message.of(f"{where}: low must lie below high, got {a:g} and {b:g}"))
        return (Drawn(a, b, False),)
    if not (a > 0 and b >= 1):
        raise Refused(
            Message.of(f"{where}: the median must be above 0 and the factor 1 or more, got {a:g} and {b:g}")
        )
    return (Drawn(a, b, True),)


def _pair(numbers: Mapping[str, Value]) -> tuple[float, float]:
    for first, second in (("from", "to"), ("low", "high"), ("median", "factor")):
        if first in numbers:
            return float(numbers[first] or 0.0), float(numbers[second] or 0.0)
    raise Refused(Message.of(f"write {_FORMS}"))


def _value(value: Any, name: str, where: str) -> Value:
    if name == "hot":
        if isinstance(value, bool):
            return value
        raise Refused(Message.of(f"{where}: write true or false, got {value!r}"))
    if name in WORDS:
        if isinstance(value, str):
            return value
        if name == "pressure" and isinstance(value, int | float) and not isinstance(value, bool):
            return str(value)
        raise Refused(Message.of(f"{where}: write words in quotes, got {value!r}"))
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise Refused(Message.of(f"{where}: write {_FORMS}; got {value!r}, which is no number"))
    return float(value)


def _number(values: Mapping[str, Value], name: str) -> float | None:
    return None if values[name] is None else float(values[name] or 0.0)


def machine_of(values: Mapping[str, Value]) -> tuple[Machine, AtHand]:
    """The machine of an attempt and what is at hand of its motor."""
    plate = Nameplate(
        UNREAD if values["volts"] is None else _number(values, "volts") or 0.0,
        _number(values, "hertz") or 0.0,
        _number(values, "locked_rotor_amps"),
        _number(values, "rated_load_amps"),
    )
    machine = Machine.of(str(values["arrangement"]), str(values["protector"]) or None, plate)
    poles = _number(values, "poles")
    return machine, at_hand(
        machine,
        run_ohms=_number(values, "run_ohms"),
        start_ohms=_number(values, "start_ohms"),
        horsepower=_number(values, "horsepower"),
        poles=None if poles is None else int(poles),
    )


def conditions_of(values: Mapping[str, Value], machine: Machine) -> StartConditions:
    """The conditions of an attempt."""
    return StartConditions(
        volts=machine.nameplate.volts * (_number(values, ".volts") or 0.0),
        difference=pressure_of(str(values[".pressure"])),
        ambient=_number(values, ".ambient") or 0.0,
        hot=bool(values[".hot"]),
        supply_ohms=_number(values, ".supply_ohms"),
        start_farads=_number(values, ".start_farads"),
        run_farads=_number(values, ".run_farads"),
    )


def _ends(value: Value | Drawn) -> tuple[Value, ...]:
    if not isinstance(value, Drawn):
        return (value,)
    return (value.first,) if value.normal else (value.first, value.second)


def _tried(spec: SweepSpec, where: str) -> None:
    """Each value is tried beside the first of all others, and each arrangement with each set of modes."""
    first = {name: _ends(values[0])[0] for name, values in spec.axes.items()}

    def check(values: Mapping[str, Value], name: str) -> None:
        try:
            machine, _ = machine_of(values)
            conditions_of(values, machine)
            modes_of(str(values[".modes"]), machine)
        except Refused as error:
            raise Refused(Message.of(f"{where}: {name.lstrip('.')}: {error}")) from None

    for name, values in spec.axes.items():
        for value in itertools.chain.from_iterable(map(_ends, values)):
            check({**first, name: value}, name)
    for kind, modes in _pairs(spec):
        check({**first, "arrangement": kind, ".modes": modes}, "modes")


def _pairs(spec: SweepSpec) -> Iterator[tuple[Value, Value]]:
    for kind in spec.axes["arrangement"]:
        for modes in spec.axes[".modes"]:
            yield _ends(kind)[0], _ends(modes)[0]
