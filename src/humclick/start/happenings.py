"""
What happens between steps: contacts, protector, rotor; and once a half cycle, heat, pressures and records.

A contact told to open waits for its own current zero. Windings, shell and pressures move slowly and are
carried half cycle by half cycle; while line and rotor rest, in steps of 50 ms by exponentials.
"""

from __future__ import annotations

import math

from humclick.start import rows as r
from humclick.start.compiled import kernel_compiled

__all__ = ["due", "fire", "half_cycle", "log", "refresh", "rest"]

_NEVER = 1e30
_REST = 0.05  # thermal step while nothing flows and nothing turns [s]
_COPPER = 235.0  # IEC 60034-1: R ∝ 235 + t [°C]
_WINDOW = 12  # half cycles over which a steady state is judged [-]


@kernel_compiled()
def log(W, L, j, ev, code, value):  # type: ignore[no-untyped-def]
    """Put an event into the case's log, while there is room."""
    if ev.shape[0] == 0:
        return
    case, k = int(W[r.CASE * L + j]), int(W[r.NEV * L + j])
    if k < ev.shape[1]:
        ev[case, k, 0], ev[case, k, 1], ev[case, k, 2] = W[r.TIME * L + j], code, value
        W[r.NEV * L + j] = k + 1.0


@kernel_compiled()
def _reclose(W, L, j, P, ev):  # type: ignore[no-untyped-def]
    p = P[int(W[r.CASE * L + j])]
    t = W[r.TIME * L + j]
    W[r.LINE * L + j], W[r.F_LIVE * L + j] = 1.0, 1.0
    W[r.SIGC * L + j], W[r.THRC * L + j] = 1.0, p[r.P_TRIP]
    if math.isnan(W[r.F_RECLOSE * L + j]):
        W[r.F_RECLOSE * L + j] = t
    log(W, L, j, ev, r.E_RECLOSES, W[r.TC * L + j])
    if p[r.P_KIND] == r.TIMED and p[r.P_STUCK] == 0.0 and t - W[r.TOFF * L + j] >= p[r.P_REARM]:
        W[r.GSON * L + j], W[r.WANTS * L + j] = 1.0, 0.0
        W[r.TPEND * L + j] = t + p[r.P_ON]


@kernel_compiled()
def fire(W, L, j, P, ev, which, static):  # type: ignore[no-untyped-def]
    """Let what was found in the step happen; whether a contact has moved."""
    p = P[int(W[r.CASE * L + j])]
    t = W[r.TIME * L + j]
    if which == 1:
        W[r.GSON * L + j], W[r.WANTS * L + j] = 0.0, 0.0
        log(W, L, j, ev, r.E_OPENS, abs(W[r.SPEED * L + j]) / W[r.POLEPAIRS * L + j])
        if W[r.LINE * L + j] > 0.5 and W[r.F_TRIPS * L + j] == 0 and W[r.STAGE * L + j] != 3:
            W[r.F_RELEASE * L + j] = t
        return True
    if which == 2:
        W[r.LINE * L + j], W[r.WANTL * L + j], W[r.TOFF * L + j] = 0.0, 0.0, t
        if W[r.F_BREAKER * L + j] > 0:
            log(W, L, j, ev, r.E_BREAKER, W[r.M_LINE * L + j])
            W[r.SIGC * L + j] = 0.0
        else:
            log(W, L, j, ev, r.E_TRIPS, W[r.TC * L + j])
            if math.isnan(W[r.F_TRIP * L + j]):
                W[r.F_TRIP * L + j] = t
            W[r.F_TRIPS * L + j] += 1.0
            W[r.SIGC * L + j], W[r.THRC * L + j] = -1.0, p[r.P_RESET]
        return True
    if which == 3:
        net = W[r.TORQUE * L + j] - static
        if W[r.FREE * L + j] > 0.5 and abs(net) <= W[r.BREAK * L + j]:
            W[r.FREE * L + j], W[r.SPEED * L + j] = 0.0, 0.0
            log(W, L, j, ev, r.E_STOPS, 0.0)
        else:
            if W[r.FREE * L + j] < 0.5:
                log(W, L, j, ev, r.E_MOVES, net)
            W[r.FREE * L + j] = 1.0
            W[r.SPEED * L + j] = 1e-9 if net > 0 else -1e-9
        return False
    if which == 4:
        up = W[r.PLUNGER * L + j] < 0.5
        W[r.PLUNGER * L + j] = 1.0 if up else 0.0
        W[r.SIGR * L + j], W[r.THRR * L + j] = (-1.0, p[r.P_DOWN]) if up else (1.0, p[r.P_UP])
        closes = up == (W[r.KIND * L + j] == r.CURRENT)
        W[r.STAGE * L + j] = 1.0 if closes else 4.0
        W[r.TPEND * L + j] = t + W[r.TRAVEL * L + j]
        return False
    if which == 5:
        if W[r.SIGC * L + j] > 0:
            W[r.WANTL * L + j], W[r.SIGC * L + j] = 1.0, 0.0
            return False
        _reclose(W, L, j, P, ev)
        return True
    W[r.F_T75 * L + j], W[r.THRW * L + j] = t, _NEVER
    log(W, L, j, ev, r.E_75, abs(W[r.SPEED * L + j]) / W[r.POLEPAIRS * L + j])
    return False


