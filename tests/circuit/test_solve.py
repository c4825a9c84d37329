"""
The network solver against closed forms, theorems and exact arithmetic.

Exact arithmetic is sympy's over the rationals (every float is a rational); the full range, 1 mΩ to 1 GΩ, is
checked against it.
"""

from __future__ import annotations

import cmath
import math
from itertools import combinations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from sympy import QQ, QQ_I
from sympy.polys.matrices import DomainMatrix

from humclick.circuit import solve
from humclick.circuit.solve import (
    Impedance,
    branch_currents,
    resistance_between,
)
from humclick.errors import OutOfRange
from tests.circuit.networks import NODES, impedance_between, is_connected, random_network
from tests.published import published


@st.composite
def networks(draw: st.DrawFn, *, special: bool = True) -> list[Impedance]:
    """Draw any network of 2 to 9 nodes, connected or not, with wires and open elements if `special`."""
    node = st.sampled_from(NODES[: draw(st.integers(2, 9))])
    ohms = st.floats(-3, 9).map(lambda power: 10.0**power)
    if special:
        ohms |= st.sampled_from([0.0, math.inf])
    return draw(st.lists(st.tuples(node, node, ohms), min_size=1, max_size=16))


def exact(elements: list[Impedance], a: str, b: str) -> tuple[object, list[object]]:
    """Potential of a above b and current in each element for 1 A from a to b, as exact rationals."""
    domain = QQ_I if any(isinstance(z, complex) for *_, z in elements) else QQ

    def rational(z: float | complex) -> object:
        if domain is QQ:
            return QQ(*float(z.real).as_integer_ratio())
        return QQ_I(QQ(*float(z.real).as_integer_ratio()), QQ(*float(z.imag).as_integer_ratio()))

    names = [n for n in dict.fromkeys(n for p, q, _ in elements for n in (p, q)) if n != b]
    row = {n: i for i, n in enumerate(names)}
    nodal = [[domain.zero] * len(names) for _ in names]
    for p, q, z in elements:
        y = domain.one / rational(z)
        for here, there in ((p, q), (q, p)):
            if here in row:
                nodal[row[here]][row[here]] += y
                if there in row:
                    nodal[row[here]][row[there]] -= y
    shape = (len(names), len(names))
    right = DomainMatrix([[domain.one if n == a else domain.zero] for n in names], (shape[0], 1), domain)
    solution = DomainMatrix(nodal, shape, domain).lu_solve(right).to_list_flat()
    potential = dict(zip(names, solution, strict=True)) | {b: domain.zero}
    return potential[a], [(potential[p] - potential[q]) / rational(z) for p, q, z in elements]


def as_complex(value: object) -> complex:
    """Round an exact Gaussian rational."""
    return complex(float(value.x), float(value.y))  # type: ignore[attr-defined]


def test_series_resistances_add() -> None:
    """Elements in series add, and each moves the sum one for one."""
    two = resistance_between([("S", "C", 4.1), ("C", "R", 1.3)], "S", "R")
    assert two.ohms == pytest.approx(5.4, rel=1e-15)
    assert two.sensitivity == pytest.approx((1.0, 1.0), rel=1e-15)


def test_parallel_conductances_add() -> None:
    """Elements in parallel add as conductances, and the smaller one matters more."""
    two = resistance_between([("a", "b", 20.0), ("b", "a", 30.0)], "a", "b")
    assert two.ohms == pytest.approx(12.0, rel=1e-15)
    assert two.sensitivity == pytest.approx((0.36, 0.16), rel=1e-14)


def test_dangling_and_foreign_elements_do_not_matter() -> None:
    """A dead end, a loop on one node and a network elsewhere change nothing and have sensitivity 0."""
    two = resistance_between(
        [("a", "b", 7.0), ("b", "c", 5.0), ("b", "b", 1.0), ("x", "y", 2.0), ("a", "z", math.inf)], "a", "b"
    )
    assert two.ohms == pytest.approx(7.0, rel=1e-15)
    assert two.sensitivity == (1.0, 0.0, 0.0, 0.0, 0.0)


