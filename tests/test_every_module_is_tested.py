"""Every module is imported by a test of its own, directly and by name."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1]
#: Lines of code, past its docstring and its imports, from which a module does something. [-]
TRIVIAL = 3


def modules() -> dict[str, Path]:
    """Every module of the package by its dotted name."""
    found = {}
    for path in (ROOT / "src" / "humclick").rglob("*.py"):
        if "built" in path.parts:
            continue
        name = ".".join(path.relative_to(ROOT / "src").with_suffix("").parts)
        found[name.removesuffix(".__init__")] = path
    return found


def does_something(path: Path) -> bool:
    """Whether more stands in it than a docstring, imports and the list of its names."""
    body = ast.parse(path.read_text("utf-8")).body
    kept = [n for n in body if not isinstance(n, (ast.Import, ast.ImportFrom, ast.Expr, ast.Assign))]
    return sum((node.end_lineno or node.lineno) - node.lineno + 1 for node in kept) >= TRIVIAL


def imported() -> set[str]:
    """Every module that some file of tests imports, and every name it imports from one."""
    found: set[str] = set()
    for path in (ROOT / "tests").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
            elif isinstance(node, ast.Import):
                found |= {alias.name for alias in node.names}
    return found


def test_every_module_that_does_something_is_imported_by_a_test() -> None:
    """A new module comes with a test that names it; there is no list of exceptions."""
    untested = {name for name, path in modules().items() if does_something(path)} - imported()
    assert untested == set()


def test_modules_and_imports_are_found_at_all() -> None:
    """The two sides above are not empty, and a package of names alone does nothing."""
    known = modules()
    assert len(known) > 200
    assert {"humclick", "humclick.web.pages.call", "humclick.diagnosis.observations.volts"} <= set(known)
    assert does_something(known["humclick.diagnosis.decisions"])
    assert not does_something(known["humclick.diagnosis"])
    assert "humclick.diagnosis.decisions" in imported()
