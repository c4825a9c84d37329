"""
A motor's parameters from what is at hand, with what is left unknown.

Every parameter has a log-normal prior made of ratios of textbook motors (`estimate.toml`); plate, ohms and
capacitors are readings of functions of them. Bounded least squares finds the most probable motor, the
Gauss–Newton matrix there its covariance (Laplace's approximation), and draws from it are weighted with the
exact density, so that a bend in the functions is followed. SI units; resistances at 25 °C.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from humclick.errors import OutOfRange
from humclick.messages import Message, Verbatim
from humclick.physics.capacitor import greatest_torque_farads
from humclick.sizes.sound import sound_machine
from humclick.sourced import Z95, Spread, read_data, sourced, spread
from humclick.start.at_hand import AtHand
from humclick.start.machine import Motor, Steady, steady
from humclick.start.ranges import Range, range_of

__all__ = ["Estimate", "Possible", "estimate"]

#: Start gear that has more limits the current: it is a pill. [Ω]
_PILL = 1.0
#: The run winding, exactly. [Ω]
_ONE = Spread(1.0, 1.0, "Ω")
#: 1 horsepower, mechanical. [W]
_HORSEPOWER = 745.699872
#: No parameter goes further from its prior than this. [standard deviations]
_REACH = 4.0
#: A spread counts as exactly known below this. [-]
_SMALLEST_SIGMA = 1e-3
#: Draws made for each one kept, and how much wider than Laplace's they are made. [-]
_OVERSAMPLING, _WIDENING = 20, 1.15
#: A parameter of which less than this share of its prior variance is gone is called unknown. [-]
_LEARNT = 0.25
#: What is known within this factor is known well enough not to be mentioned. [-]
_TELLS = 1.15

#: What each parameter is, for a sentence.
_WORDS = {
    "rotor": Message("the resistance of the cage, which makes the starting torque"),
    "leakage": Message("the leakage reactance of the windings"),
    "leakage_split": Message("how the leakage divides between stator and rotor"),
    "magnetizing": Message("the magnetizing reactance"),
    "start_ohms": Message("the start winding's resistance"),
    "turns": Message("the turns of the start winding against the run winding"),
    "start_leakage": Message("the leakage of the start winding"),
    "slip": Message("the slip at rated load"),
    "inertia": Message("the moment of inertia of rotor and crank"),
    "gear": Message("the resistance of the start gear when cold"),
    "start_capacitor": Message("the start capacitor's true capacitance"),
    "run_capacitor": Message("the run capacitor's true capacitance"),
}


@cache
def _prior(table: str, name: str) -> Spread:
    return spread(read_data("humclick.start", "estimate.toml")[table][name], f"estimate.toml {table}.{name}")


@cache
def _number(table: str, name: str) -> float:
    data = read_data("humclick.start", "estimate.toml")[table][name]
    return sourced(data, f"estimate.toml {table}.{name}").value


@dataclass(frozen=True, slots=True)
class Possible:
    """One motor that agrees with what is at hand."""

    motor: Motor  #: Its parameters, at 25 °C.
    slip: float  #: At rated load. [-]
    shaft_watts: float  #: At that slip. [W]
    gear_ohms: float | None  #: Of the closed, cold start gear; None if there is none. [Ω]
    #: Capacitances; None if there is no such part. [F]
    start_farads: float | None
    run_farads: float | None

    def _gear(self) -> complex | None:
        if self.gear_ohms is None:
            return None
        if self.start_farads is None:
            return complex(self.gear_ohms)
        return self.gear_ohms - 1j / (2 * math.pi * self.motor.hertz * self.start_farads)

    def _capacitor(self) -> complex | None:
        if self.run_farads is None:
            return None
        return complex(0, -1 / (2 * math.pi * self.motor.hertz * self.run_farads))

    def locked(self, volts: float) -> Steady:
        """Standstill with the start circuit closed, at some volts [V] on the motor."""
        return steady(self.motor, volts, start_impedance=self._gear(), run_capacitor=self._capacitor())

    def locked_released(self, volts: float) -> Steady:
        """Standstill after the start gear has let go, at some volts [V] on the motor."""
        return steady(self.motor, volts, run_capacitor=self._capacitor())

    def running(self, volts: float) -> Steady:
        """At rated slip with the start gear let go, at some volts [V] on the motor."""
        return steady(self.motor, volts, self.slip, run_capacitor=self._capacitor())


@dataclass(frozen=True)
class _Model:
    """The parameters as standard normal numbers, and what they say of the readings."""

    at_hand: AtHand
    priors: dict[str, Spread]

    def possible(self, z: NDArray[np.float64]) -> Possible:
        """The motor at a point of the parameter space."""
        standing, running, per_watt = self._electrical(z)
        shaft = running.power_out
        least = 0.05 * _number("mechanics", "inertia_watts")
        motor = replace(standing.motor, inertia=per_watt * max(shaft, least))
        return replace(standing, motor=motor, shaft_watts=shaft)

    def _electrical(self, z: NDArray[np.float64]) -> tuple[Possible, Steady, float]:
        """The motor but for its inertia, how it runs, and its inertia over the shaft power [kg m²/W]."""
        p = {
            name: s.median * math.exp(max(s.sigma, _SMALLEST_SIGMA) * float(deviation))
            for (name, s), deviation in zip(self.priors.items(), z, strict=False)
        }
        g = self.at_hand
        leakage = p["leakage"] * p["run_ohms"] * (1 + p["rotor"])
        rotor_leakage = leakage / (1 + p["leakage_split"])
        run_leakage = leakage - rotor_leakage
        squared = p["turns"] ** 2
        fields = {
            "run_ohms": p["run_ohms"],
            "run_leakage": run_leakage,
            "run_magnetizing": p["magnetizing"] * leakage,
            "start_ohms": p["start_ohms"] * p["run_ohms"],
            "start_leakage": p["start_leakage"] * squared * run_leakage,
            "start_magnetizing": squared * p["magnetizing"] * leakage,
            "rotor_ohms": p["rotor"] * p["run_ohms"],
            "rotor_leakage": rotor_leakage,
            "turns_ratio": p["turns"],
            "hertz": g.hertz,
        }
        poles = g.poles or int(_number("mechanics", "poles"))
        possible = Possible(
            motor=Motor(**fields, poles=poles, inertia=1.0),
            slip=p["slip"],
            shaft_watts=0.0,
            gear_ohms=p.get("gear"),
            start_farads=p.get("start_capacitor"),
            run_farads=p.get("run_capacitor"),
        )
        per_watt = p["inertia"] / _number("mechanics", "inertia_watts") * (poles / 2) ** 2
        return possible, possible.running(g.volts), per_watt

    def residuals(self, z: NDArray[np.float64]) -> NDArray[np.float64]:
        """Distances from priors and readings, each in standard deviations."""
        g = self.at_hand
        possible, running, _ = self._electrical(z)
        motor, rest = possible.motor, list(z)
        ohms = math.log(g.ohms_factor or _prior("reading", "ohms").factor) / Z95

        def compare(measured: float, computed: float, allowed: Spread) -> None:
            distance = math.log(measured / max(computed, 1e-12)) - allowed.mu
            rest.append(distance / max(allowed.sigma, _SMALLEST_SIGMA))

        for measured, computed in ((g.run_ohms, motor.run_ohms), (g.start_ohms, motor.start_ohms)):
            if measured is not None:
                rest.append(math.log(measured / computed) / max(ohms, _SMALLEST_SIGMA))
        if g.locked_rotor_amps is not None:
            share = _share(float(z[-1]))
            inside, outside = abs(possible.locked(g.volts).line), abs(possible.locked_released(g.volts).line)
            compare(
                g.locked_rotor_amps, inside**share * outside ** (1 - share), _prior("plate", "locked_rotor")
            )
        if g.rated_load_amps is not None:
            compare(g.rated_load_amps, abs(running.line), _prior("running", "plate_over_running"))
        if g.horsepower is not None:
            compare(g.horsepower * _HORSEPOWER, running.power_out, _prior("running", "horsepower"))
        if g.displacement is not None:
            turns = 2 * g.hertz / motor.poles * (1 - possible.slip)
            compare(
                running.power_out / (g.displacement * turns), 1.0, _prior("running", "effective_pressure")
            )
        if possible.start_farads is not None and g.start_capacitor is not None:
            compare(self._best_farads(motor), possible.start_farads, _prior("plate", "tuned"))
        if possible.run_farads is not None and g.run_capacitor is not None:
            compare(abs(running.capacitor_volts), g.volts, _prior("running", "capacitor_volts"))
        return np.array(rest)

    @staticmethod
    def _best_farads(motor: Motor) -> float:
        magnetizing = 1j * motor.run_magnetizing
        rotor = motor.rotor_ohms + 1j * motor.rotor_leakage
        inside = magnetizing * rotor / (magnetizing + rotor)
        run = motor.run_ohms + 1j * motor.run_leakage + inside
        start = motor.start_ohms + 1j * motor.start_leakage + motor.turns_ratio**2 * inside
        return greatest_torque_farads(run, start, motor.hertz)


@dataclass(frozen=True)
class Estimate:
    """What is known of a motor."""

    at_hand: AtHand  #: What it was made from.
    names: tuple[str, ...]  #: Of the parameters, in the order of `mean` and `covariance`.
    #: Of the parameters, each in standard deviations of its prior. [-]
    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    #: Half the sum of squared distances at the best fit; far above the number of readings it says that they
    #: do not belong to one ordinary motor. [-]
    cost: float
    readings: int  #: How many readings were used.
    best: Possible  #: The most probable motor.
    _model: _Model

    @property
    def motor(self) -> Motor:
        """The most probable motor, at 25 °C."""
        return self.best.motor

    @property
    def strained(self) -> bool:
        """Whether the readings hardly belong to one ordinary motor: a typing error, or a damaged winding."""
        return self.cost > 4.5 + self.readings / 2

    @property
    def unknowable(self) -> tuple[Message, ...]:
        """What cannot be known from this, in sentences."""
        return _unknowable(self)

    def known_factor(self, name: str) -> float:
        """A parameter is known within this factor, 95 %. [-]"""
        if name not in self._model.priors:
            raise OutOfRange(
                Message(
                    "no parameter {name}; there are {priors}",
                    name=Verbatim(repr(name)),
                    priors=tuple(self._model.priors),
                )
            )
        at = self.names.index(name)
        return math.exp(Z95 * self._model.priors[name].sigma * math.sqrt(self.covariance[at, at]))

    def possible(self, n: int, seed: int = 0) -> list[Possible]:
        """
        Motors drawn from what is known, equally probable, start gear and capacitors with them.

        The same seed gives the same motors.
        """
        if n < 1:
            raise OutOfRange(Message("the number of draws must be 1 or more, got {n}", n=n))
        rng = np.random.default_rng(seed)
        root = np.linalg.cholesky(self.covariance) * _WIDENING
        normal = rng.standard_normal((_OVERSAMPLING * n, len(self.names)))
        points = self.mean + normal @ root.T
        points = np.clip(points, -_REACH, _REACH)
        logs = np.array([_density(self._model, z) for z in points]) + np.sum(normal**2, axis=1) / 2
        weights = np.exp(logs - logs.max())
        places = (rng.random() + np.arange(n)) / n
        chosen = np.searchsorted(np.cumsum(weights) / weights.sum(), places)
        return [self._model.possible(points[min(i, len(points) - 1)]) for i in rng.permutation(chosen)]

    def range(self, of: Callable[[Possible], float], unit: str = "", *, n: int = 200) -> Range:
        """
        The 90 % range of anything that can be computed from a motor.

        `of` gives the quantity in `unit` of `n` motors, as in `possible`.
        """
        return range_of([of(motor) for motor in self.possible(n)], unit)


def _density(model: _Model, z: NDArray[np.float64]) -> float:
    """Logarithm of the exact density: the plate's current was read with the start winding in, or out."""
    rest = -float(np.sum(model.residuals(z) ** 2)) / 2
    if model.at_hand.locked_rotor_amps is None:
        return rest
    share, width = _share(float(z[-1])), _number("plate", "with_start_width")
    out, inside = -((share / width) ** 2) / 2, -(((share - 1) / width) ** 2) / 2
    return rest + float(z[-1]) ** 2 / 2 + float(np.logaddexp(out, inside))


