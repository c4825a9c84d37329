"""``humclick pins``: which pin is which, from three readings."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from humclick.cli.given import AMPS, VOLTS, shop_in, shop_option
from humclick.cli.language import say
from humclick.cli.written import save
from humclick.errors import Refused
from humclick.messages import N_, Message

if TYPE_CHECKING:
    from humclick.diagnosis.pins import PinFinding
    from humclick.readings import Leads, Reading

_LAYOUTS = ("one above two", "two above one", "row", "column")


def finding_in_words(finding: PinFinding) -> str:
    """What the readings between the pins say, in sentences."""
    from humclick.cli.layout import lines, table, underlined
    from humclick.readings.shown import percent

    pieces = [lines(finding.sentence), *(lines(warning, "! ") for warning in finding.warnings)]
    if finding.sum_test is not None:
        test = finding.sum_test
        form = N_(
            "Sum: {longest}, the largest, is not the sum of the other two"
            " (off by {off:.2g} Ω, uncertainty {uncertainty:.2g} Ω)."
        )
        if test.adds_up:
            form = N_(
                "Sum: {longest}, the largest, is the sum of the other two"
                " (off by {off:.2g} Ω, uncertainty {uncertainty:.2g} Ω)."
            )
        longest = "-".join(test.longest)
        summed = Message.of(form, longest=longest, off=test.residual, uncertainty=test.uncertainty)
        pieces.append(lines(summed))
    pieces.append(underlined(Message("Pins 1, 2, 3")))
    pieces += [f"  {percent(p):>5}  {' '.join(names)}" for names, p in finding.permutations[:3]]
    pieces += [underlined(Message("What may be the matter"))]
    pieces.append(table([(f"  {percent(case.probability):>5}", case.title) for case in finding.cases[:4]]))
    if finding.next:
        pieces += [underlined(Message("Next")), *(lines(step, "  ") for step in finding.next)]
    return "\n".join(pieces)


def _leads(text: str | None) -> Leads | None:
    from humclick.meters import Quantity
    from humclick.readings import Leads, parse_reading

    if text is None:
        return None
    if text.strip().casefold() == "nulled":
        return Leads(nulled=True)
    ohms = parse_reading(text, Quantity.RESISTANCE).value
    if ohms is None:
        raise Refused(
            Message("test leads that show OL are broken; write nulled, or what they show, such as 0.3")
        )
    return Leads(resistance=ohms)


@click.command()
@click.argument("readings", nargs=3, metavar="OHMS12 OHMS13 OHMS23")
@click.option("--shell", help="Lowest reading of any pin to bare metal, such as OL.")
@click.option("--volts", type=VOLTS, default=115.0, show_default=True, help="On the nameplate.")
@click.option("--lra", type=AMPS, help="Locked-rotor amps on the nameplate.")
@click.option("--internal/--external", default=None, help="Where the overload protector sits.")
@click.option("--hot/--cold", default=None, help="How warm the windings are.")
@click.option("--meter", "meter_name", help="Class of meter (humclick list meters).")
@click.option("--leads", help="nulled, or ohms with the tips held together, such as 0.3.")
@click.option("--layout", type=click.Choice(_LAYOUTS), help="How the pins lie: they are drawn.")
@click.option("--svg", type=click.Path(dir_okay=False, path_type=Path), help="Draw them to an SVG file.")
@shop_option
@click.option("--json", "json_", is_flag=True, help="As JSON.")
def pins(
    readings: tuple[str, str, str],
    shell: str | None,
    volts: float,
    lra: float | None,
    internal: bool | None,
    hot: bool | None,
    meter_name: str | None,
    leads: str | None,
    layout: str | None,
    svg: Path | None,
    shop_file: Path | None,
    json_: bool,
) -> None:
    """
    Find common, start and run among three pins.

    Number the pins left to right, then top to bottom, the compressor the right way up; measure 1-2, 1-3
    and 2-3 with the start gear off, power off and proved dead.

    Example: humclick pins 4.0 11.0 15.0 --shell OL
    """
    from humclick.arrangements.machine import Nameplate
    from humclick.circuit.pins_drawing import pins_svg, pins_text
    from humclick.diagnosis.pins import find_pins
    from humclick.jobs.result import as_json
    from humclick.jobs.standing import PIN_PAIRS
    from humclick.meters import Quantity, meter
    from humclick.readings import PartTemperature, parse_reading

    measured: Mapping[tuple[str, str], Reading] = {
        pair: parse_reading(text, Quantity.RESISTANCE) for pair, text in zip(PIN_PAIRS, readings, strict=True)
    }
    finding = find_pins(
        measured,
        nameplate=Nameplate(volts, locked_rotor_amps=lra),
        temperature=None if hot is None else PartTemperature("hot" if hot else "cold"),
        meter=None if meter_name is None else meter(meter_name),
        leads=_leads(leads),
        protector="unknown" if internal is None else "internal" if internal else "external",
        shell=None if shell is None else parse_reading(shell, Quantity.RESISTANCE),
        shop=shop_in(shop_file),
    )
    click.echo(as_json(finding) if json_ else finding_in_words(finding))
    if layout is not None and not json_:
        click.echo(f"\n{pins_text(layout, finding.names, translate=say)}")
    if svg is not None:
        save(svg, pins_svg(layout or _LAYOUTS[0], finding.names, translate=say).encode(), quiet=json_)
