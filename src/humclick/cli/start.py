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
from humclick.cli.given import CELSIUS, FARADS, OHMS, VOLTS, call_in
from humclick.cli.language import say
from humclick.cli.substitute import PICTURE
from humclick.messages import Message, Value, Verbatim, listed

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.start.answers import Answers
    from humclick.start.at_hand import AtHand
    from humclick.start.conditions import StartConditions
    from humclick.start.estimate import Estimate
    from humclick.start.ranges import Range

__all__ = ["patience", "start"]

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
    given = at_hand(
        machine,
        run_ohms=run_ohms,
        start_ohms=start_ohms,
        horsepower=horsepower,
        displacement=None if displacement is None else displacement * 1e-6,
        poles=None if poles is None else int(poles),
    )
    on_start = given.start_capacitor is not None
    if capacitor is not None and not on_start and given.run_capacitor is None:
        none = Message(
            "A {arrangement} has no capacitor; leave --capacitor out.", arrangement=machine.arrangement.title
        )
        raise click.UsageError(say(none))
    asked = StartConditions(
        volts=machine.nameplate.volts if volts is None else volts,
        difference=pressure_of(pressure),
        ambient=ambient,
        hot=hot,
        supply_ohms=supply_ohms,
        start_farads=capacitor if on_start else None,
        run_farads=None if on_start else capacitor,
    )
    _tell(machine, given, asked, _modes(faults), machines, picture, json_)


def _refuse_misuse(machine: Machine | None, picture: Path | None) -> None:
    if machine is None and click.get_current_context().params["protector"] is not None:
        raise click.UsageError(
            say(Message("A call tells the protector; --protector goes with --arrangement."))
        )
    if picture is not None and picture.suffix.casefold() not in (".svg", ".png"):
        raise click.UsageError(say(Message.of(PICTURE, path=Verbatim(picture))))


@contextmanager
def patience(after: float = 4.0) -> Iterator[None]:
    """
    Say on the error stream why it takes long, if it does.

    Parameters
    ----------
    after : float
        How long before it is said. [s]
    """
    said = threading.Timer(after, click.echo, (say(_FIRST),), {"err": True})
    said.daemon = True
    said.start()
    try:
        yield
    finally:
        said.cancel()


def _of_call(file: str) -> tuple[Machine, tuple[float | None, float | None, float | None]]:
    """The machine of a call, its windings [Ω at 25 °C] and its start, else run, capacitor [F] as measured."""
    from humclick.errors import Refused
    from humclick.jobs.at_hand import fitted_farads, winding_ohms
    from humclick.parts.family import Role

    call = call_in(file)
    if call.machine is None:
        raise Refused(
            Message(
                "{file}: no machine is described in this call, so there is nothing to start",
                file=Verbatim(file),
            )
        )
    part = call.machine.has(Role.START_CAPACITOR) or call.machine.has(Role.RUN_CAPACITOR)
    return call.machine, (*winding_ohms(call), fitted_farads(call, part.id) if part else None)


def _modes(faults: Sequence[str]) -> dict[str, str]:
    """Faults typed as PART=MODE."""
    found = {}
    for each in faults:
        part, sign, mode = each.partition("=")
        if not sign or not part.strip() or not mode.strip():
            wrong = Message("--fault is written PART=MODE, such as ptc=open; got {text}.", text=repr(each))
            raise click.UsageError(say(wrong))
        found[part.strip()] = mode.strip()
    return found


def _tell(
    machine: Machine,
    given: AtHand,
    asked: StartConditions,
    modes: dict[str, str],
    machines: int | None,
    picture: Path | None,
    json_: bool,
) -> None:
    from humclick.cli.layout import label, lines, underlined
    from humclick.cli.words import machine_in_words
    from humclick.start.answers import answers
    from humclick.start.estimate import estimate

    found = estimate(given)
    with patience():
        told = answers(machine, found, asked, modes=modes, n=machines)
    if picture is not None:
        _picture(picture, machine, found, asked, modes, quiet=json_)
    if json_:
        from humclick.jobs.result import as_json

        click.echo(as_json(told))
        return
    shown = [
        machine_in_words(machine),
        lines(_conditions(asked, modes), label(Message("Asked"), 0, 9), "  "),
        "",
        *_answers(told),
    ]
    shown += [
        underlined(Message("Line amps of the most probable motor (speed: o)")),
        _curve(machine, found, asked, modes),
    ]
    shown += [
        underlined(Message("What cannot be known")),
        *(lines(each, "  - ", "    ") for each in told.unknowable),
    ]
    shown.append("")
    shown.append(
        lines(
            Message(
                "Worked out, not measured. Before power is put on: cover on, meter proved,"
                " nobody in front of the terminals."
            )
        )
    )
    click.echo("\n".join(shown))


