"""A sample of a sweep for every run; the rest of it with ``make test-long``."""

from collections.abc import Container, Iterable
from typing import Any

import pytest

__all__ = ["sampled"]


def sampled(cases: Iterable[Any], sample: Container[Any]) -> list[Any]:
    """Cases for ``parametrize``, a tuple for several arguments; those outside the sample are ``long``."""
    return [
        pytest.param(
            *(case if isinstance(case, tuple) else (case,)), marks=() if case in sample else pytest.mark.long
        )
        for case in cases
    ]
