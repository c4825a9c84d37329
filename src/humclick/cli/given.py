"""What a verb is given: call files, the shop's figures, quantities as typed."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from humclick.cli.language import reason, say
from humclick.messages import Message, Verbatim

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.shop import Shop
    from humclick.jobs.call import Call
    from humclick.jobs.call_file import CallFile

shop_option: Callable[[Any], Any] = click.option(
    "--shop",
    "shop_file",
    envvar="HUMCLICK_SHOP",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The shop's own prices, times and odds; also HUMCLICK_SHOP.",
)


def shop_in(path: Path | None) -> Shop:
    """The shop's figures from its file, else the program's own."""
    from humclick.diagnosis.shop import default_shop, shop_from_file

    return default_shop() if path is None else shop_from_file(path)


def file_in(name: str) -> CallFile:
    """A call file by its name; ``-`` reads standard input."""
    from humclick.jobs.call_file import LARGEST, load_call, parse_call

    if name == "-":
        return parse_call(sys.stdin.buffer.read(LARGEST + 1), "standard input")
    return load_call(name)


def call_in(name: str) -> Call:
    """The call in a file, folded."""
    from humclick.jobs.fold import fold

    return fold(file_in(name).events)


def described_in(name: str, form: str) -> tuple[Call, Machine]:
    """The call in a file, and its machine; refused in a form with ``{file}`` where none is described."""
    from humclick.errors import Refused

    call = call_in(name)
    if call.machine is None:
        raise Refused(Message.of(form, file=Verbatim(name)))
    return call, call.machine


class _Amount(click.ParamType[float]):
    """A quantity as it is typed from a display."""

    def __init__(self, name: str) -> None:
        self.name = name

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The value. [SI, °C]"""
        from humclick.errors import HumclickError
        from humclick.meters import Quantity
        from humclick.readings import parse_reading

        if isinstance(value, float):
            return value
        try:
            reading = parse_reading(str(value), Quantity(self.name))
        except HumclickError as error:
            self.fail(reason(error), param, ctx)
        if reading.bound is not None:
            return reading.bound
        if reading.value is None:
            self.fail(say(Message("a figure is needed here, not over limit")), param, ctx)
        return reading.value


class _Length(click.ParamType[float]):
    """A length with its unit."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The length; 0.3048 m to the foot, exactly. [m]"""
        if isinstance(value, float):
            return value
        match = re.fullmatch(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(m|ft|feet|')\s*", str(value), re.I)
        if match is None:
            wrong = Message(
                "{text} is not a length; write it with its unit, such as 15 m or 50 ft", text=repr(value)
            )
            self.fail(say(wrong), param, ctx)
        metres = 1.0 if match[2].lower() == "m" else 0.3048
        return float(match[1].replace(",", ".")) * metres


VOLTS, AMPS, OHMS = _Amount("voltage"), _Amount("current"), _Amount("resistance")
FARADS, CELSIUS, METRES = _Amount("capacitance"), _Amount("temperature"), _Length()
