"""
Kinds of probes, one file a kind.

Every module of this package that names its ``KINDS`` is found by itself: a new kind is a new file.
"""

from __future__ import annotations

import pkgutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from importlib import import_module

from humclick.diagnosis.observations.model import Model

__all__ = ["kinds", "with_kinds"]

_more: list[Model] = []


@cache
def _own() -> tuple[Model, ...]:
    modules = (import_module(f"{__name__}.{module.name}") for module in pkgutil.iter_modules(__path__))
    return tuple(kind for module in modules for kind in getattr(module, "KINDS", ()))


@cache
def _ordered(more: tuple[Model, ...]) -> tuple[Model, ...]:
    return tuple(sorted((*_own(), *more), key=lambda kind: (kind.order, kind.name)))


def kinds() -> tuple[Model, ...]:
    """Every kind of probe, in the order of a usual call."""
    return _ordered(tuple(_more))


@contextmanager
def with_kinds(*extra: Model) -> Iterator[None]:
    """More kinds of probes for as long as the block lasts."""
    _more.extend(extra)
    try:
        yield
    finally:
        del _more[len(_more) - len(extra) :]
