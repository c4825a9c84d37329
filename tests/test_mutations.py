"""The measurement of mutations changes what it says it changes, and nothing else."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest
from benchmarks import mutant_switch
from benchmarks.mutations import instrumented, mutations_of

ROOT = Path(__file__).parents[1]
SOURCE = '''"""A module."""

from __future__ import annotations

from math import (
    inf,
)


def far(x: float, near: bool = False) -> str:
    """How far."""
    if not near and x >= 10.0 or x == inf:
        return "far" if x > (
            20.0 + 1
        ) else "Ω"
    return f"{x:g}"
'''


def test_asleep_a_module_is_as_it_was_line_by_line() -> None:
    """Every line keeps its number, and every answer."""
    every = mutations_of("a.py", SOURCE)
    made = instrumented(SOURCE, dict(enumerate(every)))
    assert len(made.splitlines()) == len(SOURCE.splitlines())
    plain: dict[str, object] = {}
    asleep: dict[str, object] = {}
    exec(SOURCE, plain)
    exec(made, asleep)
    for x in (1.0, 10.0, 15.0, 21.0, 22.0):
        for near in (False, True):
            assert asleep["far"](x, near) == plain["far"](x, near)  # type: ignore[operator]


@pytest.mark.parametrize(
    ("before", "after", "x", "near", "said"),
    [
        ("x >= 10.0", "x > 10.0", 10.0, False, "10"),
        ("not near", "near", 15.0, False, "15"),
        ("20.0 + 1", "20.0 - 1", 20.0, False, "far"),
        ("1", "2", 21.5, False, "Ω"),
        ("not near and x >= 10.0 or x == inf", "(not near and x >= 10.0) and x == inf", 15.0, False, "15"),
    ],
)
def test_awake_a_fault_does_what_it_says(
    before: str, after: str, x: float, near: bool, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That fault alone, and only while it is awake."""
    every = mutations_of("a.py", SOURCE)
    number = next(k for k, m in enumerate(every) if (m.before, m.after) == (before, after))
    made: dict[str, object] = {}
    exec(instrumented(SOURCE, dict(enumerate(every))), made)
    assert made["far"](x, near) != said  # type: ignore[operator]
    monkeypatch.setattr(mutant_switch, "ACTIVE", number)
    assert made["far"](x, near) == said  # type: ignore[operator]
    assert number in mutant_switch.SEEN


def test_every_equivalent_mutation_is_one_that_is_made() -> None:
    """File, line and change are those of a mutation of the sources as they are, and the reason is given."""
    rows = tomllib.loads((ROOT / "benchmarks" / "equivalent_mutations.toml").read_text("utf-8"))["mutation"]
    for file in {row["file"] for row in rows}:
        source = (ROOT / file).read_text("utf-8")
        ast.parse(source)
        made = {(m.text, " ".join(m.before.split()), m.after) for m in mutations_of(file, source)}
        for row in rows:
            if row["file"] == file:
                assert (row["line"], row["before"], row["after"]) in made, row["line"]
                assert row["why"].endswith(".")
