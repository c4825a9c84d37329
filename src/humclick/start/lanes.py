"""
Cases in and out of lanes: loading, switching, and the loop that steps them until each has had its time.

Every lane has a time and a step length of its own. When something is due in a step (a current passes zero
in a contact told to open, a threshold is crossed, the rotor stops or breaks away), that lane alone drops the
step and takes it again as long as the secant says; the others go on. A lane that is through takes the next
case.
"""

from __future__ import annotations

import math

import numpy as np

from humclick.start import rows as r
from humclick.start.compiled import kernel_compiled
from humclick.start.happenings import due, fire, half_cycle, refresh, rest
from humclick.start.kernel import commit, step_all
from humclick.start.network import currents, gammas, switch

__all__ = ["play"]

_NEVER = 1e30
_TAU = 0.008  # of the coil's pull: follows the mean square of its current over about a half cycle [s]


@kernel_compiled()
def _load(W, L, j, P, case, gamma, step_length, seconds):  # type: ignore[no-untyped-def]
    """Put a case into a lane, at rest, with power about to come."""
    p = P[case]
    for k in range(r.ROWS):
        W[k * L + j] = 0.0
    gammas(p, gamma)
    poles = p[r.P_POLEPAIRS]
    sync = 2 * math.pi * p[r.P_HERTZ]
    half = 0.5 / p[r.P_HERTZ]
    W[r.CASE * L + j] = case
    W[r.H0 * L + j] = half / math.ceil(half / step_length - 1e-9)
    W[r.IMPL * L + j] = 0.5
    W[r.OK * L + j] = 1.0
    W[r.RS * L + j] = p[r.P_OHMS] + p[r.P_HEATER]
    W[r.RR * L + j], W[r.RDR * L + j] = p[r.P_ROTOR_OHMS], p[r.P_ROTOR_OHMS_D]
    W[r.RF * L + j] = p[r.P_SHORT_OHMS]
    W[r.N * L + j], W[r.RN * L + j] = p[r.P_RATIO], 1 / p[r.P_RATIO]
    W[r.POLEPAIRS * L + j], W[r.PJ * L + j] = poles, poles / p[r.P_INERTIA]
    W[r.VP * L + j] = math.sqrt(2.0) * p[r.P_VOLTS]
    W[r.FREQ * L + j] = p[r.P_HERTZ]
    W[r.PHASE * L + j] = p[r.P_ANGLE] / (2 * math.pi) - 0.25
    W[r.RSC * L + j] = p[r.P_CONTACT] + p[r.P_CS_OHMS]
    W[r.ICS * L + j], W[r.GLS * L + j] = p[r.P_ICS], p[r.P_CS_LEAK]
    W[r.RRC * L + j], W[r.ICR * L + j], W[r.GLR * L + j] = p[r.P_CR_OHMS], p[r.P_ICR], p[r.P_CR_LEAK]
    W[r.GRON * L + j] = p[r.P_HAS_CR]
    W[r.GB * L + j] = p[r.P_BRIDGE]
    W[r.PTC0 * L + j], W[r.PTCK * L + j] = p[r.P_PTC_OHMS], p[r.P_PTC_LN]
    W[r.PTCKNEE * L + j], W[r.PTCSPAN * L + j] = p[r.P_PTC_KNEE], 1 / p[r.P_PTC_SPAN]
    W[r.PTCC * L + j], W[r.PTCG * L + j] = 1 / p[r.P_PTC_C], p[r.P_PTC_G]
    W[r.PTCAIR * L + j] = p[r.P_AIR]
    W[r.DISCHEAT * L + j], W[r.DISCG * L + j] = p[r.P_HEATER], p[r.P_DISC_G]
    W[r.DISCC * L + j] = 1 / p[r.P_DISC_C]
    W[r.ITAU * L + j] = 1 / _TAU
    _load_shaft(W, L, j, p)
    W[r.TQ * L + j], W[r.TD * L + j], W[r.TSHELL * L + j] = p[r.P_TQ], p[r.P_TD], p[r.P_TSHELL]
    W[r.TP * L + j], W[r.TC * L + j] = p[r.P_TP], p[r.P_TC]
    W[r.F_QMAX * L + j], W[r.F_DMAX * L + j] = p[r.P_TQ], p[r.P_TD]
    W[r.F_PMAX * L + j], W[r.F_CMAX * L + j] = p[r.P_TP], p[r.P_TC]
    W[r.TEND * L + j], W[r.THALF * L + j] = seconds, half
    W[r.TPEND * L + j], W[r.TOFF * L + j] = _NEVER, -_NEVER
    W[r.THRW * L + j] = 0.75 * sync
    for k in (r.F_T75, r.F_RELEASE, r.F_TRIP, r.F_RECLOSE):
        W[k * L + j] = math.nan
    _load_gear(W, L, j, p)
    _load_protector(W, L, j, p)
    W[r.F_LIVE * L + j] = W[r.LINE * L + j]
    W[r.GD * L + j] = p[r.P_SHUNT] * W[r.LINE * L + j]
    W[r.TB * L + j] = min(W[r.THALF * L + j], min(W[r.TPEND * L + j], seconds))
    refresh(W, L, j, p)
    switch(W, L, j, P, gamma)
    currents(W, L, j)
    W[r.BE * L + j], W[r.IMPL * L + j] = 2.0, 1.0
    W[r.H * L + j] = 0.5 * W[r.H0 * L + j]