@kernel_compiled()
def due(W, L, j, ev):  # type: ignore[no-untyped-def]
    """Move the start contact where its time has come; whether it has moved."""
    t = W[r.TIME * L + j]
    if W[r.TPEND * L + j] - t > 1e-10:
        return False
    stage = int(W[r.STAGE * L + j])
    W[r.TPEND * L + j] = _NEVER
    if stage == 0 or stage == 4:
        W[r.WANTS * L + j] = W[r.GSON * L + j]
        return False
    if stage == 2:
        W[r.WANTS * L + j], W[r.STAGE * L + j] = 1.0, 3.0
        W[r.TPEND * L + j] = t + 0.7 * W[r.BOUNCE * L + j]
        return False
    W[r.WANTS * L + j] = 0.0
    if stage == 1 and W[r.BOUNCE * L + j] > 0:
        W[r.STAGE * L + j], W[r.TPEND * L + j] = 2.0, t + 0.3 * W[r.BOUNCE * L + j]
    else:
        W[r.STAGE * L + j] = 0.0
    if W[r.GSON * L + j] > 0.5:
        return False
    W[r.GSON * L + j] = 1.0
    log(W, L, j, ev, r.E_CLOSES, W[r.M_RUN * L + j])
    return True


@kernel_compiled()
def refresh(W, L, j, p):  # type: ignore[no-untyped-def]
    """Winding resistances, and what surrounds the disc, at the temperatures reached."""
    base = 1 / (_COPPER + p[r.P_CELSIUS])
    W[r.RQ * L + j] = p[r.P_RUN_OHMS] * (_COPPER + W[r.TQ * L + j]) * base + p[r.P_RUN_SERIES]
    W[r.RD * L + j] = p[r.P_START_OHMS] * (_COPPER + W[r.TD * L + j]) * base + p[r.P_START_SERIES]
    shell, air = W[r.TSHELL * L + j], p[r.P_AIR]
    a, b = p[r.P_SHARE_WINDING], p[r.P_SHARE_SHELL]
    W[r.DISCAIR * L + j] = a * W[r.TQ * L + j] + b * shell + (1 - a - b) * air
    W[r.F_QMAX * L + j] = max(W[r.F_QMAX * L + j], W[r.TQ * L + j])
    W[r.F_DMAX * L + j] = max(W[r.F_DMAX * L + j], W[r.TD * L + j])
    W[r.F_PMAX * L + j] = max(W[r.F_PMAX * L + j], W[r.TP * L + j])
    W[r.F_CMAX * L + j] = max(W[r.F_CMAX * L + j], W[r.TC * L + j])


@kernel_compiled()
def _warm(W, L, j, p, dt, q2, d2, rotor, turning):  # type: ignore[no-untyped-def]
    """Windings, shell and pressures over dt at steady currents."""
    q = W[r.TQ * L + j] - W[r.TSHELL * L + j]
    d = W[r.TD * L + j] - W[r.TSHELL * L + j]
    heat_q = (W[r.RQ * L + j] - p[r.P_RUN_SERIES]) * q2
    heat_d = (W[r.RD * L + j] - p[r.P_START_SERIES]) * d2
    into = p[r.P_GQ] * q + p[r.P_GD] * d + rotor
    W[r.TQ * L + j] += dt * (heat_q - p[r.P_GQ] * q) / p[r.P_HQ]
    W[r.TD * L + j] += dt * (heat_d - p[r.P_GD] * d) / p[r.P_HD]
    W[r.TSHELL * L + j] += dt * (into - p[r.P_GSHELL] * (W[r.TSHELL * L + j] - p[r.P_AIR])) / p[r.P_HSHELL]
    if turning < 0.05:
        W[r.DIFF * L + j] *= math.exp(-dt / p[r.P_EQUALISE])
    else:
        W[r.DIFF * L + j] += (1 - W[r.DIFF * L + j]) * (1 - math.exp(-dt * turning / p[r.P_APART]))
    refresh(W, L, j, p)