def test_a_point_against_itself_is_no_resistance() -> None:
    """Both probes on one node read 0 Ω whatever the network."""
    assert resistance_between([("a", "b", 7.0)], "a", "a").ohms == 0.0
    assert resistance_between([("a", "b", 7.0)], "a", "a").sensitivity == (0.0,)


def test_unconnected_points_are_open() -> None:
    """Nothing between the points, an open element, or an unknown node: infinite, with sensitivity 0."""
    elements: list[Impedance] = [("a", "b", 7.0), ("b", "c", math.inf), ("c", "d", 1.0)]
    assert resistance_between(elements, "a", "d").ohms == math.inf
    assert resistance_between(elements, "a", "d").sensitivity == (0.0, 0.0, 0.0)
    assert resistance_between(elements, "a", "elsewhere").ohms == math.inf
    assert impedance_between(elements, "a", "d") == complex(math.inf)
    assert branch_currents(elements, ("a", "d"), 230).source == 0
    assert not is_connected(elements, "a", "d")
    assert is_connected(elements, "c", "d")


def test_unbalanced_bridge_agrees_with_the_delta_to_star_form() -> None:
    """A Wheatstone bridge out of balance equals its delta turned into a star."""
    p, q, m, r, s = 10.0, 22.0, 33.0, 47.0, 56.0
    total = p + q + m
    by_star = p * q / total + 1 / (1 / (p * m / total + r) + 1 / (q * m / total + s))
    bridge: list[Impedance] = [("t", "l", p), ("t", "r", q), ("l", "r", m), ("l", "b", r), ("r", "b", s)]
    assert resistance_between(bridge, "t", "b").ohms == pytest.approx(by_star, rel=1e-14)


def test_balanced_bridge_ignores_its_detector() -> None:
    """At balance nothing flows through the detector, so its sensitivity is 0."""
    two = resistance_between(
        [("t", "l", 10.0), ("t", "r", 20.0), ("l", "r", 5.0), ("l", "b", 30.0), ("r", "b", 60.0)], "t", "b"
    )
    assert two.ohms == pytest.approx(40 * 80 / 120, rel=1e-14)
    assert two.sensitivity[2] == pytest.approx(0.0, abs=1e-28)


@published(source="textbook exercise, from memory", where="twelve equal resistors on the edges of a cube")
@pytest.mark.parametrize(("corner", "ohms"), [("001", 7 / 12), ("011", 3 / 4), ("111", 5 / 6)])
def test_resistor_cube(corner: str, ohms: float) -> None:
    """A cube of equal resistors shows 7/12, 3/4 and 5/6 of one along edge, face and body diagonal."""
    corners = [f"{n:03b}" for n in range(8)]
    edges: list[Impedance] = [
        (p, q, 1.0)
        for p, q in combinations(corners, 2)
        if sum(x != y for x, y in zip(p, q, strict=True)) == 1
    ]
    assert len(edges) == 12
    assert resistance_between(edges, "000", corner).ohms == pytest.approx(ohms, rel=1e-14)


def ladder(sections: int, along: complex, across: complex, last: complex | None = None) -> list[Impedance]:
    """Build a ladder from node 0 over the common rail g, ended by `last`."""
    rungs: list[Impedance] = []
    for n in range(sections):
        rungs += [(str(n), str(n + 1), along), (str(n + 1), "g", across)]
    return rungs if last is None else [*rungs, (str(sections), "g", last)]


