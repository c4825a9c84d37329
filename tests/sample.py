"""A sample of a sweep for every run; the rest of it with ``make test-long``."""

from collections.abc import Iterable
from typing import Any

import pytest

__all__ = ["sampled"]


def sampled(cases: Iterable[Any], step: int) -> list[Any]:
    """Cases for ``parametrize``: the first of every so many as they are, the others marked ``long``."""
    return [
        case
        if k % step == 0
        else pytest.param(*(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.long)
        for k, case in enumerate(cases)
    ]
