"""
The table of start attempts: what a machine with every set of one or two modes does when power is put on.

``python -m research.power_up_table`` simulates every set on the same sound machines (`designs`) and
writes one file for each arrangement, read by `humclick.start.power_up`. An arrangement whose file was made
with the same draws and seed is left alone, so that an interrupted run goes on where it was.
"""

from __future__ import annotations

import itertools
import os
import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.parts.family import HEALTHY
from humclick.sourced import read_data, sourced
from humclick.start import power_up
from humclick.start import rows as r
from humclick.start.batch import simulate_packed
from humclick.start.packed import pack_many
from humclick.start.rows import OUTCOMES
from humclick.start.start_table import COLUMNS, Fault, guard_of
from research.designs import Design, designs
from research.tallies import Attempts, lines_of, shares

__all__ = ["Packed", "attempts_of", "dead_modes", "judged", "made", "mode_sets", "plates", "simulated"]

Set = tuple[Fault, ...]
#: Where the program looks for them.
TABLES = Path(power_up.__file__).with_name("power_up")

_HUM, _RUNS = OUTCOMES.index("hum"), OUTCOMES.index("runs")
#: So many attempts are simulated at a time. [-]
_PORTION = 4096
#: On so many machines a merged pair is compared with one put together whole. [-]
_COMPARED = 3


def _seconds(name: str) -> float:
    return sourced(read_data("research", "power_up_table.toml")["attempt"][name], name).value


def plates() -> dict[str, Nameplate]:
    """Nameplates the table is made for, by voltage class."""
    rows = read_data("research", "designs.toml")["plates"]
    return {name: Nameplate(row["volts"], row["hertz"]) for name, row in rows.items()}


def judged() -> tuple[str, ...]:
    """Names of the arrangements that start attempts are made with."""
    return tuple(name for name in arrangements() if arrangement(name).started)


def _faults(machine: Machine) -> tuple[Fault, ...]:
    """Modes that are simulated; those that start as another one are not."""
    parts = (p for p in machine.parts if not p.family.apart)
    return tuple(
        (p.id, m.name) for p in parts for m in p.family.listed if m.name != HEALTHY and not m.starts_as
    )


def dead_modes(design: Design) -> tuple[Fault, ...]:
    """Modes with which nothing flows at all, whatever else is wrong: they need no simulation."""
    dead = []
    for part, mode in _faults(design.machine):
        case = design.case({part: mode}, hot=True)
        guard = case.protector
        if (
            case.faults.line_open
            or case.supply.volts <= 0
            or case.temperatures.open
            or (guard is not None and guard.stuck == "open")
        ):
            dead.append((part, mode))
    return tuple(dead)


def mode_sets(machine: Machine, dead: Sequence[Fault]) -> Iterator[tuple[bool, Set]]:
    """
    Sets to simulate: (hot, modes), of none, one and two parts not healthy.

    `dead` modes are left out (see `dead_modes`). Hot where a rest would ease a mode of the set, cold
    otherwise.
    """
    live = [fault for fault in _faults(machine) if fault not in dead]
    for size in range(3):
        for chosen in itertools.combinations(live, size):
            if len({part for part, _ in chosen}) == size:
                yield any(machine.eased(*fault) for fault in chosen), chosen


