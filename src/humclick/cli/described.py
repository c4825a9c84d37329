"""A machine described by options, instead of a call."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import wraps
from typing import Any

import click

from humclick.cli.given import AMPS, OHMS, VOLTS
from humclick.cli.language import say
from humclick.messages import Message

#: Said where both a call and an arrangement are given, or neither.
EITHER = Message("Give either a call FILE or --arrangement.")

_OPTIONS = (
    click.option("--arrangement", help="Instead of a call: which arrangement (humclick list arrangements)."),
    click.option("--protector", help="With --arrangement: external, integrated or internal."),
    click.option(
        "--plate",
        type=VOLTS,
        default=math.nan,  # not read
        help="With --arrangement: plate volts; those usual for its kind if left out.",
    ),
    click.option(
        "--hertz",
        type=click.Choice(["50", "60"]),
        default="60",
        show_default=True,
        help="With --arrangement.",
    ),
    click.option("--lra", type=AMPS, help="With --arrangement: locked-rotor amps of the plate."),
    click.option("--rla", type=AMPS, help="With --arrangement: rated-load amps of the plate."),
    click.option("--run-ohms", type=OHMS, help="Run winding, cold; else as read in the call."),
    click.option("--start-ohms", type=OHMS, help="Start winding, cold; else as read in the call."),
)


def describable(command: Callable[..., None]) -> Callable[..., None]:
    """Options that describe a machine in place of a call ``file``; the command gets it as ``machine``."""

    @wraps(command)
    def run(
        file: str | None,
        arrangement: str | None,
        protector: str | None,
        plate: float,
        hertz: str,
        lra: float | None,
        rla: float | None,
        **rest: Any,
    ) -> None:
        if (file is None) == (arrangement is None):
            raise click.UsageError(say(EITHER))
        from humclick.arrangements.machine import Machine, Nameplate

        machine = None
        if arrangement is not None:
            machine = Machine.of(arrangement, protector, Nameplate(plate, float(hertz), lra, rla))
        command(file=file, machine=machine, **rest)

    for option in reversed(_OPTIONS):
        option(run)
    return run
