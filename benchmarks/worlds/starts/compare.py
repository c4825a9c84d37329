"""
Hold the library's starts to the two simulators: ``python -m benchmarks.worlds.starts.compare --seed 5
--out F``.

The library gets what a technician can measure of each machine (plate, ohms of the windings, pill,
microfarads), the simulators get the machine. Compared are: starts or not at 85, 100 and 110 % of the
plate's volts, locked amps, and the time until the start winding lets go.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from math import isnan, nan
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

import humclick as hc
from benchmarks.worlds.score import wilson
from benchmarks.worlds.starts import revolving, two_axis
from benchmarks.worlds.starts.motor import Start, Windings, drawn

GEARS = ("rsir-ptc", "csir-ptc", "csir-current-relay", "psc")
SHARES = (0.85, 1.0, 1.1)


def call_of(motor: Windings, locked: float, running: float) -> Any:
    """The library's call on that machine, with what a technician measures."""
    plate = hc.machine(
        motor.gear,
        protector="external",
        volts=motor.volts,
        hertz=motor.hertz,
        lra=round(locked, 2),
        rla=round(running, 2),
    )
    call = hc.Call(plate, heard="unknown", meter="good", leads="nulled")
    call = call.seen("pins.C-R", f"{motor.r1:.3g} ohm", temperature="cold")
    call = call.seen("pins.C-S", f"{motor.ra:.3g} ohm", temperature="cold")
    if "ptc" in motor.gear:
        call = call.seen("ptc.ohms", f"{motor.pill:.3g} ohm", temperature="cold")
    if motor.farads:
        part = "run_capacitor" if motor.gear == "psc" else "start_capacitor"
        call = call.seen(f"{part}.farads", f"{motor.farads * 1e6:.4g} uF")
    return call


def row(motor: Windings, simulator: str, share: float, played: Start, said: Any) -> dict[str, Any]:
    """One start beside the other."""
    spread, let_go = said.locked_amps, said.release_time
    return {
        "gear": motor.gear,
        "simulator": simulator,
        "share": share,
        "starts": played.starts,
        "said starts": float(said.starts),
        "locked": played.locked,
        "said locked": [spread.low, spread.middle, spread.high],
        "let go": None if isnan(played.let_go) else played.let_go,
        "said let go": None if let_go is None else [let_go.low, let_go.middle, let_go.high],
    }


def compared(seed: int, machines: int) -> list[dict[str, Any]]:
    """All starts of some machines of each arrangement."""
    rng = np.random.default_rng((seed, 3))
    rows = []
    for gear in GEARS:
        for _ in range(machines):
            motor = drawn(rng, gear)
            usual = revolving.play(motor, motor.volts)
            running = usual.running if not isnan(usual.running) else usual.locked / 5
            call = call_of(motor, usual.locked, running)
            for share in SHARES:
                volts = motor.volts * share
                said = hc.try_start(call, volts=volts)
                rows.append(row(motor, "revolving", share, revolving.play(motor, volts), said))
                if gear in two_axis.GEARS:
                    rows.append(row(motor, "two-axis", share, two_axis.play(motor, volts), said))
    return rows


def told(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Agreement, by simulator and arrangement."""
    figures: dict[str, Any] = {}
    for simulator in ("revolving", "two-axis"):
        for gear in GEARS:
            some = [each for each in rows if each["simulator"] == simulator and each["gear"] == gear]
            if some:
                figures[f"{simulator}, {gear}"] = _agreement(some)
    return figures


def _agreement(some: Sequence[dict[str, Any]]) -> dict[str, Any]:
    same = sum(each["starts"] == (each["said starts"] >= 0.5) for each in some)
    inside = sum(each["said locked"][0] <= each["locked"] <= each["said locked"][2] for each in some)
    timed = [
        each
        for each in some
        if each["let go"] is not None and each["said let go"] is not None and each["starts"]
    ]
    in_time = sum(each["said let go"][0] <= each["let go"] <= each["said let go"][2] for each in timed)
    low, high = wilson(same, len(some))
    return {
        "starts": len(some),
        "same answer": [same, round(low, 3), round(high, 3)],
        "by share of volts": {
            str(share): [
                sum(e["starts"] for e in some if e["share"] == share),
                round(sum(e["said starts"] for e in some if e["share"] == share), 1),
                sum(e["share"] == share for e in some),
            ]
            for share in SHARES
        },
        "Brier": round(sum((each["said starts"] - each["starts"]) ** 2 for each in some) / len(some), 3),
        "locked amps in the range": inside,
        "locked amps, said over played": round(median(e["said locked"][1] / e["locked"] for e in some), 3),
        "let go in the range": [in_time, len(timed)],
        "let go, said over played": round(median(e["said let go"][1] / e["let go"] for e in timed), 2)
        if timed
        else nan,
    }


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the command line, play, print, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--machines", type=int, default=10, help="of each arrangement")
    parser.add_argument("--out", type=Path)
    given = parser.parse_args(arguments)
    rows = compared(given.seed, given.machines)
    figures = told(rows)
    for name, values in figures.items():
        print(f"{name}:")
        for what, value in values.items():
            print(f"    {what}: {value}")
    if given.out:
        text = json.dumps({"seed": given.seed, "figures": figures, "rows": rows}, indent=1)
        given.out.write_text(text.replace("NaN", "null") + "\n")


if __name__ == "__main__":
    main()
