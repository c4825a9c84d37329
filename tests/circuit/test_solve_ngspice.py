"""
The network solver against a circuit simulator.

The simulator solves the nodal equations in double precision, so a spread of resistances of 10^n costs it
about n of its 16 digits: its networks are drawn from five decades, which leaves 1e-9 well within its reach.
"""

from __future__ import annotations

import math
import shutil
import subprocess
from pathlib import Path

import pytest

from humclick.circuit.solve import Impedance, branch_currents, resistance_between
from tests.circuit.networks import impedance_between, random_network


def ngspice(netlist: list[str], folder: Path) -> dict[str, complex]:
    """Run the circuit simulator and read what it prints."""
    program = shutil.which("ngspice")
    if program is None:
        pytest.fail("ngspice is missing; this independent check needs it: install the package ngspice")
    file = folder / "networks.cir"
    file.write_text("\n".join(["* networks", *netlist, ".end", ""]), encoding="utf-8")
    run = subprocess.run([program, "-b", str(file)], capture_output=True, text=True, timeout=60, check=False)
    printed = {}
    for line in run.stdout.splitlines():
        name, equals, value = line.partition(" = ")
        if equals and name.startswith(("v(", "i(")):
            printed[name] = complex(*map(float, value.split(",")))
    assert printed, run.stdout + run.stderr
    return printed


def test_direct_current_networks_agree_with_the_simulator(tmp_path: Path) -> None:
    """Readings of random networks with wires, and what the wires carry, agree with ngspice to 1e-9."""
    netlist = [".options reltol=1e-12 abstol=1e-18 vntol=1e-15 gmin=1e-20"]
    prints = []
    cases: list[list[Impedance]] = []
    for seed in range(16):
        elements = random_network(100 + seed, "plain")
        for wire in range(seed % 3):  # tree branches, so that wires form no loop
            elements[wire] = (*elements[wire][:2], 0.0)
        if resistance_between(elements, "C", "S").ohms == 0:
            elements[0] = (*elements[0][:2], 2.7)
        cases.append(elements)

        def node(name: str, n: int = seed) -> str:
            return "0" if name == "S" else f"n{n}{name}"

        netlist.append(f"i{seed} 0 {node('C')} 1")
        prints.append(f"print v({node('C')})")
        for k, (p, q, z) in enumerate(elements):
            if z == 0:
                netlist.append(f"vw{seed}_{k} {node(p)} {node(q)} 0")
                prints.append(f"print i(vw{seed}_{k})")
            else:
                netlist.append(f"r{seed}_{k} {node(p)} {node(q)} {z!r}")
    seen = ngspice([*netlist, ".control", "set numdgt=15", "op", *prints, ".endc"], tmp_path)

    assert len(seen) == len(prints) > 20
    for seed, elements in enumerate(cases):
        two = resistance_between(elements, "C", "S")
        assert two.ohms == pytest.approx(seen[f"v(n{seed}c)"].real, rel=1e-9)
        for k, (*_, z) in enumerate(elements):
            if z == 0:
                amps = seen[f"i(vw{seed}_{k})"].real
                assert two.sensitivity[k] == pytest.approx(amps**2, rel=1e-9, abs=1e-12)


def test_alternating_current_networks_agree_with_the_simulator(tmp_path: Path) -> None:
    """Every current in random networks of R, L and C on 230 V, 50 Hz agrees with ngspice to 1e-9."""
    w = 2 * math.pi * 50
    netlist = [".options reltol=1e-12 gmin=1e-20 noopac"]
    prints = []
    cases = [random_network(200 + seed, "ac") for seed in range(16)]
    for seed, elements in enumerate(cases):

        def node(name: str, n: int = seed) -> str:
            return "0" if name == "S" else f"n{n}{name}"

        netlist.append(f"vs{seed} {node('C')} 0 ac 230")
        prints.append(f"print i(vs{seed})")
        for k, (p, q, z) in enumerate(elements):
            z = complex(z)
            between = f"{seed}_{k} {node(p)} m{seed}_{k}"
            if z.imag == 0:
                netlist.append(f"r{between} {z.real!r}")
            elif z.imag > 0:
                netlist.append(f"l{between} {z.imag / w!r}")
            else:
                netlist.append(f"c{between} {-1 / (z.imag * w)!r}")
            netlist.append(f"va{seed}_{k} m{seed}_{k} {node(q)} 0")
            prints.append(f"print i(va{seed}_{k})")
    seen = ngspice([*netlist, ".control", "set numdgt=15", "ac lin 1 50 50", *prints, ".endc"], tmp_path)

    assert len(seen) == len(prints) > 100
    for seed, elements in enumerate(cases):
        driven = branch_currents(elements, ("C", "S"), 230)
        largest = max(map(abs, driven.elements))
        amps = [seen[f"i(va{seed}_{k})"] for k in range(len(elements))]
        assert driven.elements == pytest.approx(amps, rel=1e-9, abs=1e-12 * largest)
        assert driven.source == pytest.approx(-seen[f"i(vs{seed})"], rel=1e-9, abs=1e-12 * largest)
        assert impedance_between(elements, "C", "S") == pytest.approx(-230 / seen[f"i(vs{seed})"], rel=1e-9)
