"""
How many small faults, put into judgement, readings and the call, the tests notice.

Each mutation changes one place of the source: a comparison, a sign, a number, a truth value, a branch or a
returned value. All that are drawn stand in one copy of the sources, asleep. The tests are collected once and
run once, to see which of them come by which place; then each fault is woken in a process of its own and meets
the tests that come by, the quickest first, until one fails (`benchmarks.mutants`). Reasons why a survivor
changes nothing (equivalent mutations) stand in ``benchmarks/results/equivalent_mutations.toml`` and are left
out.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

__all__ = ["Mutation", "instrumented", "main", "mutations_of"]

_ROOT = Path(__file__).parents[1]
_PACKAGES = ("diagnosis", "readings", "jobs")
_TESTS = (
    "tests/diagnosis",
    "tests/jobs",
    "tests/cli",
    "tests/library",
    "tests/readings",
    "tests/test_examples.py",
    "tests/test_hazards.py",
    "tests/test_safety.py",
)
_EQUIVALENT = _ROOT / "benchmarks" / "results" / "equivalent_mutations.toml"
#: So many more are drawn than asked for, since some lie where no test comes by. [-]
_MORE = 1.25
_SWITCH = "_mutant_on_"

_COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
_SIGNS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}


@dataclass(frozen=True, slots=True)
class Mutation:
    """
    One changed place.

    Attributes
    ----------
    file : str
        From the root of the repository.
    line, column, end_line, end_column : int
        Place of the changed expression; columns count bytes.
    before, after : str
        Its text.
    """

    file: str
    line: int
    column: int
    end_line: int
    end_column: int
    before: str
    after: str

    @property
    def name(self) -> str:
        """The mutation in one line, by the text and not by its number of line."""
        return f"{self.file}: {' '.join(self.before.split())} -> {' '.join(self.after.split())}"

    @property
    def place(self) -> tuple[int, int, int, int]:
        """Where it is."""
        return self.line, self.column, self.end_line, self.end_column


def _changed(node: ast.expr) -> Iterator[ast.expr]:
    """What an expression may be changed to."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _COMPARISONS:
        yield ast.Compare(node.left, [_COMPARISONS[type(node.ops[0])]()], node.comparators)
    elif isinstance(node, ast.BinOp) and type(node.op) in _SIGNS:
        yield ast.BinOp(node.left, _SIGNS[type(node.op)](), node.right)
    elif isinstance(node, ast.BoolOp):
        yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        yield node.values[0]
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield node.operand
    elif isinstance(node, ast.IfExp):
        yield node.body
        yield node.orelse
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield ast.Constant(not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, (int, float)):
        yield ast.Constant(node.value + 1)


def _expressions(tree: ast.AST) -> Iterator[ast.expr]:
    """
    Every expression inside a function, but annotations, decorators and the values of a ``case``.

    ``strict=True`` is left out too: it changes nothing while the lengths agree.
    """
    for function in (n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef)):
        waiting: list[ast.AST] = list(function.body)
        while waiting:
            node = waiting.pop()
            if isinstance(node, (ast.MatchValue, ast.FunctionDef, ast.JoinedStr)):
                continue  # a function inside comes by itself
            if isinstance(node, ast.keyword) and node.arg == "strict":
                continue
            waiting += [c for n, c in _children(node) if n not in ("annotation", "decorator_list")]
            if isinstance(node, ast.expr):
                yield node


