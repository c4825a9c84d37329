"""Dense solution of a nodal matrix with pivoting, for networks at a resonance."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["nodal", "pivoted"]

#: A pivot below this part of its row is a resonance to the last digit. [-]
_RESONANT = 1e-13


def nodal(mesh: list[dict[int, complex]]) -> list[list[complex]]:
    """
    Write the nodal admittance matrix.

    Parameters
    ----------
    mesh : list of dict of int to complex
        Admittance from each node to each of its neighbours. [S]

    Returns
    -------
    list of list of complex
        [S]
    """
    size = len(mesh)
    return [
        [sum(row.values()) if m == n else -row.get(m, 0j) for m in range(size)] for n, row in enumerate(mesh)
    ]


def pivoted(matrix: list[list[complex]], right: Sequence[complex]) -> list[complex] | None:
    """
    Solve by elimination with scaled row pivoting.

    An unknown that nothing fixes, such as the potential of a part that hangs free, is 0.

    Parameters
    ----------
    matrix : list of list of complex
        Admittances. [S]
    right : sequence of complex
        Currents put in. [A]

    Returns
    -------
    list of complex or None
        Potentials; None if there is no solution. [V]
    """
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    size = len(rows)
    scale = [max(map(abs, row[:-1]), default=0.0) or 1.0 for row in rows]
    pivots: list[int] = []
    for column in range(size):
        top = len(pivots)
        best = max(range(top, size), key=lambda r: abs(rows[r][column]) / scale[r])
        if abs(rows[best][column]) <= _RESONANT * scale[best]:
            continue
        rows[top], rows[best] = rows[best], rows[top]
        scale[top], scale[best] = scale[best], scale[top]
        pivots.append(column)
        for r in range(top + 1, size):
            if factor := rows[r][column] / rows[top][column]:
                rows[r] = [x - factor * y for x, y in zip(rows[r], rows[top], strict=True)]
    limit = 1e-9 * max(map(abs, right), default=0.0)
    if any(abs(row[-1]) > limit for row in rows[len(pivots) :]):
        return None
    answer = [0j] * size
    for row, column in zip(reversed(rows[: len(pivots)]), reversed(pivots), strict=True):
        rest = sum((row[m] * answer[m] for m in range(column + 1, size)), 0j)
        answer[column] = (row[-1] - rest) / row[column]
    return answer
