"""Imports only go down, and what the phone runs needs nothing heavy."""

from __future__ import annotations

import ast
import importlib
import json
import pkgutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

import humclick
from humclick.arrangements.machine import Machine
from humclick.diagnosis import planner
from humclick.diagnosis.advice import advise
from humclick.diagnosis.judged import judge
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.readings import parse_reading

ROOT = Path(__file__).resolve().parents[1]
HEAVY = ("numpy", "scipy", "weasyprint", "numba", "matplotlib", "pyarrow", "dask")
#: Behind an extra of their own: they simulate, and are imported only by what asks for a simulation.
BEHIND = ("humclick.start.", "humclick.replacement.")
#: … but for these, which the phone runs too.
LIGHT = (
    "humclick.start.power_up",
    "humclick.start.rows",
    "humclick.replacement.demand",
    "humclick.replacement.marks",
    "humclick.replacement.match",
)
#: Packages are entered on the way to every module in them, so they are held to more.
SLOW = (*HEAVY, "click", "jinja2", "matplotlib", "sympy", "tomlkit")
WITHOUT = f"import sys; sys.modules.update(dict.fromkeys({HEAVY!r}))"


def run(script: str) -> str:
    """Run a script in a Python of its own and give back what it prints."""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def every_module() -> list[str]:
    """Names of all modules of the program."""
    return [found.name for found in pkgutil.walk_packages(humclick.__path__, "humclick.")]


def imported(tree: ast.AST) -> Iterator[str]:
    """Names a module imports when it runs, inside functions too; what only type checkers read is left out."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            yield from (name for other in node.orelse for name in imported(other))
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        if isinstance(node, ast.ImportFrom) and node.module is not None and not node.level:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)
        yield from imported(node)


def graph(source: Path, root: str) -> dict[str, set[str]]:
    """Which modules of a program each of its modules imports."""
    files = {
        ".".join(path.relative_to(source).with_suffix("").parts).removesuffix(".__init__"): path
        for path in (source / root).rglob("*.py")
    }
    found: dict[str, set[str]] = {}
    for name, path in files.items():
        wanted = set(imported(ast.parse(path.read_text(encoding="utf-8"))))
        wanted |= {each.rpartition(".")[0] for each in wanted if each not in files}
        found[name] = (wanted & files.keys()) - {name}
    return found


def circles(graph: Mapping[str, set[str]]) -> list[set[str]]:
    """Modules that import each other, by way of others too: each such set once (R. Tarjan, 1972)."""
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    found: list[set[str]] = []

    def visit(name: str) -> None:
        index[name] = low[name] = len(index)
        stack.append(name)
        for other in sorted(graph[name]):
            if other not in index:
                visit(other)
            if other in stack:
                low[name] = min(low[name], low[other])
        if low[name] == index[name]:
            circle = stack[stack.index(name) :]
            del stack[stack.index(name) :]
            if len(circle) > 1:
                found.append(set(circle))

    for name in sorted(graph):
        if name not in index:
            visit(name)
    return found


def answer() -> dict[str, Any]:
    """Posterior and advice on a hum and click with two readings, as plain numbers."""
    situation = Situation(
        machine=Machine.of("rsir-ptc", "external"),
        complaint=Heard.HUM_CLICK,
        observations=(
            Observation("pins.C-R", parse_reading("3.1 ohm")),
            Observation("ptc.shake", answer="quiet"),
        ),
        hot=False,
    )
    advice = advise(situation)
    suspects = {s.label: s.probability for s in advice.suspects}
    return {
        "kind": advice.kind,
        "suspects": suspects,
        "remedies": dict(advice.remedies),
        "none": judge(situation).post.none,
        "next": advice.next and advice.next.probe,
        "worth": {v.probe: v.worth for v in (advice.next, *advice.alternatives) if v},
        "verdict": advice.verdict and list(advice.verdict.remedies),
    }


def test_imports_only_go_down_the_floors() -> None:
    """Every contract of pyproject.toml is kept, with every module placed."""
    tool = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([tool, "--no-cache"], cwd=ROOT, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


def test_all_that_the_phone_runs_is_in_the_contract_of_what_is_light() -> None:
    """Every module the pages' engine reaches lies in it, and none that the contract lets be heavy."""
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]["contracts"]
    named = tuple(contracts[1]["source_modules"])
    modules, reached, more = graph(ROOT / "src", "humclick"), set[str](), {"humclick.web.engine"}
    while more:
        reached |= more
        more = {name for module in more for name in modules[module]} - reached
    packages = {name for name in reached if any(other.startswith(f"{name}.") for other in reached)}
    assert {n for n in reached - packages if not f"{n}.".startswith(tuple(f"{m}." for m in named))} == set()
    assert reached.isdisjoint({"humclick.jobs.sheet.pdf", "humclick.jobs.sheet.picture"})
    assert all(any(n == m or n.startswith(f"{m}.") for n in modules) for m in named)


