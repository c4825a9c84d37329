"""
Refrigerants as printed on a nameplate: their safety class, and whether they may burn.

The list is in ``refrigerants.toml``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from humclick.sourced import read_data

__all__ = ["flammable", "safety_class"]

#: Safety classes that do not spread a flame.
_NO_FLAME = ("A1", "B1")

_NUMBERED = re.compile(
    r"(?<![A-Za-z0-9])(?:R|HC|HFC|HFO|HCFC|CFC)[\s.-]{0,2}([0-9]{2,4})([A-Za-z]{0,3})", re.I
)
_BARE = re.compile(r"\s*([0-9]{2,4})([A-Za-z]{0,2})\s*")


def _data() -> Mapping[str, Any]:
    return read_data("humclick.safety", "refrigerants.toml")


@cache
def _classes() -> Mapping[str, str]:
    by_class = _data()["class"]
    return {str(name).upper(): str(kind) for kind, names in by_class.items() for name in names}


def safety_class(refrigerant: str) -> str | None:
    """
    Safety class of a refrigerant as printed on a nameplate, such as ``A3``.

    Parameters
    ----------
    refrigerant : str
        Such as ``R600a``, ``R-290``, ``HC 600a`` or ``isobutane``.

    Returns
    -------
    str or None
        Of several named, a flammable one wins; None if none is in the list.

    Notes
    -----
    ISO 817, from memory.

    Examples
    --------
    >>> safety_class("R-600a (isobutane), 57 g"), safety_class("R134a"), safety_class("R999")
    ('A3', 'A1', None)
    """
    found: list[str | None] = []
    bare = _BARE.fullmatch(refrigerant)
    for digits, letters in [bare.groups()] if bare else _NUMBERED.findall(refrigerant):
        found.append(_classes().get(f"R{digits}{letters}".upper()))
    for name, number in _data()["names"].items():
        if re.search(rf"(?<![^\W_]){re.escape(name)}(?![^\W_])", refrigerant, re.I):
            found.append(_classes()[str(number).upper()])
    burning = [kind for kind in found if kind is not None and kind not in _NO_FLAME]
    if burning:
        return burning[0]
    return None if not found or None in found else found[0]


def flammable(refrigerant: str) -> bool:
    """
    Whether a refrigerant is to be treated as flammable.

    One that is not in the list, or has not been read, is treated as flammable until it is known.

    Examples
    --------
    >>> flammable("R290"), flammable("R404A"), flammable("R999"), flammable("")
    (True, False, True, True)
    """
    return safety_class(refrigerant) not in _NO_FLAME