@published(
    source="Feynman, Leighton, Sands, The Feynman Lectures on Physics, vol. II (from memory)",
    where="section 22-6, A ladder network: z0 = z1/2 + sqrt(z1²/4 + z1 z2)",
)
def test_long_ladder_tends_to_the_golden_ratio() -> None:
    """A ladder of equal resistors tends to the golden ratio, through ratios of Fibonacci numbers."""
    real: list[Impedance] = [(p, q, z.real) for p, q, z in ladder(3, 1.0, 1.0)]
    assert resistance_between(real, "0", "g").ohms == pytest.approx(13 / 8, rel=1e-15)

    real = [(p, q, z.real) for p, q, z in ladder(40, 1.0, 1.0)]
    assert resistance_between(real, "0", "g").ohms == pytest.approx((1 + math.sqrt(5)) / 2, rel=1e-14)


@published(
    source="Feynman, Leighton, Sands, The Feynman Lectures on Physics, vol. II (from memory)",
    where="section 22-6, A ladder network: z0 = z1/2 + sqrt(z1²/4 + z1 z2)",
)
@pytest.mark.parametrize(("along", "across"), [(3j, -20j), (1 + 3j, -20j), (30j, -5j), (2 + 0j, -7j)])
def test_ladder_ended_by_its_own_impedance_shows_it(along: complex, across: complex) -> None:
    """A ladder ended by its characteristic impedance has that impedance, passing or blocking."""
    own = along / 2 + cmath.sqrt(along**2 / 4 + along * across)
    if abs(own - along) > abs(own):  # of the two roots, the one that is passive
        own = along - own
    assert impedance_between(ladder(6, along, across, own), "0", "g") == pytest.approx(own, rel=1e-9)


@published(
    source="US DOE Fundamentals Handbook, Electrical Science vol. 3 (DOE-HDBK-1011/3-92)",
    where="ES-08, Basic AC Reactive Components, p. 17: R 200, XL 100, XC 80 in parallel on 120 V",
    printed_to="0.001 A, 0.1 ohm",
)
def test_parallel_rlc() -> None:
    """Resistor, coil and capacitor in parallel on 120 V draw 0.6, 1.2, 1.5 and together 0.671 A."""
    elements: list[Impedance] = [("L", "N", 200.0), ("L", "N", 100j), ("L", "N", -80j)]
    driven = branch_currents(elements, ("L", "N"), 120)
    assert [abs(i) for i in driven.elements] == pytest.approx([0.6, 1.2, 1.5], abs=1e-12)
    assert abs(driven.source) == pytest.approx(0.671, abs=0.0005)
    # Printed 178.8, cut off from 120 V over the rounded 0.671 A; unrounded it is 178.885.
    assert abs(impedance_between(elements, "L", "N")) == pytest.approx(178.8, abs=0.1)


def test_series_rlc_has_the_textbook_impedance() -> None:
    """R, L and C in series give R + j(ωL − 1/ωC)."""
    w = 2 * math.pi * 60
    z = impedance_between(
        [("a", "b", 50.0), ("b", "c", 1j * w * 0.12), ("c", "d", 1 / (1j * w * 200e-6))], "a", "d"
    )
    assert z == pytest.approx(50 + 1j * (w * 0.12 - 1 / (w * 200e-6)), rel=1e-14)


def test_exact_resonances_are_zero_and_infinite() -> None:
    """Lossless series resonance is a short, lossless parallel resonance is open."""
    tank: list[Impedance] = [("a", "b", 8j), ("a", "b", -8j)]
    trap: list[Impedance] = [("a", "x", 8j), ("x", "b", -8j)]
    assert impedance_between(tank, "a", "b") == complex(math.inf)
    assert branch_currents(tank, ("a", "b"), 16).elements == pytest.approx((-2j, 2j))
    assert branch_currents(tank, ("a", "b"), 16).source == 0
    with pytest.raises(OutOfRange, match="resonance"):
        branch_currents(trap, ("a", "b"), 16)


