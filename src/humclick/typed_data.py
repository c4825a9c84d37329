"""
Data files into typed values, with messages that say which file, which field and what would be right.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any, TypeVar

import msgspec

from humclick.errors import DataError, HumclickError
from humclick.messages import N_, Message, Verbatim
from humclick.sourced import spread

__all__ = ["brief", "named_values", "sizes_in", "typed_value"]

_Kind = TypeVar("_Kind")

_WORDS = {
    "float": N_("a number"),
    "int": N_("a whole number"),
    "str": N_("text in quotes"),
    "bool": N_("true or false"),
    "array": N_("a list"),
    "object": N_("a table"),
}
_STEP = re.compile(r"\.?([^.\[\]]+)|\[(\d+|\.\.\.)\]")


def typed_value(
    table: object, kind: type[_Kind], where: str, refuse: type[HumclickError] = DataError
) -> _Kind:
    """
    Read a table into a typed value.

    `kind` is a frozen struct or dataclass; fields that it does not have are refused, and a field of a type
    with a method ``of`` is made by it. `where` is the file, for the message. `refuse` is what is raised if
    something is missing, misnamed or of another type: `Refused` for a file of somebody's own.

    >>> class Step(msgspec.Struct, forbid_unknown_fields=True):
    ...     minutes: float
    >>> typed_value({"minutes": "ten"}, Step, "steps.toml")
    Traceback (most recent call last):
    humclick.errors.DataError: steps.toml: minutes must be a number, got 'ten'
    """
    try:
        if dataclasses.is_dataclass(kind) and isinstance(table, Mapping):
            for name in table:
                if name not in _fields(kind):
                    raise msgspec.ValidationError(f"Object contains unknown field `{name}`")
        return msgspec.convert(table, kind, dec_hook=_custom)
    except msgspec.ValidationError as error:
        reason = _explained(str(error), table, kind)
        raise refuse(Message("{where}: {reason}", where=where, reason=reason)) from error


def named_values(
    rows: Iterable[Mapping[str, Any]], kind: type[_Kind], where: str, key: str = "name"
) -> dict[str, _Kind]:
    """
    Read rows that have a name under `key`, by that name.

    Raises as `typed_value`.
    """
    return {str(row.get(key)): typed_value(row, kind, f"{where}, {row.get(key)}") for row in rows}


def _custom(kind: type, value: object) -> object:
    if kind is complex:
        if isinstance(value, list) and len(value) == 2:
            return complex(*value)
        raise TypeError("an impedance is two numbers: [resistance, reactance]")
    return vars(kind)["of"].__get__(None, kind)(value)


def brief(value: object) -> str:
    """A value as shown in a message, never long."""
    if value is None:
        return Message("nothing")
    if isinstance(value, Mapping | list):
        return Message("a table") if isinstance(value, Mapping) else Message("a list")
    if isinstance(value, int) and abs(value) >= 10**20:
        return Message("a number of more than twenty digits")
    text = ascii(value)
    return Verbatim(text if len(text) <= 60 else text[:57] + "…")


def _explained(message: str, table: object, kind: type) -> Message:
    """The message in plain words, rows of a list by their name."""
    text, _, path = message.partition(" - at `")
    place, value = _place(path.removesuffix("`").removeprefix("$"), table)
    if expected := re.fullmatch(r"Expected `(.*)`, got `(.*)`", text):
        wanted = tuple(
            Message.of(_WORDS[word]) if word in _WORDS else word for word in expected[1].split(" | ")
        )
        return Message(
            "{place} must be {wanted:or}, got {value}",
            place=place or Message("it"),
            wanted=wanted,
            value=brief(value),
        )
    reason = Message.of(text).small()
    if unknown := re.fullmatch(r"Object contains unknown field `(.*)`", text):
        near = get_close_matches(unknown[1], _fields(kind), 1)
        reason = Message("there is no field {name}", name=Verbatim(repr(unknown[1])))
        if near:
            meant = Message("did you mean {names:or}?", names=tuple(near))
            reason = Message("{reason}; {hint}", reason=reason, hint=meant)
    elif missing := re.fullmatch(r"Object missing required field `(.*)`", text):
        reason = Message("{name} is missing", name=missing[1])
    return Message("{where}: {reason}", where=place, reason=reason) if place else reason


def _fields(kind: type, outer: frozenset[type] = frozenset()) -> list[str]:
    """Names of all fields of a struct and of those inside it, as the file writes them."""
    names = []
    if dataclasses.is_dataclass(kind):
        return [field.name for field in dataclasses.fields(kind)]
    for field in msgspec.structs.fields(kind):
        names.append(field.encode_name)
        for inner in _structs(field.type):
            if inner not in outer:
                names += _fields(inner, outer | {kind, inner})
    return names


def _structs(kind: Any) -> list[type]:
    if isinstance(kind, type) and issubclass(kind, msgspec.Struct):
        return [kind]
    return [inner for argument in getattr(kind, "__args__", ()) for inner in _structs(argument)]


def _place(path: str, table: object) -> tuple[str, object]:
    """A path such as ``.mode[3].odds`` as ``mode 'rattles': odds``, and what stands there."""
    place, here = "", table
    for name, number in _STEP.findall(path):
        if name:
            here = here.get(name) if isinstance(here, Mapping) else None
            place += f": {name}" if place[-1:] in {*"'0123456789"} else f".{name}" if place else name
        elif number.isdigit():
            here = here[int(number)] if isinstance(here, list) and int(number) < len(here) else None
            called = (
                here.get("name") or here.get("id") or here.get("family")
                if isinstance(here, Mapping)
                else None
            )
            place += f" {called!r}" if called else f", row {int(number) + 1}"
        else:
            here = None
    return place, here


def sizes_in(table: Any, where: str) -> dict[str, dict[str, Any]]:
    """
    Sizes of a part by name and voltage class, ``""`` for one that is the same in both.

    Raises `DataError` if one lacks median, factor, unit or source, or cannot be.
    """
    if not isinstance(table, Mapping):
        raise DataError(f"{where}: sizes must be a table")
    sizes: dict[str, dict[str, Any]] = {}
    for name, rows in table.items():
        if not isinstance(rows, Mapping):
            raise DataError(f"{where}: sizes.{name} must be a table with median, factor, unit and source")
        plain = any(not isinstance(row, Mapping) for row in rows.values())
        by_class: dict[str, Any] = {"": rows} if plain else dict(rows)
        if unknown := set(by_class) - {"", "115", "230"}:
            raise DataError(
                f"{where}: sizes.{name}: classes are 115 and 230, got {', '.join(sorted(unknown))}"
            )
        try:
            sizes[name] = {key: spread(row, f"{where}: sizes.{name}.{key}") for key, row in by_class.items()}
        except DataError:
            raise
        except HumclickError as error:
            raise DataError(f"{where}: sizes.{name}: {error}") from error
    return sizes
