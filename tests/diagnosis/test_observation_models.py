"""Every kind of probe: what it can show is certain together, and a forecast says what the likelihood says."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.layout import machine_nodes
from humclick.diagnosis.advice import advise
from humclick.diagnosis.bench import bench_for
from humclick.diagnosis.cases import Cases
from humclick.diagnosis.displays import Display
from humclick.diagnosis.evidence import weighing_of
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.findings import findings
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.likelihood import evidence
from humclick.diagnosis.observations import kinds, with_kinds
from humclick.diagnosis.observations.amps import clamp_of
from humclick.diagnosis.observations.attempt import Listened
from humclick.diagnosis.observations.model import Model, Probe, Taken
from humclick.diagnosis.observations.outlook import Forecast, Outlook, rounded
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.probes import probe_of, probes_of, taken_of
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.errors import Unknown
from humclick.messages import Message
from humclick.meters import Meter, MeterRange, Quantity
from humclick.readings import Leads, Reading, parse_temperature
from tests.sample import sampled

SHOP = default_shop()
_WORKING = [name for name in arrangements() if arrangement(name).started]
MACHINES = [(name, guard) for name in _WORKING for guard in arrangement(name).protectors]
#: What was felt, and whether the machine has just tried: the forecast's and the likelihood's word for it.
WARMTHS = {"cold": False, "hot": True, "unknown": None}
#: A step of the rows that attempts share: half of it, and what fills it up. [-]
STEP = 0.005
#: Integrals over an unknown are good to this. [-]
CLOSE = 4e-3

#: The integral over both windings takes three points a piece, leaving out what matters little; since the two
#: are wider and go together, the start winding's pieces are cut for the run winding at hand. [-]
TWO_WINDINGS = 0.02


def _ranges(quantity: Quantity, *rows: tuple[float, float]) -> list[MeterRange]:
    return [MeterRange(quantity, end, digit, percent=1.0, counts=2) for end, digit in rows]


#: A meter so coarse that all it can show is soon gone through.
COARSE = Meter(
    "coarse",
    Message("coarse"),
    (
        *_ranges(Quantity.RESISTANCE, *((2.0 * 10**k, 0.02 * 10**k) for k in range(1, 8))),
        *_ranges(Quantity.CAPACITANCE, *((2e-7 * 10**k, 1e-9 * 10**k) for k in range(5))),
        *_ranges(Quantity.VOLTAGE, (20.0, 0.1), (600.0, 2.0)),
        *_ranges(Quantity.CURRENT, (6.0, 0.05), (60.0, 0.5)),
    ),
)

machines = st.sampled_from(MACHINES).flatmap(
    lambda row: st.sampled_from((115.0, 230.0)).map(lambda v: Machine.of(*row, Nameplate(v, 60.0)))
)
warmths = st.sampled_from(sorted(WARMTHS))
some = settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
few = settings(max_examples=2, deadline=None, suppress_health_check=list(HealthCheck))


@dataclass(frozen=True)
class Asked:
    """A probe of a machine before it is taken, and the sets of up to one fault it is asked about."""

    machine: Machine
    probe: Probe
    warm: str
    leads: Leads
    before: tuple[Observation, ...] = ()

    @property
    def situation(self) -> Situation:
        """Nothing seen yet, but what was read before of the same."""
        return Situation(
            self.machine, None, self.before, meter=COARSE, leads=self.leads, hot=WARMTHS[self.warm]
        )

    @property
    def weighing(self) -> Weighing:
        """What it is weighed with."""
        return weighing_of(bench_for(self.machine, SHOP), self.situation)

    @property
    def sets(self) -> tuple[tuple[Fault, ...], ...]:
        """The sound machine and every single fault."""
        space = bench_for(self.machine, SHOP).space
        return space.sets[: 1 + sum(len(modes) - 1 for modes in space.modes)]

    @property
    def outlook(self) -> Outlook:
        """What a forecast is made of."""
        weighing, bench = self.weighing, bench_for(self.machine, SHOP)
        before = taken_of(self.machine, self.before, SHOP)
        cases = Cases(self.sets, len(bench.parts))
        return Outlook(self.situation, weighing, before, weighing.leads, frozenset(), cases)

    def forecast(self) -> Forecast | None:
        """What it would show."""
        return self.probe.model.forecast(self.outlook, self.probe, 0.0)

    def factor(
        self, reading: Reading | None = None, answer: str = ""
    ) -> tuple[Observation, list[float], float]:
        """An observation, how probable it is under every set, and under none of them. [-]"""
        warm = self.outlook.temperature(self.probe, 0.0)
        seen = Observation(self.probe.id, reading, answer, temperature=warm)
        weighing, taken = self.weighing, [*self.outlook.taken, Taken(self.probe, seen)]
        factor = self.probe.model.factor(weighing, taken, frozenset())
        return seen, [_value(factor, weighing, chosen) for chosen in self.sets], factor.none


def _value(factor: Factor, weighing: Weighing, chosen: tuple[Fault, ...]) -> float:
    if factor.per_set is not None:
        return factor.per_set(chosen)
    modes = dict(chosen)
    return weighing.mean(factor.table[tuple(modes.get(part, 0) for part in factor.scope)])


def _of(kind: str, machine: Machine) -> list[Probe]:
    made = [probe for probe in probes_of(machine, SHOP).values() if probe.kind == kind]
    return made or [probe_of(machine, "between.l-n", SHOP)]


@st.composite
def asked(draw: st.DrawFn, kind: str) -> Asked:
    """A probe of a kind on any machine, taken at any warmth, with leads that were measured."""
    machine = draw(machines)
    probe = draw(st.sampled_from(_of(kind, machine)))
    if probe.meter is not None:
        probe = replace(probe, meter=COARSE)
    return Asked(machine, probe, draw(warmths), draw(st.sampled_from((Leads(resistance=0.2), Leads()))))


# -- answers ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kind", [k.name for k in kinds() if k.name in {"look", "attempt", "known_good", "fit"}]
)
@some
@given(data=st.data())
def test_answers_are_certain_together_and_foreseen_as_they_are_weighed(
    kind: str, data: st.DataObject
) -> None:
    """Probabilities of all answers sum to one; the forecast is the likelihood, for attempts in its steps."""
    case = data.draw(asked(kind))
    made = case.forecast()
    assert made is not None
    assert made.labels == case.probe.outcomes
    rows = [case.factor(answer=answer) for answer in case.probe.outcomes]
    for i in range(len(case.sets)):
        likely = [values[i] for _, values, _ in rows]
        assert math.fsum(likely) == pytest.approx(1.0, abs=1e-9)
        row = made.rows[made.which[i]]
        assert math.fsum(row) == pytest.approx(1.0, abs=1e-9)
        if kind == "look":
            assert row == pytest.approx(likely, abs=1e-12)
        else:
            assert row == pytest.approx(rounded(likely), abs=STEP)
    assert [none for _, _, none in rows] == pytest.approx(made.none, abs=1e-12)
    assert math.fsum(made.none) == pytest.approx(1.0, abs=1e-9)


@some
@given(data=st.data())
def test_a_recording_without_causes_is_an_attempt_that_was_listened_to(data: st.DataObject) -> None:
    """All outcomes together are certain, and weigh as those of an attempt as found; it is never foreseen."""
    case = data.draw(asked("recorded"))
    listened = Asked(case.machine, probe_of(case.machine, "attempt.as_found", SHOP), case.warm, case.leads)
    assert isinstance(case.probe.model, Listened)
    assert case.forecast() is None
    total = [0.0] * len(case.sets)
    for answer in case.probe.outcomes:
        _, values, none = case.factor(answer=answer)
        _, same, as_heard = listened.factor(answer=answer)
        assert (values, none) == (same, as_heard)
        total = [t + v for t, v in zip(total, values, strict=True)]
    assert total == pytest.approx([1.0] * len(total), abs=1e-9)


@some
@given(machine=machines)
def test_a_check_says_nothing_of_the_parts(machine: Machine) -> None:
    """Whatever it shows, every set is as probable as before; it is never foreseen."""
    for probe in _of("check", machine):
        case = Asked(machine, probe, "cold", Leads())
        assert case.forecast() is None
        for answer in probe.outcomes:
            factor = probe.model.factor(
                case.weighing, [Taken(probe, Observation(probe.id, answer=answer))], frozenset()
            )
            assert (factor.table, factor.per_set, factor.none) == ({}, None, 1.0)


# -- readings -----------------------------------------------------------------------------------------------


def _displays(meter: Meter, quantity: Quantity) -> Iterator[Reading]:
    """Everything a meter can show."""
    spans = sorted((r for r in meter.ranges if r.quantity == quantity), key=lambda r: r.full_scale)
    first = 1
    for span, above in itertools.zip_longest(spans, spans[1:]):
        last = round(span.full_scale / span.resolution)
        for k in range(first, last):
            yield Reading(quantity, k * span.resolution, resolution=span.resolution)
        if above is not None:
            first = round(span.full_scale / above.resolution)
    yield Reading(quantity, 0.0, below_resolution=True, resolution=spans[0].resolution)
    yield Reading(quantity, None, over_limit=True)


def _meter_for(probe: Probe) -> Meter:
    if probe.quantity == "current":
        return clamp_of(COARSE)
    return probe.meter or COARSE


def _check_readings(case: Asked, close: float = CLOSE) -> None:
    made, probe, quantity = case.forecast(), case.probe, Quantity(case.probe.quantity)
    outcomes = len(made.labels) if made is not None else 1
    likely = [[0.0] * outcomes for _ in range(len(case.sets) + 1)]
    for reading in _displays(_meter_for(probe), quantity):
        seen, values, none = case.factor(reading)
        k = made.outcome(seen) if made is not None else 0
        for row, p in zip(likely, (*values, none), strict=True):
            row[k] += p
    before = [math.fsum(row) for row in likely]
    if not case.before:
        assert before == pytest.approx([1.0] * len(before), abs=close)
    if made is None:
        return
    foreseen = [made.rows[number] for number in made.which] + [made.none]
    for i, (shown, weights) in enumerate(zip(foreseen, likely, strict=True)):
        assert math.fsum(shown) == pytest.approx(1.0, abs=1e-9)
        shares = [p / before[i] for p in weights]
        assert shown == pytest.approx(shares, abs=close), (probe.id, [*case.sets, "none"][i], made.labels)


#: A few of those to the shell are asked at every run, below.
_READ = ["test", "volts", "feed", "between", "shell"]


@pytest.mark.parametrize("kind", sampled(_READ, _READ[:-1]))
@some
@given(data=st.data())
def test_readings_are_certain_together_and_foreseen_as_they_are_weighed(
    kind: str, data: st.DataObject
) -> None:
    """Over all a meter can show it sums to one; between two edges falls what is foreseen there."""
    _check_readings(data.draw(asked(kind)))


@few
@given(data=st.data())
def test_readings_to_the_shell_likewise(data: st.DataObject) -> None:
    """A few of those to the shell at every run: the meter has a long way through its megohms."""
    _check_readings(data.draw(asked("shell")))


@pytest.mark.parametrize("kind", sampled(["volts_start", "amps", "pins"], ("volts_start", "amps")))
@few
@given(data=st.data())
def test_readings_of_the_whole_machine_likewise(kind: str, data: st.DataObject) -> None:
    """The same for what depends on the whole set, in the steps that its forecasts share."""
    _check_readings(data.draw(asked(kind)), TWO_WINDINGS if kind == "pins" else STEP + CLOSE)


@pytest.mark.parametrize("sigma", [0.004, 0.03, 0.2, 0.8, 2.35])
@given(median=st.floats(-1.0, 7.0))
@settings(max_examples=8, deadline=None)
def test_displays_of_one_unknown_are_certain_together(sigma: float, median: float) -> None:
    """Whatever is there, however widely it is spread, and just below the ends of ranges as elsewhere."""
    shown = (Display(reading, COARSE, SHOP.slips) for reading in _displays(COARSE, Quantity.RESISTANCE))
    total = math.fsum(evidence((display,), 10**median, sigma).value for display in shown)
    assert total == pytest.approx(1.0, abs=3e-4)


def test_every_kind_is_among_those_tested() -> None:
    """Each kind of probe is in one of the tests above."""
    answered = {"look", "attempt", "known_good", "fit", "recorded", "check", "unread"}
    read = {"test", "volts", "feed", "shell", "between", "volts_start", "amps", "pins", "leads"}
    elsewhere = {"alike", "level", "own_try"}  # of other frames: test_triple, test_kinds_of_machine
    assert {kind.name for kind in kinds()} == answered | read | elsewhere


def test_the_leads_held_together_show_something() -> None:
    """Over all a meter can show it sums to one, whatever the leads add."""
    machine = Machine.of("rsir-ptc")
    case = Asked(machine, probe_of(machine, "leads.short", SHOP), "cold", Leads())
    model, weighing = case.probe.model, case.weighing
    total = [0.0] * len(weighing.leads)
    for reading in _displays(COARSE, Quantity.RESISTANCE):
        taken = [Taken(case.probe, Observation(case.probe.id, reading))]
        row = model.factor(weighing, taken, frozenset()).table[()]
        total = [t + p for t, p in zip(total, row, strict=True)]
    assert total == pytest.approx([1.0] * len(total), abs=1e-9)


# -- where the tips go --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("probe", "points"),
    [
        ("pins.C-R", ("C", "R")),
        ("pins.shell", ("C", "shell")),
        ("pins.1-2", None),
        ("between.l-n", ("l", "n")),
        ("ptc.ohms", ("r", "s")),
        ("overload_protector.ohms", ("n", "c")),
        ("ptc.shake", None),
        ("attempt.amps", None),
        ("leads.short", None),
    ],
)
def test_a_probe_is_found_on_the_drawing(probe: str, points: tuple[str, str] | None) -> None:
    """A measurement maps to the two nodes it is taken at; a look or a try maps to none."""
    assert probe_of(Machine.of("rsir-ptc"), probe).points == points


@pytest.mark.parametrize(("name", "guard"), MACHINES)
def test_every_point_of_a_probe_is_a_node_of_its_machine(name: str, guard: str) -> None:
    """Nothing is marked on a drawing that is not on it; a clamp goes round a wire of the common lead."""
    machine = Machine.of(name, guard)
    for probe in probes_of(machine, SHOP).values():
        for place in (probe.points, probe.clamp):
            assert place is None or set(place) <= machine_nodes(machine), probe.id
    amps = probe_of(machine, "attempt.amps", SHOP)
    assert amps.points is None
    assert amps.clamp == (("c", "C") if "c" in machine_nodes(machine) else None)


# -- a kind nobody has written yet --------------------------------------------------------------------------


class Knock(Model):
    """An invented kind: a knock on the shell, which sounds dull where the mechanism is seized."""

    name: ClassVar[str] = "knock"
    order: ClassVar[int] = 5

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        """One on every machine."""
        yield Probe(
            "invented.knock",
            Message("Knock on the shell"),
            Message("Knock with a knuckle and listen."),
            self,
            outcomes=("clear", "dull"),
            minutes=0.1,
            inside=False,
        )

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        """By the mechanism alone."""
        part = weighing.bench.place["mechanism"]
        k = taken[0].probe.outcomes.index(taken[0].observation.answer)
        table = {config: (row[k],) * len(weighing.leads) for config, row in self._rows(weighing).items()}
        return Factor((), (part,), table, None, 0.5)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        """The same rows."""
        part = outlook.bench.place["mechanism"]
        return outlook.by_config(probe, 0.0, probe.outcomes, (part,), self._rows(outlook.weighing))

    @staticmethod
    def _rows(weighing: Weighing) -> dict[tuple[int, ...], tuple[float, ...]]:
        bench = weighing.bench
        modes = bench.space.modes[bench.place["mechanism"]]
        return {(m,): (0.02, 0.98) if mode.name == "seized" else (0.98, 0.02) for m, mode in enumerate(modes)}


@pytest.mark.parametrize(("name", "guard"), MACHINES[::6])
def test_an_invented_kind_is_advised_weighed_and_explained_by_its_own_class_alone(
    name: str, guard: str
) -> None:
    """Registered for a test it is among the probes, among what is advised, and moves the suspects."""
    machine = Machine.of(name, guard)
    with with_kinds(Knock()):
        assert next(iter(list(probes_of(machine))[1:])) == "invented.knock"
        stands = Observation("attempt.known_good", answer="hum_click", temperature=parse_temperature("cold"))
        advice = advise(Situation(machine, Heard.HUM_CLICK, (stands,), hot=False))
        assert advice.next is not None
        assert "invented.knock" in {advice.next.probe, *(v.probe for v in advice.alternatives)}
        dull = Situation(machine, observations=(Observation("invented.knock", answer="dull"),))
        assert advise(dull).suspects[0].parts == (("mechanism", "seized"),)
        assert findings(dull)[0].warns
        with pytest.raises(Unknown):
            advise(Situation(machine, observations=(Observation("invented.knock", answer="loud"),)))
    with pytest.raises(Unknown):
        probe_of(machine, "invented.knock")
