"""
One step of the start as the books write it: what `humclick.start.kernel.step_all` must come to.

Written to be read, not to be fast: every law stands once, with its source, and the new state is simply the
one that satisfies them; a linear solver finds it. Numbers may be of any kind (the test takes forty digits),
so that what is left between the two is the kernel's own rounding. SI units, temperatures in °C, crank angle
in turns; letters are those of `humclick.start.rows`.

- Machine: Krause, Wasynczuk and Sudhoff, Analysis of Electric Machinery, unsymmetrical two-phase machine in
  the stator's frame: q the run winding, d the start winding, r and m the rotor on these axes.
- Shorted turns: a fifth loop, coupled like a winding of its own.
- Integration: the trapezoid rule, backward Euler where its share is 1 (Hairer, Nørsett and Wanner, Solving
  Ordinary Differential Equations I, II.7), with the speed predicted to the middle of the step.
- Filter of a relay's pull: first order, its exponential taken to the second term.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import SimpleNamespace
from typing import Any

__all__ = ["step"]

#: Keeps a start winding that hangs in the air at a voltage. [S]
_LEAK = 1e-12
Number = Any
Solver = Callable[[list[list[Number]], list[Number]], Sequence[Number]]


def step(
    s: SimpleNamespace, cos: Callable[[Number], Number], exp: Callable[[Number], Number], solve: Solver
) -> dict[str, Number]:
    """
    The state one step on.

    Parameters
    ----------
    s : namespace
        State, steering and parameters, by the names of their rows in small letters.
    cos : callable
        cos(2π x) of x turns.
    exp : callable
        The exponential function.
    solve : callable
        Of a system of linear equations: matrix and right-hand side to solution.
    """
    angle = s.angle + s.h / 2 * s.turn * s.speed
    even, odd = _gas(s, angle, cos)
    speed = s.speed + s.h / 2 * s.pj * s.free * (s.torque - _load(s, s.speed, even, odd))
    load = _load(s, speed, even, odd)
    pill = _pill(s, s.tp + s.h / 2 * s.dtp, exp)
    new = _electrical(s, speed, pill, cos, solve)
    torque = new["torque"]
    new["speed"] = s.speed + s.h * s.pj * s.free * ((s.torque + torque) / 2 - load)
    new["angle"] = s.angle + s.h * s.turn * (s.speed + new["speed"]) / 2
    new |= _heat(s, new, pill) | _filters(s, new) | _sums(s, new)
    new["flag"] = 1.0 if _happened(s, new, odd) else 0.0
    return new


# -- mechanics --------------------------------------------------------------------------------------------


def _gas(s: SimpleNamespace, angle: Number, cos: Callable[[Number], Number]) -> tuple[Number, Number]:
    """Gas torque over a turn as a Fourier series: what opposes both ways, and what pushes and pulls."""
    opposing, pushing = 1, 0
    for k, (c, sine) in enumerate(((s.c1, s.s1), (s.c2, s.s2), (s.c3, s.s3), (s.c4, s.s4)), start=1):
        opposing += c * cos(k * angle)
        pushing += sine * cos(k * angle - 0.25)
    return s.gas * s.diff * opposing, s.gas * s.diff * pushing


def _load(s: SimpleNamespace, speed: Number, even: Number, odd: Number) -> Number:
    """Torque that the load takes at a speed; valves, Coulomb friction and fan oppose both ways."""
    way = min(max(speed * s.weps, -1), 1)
    return way * (even + s.coulomb + s.fan * speed**2) + odd + s.viscous * speed


# -- electrical -------------------------------------------------------------------------------------------


def _pill(s: SimpleNamespace, celsius: Number, exp: Callable[[Number], Number]) -> Number:
    """Resistance of the pill: from its knee on, a smooth rise of its logarithm over its span. [Ω]"""
    z = min(max((celsius - s.ptcknee) * s.ptcspan, 0), 1)
    return s.ptc0 * exp(s.ptck * z**2 * (3 - 2 * z))


def _electrical(
    s: SimpleNamespace, speed: Number, pill: Number, cos: Callable[[Number], Number], solve: Solver
) -> dict[str, Number]:
    """Fluxes, capacitors and the voltage over the start circuit at the end of the step."""
    e = s.line * s.vp * cos(s.freq * (s.time + s.h) + s.phase)
    before = _rates(s, speed, pill, s.e, (s.lq, s.ld, s.lr, s.lm, s.lf), s.vn, s.vs, s.vr, old=True)
    state = [s.lq, s.ld, s.lr, s.lm, s.lf, s.vs, s.vr]

    def residual(new: Sequence[Number]) -> list[Number]:
        """What is left of the trapezoid rule, x₁ − x₀ − h ((1 − ϑ) ẋ₀ + ϑ ẋ₁), and of the node's currents."""
        *fluxes, vs, vr, vn = new
        after = _rates(s, speed, pill, e, fluxes, vn, vs, vr)
        rule = [
            x1 - x0 - s.h * ((1 - s.impl) * was + s.impl * now)
            for x0, x1, was, now in zip(state, new, before.rates, after.rates, strict=False)
        ]
        return [*rule, after.node]

    nothing = residual([0] * 8)
    units = [[float(k == c) for k in range(8)] for c in range(8)]
    columns = [[a - b for a, b in zip(residual(unit), nothing, strict=True)] for unit in units]
    matrix = [[column[row] for column in columns] for row in range(8)]
    *fluxes, vs, vr, vn = solve(matrix, [-x for x in nothing])
    after = _rates(s, speed, pill, e, fluxes, vn, vs, vr)
    iq, i_d, ir, im, _ = after.amps
    _, _, lr, lm, _ = fluxes
    return {
        **dict(zip(("lq", "ld", "lr", "lm", "lf"), fluxes, strict=True)),
        **dict(zip(("iq", "id", "ir", "im", "if"), after.amps, strict=True)),
        "vs": vs,
        "vr": vr,
        "vn": vn,
        "e": e,
        "time": s.time + s.h,
        "is": after.gear,
        "il": s.line * (iq + i_d) + s.gd * s.line * (after.volts - vn),
        "torque": s.polepairs * (s.n * lr * im - lm * ir / s.n),
    }


