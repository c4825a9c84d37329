"""
The shop's own figures: prices, times, prior odds and slips, from one file that a shop may replace.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from humclick.arrangements.arrangement import PlacedPart
from humclick.errors import DataError, Refused, Unknown, because, choice_of, printable
from humclick.limits import SHOP_BYTES
from humclick.messages import Message, Verbatim, listed
from humclick.parts.family import families, family
from humclick.safety import chosen_place
from humclick.sourced import read_data
from humclick.toml_text import read_toml
from humclick.typed_data import brief

__all__ = [
    "Remedy",
    "Shop",
    "check_remedies",
    "default_shop",
    "remedies_named",
    "shop_from_file",
    "shop_from_table",
]


_NUMBERS = ("rates", "opening", "none", "slips")
_REMEDY = ("title", "did", "price", "minutes", "fixed")
#: Longest title of a remedy. [letters]
_TITLE = 200
#: What a figure may be, where not just any number of 0 or more: shares and odds of slips, and what divides.
_BETWEEN: Mapping[str, tuple[float, float]] = {
    "rates.burnt_new_part": (0.0, 1.0),
    "none.as_healthy": (0.0, 1.0),
    "slips.dirty_contact_ohms": (1e-3, 1e6),
    "slips.look_again": (0.0, 1.0),
    "slips.": (0.0, 0.2),  # more often than that it is no slip
}
_COPY = Message("copy the program's shop.toml and change its figures")


@dataclass(frozen=True, slots=True)
class Remedy:
    """
    An action with its cost.

    Attributes
    ----------
    name, title, did : str
        Name in the vocabulary; words for the sheet, to be done and once it is done.
    price : float
        Parts. [money]
    minutes : float
        Work. [min]
    cost : float
        Parts, work and any fixed charge together. [money]
    """

    name: str
    title: Message
    did: Message
    price: float
    minutes: float
    cost: float


@dataclass(frozen=True, eq=False)
class Shop:
    """
    Figures of one shop; see ``shop.toml`` for what each means.

    Two shops are the same only if they are one object.

    Attributes
    ----------
    rates, opening, none, slips : mapping of str to float
    remedies : mapping of str to Remedy
    probe : mapping of str to (minutes, risk)
    joint : mapping of ((part, mode), (part, mode)) to float
    odds : mapping of "part.mode" to float
        Prior odds that replace those of the part families.
    place : str
        Whose safety rules hold on its calls: one of `humclick.safety.PLACES`; empty where none is chosen.
    """

    rates: Mapping[str, float]
    remedies: Mapping[str, Remedy]
    opening: Mapping[str, float]
    probe: Mapping[str, tuple[float, float]]
    none: Mapping[str, float]
    joint: Mapping[tuple[tuple[str, str], tuple[str, str]], float]
    slips: Mapping[str, float]
    odds: Mapping[str, float] = field(default_factory=dict)
    place: str = ""

    def money(self, minutes: float) -> float:
        """Labour for a time. [money]"""
        return minutes * self.rates["minute"]

    def remedy(self, name: str) -> Remedy:
        """
        One remedy by name.

        Raises
        ------
        Unknown
            If there is no such remedy.
        """
        try:
            return self.remedies[name]
        except KeyError:
            raise Unknown(Message("remedy"), name, self.remedies) from None


def check_remedies(parts: Iterable[PlacedPart], shop: Shop) -> None:
    """
    Refuse parts with a mode, a look or a place whose remedy the shop does not have.

    Raises
    ------
    DataError
        Naming the file, the remedy and those there are.
    """
    for part in parts:
        named = {mode.remedy for mode in part.family.listed} | set(part.remedies.values())
        named |= {remedy for look in part.family.looks for remedy in look.due.values()}
        for remedy in sorted(named - {""}):
            if remedy not in shop.remedies:
                where = f"{part.family.name}.toml, as {part.id}"
                raise DataError(f"{where}: a remedy must be {choice_of(remedy, shop.remedies)}")


def _pair(text: str) -> tuple[tuple[str, str], tuple[str, str]]:
    first, _, second = text.partition("+")
    (a, _, m), (b, _, n) = first.partition("."), second.partition(".")
    for part, mode in ((a, m), (b, n)):
        family(part).mode(mode)
    pair = sorted(((a, m), (b, n)))
    return pair[0], pair[1]


def shop_from_table(table: Mapping[str, Any]) -> Shop:
    """
    Build a shop from a table with the keys of ``shop.toml``; what it leaves out keeps its default.

    Raises
    ------
    Refused
        If a figure is not a number or is negative.
    Unknown
        If a section, a remedy, a part or a mode does not exist.
    """
    default = read_data("humclick.diagnosis", "shop.toml")
    _known(table, {*default, "odds", "place"}, Message("section of the shop file"))
    entries = {key: _section(table, key) for key in (*_NUMBERS, "remedy", "probe", "joint", "odds")}
    for section in (*_NUMBERS, "remedy", "probe"):
        _known(
            entries[section],
            default[section],
            Message("entry of [{section}] in the shop file", section=section),
        )

    def numbers(section: str) -> dict[str, float]:
        merged = {**default[section], **entries[section]}
        return {key: _number(value, f"{section}.{key}") for key, value in merged.items()}

    rates = numbers("rates")
    remedies = {}
    for name, row in _rows(default, entries, "remedy", _REMEDY):
        price, minutes, fixed = (_number(row[key], f"remedy.{name}.{key}") for key in _REMEDY[2:])
        title, did = (_title(row[key], f"remedy.{name}.{key}") for key in _REMEDY[:2])
        cost = price + minutes * rates["minute"] + fixed
        remedies[name] = Remedy(name, title, did, price, minutes, cost)
    probe = {
        name: (_number(row["minutes"], f"probe.{name}.minutes"), _number(row["risk"], f"probe.{name}.risk"))
        for name, row in _rows(default, entries, "probe", ("minutes", "risk"))
    }
    odds = {key: _number(value, f"odds.{key}") for key, value in entries["odds"].items()}
    for key in odds:
        part, _, mode = key.partition(".")
        if part not in families():
            raise Unknown(Message("part in [odds] of the shop file"), part, families())
        family(part).mode(mode)
    joint = {**default["joint"], **entries["joint"]}
    return Shop(
        rates=rates,
        remedies=remedies,
        opening=numbers("opening"),
        probe=probe,
        none=numbers("none"),
        joint={_pair(k): _number(v, f"joint.{k}") for k, v in joint.items()},
        slips=numbers("slips"),
        odds=odds,
        place=chosen_place(_text(table.get("place", ""), "place")),
    )


def _text(value: object, where: str) -> str:
    if not isinstance(value, str):
        raise Refused(
            Message(
                'shop file, {where}: text in quotes is needed, such as "us"; got {value}',
                where=where,
                value=brief(value),
            )
        )
    return value


def _known(table: Mapping[str, Any], names: Iterable[str], kind: Message) -> None:
    """Refuse a name that nobody reads, with the nearest right one."""
    for key in table:
        if key not in names:
            raise Unknown(kind, key, sorted(names))


def _section(table: Mapping[str, Any], name: str, where: str = "") -> Mapping[str, Any]:
    section = table.get(name, {})
    if not isinstance(section, Mapping):
        raise Refused(
            Message(
                "shop file, {where}{name}: a table is needed, as in the program's shop.toml; got {found}",
                where=where,
                name=name,
                found=brief(section),
            )
        )
    return section


def _rows(
    default: Mapping[str, Any], entries: Mapping[str, Mapping[str, Any]], section: str, fields: Sequence[str]
) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Each row of a section of rows, its own figures over the program's."""
    for name, usual in default[section].items():
        row = _section(entries[section], name, f"{section}.")
        _known(row, fields, Message("field of [{section}] in the shop file", section=f"{section}.{name!r}"))
        yield name, {**dict.fromkeys(fields, 0.0), **usual, **row}


