"""Readings between the pins share two winding resistances; the integral agrees with brute force."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numpy.polynomial.legendre import leggauss
from scipy import integrate

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.delta import triangle_from
from humclick.diagnosis.displays import Display
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.windings import PERMUTATIONS, Affine, PinDisplay, Sealed, WindingEvidence, pin_pairs
from humclick.meters import Quantity, meter
from humclick.readings import parse_reading
from tests.published import published

SLIPS = default_shop().slips
SOUND: Sealed = ("healthy", "healthy", "healthy")
PAIRS = ((0, 1), (0, 2), (1, 2))
IDENTITY = ("C", "R", "S")


def displays(
    shown: tuple[str, ...], meter_name: str = "standard", copper: float = 1.0, offset: float = 0.0
) -> list[PinDisplay]:
    """Displays of pairs 1–2, 1–3 and 2–3; an empty text was not measured, words apart are repeats."""
    return [
        PinDisplay(
            i,
            j,
            Display(parse_reading(text, Quantity.RESISTANCE), meter(meter_name), SLIPS, offset),
            copper,
            False,
        )
        for (i, j), texts in zip(PAIRS, shown, strict=True)
        for text in texts.split()
    ]


def windings(protector: str = "external", amps: float | None = None) -> WindingEvidence:
    """Evidence of a 115 V machine."""
    return WindingEvidence(Machine.of("rsir-ptc", protector, Nameplate(115.0, 60.0, amps)), 0.02)


@dataclass(frozen=True)
class Term:
    """One display on its affine form."""

    form: Affine
    display: Display
    copper: float

    @property
    def peak(self) -> tuple[float, float] | None:
        """What the form should be, and how well the display tells."""
        if self.display.peak is None or not math.isfinite(self.form.constant):
            return None
        return self.display.peak[0] / self.copper, self.display.peak[1] / self.copper

    def at(self, run: float, start: float) -> float:
        """Probability of the display."""
        return self.display.probability(self.form.at(run, start) * self.copper)


def by_brute_force(
    own: WindingEvidence, sealed: Sealed, shown: list[PinDisplay], names: tuple[str, str, str]
) -> float:
    """The double integral over ln R of both windings, on fine pieces cut where any display is sharp."""
    form = {d: own.form(sealed, d.hot)[pin_pair(names, d)] for d in shown}
    terms = [Term(form[d], d.display, d.copper) for d in shown]
    (run, run_sigma), (start, start_sigma) = (
        own.prior("run_winding", sealed[0]),
        own.prior("start_winding", sealed[1]),
    )
    at_runs = []
    for t in terms:
        if t.peak is not None and t.form.run and not t.form.start:
            at_runs += [(t.peak[0] + k * t.peak[1] - t.form.constant) / t.form.run for k in STEPS]
    for t, u in itertools.combinations(terms, 2):
        slope = t.form.run * u.form.start - t.form.start * u.form.run
        if t.peak is None or u.peak is None or abs(slope) < 1e-9:
            continue
        left, right = t.peak[0] - t.form.constant, u.peak[0] - u.form.constant
        width = math.hypot(u.form.start * t.peak[1], t.form.start * u.peak[1]) / abs(slope)
        crossing = (left * u.form.start - right * t.form.start) / slope
        at_runs += [crossing + k * width for k in STEPS]
    run_nodes = pieces(run, run_sigma, at_runs) if any(t.form.run for t in terms) else [(0.0, 1.0)]
    total = 0.0
    for y, weight in run_nodes:
        ohms = math.exp(y)
        alone = math.prod(t.at(ohms, 1.0) for t in terms if not t.form.start)
        varied = [t for t in terms if t.form.start]
        if not varied:
            total += weight * alone
            continue
        at_starts = [
            (t.peak[0] + k * t.peak[1] - t.form.constant - t.form.run * ohms) / t.form.start
            for t in varied
            if t.peak is not None
            for k in STEPS
        ]
        total += (
            weight
            * alone
            * math.fsum(
                w * math.prod(t.at(ohms, math.exp(z)) for t in varied)
                for z, w in pieces(*given_run(own, (run, run_sigma), (start, start_sigma), y), at_starts)
            )
        )
    return total


def given_run(
    own: WindingEvidence, run: tuple[float, float], start: tuple[float, float], ln_run: Any
) -> tuple[Any, float]:
    """What is known of the start winding once the run winding is, where both are of the model's machine."""
    if np.ndim(ln_run) == 0 and (not ln_run or not run[1]):
        return start
    moved = start[0] * np.exp(own.together / run[1] ** 2 * (ln_run - math.log(run[0])))
    return moved, math.sqrt(start[1] ** 2 - own.together**2 / run[1] ** 2)


