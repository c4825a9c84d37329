"""
What a recording of the line current shows: how probable each cause is, in numbers and in words.

Each cause has one or more signatures, log-normal levels and times: some put down from memory
(`signatures.toml`), some made with the simulator of `humclick.start` (`simulated.toml`). The machine's size,
the ratio of its running to its locked-rotor current and the supply are unknowns common to all that is
measured; they and the signatures' spreads are integrated exactly, as all of it is normal in the logarithm.
A plate's LRA and RLA enter as two more measurements; without them the size is left wide open.
Amperes, seconds; probabilities and ratios in [-].
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import Any

from humclick.errors import OutOfRange, Unknown
from humclick.messages import Message, counted
from humclick.readings.shown import percent
from humclick.recordings import GEARS
from humclick.recordings.features import AttemptMeasured, MeasuredFigure, RecordingMeasured
from humclick.sizes.sound import SoundMachine, sound_machine
from humclick.sourced import Z95, Spread, read_data

__all__ = ["CAUSES", "Odds", "Plate", "Recognition", "recognise"]

CAUSES = (
    "healthy",
    "no_start_current",
    "ptc_hot",
    "start_device_bridged",
    "relay_welded",
    "rotor_held",
    "low_voltage",
    "run_winding_open",
    "shorted_turns",
    "weak_start_capacitor",
    "run_capacitor_open",
    "protector_early",
    "nothing",
)

#: Least probability that any cause is given against the best; no recording is surer than that. [-]
_LEAST = 1e-6
#: A cause at least this probable beside the first is told with it. [-]
_RIVAL = 0.1
#: More than this over the plate's LRA is doubted. [-]
_MUCH = 1.7
#: A plateau needs this many windows to be measured. [-]
_WINDOWS = 3.0
#: Where no signature speaks of a time: median and spread of its logarithm. [s] [-]
_ANY_FALL = (0.4, 1.3)
_ANY_TRIP = (20.0, 1.8)


@dataclass(frozen=True, slots=True)
class Odds:
    """What a recording is weighed against."""

    #: By kind of start gear and cause: probability before the recording; what they lack of 1 is none of
    #: these. [-]
    shares: Mapping[str, Mapping[str, float]]
    misread: float = 0.0  #: Share of recordings read wrongly or taken of something else. [-]


@lru_cache(maxsize=64)
def _usual(machine: SoundMachine) -> tuple[Spread, Spread]:
    """Locked-rotor amps, and running amps over them."""
    locked = machine.size("locked_rotor_amps")
    known = machine.given("locked_rotor_amps", Spread(locked.median, 1.0))
    return locked, known.size("rated_load_amps").scaled(1.0 / locked.median)


@dataclass(frozen=True, slots=True)
class Plate:
    """What is known of the machine before the recording."""

    #: From the nameplate. [A]
    locked_rotor_amps: float | None = None
    rated_load_amps: float | None = None
    gear: str | None = None  #: ``ptc``, ``current_relay`` or ``potential_relay``; None if not known.
    #: Ids of the machine's parts: what it has not got is no cause. None if not known.
    parts: frozenset[str] | None = None
    odds: Odds | None = None  #: Of its causes; all alike if None.
    #: All else that is known of it: volts, stamps; the amps of the plate are weighed by themselves.
    machine: SoundMachine = field(default_factory=lambda: sound_machine(115.0))

    @property
    def usual(self) -> tuple[Spread, Spread]:
        """Locked-rotor amps of such machines before the plate's are read, and running amps over them."""
        return _usual(self.machine)

    def __post_init__(self) -> None:
        for name in ("locked_rotor_amps", "rated_load_amps"):
            amps = getattr(self, name)
            if amps is not None and not 0.05 <= amps <= 300.0:
                raise OutOfRange(
                    Message("{name} must lie between 0.05 and 300 A, got {amps:g}", name=name, amps=amps)
                )
        if self.gear is not None and self.gear not in GEARS:
            raise Unknown(Message("start gear"), self.gear, GEARS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recognition:
    """What a recording shows, ready to be weighed with everything else."""

    #: What each attempt came to: ``silent``, ``hum``, ``hum_click``, ``starts_then_trips``, ``breaker`` or
    #: ``runs``; ``silent`` alone where there is none.
    heard: tuple[str, ...]
    log_likelihood: Mapping[str, float]  #: By cause: natural logarithm, the best at 0. [-]
    probabilities: Mapping[str, float]  #: By cause: after it, with the odds of the plate. [-]
    none: float  #: Probability that it is none of these. [-]
    amps: MeasuredFigure | None  #: Locked-rotor plateau of the first whole attempt.
    trip: MeasuredFigure | None  #: When that attempt's current stopped by itself.
    sentences: tuple[Message, ...]  #: What it means, plainly.
    probes: tuple[str, ...]  #: Probes that tell apart what this recording cannot.


@cache
def _data() -> tuple[dict[str, Any], dict[str, Any]]:
    package = "humclick.recordings"
    return read_data(package, "signatures.toml"), read_data(package, "causes.toml")


@cache
def _courses(cause: str, gear: str) -> tuple[tuple[float, Mapping[str, Any]], ...]:
    """Signatures of a cause with a gear, weighted: those from memory and those simulated, half and half."""
    courses: list[tuple[float, Mapping[str, Any]]] = []
    tables = (
        read_data("humclick.recordings", name)["signature"] for name in ("signatures.toml", "simulated.toml")
    )
    opinions = [[row for row in table if (row["cause"], row["gear"]) == (cause, gear)] for table in tables]
    for opinion in filter(None, opinions):
        total = sum(float(row.get("weight", 1.0)) for row in opinion) * sum(map(bool, opinions))
        courses += [(float(row.get("weight", 1.0)) / total, row) for row in opinion]
    return tuple(courses)


def _sd(factor: float) -> float:
    return math.log(factor) / Z95


# -- likelihood -------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Figures:
    """
    What an attempt measures against what a signature says, as logarithms.

    Normal, with covariance diag(noise) + loads loadsᵀ; the loads are on size, ratio, volts, first and
    level.
    """

    gaps: list[float] = field(default_factory=list)
    noise: list[float] = field(default_factory=list)
    loads: list[list[float]] = field(default_factory=list)

    def take(self, value: float, mean: float, sd: float, load: list[float]) -> None:
        """One logarithm, its mean and standard deviation under the signature."""
        self.gaps.append(value - mean)
        self.noise.append(sd**2)
        self.loads.append(load)

    def amps(self, figure: MeasuredFigure | None, mean: float, sd: float, load: list[float]) -> None:
        """One current, where it was measured."""
        if figure is not None and figure.amount > 0:
            relative = figure.plus_minus / figure.amount / Z95
            self.take(math.log(figure.amount), mean, math.hypot(sd, relative), load)

    def log_density(self) -> float:
        """Of all figures together."""
        return _log_normal(self.gaps, self.noise, self.loads)


def _log_normal(gaps: list[float], noise: list[float], loads: list[list[float]]) -> float:
    """Log density of a normal vector with covariance diag(noise) + loads loadsᵀ, by Cholesky."""
    size = len(gaps)
    lower = [[0.0] * size for _ in range(size)]
    total = -0.5 * size * math.log(2 * math.pi)
    solved: list[float] = []
    for i in range(size):
        for j in range(i + 1):
            held = sum(a * b for a, b in zip(loads[i], loads[j], strict=True)) + (noise[i] if i == j else 0.0)
            held -= sum(lower[i][k] * lower[j][k] for k in range(j))
            lower[i][j] = math.sqrt(max(held, 1e-12)) if i == j else held / lower[j][j]
        solved.append((gaps[i] - sum(lower[i][k] * solved[k] for k in range(i))) / lower[i][i])
        total -= math.log(lower[i][i]) + 0.5 * solved[i] ** 2
    return total


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def _course(
    signature: Mapping[str, Any],
    attempt: AttemptMeasured,
    plate: Plate,
    measured: RecordingMeasured,
    widen: float,
) -> float:
    """Log likelihood of the first attempt under one signature, its spreads widened by a factor."""
    scale = _data()[0]["scale"]
    scale_known = measured.scale_known
    locked, over = plate.usual
    size, ratio = (locked.mu, locked.sigma if scale_known else 5.0), (over.mu, over.sigma)
    volts = _sd(scale["volts_factor"])
    runs = bool(signature.get("runs", False))

    first, level, end = (_part(signature, name, widen) for name in ("first", "level", "end"))
    figures = _Figures()
    if not attempt.stretch.before:
        lost = 0.01
        if "fall" in signature and signature["fall"][0] < _WINDOWS * measured.step:
            lost = min(measured.step, 0.6)  # over before a window lies whole within it
        figures.amps(attempt.plateau, size[0] + first[0], lost, [size[1], 0.0, volts, first[1], 0.0])
    if runs:
        settled, load = size[0] + ratio[0] + level[0], [size[1], ratio[1], 0.0, 0.0, level[1]]
    else:
        settled, load = size[0] + first[0] + level[0], [size[1], 0.0, volts, first[1], level[1]]
    figures.amps(attempt.level if not attempt.stretch.before else None, settled, 0.005, load)
    figures.amps(attempt.end, settled + end[0], end[1], load)
    stamped = _sd(scale["stamped_factor"]) * widen**2  # an astray plate may belong to another machine
    if scale_known and plate.locked_rotor_amps is not None:
        figures.take(math.log(plate.locked_rotor_amps), size[0], stamped, [size[1], 0.0, 0.0, 0.0, 0.0])
    if scale_known and plate.rated_load_amps is not None:
        mean = size[0] + ratio[0]
        figures.take(math.log(plate.rated_load_amps), mean, stamped, [size[1], ratio[1], 0.0, 0.0, 0.0])
    if not attempt.stretch.before:
        _take_times(figures, signature, attempt, scale, widen)
    return _stopped(signature, attempt, scale, widen) + figures.log_density()


def _part(signature: Mapping[str, Any], name: str, widen: float) -> tuple[float, float]:
    """Mean and standard deviation of the logarithm of one part of a signature."""
    middle, factor = signature[name]
    return math.log(middle), _sd(factor) * widen


def _take_times(
    figures: _Figures,
    signature: Mapping[str, Any],
    attempt: AttemptMeasured,
    scale: Mapping[str, Any],
    widen: float,
) -> None:
    """When the current left the plateau and when it stopped, which move with the volts."""
    volts = _sd(scale["volts_factor"])
    for name, usual, power in (("fall", _ANY_FALL, "fall_power"), ("trip", _ANY_TRIP, "trip_power")):
        figure = getattr(attempt, name)
        if figure is None:
            continue
        relative = figure.plus_minus / max(figure.amount, 1e-3) / Z95
        if name in signature:
            middle, sd = _part(signature, name, widen)
            load = [0.0, 0.0, scale[power] * volts, 0.0, 0.0]
        else:
            middle, sd, load = math.log(usual[0]), usual[1], [0.0] * 5
        figures.take(math.log(max(figure.amount, 1e-3)), middle, math.hypot(sd, min(relative, 0.7)), load)


def _stopped(
    signature: Mapping[str, Any], attempt: AttemptMeasured, scale: Mapping[str, Any], widen: float
) -> float:
    """Log probability that the current stopped by itself, or had not yet."""
    trips = float(signature["trips"])
    if attempt.trip is not None:
        by_control = signature.get("runs", False) and attempt.stretch.seconds > scale["control_from"]
        return math.log(max(trips, scale["off_by_control"] if by_control else scale["off_by_hand"]))
    if "trip" not in signature:
        return math.log1p(-min(trips, 0.99))
    middle, factor = signature["trip"]
    early = (math.log(max(attempt.stretch.seconds, 0.05)) - math.log(middle)) / (_sd(factor) * widen)
    return math.log(max(1.0 - trips * _phi(early), 1e-4))


def _of_cause(cause: str, gear: str, measured: RecordingMeasured, plate: Plate) -> float:
    """Likelihood of the recording if this is the cause, with this gear; 0 where it cannot be."""
    table, causes = _data()
    needs = causes[cause].get("needs")
    if needs is not None and plate.parts is not None and needs not in plate.parts:
        return 0.0
    if not measured.attempts:
        if cause == "nothing":
            return 0.98
        return 0.3 if (cause, gear) == ("run_winding_open", "current_relay") else 0.003
    whole = _whole(measured)
    scale = table["scale"]
    logs = []
    for weight, signature in _courses(cause, gear):
        for share, widen in ((1 - scale["astray"], 1.0), (scale["astray"], scale["astray_factor"])):
            logs.append(math.log(weight * share) + _course(signature, whole, plate, measured, widen))
    if not logs:
        return 0.0
    best = max(logs)
    total = best + math.log(sum(math.exp(f - best) for f in logs))
    later = [a for a in measured.attempts if a.stretch.on > whole.stretch.on]
    if later and not whole.runs:
        then = table["later"].get(cause, table["later"]["otherwise"])
        total += math.log(then if any(a.runs for a in later) else 1.0 - then)
    return math.exp(min(max(total, -700.0), 700.0))


def _whole(measured: RecordingMeasured) -> AttemptMeasured:
    """First attempt seen from its start; else the first."""
    return next((a for a in measured.attempts if not a.stretch.before), measured.attempts[0])


# -- in words --------------------------------------------------------------------------------------------


def recognise(measured: RecordingMeasured, plate: Plate | None = None) -> Recognition:
    """Say what a recording of the line current shows."""
    plate = plate or Plate()
    gears = (plate.gear,) if plate.gear else GEARS
    by_gear = {
        (cause, gear): _of_cause(cause, gear, measured, plate) / len(gears)
        for cause in CAUSES
        for gear in gears
    }
    likely = {cause: sum(by_gear[cause, gear] for gear in gears) for cause in CAUSES}
    best = max(likely.values())
    if best <= 0.0:
        likely, best = dict.fromkeys(CAUSES, 1.0), 1.0
    log_likelihood = {cause: math.log(max(value / best, _LEAST)) for cause, value in likely.items()}
    probabilities = _probabilities(log_likelihood, by_gear, gears, plate.odds or _ALIKE)
    none = max(1.0 - math.fsum(probabilities.values()), 0.0)
    order = sorted(CAUSES, key=lambda c: -probabilities[c])
    likely_causes = [c for c in order if probabilities[c] >= _RIVAL] or order[:1]
    whole = _whole(measured) if measured.attempts else None
    return Recognition(
        heard=_heard(measured, probabilities),
        log_likelihood=log_likelihood,
        probabilities=probabilities,
        none=none,
        amps=whole.plateau if whole is not None and not whole.stretch.before else None,
        trip=whole.trip if whole is not None else None,
        sentences=_sentences(measured, likely_causes, probabilities, plate),
        probes=_probes(likely_causes, gears, by_gear),
    )


_ALIKE = Odds({gear: dict.fromkeys(CAUSES, 1.0 / len(CAUSES)) for gear in GEARS})


def _probabilities(
    log_likelihood: Mapping[str, float],
    by_gear: Mapping[tuple[str, str], float],
    gears: Sequence[str],
    odds: Odds,
) -> dict[str, float]:
    """Probability of each cause, as a call would give it that had seen nothing but this recording."""
    likely = {cause: math.exp(x) for cause, x in log_likelihood.items()}
    anything = math.fsum(likely.values()) / len(likely)
    weights, left = {}, 1.0
    for cause in CAUSES:
        fits = [by_gear[cause, gear] for gear in gears]
        fits = fits if any(fits) else [1.0] * len(gears)
        share = math.fsum(f * odds.shares[g][cause] for f, g in zip(fits, gears, strict=True)) / math.fsum(
            fits
        )
        weights[cause] = share * ((1.0 - odds.misread) * likely[cause] + odds.misread * anything)
        left -= math.fsum(odds.shares[gear][cause] for gear in gears) / len(gears)
    total = math.fsum(weights.values()) + max(left, 0.0) * anything
    return {cause: weight / total for cause, weight in weights.items()}


def _heard(measured: RecordingMeasured, probabilities: Mapping[str, float]) -> tuple[str, ...]:
    """What each attempt came to."""
    if not measured.attempts:
        return ("silent",)
    turning = probabilities["start_device_bridged"] + probabilities["relay_welded"] > 0.5
    outcomes = []
    for attempt in measured.attempts:
        tripped = attempt.trip is not None
        if attempt.runs and attempt.stretch.seconds > 1.6:
            outcomes.append("starts_then_trips" if tripped else "runs")
        elif tripped and attempt.stretch.seconds > 1.6:
            outcomes.append("starts_then_trips" if turning else "hum_click")
        elif tripped and probabilities["run_winding_open"] > 0.5:
            outcomes.append("hum")
        else:
            outcomes.append("hum_click" if tripped else "hum")
    return tuple(outcomes)


def _probes(
    likely_causes: Sequence[str], gears: Sequence[str], by_gear: Mapping[tuple[str, str], float]
) -> tuple[str, ...]:
    """Probes of the causes told, each with the gear that fits it best."""
    causes = _data()[1]
    probes: dict[str, None] = {}
    for cause in likely_causes:
        listed = causes[cause].get("probes", {})
        for gear in sorted(gears, key=lambda g: -by_gear[cause, g]):
            if by_gear[cause, gear] > 0.05 * max(by_gear[cause, g] for g in gears) or cause == "nothing":
                probes.update(dict.fromkeys(listed.get(gear, ())))
    return tuple(probes)


def _figure(measured: MeasuredFigure) -> str:
    """A figure with its unit, to what it is good for."""
    figure = f"{measured.amount:.{2 if measured.amount < 10 else 1}f}"
    return f"{figure} {measured.unit}" if measured.unit else Message("{amount} of the scale", amount=figure)


def _sentences(
    measured: RecordingMeasured,
    likely_causes: Sequence[str],
    probabilities: Mapping[str, float],
    plate: Plate,
) -> tuple[Message, ...]:
    """What the recording means, plainly."""
    causes = _data()[1]
    title = {cause: Message.of(causes[cause]["title"]) for cause in likely_causes}
    chance = {cause: percent(probabilities[cause]) for cause in likely_causes}
    sentences = [*_course_in_words(measured, plate)]
    first, rivals = likely_causes[0], likely_causes[1:]
    sentences.append(
        Message(
            "This looks like {cause} ({chance}): {plain}.",
            cause=title[first],
            chance=chance[first],
            plain=Message.of(causes[first]["plain"]),
        )
    )
    if rivals:
        others = tuple(Message("{cause} ({chance})", cause=title[c], chance=chance[c]) for c in rivals)
        sentences.append(Message("It may also be {causes}.", causes=others))
    alike = [Message.of(causes[c]["alike"]) for c in likely_causes if "alike" in causes[c]]
    sentences += [Message("{sentence}.", sentence=sentence) for sentence in alike]
    whole = _whole(measured) if measured.attempts else None
    lra = plate.locked_rotor_amps
    if whole is not None and measured.scale_known and lra and whole.plateau.amount > _MUCH * lra:
        sentences.append(
            Message(
                "{times:.1f} times the plate's locked-rotor amperes cannot flow for long: look whether the "
                "clamp's range, its turns of wire and the plate are those of this machine.",
                times=whole.plateau.amount / lra,
            )
        )
    if first != "nothing" and plate.locked_rotor_amps is None and measured.scale_known:
        sentences.append(Message("The plate's locked-rotor amperes (LRA) would make this surer."))
    return tuple(sentences)


def _course_in_words(measured: RecordingMeasured, plate: Plate) -> Iterator[Message]:
    """How many attempts, and the first of them in one sentence."""
    if not measured.attempts:
        yield Message("No current flowed in {seconds:.0f} s.", seconds=measured.seconds)
        return
    attempt = _whole(measured)
    yield counted("{n} start attempt.", "{n} start attempts.", len(measured.attempts))
    if attempt.stretch.before:
        course = Message("It was running when the recording began")
    elif measured.scale_known and plate.locked_rotor_amps:
        course = Message(
            "At first {amount}, {share:.0f} % of the plate's LRA",
            amount=_figure(attempt.plateau),
            share=100 * attempt.plateau.amount / plate.locked_rotor_amps,
        )
    else:
        course = Message("At first {amount}", amount=_figure(attempt.plateau))
    course = _afterwards(course, attempt)
    if attempt.trip is not None:
        yield Message(
            "{course}; the current stopped after {time}.", course=course, time=_figure(attempt.trip)
        )
    else:
        yield Message("{course}; it still flowed at the end.", course=course)


def _afterwards(course: Message, attempt: AttemptMeasured) -> Message:
    """What came after the first current of an attempt."""
    if attempt.run is not None:
        amount = _figure(attempt.run)
        if attempt.run_up is None:
            return Message("{course}, then running at {amount}", course=course, amount=amount)
        return Message(
            "{course}, then running after {time} at {amount}",
            course=course,
            time=_figure(attempt.run_up),
            amount=amount,
        )
    if attempt.level is not None and attempt.lets_go is not None:
        return Message(
            "{course}, after {time} {amount}",
            course=course,
            time=_figure(attempt.lets_go),
            amount=_figure(attempt.level),
        )
    return course