def _conditions(asked: StartConditions, modes: dict[str, str]) -> Message:
    pressure = Message("pressures equal")
    if asked.difference != 0:
        pressure = Message("{share:.0f} % of running pressure", share=100 * asked.difference)
    said: list[Value] = [Message("{volts:g} V at the outlet", volts=asked.volts), pressure]
    said.append(f"{asked.ambient:g} °C")
    said.append(Message("hot from attempts") if asked.hot else Message("rested"))
    if asked.supply_ohms is not None:
        said.append(Message("{ohms:g} Ω of supply", ohms=asked.supply_ohms))
    if asked.start_farads is not None:
        said.append(Message("start capacitor {farads:.3g} µF", farads=asked.start_farads * 1e6))
    if asked.run_farads is not None:
        said.append(Message("run capacitor {farads:.3g} µF", farads=asked.run_farads * 1e6))
    said += [f"{part} {mode}".replace("_", " ") for part, mode in modes.items()]
    return listed(said)


def _number(value: float, unit: str) -> str:
    return Message("never") if math.isinf(value) else f"{value:.3g} {unit}".strip()


def _range(found: Range | None, unit: str) -> str:
    if found is None:
        return "-"
    if found.low == found.high:
        return _number(found.middle, unit)
    return Message(
        "{middle}  ({low} to {high})",
        middle=_number(found.middle, unit),
        low=_number(found.low, ""),
        high=_number(found.high, ""),
    )


def _volts(found: Range, searched_from: float) -> str:
    shown = _range(found, "V")
    if found.low > searched_from:
        return shown
    return Message("{range}, {volts:.3g} being that or less", range=shown, volts=searched_from)


def _answers(told: Answers) -> list[str]:
    """The answers, one a line: the middle, and where nine in ten lie."""
    from humclick.cli.layout import label, lines, row, table
    from humclick.readings.shown import percent

    agree = Message(
        "{share} of {n} motors that agree with what is at hand.",
        share=percent(told.starts),
        n=told.machines,
    )
    shown = [lines(agree, label(Message("Starts"), 0, 9), "  ")]
    for what, share in sorted(told.happenings.items(), key=lambda each: -each[1]):
        if share > 0 and told.starts < 1:
            shown.append(lines(Message.of(what), f"  {percent(share):>5}  "))
    times = say(Message("times"))
    rows = [
        (2, Message("locked-rotor amps"), _range(told.locked_amps, "A")),
        (2, Message("peak amps, momentary"), _range(told.peak_amps, "A")),
        (2, Message("running amps"), _range(told.running_amps, "A")),
        (2, Message("time to three quarters speed"), _range(told.speed_time, "s")),
        (2, Message("start winding let go after"), _range(told.release_time, "s")),
        (2, Message("protector trips, rotor held"), _range(told.trip_time, "s")),
        (2, Message("and closes again after"), _range(told.open_time, "s")),
        (2, Message("torque over that needed"), _range(told.torque_margin, times)),
        (2, Message("least volts that start it"), _volts(told.least_volts, told.searched_from)),
    ]
    if told.weak is not None:
        weak = Message("{part} {low:.0f} % low: starts", part=told.weak.part, low=100 * (1 - told.weak.share))
        rows += [
            (2, weak, percent(told.weak.starts)),
            (4, Message("time to speed"), _range(told.weak.speed_time, "s")),
            (4, Message("torque over that needed"), _range(told.weak.torque_margin, times)),
            (4, Message("least volts"), _volts(told.weak.least_volts, told.searched_from)),
        ]
    return [*shown, "", table([(row(indent, name), text) for indent, name, text in rows])]


def _curve(machine: Machine, found: Estimate, asked: StartConditions, modes: dict[str, str]) -> str:
    from humclick.start.answers import best_run

    run = best_run(machine, found, asked, _SHOWN, modes)
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


def _picture(
    path: Path, machine: Machine, found: Estimate, asked: StartConditions, modes: dict[str, str], quiet: bool
) -> None:
    """Current, speed, torque and temperatures of the most probable motor."""
    from humclick.cli.written import save
    from humclick.start.answers import best_run
    from humclick.start.curves import describe_run, notable_events, panels_of
    from humclick.start.pictures import picture_png, picture_svg
    from humclick.start.said import said_events, said_panels

    run = best_run(machine, found, asked, _SHOWN, modes)
    title = say(Message("Simulated: {conditions}", conditions=_conditions(asked, modes)))
    panels, events = said_panels(panels_of(run), say), said_events(notable_events(run), say)
    if path.suffix.casefold() == ".png":
        save(path, picture_png(panels, title, events=events), quiet=quiet)
    else:
        save(path, picture_svg(panels, title, say(describe_run(run)), events=events).encode(), quiet=quiet)


def _binned(times: Sequence[float], values: Sequence[float]) -> list[float | None]:
    """Largest value in each column of the curve; None where there is none. As in `values`."""
    found: list[float | None] = [None] * _WIDE
    for time, value in zip(times, values, strict=True):
        column = min(int(time / _SHOWN * _WIDE), _WIDE - 1)
        before = found[column]
        found[column] = float(value) if before is None else max(before, float(value))
    return found
