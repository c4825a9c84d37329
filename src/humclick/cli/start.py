"""
``humclick start``: does it start, how fast, with how many amps, down to which volts; each with its range.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from humclick.cli.described import describable
from humclick.cli.given import CELSIUS, FARADS, OHMS, VOLTS, described_in
from humclick.cli.language import say
from humclick.cli.substitute import PICTURE
from humclick.messages import N_, Message, Value, Verbatim, listed

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.start.answers import Answers
    from humclick.start.at_hand import AtHand
    from humclick.start.conditions import StartConditions
    from humclick.start.ranges import Range
    from humclick.start.run import Run

#: Columns and rows of the curve. [characters]
_WIDE, _HIGH = 60, 9
#: Length of the curve. [s]
_SHOWN = 1.5
#: Said where an answer keeps one waiting.
_FIRST = Message("The first start on a computer translates its equations once; that takes up to a minute.")


@click.command()
@click.argument("file", required=False)
@click.option("--volts", type=VOLTS, help="At the outlet, at rest; those of the plate if left out.")
@click.option(
    "--pressure", default="equal", show_default=True, help="equal, partly, running, high, or such as 50%."
)
@click.option("--ambient", type=CELSIUS, default="25 C", show_default=True, help="Air around the shell.")
@click.option("--hot", is_flag=True, help="Right after attempts: start gear, protector and windings hot.")
@click.option("--supply-ohms", type=OHMS, help="Of outlet and cord, there and back.")
@click.option(
    "--capacitor", type=FARADS, help="Start (else run) capacitor fitted, in µF; else as read in the call."
)
@click.option("--fault", "faults", multiple=True, help="PART=MODE, such as ptc=open; may be repeated.")
@click.option("--hp", "horsepower", type=float, help="Horsepower, if known.")
@click.option("--displacement", type=float, help="Of the compressor, if known. [cm³]")
@click.option("--poles", type=click.Choice(["2", "4", "6"]), help="If known; two are taken.")
@describable
@click.option(
    "--machines", type=click.IntRange(5, 2000), help="How many motors that agree are tried; 40 if left out."
)
@click.option(
    "--picture",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the curves of the most probable motor as .svg or .png.",
)
@click.option("--json", "json_", is_flag=True, help="As JSON, in SI units.")
def start(
    file: str | None,
    volts: float | None,
    pressure: str,
    ambient: float,
    hot: bool,
    supply_ohms: float | None,
    capacitor: float | None,
    faults: tuple[str, ...],
    horsepower: float | None,
    displacement: float | None,
    poles: str | None,
    machine: Machine | None,
    run_ohms: float | None,
    start_ohms: float | None,
    machines: int | None,
    picture: Path | None,
    json_: bool,
) -> None:
    """
    Work out a start: whether it comes up, amps, times, least volts, each with its range.

    FILE is a call file; or give --arrangement and what the plate says. All but --fault is taken as sound.

    Example: humclick start --arrangement rsir-ptc --lra 12 --run-ohms 3.4 --start-ohms 11.2 --volts 98
    """
    _refuse_misuse(machine, picture)
    from humclick.start.at_hand import at_hand
    from humclick.start.conditions import StartConditions, pressure_of

    if machine is None:
        machine, measured = _of_call(str(file))
        run_ohms, start_ohms = run_ohms or measured[0], start_ohms or measured[1]
        capacitor = capacitor or measured[2]
    facts = at_hand(
        machine,
        run_ohms=run_ohms,
        start_ohms=start_ohms,
        horsepower=horsepower,
        displacement=None if displacement is None else displacement * 1e-6,
        poles=None if poles is None else int(poles),
    )
    on_start = facts.start_capacitor is not None
    if capacitor is not None and not on_start and facts.run_capacitor is None:
        none = Message(
            "A {arrangement} has no capacitor; leave --capacitor out.", arrangement=machine.arrangement.title
        )
        raise click.UsageError(say(none))
    conditions = StartConditions(
        volts=machine.nameplate.volts if volts is None else volts,
        difference=pressure_of(pressure),
        ambient=ambient,
        hot=hot,
        supply_ohms=supply_ohms,
        start_farads=capacitor if on_start else None,
        run_farads=None if on_start else capacitor,
    )
    _tell(machine, facts, conditions, _modes(faults), machines, picture, json_)


def _refuse_misuse(machine: Machine | None, picture: Path | None) -> None:
    if machine is None and click.get_current_context().params["protector"] is not None:
        raise click.UsageError(
            say(Message("A call tells the protector; --protector goes with --arrangement."))
        )
    if picture is not None and picture.suffix.casefold() not in (".svg", ".png"):
        raise click.UsageError(say(Message.of(PICTURE, path=Verbatim(picture))))


@contextmanager
def patience(after: float = 4.0) -> Iterator[None]:
    """Say on the error stream why it takes long, if it takes so long. [s]"""
    notice = threading.Timer(after, click.echo, (say(_FIRST),), {"err": True})
    notice.daemon = True
    notice.start()
    try:
        yield
    finally:
        notice.cancel()


def _of_call(file: str) -> tuple[Machine, tuple[float | None, float | None, float | None]]:
    """The machine of a call, its windings [Ω at 25 °C] and its start, else run, capacitor [F] as measured."""
    from humclick.jobs.at_hand import fitted_farads, winding_ohms
    from humclick.parts.family import Role

    form = N_("{file}: no machine is described in this call, so there is nothing to start")
    call, machine = described_in(file, form)
    part = machine.has(Role.START_CAPACITOR) or machine.has(Role.RUN_CAPACITOR)
    return machine, (*winding_ohms(call), fitted_farads(call, part.id) if part else None)


def _modes(faults: Sequence[str]) -> dict[str, str]:
    """Faults typed as PART=MODE."""
    modes = {}
    for fault in faults:
        part, sign, mode = fault.partition("=")
        if not sign or not part.strip() or not mode.strip():
            wrong = Message("--fault is written PART=MODE, such as ptc=open; got {text}.", text=repr(fault))
            raise click.UsageError(say(wrong))
        modes[part.strip()] = mode.strip()
    return modes


def _tell(
    machine: Machine,
    facts: AtHand,
    conditions: StartConditions,
    modes: dict[str, str],
    machines: int | None,
    picture: Path | None,
    json_: bool,
) -> None:
    from humclick.cli.layout import label, lines, underlined
    from humclick.cli.words import machine_in_words
    from humclick.jobs.result import as_json
    from humclick.start.answers import answers, best_run
    from humclick.start.estimate import estimate

    motors, situation = estimate(facts), _conditions(conditions, modes)
    with patience():
        result = answers(machine, motors, conditions, modes=modes, n=machines)
    likely = (machine, motors, conditions, _SHOWN, modes)
    if picture is not None:
        _picture(picture, best_run(*likely), situation, quiet=json_)
    if json_:
        click.echo(as_json(result))
        return
    caution = Message(
        "Worked out, not measured. Before power is put on: cover on, meter proved,"
        " nobody in front of the terminals."
    )
    pieces = [
        machine_in_words(machine),
        lines(situation, label(Message("Asked"), 0, 9), "  "),
        "",
        *_answers(result),
        underlined(Message("Line amps of the most probable motor (speed: o)")),
        _curve(best_run(*likely)),
        underlined(Message("What cannot be known")),
        *(lines(limit, "  - ", "    ") for limit in result.unknowable),
        "",
        lines(caution),
    ]
    click.echo("\n".join(pieces))


def _conditions(conditions: StartConditions, modes: dict[str, str]) -> Message:
    pressure = Message("pressures equal")
    if conditions.difference != 0:
        pressure = Message("{share:.0f} % of running pressure", share=100 * conditions.difference)
    phrases: list[Value] = [Message("{volts:g} V at the outlet", volts=conditions.volts), pressure]
    phrases.append(f"{conditions.ambient:g} °C")
    phrases.append(Message("hot from attempts") if conditions.hot else Message("rested"))
    if conditions.supply_ohms is not None:
        phrases.append(Message("{ohms:g} Ω of supply", ohms=conditions.supply_ohms))
    if conditions.start_farads is not None:
        phrases.append(Message("start capacitor {farads:.3g} µF", farads=conditions.start_farads * 1e6))
    if conditions.run_farads is not None:
        phrases.append(Message("run capacitor {farads:.3g} µF", farads=conditions.run_farads * 1e6))
    phrases += [f"{part} {mode}".replace("_", " ") for part, mode in modes.items()]
    return listed(phrases)


def _number(value: float, unit: str) -> str:
    return Message("never") if math.isinf(value) else f"{value:.3g} {unit}".strip()


def _range(span: Range | None, unit: str) -> str:
    if span is None:
        return "-"
    if span.low == span.high:
        return _number(span.middle, unit)
    return Message(
        "{middle}  ({low} to {high})",
        middle=_number(span.middle, unit),
        low=_number(span.low, ""),
        high=_number(span.high, ""),
    )


def _volts(span: Range, searched_from: float) -> str:
    volts = _range(span, "V")
    if span.low > searched_from:
        return volts
    return Message("{range}, {volts:.3g} being that or less", range=volts, volts=searched_from)


def _answers(result: Answers) -> list[str]:
    """The answers, one a line: the middle, and where nine in ten lie."""
    from humclick.cli.layout import label, lines, row, table
    from humclick.readings.shown import percent

    agree = Message(
        "{share} of {n} motors that agree with what is at hand.",
        share=percent(result.starts),
        n=result.machines,
    )
    pieces = [lines(agree, label(Message("Starts"), 0, 9), "  ")]
    for what, share in sorted(result.happenings.items(), key=lambda outcome: -outcome[1]):
        if share > 0 and result.starts < 1:
            pieces.append(lines(Message.of(what), f"  {percent(share):>5}  "))
    times = say(Message("times"))
    rows = [
        (2, Message("locked-rotor amps"), _range(result.locked_amps, "A")),
        (2, Message("peak amps, momentary"), _range(result.peak_amps, "A")),
        (2, Message("running amps"), _range(result.running_amps, "A")),
        (2, Message("time to three quarters speed"), _range(result.speed_time, "s")),
        (2, Message("start winding let go after"), _range(result.release_time, "s")),
        (2, Message("protector trips, rotor held"), _range(result.trip_time, "s")),
        (2, Message("and closes again after"), _range(result.open_time, "s")),
        (2, Message("torque over that needed"), _range(result.torque_margin, times)),
        (2, Message("least volts that start it"), _volts(result.least_volts, result.searched_from)),
    ]
    if result.weak is not None:
        weak = Message(
            "{part} {low:.0f} % low: starts", part=result.weak.part, low=100 * (1 - result.weak.share)
        )
        rows += [
            (2, weak, percent(result.weak.starts)),
            (4, Message("time to speed"), _range(result.weak.speed_time, "s")),
            (4, Message("torque over that needed"), _range(result.weak.torque_margin, times)),
            (4, Message("least volts"), _volts(result.weak.least_volts, result.searched_from)),
        ]
    return [*pieces, "", table([(row(indent, name), text) for indent, name, text in rows])]


def _curve(run: Run) -> str:
    top = max(float(run.line.max(initial=0.0)), 1e-9)
    fastest = max(float(abs(run.speed).max(initial=0.0)), 1e-9)
    times = run.time.tolist()
    amps, turning = _binned(times, run.line.tolist()), _binned(times, abs(run.speed).tolist())
    grid = [[" "] * _WIDE for _ in range(_HIGH)]
    for values, most, mark in ((turning, fastest, "o"), (amps, top, "#")):
        for column, value in enumerate(values):
            if value is not None:
                grid[_HIGH - 1 - round(value / most * (_HIGH - 1))][column] = mark
    labels = {0: f"{top:.3g} A", _HIGH - 1: "0 A"}
    rows = [f"{labels.get(k, ''):>8} |{''.join(row).rstrip()}" for k, row in enumerate(grid)]
    axis = f"{'':>8} +{'-' * _WIDE}"
    scale = f"{'':>9}0 s{f'{_SHOWN:g} s':>{_WIDE - 2}}"
    return "\n".join((*rows, axis, scale))


def _picture(path: Path, run: Run, conditions: Message, quiet: bool) -> None:
    """Current, speed, torque and temperatures of the most probable motor."""
    from humclick.cli.written import save
    from humclick.start.curves import describe_run, notable_events, panels_of
    from humclick.start.pictures import picture_png, picture_svg
    from humclick.start.said import said_events, said_panels

    title = say(Message("Simulated: {conditions}", conditions=conditions))
    panels, events = said_panels(panels_of(run), say), said_events(notable_events(run), say)
    if path.suffix.casefold() == ".png":
        save(path, picture_png(panels, title, events=events), quiet=quiet)
    else:
        save(path, picture_svg(panels, title, say(describe_run(run)), events=events).encode(), quiet=quiet)


def _binned(times: Sequence[float], values: Sequence[float]) -> list[float | None]:
    """Largest value in each column of the curve; None where there is none. As in `values`."""
    bins: list[float | None] = [None] * _WIDE
    for time, value in zip(times, values, strict=True):
        column = min(int(time / _SHOWN * _WIDE), _WIDE - 1)
        before = bins[column]
        bins[column] = float(value) if before is None else max(before, float(value))
    return bins
