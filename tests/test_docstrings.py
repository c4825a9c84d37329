"""Numbers that go in and come out have their unit written beside them."""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from types import ModuleType

import pytest

import humclick.circuit
import humclick.diagnosis
import humclick.physics

#: Functions whose numbers have no unit of their own, each with the reason.
_ANY = "lets any unit through and back"
_PROBABILITY = "takes probabilities, which have none"
_DRAWING = "lengths on the drawing sheet, in its own units"
FREE: dict[str, str] = {
    "physics.bounds.between": _ANY,
    "physics.bounds.not_negative": _ANY,
    "physics.bounds.positive": _ANY,
    "physics.capacitor.in_parallel": "takes any number of farads, called so",
    "physics.capacitor.in_series": "takes any number of farads, called so",
    "circuit.drawing.describe_wiring": _PROBABILITY,
    "circuit.drawing_svg.mark_outline": _DRAWING,
    "circuit.drawing_svg.opening": _DRAWING,
    "circuit.drawing_svg.render": _PROBABILITY,
    "circuit.drawing_svg.short": "shortens any number",
    "diagnosis.hearing.reported": _PROBABILITY,
    "circuit.layout_rows.lay_out_rows": _DRAWING,
    "circuit.scene.advance": _DRAWING,
    "circuit.scene.wrap": _DRAWING,
    "diagnosis.decisions.actions_for": _PROBABILITY,
    "diagnosis.evidence.lead_nodes": _PROBABILITY,
    "diagnosis.factors.p_hot": _PROBABILITY,
    "diagnosis.displays.cut_at": "edges in the unit of the scale",
    "diagnosis.displays.shares_of": "median and base in the unit of the scale",
    "diagnosis.law.evenly": "takes any unit, one for all three",
    "diagnosis.law.evenly_by_ratio": "takes any unit, one for all four",
    "diagnosis.law.gain": "value in the unit of the quantity handed over with it",
    "diagnosis.law.in_the_open": _PROBABILITY,
    "diagnosis.likelihood.nodes_of": "values in the unit of the median",
}

_NUMBER = re.compile(r"\b(float|complex)\b")
#: A unit, or a word for where it stands.
_UNIT = re.compile(r"\[[^\[\]\n]+\]|[Aa]s (in|for) `|same unit")
_SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)


def modules(package: ModuleType) -> Iterator[ModuleType]:
    """Every module of a package."""
    for found in pkgutil.iter_modules(package.__path__, f"{package.__name__}."):
        yield importlib.import_module(found.name)


def functions() -> dict[str, Callable[..., object]]:
    """Public functions of the computing packages, by name."""
    found: dict[str, Callable[..., object]] = {}
    for package in (humclick.physics, humclick.circuit, humclick.diagnosis):
        for module in modules(package):
            for name in getattr(module, "__all__", ()):
                member = getattr(module, name)
                member = inspect.unwrap(member) if callable(member) else member
                if inspect.isfunction(member) and member.__module__ == module.__name__:
                    found[f"{module.__name__.removeprefix('humclick.')}.{name}"] = member
    return found


def sections(text: str) -> dict[str, str]:
    """Sections of a numpydoc docstring by heading; the summary under the empty heading."""
    parts = _SECTION.split(inspect.cleandoc(text))
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries(section: str) -> dict[str, str]:
    """Text of each name in a Parameters or Attributes section."""
    found: dict[str, str] = {}
    names: list[str] = []
    for line in section.splitlines():
        head = re.match(r"^\*{0,2}(\w[\w, ]*?)(?: : .*)?$", line)
        if head and not line.startswith(" "):
            names = [name.strip() for name in head[1].split(",")]
        for name in names:
            found[name] = f"{found.get(name, '')} {line}"
    return found


def without_unit(function: Callable[..., object]) -> list[str]:
    """Names of the numbers, parameters and result, for which no unit is written."""
    text = sections(function.__doc__ or "")
    written = entries(text.get("Parameters", ""))
    told = bool(_UNIT.search(text[""]))
    missing = []
    hints = dict(function.__annotations__)
    result = hints.pop("return", "")
    for name, kind in hints.items():
        if _NUMBER.search(str(kind)) and not _UNIT.search(written.get(name, "")):
            missing.append(name)
    if _NUMBER.search(str(result)) and not told and not _UNIT.search(text.get("Returns", "")):
        missing.append("the result")
    return missing


@pytest.mark.parametrize("name", sorted(functions()))
def test_numbers_of_public_functions_have_units(name: str) -> None:
    """Each number a public function takes or gives has its unit in brackets, or a reason why not."""
    missing = without_unit(functions()[name])
    if name in FREE:
        assert missing, f"{name} has its units; take it off the list of exceptions"
    else:
        assert missing == []


def test_numbers_of_values_in_physics_have_units() -> None:
    """Each number in a value of the physics floor has its unit in brackets."""
    missing = []
    for module in modules(humclick.physics):
        for name in getattr(module, "__all__", ()):
            kind = getattr(module, name)
            if not dataclasses.is_dataclass(kind) or kind.__module__ != module.__name__:
                continue
            text = sections(kind.__doc__ or "")
            if re.search(r"[Aa]ll in \[", text[""]):
                continue
            written = entries(text.get("Attributes", ""))
            for each in dataclasses.fields(kind):
                if _NUMBER.search(str(each.type)) and not _UNIT.search(written.get(each.name, "")):
                    missing.append(f"{module.__name__}.{name}.{each.name}")
    assert missing == []


def test_exceptions_are_functions_and_have_reasons() -> None:
    """No exception outlives its function, and each says why."""
    assert set(FREE) <= set(functions())
    assert all(reason.strip() for reason in FREE.values())


def test_the_check_finds_a_number_without_unit() -> None:
    """A function whose docstring leaves out a unit is found out."""

    def bare(volts: float, amps: float) -> float:
        """
        Ohms.

        Parameters
        ----------
        volts : float
            Across it. [V]
        amps : float
            Through it.
        """
        return volts / amps

    assert without_unit(bare) == ["amps", "the result"]
