"""Code asks a part for what it is and does, by its role and its fields, and not by the name of its family."""

from __future__ import annotations

import ast
from collections import Counter
from pathlib import Path

import humclick
from humclick.parts.family import families

ROOT = Path(humclick.__file__).parent

#: Files in which names of families stand as literals, how many at most, and why. Lower a figure when you can.
ALLOWED = {
    # The sealed circuit, supply, ground and mechanism are of the frame that every machine has: no arrangement
    # puts another in their place. Judgement knows the windings, what feeds them and what they turn by name.
    "diagnosis/advice.py": (2, "a winding to ground"),
    "diagnosis/charred.py": (9, "what is sealed in and can be half burnt"),
    "diagnosis/choices.py": (4, "a winding to ground"),
    "diagnosis/guards.py": (30, "probes of supply, ground, mechanism and windings that a guard asks for"),
    "diagnosis/observations/amps.py": (1, "the run winding"),
    "diagnosis/observations/between.py": (1, "the mechanism"),
    "diagnosis/observations/feed.py": (9, "what feeds the machine: supply and control"),
    "diagnosis/observations/measured.py": (1, "the run winding"),
    "diagnosis/observations/model.py": (2, "an inner protector's wait; the ground, on which power rests"),
    "diagnosis/observations/setup.py": (2, "the sealed circuit"),
    "diagnosis/observations/shell.py": (4, "the two windings"),
    "diagnosis/observations/volts.py": (2, "the supply"),
    "diagnosis/observations/volts_start.py": (4, "the supply"),
    "diagnosis/observations/windings.py": (14, "the sealed circuit"),
    "diagnosis/pins_evidence.py": (6, "the windings, two or three"),
    "diagnosis/power.py": (8, "the ground and where it runs"),
    "diagnosis/remedies.py": (2, "remedies of the frame that need no part"),
    "diagnosis/situation.py": (4, "what a person sets right by hand: the control, the condenser"),
    "diagnosis/windings.py": (28, "the two windings behind three pins"),
    "diagnosis/winding_nodes.py": (4, "the two windings behind three pins"),
    "circuit/drawing.py": (2, "probes of the supply"),
    "cli/work.py": (3, "what passes with time: the rows of the table of waiting, which no machine has"),
    "jobs/standing.py": (1, "a probe of the supply"),
    # Kinds of start gear that recordings were simulated and weighed with: a new one needs its signatures.
    "recordings/__init__.py": (3, "kinds of start gear with signatures"),
    "recordings/recognise.py": (1, "a relay whose coil carries the run winding's current"),
    # Not names of families: fields of the simulation, panels, shapes, words of a template.
    "parts/family.py": (4, "roles that are one word"),
    "start/case.py": (1, "a temperature"),
    "start/curves.py": (1, "a curve"),
    "start/estimate.py": (6, "parameters of an estimate"),
    "start/gear/mechanism.py": (1, "a function"),
    "start/rows.py": (3, "columns of the kernel"),
    "start/run.py": (2, "columns of the kernel"),
    "web/drawings.py": (3, "the pins' drawing, and a function"),
    "web/pages/call.py": (2, "a value of a template; the drawing of a relay turned over"),
}


def literals(path: Path, names: frozenset[str]) -> int:
    """How many text literals of a file are the name of a family, or begin with one and a dot."""
    return sum(
        isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and not node.value.endswith(".toml")
        and node.value.partition(".")[0] in names
        and not any(c.isspace() for c in node.value)
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
    )


def counted() -> Counter[str]:
    """Names of families as literals in each file outside the folders of the families."""
    names = frozenset(families())
    inside = [ROOT / "parts" / name for name in names]
    files = [path for path in ROOT.rglob("*.py") if path.parent not in inside]
    return Counter({path.relative_to(ROOT).as_posix(): literals(path, names) for path in files})


def test_no_family_is_named_in_code_without_a_reason() -> None:
    """No file names more families than is allowed it, each allowance with its reason."""
    found = {name: count for name, count in counted().items() if count > ALLOWED.get(name, (0, ""))[0]}
    assert found == {}, "ask the part for a field or its role, or allow it here and say why"


def test_start_gear_is_named_nowhere_but_in_recordings() -> None:
    """The families an arrangement chooses from stand as literals only where recordings know them."""
    gear = frozenset({"current_relay", "potential_relay", "timed_starter"})
    named = {p.relative_to(ROOT).as_posix() for p in ROOT.rglob("*.py") if literals(p, gear)}
    assert named <= {"recordings/__init__.py", "recordings/recognise.py", "web/pages/call.py"}
