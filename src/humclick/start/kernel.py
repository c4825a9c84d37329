"""
One step of the start, for as many lanes as fit a vector register.

Linear-implicit trapezoid for the electrical part (backward Euler while `IMPL` is 1), the speed predicted to
the middle of the step; trapezoid for the speed; the pill's and the disc's heat from the mean of the squared
currents. The start network (gear with its capacitor, run capacitor, bridge, shunt) and the loop of shorted
turns are eliminated first, then the four fluxes by 2 × 2 blocks. Saturation is left out: it would raise the
locked-rotor current. The equations, with n the turns ratio, w the electrical speed, P poles::

    dλ_q/dt = e − R_s (i_q + i_d) − r_q i_q              i = Γ λ (see `humclick.start.network`)
    dλ_d/dt = e − R_s (i_q + i_d) − r_d i_d − v_n        v_n: drop in the start network
    dλ_r/dt = w λ_m/n − r_r i_r,   dλ_m/dt = −n w λ_r − r_m i_m,   dλ_f/dt = −r_f i_f
    T = (P/2) (n λ_r i_m − λ_m i_r/n),   J dw/dt = (P/2) (T − load)

A shunt across the start winding (a relay's coil, an earth fault) is part of the network; only its own drop
in the supply's inductance is left out. Load at crank angle θ: s (gas (1 + Σ c_k cos kθ) + Coulomb + fan w²)
+ gas Σ s_k sin kθ + viscous w, with s the speed over 1 % of synchronous, cut at ±1: valves oppose both ways.

The loop over lanes has no branch and one array, so that the compiler turns it into vector instructions. The
same step written to be read, law by law, is ``tests/start/equations.py``; a test holds this one to it.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from humclick.start import rows as r
from humclick.start.compiled import FAST, kernel_compiled

__all__ = ["commit", "step_all"]

_U = np.uint64
_MAGIC = 1.5 * 2.0**52
_K0, _K1, _K2, _K3, _K4, _K5, _K6, _K7 = (
    2 * math.pi * (-1) ** k * (2 * math.pi) ** (2 * k) / math.factorial(2 * k + 1) for k in range(8)
)
_S = r.STATES


@njit(fastmath=FAST, inline="always")
def _cos(x):  # type: ignore[no-untyped-def]
    """cos(2π x) by an odd polynomial about the nearest zero; error below 1e-9."""
    turn = x - ((x + _MAGIC) - _MAGIC)
    z = 0.25 - abs(turn)
    q = z * z
    return z * (_K0 + q * (_K1 + q * (_K2 + q * (_K3 + q * (_K4 + q * (_K5 + q * (_K6 + q * _K7)))))))


@njit(fastmath=FAST, inline="always")
def _exp(x):  # type: ignore[no-untyped-def]
    """e^x for 0 ≤ x ≤ 11 by the 32nd root; relative error below 1e-6."""
    u = x * 0.03125
    p = 1 + u * (1 + u * (0.5 + u * (1 / 6 + u * (1 / 24 + u * (1 / 120 + u * (1 / 720 + u / 5040))))))
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    return p * p


@kernel_compiled(fastmath=FAST)
def step_all(W, lanes):  # type: ignore[no-untyped-def]
    """Advance every lane by its own H into the new rows; FLAG says which lanes something happened in."""
    L = _U(len(lanes))
    for jj in range(len(lanes)):
        j = _U(jj)
        h = W[_U(r.H) * L + j]
        impl = W[_U(r.IMPL) * L + j]
        ge = h * impl
        go = h - ge
        lq, ld, lr, lm, lf = (
            W[_U(r.LQ) * L + j],
            W[_U(r.LD) * L + j],
            W[_U(r.LR) * L + j],
            W[_U(r.LM) * L + j],
            W[_U(r.LF) * L + j],
        )
        vs, vr, w, th = (
            W[_U(r.VS) * L + j],
            W[_U(r.VR) * L + j],
            W[_U(r.SPEED) * L + j],
            W[_U(r.ANGLE) * L + j],
        )
        tp, dtp, tc = W[_U(r.TP) * L + j], W[_U(r.DTP) * L + j], W[_U(r.TC) * L + j]
        t, e0, vn0 = W[_U(r.TIME) * L + j], W[_U(r.E) * L + j], W[_U(r.VN) * L + j]
        iq0, id0, ir0, im0, if0 = (
            W[_U(r.IQ) * L + j],
            W[_U(r.ID) * L + j],
            W[_U(r.IR) * L + j],
            W[_U(r.IM) * L + j],
            W[_U(r.IF) * L + j],
        )
        il0, is0, te0 = W[_U(r.IL) * L + j], W[_U(r.IS) * L + j], W[_U(r.TORQUE) * L + j]
        line = W[_U(r.LINE) * L + j]
        Rs, rq, rd, rr, rdr, rf = (
            W[_U(r.RS) * L + j],
            W[_U(r.RQ) * L + j],
            W[_U(r.RD) * L + j],
            W[_U(r.RR) * L + j],
            W[_U(r.RDR) * L + j],
            W[_U(r.RF) * L + j],
        )
        n, rn = W[_U(r.N) * L + j], W[_U(r.RN) * L + j]

        # mechanics, to the middle of the step
        free, pj, gas = (
            W[_U(r.FREE) * L + j],
            W[_U(r.PJ) * L + j],
            W[_U(r.GAS) * L + j] * W[_U(r.DIFF) * L + j],
        )
        turn, weps = W[_U(r.TURN) * L + j], W[_U(r.WEPS) * L + j]
        coulomb, viscous, fan = W[_U(r.COULOMB) * L + j], W[_U(r.VISCOUS) * L + j], W[_U(r.FAN) * L + j]
        thm = th + 0.5 * h * turn * w
        co = _cos(thm)
        si = _cos(thm - 0.25)
        c2 = 2 * co * co - 1
        s2 = 2 * si * co
        c3 = co * c2 - si * s2
        s3 = si * c2 + co * s2
        c4 = 2 * c2 * c2 - 1
        s4 = 2 * s2 * c2
        even = gas * (
            1
            + W[_U(r.C1) * L + j] * co
            + W[_U(r.C2) * L + j] * c2
            + W[_U(r.C3) * L + j] * c3
            + W[_U(r.C4) * L + j] * c4
        )
        odd = gas * (
            W[_U(r.S1) * L + j] * si
            + W[_U(r.S2) * L + j] * s2
            + W[_U(r.S3) * L + j] * s3
            + W[_U(r.S4) * L + j] * s4
        )
        x = w * weps
        x = 1.0 if x > 1.0 else (-1.0 if x < -1.0 else x)
        acc = te0 - x * (even + coulomb + fan * w * w) - odd - viscous * w
        wh = w + 0.5 * h * pj * free * acc
        x = wh * weps
        x = 1.0 if x > 1.0 else (-1.0 if x < -1.0 else x)
        load = x * (even + coulomb + fan * wh * wh) + odd + viscous * wh

        # the pill
        z = (tp + 0.5 * h * dtp - W[_U(r.PTCKNEE) * L + j]) * W[_U(r.PTCSPAN) * L + j]
        z = 0.0 if z < 0.0 else (1.0 if z > 1.0 else z)
        rptc = W[_U(r.PTC0) * L + j] * _exp(W[_U(r.PTCK) * L + j] * z * z * (3 - 2 * z))
        rst = rptc + W[_U(r.RSC) * L + j]

        # start network and loop of shorted turns
        gson, gron = W[_U(r.GSON) * L + j], W[_U(r.GRON) * L + j]
        ics, gls, icr, gls_r, rrc = (
            W[_U(r.ICS) * L + j],
            W[_U(r.GLS) * L + j],
            W[_U(r.ICR) * L + j],
            W[_U(r.GLR) * L + j],
            W[_U(r.RRC) * L + j],
        )
        ir_br0 = gron * (vn0 - vr) / rrc
        cs0 = vs + go * ics * (is0 - gls * vs)
        cr0 = vr + go * icr * (ir_br0 - gls_r * vr)
        ls = 1 + ge * ics * gls
        lr_ = 1 + ge * icr * gls_r
        xs = rst * ls + gson * ge * ics
        xr = rrc * lr_ + gron * ge * icr
        g4, g8, g11, g13, g14 = (
            W[_U(r.G4) * L + j],
            W[_U(r.G8) * L + j],
            W[_U(r.G11) * L + j],
            W[_U(r.G13) * L + j],
            W[_U(r.G14) * L + j],
        )
        df = 1 + ge * rf * g14
        inv = 1 / (xs * xr * df)
        ixs = gson * inv * xr * df
        ixr = gron * inv * xs * df
        idf = inv * xs * xr
        gd = W[_U(r.GD) * L + j]
        K = 1 / (W[_U(r.GB) * L + j] + gd + ls * ixs + lr_ * ixr + 1e-12)
        source = cs0 * ixs + cr0 * ixr
        m = 1 - K * gd
        phi = ge * rf * idf
        s0 = (lf - go * rf * if0) * idf
        a0 = W[_U(r.G0) * L + j] - phi * g4 * g4
        a1 = W[_U(r.G1) * L + j] - phi * g4 * g8
        a2 = W[_U(r.G2) * L + j] - phi * g4 * g11
        a3 = W[_U(r.G3) * L + j] - phi * g4 * g13
        a5 = W[_U(r.G5) * L + j] - phi * g8 * g8
        a6 = W[_U(r.G6) * L + j] - phi * g8 * g11
        a7 = W[_U(r.G7) * L + j] - phi * g8 * g13
        a9 = W[_U(r.G9) * L + j] - phi * g11 * g11
        a10 = W[_U(r.G10) * L + j] - phi * g11 * g13
        a12 = W[_U(r.G12) * L + j] - phi * g13 * g13
        oq, od, orr, om = g4 * s0, g8 * s0, g11 * s0, g13 * s0

        # right-hand sides
        t1 = t + h
        e1 = line * W[_U(r.VP) * L + j] * _cos(W[_U(r.FREQ) * L + j] * t1 + W[_U(r.PHASE) * L + j])
        a = ge * (Rs + rq)
        b = ge * Rs
        b2 = b * m
        c = b2 + ge * (rd + K)
        d = ge * rr
        f = ge * rdr
        v0 = e0 - Rs * (iq0 + id0)
        bq = lq + go * (v0 - rq * iq0) + ge * e1 - a * oq - b * od
        bd = ld + go * (v0 - rd * id0 - vn0) + ge * (m * e1 - K * source) - b2 * oq - c * od
        br = lr + go * (wh * lm * rn - rr * ir0) - d * orr
        bm = lm - go * (n * wh * lr + rdr * im0) - f * om

        # 4 × 4 by blocks: stator (q d), rotor (r m)
        p00, p01 = 1 + a * a0 + b * a1, a * a1 + b * a5
        p10, p11 = b2 * a0 + c * a1, 1 + b2 * a1 + c * a5
        q00, q01 = a * a2 + b * a6, a * a3 + b * a7
        q10, q11 = b2 * a2 + c * a6, b2 * a3 + c * a7
        r00, r01 = d * a2, d * a6
        r10, r11 = f * a3, f * a7
        u00, u01 = 1 + d * a9, d * a10 - ge * wh * rn
        u10, u11 = f * a10 + ge * n * wh, 1 + f * a12
        ip = 1 / (p00 * p11 - p01 * p10)
        # Y = P⁻¹ Q, y = P⁻¹ b
        y00, y01 = (p11 * q00 - p01 * q10) * ip, (p11 * q01 - p01 * q11) * ip
        y10, y11 = (p00 * q10 - p10 * q00) * ip, (p00 * q11 - p10 * q01) * ip
        yq, yd = (p11 * bq - p01 * bd) * ip, (p00 * bd - p10 * bq) * ip
        u00 -= r00 * y00 + r01 * y10
        u01 -= r00 * y01 + r01 * y11
        u10 -= r10 * y00 + r11 * y10
        u11 -= r10 * y01 + r11 * y11
        br -= r00 * yq + r01 * yd
        bm -= r10 * yq + r11 * yd
        iu = 1 / (u00 * u11 - u01 * u10)
        lr1 = (u11 * br - u01 * bm) * iu
        lm1 = (u00 * bm - u10 * br) * iu
        lq1 = yq - y00 * lr1 - y01 * lm1
        ld1 = yd - y10 * lr1 - y11 * lm1
        iq1 = a0 * lq1 + a1 * ld1 + a2 * lr1 + a3 * lm1 + oq
        id1 = a1 * lq1 + a5 * ld1 + a6 * lr1 + a7 * lm1 + od
        ir1 = a2 * lq1 + a6 * ld1 + a9 * lr1 + a10 * lm1 + orr
        im1 = a3 * lq1 + a7 * ld1 + a10 * lr1 + a12 * lm1 + om
        mutual = g4 * lq1 + g8 * ld1 + g11 * lr1 + g13 * lm1
        lf1 = s0 - phi * mutual
        if1 = mutual + g14 * lf1
        vl1 = e1 - Rs * (iq1 + id1)
        vn1 = K * (id1 + gd * vl1 + source)
        vs1 = (cs0 * rst + gson * ge * ics * vn1) * (inv * xr * df)
        vr1 = (cr0 * rrc + gron * ge * icr * vn1) * (inv * xs * df)
        is1 = gson * (ls * vn1 - cs0) * (inv * xr * df)
        vd1 = line * (vl1 - vn1)
        il1 = line * (iq1 + id1) + gd * vd1
        te1 = W[_U(r.POLEPAIRS) * L + j] * (n * lr1 * im1 - lm1 * ir1 * rn)
        w1 = w + h * pj * free * (0.5 * (te0 + te1) - load)
        th1 = th + 0.5 * h * turn * (w + w1)

        # heat, filters, sums
        hh = 0.5 * h
        q2, d2, l2, s2q = (
            iq0 * iq0 + iq1 * iq1,
            id0 * id0 + id1 * id1,
            il0 * il0 + il1 * il1,
            is0 * is0 + is1 * is1,
        )
        dtp1 = (0.5 * s2q * rptc - W[_U(r.PTCG) * L + j] * (tp - W[_U(r.PTCAIR) * L + j])) * W[
            _U(r.PTCC) * L + j
        ]
        tc1 = tc + h * W[_U(r.DISCC) * L + j] * (
            0.5 * l2 * W[_U(r.DISCHEAT) * L + j] - W[_U(r.DISCG) * L + j] * (tc - W[_U(r.DISCAIR) * L + j])
        )
        yi, yv = W[_U(r.YI) * L + j], W[_U(r.YV) * L + j]
        blend = h * W[_U(r.ITAU) * L + j]
        blend = blend * (1 - 0.5 * blend)
        vd0 = line * (v0 - vn0)
        yi1 = yi + blend * (0.5 * q2 - yi)
        yv1 = yv + blend * (0.5 * (vd0 * vd0 + vd1 * vd1) - yv)
        aq, ad, al, as_ = W[_U(r.AQ) * L + j], W[_U(r.AD) * L + j], W[_U(r.AL) * L + j], W[_U(r.AS) * L + j]
        aw, ar, at, peak = (
            W[_U(r.AW) * L + j],
            W[_U(r.AR) * L + j],
            W[_U(r.AT) * L + j],
            W[_U(r.PEAK) * L + j],
        )
        big = abs(il1)

        # what happened
        gr = W[_U(r.SIGR) * L + j] * (
            W[_U(r.KI) * L + j] * yi1
            + W[_U(r.KV) * L + j] * yv1
            + W[_U(r.KW) * L + j] * w1 * w1
            - W[_U(r.THRR) * L + j]
        )
        gc = W[_U(r.SIGC) * L + j] * (tc1 - W[_U(r.THRC) * L + j])
        gw = abs(w1) - W[_U(r.THRW) * L + j]
        hold = abs(te1 - odd) - W[_U(r.BREAK) * L + j]
        flag = 1.0 if gr > 0 else 0.0
        flag = 1.0 if gc > 0 else flag
        flag = 1.0 if gw > 0 else flag
        flag = 1.0 if (1 - free) * hold > 0 else flag
        flag = 1.0 if free * w * w1 < 0 else flag
        flag = 1.0 if W[_U(r.WANTS) * L + j] * (is0 * is1 - 1e-18) < 0 else flag
        flag = 1.0 if W[_U(r.WANTL) * L + j] * (il0 * il1 - 1e-18) < 0 else flag
        flag = 1.0 if W[_U(r.BE) * L + j] + W[_U(r.LAND) * L + j] > 0 else flag
        flag = 1.0 if W[_U(r.TB) * L + j] - t1 < 1e-10 else flag

        W[_U(_S + r.LQ) * L + j] = lq1
        W[_U(_S + r.LD) * L + j] = ld1
        W[_U(_S + r.LR) * L + j] = lr1
        W[_U(_S + r.LM) * L + j] = lm1
        W[_U(_S + r.LF) * L + j] = lf1
        W[_U(_S + r.VS) * L + j] = vs1
        W[_U(_S + r.VR) * L + j] = vr1
        W[_U(_S + r.SPEED) * L + j] = w1
        W[_U(_S + r.ANGLE) * L + j] = th1
        W[_U(_S + r.TP) * L + j] = tp + h * dtp1
        W[_U(_S + r.DTP) * L + j] = dtp1
        W[_U(_S + r.TC) * L + j] = tc1
        W[_U(_S + r.YI) * L + j] = yi1
        W[_U(_S + r.YV) * L + j] = yv1
        W[_U(_S + r.TIME) * L + j] = t1
        W[_U(_S + r.E) * L + j] = e1
        W[_U(_S + r.VN) * L + j] = vn1
        W[_U(_S + r.IQ) * L + j] = iq1
        W[_U(_S + r.ID) * L + j] = id1
        W[_U(_S + r.IR) * L + j] = ir1
        W[_U(_S + r.IM) * L + j] = im1
        W[_U(_S + r.IF) * L + j] = if1
        W[_U(_S + r.IL) * L + j] = il1
        W[_U(_S + r.IS) * L + j] = is1
        W[_U(_S + r.TORQUE) * L + j] = te1
        W[_U(_S + r.AQ) * L + j] = aq + hh * q2
        W[_U(_S + r.AD) * L + j] = ad + hh * d2
        W[_U(_S + r.AL) * L + j] = al + hh * l2
        W[_U(_S + r.AS) * L + j] = as_ + hh * s2q
        W[_U(_S + r.AW) * L + j] = aw + hh * (w + w1)
        W[_U(_S + r.AR) * L + j] = ar + hh * (rr * (ir0 * ir0 + ir1 * ir1) + rdr * (im0 * im0 + im1 * im1))
        W[_U(_S + r.AT) * L + j] = at + hh * (te0 + te1)
        W[_U(_S + r.PEAK) * L + j] = big if big > peak else peak
        W[_U(r.FLAG) * L + j] = flag
    flags = 0.0
    for jj in range(len(lanes)):
        flags += W[_U(r.FLAG) * L + _U(jj)]
    return flags


@kernel_compiled(fastmath=FAST)
def commit(W, lanes, whole):  # type: ignore[no-untyped-def]
    """Take the new rows, in every lane or (not `whole`) where OK is 1; set the length of the next step."""
    L = _U(len(lanes))
    if whole:
        for k in range(_S * len(lanes)):
            W[_U(k)] = W[_U(_S) * L + _U(k)]
    else:
        for jj in range(len(lanes)):
            j = _U(jj)
            if W[_U(r.OK) * L + j] > 0.5:
                for k in range(_S):
                    W[_U(k) * L + j] = W[_U(_S + k) * L + j]
    for jj in range(len(lanes)):
        j = _U(jj)
        h0, old = W[_U(r.H0) * L + j], W[_U(r.H) * L + j]
        left = W[_U(r.TB) * L + j] - W[_U(r.TIME) * L + j]
        h = left if left < 1.0001 * h0 else h0
        W[_U(r.H) * L + j] = h if W[_U(r.OK) * L + j] > 0.5 else old
