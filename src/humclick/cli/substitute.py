"""``humclick substitute``: would the machine start with this part as with the old one, and stay protected?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from humclick.cli.described import describable
from humclick.cli.given import described_in
from humclick.cli.language import say
from humclick.cli.written import save
from humclick.messages import N_, Message, Verbatim

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.replacement.substitute import Substitution
    from humclick.start.run import Run

#: Said where a picture is asked for under another name.
PICTURE = N_("{path}: a picture ends in .svg or .png.")


@click.command()
@click.argument("file", required=False)
@click.option("--part", required=True, help="Which part, such as start_capacitor, or start_assist.")
@click.option("--new", required=True, multiple=True, help="Marks of the new part, as printed, apart by ;.")
@click.option("--old", multiple=True, help="Marks of the old part; those noted in the call if left out.")
@describable
@click.option("--machines", type=click.IntRange(2, 500), help="How many motors that agree are tried; 24.")
@click.option("--curves", is_flag=True, help="Also the curves of one start with either part.")
@click.option(
    "--picture", type=click.Path(dir_okay=False, path_type=Path), help="Write these as .svg or .png."
)
@click.option("--json", "json_", is_flag=True, help="As JSON.")
def substitute(
    file: str | None,
    part: str,
    new: tuple[str, ...],
    old: tuple[str, ...],
    machine: Machine | None,
    run_ohms: float | None,
    start_ohms: float | None,
    machines: int | None,
    curves: bool,
    picture: Path | None,
    json_: bool,
) -> None:
    """
    Try a substitute part in simulation: same, acceptable, or not, with numbers.

    FILE is a call file; or give --arrangement and what the plate says. Nothing is tried on the machine.

    Example: humclick substitute call.toml --part start_capacitor --new "97-117 MFD 250 VAC"
    """
    if picture is not None and picture.suffix.casefold() not in (".svg", ".png"):
        raise click.UsageError(say(Message.of(PICTURE, path=Verbatim(picture))))
    if machine is None:
        machine, noted, measured = _of_call(str(file), part)
        old = old or noted
        run_ohms, start_ohms = run_ohms or measured[0], start_ohms or measured[1]

    from humclick.replacement.substitute import described, runs_of
    from humclick.replacement.substitute import try_substitute as tried
    from humclick.start.at_hand import at_hand
    from humclick.start.estimate import estimate

    machine = described(machine, part, old)
    motors = estimate(at_hand(machine, run_ohms=run_ohms, start_ohms=start_ohms))
    result = tried(machine, motors, part, new, old, n=machines)
    runs: tuple[tuple[str, Run], ...] = ()
    if (curves or picture is not None) and result.starts:
        runs = runs_of(machine, motors, part, new, old)
    if json_:
        from humclick.jobs.result import as_json

        click.echo(as_json(result))
    else:
        click.echo(_words(machine, result))
        if curves and runs:
            click.echo(_curves(runs))
    if picture is not None and runs:
        _picture(picture, runs, result, json_)


def _of_call(file: str, part: str) -> tuple[Machine, tuple[str, ...], tuple[float | None, float | None]]:
    """Machine of a call, what was noted of its part, and its windings as measured. [Ω at 25 °C]"""
    from humclick.jobs.at_hand import winding_ohms

    form = N_("{file}: no machine is described in this call, so there is nothing to try a part on")
    call, machine = described_in(file, form)
    noted = tuple(stamp.text for stamp in call.stamps if stamp.part == part)
    return machine, noted, winding_ohms(call)


def _words(machine: Machine, result: Substitution) -> str:
    from humclick.cli.layout import label, lines, row, underlined
    from humclick.cli.words import machine_in_words, paragraphs
    from humclick.readings.shown import percent

    part = paragraphs(Message("{sentence}.", sentence=result.title), result.before)
    pieces = [machine_in_words(machine), lines(part, label(Message("Part"), 0, 9), "  ")]
    pieces.append(lines(result.old or Message("nothing read"), label(Message("Old"), 0, 9), "  "))
    pieces.append(lines(result.new, label(Message("New"), 0, 9), "  "))
    pieces += ["", lines(result.sentence, label(Message("Answer"), 0, 9), "  ")]
    pieces += [lines(flag, "!        ", "  ") for flag in result.flags]
    if result.findings:
        on = Message("Simulated on {n} machines that agree with what is at hand", n=result.machines)
        pieces.append(underlined(on))
        for finding in result.findings:
            change = Message("{what}: {old} -> {new}", what=finding.title, old=finding.old, new=finding.new)
            pieces.append(lines(change, f"{_sign(finding.fit)} ", "    "))
            pieces.append(lines(finding.reason, "    "))
        pieces.append(underlined(Message("Of them start, old and new")))
        for at in result.starts:
            pieces.append(f"{row(2, at.condition.text):<48}{percent(at.old):>6}{percent(at.new):>8}")
    if result.marks:
        pieces.append(underlined(Message("Marks")))
        for line in result.marks:
            compared = Message(
                "{mark}: {old} -> {new}: {reason}",
                mark=line.title,
                old=line.old or Message("not read"),
                new=line.new or Message("not read"),
                reason=line.reason,
            )
            pieces.append(lines(compared, f"{_sign(line.fit)} ", "    "))
    if result.read:
        pieces.append(underlined(Message("Read before it is fitted")))
        pieces += [
            lines(Message("{mark}: {text}", mark=mark.title, text=mark.where), "  - ", "    ")
            for mark in result.read
        ]
    if result.never:
        pieces.append(underlined(Message("Never")))
        pieces += [lines(rule.text, "  - ", "    ") for rule in result.never]
    pieces.append(underlined(Message("Taken for granted")))
    pieces += [lines(finding, "  - ", "    ") for finding in result.assumed] or [
        row(2, Message("nothing: it was not simulated"))
    ]
    return "\n".join(pieces)


def _sign(fit: str) -> str:
    return {"same": "=", "acceptable with differences": "~", "no": "x"}.get(str(fit), "?")


def _curves(runs: tuple[tuple[str, Run], ...]) -> str:
    from humclick.cli.layout import underlined
    from humclick.start.curves import curves_text, panels_to_compare
    from humclick.start.said import said_panels

    title = Message("The most probable motor at the plate's volts, cold, pressures equal")
    return f"{underlined(title)}\n{curves_text(said_panels(panels_to_compare(runs), say), width=76)}"


def _picture(path: Path, runs: tuple[tuple[str, Run], ...], result: Substitution, quiet: bool) -> None:
    from humclick.start.curves import describe_run, panels_to_compare
    from humclick.start.pictures import picture_png, picture_svg
    from humclick.start.said import said_panels

    title = say(Message("A start with either {part}", part=result.title))
    panels = said_panels(panels_to_compare(runs), say)
    if path.suffix.casefold() == ".png":
        save(path, picture_png(panels, title), quiet=quiet)
        return
    words = " ".join(f"{say(Message.of(name)).capitalize()}: {say(describe_run(run))}" for name, run in runs)
    save(path, picture_svg(panels, title, words, tag="compared").encode(), quiet=quiet)
