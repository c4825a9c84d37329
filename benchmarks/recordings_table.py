"""
Signatures of the causes by simulation: makes ``recordings/simulated.toml``.

Run ``python -m benchmarks.recordings_table``: machines are drawn (`research.designs`), every cause is
put into each, its start is played and logged at 20 effective values a second, and what the program's own
measuring makes of it is put together: medians, and factors within which 95 % lie. The drawn machines are
typical ones, so no factor is written narrower than `LEAST`. Prints the table; ``--out FILE`` writes it.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np
from research.designs import Design, designs

from humclick.arrangements.machine import Nameplate
from humclick.recordings.evidence import current_evidence
from humclick.recordings.features import AttemptMeasured
from humclick.recordings.recognise import Plate
from humclick.recordings.recording import Recording
from humclick.start.run import simulate

__all__ = ["main", "signatures", "table"]

#: Arrangements that stand for a kind of start gear.
ARRANGEMENTS = {
    "ptc": ("rsir-ptc", "csir-ptc"),
    "current_relay": ("csir-current-relay", "rsir-current-relay"),
    "potential_relay": ("csr-potential-relay",),
}
#: Modes that make each cause.
MODES: dict[str, tuple[tuple[str, str], ...]] = {
    "healthy": (("", ""),),
    "no_start_current": (
        ("ptc", "open"),
        ("start_winding", "open"),
        ("current_relay", "stuck_open"),
        ("start_capacitor", "open"),
    ),
    "ptc_hot": (("ptc", "still_hot"),),
    "start_device_bridged": (("ptc", "bridged"),),
    "relay_welded": (("current_relay", "welded"), ("potential_relay", "contacts_welded")),
    "rotor_held": (("mechanism", "seized"), ("mechanism", "unequal")),
    "low_voltage": (("supply", "low"), ("supply", "sags")),
    "run_winding_open": (("run_winding", "open"),),
    "shorted_turns": (("run_winding", "shorted_turns"),),
    "weak_start_capacitor": (("start_capacitor", "low"),),
    "run_capacitor_open": (("run_capacitor", "open"),),
    "protector_early": (("overload_protector", "trips_early"),),
}
#: No spread is written narrower than this: field machines stray more than typical ones.
LEAST = {"first": 1.07, "level": 1.03, "runs": 1.2, "end": 1.05, "fall": 2.0, "trip": 2.0}
#: Behind a potential relay the run capacitor goes on feeding the start winding.
INSTEAD: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {
    ("potential_relay", "no_start_current"): (("start_winding", "open"),),
    ("potential_relay", "weak_start_capacitor"): (
        ("start_capacitor", "low"),
        ("start_capacitor", "open"),
        ("potential_relay", "contacts_open"),
    ),
}
_RATE = 20.0
_BEFORE = 1.0
#: A plate's rated-load amperes over the running current of an easy load. [-]
_RATED = 1.15


def _logged(one: Design, modes: Mapping[str, str], seconds: float, hot: bool) -> Recording:
    """An attempt as a meter of 20 values a second logs it, a second of silence before it."""
    run = simulate(one.case(modes, hot=hot), seconds, step=2e-4)
    edges = np.arange(0.0, seconds, 1 / _RATE)
    squares = np.concatenate(([0.0], np.cumsum(run.line**2 * np.diff(run.time, prepend=0.0))))
    energy = np.interp(edges, np.concatenate(([0.0], run.time)), squares)
    amps = np.sqrt(np.maximum(np.diff(energy), 0.0) * _RATE)
    values = np.concatenate((np.zeros(int(_BEFORE * _RATE)), amps))
    return Recording(name="simulated", values=values.tolist(), step=1 / _RATE, unit="A")


def _attempts(
    gear: str, draws: int, seconds: float, seed: int
) -> Iterator[tuple[str, AttemptMeasured, float, float]]:
    """Cause, first attempt, locked-rotor and rated-load amperes of every machine and mode."""
    for name in ARRANGEMENTS[gear]:
        for one in designs(name, "external", Nameplate(115.0, 60.0), draws, seed).designs:
            ids = {part.id for part in one.machine.parts}
            sound, _ = current_evidence(_logged(one, {}, seconds, False))
            run = sound.attempts[0].run
            if run is None:
                continue
            rated = run.amount * _RATED
            for cause, modes in MODES.items():
                for part, mode in INSTEAD.get((gear, cause), modes):
                    if part and part not in ids:
                        continue
                    passing = bool(part) and one.machine.part(part).family.mode(mode).passing
                    log = _logged(one, {part: mode} if part else {}, seconds, passing)
                    measured, _ = current_evidence(log, Plate(one.locked_amps, None, gear))
                    if measured.attempts and not (cause == "rotor_held" and measured.attempts[0].runs):
                        yield cause, measured.attempts[0], one.locked_amps, rated


def _spread(values: Sequence[float], least: float) -> tuple[float, float]:
    """Median, and the factor within which 95 % lie, from the middle eight tenths of them."""
    logs = np.log(values)
    low, high = np.quantile(logs, (0.1, 0.9))
    return float(np.exp(np.median(logs))), max(float(np.exp(1.96 * (high - low) / 2.563)), least)


def signatures(gear: str, draws: int, seconds: float, seed: int) -> list[dict[str, object]]:
    """
    Signatures of every cause with one kind of start gear.

    Parameters
    ----------
    gear : str
        ``ptc``, ``current_relay`` or ``potential_relay``.
    draws : int
        Machines an arrangement. [-]
    seconds : float
        How long power stays on. [s]
    seed : int
        Of the machines.
    """
    groups: dict[tuple[str, bool], list[tuple[AttemptMeasured, float, float]]] = defaultdict(list)
    for cause, one, locked, rated in _attempts(gear, draws, seconds, seed):
        groups[cause, one.runs].append((one, locked, rated))
    whole = {cause: sum(len(v) for (c, _), v in groups.items() if c == cause) for cause, _ in groups}
    found: list[dict[str, object]] = []
    for (cause, runs), each in groups.items():
        if len(each) < max(3, 0.08 * whole[cause]):
            continue
        entry: dict[str, object] = {"gear": gear, "cause": cause, "runs": runs}
        entry["weight"] = len(each) / whole[cause]
        entry["first"] = _spread([a.plateau.amount / locked for a, locked, _ in each], LEAST["first"])
        base = [rated if runs else a.plateau.amount for a, _, rated in each]
        levels = [(a.level.amount / b) for (a, _, _), b in zip(each, base, strict=True) if a.level]
        ends = [a.end.amount / a.level.amount for a, _, _ in each if a.end and a.level]
        falls = [max(a.fall.amount, 0.01) for a, _, _ in each if a.fall]
        trips = [a.trip.amount for a, _, _ in each if a.trip]
        entry["level"] = _spread(levels, LEAST["runs" if runs else "level"]) if levels else (1.0, 1.1)
        entry["end"] = _spread(ends, LEAST["runs" if runs else "end"]) if ends else (1.0, 1.1)
        if len(falls) > 0.3 * len(each):
            entry["fall"] = _spread(falls, LEAST["fall"])
        if len(trips) > 0.1 * len(each):
            entry["trip"] = _spread(trips, LEAST["trip"])
        entry["trips"] = min(max(len(trips) / len(each), 0.02), 0.98)
        found.append(entry)
    return found


def _shown(value: object) -> str:
    if isinstance(value, tuple | list):
        return f"[{value[0]:.3g}, {value[1]:.3g}]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else f"{value:.3g}"


def table(draws: int, seconds: float, seed: int) -> str:
    """
    The table as TOML.

    Parameters
    ----------
    draws : int
        Machines an arrangement. [-]
    seconds : float
        How long power stays on. [s]
    seed : int
        Of the machines.
    """
    said = [
        "# Made by `python -m benchmarks.recordings_table`; see signatures.toml for what the entries mean.",
        "",
        f'source = "simulated with humclick.start: {draws} machines, {seconds:g} s, seed {seed}"',
    ]
    for gear in ARRANGEMENTS:
        for entry in signatures(gear, draws, seconds, seed):
            said += ["", "[[signature]]", *(f"{key} = {_shown(value)}" for key, value in entry.items())]
    return "\n".join(said) + "\n"


def main() -> None:
    """Print the simulated table, or write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=24, help="machines an arrangement")
    parser.add_argument("--seconds", type=float, default=40.0)
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    text = table(given.draws, given.seconds, given.seed)
    if given.out is None:
        print(text)
    else:
        given.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