class Packed:
    """
    Packed cases of some machines under any set of modes, cold or hot.

    A pair is put together from the columns that each of its modes changes, where that is the same as putting
    the case together whole; checked on some of the machines for each pair.
    """

    def __init__(self, machines: Sequence[Design]) -> None:
        self.machines = tuple(machines)
        self._kept: dict[tuple[bool, Set], NDArray[np.float64]] = {}
        self._changed: dict[tuple[bool, Fault], NDArray[np.bool_]] = {}
        self.merged = 0

    def whole(self, chosen: Set, hot: bool, count: int | None = None) -> NDArray[np.float64]:
        """Cases put together whole, of the first `count` machines."""
        return pack_many([machine.case(dict(chosen), hot=hot) for machine in self.machines[:count]])

    def _cached(self, chosen: Set, hot: bool) -> NDArray[np.float64]:
        if (hot, chosen) not in self._kept:
            self._kept[(hot, chosen)] = self.whole(chosen, hot)
        return self._kept[(hot, chosen)]

    def _changes(self, fault: Fault, hot: bool) -> NDArray[np.bool_]:
        if (hot, fault) not in self._changed:
            self._changed[(hot, fault)] = np.any(self._cached((fault,), hot) != self._cached((), hot), axis=0)
        return self._changed[(hot, fault)]

    def table(self, chosen: Set, hot: bool) -> NDArray[np.float64]:
        """
        Cases of all machines under a set of modes.

        For `humclick.start.batch.simulate_packed`.
        """
        if len(chosen) < 2:
            return self._cached(chosen, hot)
        changes = [self._changes(fault, hot) for fault in chosen]
        if not np.any(np.sum(changes, axis=0) > 1):
            table = self._cached((), hot).copy()
            for fault, columns in zip(chosen, changes, strict=True):
                table[:, columns] = self._cached((fault,), hot)[:, columns]
            if np.allclose(table[:_COMPARED], self.whole(chosen, hot, _COMPARED), rtol=1e-9, atol=0.0):
                self.merged += 1
                return table
        return self.whole(chosen, hot)


def simulated(table: NDArray[np.float64], locked: NDArray[np.float64]) -> Attempts:
    """
    Play attempts as long as it takes to name what they come to.

    `locked` is the locked-rotor current of each one's sound machine. [A]

    Clamp readings are of the first five seconds; a standing rotor is waited for a minute, a turning one two;
    where the protector is welded, only for the standing one to start.
    """
    first = simulate_packed(table, _seconds("clamp"), threads=1)
    outcome, trip = first.outcome.astype(int), first.trip_time.copy()
    guarded = table[:, r.P_GUARD] > 0
    for name, which in (("click", _HUM), ("hum", _HUM), ("run", _RUNS)):
        chosen = np.flatnonzero((outcome == which) & (guarded | (which == _HUM)))
        if len(chosen):
            later = simulate_packed(
                np.ascontiguousarray(table[chosen]), _seconds(name), _seconds("later_step"), threads=1
            )
            outcome[chosen], trip[chosen] = later.outcome, later.trip_time
    return Attempts(
        outcome,
        first.last_line / locked,
        np.nan_to_num(first.locked) / locked,
        trip,
        first.release_time,
        first.unreleased.astype(float),
    )


@dataclass(frozen=True, slots=True)
class Made:
    """All attempts of one arrangement, protector and plate, by set."""

    attempts: Mapping[tuple[bool, Set], Attempts]
    modes: tuple[Fault, ...]
    dead: tuple[Fault, ...]
    tried: int