def test_no_modules_import_each_other() -> None:
    """There is no circle of imports anywhere, inside a package or inside a function."""
    modules = graph(ROOT / "src", "humclick")
    assert "humclick.jobs.flow" in modules["humclick.cli.session"]
    assert "humclick.diagnosis.guards" in modules["humclick.jobs.folding"]  # imported inside a function
    assert circles(modules) == []


def test_a_circle_of_imports_is_found(tmp_path: Path) -> None:
    """By way of a third module, inside a function; but not where only type checkers look."""
    (tmp_path / "shop").mkdir()
    texts = {
        "__init__": "",
        "a": "import shop.b",
        "b": "def late():\n    from shop import c",
        "c": "from shop.a import name",
        "d": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from shop.e import x\nimport json",
        "e": "from shop.d import y",
    }
    for name, text in texts.items():
        (tmp_path / "shop" / f"{name}.py").write_text(text)
    assert circles(graph(tmp_path, "shop")) == [{"shop.a", "shop.b", "shop.c"}]


def test_every_module_is_imported_without_the_heavy_libraries() -> None:
    """Array, statistics and typesetting libraries are wanted by no module before it is used."""
    names = [n for n in every_module() if not n.startswith(BEHIND) or n in LIGHT]
    assert "humclick.diagnosis.planner" in names
    script = f"{WITHOUT}; import importlib; print(len([importlib.import_module(n) for n in {names!r}]))"
    assert int(run(script)) == len(names)


def test_packages_import_nothing_slow() -> None:
    """Entering a package brings in its sentence and light names only."""
    names = ["humclick", *(m.name for m in pkgutil.walk_packages(humclick.__path__, "humclick.") if m.ispkg)]
    script = (
        f"import sys, importlib; [importlib.import_module(n) for n in {names!r}]; "
        f"print([s for s in {SLOW!r} if s in sys.modules])"
    )
    assert run(script).strip() == "[]"


def test_advice_is_the_same_without_the_array_library() -> None:
    """A call judged where numpy is missing ends in the same probabilities, worths and next probe."""
    assert importlib.import_module("numpy") is planner.numpy
    script = (
        f"{WITHOUT}; import json; from tests.test_floors import answer; "
        "from humclick.diagnosis import planner; assert planner.numpy is None; print(json.dumps(answer()))"
    )
    plain, here = json.loads(run(script)), answer()
    for key in ("kind", "next", "verdict"):
        assert plain[key] == here[key]
    assert plain["none"] == pytest.approx(here["none"], rel=1e-9)
    for key in ("suspects", "remedies", "worth"):
        assert plain[key] == pytest.approx(here[key], rel=1e-7)


@pytest.mark.parametrize("package", ["jobs", "cli", "web"])
def test_faces_and_the_call_are_cut_into_small_pieces(package: str) -> None:
    """No function of these has more than 60 lines, and no file more than 500."""
    for path in (ROOT / "src/humclick" / package).rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert text.count("\n") <= 500, path.name
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                assert (node.end_lineno or 0) - node.lineno < 60, f"{path.name}: {node.name}"