def _share(z: float) -> float:
    return _number("plate", "with_start") + _number("plate", "with_start_sigma") * z


def _priors(at_hand: AtHand) -> dict[str, Spread]:
    kind = "capacitor_run" if at_hand.run_capacitor is not None else "induction_run"
    if at_hand.split_phase:
        kind = "split_phase"
    sound = sound_machine(at_hand.volts, at_hand.hertz, _words(at_hand))  # amps and power are readings below
    priors = {"run_ohms": sound.size("run_ohms")}
    for name in ("rotor", "leakage", "leakage_split", "magnetizing", "start_leakage"):
        priors[name] = _prior("ratio", name)
    priors["start_ohms"] = sound.given("run_ohms", _ONE).size("start_ohms")  # over the run winding's
    priors["turns"] = _prior(kind, "turns")
    priors["slip"], priors["inertia"] = _prior("running", "slip"), _prior("mechanics", "inertia")
    for name in ("gear", "start_capacitor", "run_capacitor"):
        size = getattr(at_hand, name)
        if size is not None:
            priors[name] = size
    return priors


def _words(at_hand: AtHand) -> set[str]:
    """What `humclick.sizes` goes by."""
    words = {"no run capacitor" if at_hand.run_capacitor is None else "run capacitor"}
    if at_hand.start_capacitor is not None:
        words.add("start capacitor")
    if at_hand.gear is None or at_hand.gear.median < _PILL:
        words.add("no pill")
    return words