@kernel_compiled()
def _load_shaft(W, L, j, p):  # type: ignore[no-untyped-def]
    """The crank where it rests, and what it has to turn."""
    poles = p[r.P_POLEPAIRS]
    sync = 2 * math.pi * p[r.P_HERTZ]
    W[r.GAS * L + j], W[r.DIFF * L + j] = p[r.P_GAS], p[r.P_DIFF]
    for k in range(4):
        W[(r.C1 + k) * L + j] = p[r.P_COS + k]
        W[(r.S1 + k) * L + j] = p[r.P_SIN + k]
    W[r.COULOMB * L + j], W[r.BREAK * L + j] = p[r.P_COULOMB], max(p[r.P_BREAK], p[r.P_COULOMB])
    W[r.VISCOUS * L + j], W[r.FAN * L + j] = p[r.P_VISCOUS] / poles, p[r.P_FAN] / (poles * poles)
    W[r.WEPS * L + j], W[r.TURN * L + j] = 100.0 / sync, 1 / (2 * math.pi * poles)
    if p[r.P_SEIZED] > 0.5:
        W[r.BREAK * L + j] = _NEVER
    W[r.ANGLE * L + j] = p[r.P_CRANK] / (2 * math.pi)
    W[r.SPEED * L + j] = p[r.P_SPEED] * poles
    W[r.FREE * L + j] = 1.0 if p[r.P_SPEED] != 0.0 else 0.0


@kernel_compiled()
def _load_gear(W, L, j, p):  # type: ignore[no-untyped-def]
    """The start gear as it stands before power comes: its contact, and what will move it."""
    kind = p[r.P_KIND]
    sync = 2 * math.pi * p[r.P_HERTZ]
    W[r.KIND * L + j] = kind
    W[r.TRAVEL * L + j], W[r.BOUNCE * L + j] = p[r.P_TRAVEL], p[r.P_BOUNCE]
    W[r.SIGR * L + j], W[r.THRR * L + j] = 1.0, p[r.P_UP]
    if kind == r.CURRENT:
        W[r.KI * L + j] = 1.0
    elif kind == r.POTENTIAL:
        W[r.KV * L + j] = 1.0
    elif kind == r.SPEEDSWITCH:
        W[r.KW * L + j] = 1 / (sync * sync)
    else:
        W[r.THRR * L + j] = _NEVER
    if kind == r.PLAIN or kind == r.PTC or kind == r.POTENTIAL or kind == r.SPEEDSWITCH or kind == r.TIMED:
        W[r.GSON * L + j] = 1.0
    if kind == r.CURRENT and p[r.P_UP] < 0:  # on its head: the plunger lies on the contact
        W[r.GSON * L + j] = 1.0
        W[r.PLUNGER * L + j] = 1.0
        W[r.SIGR * L + j], W[r.THRR * L + j] = -1.0, p[r.P_DOWN]
    if p[r.P_STUCK] != 0.0:
        W[r.GSON * L + j] = 1.0 if p[r.P_STUCK] > 0 else 0.0
        W[r.SIGR * L + j], W[r.THRR * L + j] = 0.0, 0.0
    elif kind == r.TIMED:
        W[r.TPEND * L + j] = p[r.P_ON]


