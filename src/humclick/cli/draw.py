"""``humclick draw``: the wiring of a call's machine, or of an arrangement."""

from __future__ import annotations

import math
from pathlib import Path

import click

from humclick.cli.described import EITHER
from humclick.cli.given import VOLTS, described_in, shop_in, shop_option
from humclick.cli.language import say
from humclick.cli.written import save
from humclick.errors import Refused
from humclick.messages import N_, Message


@click.command()
@click.argument("file", required=False)
@click.option("--arrangement", help="Instead of a call: which arrangement (humclick list arrangements).")
@click.option("--protector", help="With --arrangement: external, integrated or internal.")
@click.option(
    "--volts",
    type=VOLTS,
    default=math.nan,  # not read
    help="With --arrangement: plate volts; those usual for its kind if left out.",
)
@click.option("--probe", help="Mark where a probe is held, such as pins.C-R.")
@click.option("--suspects", is_flag=True, help="With FILE and --svg: shade parts by how suspect they are.")
@click.option("--describe", "words", is_flag=True, help="In sentences instead, for one who cannot see it.")
@click.option("--svg", type=click.Path(dir_okay=False, path_type=Path), help="Write an SVG file.")
@click.option("--dark", is_flag=True, help="Light lines on a dark ground, with --svg.")
@shop_option
def draw(
    file: str | None,
    arrangement: str | None,
    protector: str | None,
    volts: float,
    probe: str | None,
    suspects: bool,
    words: bool,
    svg: Path | None,
    dark: bool,
    shop_file: Path | None,
) -> None:
    """
    Draw the wiring of a machine, and where to hold the probes.

    Example: humclick draw --arrangement rsir-ptc --probe ptc.ohms
    """
    from humclick.arrangements.machine import Machine, Nameplate
    from humclick.circuit.drawing import describe_wiring, draw_svg, draw_text
    from humclick.diagnosis.judged import judge
    from humclick.diagnosis.probes import probe_of

    if (file is None) == (arrangement is None):
        raise click.UsageError(say(EITHER))
    situation = None
    if file is not None:
        form = N_("{file}: no machine is described in this call, so there is nothing to draw")
        call, machine = described_in(file, form)
        situation = call.situation()
    else:
        machine = Machine.of(str(arrangement), protector, Nameplate(volts))
    points = clamp = None
    if probe is not None:
        marked = probe_of(machine, probe)
        points, clamp = marked.points, marked.clamp
        if points is None and clamp is None:
            raise Refused(
                Message(
                    "{probe} has no two points on the drawing: a look, a try, or unnamed pins", probe=probe
                )
            )
    shares = None
    if suspects and situation is not None:
        post = judge(situation, shop_in(shop_file)).post
        shares = {part.id: post.of_part(part.id) for part in machine.parts}
    if svg is not None:
        save(svg, draw_svg(machine, points, shares, dark, clamp, translate=say).encode("utf-8", "replace"))
    else:
        picture = draw_text(machine, points, clamp, translate=say)
        click.echo(say(describe_wiring(machine, points, shares, clamp)) if words else picture)
