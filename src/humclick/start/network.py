"""
Inductances and what is joined to what: i = Γ λ, with one Γ for each way the contacts can stand.

Γ = M (Mᵀ L M)⁻¹ Mᵀ, the columns of M being the free loop currents. With the line closed these are run and
start winding as they are joined; with the line open the two windings and the gear still form one loop.
The supply's inductance is part of L. Before a contact moves, λ is set to L i: nothing changes for live
windings, and open ones get the flux that the others give them.
"""

from __future__ import annotations

import math

import numpy as np

from humclick.start import rows as r
from humclick.start.compiled import kernel_compiled

__all__ = ["currents", "gammas", "pill_ohms", "switch"]

#: Upper triangle of a symmetric 5 × 5 matrix, row by row.
_SIZE = 15


@kernel_compiled()
def _inverse(A, n):  # type: ignore[no-untyped-def]
    """Invert the leading n × n block in place by Gauss–Jordan; positive definite, so no pivoting."""
    for k in range(n):
        pivot = 1 / A[k, k]
        A[k, k] = 1.0
        for c in range(n):
            A[k, c] *= pivot
        for i in range(n):
            if i != k:
                factor = A[i, k]
                A[i, k] = 0.0
                for c in range(n):
                    A[i, c] -= factor * A[k, c]


@kernel_compiled()
def gammas(p, out):  # type: ignore[no-untyped-def]
    """Γ of the four states (2 line + start circuit) into `out[0..3]`, L itself into `out[4]`."""
    A = np.zeros((5, 5))
    ls = p[r.P_HENRIES]
    A[0, 0], A[1, 1], A[2, 2], A[3, 3] = p[r.P_LQQ] + ls, p[r.P_LDD] + ls, p[r.P_LRR], p[r.P_LMM]
    A[0, 1], A[0, 2], A[1, 3] = ls, p[r.P_LQR], p[r.P_LDM]
    A[4, 4], A[0, 4], A[1, 4], A[2, 4], A[3, 4] = (
        p[r.P_LFF], p[r.P_LQF], p[r.P_LDF], p[r.P_LRF], p[r.P_LMF],
    )  # fmt: skip
    k = 0
    for i in range(5):
        for c in range(i, 5):
            A[c, i] = A[i, c]
            out[4, k] = A[i, c]
            k += 1
    run, start = p[r.P_RUN_OPEN] < 0.5, p[r.P_START_OPEN] < 0.5
    M = np.zeros((5, 5))
    B = np.zeros((5, 5))
    for state in range(4):
        line, closed = state >= 2, state % 2 == 1 and start
        M[:] = 0.0
        n = 0
        if line:
            if run:
                M[0, n] = 1.0
                n += 1
            if closed:
                M[1, n] = 1.0
                n += 1
        elif run and closed:
            M[0, n], M[1, n] = 1.0, -1.0
            n += 1
        M[2, n] = 1.0
        M[3, n + 1] = 1.0
        n += 2
        if p[r.P_SHORTED] > 0.5:
            M[4, n] = 1.0
            n += 1
        for x in range(n):
            for y in range(n):
                total = 0.0
                for i in range(5):
                    for c in range(5):
                        total += M[i, x] * A[i, c] * M[c, y]
                B[x, y] = total
        _inverse(B, n)
        k = 0
        for i in range(5):
            for c in range(i, 5):
                total = 0.0
                for x in range(n):
                    for y in range(n):
                        total += M[i, x] * B[x, y] * M[c, y]
                out[state, k] = total
                k += 1


@kernel_compiled()
def _times(W, L, j, matrix, first, target):  # type: ignore[no-untyped-def]
    """Multiply the five numbers from row `first` by a packed symmetric matrix into rows from `target`."""
    x = (
        W[first * L + j],
        W[(first + 1) * L + j],
        W[(first + 2) * L + j],
        W[(first + 3) * L + j],
        W[(first + 4) * L + j],
    )
    for i in range(5):
        total = 0.0
        for c in range(5):
            low, high = min(i, c), max(i, c)
            total += matrix[low * 5 - low * (low - 1) // 2 + high - low] * x[c]
        W[(target + i) * L + j] = total


@kernel_compiled()
def pill_ohms(W, L, j):  # type: ignore[no-untyped-def]
    """Resistance of the pill as it is. [Ω]"""
    z = (W[r.TP * L + j] - W[r.PTCKNEE * L + j]) * W[r.PTCSPAN * L + j]
    z = min(max(z, 0.0), 1.0)
    return W[r.PTC0 * L + j] * math.exp(W[r.PTCK * L + j] * z * z * (3 - 2 * z))


@kernel_compiled()
def switch(W, L, j, P, gamma):  # type: ignore[no-untyped-def]
    """Let the contacts stand as they now do: λ := L i, then the Γ that belongs to them."""
    _times(W, L, j, gamma[4], r.IQ, r.LQ)
    p = P[int(W[r.CASE * L + j])]
    line = W[r.LINE * L + j] > 0.5
    W[r.GD * L + j] = p[r.P_SHUNT] if line else 0.0
    closed = W[r.GSON * L + j] + W[r.GRON * L + j] + W[r.GB * L + j] + W[r.GD * L + j] > 0
    state = (2 if line else 0) + (1 if closed else 0)
    for k in range(_SIZE):
        W[(r.G0 + k) * L + j] = gamma[state, k]


@kernel_compiled()
def currents(W, L, j):  # type: ignore[no-untyped-def]
    """Everything that follows at once from fluxes, capacitors and contacts."""
    _times(W, L, j, W[r.G0 * L + j :: L][:_SIZE], r.LQ, r.IQ)
    turns = W[r.FREQ * L + j] * W[r.TIME * L + j] + W[r.PHASE * L + j]
    e = W[r.LINE * L + j] * W[r.VP * L + j] * math.cos(2 * math.pi * (turns - math.floor(turns)))
    iq, i_d = W[r.IQ * L + j], W[r.ID * L + j]
    gs = W[r.GSON * L + j] / (pill_ohms(W, L, j) + W[r.RSC * L + j])
    gr = W[r.GRON * L + j] / W[r.RRC * L + j]
    gd = W[r.GD * L + j]
    vl = e - W[r.RS * L + j] * (iq + i_d)
    total = gs + gr + W[r.GB * L + j] + gd + 1e-12
    vn = (i_d + gd * vl + gs * W[r.VS * L + j] + gr * W[r.VR * L + j]) / total
    W[r.E * L + j], W[r.VN * L + j] = e, vn
    W[r.IS * L + j] = gs * (vn - W[r.VS * L + j])
    W[r.IL * L + j] = W[r.LINE * L + j] * (iq + i_d) + gd * (vl - vn)
    W[r.TORQUE * L + j] = W[r.POLEPAIRS * L + j] * (
        W[r.N * L + j] * W[r.LR * L + j] * W[r.IM * L + j]
        - W[r.LM * L + j] * W[r.IR * L + j] * W[r.RN * L + j]
    )