def estimate(at_hand: AtHand) -> Estimate:
    """
    The motors that agree with what is at hand.

    Anything but the volts may be missing. Raises `OutOfRange` if no motor can be found near what is known.

    >>> found = estimate(AtHand(volts=115, locked_rotor_amps=12, gear=Spread(5, 1.3)))
    >>> 10 < abs(found.best.locked(115).line) < 15
    True
    """
    model = _Model(at_hand, _priors(at_hand))
    names = (*model.priors, *(("plate_with_start",) if at_hand.locked_rotor_amps is not None else ()))
    start = np.zeros(len(names))
    if not np.all(np.isfinite(model.residuals(start))):
        raise OutOfRange(
            Message("no ordinary motor lies near these values; check volts, amps and ohms for slips")
        )
    solution = least_squares(
        model.residuals, start, bounds=(-_REACH, _REACH), x_scale=1.0, xtol=1e-6, ftol=1e-8
    )
    precision = solution.jac.T @ solution.jac
    return Estimate(
        at_hand=at_hand,
        names=names,
        mean=solution.x,
        covariance=np.linalg.inv(precision),
        cost=float(solution.cost),
        readings=len(solution.fun) - len(names),
        best=model.possible(solution.x),
        _model=model,
    )


def _vague(result: Estimate) -> tuple[Message, ...]:
    """Of what hardly anything is known, and within which factor."""
    variance = np.diag(result.covariance)
    return tuple(
        Message("{what} (within a factor of {factor:.1f})", what=words, factor=result.known_factor(name))
        for name, words in _WORDS.items()
        if name in result.names
        and variance[result.names.index(name)] > 1 - _LEARNT
        and result.known_factor(name) > _TELLS
    )