STEPS = (-6.0, -3.0, -1.5, 0.0, 1.5, 3.0, 6.0)
_AT, _WEIGHT = (v.tolist() for v in leggauss(5))


def pieces(median: float, sigma: float, sharp: list[float]) -> list[tuple[float, float]]:
    """Fine nodes in ln R with their prior mass."""
    mu = math.log(median)
    low, high = mu - 6.5 * sigma, mu + 6.5 * sigma
    places = [low + (high - low) * k / 26 for k in range(27)]
    places = sorted([*places, *(math.log(x) for x in sharp if x > 0.0 and low < math.log(x) < high)])
    nodes = []
    for a, b in itertools.pairwise(places):
        for at, weight in zip(_AT, _WEIGHT, strict=True):
            y = 0.5 * (a + b) + 0.5 * (b - a) * at
            density = math.exp(-0.5 * ((y - mu) / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))
            nodes.append((y, 0.5 * (b - a) * weight * density))
    return nodes


def pin_pair(names: tuple[str, str, str], d: PinDisplay) -> tuple[str, str]:
    """The real pins behind a display, in the order the forms are kept."""
    first, second = sorted((names[d.first], names[d.second]))
    return first, second


@pytest.mark.parametrize(
    ("shown", "meter_name", "sealed", "names"),
    [
        (("4.0", "11.0", "15.0"), "basic", SOUND, IDENTITY),
        (("2.02", "7.14", "9.16"), "bench", SOUND, IDENTITY),
        (("6.0", "7.0", "8.0"), "good", SOUND, IDENTITY),
        (("4.0", "11.0", "15.8"), "good", SOUND, IDENTITY),
        (("", "7.1", "9.2"), "standard", SOUND, IDENTITY),
        (("7.1", "9.2", ""), "standard", SOUND, ("S", "C", "R")),
        (("", "", "15.0"), "standard", SOUND, IDENTITY),
        (("4.0", "", "15.0"), "standard", ("healthy", "shorted_turns", "healthy"), IDENTITY),
        (("1.5", "11.0", "12.5"), "standard", ("shorted_turns", "healthy", "healthy"), IDENTITY),
        (("3.0", "", "0.9"), "standard", ("healthy", "bridged", "healthy"), IDENTITY),
        (("OL", "11.0", "OL"), "standard", ("open", "healthy", "healthy"), IDENTITY),
    ],
)
def test_evidence_agrees_with_brute_force(
    shown: tuple[str, ...], meter_name: str, sealed: Sealed, names: tuple[str, str, str]
) -> None:
    """The probability of all readings together is that of a fine double integral within two in a hundred."""
    own, seen = windings(), displays(shown, meter_name)
    found = own.evidence(seen, {names: 1.0}, [sealed])[sealed][names]
    assert found == pytest.approx(by_brute_force(own, sealed, seen, names), rel=2e-2)


