"""Every kind of probe: what it can show is certain together, and a forecast says what the likelihood says."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
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
from humclick.diagnosis.evidence import weighing_of
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.findings import findings
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.observations import kinds, with_kinds
from humclick.diagnosis.observations.amps import clamp_of
from humclick.diagnosis.observations.attempt import Listened
from humclick.diagnosis.observations.measured import Measured
from humclick.diagnosis.observations.model import Model, Probe, Taken
from humclick.diagnosis.observations.outlook import Forecast, Outlook, rounded
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.probes import probe_of, probes_of
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.errors import Unknown
from humclick.messages import Message
from humclick.meters import Meter, Quantity, default_meter
from humclick.readings import Leads, Reading, parse_temperature

SHOP = default_shop()
_WORKING = [name for name in arrangements() if not arrangement(name).recognised_only]
MACHINES = [(name, guard) for name in _WORKING for guard in arrangement(name).protectors]
#: What was felt, and whether the machine has just tried: the forecast's and the likelihood's word for it.
WARMTHS = {"cold": False, "hot": True, "unknown": None}
#: A display that means nothing, or is a thousand times too much, a forecast puts anywhere. [-]
SLIPS = SHOP.slips["wild"] + SHOP.slips["factor_1000"]
#: Thinned displays are summed by the trapezoid rule, and the ends of a meter are sharp. [-]
SUMMED = 0.012
#: A forecast takes an unknown in steps of half a standard deviation: half the heaviest step at an edge. [-]
STEP = 0.1
#: What a light touch adds may be less than a meter's last digit or more than its top, and is then lost. [-]
LOST = SHOP.slips["dirty_contact"]

machines = st.sampled_from(MACHINES).flatmap(
    lambda row: st.sampled_from((115.0, 230.0)).map(lambda v: Machine.of(*row, Nameplate(v, 60.0)))
)
warmths = st.sampled_from(sorted(WARMTHS))
some = settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
few = settings(max_examples=3, deadline=None, suppress_health_check=list(HealthCheck))


@dataclass(frozen=True)
class Asked:
    """A probe of a machine before it is taken, and the sets of up to one fault it is asked about."""

    machine: Machine
    probe: Probe
    warm: str
    leads: Leads

    @property
    def situation(self) -> Situation:
        """Nothing seen yet."""
        return Situation(self.machine, leads=self.leads, hot=WARMTHS[self.warm])

    @property
    def weighing(self) -> Weighing:
        """What it is weighed with."""
        return weighing_of(bench_for(self.machine, SHOP), self.situation)

    @property
    def sets(self) -> tuple[tuple[Fault, ...], ...]:
        """The sound machine and every single fault."""
        space = bench_for(self.machine, SHOP).space
        return space.sets[: 1 + sum(len(modes) - 1 for modes in space.modes)]

    def forecast(self) -> Forecast | None:
        """What it would show."""
        weighing, bench = self.weighing, bench_for(self.machine, SHOP)
        offset = sum(c * w for c, w in weighing.leads)
        cases = Cases(self.sets, len(bench.parts))
        outlook = Outlook(self.situation, weighing, (), offset, frozenset(), cases)
        return self.probe.model.forecast(outlook, self.probe, 0.0)

    def factor(
        self, reading: Reading | None = None, answer: str = ""
    ) -> tuple[Observation, list[float], float]:
        """An observation, how probable it is under every set, and under none of them. [-]"""
        seen = Observation(self.probe.id, reading, answer, temperature=parse_temperature(self.warm))
        weighing = self.weighing
        factor = self.probe.model.factor(weighing, [Taken(self.probe, seen)], frozenset())
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
    return Asked(machine, probe, draw(warmths), Leads(resistance=0.2))


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
        elif kind == "fit":  # foreseen wholly cooled; what is called cold is warm as often as that slips
            if case.warm == "cold":
                assert row == pytest.approx(likely, abs=SHOP.slips["cold_but_warm"] + 0.005)
        else:
            assert row == pytest.approx(rounded(likely), abs=0.005 + 1e-9)
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


def _displays(
    meter: Meter, quantity: Quantity, near: Sequence[tuple[float, float]], edges: Sequence[float], fine: float
) -> Iterator[tuple[Reading, float]]:
    """
    Everything a meter can show, thinned: each display with how many it stands for.

    Close together around what may be there (`near`: value and ln standard deviation) and at the edges.
    """
    low = 0.0
    ranges = sorted((r for r in meter.ranges if r.quantity == quantity), key=lambda r: r.full_scale)
    for own in ranges:
        first, last = max(1, round(low / own.resolution)), round(own.full_scale / own.resolution) - 1
        steps = int(math.log((last + 1) / first) / fine) + 1
        places = {round(first * math.exp(fine * k)) for k in range(steps)} | {first, last}
        places |= set(range(first, first + 12))
        for centre, sigma in near:
            places |= {round(centre * math.exp(sigma * z / 4) / own.resolution) for z in range(-24, 25)}
            places |= {round(centre / own.resolution) + z for z in range(-24, 25)}
        for edge in edges:
            places |= {math.floor(edge / own.resolution), math.ceil(edge / own.resolution)}
        counts = sorted(k for k in places if first <= k <= last)
        stands = dict.fromkeys(counts, 0.0)
        for a, b in itertools.pairwise(counts):
            stands[a] += (b - a + 1) / 2
            stands[b] += (b - a - 1) / 2
        stands[counts[-1]] += 1.0
        for k, times in stands.items():
            yield Reading(quantity, k * own.resolution, resolution=own.resolution), times
        low = own.full_scale
    yield Reading(quantity, 0.0, below_resolution=True, resolution=ranges[0].resolution), 1.0
    yield Reading(quantity, None, over_limit=True), 1.0


def _near(case: Asked) -> list[tuple[float, float]]:
    """What may be between the tips, as far as the kind knows it beforehand."""
    model, bench = case.probe.model, bench_for(case.machine, SHOP)
    if not isinstance(model, Measured):
        windings = [bench.machine.size(p, "winding") for p in ("run_winding", "start_winding")]
        both = sum(w.median for w in windings), max(w.sigma for w in windings)
        return [*((w.median, w.sigma) for w in windings), both] if case.probe.pins else []
    found = {
        (median, max(sigma, 0.005))
        for chosen in case.sets
        for hot in (False, True)
        for _, median, sigma in model.tips(bench, case.probe, bench.modes_in(chosen), hot).states
        if 0.0 < median < math.inf
    }
    return sorted(found)


def _meter_for(probe: Probe) -> Meter:
    if probe.quantity == "current":
        return clamp_of(default_meter())
    return probe.meter or default_meter()


def _check_readings(case: Asked, fine: float) -> None:
    made, probe, quantity = case.forecast(), case.probe, Quantity(case.probe.quantity)
    edges = made.edges if made is not None else ()
    outcomes = len(made.labels) if made is not None else 1
    shown = [[0.0] * outcomes for _ in case.sets]
    astride = [[0.0] * outcomes for _ in case.sets]  # displays whose last digit an edge runs through
    for reading, times in _displays(_meter_for(probe), quantity, _near(case), edges, fine):
        seen, values, _ = case.factor(reading)
        k = made.outcome(seen) if made is not None else 0
        half = 0.5 * (reading.resolution or 0.0)
        value = reading.value if reading.value is not None else math.inf
        cut = {j for j, e in enumerate(edges) if value - half < e < value + half}
        for row, on_edge, p in zip(shown, astride, values, strict=True):
            row[k] += times * p
            for j in {j + side for j in cut for side in (0, 1)}:
                on_edge[j] += p
    lost = LOST + (SHOP.slips["pins_mixed"] if probe.pins else 0.0)  # that one only where readings disagree
    for i, row in enumerate(shown):
        assert 1.0 - lost - SUMMED <= math.fsum(row) <= 1.0 + SUMMED
        if made is None:
            continue
        foreseen = made.rows[made.which[i]]
        assert math.fsum(foreseen) == pytest.approx(1.0, abs=1e-9)
        for k, (p, q) in enumerate(zip(foreseen, row, strict=True)):
            cuts = (k > 0) + (k < len(edges))
            bound = SLIPS + SUMMED + lost + cuts * STEP + astride[i][k]
            assert abs(p - q) <= bound, (probe.id, case.sets[i], made.labels[k])
    if made is not None:
        assert math.fsum(made.none) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("kind", ["test", "volts", "feed", "shell", "between"])
@some
@given(data=st.data())
def test_readings_are_certain_together_and_foreseen_as_they_are_weighed(
    kind: str, data: st.DataObject
) -> None:
    """
    Over all a meter can show the likelihood sums to one; between two edges falls what is foreseen there.

    That is so but for slips, which a forecast spreads evenly; for the one display an edge runs through; and
    for the steps a forecast takes the unknown in.
    """
    _check_readings(data.draw(asked(kind)), 0.1)


@pytest.mark.parametrize("kind", ["volts_start", "amps", "pins"])
@few
@given(data=st.data())
def test_readings_of_the_whole_machine_and_of_the_windings_likewise(kind: str, data: st.DataObject) -> None:
    """The same for what depends on the whole set, and for the two windings behind the pins."""
    _check_readings(data.draw(asked(kind)), 0.1 if kind == "pins" else 0.015)


def test_every_kind_is_among_those_tested() -> None:
    """Each kind of probe is in one of the tests above."""
    answered = {"look", "attempt", "known_good", "fit", "recorded", "check"}
    read = {"test", "volts", "feed", "shell", "between", "volts_start", "amps", "pins", "leads"}
    assert {kind.name for kind in kinds()} == answered | read


def test_the_leads_held_together_show_something() -> None:
    """Over all a meter can show it sums to one, whatever the leads add."""
    machine = Machine.of("rsir-ptc")
    case = Asked(machine, probe_of(machine, "leads.short", SHOP), "cold", Leads())
    displays = list(_displays(default_meter(), Quantity.RESISTANCE, [], (), 0.02))
    model, weighing = case.probe.model, case.weighing
    total = [0.0] * len(weighing.leads)
    for reading, times in displays:
        taken = [Taken(case.probe, Observation(case.probe.id, reading))]
        row = model.factor(weighing, taken, frozenset()).table[()]
        total = [t + times * p for t, p in zip(total, row, strict=True)]
    assert total == pytest.approx([1.0] * len(total), abs=SUMMED)


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
        k = taken[0].probe.outcomes.index(taken[0].seen.answer)
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
