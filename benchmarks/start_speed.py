"""
How fast a start is played, alone and in lanes, beside a general-purpose integrator at equal accuracy.

Run ``python -m benchmarks.start_speed``. Rates on one core are taken from the thread's own processor time, so
that other work on the machine does not count; the 10,000 starts over all cores are taken from the clock.
The limit: arithmetic of one compiled step, counted in its own instructions, at the fused multiply-add rate of
this core, measured in the same run.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import re
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from humclick.start.batch import LANES, simulate_packed
from humclick.start.case import Capacitor, Heat, Load, Protector, Ptc, StartCase, Supply
from humclick.start.compiled import FAST
from humclick.start.kernel import step_all as compiled_step
from humclick.start.lanes import play
from humclick.start.machine import Motor
from humclick.start.packed import pack_many
from humclick.start.rows import COLUMNS, FEATURES, P_ANGLE, P_VOLTS, RECORD, ROWS
from humclick.start.run import simulate

__all__ = ["main"]

_SECONDS = 2.0
_MOTOR = Motor(
    run_ohms=2.02, run_leakage=2.79, run_magnetizing=66.8, start_ohms=7.14, start_leakage=3.22,
    start_magnetizing=92.9, rotor_ohms=4.12, rotor_leakage=2.12, turns_ratio=1.18, inertia=0.003, poles=4,
    hertz=60.0,
)  # fmt: skip
_LOAD = Load(
    gas_torque=0.6, cosines=(0.35, 0.25, 0.15, 0.05), sines=(-0.3, -0.2, -0.05, 0.02), difference=0.3,
    friction=0.15, breakaway=0.2,
)  # fmt: skip
#: Windings that stay cold, so that one temperature fewer has to be integrated beside.
_COLD = Heat(run_capacity=1e8, start_capacity=1e8)
#: Everything at once: pill, run capacitor, protector, crank.
WHOLE = StartCase(
    _MOTOR,
    Supply(110.0, 60.0, 0.3, 3e-4),
    Ptc(5.0),
    None,
    Capacitor(15e-6, 1.0),
    Protector(0.022, to_shell=0.0),
    _LOAD,
    _COLD,
)


def best(work: Callable[[], object], repeats: int) -> float:
    """Shortest processor time of several. [s]"""
    shortest = math.inf
    for _ in range(repeats):
        begin = time.thread_time()
        work()
        shortest = min(shortest, time.thread_time() - begin)
    return shortest


def table(count: int) -> NDArray[np.float64]:
    """Pack that many whole starts with voltages and angles of their own."""
    rng = np.random.default_rng(5)
    found = np.repeat(pack_many([WHOLE]), count, axis=0)
    found[:, P_VOLTS] = rng.uniform(90.0, 125.0, count)
    found[:, P_ANGLE] = rng.uniform(0.0, 2 * math.pi, count)
    return found


def kernel(cases: NDArray[np.float64], lanes: int, step: float) -> Callable[[], None]:
    """Work for one core: every case, in that many lanes."""
    rec, log = np.zeros((0, 0, len(RECORD))), np.zeros((0, 0, 3))
    out = np.zeros((len(cases), len(FEATURES)))
    return lambda: play(cases, 0, len(cases), (0,) * lanes, step, _SECONDS, False, False, rec, log, out)


#: The whole case at a pressure difference that stays.
_STILL = WHOLE.with_(load__pull_apart=1e6)


class Rates:
    """The whole case as a right-hand side in plain floats, for the general-purpose integrator."""

    def __init__(self, case: StartCase) -> None:
        m, s = case.motor, case.supply
        w = 2 * math.pi * 60
        L = np.zeros((4, 4))
        L[0, 0] = (m.run_leakage + m.run_magnetizing) / w + s.henries
        L[1, 1] = (m.start_leakage + m.start_magnetizing) / w + s.henries
        L[0, 1] = L[1, 0] = s.henries
        L[2, 2] = (m.rotor_leakage + m.run_magnetizing) / w
        L[3, 3] = (m.rotor_leakage_start + m.start_magnetizing) / w
        L[0, 2] = L[2, 0] = m.run_magnetizing / w
        L[1, 3] = L[3, 1] = m.start_magnetizing / w
        self.gamma = np.linalg.inv(L).tolist()
        self.case, self.w = case, w
        self.held = True

    def currents(self, x: Sequence[float]) -> list[float]:
        """Run, start and the two rotor currents. [A]"""
        a, b, c, d = x[0], x[1], x[2], x[3]
        return [row[0] * a + row[1] * b + row[2] * c + row[3] * d for row in self.gamma]

    def torque(self, y: Sequence[float], ir: float, im: float) -> float:
        """Electromagnetic torque. [N m]"""
        m = self.case.motor
        return m.poles / 2 * (m.turns_ratio * y[2] * im - y[3] * ir / m.turns_ratio)

    def sway(self, angle: float) -> float:
        """Gas torque that does not change its sign with the turning. [N m]"""
        load = self.case.load
        total = sum(s * math.sin((k + 1) * angle) for k, s in enumerate(load.sines))
        return load.gas_torque * load.difference * total

    def __call__(self, t: float, x: Any) -> list[float]:
        """Rates of four fluxes, run capacitor, speed, angle, pill and disc."""
        case, y = self.case, x.tolist()
        m, n, pill, disc, load = case.motor, case.motor.turns_ratio, case.gear, case.protector, case.load
        assert isinstance(pill, Ptc)
        assert disc is not None
        assert case.run_capacitor is not None
        iq, i_d, ir, im = self.currents(y)
        w = y[5] * m.poles / 2
        ohms = case.supply.ohms + disc.heater_ohms
        v = math.sqrt(2) * case.supply.volts * math.sin(self.w * t) - ohms * (iq + i_d)
        z = min(max((y[7] - pill.knee) / pill.span, 0.0), 1.0)
        cold = pill.cold_ohms * 10.0 ** (pill.decades * z * z * (3 - 2 * z))
        r1, r2 = cold + 1e-3, case.run_capacitor.loss_ohms
        u = (i_d + y[4] / r2) / (1 / r1 + 1 / r2)
        through = u / r1
        if self.held:
            slow = turn = 0.0
        else:
            along = min(max(w / (0.01 * self.w), -1.0), 1.0)
            gas = 1.0 + sum(c * math.cos((k + 1) * y[6]) for k, c in enumerate(load.cosines))
            brake = along * (load.gas_torque * load.difference * gas + load.friction) + self.sway(y[6])
            slow, turn = (self.torque(y, ir, im) - brake) / m.inertia, y[5]
        return [
            v - m.run_ohms * iq,
            v - m.start_ohms * i_d - u,
            w * y[3] / n - m.rotor_ohms * ir,
            -n * w * y[2] - m.rotor_ohms_start * im,
            (i_d - through) / case.run_capacitor.farads,
            slow,
            turn,
            (through**2 * cold - pill.conductance * (y[7] - 25.0)) / pill.capacity,
            ((iq + i_d) ** 2 * disc.heater_ohms - disc.conductance * (y[8] - 25.0)) / disc.capacity,
        ]


def integrated(rtol: float, method: str, at: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Run current at given times, and when three quarters of speed are reached."""
    rates = Rates(_STILL)

    def free(_: float, x: Any) -> float:
        _, _, ir, im = rates.currents(x.tolist())
        net = rates.torque(x.tolist(), ir, im) - rates.sway(_STILL.load.angle)
        return abs(net) - _STILL.load.breakaway

    def reached(_: float, x: Any) -> float:
        return float(x[5] - 0.75 * _STILL.motor.synchronous)

    free.terminal = True  # type: ignore[attr-defined]
    x = np.zeros(9)
    x[6:] = (_STILL.load.angle, 25.0, 25.0)
    scale = np.array([0.1, 0.1, 0.1, 0.1, 100.0, 100.0, 100.0, 100.0, 100.0]) * rtol * 1e-2
    first = solve_ivp(rates, (0.0, 0.1), x, method=method, rtol=rtol, atol=scale, events=free)
    begin = float(first.t_events[0][0])
    rates.held = False
    done = solve_ivp(
        rates,
        (begin, _SECONDS),
        first.y_events[0][0],
        method=method,
        rtol=rtol,
        atol=scale,
        t_eval=at,
        events=reached,
    )
    amps = np.array([rates.currents(y)[0] for y in done.y.T.tolist()])
    return amps, float(done.t_events[0][0]) if len(done.t_events[0]) else math.nan