@pytest.mark.parametrize(
    ("shown", "meter_name", "run"),
    [
        (("3.0", "3.6", "0.9"), "standard", "healthy"),
        (("2.50", "2.77", "0.48"), "bench", "healthy"),
        (("2.50", "2.77", "0.48"), "bench", "shorted_turns"),
        (("2.0", "2.0", "2.0"), "standard", "healthy"),
    ],
)
def test_windings_that_touch_agree_with_a_triple_sum(
    shown: tuple[str, str, str], meter_name: str, run: str
) -> None:
    """A bridge of any ohms: the sum over run winding, start winding and bridge, within two in a hundred."""
    own, sealed = windings(), (run, "bridged", "healthy")
    clean = {k: p if k == "dirty_contact_ohms" else 0.0 for k, p in SLIPS.items()}
    read = [Display(parse_reading(text, Quantity.RESISTANCE), meter(meter_name), clean) for text in shown]
    seen = [PinDisplay(i, j, d, 1.0, False) for (i, j), d in zip(PAIRS, read, strict=True)]
    bridge = own.machine.size("start_winding", "bridge")
    priors = [own.prior("run_winding", run), own.prior("start_winding", "bridged")]
    priors += [(bridge.median, bridge.sigma)]
    middle = triangle_from(*(float(text) for text in shown))
    assert middle is not None
    axes = []
    for k, ohms in enumerate(middle):
        moves = [triangle_from(*(float(t) + 1e-4 * (n == m) for n, t in enumerate(shown))) for m in range(3)]
        peaks = [d.display.peak or (0.0, 0.0) for d in seen]
        sd = sum(abs((b or middle)[k] - ohms) / 1e-4 * peak[1] for b, peak in zip(moves, peaks, strict=True))
        axes.append(np.linspace(max(ohms - 5.0 * sd, 0.01 * ohms), ohms + 5.0 * sd, 61))
    a, b, c = np.meshgrid(*axes, indexing="ij")
    whole = a + b + c
    total: Any = np.ones_like(whole)
    medians: list[Any] = [priors[0][0], *given_run(own, priors[0], priors[1], np.log(a))[:1], priors[2][0]]
    sigmas = [priors[0][1], given_run(own, priors[0], priors[1], 1.0)[1], priors[2][1]]
    for branch, median, sigma in zip((a, b, c), medians, sigmas, strict=True):
        total *= np.exp(-0.5 * (np.log(branch / median) / sigma) ** 2)
        total /= branch * sigma * math.sqrt(2 * math.pi)
    for d, across in zip(seen, (a * (b + c), b * (a + c), c * (a + b)), strict=True):
        total *= np.vectorize(d.display.probability)(across / whole)
    for axis in axes:
        total = np.trapezoid(total, axis, axis=0)
    got = own.evidence(seen, {IDENTITY: 1.0}, [sealed])[sealed][IDENTITY]
    assert got == pytest.approx(float(total), rel=2e-2)


def test_evidence_agrees_with_scipy() -> None:
    """For a coarse meter scipy's own adaptive double integral agrees too."""
    own, seen = windings(amps=14.0), displays(("2", "8", "10"), "basic")
    (run, run_sigma), (start, start_sigma) = (own.prior(f"{w}_winding", "healthy") for w in ("run", "start"))

    def density(z: float, y: float) -> float:
        r = run * math.exp(run_sigma * y)
        median, sigma = given_run(own, (run, run_sigma), (start, start_sigma), math.log(r))
        s = median * math.exp(sigma * z)
        p = math.prod(
            d.display.probability(own.form(SOUND, False)[pin_pair(IDENTITY, d)].at(r, s)) for d in seen
        )
        return p * math.exp(-0.5 * (y * y + z * z)) / (2.0 * math.pi)

    whole, _ = integrate.dblquad(density, -5.0, 5.0, -5.0, 5.0, epsabs=1e-9, epsrel=2e-3)
    found = own.evidence(seen, {IDENTITY: 1.0}, [SOUND])[SOUND][IDENTITY]
    assert found == pytest.approx(whole, rel=2e-2)


def test_order_of_readings_does_not_matter() -> None:
    """Three readings give the same whichever was taken first."""
    own = windings("internal")
    seen = displays(("4.0", "", "15.0 15.1"))
    tables = [
        own.evidence(list(order), {IDENTITY: 0.7, ("C", "S", "R"): 0.3})
        for order in itertools.permutations(seen)
    ]
    for table in tables[1:]:
        for sealed, row in table.items():
            for names, value in row.items():
                assert value == pytest.approx(tables[0][sealed][names], rel=1e-6)


def test_a_naming_without_weight_is_left_out() -> None:
    """A way the pins cannot lie is not in the answer."""
    table = windings().evidence(displays(("4.0", "", "")), {IDENTITY: 1.0, ("R", "C", "S"): 0.0})
    assert all(set(row) == {IDENTITY} for row in table.values())