def attempts_of(
    machines: Sequence[Design], sets: Sequence[tuple[bool, Set]]
) -> dict[tuple[bool, Set], Attempts]:
    """Simulate sets of modes on some machines."""
    packed, attempts = Packed(machines), {}
    locked = np.array([machine.locked_amps for machine in machines])
    size = max(1, _PORTION // len(machines))
    for first in range(0, len(sets), size):
        part = sets[first : first + size]
        table = np.concatenate([packed.table(chosen, hot) for hot, chosen in part])
        whole = simulated(table, np.tile(locked, len(part)))
        for k, key in enumerate(part):
            attempts[key] = whole.cut(k * len(machines), (k + 1) * len(machines))
    return attempts


def _made(name: str, protector: str, plate: Nameplate, draws: int, seed: int) -> Made:
    drawn = designs(name, protector, plate, draws, seed)
    first = drawn.designs[0]
    dead = dead_modes(first)
    sets = list(mode_sets(first.machine, dead))
    return Made(attempts_of(drawn.designs, sets), _faults(first.machine), dead, drawn.tried)


def _protectors(name: str) -> dict[str, str]:
    """One protector for each place it can be in, inside or outside."""
    protectors: dict[str, str] = {}
    for protector in arrangement(name).protectors:
        protectors.setdefault(guard_of(protector), protector)
    return protectors


def _stamp(name: str, draws: int, seed: int) -> str:
    return f"# python -m research.power_up_table --arrangement {name} --draws {draws} --seed {seed}"


def made(name: str, draws: int, seed: int) -> str:
    """
    Make the file of one arrangement.

    From `draws` machines for each plate and protector. Raises `Refused` if hardly any machine drawn is sound.
    """
    lots = {
        (guard, plate): _made(name, protector, nameplate, draws, seed)
        for guard, protector in _protectors(name).items()
        for plate, nameplate in plates().items()
    }
    modes = list(dict.fromkeys(fault for lot in lots.values() for fault in lot.modes))
    dead = {fault for lot in lots.values() for fault in lot.dead}
    heads = [
        _stamp(name, draws, seed),
        "# Start attempts simulated; shares in 1/1000, amps over the sound machine's locked-rotor current at",
        "# 5 s (or last before) and highest in the first second, times in s; sd of ln. Read by power_up.py.",
        *(
            f"# {guard} {plate}: {draws} sound machines of {lot.tried} drawn, {len(lot.attempts)} sets"
            for (guard, plate), lot in lots.items()
        ),
        f"# plates: {', '.join(f'{k} = {p.volts:g} V {p.hertz:g} Hz' for k, p in plates().items())}",
        f"# outcomes: {' '.join(f'{k}={outcome}' for k, outcome in enumerate(OUTCOMES))}",
        f"# modes: {' '.join(f'{k}={part}.{mode}' for k, (part, mode) in enumerate(modes))}",
        f"# dead: {' '.join(str(k) for k, fault in enumerate(modes) if fault in dead)}",
    ]
    number = {fault: k for k, fault in enumerate(modes)}
    attempts = np.array([len(plates()) * draws, *[0] * (len(OUTCOMES) - 1)])
    heads.append(f"# floor: {1000 * shares(attempts)[1]:.2f}")
    body = [",".join(COLUMNS)]
    for guard in _protectors(name):
        by_plate = {plate: lots[(guard, plate)].attempts for plate in plates()}
        body += lines_of(guard, by_plate, number)
    return "\n".join([*heads, *body]) + "\n"


def _job(name: str, draws: int, seed: int, out: Path) -> tuple[str, float, int]:
    begun = time.perf_counter()
    text = made(name, draws, seed)
    part = out / f"{name}.part"
    part.write_text(text, encoding="utf-8")
    part.replace(out / f"{name}.csv")
    return name, time.perf_counter() - begun, len(text)


def _ready(name: str, draws: int, seed: int, out: Path) -> bool:
    file = out / f"{name}.csv"
    return file.exists() and file.read_text(encoding="utf-8").startswith(_stamp(name, draws, seed) + "\n")


@click.command()
@click.option("--arrangement", "names", multiple=True, help="Only this arrangement; may be repeated.")
@click.option("--draws", default=32, show_default=True, help="Machines for each plate and protector.")
@click.option("--seed", default=1, show_default=True, help="Of all random numbers.")
@click.option("--out", type=click.Path(path_type=Path), default=TABLES)
@click.option("--jobs", default=os.cpu_count() or 1, help="Processes; all cores if left out.")
def main(names: tuple[str, ...], draws: int, seed: int, out: Path, jobs: int) -> None:
    """Make the table of start attempts; what is there already with the same draws and seed is kept."""
    out.mkdir(parents=True, exist_ok=True)
    wanted = names or judged()
    todo = [name for name in wanted if not _ready(name, draws, seed, out)]
    click.echo(f"{len(wanted) - len(todo)} of {len(wanted)} arrangements are there already", err=True)
    with ProcessPoolExecutor(max(1, jobs)) as pool:
        waiting = [pool.submit(_job, name, draws, seed, out) for name in todo]
        for done, job in enumerate(as_completed(waiting), 1):
            name, seconds, size = job.result()
            click.echo(f"{done}/{len(todo)} {name}: {seconds:.0f} s, {size / 1000:.0f} kB", err=True)


if __name__ == "__main__":
    main()