def beside(repeats: int) -> dict[str, Any]:
    """Our start and the general-purpose integrator's, at equal accuracy against a tight reference."""
    at = np.arange(0.01, _SECONDS - 0.002, 0.001)
    truth, mark = integrated(1e-10, "LSODA", at)
    rows: list[dict[str, float]] = []
    for step in (2e-4, 1e-4, 5e-5):
        wave = simulate(_STILL, _SECONDS, step, record="wave")
        error = float(np.abs(np.interp(at, wave.time, wave.run) - truth).max())
        late = abs(wave.when("three quarters of synchronous speed") - mark)
        cases = np.repeat(pack_many([_STILL]), 64, axis=0)
        alone = best(kernel(cases[:8], 1, step), repeats) / 8
        lanes = best(kernel(cases, LANES, step), repeats) / 64
        rows.append({"step": step, "error": error, "late": late, "alone": alone, "lanes": lanes})
    others: list[dict[str, float]] = []
    methods = ("RK45", "LSODA", "Radau", "BDF")
    for method in methods:
        for rtol in (1e-3, 1e-4, 1e-5, 1e-6):
            values, reached = integrated(rtol, method, at)
            spent = best(lambda m=method, r=rtol: integrated(r, m, at), 1)  # type: ignore[misc]
            error = float(np.abs(values - truth).max())
            others.append(
                {
                    "rtol": rtol,
                    "error": error,
                    "late": abs(reached - mark),
                    "seconds": spent,
                }
            )
    for row in rows:
        equal = [o["seconds"] for o in others if o["error"] <= row["error"]]
        row["general"] = min(equal, default=math.nan)
        row["ratio"] = row["general"] / row["alone"]
        row["ratio_lanes"] = row["general"] / row["lanes"]
    return {"ours": rows, "general": others, "methods": methods}