def _children(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    for name, value in ast.iter_fields(node):
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield name, child


def mutations_of(file: str, source: str) -> list[Mutation]:
    """
    Every mutation of a module.

    Annotations, decorators, defaults of dataclass fields and everything outside functions are left alone.
    """
    made = set()
    for node in _expressions(ast.parse(source)):
        text = ast.get_source_segment(source, node)
        for after in _changed(node) if text else ():
            made.add(Mutation(file, *_place(node), text or "", ast.unparse(after)))
    return sorted(made, key=lambda m: (m.file, m.place, m.after))


def _place(node: ast.expr) -> tuple[int, int, int, int]:
    assert node.end_lineno is not None
    assert node.end_col_offset is not None
    return node.lineno, node.col_offset, node.end_lineno, node.end_col_offset


class _Switches(ast.NodeTransformer):
    """Puts a switch at each place: the changed expression while its number is awake, else the old one."""

    def __init__(self, chosen: Mapping[tuple[int, int, int, int], Sequence[tuple[int, str]]]) -> None:
        self.chosen = chosen

    def visit(self, node: ast.AST) -> Any:
        mine = self.chosen.get(_place(node), ()) if isinstance(node, ast.expr) else ()
        made: Any = self.generic_visit(node)
        for number, after in mine:
            awake = ast.Call(ast.Name(_SWITCH, ast.Load()), [ast.Constant(number)], [])
            made = ast.IfExp(awake, ast.parse(after, mode="eval").body, made)
        return made


def instrumented(source: str, chosen: Mapping[int, Mutation]) -> str:
    """A module with some mutations of it asleep in it, by their numbers."""
    places: dict[tuple[int, int, int, int], list[tuple[int, str]]] = {}
    for number, mutation in chosen.items():
        places.setdefault(mutation.place, []).append((number, mutation.after))
    tree = _Switches(places).visit(ast.parse(source))
    at = next(k for k, n in enumerate(tree.body) if not isinstance(n, ast.Expr) and not _future(n))
    tree.body.insert(at, ast.ImportFrom("benchmarks.mutant_switch", [ast.alias("on", _SWITCH)], 0))
    return ast.unparse(ast.fix_missing_locations(tree))


def _future(node: ast.stmt) -> bool:
    return isinstance(node, ast.ImportFrom) and node.module == "__future__"


# -- the run ------------------------------------------------------------------------------------------------


def _drawn(given: argparse.Namespace) -> list[Mutation]:
    if given.again:
        rows = json.loads(given.again.read_text("utf-8"))["rows"]
        left = [row for row in rows if not row.pop("noticed")]
        return [Mutation(**row) for row in left]
    every: list[Mutation] = []
    for package in _PACKAGES:
        for path in sorted((_ROOT / "src" / "humclick" / package).rglob("*.py")):
            every += mutations_of(path.relative_to(_ROOT).as_posix(), path.read_text("utf-8"))
    return random.Random(given.seed).sample(every, min(int(given.count * _MORE) + 1, len(every)))


def _written(tree: Path, drawn: Sequence[Mutation]) -> None:
    """A copy of the sources with every mutation asleep in it."""
    shutil.copytree(_ROOT / "src", tree, ignore=shutil.ignore_patterns("__pycache__"))
    for file in {m.file for m in drawn}:
        path = tree.parent / file
        chosen = {k: m for k, m in enumerate(drawn) if m.file == file}
        path.write_text(instrumented(path.read_text("utf-8"), chosen), "utf-8")


def _run(drawn: Sequence[Mutation], given: argparse.Namespace) -> dict[int, bool]:
    """Which of the mutations that tests come by were noticed."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        _written(work / "src", drawn)
        count = len(drawn) if given.again else given.count
        task = {"drawn": len(drawn), "count": count, "jobs": given.jobs, "control": given.control}
        (work / "task.json").write_text(json.dumps(task | {"names": [m.name for m in drawn]}), "utf-8")
        more = {"PYTHONPATH": f"{work / 'src'}:{_ROOT}", "MUTANTS": folder, "PYTHONDONTWRITEBYTECODE": "1"}
        more["HYPOTHESIS_STORAGE_DIRECTORY"] = str(work / "hypothesis")
        tests = [name for name in given.tests if (_ROOT / name).exists()]
        run = [
            sys.executable,
            "-m",
            "pytest",
            "-n",
            "0",
            "-p",
            "benchmarks.mutants",
            "-p",
            "no:cacheprovider",
        ]
        subprocess.run([*run, "--capture=no", *tests], cwd=_ROOT, env=os.environ | more, check=True)
        outcome = json.loads((work / "outcome.json").read_text("utf-8"))
    return {int(number): noticed for number, noticed in outcome.items()}


def main(arguments: Sequence[str] | None = None) -> int:
    """Put faults in, run the tests that come by them, and say which were not noticed."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--tests", nargs="*", default=_TESTS)
    parser.add_argument("--again", type=Path, help="only what was not noticed in an earlier report")
    parser.add_argument("--control", action="store_true", help="wake nothing: nothing may be noticed")
    parser.add_argument("--write", type=Path)
    given = parser.parse_args(arguments)
    equivalent = tomllib.loads(_EQUIVALENT.read_text("utf-8"))["equivalent"] if _EQUIVALENT.exists() else {}
    drawn = _drawn(given)
    outcome = _run(drawn, given)
    survivors = [drawn[k] for k, noticed in outcome.items() if not noticed]
    meant = [m for m in survivors if m.name in equivalent]
    count, caught = len(outcome) - len(meant), len(outcome) - len(survivors)
    for mutation in sorted(set(survivors) - set(meant), key=lambda m: m.name):
        print(f"not noticed: line {mutation.line} of {mutation.name}")
    print(
        f"{caught} of {count} noticed ({caught / max(count, 1):.1%}); {len(meant)} equivalent ones left out"
    )
    if given.write:
        rows = [asdict(drawn[k]) | {"noticed": noticed} for k, noticed in outcome.items()]
        report = {"seed": given.seed, "noticed": caught, "of": count, "equivalent": len(meant), "rows": rows}
        given.write.write_text(json.dumps(report, indent=1, ensure_ascii=False) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
