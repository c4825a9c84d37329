"""
Hum & Click: from a compressor that will not start to a diagnosis you can stand behind.

As a library, ``import humclick as hc``: describe a `machine`, open a `Call`, say what was `Call.seen`, and
ask for `Call.advice`, why, what if, and the sheet. Each name is loaded when it is first used.

Imports only go down these floors::

    6  faces        cli | web | library
    5  the call     jobs
    4  judgement    diagnosis | replacement | recordings
    3  behaviour    circuit | start
    2  matter       arrangements, parts, safety
    1  measuring    readings, meters, physics, sizes
    0  ground       typed_data, sourced, toml_text, limits, errors, messages
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from humclick.errors import HumclickError, Refused, Unknown
    from humclick.library import Call, machine, open_call, read_recording, shop, try_start

__all__ = [
    "Call",
    "HumclickError",
    "Refused",
    "Unknown",
    "__version__",
    "machine",
    "open_call",
    "read_recording",
    "shop",
    "try_start",
]

__version__ = "0.1.0"

_ERRORS = frozenset({"HumclickError", "Refused", "Unknown"})


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"humclick has no {name!r}; it has {', '.join(sorted(__all__))}")
    from importlib import import_module

    return getattr(import_module("humclick.errors" if name in _ERRORS else "humclick.library"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