@kernel_compiled()
def half_cycle(W, L, j, P, ev, quick):  # type: ignore[no-untyped-def]
    """Sum up a half cycle: rms currents, heat, pressures, breaker; then leap over what is steady."""
    p = P[int(W[r.CASE * L + j])]
    t = W[r.TIME * L + j]
    dt = t - W[r.TACC * L + j]
    if dt < 1e-7:
        return
    l2, q2, d2, s2 = W[r.AL * L + j] / dt, W[r.AQ * L + j] / dt, W[r.AD * L + j] / dt, W[r.AS * L + j] / dt
    speed, rotor = W[r.AW * L + j] / dt, W[r.AR * L + j] / dt
    W[r.M_LINE * L + j], W[r.M_RUN * L + j] = math.sqrt(l2), math.sqrt(q2)
    W[r.M_START * L + j], W[r.M_GEAR * L + j] = math.sqrt(d2), math.sqrt(s2)
    W[r.M_SPEED * L + j], W[r.M_TORQUE * L + j] = speed / W[r.POLEPAIRS * L + j], W[r.AT * L + j] / dt
    for k in range(r.AQ, r.AT + 1):
        W[k * L + j] = 0.0
    W[r.TACC * L + j] = t
    sync = 2 * math.pi * W[r.FREQ * L + j]
    turning = abs(speed) / sync
    _warm(W, L, j, p, dt, q2, d2, rotor, turning)
    if W[r.LINE * L + j] > 0.5:
        _clamp(W, L, j, p, ev, math.sqrt(l2), math.sqrt(s2), turning, t, dt)
        W[r.COUNT * L + j] += 1.0
        if quick:
            _leap(W, L, j, p, dt, l2, q2, d2, s2, speed, rotor)
    else:
        W[r.COUNT * L + j] = 0.0
        W[r.WCOUNT * L + j] = 0.0


@kernel_compiled()
def _clamp(W, L, j, p, ev, line, gear, turning, t, dt):  # type: ignore[no-untyped-def]
    """What a clamp meter would keep of this half cycle; the first two carry the switching offset."""
    W[r.F_LINE * L + j], W[r.F_GEAR * L + j], W[r.F_SPEED * L + j] = line, gear, turning
    W[r.F_WMAX * L + j] = max(W[r.F_WMAX * L + j], turning)
    W[r.F_HIGH * L + j] = max(W[r.F_HIGH * L + j], line)
    if line > p[r.P_BREAKER] and W[r.F_BREAKER * L + j] == 0:
        W[r.F_BREAKER * L + j], W[r.WANTL * L + j] = 1.0, 1.0
    if W[r.COUNT * L + j] >= 2 and t <= 1.0:
        W[r.F_LOCKED * L + j] = max(W[r.F_LOCKED * L + j], line)
        W[r.F_START * L + j] = max(W[r.F_START * L + j], gear)
    if (
        p[r.P_KIND] == r.PTC
        and W[r.COUNT * L + j] > 3
        and gear < 0.5 * W[r.F_START * L + j]
        and math.isnan(W[r.F_RELEASE * L + j])
    ):
        W[r.F_RELEASE * L + j] = t
        log(W, L, j, ev, r.E_HALVED, W[r.TP * L + j])
    if turning > 0.6:
        before = W[r.F_RUN * L + j]
        share = min(1.0, dt / 0.1)
        W[r.F_RUN * L + j] = line if before == 0.0 else before + share * (line - before)


@kernel_compiled()
def _as_before(W, L, j, line, run, turn):  # type: ignore[no-untyped-def]
    """Whether squared currents and speed are those of the window before, and nothing is about to move."""
    return (
        abs(line - W[r.W_LINE * L + j]) <= 0.02 * line + 1e-6
        and abs(run - W[r.W_RUN * L + j]) <= 0.02 * run + 1e-6
        and abs(turn - W[r.W_SPEED * L + j]) <= 0.002 * 2 * math.pi * W[r.FREQ * L + j]
        and W[r.WANTS * L + j] + W[r.WANTL * L + j] + W[r.BE * L + j] == 0
        and W[r.TPEND * L + j] > 1e29
    )