@njit(fastmath={"contract"}, error_model="numpy")
def _multiply_add(x, n):  # type: ignore[no-untyped-def]
    """Independent chains of fused multiply-adds, as many as hide their latency."""
    for _ in range(n):
        for k in range(x.shape[0]):
            x[k] = x[k] * 0.999999 + 1e-6
            x[k] = x[k] * 1.000001 - 1e-6
            x[k] = x[k] * 0.999999 + 1e-6
            x[k] = x[k] * 1.000001 - 1e-6
            x[k] = x[k] * 0.999999 + 1e-6
            x[k] = x[k] * 1.000001 - 1e-6
            x[k] = x[k] * 0.999999 + 1e-6
            x[k] = x[k] * 1.000001 - 1e-6


def peak() -> float:
    """Fused multiply-add rate of this core. [flop/s]"""
    x = np.ones(128)
    _multiply_add(x, 10)
    return 100_000 * 128 * 16 / best(lambda: _multiply_add(x, 100_000), 5)


def arithmetic() -> tuple[float, float]:
    """Operations of one step of one lane, and the share of its vector instructions that are fused."""
    fresh = njit(fastmath=FAST, error_model="numpy")(compiled_step.py_func)
    fresh(np.zeros(ROWS * LANES), (0,) * LANES)
    longest = max(fresh.inspect_asm().values(), key=len)
    single = len(re.findall(r"\tv(?:add|sub|mul|div|max|min)pd\b[^\n]*zmm", longest))
    fused = len(re.findall(r"\tvf(?:n?madd|n?msub)\d*pd\b[^\n]*zmm", longest))
    return (single + 2 * fused) * 8 / LANES, fused / max(1, single + fused)