@kernel_compiled()
def _load_protector(W, L, j, p):  # type: ignore[no-untyped-def]
    """The protector, which waits to open or, where it is open already, to close again."""
    guard = p[r.P_GUARD]  # 0 none or welded, 1 works, -1 failed open
    W[r.LINE * L + j] = 0.0 if (p[r.P_LINE_OPEN] > 0.5 or guard < 0 or p[r.P_VOLTS] <= 0.0) else 1.0
    if guard > 0:
        W[r.SIGC * L + j], W[r.THRC * L + j] = 1.0, p[r.P_TRIP]
        if p[r.P_OPEN] > 0.5 and W[r.LINE * L + j] > 0.5:
            W[r.LINE * L + j] = 0.0
            W[r.SIGC * L + j], W[r.THRC * L + j] = -1.0, p[r.P_RESET]


@kernel_compiled()
def _rising(before, after):  # type: ignore[no-untyped-def]
    """A current's way through zero, from either side, as a rise; one that is nothing already is through."""
    if abs(before) < 1e-9 or abs(after) < 1e-12:
        return 1.0, 1.0
    if before * after < 0:
        return -abs(before), abs(after)
    return -1.0, -1.0


@kernel_compiled()
def _fraction(W, L, j):  # type: ignore[no-untyped-def]
    """The first thing that happens in the step just taken: which, and at what share of the step."""
    S = r.STATES
    best, which = 2.0, 0
    w0, w1 = W[r.SPEED * L + j], W[(S + r.SPEED) * L + j]
    for k in range(1, 7):
        a, b = -1.0, -1.0  # happens where it rises through zero
        if k == 1 and W[r.WANTS * L + j] > 0:
            a, b = _rising(W[r.IS * L + j], W[(S + r.IS) * L + j])
        elif k == 2 and W[r.WANTL * L + j] > 0:
            a, b = _rising(W[r.IL * L + j], W[(S + r.IL) * L + j])
        elif k == 3 and W[r.FREE * L + j] > 0.5 and w0 * w1 < 0:
            a, b = -abs(w0), abs(w1)
        elif k == 3 and W[r.FREE * L + j] < 0.5:
            odd = _static(W, L, j)
            a = abs(W[r.TORQUE * L + j] - odd) - W[r.BREAK * L + j]
            b = abs(W[(S + r.TORQUE) * L + j] - odd) - W[r.BREAK * L + j]
        elif k == 4 and W[r.SIGR * L + j] != 0:
            ki, kv, kw = W[r.KI * L + j], W[r.KV * L + j], W[r.KW * L + j]
            a = W[r.SIGR * L + j] * (
                ki * W[r.YI * L + j] + kv * W[r.YV * L + j] + kw * w0 * w0 - W[r.THRR * L + j]
            )
            b = W[r.SIGR * L + j] * (
                ki * W[(S + r.YI) * L + j] + kv * W[(S + r.YV) * L + j] + kw * w1 * w1 - W[r.THRR * L + j]
            )
        elif k == 5 and W[r.SIGC * L + j] != 0:
            a = W[r.SIGC * L + j] * (W[r.TC * L + j] - W[r.THRC * L + j])
            b = W[r.SIGC * L + j] * (W[(S + r.TC) * L + j] - W[r.THRC * L + j])
        elif k == 6:
            a, b = abs(w0) - W[r.THRW * L + j], abs(w1) - W[r.THRW * L + j]
        if b > 0:
            share = 0.0 if a >= 0 else a / (a - b)
            if share < best:
                best, which = share, k
    return best, which


@kernel_compiled()
def _static(W, L, j):  # type: ignore[no-untyped-def]
    """Gas torque on the resting crank. [N m]"""
    x = 2 * math.pi * W[r.ANGLE * L + j]
    total = 0.0
    for k in range(4):
        total += W[(r.S1 + k) * L + j] * math.sin((k + 1) * x)
    return total * W[r.GAS * L + j] * W[r.DIFF * L + j]