@kernel_compiled()
def _leap(W, L, j, p, dt, l2, q2, d2, s2, speed, rotor):  # type: ignore[no-untyped-def]
    """
    Pass over whole cycles in which nothing but slow heat moves.

    Judged over windows of twelve half cycles: line and run current within 1 %, speed within 0.2 % of
    synchronous, pill slower than 1 K/s. The leap is short enough that no winding moves by more than 2 K and
    the pressures by more than 3 %, and ends 0.4 K before the disc trips.
    """
    W[r.WINDOW * L + j] += dt
    W[r.WCOUNT * L + j] += 1.0
    W[r.B_LINE * L + j] += dt * l2
    W[r.B_RUN * L + j] += dt * q2
    W[r.B_START * L + j] += dt * d2
    W[r.B_SPEED * L + j] += dt * speed
    W[r.B_ROTOR * L + j] += dt * rotor
    if W[r.WCOUNT * L + j] < _WINDOW:
        return
    span = W[r.WINDOW * L + j]
    line, run, start = W[r.B_LINE * L + j] / span, W[r.B_RUN * L + j] / span, W[r.B_START * L + j] / span
    turn, lost = W[r.B_SPEED * L + j] / span, W[r.B_ROTOR * L + j] / span
    for k in range(r.WINDOW, r.B_ROTOR + 1):
        W[k * L + j] = 0.0
    sync = 2 * math.pi * W[r.FREQ * L + j]
    rate = abs(W[r.TP * L + j] - W[r.B_PTC * L + j]) / span
    steady = rate < 1.0 and _as_before(W, L, j, line, run, turn)
    W[r.W_LINE * L + j], W[r.W_RUN * L + j], W[r.W_SPEED * L + j] = line, run, turn
    W[r.B_PTC * L + j] = W[r.TP * L + j]
    if not steady:
        return
    cycle = 1 / W[r.FREQ * L + j]
    length = min(5.0, W[r.TEND * L + j] - W[r.TIME * L + j] - 2 * cycle)
    shell = W[r.TSHELL * L + j]
    heat_q = (W[r.RQ * L + j] - p[r.P_RUN_SERIES]) * run - p[r.P_GQ] * (W[r.TQ * L + j] - shell)
    heat_d = (W[r.RD * L + j] - p[r.P_START_SERIES]) * start - p[r.P_GD] * (W[r.TD * L + j] - shell)
    length = min(length, 2.0 * p[r.P_HQ] / (abs(heat_q) + 1e-9), 2.0 * p[r.P_HD] / (abs(heat_d) + 1e-9))
    if abs(turn) > 0.05 * sync and p[r.P_GAS] > 0:
        length = min(length, 0.03 * p[r.P_APART] / (abs(1 - W[r.DIFF * L + j]) + 1e-9))
    tau = p[r.P_DISC_C] / p[r.P_DISC_G]
    end = W[r.DISCAIR * L + j] + p[r.P_HEATER] * line / p[r.P_DISC_G]
    disc = W[r.TC * L + j]
    if W[r.SIGC * L + j] > 0:
        edge = W[r.THRC * L + j] - 0.4
        if disc >= edge:
            return
        if end > edge:
            length = min(length, tau * math.log((end - disc) / (end - edge)))
    cycles = math.floor(length / cycle)
    if cycles < 4:
        return
    length = cycles * cycle
    for k in (r.TIME, r.TACC, r.THALF):
        W[k * L + j] += length
    W[r.TC * L + j] = end + (disc - end) * math.exp(-length / tau)
    _warm(W, L, j, p, length, run, start, lost, abs(turn) / sync)


@kernel_compiled()
def rest(W, L, j, P, ev):  # type: ignore[no-untyped-def]
    """One thermal step with the line open and the rotor at rest; whether the protector closed in it."""
    p = P[int(W[r.CASE * L + j])]
    dt = min(_REST, W[r.TEND * L + j] - W[r.TIME * L + j])
    closes = False
    tau = p[r.P_DISC_C] / p[r.P_DISC_G]
    air, disc = W[r.DISCAIR * L + j], W[r.TC * L + j]
    after = air + (disc - air) * math.exp(-dt / tau)
    if W[r.SIGC * L + j] < 0 and after <= W[r.THRC * L + j]:
        closes = True
        if disc > W[r.THRC * L + j]:
            dt = min(dt, tau * math.log((disc - air) / (W[r.THRC * L + j] - air)))
        else:
            dt = 0.0
        after = min(disc, W[r.THRC * L + j])
    W[r.TC * L + j] = after
    pill = p[r.P_AIR]
    W[r.TP * L + j] = pill + (W[r.TP * L + j] - pill) * math.exp(-dt * p[r.P_PTC_G] / p[r.P_PTC_C])
    W[r.VS * L + j] *= math.exp(-dt * p[r.P_ICS] * p[r.P_CS_LEAK])
    W[r.VR * L + j] *= math.exp(-dt * p[r.P_ICR] * p[r.P_CR_LEAK])
    _warm(W, L, j, p, dt, 0.0, 0.0, 0.0, 0.0)
    W[r.DTP * L + j], W[r.YI * L + j], W[r.YV * L + j] = 0.0, 0.0, 0.0
    for k in range(r.LQ, r.LF + 1):
        W[k * L + j] = 0.0
    for k in range(r.IQ, r.TORQUE + 1):
        W[k * L + j] = 0.0
    for k in range(r.M_LINE, r.M_GEAR + 1):
        W[k * L + j] = 0.0
    W[r.TIME * L + j] += dt
    W[r.TACC * L + j] = W[r.TIME * L + j]
    if closes:
        _reclose(W, L, j, P, ev)
    return closes
