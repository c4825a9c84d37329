"""Schemas: the shape of a call and of any result, as JSON Schema (draft 2020-12)."""

from __future__ import annotations

from typing import Any

import msgspec

from humclick.jobs.call_file import MOST_EVENTS, VERSION
from humclick.jobs.events import KINDS
from humclick.messages import Message

__all__ = ["call_schema", "schema_of"]

_DRAFT = "https://json-schema.org/draft/2020-12/schema"

#: What an event in a call file may leave out, though it always has it once read.
_MADE = ("id", "at")


def schema_of(result: type) -> dict[str, Any]:
    """
    JSON Schema of a results dataclass, or of any type built from such.

    Complex numbers are described as pairs (real, imaginary).

    Examples
    --------
    >>> from humclick.physics.discharge import Discharge
    >>> "seconds" in schema_of(Discharge)["$defs"]["Discharge"]["required"]
    True
    """
    return {"$schema": _DRAFT, **msgspec.json.schema(result, schema_hook=_hook)}


def _hook(kind: type) -> dict[str, Any]:
    if kind is complex:
        return {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
    if kind is Message:
        return {"type": "string"}
    raise NotImplementedError


def call_schema() -> dict[str, Any]:
    """
    JSON Schema of a call file's content: ``humclick_call`` and the list of events.

    Examples
    --------
    >>> call_schema()["properties"]["humclick_call"]
    {'const': 1}
    """
    _, parts = msgspec.json.schema_components(KINDS.values(), schema_hook=_hook)
    events = []
    for kind, event in KINDS.items():
        shape = dict(parts[event.__name__])
        shape["properties"] = {"kind": {"const": kind}, **shape["properties"]}
        shape["required"] = ["kind", *(n for n in shape["required"] if n not in _MADE)]
        shape["additionalProperties"] = False
        events.append(shape)
    return {
        "$schema": _DRAFT,
        "title": "A call",
        "type": "object",
        "properties": {
            "humclick_call": {"const": VERSION},
            "event": {"type": "array", "maxItems": MOST_EVENTS, "items": {"oneOf": events}},
        },
        "required": ["humclick_call"],
        "additionalProperties": False,
    }