def report(repeats: int, count: int) -> dict[str, Any]:
    """Everything measured."""
    simulate(WHOLE, 0.1)
    small = table(16 * LANES)
    found: dict[str, Any] = {"cores": os.cpu_count(), "lanes": LANES, "columns": COLUMNS, "rows": ROWS}
    for step in (1e-4, 2e-4):
        kernel(small[:1], 1, step)()
        kernel(small[:LANES], LANES, step)()
        alone = best(kernel(small[:16], 1, step), repeats) / 16
        lanes = best(kernel(small, LANES, step), repeats) / len(small)
        found[f"alone_{step:g}"], found[f"lanes_{step:g}"] = alone, lanes
    found["beside"] = beside(repeats)
    many = table(count)
    for threads in range(1, (os.cpu_count() or 1) + 1):
        begin, spent = time.perf_counter(), time.process_time()
        simulate_packed(many, _SECONDS, 2e-4, quick=False, threads=threads)
        found[f"threads_{threads}"] = time.perf_counter() - begin
        found[f"processor_{threads}"] = time.process_time() - spent
    begin = time.perf_counter()
    pack_many([WHOLE] * 1000)
    found["packing"] = (time.perf_counter() - begin) / 1000
    found["peak"] = peak()
    found["flops"], found["fused"] = arithmetic()
    return found


def tell(found: dict[str, Any], count: int) -> str:
    """Put what was measured into words."""
    lines = [f"One start of {_SECONDS:g} s with pill, run capacitor, protector, crank, heat; one core:"]
    for step in (1e-4, 2e-4):
        alone, lanes = found[f"alone_{step:g}"], found[f"lanes_{step:g}"]
        lines.append(
            f"  step {step * 1e6:.0f} µs: alone {alone * 1e3:.2f} ms ({_SECONDS / alone:.0f} × real time), "
            f"in {LANES} lanes {lanes * 1e3:.3f} ms ({_SECONDS / lanes:.0f} ×, {1 / lanes:.0f} starts/s)"
        )
    lines.append("The same beside solve_ivp at equal accuracy (largest error of the run current):")
    for row in found["beside"]["ours"]:
        lines.append(
            f"  step {row['step'] * 1e6:.0f} µs: error {row['error']:.4f} A, {row['late'] * 1e6:.1f} µs; "
            f"{row['alone'] * 1e3:.2f} ms against {row['general'] * 1e3:.1f} ms: {row['ratio']:.0f} × alone, "
            f"{row['ratio_lanes']:.0f} × in lanes"
        )
    threads = list(range(1, found["cores"] + 1))
    times = ", ".join(f"{k} threads {found[f'threads_{k}']:.2f} s" for k in threads)
    scale = found["threads_1"] / found[f"threads_{threads[-1]}"]
    lines.append(f"{count} starts at 200 µs: {times}; scaling {scale:.2f} of {threads[-1]} on the clock")
    work = ", ".join(f"{k}: {found[f'processor_{k}']:.2f} s" for k in threads)
    lines.append(f"  processor time by threads: {work}; packing {found['packing'] * 1e6:.0f} µs a case")
    steps = _SECONDS / 1e-4
    limit = found["peak"] / (found["flops"] * steps)
    lines.append(
        f"Limit: {found['flops']:.0f} operations a step, {found['fused'] * 100:.0f} % of instructions fused, "
        f"{found['peak'] / 1e9:.1f} Gflop/s: {limit:.0f} starts/s at 100 µs; "
        f"reached {1 / found['lanes_0.0001']:.0f} ({100 / found['lanes_0.0001'] / limit:.0f} %)"
    )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, print, and write where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5, help="how often each is taken; the best counts")
    parser.add_argument("--starts", type=int, default=10_000, help="starts over all cores")
    parser.add_argument("--write", type=Path, help="write the figures as JSON")
    chosen = parser.parse_args(arguments)
    found = report(chosen.repeats, chosen.starts)
    print(tell(found, chosen.starts))
    if chosen.write:
        chosen.write.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