def test_series_resonance_inside_a_network_acts_as_a_wire() -> None:
    """Two nodes joined by a lossless series resonance behave as one."""
    resonant: list[Impedance] = [
        ("a", "p", 3.0),
        ("p", "x", 8j),
        ("x", "q", -8j),
        ("q", "b", 4.0),
        ("p", "q", 5.0),
    ]
    assert impedance_between(resonant, "a", "b") == pytest.approx(7.0, rel=1e-12)
    driven = branch_currents(resonant, ("a", "b"), 14)
    assert driven.elements == pytest.approx((2, 2, 2, 2, 0), abs=1e-12)


def test_resonance_that_nothing_drives_does_not_matter() -> None:
    """A lossless tank hanging from one node is left alone."""
    elements: list[Impedance] = [("a", "b", 5.0), ("b", "p", 4j), ("p", "b", -4j)]
    assert impedance_between(elements, "a", "b") == pytest.approx(5, rel=1e-14)
    assert branch_currents(elements, ("a", "b"), 10).elements == pytest.approx((2, 0, 0), rel=1e-14)


@pytest.mark.parametrize("seed", range(12))
def test_dense_solution_agrees_with_elimination(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The pivoted solution kept for resonances gives what elimination gives where both hold."""
    elements = random_network(seed, "ac")
    z, driven = impedance_between(elements, "C", "S"), branch_currents(elements, ("C", "S"), 230)
    largest = max(map(abs, driven.elements))

    monkeypatch.setattr(solve, "_SAFE", math.inf)
    assert impedance_between(elements, "C", "S") == pytest.approx(z, rel=1e-9)
    dense = branch_currents(elements, ("C", "S"), 230)
    assert dense.elements == pytest.approx(driven.elements, rel=1e-9, abs=1e-10 * largest)
    assert impedance_between([("C", "R", 1j), ("L", "S", 2j)], "C", "S") == complex(math.inf)


@pytest.mark.parametrize("ohms", [-1.0, math.nan, -math.inf])
def test_negative_resistances_are_refused(ohms: float) -> None:
    """A negative resistance, or none at all, is refused with the element's nodes and the rule."""
    with pytest.raises(OutOfRange, match=r"'C' to 'S' .* must be 0 \(a wire\)"):
        resistance_between([("R", "C", 1.0), ("C", "S", ohms)], "R", "S")
    with pytest.raises(OutOfRange, match="'C' to 'S'"):
        branch_currents([("C", "S", ohms)], ("C", "S"), 1)


def test_complex_values_are_refused_as_resistances() -> None:
    """A resistance takes no complex impedance, and an impedance no negative real part."""
    with pytest.raises(OutOfRange, match="positive number"):
        resistance_between([("a", "b", 1 + 1j)], "a", "b")
    with pytest.raises(OutOfRange, match="real part 0 or more"):
        impedance_between([("a", "b", -1 + 1j)], "a", "b")


@pytest.mark.parametrize("elements", [[("a", "c", 0.0), ("c", "b", 0.0)], [("a", "b", 0j), ("a", "b", 5.0)]])
def test_shorted_source_is_refused(elements: list[Impedance]) -> None:
    """A source shorted by ideal wires is refused with what to do."""
    with pytest.raises(OutOfRange, match="shorted by ideal wires"):
        branch_currents(elements, ("a", "b"), 230)
    with pytest.raises(OutOfRange, match="shorted by ideal wires"):
        branch_currents(elements, ("a", "a"), 230)


def test_wires_join_their_nodes() -> None:
    """A wire makes two nodes one, and its sensitivity is the square of the current it alone must carry."""
    elements: list[Impedance] = [("a", "w", 3.0), ("w", "x", 0.0), ("x", "b", 6.0), ("w", "b", 6.0)]
    two = resistance_between(elements, "a", "b")
    assert two.ohms == pytest.approx(6.0, rel=1e-15)
    assert two.sensitivity == pytest.approx((1.0, 0.25, 0.25, 0.25), rel=1e-14)

    short = resistance_between([("a", "b", 0.0), ("a", "b", 5.0)], "a", "b")
    assert short.ohms == 0.0
    assert short.sensitivity == (1.0, 0.0)

    double = resistance_between([("a", "b", 0.0), ("a", "b", 0.0)], "a", "b")
    assert double.sensitivity == (0.0, 0.0)


def test_wires_in_a_loop_share_as_equal_wires() -> None:
    """Of three wires in a triangle the direct one carries two thirds, the other two one third."""
    elements: list[Impedance] = [
        ("L", "p", 10.0),
        ("p", "q", 0),
        ("p", "r", 0),
        ("r", "q", 0),
        ("q", "N", 20.0),
    ]
    driven = branch_currents(elements, ("L", "N"), 90)
    assert driven.elements == pytest.approx((3, 2, 1, 1, 3), rel=1e-14)
    assert driven.source == pytest.approx(3, rel=1e-14)


@given(networks(), st.data())
@settings(max_examples=80)
def test_exchanging_the_probes_changes_nothing(elements: list[Impedance], data: st.DataObject) -> None:
    """The reading is the same with the probes exchanged and the elements in any order."""
    a, b = data.draw(st.sampled_from(NODES[:3])), data.draw(st.sampled_from(NODES[:9]))
    there = resistance_between(elements, a, b)
    back = resistance_between(data.draw(st.permutations(elements)), b, a)
    assert back.ohms == pytest.approx(there.ohms, rel=1e-13)
    assert sum(back.sensitivity) == pytest.approx(sum(there.sensitivity), rel=1e-12, abs=1e-13)
    assert (there.ohms < math.inf) == is_connected(elements, a, b)
    if there.ohms > 0:
        assert impedance_between(elements, a, b) == pytest.approx(complex(there.ohms), rel=1e-9)


def test_current_driven_here_and_seen_there_can_be_exchanged() -> None:
    """A source in one branch drives in another what it would drive here from there (reciprocity)."""
    elements = random_network(5, "ac")
    (p, q, z), (r, s, w) = elements[0], elements[-1]
    here = [*elements[1:-1], ("source", q, z), (r, s, w), (p, "source-", 0.0)]
    there = [*elements[1:-1], (p, q, z), ("source", s, w), (r, "source-", 0.0)]
    seen_there = branch_currents(here, ("source", "source-"), 1).elements[-2]
    seen_here = branch_currents(there, ("source", "source-"), 1).elements[-3]
    assert abs(seen_there) > 1e-9
    assert seen_there == pytest.approx(seen_here, rel=1e-9)


@given(networks(), st.data())
@settings(max_examples=80)
def test_less_resistance_anywhere_never_reads_more(elements: list[Impedance], data: st.DataObject) -> None:
    """Rayleigh's monotonicity law: lowering one resistance never raises the reading."""
    k = data.draw(st.integers(0, len(elements) - 1))
    p, q, z = elements[k]
    lower = 1e5 if z == math.inf else z * data.draw(st.floats(0, 1))
    before = resistance_between(elements, "C", "S").ohms
    after = resistance_between([*elements[:k], (p, q, lower), *elements[k + 1 :]], "C", "S").ohms
    assert after <= before * (1 + 1e-13)


@given(networks())
@settings(max_examples=80)
def test_resistances_times_their_sensitivities_add_up_to_the_reading(elements: list[Impedance]) -> None:
    """Euler's theorem: Σ R_k ∂R/∂R_k = R, since doubling every resistance doubles the reading."""
    two = resistance_between(elements, "C", "S")
    assume(two.ohms < math.inf)
    total = sum(z.real * s for (*_, z), s in zip(elements, two.sensitivity, strict=True) if s)
    assert total == pytest.approx(two.ohms, rel=1e-12)
    assert all(0 <= s <= 1 + 1e-12 for s in two.sensitivity)


@pytest.mark.parametrize("seed", range(10))
def test_resistances_across_every_element_obey_foster(seed: int) -> None:
    """Foster's theorem: reading across each element over its resistance adds up to nodes − 1."""
    elements = random_network(seed, "wide")
    nodes = {n for p, q, _ in elements for n in (p, q)}
    parts = [resistance_between(elements, p, q).ohms / z.real for p, q, z in elements]
    assert sum(parts) == pytest.approx(len(nodes) - 1, rel=1e-13)


@given(networks(), st.integers(0, 15))
@settings(max_examples=80)
def test_sensitivity_is_the_slope(elements: list[Impedance], at: int) -> None:
    """The sensitivity agrees with a small change of the resistance, wires in loops included."""
    k = at % len(elements)
    p, q, z = elements[k]
    two = resistance_between(elements, "C", "S")
    assume(two.ohms < math.inf and z != math.inf)
    step = (z.real or 1e-5) * 1e-4
    up = resistance_between([*elements[:k], (p, q, z.real + step), *elements[k + 1 :]], "C", "S").ohms
    rounding = 1e-13 * two.ohms / step
    assert (up - two.ohms) / step == pytest.approx(two.sensitivity[k], rel=3e-4, abs=1e-5 + rounding)


@pytest.mark.parametrize("seed", range(25))
def test_resistances_agree_with_exact_rationals(seed: int) -> None:
    """From 1 mΩ to 1 GΩ in one network, reading and currents agree with exact arithmetic."""
    elements = random_network(seed, "wide")
    ohms, amps = exact(elements, "C", "S")
    squares = [float(i * i) for i in amps]  # type: ignore[operator]

    two = resistance_between(elements, "C", "S")
    assert two.ohms == pytest.approx(float(ohms), rel=1e-13)  # type: ignore[arg-type]
    assert two.sensitivity == pytest.approx(squares, rel=1e-9, abs=1e-13)


@pytest.mark.parametrize("kind", ["ac", "resonant"])
@pytest.mark.parametrize("seed", range(25))
def test_impedances_agree_with_exact_rationals(seed: int, kind: str) -> None:
    """Networks of resistors, coils and capacitors agree with exact arithmetic, at resonance too."""
    elements = [(p, q, complex(z)) for p, q, z in random_network(seed, kind)]
    ohms, amps = exact([*elements], "C", "S")
    z, i = as_complex(ohms), [as_complex(value) for value in amps]

    if z == 0:
        with pytest.raises(OutOfRange, match="series resonance"):
            branch_currents(elements, ("C", "S"), 230)
        return
    assert impedance_between(elements, "C", "S") == pytest.approx(z, rel=1e-9)
    driven = branch_currents(elements, ("C", "S"), 230)
    assert driven.source == pytest.approx(230 / z, rel=1e-9)
    largest = max(map(abs, i)) * 230 / abs(z)
    assert driven.elements == pytest.approx([part * 230 / z for part in i], rel=1e-9, abs=1e-10 * largest)


@given(networks(), st.sampled_from([230, 24j, 1 - 2j]))
@settings(max_examples=80)
def test_driven_currents_obey_kirchhoff_and_ohm(elements: list[Impedance], volts: complex) -> None:
    """At every node currents in and out balance, and power in equals power lost."""
    try:
        driven = branch_currents(elements, ("C", "S"), volts)
    except OutOfRange:
        assert resistance_between(elements, "C", "S").ohms == 0
        return
    balance = {"C": driven.source, "S": -driven.source}
    for (p, q, _), amps in zip(elements, driven.elements, strict=True):
        balance[p] = balance.get(p, 0) - amps
        balance[q] = balance.get(q, 0) + amps
    assert all(abs(left) <= 1e-12 * abs(driven.source) for left in balance.values())

    lost = sum(abs(i) ** 2 * z.real for (*_, z), i in zip(elements, driven.elements, strict=True) if i)
    assert lost == pytest.approx((volts * driven.source.conjugate()).real, rel=1e-9)
    assert (
        driven.source * resistance_between(elements, "C", "S").ohms == pytest.approx(volts)
        or not driven.source
    )