def _rates(
    s: SimpleNamespace,
    w: Number,
    pill: Number,
    e: Number,
    fluxes: Sequence[Number],
    vn: Number,
    vs: Number,
    vr: Number,
    *,
    old: bool = False,
) -> SimpleNamespace:
    """Voltage equations of the loops, and currents into the node between start winding and start circuit."""
    _, _, lr, lm, _ = fluxes
    amps = [s.iq, s.id, s.ir, s.im, getattr(s, "if")] if old else _currents(s, fluxes)
    iq, i_d, ir, im, i_f = amps
    volts = e - s.rs * (iq + i_d)  # behind the supply's resistance
    gear = getattr(s, "is") if old else s.gson * (vn - vs) / (pill + s.rsc)
    run_capacitor = s.gron * (vn - vr) / s.rrc
    rates = [
        volts - s.rq * iq,
        volts - s.rd * i_d - vn,
        w * lm / s.n - s.rr * ir,
        -w * lr * s.n - s.rdr * im,
        -s.rf * i_f,
        s.ics * (gear - s.gls * vs),
        s.icr * (run_capacitor - s.glr * vr),
    ]
    node = i_d + s.gd * (volts - vn) - gear - run_capacitor - (s.gb + _LEAK) * vn
    return SimpleNamespace(rates=rates, node=node, amps=amps, volts=volts, gear=gear)


def _currents(s: SimpleNamespace, fluxes: Sequence[Number]) -> list[Number]:
    """I = Γ λ, Γ symmetric and kept by its upper triangle."""
    upper = iter(getattr(s, f"g{k}") for k in range(15))
    gamma: dict[tuple[int, int], Number] = {}
    for row in range(5):
        for column in range(row, 5):
            gamma[row, column] = gamma[column, row] = next(upper)
    return [sum(gamma[row, column] * fluxes[column] for column in range(5)) for row in range(5)]


# -- heat, filters, sums ----------------------------------------------------------------------------------


def _mean_square(s: SimpleNamespace, new: dict[str, Number], name: str) -> Number:
    """Mean of a current's square over the step, by the trapezoid rule. [A²]"""
    return (getattr(s, name) ** 2 + new[name] ** 2) / 2


def _heat(s: SimpleNamespace, new: dict[str, Number], pill: Number) -> dict[str, Number]:
    """Pill and disc: heat put in less heat given off, over the heat capacity."""
    rate = s.ptcc * (_mean_square(s, new, "is") * pill - s.ptcg * (s.tp - s.ptcair))
    disc = s.discc * (_mean_square(s, new, "il") * s.discheat - s.discg * (s.tc - s.discair))
    return {"dtp": rate, "tp": s.tp + s.h * rate, "tc": s.tc + s.h * disc}


def _filters(s: SimpleNamespace, new: dict[str, Number]) -> dict[str, Number]:
    """Mean squares that pull a relay: of the run current, and of the voltage over the start winding."""
    share = s.h * s.itau - (s.h * s.itau) ** 2 / 2
    was = s.line * (s.e - s.rs * (s.iq + s.id) - s.vn)
    now = s.line * (new["e"] - s.rs * (new["iq"] + new["id"]) - new["vn"])
    return {
        "yi": s.yi + share * (_mean_square(s, new, "iq") - s.yi),
        "yv": s.yv + share * ((was**2 + now**2) / 2 - s.yv),
    }


def _sums(s: SimpleNamespace, new: dict[str, Number]) -> dict[str, Number]:
    """Integrals over the half cycle, and the largest line current."""
    rotor = s.rr * _mean_square(s, new, "ir") + s.rdr * _mean_square(s, new, "im")
    return {
        **{f"a{c}": getattr(s, f"a{c}") + s.h * _mean_square(s, new, f"i{c}") for c in ("q", "d", "l", "s")},
        "aw": s.aw + s.h * (s.speed + new["speed"]) / 2,
        "ar": s.ar + s.h * rotor,
        "at": s.at + s.h * (s.torque + new["torque"]) / 2,
        "peak": max(s.peak, abs(new["il"])),
    }


def _happened(s: SimpleNamespace, new: dict[str, Number], odd: Number) -> bool:
    """Whether anything falls into the step that must be met to the moment."""
    pull = s.ki * new["yi"] + s.kv * new["yv"] + s.kw * new["speed"] ** 2
    return bool(
        s.sigr * (pull - s.thrr) > 0  # the relay moves
        or s.sigc * (new["tc"] - s.thrc) > 0  # the protector moves
        or abs(new["speed"]) > s.thrw  # three quarters of synchronous speed
        or (1 - s.free) * (abs(new["torque"] - odd) - s.__dict__["break"]) > 0  # it breaks away
        or s.free * s.speed * new["speed"] < 0  # it stops
        or (s.wants > 0 and getattr(s, "is") * new["is"] < 1e-18)  # the gear's current passes zero
        or (s.wantl > 0 and s.il * new["il"] < 1e-18)  # the line's does
        or s.be + s.land > 0  # it has just been switched, or lands on a moment
        or s.tb - new["time"] < 1e-10  # a half cycle ends
    )
