"""
How many small faults, put into judgement, readings and the call, the tests notice.

Each mutation changes one place of the source: a comparison, a sign, a number, a truth value, a branch or a
returned value. All that are drawn stand in one copy of the sources, asleep, every line under its old number.
The tests are collected once; then each fault is woken in a process of its own and meets the tests that cover
its line, the quickest first, until one fails (`benchmarks.mutants`). Which test covers which line is worked
out once and stays in a folder outside the tree until the sources or the test change. A fault counts as
noticed if a test fails or never ends; on a line that no test covers it counts as not noticed. Mutations that
no input can show (equivalent ones) stand in ``benchmarks/equivalent_mutations.toml``, each with the reason,
and are left out.
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
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

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
_EQUIVALENT = _ROOT / "benchmarks" / "equivalent_mutations.toml"
#: Where the map of which test covers which line stays.
_MAP = Path(tempfile.gettempdir()) / "humclick-lines"
#: How the tests end when a fault is noticed.
_NOTICED = ("failed", "hung")
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
    text : str
        The line it begins on.
    """

    file: str
    line: int
    column: int
    end_line: int
    end_column: int
    before: str
    after: str
    text: str

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
    lines, begins = source.splitlines(), _begins(source)
    data = source.encode()
    for node in _expressions(ast.parse(source)):
        for after in _changed(node):
            line, column, end_line, end_column = _place(node)
            before = data[begins[line - 1] + column : begins[end_line - 1] + end_column].decode()
            changed = ast.unparse(after)
            made.add(Mutation(file, *_place(node), before, changed, lines[line - 1].strip()))
    return sorted(made, key=lambda m: (m.file, m.place, m.after))


def _begins(source: str) -> list[int]:
    """Where each line begins. [byte]"""
    begins = [0]
    for line in source.encode().splitlines(keepends=True):
        begins.append(begins[-1] + len(line))
    return begins


def _place(node: ast.expr) -> tuple[int, int, int, int]:
    assert node.end_lineno is not None
    assert node.end_col_offset is not None
    return node.lineno, node.col_offset, node.end_lineno, node.end_col_offset


def instrumented(source: str, chosen: Mapping[int, Mutation]) -> str:
    """
    A module with some mutations of it asleep in it, by their numbers; every line keeps its number.

    Where a mutation is, ``(changed if awake else as it was)`` is written.
    """
    data = source.encode()
    begins = _begins(source)
    spans: dict[tuple[int, int], list[tuple[int, str]]] = {}
    for number, m in chosen.items():
        span = begins[m.line - 1] + m.column, begins[m.end_line - 1] + m.end_column
        spans.setdefault(span, []).append((number, m.after))
    marks: list[tuple[int, int, int, bytes]] = []  # where; ends before begins; inner before outer; what
    for (begin, end), switches in spans.items():
        awake = "".join(f"({after}) if {_SWITCH}({number}) else " for number, after in switches)
        marks.append((begin, 1, -end, f"({awake}(".encode()))
        marks.append((end, 0, -begin, b"))"))
    first = next(n for n in ast.parse(source).body if not isinstance(n, ast.Expr) and not _future(n))
    switch = f"from benchmarks.mutant_switch import on as {_SWITCH}; ".encode()
    marks.append((begins[first.lineno - 1], 1, -len(data) - 1, switch))
    made, at = [], 0
    for where, _, _, text in sorted(marks):
        made += [data[at:where], text]
        at = where
    return b"".join([*made, data[at:]]).decode()


def _future(node: ast.stmt) -> bool:
    return isinstance(node, ast.ImportFrom) and node.module == "__future__"


# -- the run ------------------------------------------------------------------------------------------------


def _drawn(given: argparse.Namespace) -> list[Mutation]:
    if given.again:
        rows = json.loads(given.again.read_text("utf-8"))["rows"]
        return [Mutation(**row) for row in rows if row.pop("outcome") not in _NOTICED]
    every: list[Mutation] = []
    for package in _PACKAGES:
        for path in sorted((_ROOT / "src" / "humclick" / package).rglob("*.py")):
            every += mutations_of(path.relative_to(_ROOT).as_posix(), path.read_text("utf-8"))
    return random.Random(given.seed).sample(every, min(given.count, len(every)))


