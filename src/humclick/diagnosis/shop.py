"""
The shop's own figures: prices, times, prior odds and slips, from one file that a shop may replace.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from humclick.errors import DataError, Refused, Unknown
from humclick.parts.family import families, family
from humclick.safety import chosen_place
from humclick.sourced import read_data

__all__ = ["Remedy", "Shop", "default_shop", "shop_from_file", "shop_from_table"]


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
    title: str
    did: str
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
            raise Unknown("remedy", name, self.remedies) from None


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
    known = {*default, "odds", "place"}
    for key in table:
        if key not in known:
            raise Unknown("section of the shop file", key, sorted(known))

    def merged(section: str) -> dict[str, Any]:
        return {**default.get(section, {}), **table.get(section, {})}

    def numbers(section: str) -> dict[str, float]:
        return {key: _number(value, f"{section}.{key}") for key, value in merged(section).items()}

    for section in ("rates", "opening", "none", "slips", "remedy", "probe"):
        for key in table.get(section, {}):
            if key not in default[section]:
                raise Unknown(f"entry of [{section}] in the shop file", key, default[section])
    rates = numbers("rates")
    remedies = {}
    for name, row in merged("remedy").items():
        row = {**default["remedy"][name], **row}
        price, minutes = _number(row["price"], name), _number(row["minutes"], name)
        fixed = _number(row.get("fixed", 0.0), name)
        cost = price + minutes * rates["minute"] + fixed
        remedies[name] = Remedy(name, str(row["title"]), str(row["did"]), price, minutes, cost)
    odds = {str(k): _number(v, f"odds.{k}") for k, v in table.get("odds", {}).items()}
    for key in odds:
        part, _, mode = key.partition(".")
        if part not in families():
            raise Unknown("part in [odds] of the shop file", part, families())
        family(part).mode(mode)
    return Shop(
        rates=rates,
        remedies=remedies,
        opening=numbers("opening"),
        probe={k: (_number(v["minutes"], k), _number(v["risk"], k)) for k, v in merged("probe").items()},
        none=numbers("none"),
        joint={_pair(k): _number(v, k) for k, v in merged("joint").items()},
        slips=numbers("slips"),
        odds=odds,
        place=chosen_place(_text(table.get("place", ""), "place")),
    )


def _text(value: object, where: str) -> str:
    if not isinstance(value, str):
        raise Refused(f'shop file, {where}: text in quotes is needed, such as "us"; got {value!r}')
    return value


def _number(value: object, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e9:
        raise Refused(f"shop file, {where}: a number of 0 or more is needed, such as 12.5; got {value!r}")
    return float(value)


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
    import tomllib  # here: only a shop of one's own needs it

    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise Refused(
            f"shop file {path}: {error}; copy the program's shop.toml and change its figures"
        ) from error
    try:
        return shop_from_table(table)
    except (KeyError, TypeError, AttributeError) as error:
        raise DataError(f"shop file {path}: {error!r}; keep the layout of the program's shop.toml") from error
