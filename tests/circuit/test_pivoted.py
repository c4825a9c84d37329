"""The dense solution: against exact algebra, at resonances and where nothing fixes an unknown."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sympy import QQ
from sympy.polys.matrices import DomainMatrix

from humclick.circuit.pivoted import nodal, pivoted


@given(seed=st.integers(0, 10_000), size=st.integers(1, 6))
def test_potentials_are_those_of_exact_fractions(seed: int, size: int) -> None:
    """Elimination over the rationals is the reference."""
    rng = random.Random(seed)
    matrix = [[rng.randint(-9, 9) for _ in range(size)] for _ in range(size)]
    right = [rng.randint(-9, 9) for _ in range(size)]
    exact = DomainMatrix([[QQ(x) for x in row] for row in matrix], (size, size), QQ)
    if exact.det() == 0:
        return
    wanted = exact.lu_solve(DomainMatrix([[QQ(x)] for x in right], (size, 1), QQ)).to_Matrix()
    found = pivoted([[complex(x) for x in row] for row in matrix], right)
    assert found is not None
    assert [x.real for x in found] == pytest.approx([float(w) for w in wanted], rel=1e-9, abs=1e-9)
    assert [x.imag for x in found] == pytest.approx([0.0] * size, abs=1e-9)


def test_a_part_that_hangs_free_is_at_zero() -> None:
    """Its rows say nothing; the rest is solved as if it were not there."""
    matrix = [[2.0 + 0j, 0j, 0j], [0j, 1.0, -1.0], [0j, -1.0, 1.0]]
    assert pivoted(matrix, [4.0, 0.0, 0.0]) == [2.0, 0.0, 0.0]


def test_current_into_what_cannot_carry_it_has_no_solution() -> None:
    """Neither with no path at all nor at a resonance to the last digit."""
    assert pivoted([[0j]], [1.0]) is None
    resonant = 1j - 1j * (1 - 1e-15)
    assert pivoted([[resonant, 1.0], [resonant, 1.0]], [1.0, 2.0]) is None
    assert pivoted([], []) == []


def test_a_small_row_is_no_resonance() -> None:
    """Microsiemens solve as siemens do: pivots are held against their own row."""
    assert pivoted([[1e-15 + 0j, 0j], [0j, 1e3]], [1e-15, 1e3]) == pytest.approx([1.0, 1.0])


@given(seed=st.integers(0, 1000))
def test_the_nodal_matrix_is_kirchhoffs(seed: int) -> None:
    """Each row sums to nothing, is symmetric, and has the admittances between neighbours with a minus."""
    rng = random.Random(seed)
    mesh: list[dict[int, complex]] = [{} for _ in range(5)]
    for a in range(5):
        for b in range(a):
            if rng.random() < 0.6:
                mesh[a][b] = mesh[b][a] = complex(rng.random(), rng.random())
    matrix = nodal(mesh)
    for n, row in enumerate(matrix):
        assert abs(sum(row)) < 1e-12
        for m, value in enumerate(row):
            assert value == matrix[m][n]
            assert m == n or value == -mesh[n].get(m, 0j)