def test_the_third_reading_says_little_about_the_windings() -> None:
    """Two readings fix both windings; the third only checks contact and names."""
    own = windings()
    two = own.resistances(SOUND, displays(("4.0", "11.0", "")), IDENTITY)
    three = own.resistances(SOUND, displays(("4.0", "11.0", "15.0")), IDENTITY)
    for part, (mean, deviation) in three.items():
        assert mean == pytest.approx(two[part][0], rel=0.02)
        assert deviation < two[part][1]


@published(
    source="Krause, Wasynczuk, Sudhoff, Analysis of Electric Machinery",
    where="1/4-hp capacitor-start motor: windings 2.02 Ω and 7.14 Ω",
    printed_to="0.01 Ω",
)
def test_windings_are_found_from_the_pins() -> None:
    """Readings of 2.02, 7.14 and 9.16 Ω give back the motor's two windings."""
    found = windings().resistances(SOUND, displays(("2.02", "7.14", "9.16"), "bench"), IDENTITY)
    assert found["run_winding"][0] == pytest.approx(2.02, abs=0.02)
    assert found["start_winding"][0] == pytest.approx(7.14, abs=0.02)
    assert found["run_winding"][1] < 0.03


@published(
    source="Heating & Cooling Essentials", where="p. 531: S–R is the sum of C–S and C–R", printed_to="rule"
)
def test_forms_of_a_sound_compressor_follow_the_sum_rule() -> None:
    """Between S and R lie both windings, between C and either one of them."""
    forms = windings().form(SOUND, False)
    assert forms[("C", "R")] == Affine(0.0, 1.0, 0.0)
    assert forms[("C", "S")] == Affine(0.0, 0.0, 1.0)
    assert forms[("R", "S")] == Affine(0.0, 1.0, 1.0)


def test_an_open_internal_protector_leaves_only_the_sum() -> None:
    """With the protector open nothing conducts to C, and S–R still reads both windings."""
    forms = windings("internal").form(("healthy", "healthy", "open"), False)
    assert math.isinf(forms[("C", "R")].constant)
    assert math.isinf(forms[("C", "S")].constant)
    assert forms[("R", "S")].run == forms[("R", "S")].start == 1.0


def test_next_reading_is_foretold_from_those_taken() -> None:
    """After C–R and C–S the sum is foretold within the meter's error."""
    ahead = windings().ahead(SOUND, displays(("4.0", "11.0", "")), IDENTITY, ("R", "S"))
    lying = [
        (w, base + median * math.exp(sigma**2 / 2.0), median**2 * math.exp(sigma**2) * math.expm1(sigma**2))
        for w, base, median, sigma in ahead
    ]
    mean = math.fsum(w * middle for w, middle, _ in lying)
    square = math.fsum(w * ((middle - mean) ** 2 + variance) for w, middle, variance in lying)
    assert math.fsum(w for w, *_ in ahead) == pytest.approx(1.0, rel=1e-9)
    assert mean == pytest.approx(15.0, abs=0.4)
    assert math.sqrt(square) < 0.15 * mean


def test_next_reading_without_any_taken_is_the_prior() -> None:
    """Before any reading the run winding is what such machines have."""
    ((weight, base, median, _),) = windings().ahead(SOUND, [], IDENTITY, ("C", "R"))
    assert (weight, base) == (1.0, 0.0)
    assert median == pytest.approx(windings().machine.size("run_winding", "winding").median, rel=1e-6)


def test_next_reading_of_an_open_winding_is_infinite() -> None:
    """Nothing conducts through an open winding."""
    ((weight, base, *_),) = windings().ahead(("open", "healthy", "healthy"), [], IDENTITY, ("C", "R"))
    assert (weight, base) == (1.0, math.inf)


def test_no_naming_fits_an_open_run_winding_with_three_numbers() -> None:
    """Numbers at all pairs speak against an open winding, however the pins lie."""
    table = windings().evidence(displays(("4.0", "11.0", "15.0")), dict.fromkeys(PERMUTATIONS, 1 / 6))
    best = max(table[SOUND].values())
    assert max(table[("open", "healthy", "healthy")].values()) < 1e-4 * best


def test_pairs_of_labels_keep_their_order() -> None:
    """Three labels make three pairs."""
    assert pin_pairs(("1", "2", "3")) == (("1", "2"), ("1", "3"), ("2", "3"))