@kernel_compiled()
def _before(W, L, j):  # type: ignore[no-untyped-def]
    """Whether the step stands; if not, set the length with which it is taken again."""
    if W[r.LAND * L + j] > 0:
        return True
    share, which = _fraction(W, L, j)
    if which == 0:
        return True
    h = W[r.H * L + j]
    W[r.LAND * L + j] = which
    if (1 - share) * h < 1e-9:
        return True
    W[r.H * L + j] = max(share * h, 1e-10)
    return False


@kernel_compiled()
def _record(W, L, j, rec, wave):  # type: ignore[no-untyped-def]
    """One row of the record: a half cycle's means, or the moment."""
    case, k = int(W[r.CASE * L + j]), int(W[r.NREC * L + j])
    if k >= rec.shape[1]:
        return
    out = rec[case, k]
    out[0] = W[r.TIME * L + j]
    if wave:
        out[1], out[2], out[3] = W[r.IL * L + j], W[r.IQ * L + j], W[r.ID * L + j]
        out[4], out[5] = W[r.SPEED * L + j] / W[r.POLEPAIRS * L + j], W[r.TORQUE * L + j]
        out[6] = W[r.IS * L + j]
    else:
        for c in range(6):
            out[1 + c] = W[(r.M_LINE + c) * L + j]
    out[7], out[8] = W[r.TP * L + j], W[r.TC * L + j]
    out[9], out[10], out[11] = W[r.TQ * L + j], W[r.TD * L + j], W[r.TSHELL * L + j]
    out[12] = W[r.DIFF * L + j]
    W[r.NREC * L + j] = k + 1.0


@kernel_compiled()
def _close_half(W, L, j, P, rec, wave, ev, quick):  # type: ignore[no-untyped-def]
    """Close a half cycle; rest, while line and rotor rest. Whether a contact has moved."""
    end = W[r.TEND * L + j]
    W[r.STEPS * L + j] += 1.0
    half_cycle(W, L, j, P, ev, quick)
    if rec.shape[0] > 0 and not wave:
        _record(W, L, j, rec, wave)
    if W[r.THALF * L + j] - W[r.TIME * L + j] < 1e-10:
        W[r.THALF * L + j] += 0.5 / W[r.FREQ * L + j]
    if (
        W[r.LINE * L + j] > 0.5
        or W[r.FREE * L + j] > 0.5
        or abs(W[r.IQ * L + j]) + abs(W[r.ID * L + j]) > 1e-3
        or W[r.YI * L + j] > 1e-3
        or W[r.YV * L + j] > 1.0
        or W[r.TPEND * L + j] < 1e29
    ):
        return False
    while W[r.LINE * L + j] < 0.5 and W[r.TIME * L + j] < end - 1e-9:
        rest(W, L, j, P, ev)
        if rec.shape[0] > 0:
            _record(W, L, j, rec, wave)
    W[r.THALF * L + j] = W[r.TIME * L + j] + 0.5 / W[r.FREQ * L + j]
    return W[r.LINE * L + j] > 0.5


@kernel_compiled()
def _after(W, L, j, P, gamma, rec, wave, ev, quick):  # type: ignore[no-untyped-def]
    """Everything that follows a step in a lane where something happened."""
    moved = False
    if W[r.BE * L + j] > 0:
        W[r.BE * L + j] -= 1.0
        if W[r.BE * L + j] == 0.0:
            W[r.IMPL * L + j] = 0.5
    if W[r.LAND * L + j] > 0:
        which = int(W[r.LAND * L + j])
        W[r.LAND * L + j] = 0.0
        moved = fire(W, L, j, P, ev, which, _static(W, L, j))
    t = W[r.TIME * L + j]
    moved = due(W, L, j, ev) or moved
    if W[r.THALF * L + j] - t < 1e-10 or W[r.TEND * L + j] - t < 1e-10:
        moved = _close_half(W, L, j, P, rec, wave, ev, quick) or moved
    if moved:
        W[r.BE * L + j], W[r.IMPL * L + j] = 2.0, 1.0
        switch(W, L, j, P, gamma)
        currents(W, L, j)
    W[r.TB * L + j] = min(W[r.THALF * L + j], W[r.TPEND * L + j], W[r.TEND * L + j])
    h0 = W[r.H0 * L + j] * (0.5 if W[r.BE * L + j] > 0 else 1.0)
    left = W[r.TB * L + j] - W[r.TIME * L + j]
    W[r.H * L + j] = left if left < 1.0001 * h0 else h0


