"""
How many shorted run windings the ohms between the pins find: ``python -m research.shorted_turns``.

Machines are drawn from the model of sizes, evenly over ln horsepower from 1/20 to 5 hp, of every single-phase
kind and on both voltages; the three pairs are read with a standard meter, its leads nulled, after a hum and a
click. Printed for each share of ohms lost and for what is known of the plate: how often shorted turns or
windings that touch are more likely than not, and how often likelier than one in ten.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.judged import judge
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.readings import Leads, parse_reading, parse_temperature
from humclick.sizes.sound import HORSEPOWER, sound_machine
from humclick.sourced import Spread

__all__ = ["KNOWN", "LOST", "Drawn", "drawn", "main", "suspected"]

#: Ohms of the run winding that are lost. [-]
LOST = (0.0, 0.05, 0.10, 0.20, 0.35, 0.50)
#: What is known of the plate beside volts and hertz.
KNOWN = {
    "LRA and RLA": ("locked_rotor_amps", "rated_load_amps"),
    "RLA only": ("rated_load_amps",),
    "nothing": (),
}
#: Machines stray no further than this from the model's median, so that no draw is one in a hundred. [σ]
_REACH = 2.0
_MODES = (("run_winding", "shorted_turns"), ("start_winding", "shorted_turns"), ("start_winding", "bridged"))


@dataclass(frozen=True, slots=True)
class Drawn:
    """A machine as it is made: arrangement, volts, hertz, and its sizes by the names of `humclick.sizes`."""

    kind: str
    volts: float
    hertz: float
    sizes: dict[str, float]


def drawn(count: int, seed: int = 11) -> Iterator[Drawn]:
    """Machines of the model; the same seed gives the same ones."""
    rng = np.random.default_rng(seed)
    kinds = [name for name in arrangements() if arrangement(name).started]
    for _ in range(count):
        kind = kinds[rng.integers(len(kinds))]
        volts, hertz = (115.0, 230.0)[rng.integers(2)], (50.0, 60.0)[rng.integers(2)]
        model = sound_machine(volts, hertz, Machine.of(kind, None, Nameplate(volts, hertz)).words)
        sizes = {HORSEPOWER: math.exp(rng.uniform(math.log(0.05), math.log(5.0)))}
        model = model.given(HORSEPOWER, Spread(sizes[HORSEPOWER], 1.0))
        for name in ("locked_rotor_amps", "rated_load_amps", "run_ohms", "start_ohms"):
            size = model.size(name)
            z = float(np.clip(rng.standard_normal(), -_REACH, _REACH))
            sizes[name] = size.median * math.exp(size.sigma * z)
            model = model.given(name, Spread(sizes[name], 1.0))
        yield Drawn(kind, volts, hertz, sizes)


def suspected(machine: Drawn, lost: float, known: tuple[str, ...]) -> float:
    """Probability of shorted turns or windings that touch, after the three readings. [-]"""
    run, start = machine.sizes["run_ohms"] * (1.0 - lost), machine.sizes["start_ohms"]
    told: dict[str, Any] = {name: min(machine.sizes[name], 300.0) for name in known}
    plate = Nameplate(machine.volts, machine.hertz, **told)
    read = (("pins.C-R", run), ("pins.C-S", start), ("pins.S-R", run + start))
    seen = tuple(
        Observation(
            probe,
            parse_reading(f"{ohms:.2f}" if ohms < 40.0 else f"{ohms:.1f}", Quantity.RESISTANCE),
            temperature=parse_temperature("cold"),
        )
        for probe, ohms in read
    )
    of = Machine.of(machine.kind, None, plate)
    post = judge(Situation(of, Heard.HUM_CLICK, seen, leads=Leads(nulled=True))).post
    return math.fsum(post.of_mode(part, mode) for part, mode in _MODES)


def main(count: int = 100) -> None:
    """Print the table."""
    machines = list(drawn(count))
    print("| known of the plate | " + " | ".join(f"{100 * lost:.0f} % lost" for lost in LOST) + " |")
    print("|---|" + "---|" * len(LOST))
    for name, known in KNOWN.items():
        cells = []
        for lost in LOST:
            likely = [suspected(machine, lost, known) for machine in machines]
            found = sum(p > 0.5 for p in likely) / count
            doubted = sum(p > 0.1 for p in likely) / count
            cells.append(f"{100 * found:.0f} % ({100 * doubted:.0f} %)")
        print(f"| {name} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