def _title(value: object, where: str) -> Message:
    if (
        not isinstance(value, str)
        or not value.strip()
        or len(value) > _TITLE
        or printable(value, "") != value
    ):
        raise Refused(
            Message(
                "shop file, {where}: words of 1 to {most} letters on one line are needed; got {value}",
                where=where,
                most=_TITLE,
                value=brief(value),
            )
        )
    return Message.of(value)


def _number(value: object, where: str) -> float:
    section = f"{where.partition('.')[0]}."
    low, high = _BETWEEN.get(where) or _BETWEEN.get(section, (0.0, 1e9))
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise Refused(
            Message(
                "shop file, {where}: a number from {low:g} to {high:g} is needed; got {value}",
                where=where[:80],
                low=low,
                high=high,
                value=brief(value),
            )
        )
    return float(value)


def remedies_named(remedies: Iterable[str]) -> Message:
    """The names of some remedies as one message."""
    return listed(map(Message.of, sorted(remedies)), "and") or Message("nothing else")


@cache
def default_shop() -> Shop:
    """The shop file that comes with the program."""
    return shop_from_table({})


def shop_from_file(path: Path) -> Shop:
    """
    Read a shop's own file.

    Raises
    ------
    Refused
        If it cannot be read or is not TOML.
    """
    try:
        with path.open("rb") as file:
            data = file.read(SHOP_BYTES + 1)
        text = data.decode("utf-8")
    except (OSError, ValueError) as error:
        why = because(error) if isinstance(error, OSError) else Message("not UTF-8 text")
        raise Refused(
            Message("shop file {path}: {why}; {copy}", path=Verbatim(path), why=why, copy=_COPY)
        ) from None
    if len(data) > SHOP_BYTES:
        raise Refused(
            Message(
                "shop file {path}: larger than {most} kB, so it is not one; {copy}",
                path=Verbatim(path),
                most=SHOP_BYTES // 1024,
                copy=_COPY,
            )
        )
    try:
        table = read_toml(text)
    except Refused as error:
        raise Refused(
            Message("shop file {path}: {why}; {copy}", path=Verbatim(path), why=error.message, copy=_COPY)
        ) from None
    return shop_from_table(table)