def _unknowable(result: Estimate) -> tuple[Message, ...]:
    at_hand = result.at_hand
    sentences = []
    if at_hand.locked_rotor_amps is None:
        sentences.append(
            Message("The plate's locked-rotor amps are missing: currents rest on ohms and on what is usual.")
        )
    else:
        sentences.append(
            Message(
                "Whether the plate's locked-rotor amps were read with the start winding in or out is not"
                " printed on it; both are allowed for."
            )
        )
    if at_hand.run_ohms is None:
        sentences.append(Message("The run winding was not measured."))
    if at_hand.start_ohms is None:
        sentences.append(Message("The start winding was not measured."))
    if at_hand.rated_load_amps is None and at_hand.horsepower is None and at_hand.displacement is None:
        sentences.append(
            Message("Neither rated-load amps nor horsepower nor displacement is given: the load is a guess.")
        )
    if at_hand.poles is None:
        sentences.append(
            Message(
                "The number of poles is not on the plate: two are taken. A four-pole motor turns at half the"
                " speed with up to twice the torque."
            )
        )
    vague = _vague(result)
    if vague:
        sentences.append(
            Message("Hardly anything here speaks of {what:semicolon}: the usual is taken.", what=vague)
        )
    sentences.append(
        Message(
            "Saturation of the iron is left out: a real motor draws more at full volts than one measured at"
            " few."
        )
    )
    sentences.append(
        Message("Stiff bearings, wear and liquid in the cylinder cannot be seen in plate or ohms.")
    )
    if result.strained:
        sentences.insert(
            0,
            Message(
                "These readings hardly belong to one ordinary motor: check them for slips, then think of"
                " shorted turns."
            ),
        )
    return tuple(sentences)