def _written(tree: Path, drawn: Sequence[Mutation]) -> None:
    """A copy of the sources with every mutation asleep in it."""
    shutil.copytree(_ROOT / "src", tree, ignore=shutil.ignore_patterns("__pycache__"))
    for file in {m.file for m in drawn}:
        path = tree.parent / file
        chosen = {k: m for k, m in enumerate(drawn) if m.file == file}
        path.write_text(instrumented(path.read_text("utf-8"), chosen), "utf-8")


def _statement(mutation: Mutation) -> tuple[int, int]:
    """From the first line of the statement a mutation lies in to the last of the mutation."""
    tree = ast.parse((_ROOT / mutation.file).read_text("utf-8"))
    around = (
        n.lineno
        for n in ast.walk(tree)
        if isinstance(n, ast.stmt) and n.lineno <= mutation.line and (n.end_lineno or 0) >= mutation.end_line
    )
    return max(around), mutation.end_line


def _run(drawn: Sequence[Mutation], given: argparse.Namespace) -> list[str]:
    """What became of each mutation."""
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        _written(work / "src", drawn)
        rows = [asdict(m) | {"name": m.name, "statement": _statement(m)} for m in drawn]
        task = {"drawn": rows, "jobs": given.jobs, "control": given.control, "map": str(given.map)}
        (work / "task.json").write_text(json.dumps(task), "utf-8")
        more = {"PYTHONPATH": f"{work / 'src'}:{_ROOT}", "MUTANTS": folder, "PYTHONDONTWRITEBYTECODE": "1"}
        more["HYPOTHESIS_STORAGE_DIRECTORY"] = str(work / "hypothesis")
        tests = [name for name in given.tests if (_ROOT / name).exists()]
        options = ["-n", "0", "-p", "benchmarks.mutants", "-p", "no:cacheprovider", "--capture=no"]
        run = [sys.executable, "-m", "pytest", *options, *tests]
        subprocess.run(run, cwd=_ROOT, env=os.environ | more, check=True)
        outcome = json.loads((work / "outcome.json").read_text("utf-8"))
    return [outcome[str(k)] for k in range(len(drawn))]


def _equivalent(every: Sequence[Mutation]) -> set[Mutation]:
    """Those of the mutations that are listed as equivalent: same file, same line of text, same change."""
    listed = tomllib.loads(_EQUIVALENT.read_text("utf-8"))["mutation"] if _EQUIVALENT.exists() else []
    known = {(row["file"], row["line"], row["before"], row["after"]) for row in listed}
    return {m for m in every if (m.file, m.text, " ".join(m.before.split()), m.after) in known}


def main(arguments: Sequence[str] | None = None) -> int:
    """Put faults in, run the tests that cover them, and say which were not noticed."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--tests", nargs="*", default=_TESTS)
    parser.add_argument("--map", type=Path, default=_MAP, help="folder for which test covers which line")
    parser.add_argument("--again", type=Path, help="only what was not noticed in an earlier report")
    parser.add_argument("--control", action="store_true", help="wake nothing: nothing may be noticed")
    parser.add_argument("--write", type=Path)
    given = parser.parse_args(arguments)
    drawn = _drawn(given)
    outcomes = dict(zip(drawn, _run(drawn, given), strict=True))
    noticed = {m for m, outcome in outcomes.items() if outcome in _NOTICED}
    left_out = _equivalent(drawn) - noticed
    for mutation in sorted(set(drawn) - noticed - left_out, key=lambda m: (m.file, m.line)):
        print(f"{outcomes[mutation]}: line {mutation.line} of {mutation.name}  [{mutation.text}]")
    count = len(drawn) - len(left_out)
    print(f"{len(noticed)} of {count} noticed ({len(noticed) / max(count, 1):.1%}), by how the tests ended:")
    print(*(f"  {word}: {number}" for word, number in Counter(outcomes.values()).items()), sep="\n")
    print(f"{len(left_out)} equivalent ones left out")
    if given.write:
        rows = [asdict(m) | {"outcome": outcome} for m, outcome in outcomes.items()]
        report = {"seed": given.seed, "noticed": len(noticed), "of": count, "equivalent": len(left_out)}
        text = json.dumps(report | {"rows": rows}, indent=1, ensure_ascii=False)
        given.write.write_text(text + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
