"""
Draws the three starts of docs/explanation/three-starts.md: ``python docs/three_starts.py``.

Each start is also taken for a clamp's log and read as any recording is; what is suspected before and after it
stands under the picture. A test holds pictures and tables to what is worked out today.
"""

from __future__ import annotations

import math
import re
import tempfile
from pathlib import Path

import numpy as np

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import Suspect, advise
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.jobs.events import RecordingTaken
from humclick.jobs.recorded import plate_of, recording_event
from humclick.recordings.evidence import evidence_of
from humclick.recordings.logs import recording_from_file
from humclick.start.at_hand import at_hand
from humclick.start.attempts import typical_attempt
from humclick.start.conditions import StartConditions
from humclick.start.curves import describe_run, notable_events, panels_of
from humclick.start.estimate import estimate
from humclick.start.pictures import picture_svg
from humclick.start.run import Run, simulate

__all__ = ["FOLDER", "STARTS", "page", "pictures", "run_of"]

FOLDER = Path(__file__).resolve().parent / "explanation"
#: Invented: a small split-phase compressor with a PTC starter, its windings measured.
MACHINE = Machine.of("rsir-ptc", "external", Nameplate(115.0, 60.0, 12.0, 1.8))
RUN_OHMS, START_OHMS = 3.4, 11.2
#: Name of the picture: heading, conditions, what is wrong, seconds drawn.
STARTS: dict[str, tuple[str, StartConditions, dict[str, str], float]] = {
    "start-healthy": ("A healthy start", StartConditions(volts=118.0), {}, 2.0),
    "start-bridged": ("The starter bridged", StartConditions(volts=118.0), {"ptc": "bridged"}, 9.0),
    "start-long-cord": (
        "88 V on a long cord, pressures partly equal",
        StartConditions(volts=88.0, supply_ohms=1.2, difference=0.4),
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
            panels_of(run), title, describe_run(run), events=notable_events(run), tag=name
        )
    return found


#: What the customer says of each.
_COMPLAINTS = {"start-healthy": None, "start-bridged": Heard.TRIPS, "start-long-cord": Heard.HUM_CLICK}
#: A clamp's log: so many values a second, and a second of nothing before.
_RATE, _BEFORE = 20, 1.0


def recorded(name: str) -> RecordingTaken:
    """The start as a clamp's log with 1 % of noise, read like any other."""
    run = run_of(name)
    noise = np.random.default_rng(7)
    times = np.arange(0.0, _BEFORE + float(run.time[-1]) + 1.0, 1.0 / _RATE)
    amps = np.interp(times - _BEFORE, run.time, run.line, left=0.0, right=0.0)
    if math.isnan(run.when("protector opens")):  # it goes on as at the end of what was simulated
        amps = np.where(times > _BEFORE + run.time[-1], run.line[-1], amps)
    amps *= noise.normal(1.0, 0.01, len(amps))
    rows = "".join(f"{t:.2f},{a:.2f}\n" for t, a in zip(times, amps, strict=True))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "clamp.csv"
        file.write_text("time s,current A\n" + rows, encoding="utf-8")
        return recording_event(evidence_of(recording_from_file(file), plate_of(MACHINE)))


def _shown(suspects: tuple[Suspect, ...]) -> list[str]:
    return [f"{100 * s.probability:.0f} % {s.label}" for s in suspects[:4]]


def told(name: str) -> str:
    """What the recording shows, and the suspects before and after it, as Markdown."""
    event, complaint = recorded(name), _COMPLAINTS[name]
    seen = Observation("attempt.recorded", answer=event.heard[0], causes=tuple(sorted(event.causes.items())))
    advised = [advise(Situation(MACHINE, complaint, observations)) for observations in ((), (seen,))]
    before, after = (_shown(each.suspects) for each in advised)
    rows = [f"| {a} | {b} |" for a, b in zip(before, after, strict=True)]
    nexts = [
        each.next.title if each.next else each.verdict.sentence if each.verdict else "" for each in advised
    ]
    rows.append(f"| next: {nexts[0]} | next: {nexts[1]} |")
    first = event.words.split(". ", 1)[-1].split(". ")[0]
    return "\n".join(
        [
            f"Read as a clamp's log: {first}.",
            "",
            "| suspects before | with the recording |",
            "|---|---|",
            *rows,
        ]
    )


def page(text: str) -> str:
    """The page with its tables made anew."""
    for name in STARTS:
        marks = re.compile(rf"(<!-- told {name} -->\n).*?(\n<!-- end -->)", re.DOTALL)
        found = told(name)
        text = marks.sub(lambda m: m[1] + found + m[2], text)  # noqa: B023
    return text


if __name__ == "__main__":
    own = FOLDER / "three-starts.md"
    own.write_text(page(own.read_text(encoding="utf-8")), encoding="utf-8")
    for name, text in pictures().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
        print(f"written: {FOLDER / name}")
