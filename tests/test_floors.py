"""Imports only go down, and what the phone runs needs nothing heavy."""

from __future__ import annotations

import importlib
import json
import pkgutil
import subprocess
import sys
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
