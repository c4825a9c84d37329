"""
Draws the three starts of docs/explanation/three-starts.md: ``python docs/three_starts.py``.

A test holds the pictures to what is simulated today.
"""

from __future__ import annotations

from pathlib import Path

from humclick.arrangements.machine import Machine, Nameplate
from humclick.start.asked import Asked
from humclick.start.at_hand import at_hand
from humclick.start.attempts import typical_attempt
from humclick.start.curves import describe, panels_of, told_events
from humclick.start.estimate import estimate
from humclick.start.pictures import picture_svg
from humclick.start.run import Run, simulate

__all__ = ["FOLDER", "STARTS", "pictures", "run_of"]

FOLDER = Path(__file__).resolve().parent / "explanation"
#: Invented: a small split-phase compressor with a PTC starter, its windings measured.
MACHINE = Machine.of("rsir-ptc", "external", Nameplate(115.0, 60.0, 12.0, 1.8))
RUN_OHMS, START_OHMS = 3.4, 11.2
#: Name of the picture: heading, conditions, what is wrong, seconds drawn.
STARTS: dict[str, tuple[str, Asked, dict[str, str], float]] = {
    "start-healthy": ("A healthy start", Asked(volts=118.0), {}, 2.0),
    "start-bridged": ("The starter bridged", Asked(volts=118.0), {"ptc": "bridged"}, 9.0),
    "start-long-cord": (
        "88 V on a long cord, pressures partly equal",
        Asked(volts=88.0, supply_ohms=1.2, difference=0.4),
        {},
        20.0,
    ),
}


def run_of(name: str) -> Run:
    """The start of one picture, played."""
    _, asked, modes, seconds = STARTS[name]
    motor = estimate(at_hand(MACHINE, run_ohms=RUN_OHMS, start_ohms=START_OHMS)).best
    return simulate(typical_attempt(MACHINE, motor, asked, modes), seconds)


def pictures() -> dict[str, str]:
    """All pictures by the name of their file."""
    found = {}
    for name, (title, *_) in STARTS.items():
        run = run_of(name)
        found[f"{name}.svg"] = picture_svg(
            panels_of(run), title, describe(run), events=told_events(run), tag=name
        )
    return found


if __name__ == "__main__":
    for name, text in pictures().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
        print(f"written: {FOLDER / name}")
