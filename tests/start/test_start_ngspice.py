"""A whole start with a pill and a protector against a general-purpose circuit simulator."""

from __future__ import annotations

import math
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from humclick.start.case import Heat, Load, Protector, Ptc, StartCase, Supply
from humclick.start.run import simulate
from tests.start.machines import KRAUSE

MOTOR = replace(KRAUSE, inertia=0.008)
PILL = Ptc(5.0, knee=105.0, span=90.0, decades=3.6, capacity=0.85, conductance=0.022)
DISC = Protector(0.12, capacity=0.3, conductance=0.014, trip=113.0, reset=65.0, to_shell=0.0)
CASE = StartCase(
    MOTOR,
    Supply(110.0, 60.0, 0.3, 3e-4),
    PILL,
    protector=DISC,
    load=Load(viscous=1e-3, fan=2.5e-5),
    heat=Heat(run_capacity=1e8, start_capacity=1e8),
)
SECONDS = 1.0


def netlist(out: Path) -> str:
    """The same machine as coupled inductors; speed, angle and temperatures as voltages on capacitors."""
    w = 2 * math.pi * 60
    m = MOTOR
    lq, lr = (m.run_leakage + m.run_magnetizing) / w, (m.rotor_leakage + m.run_magnetizing) / w
    ld, lm = (m.start_leakage + m.start_magnetizing) / w, (m.rotor_leakage_start + m.start_magnetizing) / w
    mq, md = m.run_magnetizing / w, m.start_magnetizing / w
    pairs, n = m.poles / 2, m.turns_ratio
    return f"""start of a two-winding motor
.options method=trap reltol=1e-5 abstol=1e-9 vntol=1e-6 chgtol=1e-16
.param lr={lr} lm={lm} mq={mq} md={md} n={n} pairs={pairs}
V1 a 0 SIN(0 {110 * math.sqrt(2)} 60)
R1 a b {0.3 + DISC.heater_ohms}
L1 b c 3e-4
Vline c t 0
Vq t q1 0
Rq q1 q2 {m.run_ohms}
Lq q2 0 {lq}
Vd t d1 0
Bptc d1 d2 I=v(d1,d2)/v(ohms)
Rd d2 d3 {m.start_ohms}
Ld d3 0 {ld}
Bohms ohms 0 V={PILL.cold_ohms}*exp({PILL.decades * math.log(10)}*v(z)*v(z)*(3-2*v(z)))+1e-3
Bz z 0 V=min(max((v(pill)-{PILL.knee})/{PILL.span},0),1)
Bpill 0 pill I=v(d1,d2)*i(Vd)-{PILL.conductance}*(v(pill)-25)
Cpill pill 0 {PILL.capacity} IC=25
Bdisc 0 disc I={DISC.heater_ohms}*i(Vline)*i(Vline)-{DISC.conductance}*(v(disc)-25)
Cdisc disc 0 {DISC.capacity} IC=25
Bfq fq 0 V=lr*i(Vrq)+mq*i(Vq)
Bfd fd 0 V=lm*i(Vrd)+md*i(Vd)
Brq e1 0 V=pairs*v(speed)*v(fd)/n
Vrq e1 e2 0
Rrq e2 e3 {m.rotor_ohms}
Lrq e3 0 {lr}
Brd f1 0 V=-pairs*v(speed)*v(fq)*n
Vrd f1 f2 0
Rrd f2 f3 {m.rotor_ohms_start}
Lrd f3 0 {lm}
K1 Lq Lrq {mq / math.sqrt(lq * lr)}
K2 Ld Lrd {md / math.sqrt(ld * lm)}
Btorque torque 0 V=pairs*(n*v(fq)*i(Vrd)-v(fd)*i(Vrq)/n)
Bway way 0 V=min(max(v(speed)*pairs*{100 / w},-1),1)
Bspeed 0 speed I=v(torque)-{CASE.load.viscous}*v(speed)-{CASE.load.fan}*v(speed)*v(speed)*v(way)
Cspeed speed 0 {m.inertia} IC=0
.control
tran 20u {SECONDS} 0 20u uic
wrdata {out} i(Vline) i(Vq) i(Vd) v(speed) v(pill) v(disc)
quit
.endc
.end
"""


def spice(folder: Path) -> NDArray[np.float64]:
    """Time, line, run and start current, speed, pill and disc."""
    (folder / "start.cir").write_text(netlist(folder / "out.txt"))
    done = subprocess.run(
        ["ngspice", "-b", "start.cir"], cwd=folder, capture_output=True, text=True, timeout=120
    )
    assert (folder / "out.txt").exists(), done.stderr
    table = np.loadtxt(folder / "out.txt")
    return table[:, [0, 1, 3, 5, 7, 9, 11]]


def crossing(time: NDArray[np.float64], values: NDArray[np.float64], level: float) -> float:
    """When the values first rise through a level."""
    k = int(np.argmax(values >= level))
    return float(np.interp(level, values[k - 1 : k + 1], time[k - 1 : k + 1]))


def next_zero(time: NDArray[np.float64], values: NDArray[np.float64], after: float) -> float:
    """First zero of a wave after a moment."""
    k = int(np.argmax((time[1:] > after) & (values[1:] * values[:-1] <= 0)))
    return float(time[k] - values[k] * (time[k + 1] - time[k]) / (values[k + 1] - values[k]))


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="the circuit simulator is not installed")
def test_a_start_with_pill_and_protector_switches_when_the_circuit_simulator_does(tmp_path: Path) -> None:
    """Speed, pill and protector reach their marks within 1 ms of ngspice; the contact opens at that zero."""
    run = simulate(CASE, SECONDS, step=5e-5, record="wave")
    time, line, main, start, speed, pill, disc = spice(tmp_path).T
    assert run.when("three quarters of synchronous speed") == pytest.approx(
        crossing(time, speed, 0.75 * MOTOR.synchronous), abs=1e-3
    )
    middle = PILL.knee + 0.4 * PILL.span
    assert crossing(run.time, run.ptc, middle) == pytest.approx(crossing(time, pill, middle), abs=1e-3)
    heated = crossing(time, disc, DISC.trip)
    assert crossing(run.time, run.protector, DISC.trip) == pytest.approx(heated, abs=1e-3)
    assert run.when("protector opens") == pytest.approx(next_zero(time, line, heated), abs=1e-3)
    before = (run.time < run.when("protector opens")) & (run.time > 0.01)
    for ours, theirs in ((run.run, main), (run.start, start), (run.speed, speed)):
        gap = ours[before] - np.interp(run.time[before], time, theirs)
        assert np.abs(gap).max() < 5e-3 * np.abs(theirs).max()
