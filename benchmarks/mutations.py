"""
How many small faults, put into judgement, readings and the call, the tests notice.

Each mutation changes one place of the source: a comparison, a sign, a number, a truth value, a branch or a
returned value. It is run against the tests that run its line. Reasons why a survivor changes nothing
(equivalent mutations) stand in ``benchmarks/results/equivalent_mutations.toml`` and are left out.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

__all__ = ["Coverage", "Mutation", "main", "mutations_of"]

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
#: Tests of a line are run, the quickest first, as long as they fit into this. [s]
_SPENT = 90.0
#: A run hangs, and is noticed, that takes longer than this and so many times its tests. [s], [-]
_START, _HANGS = 120.0, 6.0
#: What pytest gives back where every test of a file is left out.
_NOTHING_TO_RUN = 5

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


class Coverage:
    """
    Which tests run which line, one run of pytest for a file of tests.

    Parameters
    ----------
    file : Path | None
        Where the map is written down between runs. A file of tests that is still the same is not run again,
        unless the sources have changed.
    """

    def __init__(self, file: Path | None) -> None:
        self.file = file
        self.sources = _digest(sorted((_ROOT / "src" / "humclick").rglob("*.py")))
        kept: dict[str, Any] = json.loads(file.read_text("utf-8")) if file and file.exists() else {}
        self.seconds: dict[str, float] = {}
        self.rows: dict[str, Any] = kept["rows"] if kept.get("sources") == self.sources else {}

    def measure(self, tests: Sequence[str], jobs: int) -> None:
        """Run the files of tests that are new or changed."""
        files = _test_files(tests)
        digests = {name: _digest([_ROOT / name]) for name in files}
        due = [name for name in files if self.rows.get(name, {}).get("digest") != digests[name]]
        self.rows = {name: row for name, row in self.rows.items() if name in digests}
        with ThreadPoolExecutor(jobs) as pool:
            for name, row in zip(due, pool.map(_covered, due), strict=True):
                self.rows[name] = {"digest": digests[name], **row}
        if self.file:
            self.file.write_text(json.dumps({"sources": self.sources, "rows": self.rows}), "utf-8")

    def by_line(self) -> dict[tuple[str, int], list[str]]:
        """Tests by the file and line they run, the quickest first."""
        met: dict[tuple[str, int], list[str]] = {}
        for row in self.rows.values():
            self.seconds |= row["seconds"]
            for name, lines in row["lines"].items():
                for line, nodes in lines.items():
                    met.setdefault((name, int(line)), []).extend(nodes)
        return {at: sorted(nodes, key=lambda n: self.seconds.get(n, 0.0)) for at, nodes in met.items()}


def _digest(files: Sequence[Path]) -> str:
    return hashlib.sha256(b"\0".join(file.read_bytes() for file in files)).hexdigest()


def _test_files(tests: Sequence[str]) -> list[str]:
    paths = [_ROOT / name for name in tests]
    files = [file for path in paths for file in (sorted(path.rglob("test_*.py")) or [path])]
    return [file.relative_to(_ROOT).as_posix() for file in files]


def _covered(tests: str) -> dict[str, Any]:
    """Lines that each test of a file runs, and how long each took. [s]"""
    import coverage

    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        data, rc, times = work / "coverage", work / "coveragerc", work / "times.json"
        include = "\n    ".join(f"src/humclick/{name}/*" for name in _PACKAGES)
        rc.write_text(f"[run]\ndata_file = {data}\ninclude =\n    {include}\n")
        (work / "stopwatch.py").write_text(_STOPWATCH)
        environment = {**os.environ, "PYTHONPATH": f"{work}:{_ROOT / 'src'}:{_ROOT}", "TIMES": str(times)}
        run = [sys.executable, "-m", "coverage", "run", f"--rcfile={rc}", "-m", "pytest", "-p", "stopwatch"]
        done = subprocess.run([*run, "-n", "0", tests], cwd=_ROOT, env=environment, capture_output=True)
        if done.returncode not in (0, _NOTHING_TO_RUN):
            raise SystemExit(f"{tests} fails before any fault is put in:\n{done.stdout.decode()[-3000:]}")
        measured = coverage.CoverageData(str(data))
        measured.read()
        lines: dict[str, dict[int, list[str]]] = {}
        for file in measured.measured_files():
            contexts = measured.contexts_by_lineno(file).items()
            met = {line: sorted({*nodes} - {""}) for line, nodes in contexts}
            lines[Path(file).relative_to(_ROOT).as_posix()] = {
                at: nodes for at, nodes in met.items() if nodes
            }
        seconds = json.loads(times.read_text("utf-8"))
    return {"lines": lines, "seconds": {name: round(s, 3) for name, s in seconds.items()}}


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


def _noticed(mutation: Mutation, tests: Sequence[str], tree: Path, limit: float) -> bool:
    """Whether a test fails, or hangs, with this mutation in a copy of the sources; ``limit`` in [s]."""
    path = tree / mutation.file
    source = path.read_text("utf-8")
    path.write_text(mutation.applied(source), "utf-8")
    environment = {**os.environ, "PYTHONPATH": f"{tree / 'src'}:{_ROOT}", "PYTHONDONTWRITEBYTECODE": "1"}
    run = [sys.executable, "-m", "pytest", "-x", "-n", "0", "-p", "no:cacheprovider", *tests]

    def code_of_run() -> int:
        return subprocess.run(run, cwd=_ROOT, env=environment, capture_output=True, timeout=limit).returncode

    try:
        code = code_of_run()
    except subprocess.TimeoutExpired:
        return True
    finally:
        path.write_text(source, "utf-8")
    if code not in (0, 1) and code_of_run() != 0:
        raise SystemExit(f"pytest does not run {tests[:3]}, with no fault put in")
    return code != 0


def _within(tests: Sequence[str], seconds: Mapping[str, float]) -> tuple[list[str], float]:
    """As many tests, the quickest first, as fit into the time, and how long they took. [s]"""
    chosen: list[str] = []
    spent = 0.0
    for name in tests:
        if chosen and spent + seconds.get(name, 0.0) > _SPENT:
            break
        chosen.append(name)
        spent += seconds.get(name, 0.0)
    return chosen, spent


def _sampled(covered: Iterable[tuple[str, int]], count: int, seed: int) -> list[Mutation]:
    every: list[Mutation] = []
    lines: dict[str, set[int]] = {}
    for file, line in covered:
        lines.setdefault(file, set()).add(line)
    for file in sorted(lines):
        every += mutations_of(file, (_ROOT / file).read_text("utf-8"), frozenset(lines[file]))
    return random.Random(seed).sample(every, min(count, len(every)))


def _options(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--skip", type=int, default=0, help="leave out so many of the seed's mutations")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--tests", nargs="*", default=_TESTS)
    parser.add_argument("--map", type=Path, help="file that keeps which test runs which line between runs")
    parser.add_argument("--control", action="store_true", help="put nothing in: nothing may be noticed")
    parser.add_argument("--write", type=Path)
    return parser.parse_args(arguments)


def main(arguments: Sequence[str] | None = None) -> int:
    """Put faults in, run the tests that run their lines, and say which were not noticed."""
    given = _options(arguments)
    equivalent = tomllib.loads(_EQUIVALENT.read_text("utf-8"))["equivalent"] if _EQUIVALENT.exists() else {}
    coverage = Coverage(given.map)
    coverage.measure(given.tests, given.jobs)
    covered = coverage.by_line()
    sample = _sampled(covered, given.skip + given.count, given.seed)[given.skip :]
    if given.control:
        sample = [replace(m, after=m.before) for m in sample]
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(given.jobs) as pool:
        free = [Path(folder) / f"tree{k}" for k in range(given.jobs)]
        for tree in free:
            leave = shutil.ignore_patterns("built", "__pycache__")
            shutil.copytree(_ROOT / "src", tree / "src", ignore=leave)

        def tried(mutation: Mutation) -> bool:
            tests, spent = _within(covered[mutation.file, mutation.line], coverage.seconds)
            tree = free.pop()
            try:
                noticed = _noticed(mutation, tests, tree, _START + _HANGS * spent)
            finally:
                free.append(tree)
            if not noticed and mutation.name not in equivalent:
                print(f"not noticed: line {mutation.line} of {mutation.name}", flush=True)
            return noticed

        outcome = dict(zip(sample, pool.map(tried, sample), strict=True))
    return _summed(outcome, equivalent, given)


def _summed(
    outcome: Mapping[Mutation, bool], equivalent: Mapping[str, str], given: argparse.Namespace
) -> int:
    survivors = [m for m, noticed in outcome.items() if not noticed]
    meant = [m for m in survivors if m.name in equivalent]
    count = len(outcome) - len(meant)
    caught = len(outcome) - len(survivors)
    print(f"{caught} of {count} noticed ({caught / count:.1%}); {len(meant)} equivalent ones left out")
    if given.write:
        rows = [asdict(m) | {"noticed": noticed} for m, noticed in outcome.items()]
        report = {"seed": given.seed, "noticed": caught, "of": count, "equivalent": len(meant), "rows": rows}
        given.write.write_text(json.dumps(report, indent=1, ensure_ascii=False) + "\n", "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
