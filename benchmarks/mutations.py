"""
How many small faults, put into judgement, readings and the call, the tests notice.

Each mutation changes one place of the source: a comparison, a sign, a number, a truth value, a branch or a
returned value. It is run against the tests that run its line. Reasons why a survivor changes nothing
(equivalent mutations) stand in ``benchmarks/results/equivalent_mutations.toml`` and are left out.
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
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

__all__ = ["Mutation", "main", "mutations_of"]

_ROOT = Path(__file__).parents[1]
_PACKAGES = ("diagnosis", "readings", "jobs")
_TESTS = (
    "tests/diagnosis",
    "tests/jobs",
    "tests/library",
    "tests/test_readings.py",
    "tests/test_examples.py",
)
_EQUIVALENT = _ROOT / "benchmarks" / "results" / "equivalent_mutations.toml"
#: A run that takes longer hangs, and is noticed. [s]
_LONGEST = 300.0

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

    def applied(self, source: str) -> str:
        """The source with this one place changed."""
        lines = source.encode().splitlines(keepends=True)
        head = b"".join(lines[: self.line - 1]) + lines[self.line - 1][: self.column]
        tail = lines[self.end_line - 1][self.end_column :] + b"".join(lines[self.end_line :])
        return (head + b"(" + self.after.encode() + b")" + tail).decode()


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


def mutations_of(file: str, source: str, lines: frozenset[int]) -> list[Mutation]:
    """
    Every mutation of a module on some of its lines.

    Annotations, decorators, defaults of dataclass fields and everything outside functions are left alone.
    """
    made = []
    for function in (n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.FunctionDef)):
        for statement in function.body:
            for node in ast.walk(statement):
                if isinstance(node, ast.expr) and node.lineno in lines and "\n" not in _text(source, node):
                    made += [_mutation(file, source, node, after) for after in _changed(node)]
    return sorted(set(made), key=lambda m: (m.file, m.line, m.column, m.after))


def _text(source: str, node: ast.expr) -> str:
    return ast.get_source_segment(source, node) or "\n"


def _mutation(file: str, source: str, node: ast.expr, after: ast.expr) -> Mutation:
    assert node.end_lineno is not None
    assert node.end_col_offset is not None
    place = (node.lineno, node.col_offset, node.end_lineno, node.end_col_offset)
    return Mutation(file, *place, _text(source, node), ast.unparse(after))


# -- which tests run which line -----------------------------------------------------------------------------


def _covered(work: Path, tests: Sequence[str]) -> tuple[dict[tuple[str, int], set[str]], dict[str, float]]:
    """Tests by the file and line they run, and how long each took. [s]"""
    data, rc, times = work / "coverage", work / "coveragerc", work / "times.json"
    include = "\n    ".join(f"src/humclick/{name}/*" for name in _PACKAGES)
    rc.write_text(f"[run]\ndata_file = {data}\ninclude =\n    {include}\n")
    plugin = work / "stopwatch.py"
    plugin.write_text(_STOPWATCH)
    environment = {**os.environ, "PYTHONPATH": f"{work}:{_ROOT / 'src'}:{_ROOT}", "TIMES": str(times)}
    run = [sys.executable, "-m", "coverage", "run", f"--rcfile={rc}", "-m", "pytest", "-p", "stopwatch"]
    subprocess.run([*run, "-n", "0", *tests], cwd=_ROOT, env=environment, check=True)
    import coverage

    measured = coverage.CoverageData(str(data))
    measured.read()
    by_line: dict[tuple[str, int], set[str]] = {}
    for file in measured.measured_files():
        name = Path(file).relative_to(_ROOT).as_posix()
        for line, contexts in measured.contexts_by_lineno(file).items():
            if nodes := set(contexts) - {""}:
                by_line[name, line] = nodes
    return by_line, json.loads(times.read_text("utf-8"))


_STOPWATCH = '''
"""Tells coverage which test runs, and writes how long each took."""
import collections, json, os
import coverage, pytest
spent = collections.Counter()
@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item):
    coverage.Coverage.current().switch_context(item.nodeid)
    return (yield)
def pytest_runtest_logreport(report):
    spent[report.nodeid] += report.duration
def pytest_sessionfinish():
    with open(os.environ["TIMES"], "w") as file:
        json.dump(spent, file)
'''


# -- the run ------------------------------------------------------------------------------------------------


def _noticed(mutation: Mutation, tests: Sequence[str], tree: Path) -> bool:
    """Whether a test fails with this mutation in a copy of the sources."""
    path = tree / mutation.file
    source = path.read_text("utf-8")
    path.write_text(mutation.applied(source), "utf-8")
    environment = {**os.environ, "PYTHONPATH": f"{tree / 'src'}:{_ROOT}", "PYTHONDONTWRITEBYTECODE": "1"}
    run = [sys.executable, "-m", "pytest", "-x", "-n", "0", "-p", "no:cacheprovider", *tests]
    try:
        done = subprocess.run(run, cwd=_ROOT, env=environment, capture_output=True, timeout=_LONGEST)
        return done.returncode != 0
    except subprocess.TimeoutExpired:
        return True
    finally:
        path.write_text(source, "utf-8")


def _sampled(covered: Mapping[tuple[str, int], set[str]], count: int, seed: int) -> list[Mutation]:
    every: list[Mutation] = []
    for file in sorted({file for file, _ in covered}):
        lines = frozenset(line for name, line in covered if name == file)
        every += mutations_of(file, (_ROOT / file).read_text("utf-8"), lines)
    return random.Random(seed).sample(every, min(count, len(every)))


def main(arguments: Sequence[str] | None = None) -> int:
    """Put faults in, run the tests that run their lines, and say which were not noticed."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--tests", nargs="*", default=_TESTS)
    parser.add_argument("--write", type=Path)
    given = parser.parse_args(arguments)
    equivalent = tomllib.loads(_EQUIVALENT.read_text("utf-8"))["equivalent"] if _EQUIVALENT.exists() else {}
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        covered, seconds = _covered(work, given.tests)
        sample = _sampled(covered, given.count, given.seed)
        trees = [work / f"tree{k}" for k in range(given.jobs)]
        for tree in trees:
            shutil.copytree(
                _ROOT / "src", tree / "src", ignore=shutil.ignore_patterns("built", "__pycache__")
            )
        free = list(trees)

        def tried(mutation: Mutation) -> bool:
            tests = sorted(covered[mutation.file, mutation.line], key=lambda t: seconds.get(t, 0.0))
            tree = free.pop()
            try:
                return _noticed(mutation, tests, tree)
            finally:
                free.append(tree)

        with ThreadPoolExecutor(given.jobs) as pool:
            outcome = dict(zip(sample, pool.map(tried, sample), strict=True))
    return _told(outcome, equivalent, given)


def _told(outcome: Mapping[Mutation, bool], equivalent: Mapping[str, str], given: argparse.Namespace) -> int:
    survivors = [m for m, noticed in outcome.items() if not noticed]
    meant = [m for m in survivors if m.name in equivalent]
    count = len(outcome) - len(meant)
    caught = len(outcome) - len(survivors)
    for mutation in sorted(set(survivors) - set(meant), key=lambda m: m.name):
        print(f"not noticed: line {mutation.line} of {mutation.name}")
    print(f"{caught} of {count} noticed ({caught / count:.1%}); {len(meant)} equivalent ones left out")
    if given.write:
        rows = [asdict(m) | {"noticed": noticed} for m, noticed in outcome.items()]
        report = {"seed": given.seed, "noticed": caught, "of": count, "equivalent": len(meant), "rows": rows}
        given.write.write_text(json.dumps(report, indent=1, ensure_ascii=False) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
