"""
``humclick work``: figures worked out, one small verb for each.

Quantities are typed as from a display: ``88`` or ``88 uF``, ``10k``, ``230 V``, ``25 C``, ``50 ft``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import click

from humclick.cli.given import AMPS, CELSIUS, FARADS, METRES, OHMS, VOLTS
from humclick.cli.language import reason, say
from humclick.messages import Message

json_option: Callable[[Any], Any] = click.option(
    "--json", "json_", is_flag=True, help="As JSON, in SI units."
)


def tell(figures: object, sentences: Sequence[str], json_: bool) -> None:
    """Show figures as JSON, or what is said of them."""
    from humclick.cli.layout import lines
    from humclick.jobs.result import as_json

    click.echo(as_json(figures) if json_ else "\n".join(lines(sentence) for sentence in sentences))


@click.group()
def work() -> None:
    """
    Work out a figure: discharge, wire, capacitor, copper, insulation, supply, unbalance, cool.

    Example: humclick work discharge --uF 88 --volts 230 --ohms 10k
    """


@work.command()
@click.option("--uF", "farads", type=FARADS, required=True, help="Capacitance, in µF if no unit is written.")
@click.option("--volts", type=VOLTS, required=True, help="AC volts across it; those marked on it are safe.")
@click.option("--ohms", type=OHMS, default="10k", show_default=True, help="The resistor.")
@click.option("--safe", type=VOLTS, help="Volts taken as safe; 50 if left out.")
@json_option
def discharge(farads: float, volts: float, ohms: float, safe: float | None, json_: bool) -> None:
    """
    How long a resistor takes to empty a capacitor, and how many watts it must stand.

    Example: humclick work discharge --uF 88 --volts 230 --ohms 10k
    """
    from humclick.meters import Quantity
    from humclick.physics.discharge import discharge_through
    from humclick.readings import format_si

    d = discharge_through(farads, volts, ohms, safe)
    sentences = [
        Message(
            "From {peak:.0f} V down to {safe:g} V: {seconds:.2g} s through {ohms}.",
            peak=d.peak_volts,
            safe=d.safe_volts,
            seconds=d.seconds,
            ohms=format_si(ohms, Quantity.RESISTANCE),
        ),
        Message(
            "Energy {joules:.2g} J. Resistor: {watts:g} W or more. {reason}",
            joules=d.joules,
            watts=d.resistor_watts,
            reason=d.reason,
        ),
        Message("Hold it on longer than that, then prove it with the meter on dc volts."),
    ]
    tell(d, sentences, json_)


@work.command()
@click.option("--gauge", required=True, help="Such as 14, 14 AWG or 2.5 mm².")
@click.option("--length", type=METRES, required=True, help="One way, such as 15 m or 50 ft.")
@click.option("--amps", type=AMPS, required=True, help="Current; locked-rotor amps for a start.")
@click.option("--volts", type=VOLTS, help="Supply; gives the volts at a locked motor too.")
@click.option("--celsius", type=CELSIUS, default="20 C", show_default=True, help="Of the wire.")
@click.option("--stranded", is_flag=True, help="A cord rather than solid wire.")
@json_option
def wire(
    gauge: str, length: float, amps: float, volts: float | None, celsius: float, stranded: bool, json_: bool
) -> None:
    """
    Volts lost along a cord.

    Example: humclick work wire --gauge "16 AWG" --length 50ft --amps 30 --volts 115 --stranded
    """
    from humclick.physics.wire import loop_resistance, terminal_volts, voltage_drop

    size: int | str = int(gauge) if gauge.strip().isdecimal() and len(gauge) < 4 else gauge
    loop = loop_resistance(length, size, celsius, stranded=stranded)
    lost = voltage_drop(length, size, amps, celsius, stranded=stranded)
    figures: dict[str, Any] = {"loop_ohms": loop, "volts_lost": lost, "terminal_volts": None}
    lossy = Message(
        "Out and back {ohms:.3g} Ω; at {amps:g} A {volts:.3g} V are lost.", ohms=loop, amps=amps, volts=lost
    )
    sentences = [lossy]
    if volts is not None:
        left = figures["terminal_volts"] = terminal_volts(volts, loop, amps)
        sentences.append(
            Message(
                "If {amps:g} A are its locked-rotor amps, {left:.4g} V of {volts:g} V reach the motor.",
                amps=amps,
                left=left,
                volts=volts,
            )
        )
    tell(figures, sentences, json_)


@work.command()
@click.option("--volts", type=VOLTS, required=True, help="Across the capacitor, not the supply.")
@click.option("--amps", type=AMPS, help="Through the capacitor; gives its µF.")
@click.option("--uF", "farads", type=FARADS, help="Instead of --amps: gives the amps it should take.")
@click.option("--hertz", type=float, default=60.0, show_default=True, help="Line frequency.")
@json_option
def capacitor(volts: float, amps: float | None, farads: float | None, hertz: float, json_: bool) -> None:
    """
    Microfarads of a working capacitor from its volts and amps, or the amps from its microfarads.

    Example: humclick work capacitor --volts 370 --amps 3.2 --hertz 60
    """
    from humclick.meters import Quantity
    from humclick.physics.capacitor import amps_through, farads_from
    from humclick.readings import format_si

    if (amps is None) == (farads is None):
        raise click.UsageError(say(Message("Give either --amps or --uF.")))
    if amps is not None:
        result = farads_from(volts, amps, hertz)
        tell({"farads": result}, [format_si(result, Quantity.CAPACITANCE, 4)], json_)
    elif farads is not None:
        current = amps_through(farads, volts, hertz)
        tell({"amps": current}, [format_si(current, Quantity.CURRENT, 3)], json_)


@work.command("copper")
@click.option("--ohms", type=OHMS, required=True, help="Measured resistance of the winding.")
@click.option("--at", "at", type=CELSIUS, required=True, help="Its temperature then, such as 25 C or 77 F.")
@click.option("--to", "to", type=CELSIUS, help="Wanted temperature: gives the resistance there.")
@click.option("--hot", "hot", type=OHMS, help="Resistance hot: gives how warm the winding is.")
@click.option("--material", type=click.Choice(["copper", "aluminium"]), default="copper", show_default=True)
@json_option
def copper_at(
    ohms: float, at: float, to: float | None, hot: float | None, material: str, json_: bool
) -> None:
    """
    Resistance of a winding at another temperature, or its temperature from its resistance.

    Example: humclick work copper --ohms 4.7 --at 25C --to 100C
    """
    from humclick.meters import Quantity
    from humclick.physics.copper import resistance_at, temperature_from
    from humclick.readings import format_si

    if (to is None) == (hot is None):
        raise click.UsageError(say(Message("Give either --to or --hot.")))
    if to is not None:
        result = resistance_at(to, ohms, at, material)
        resistance = format_si(result, Quantity.RESISTANCE, 4)
        tell({"ohms": result}, [Message("{ohms} at {celsius:g} °C", ohms=resistance, celsius=to)], json_)
    elif hot is not None:
        warm = temperature_from(hot, ohms, at, material)
        tell({"celsius": warm}, [Message("The winding is at {celsius:.0f} °C.", celsius=warm)], json_)


@work.command("insulation")
@click.option("--ohms", type=OHMS, required=True, help="Reading of the tester, such as 30M or >550M.")
@click.option("--at", "at", type=CELSIUS, required=True, help="Temperature of the winding, such as 25 C.")
@click.option("--after", type=OHMS, help="Reading after ten minutes, --ohms being the one after one minute.")
@json_option
def insulation_judged(ohms: float, at: float, after: float | None, json_: bool) -> None:
    """
    Judge a winding's insulation to the shell.

    Never test a compressor that stands under vacuum.

    Example: humclick work insulation --ohms 30M --at 20C
    """
    from humclick.physics.insulation import judge_insulation, judge_polarization
    from humclick.safety import hazard

    verdict = judge_insulation(ohms, at)
    figures: dict[str, Any] = {"insulation": verdict, "polarization": None}
    sentences = [verdict.says, verdict.caveat]
    if after is not None:
        index = judge_polarization(ohms, after)
        figures["polarization"] = index
        sentences.append(index.says)
    sentences.append(hazard("tester-vacuum").plain)
    tell(figures, sentences, json_)


@work.command()
@click.option("--volts", type=VOLTS, required=True, help="Measured at rest.")
@click.option("--plate", type=VOLTS, required=True, help="On the nameplate.")
@click.option("--hertz", type=float, default=60.0, show_default=True, help="Of the supply.")
@click.option("--plate-hertz", type=float, help="On the nameplate, if it differs.")
@click.option("--starting", type=VOLTS, help="At the same place while it tries to start.")
@click.option("--amps", type=AMPS, help="Drawn then; gives the ohms of the supply.")
@json_option
def supply(
    volts: float,
    plate: float,
    hertz: float,
    plate_hertz: float | None,
    starting: float | None,
    amps: float | None,
    json_: bool,
) -> None:
    """
    Judge a supply at rest and while the motor tries to start.

    Example: humclick work supply --volts 118 --plate 115 --starting 96 --amps 30
    """
    from humclick.physics.supply import judge_supply, sag, source_ohms, torque_fraction

    verdict = judge_supply(volts, plate, hertz, plate_hertz or hertz)
    figures: dict[str, Any] = {"at_rest": verdict}
    sentences = [Message("At rest: {verdict}", verdict=verdict.says)]
    if starting is not None:
        loaded = judge_supply(starting, plate, hertz, plate_hertz or hertz)
        lost, torque = sag(volts, starting), torque_fraction(starting, plate, hertz, plate_hertz or hertz)
        figures |= {"starting": loaded, "sag": lost, "torque": torque}
        sentences.append(Message("While starting: {verdict}", verdict=loaded.says))
        sentences.append(
            Message(
                "It sags by {lost:.0%}; the starting torque is {torque:.0%} of that on the nameplate.",
                lost=lost,
                torque=torque,
            )
        )
        if amps is not None:
            figures["source_ohms"] = source_ohms(volts, starting, amps)
            sentences.append(Message("Everything ahead of it has {ohms:.2g} Ω.", ohms=figures["source_ohms"]))
    tell(figures, sentences, json_)


@work.command("unbalance")
@click.argument("volts", type=VOLTS, nargs=3)
@json_option
def three_lines(volts: tuple[float, float, float], json_: bool) -> None:
    """
    Unbalance of a three-phase supply, and what it costs in power.

    Example: humclick work unbalance 460 467 450
    """
    from humclick.errors import OutOfRange
    from humclick.physics.supply import unbalance, unbalance_derating

    share = unbalance(*volts)
    sentences: list[str] = [Message("Unbalance {share:.2f} %.", share=100 * share)]
    part = None
    try:
        part = unbalance_derating(share)
        sentences.append(Message("The motor may give {share:.0f} % of its power.", share=100 * part))
    except OutOfRange as error:
        sentences.append(reason(error))
    tell({"unbalance": share, "derating": part}, sentences, json_)


#: What passes with time, in words.
_PASSING = {
    "external_protector": Message("external protector"),
    "internal_protector": Message("internal protector"),
    "ptc": Message("ptc"),
    "pressures": Message("pressures"),
    "windings": Message("windings"),
}


@work.command()
@click.argument("what", required=False)
@click.option("--minutes", type=float, help="Waited so far: gives how probably it has passed.")
@click.option("--sure", type=click.FloatRange(0, 100), default=90.0, show_default=True, help="How sure. [%]")
@json_option
def cool(what: str | None, minutes: float | None, sure: float, json_: bool) -> None:
    """
    How long to wait until a tripped protector, a hot starter or unequal pressures are over.

    WHAT is external_protector, internal_protector, ptc or pressures; all if left out.

    Example: humclick work cool ptc --minutes 5
    """
    from humclick.physics.cooling import minutes_for, passing, probability_passed
    from humclick.readings.shown import percent

    figures, sentences = [], []
    for kind in (what,) if what else passing():
        needed = minutes_for(kind, sure / 100)
        passed = None if minutes is None else probability_passed(kind, minutes)
        figures.append({"what": kind, "minutes": needed, "probability_passed": passed})
        sentence = Message(
            "{what}: {minutes:.0f} min to be {sure:g} % sure", what=_PASSING[kind], minutes=needed, sure=sure
        )
        if minutes is not None and passed is not None:
            sentence = Message(
                "{told}; after {minutes:g} min it has passed with {chance}",
                told=sentence,
                minutes=minutes,
                chance=percent(passed),
            )
        sentences.append(Message("{sentence}.", sentence=sentence))
    tell({"passing": figures}, sentences, json_)