@kernel_compiled()
def _finish(W, L, j, P, out):  # type: ignore[no-untyped-def]
    """The features of a case that has had its time."""
    p = P[int(W[r.CASE * L + j])]
    t75, trip = W[r.F_T75 * L + j], W[r.F_TRIP * L + j]
    started = not math.isnan(t75)
    if W[r.F_BREAKER * L + j] > 0:
        outcome = 4.0
    elif W[r.F_LIVE * L + j] < 0.5 or W[r.F_HIGH * L + j] < p[r.P_AUDIBLE]:
        outcome = 0.0
    elif not math.isnan(trip):
        outcome = 3.0 if started and t75 < trip else 2.0
    else:
        outcome = 5.0 if started and W[r.F_SPEED * L + j] > 0.6 else 1.0
    out[0] = outcome
    left_in = W[r.F_GEAR * L + j] > 0.25 * W[r.F_START * L + j] and W[r.F_START * L + j] > 1e-3
    out[1] = 1.0 if started and left_in else 0.0
    rows = (
        r.PEAK, r.F_LOCKED, r.F_RUN, r.F_T75, r.F_RELEASE, r.F_TRIP, r.F_RECLOSE, r.F_TRIPS, r.F_QMAX,
        r.F_DMAX, r.F_CMAX, r.F_PMAX, r.F_SPEED, r.F_LINE, r.F_GEAR, r.F_START, r.F_WMAX, r.STEPS,
    )  # fmt: skip
    for k in range(len(rows)):
        out[2 + k] = W[rows[k] * L + j]


@kernel_compiled()
def play(P, first, last, lanes, step_length, seconds, quick, wave, rec, ev, out):  # type: ignore[no-untyped-def]
    """
    Play cases `first` to `last` of a packed table, as many at once as there are lanes.

    `rec` and `ev` are arrays (cases, rows, columns), of no size where no record or log is wanted; `out` takes
    the features.
    """
    L = len(lanes)
    W = np.zeros(r.ROWS * L)
    gamma = np.zeros((L, 5, 15))
    following = first
    active = 0
    for j in range(L):
        if following < last:
            _load(W, L, j, P, following, gamma[j], step_length, seconds)
            following += 1
            active += 1
        else:  # an idle lane steps by nothing
            _load(W, L, j, P, first, gamma[j], step_length, seconds)
            _idle(W, L, j)
    while active > 0:
        flags = step_all(W, lanes)
        whole = True
        if flags > 0:
            for j in range(L):
                if W[r.FLAG * L + j] > 0 and W[r.DEAD * L + j] == 0 and not _before(W, L, j):
                    W[r.OK * L + j], whole = 0.0, False
        commit(W, lanes, whole)
        if wave and W[r.OK * L] > 0.5:
            _record(W, L, 0, rec, wave)
        if flags > 0:
            for j in range(L):
                if W[r.FLAG * L + j] > 0 and W[r.OK * L + j] > 0.5 and W[r.DEAD * L + j] == 0:
                    _after(W, L, j, P, gamma[j], rec, wave, ev, quick)
                    if W[r.TIME * L + j] >= W[r.TEND * L + j] - 1e-9:
                        _finish(W, L, j, P, out[int(W[r.CASE * L + j])])
                        if following < last:
                            _load(W, L, j, P, following, gamma[j], step_length, seconds)
                            following += 1
                        else:
                            _idle(W, L, j)
                            active -= 1
                W[r.OK * L + j] = 1.0


@kernel_compiled()
def _idle(W, L, j):  # type: ignore[no-untyped-def]
    """Take a lane out of the count."""
    W[r.DEAD * L + j] = 1.0
    W[r.H * L + j], W[r.H0 * L + j], W[r.TB * L + j] = 0.0, 0.0, _NEVER
    W[r.SIGR * L + j], W[r.SIGC * L + j], W[r.THRW * L + j] = 0.0, 0.0, _NEVER
    W[r.WANTS * L + j], W[r.WANTL * L + j], W[r.BE * L + j], W[r.LAND * L + j] = 0.0, 0.0, 0.0, 0.0
    W[r.FREE * L + j] = 1.0
