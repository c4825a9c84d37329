"""Every number in the data files says its unit and where it comes from, and every name in them is known."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import humclick
import research
from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.shop import default_shop
from humclick.parts.family import HEALTHY, families, family
from humclick.safety import gates
from humclick.start.rows import OUTCOMES

ROOT = Path(humclick.__file__).parent
FILES = sorted([*ROOT.rglob("*.toml"), *Path(research.__file__).parent.rglob("*.toml")])
PROTECTED = [(name, guard) for name in arrangements() for guard in arrangement(name).protectors]


def tables(data: Any, where: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every table of a data file with its place."""
    if isinstance(data, dict):
        yield where, data
        for key, value in data.items():
            yield from tables(value, f"{where}.{key}" if where else key)
    elif isinstance(data, list):
        for number, value in enumerate(data):
            yield from tables(value, f"{where}[{number}]")


def read(path: Path) -> dict[str, Any]:
    """A data file as it stands."""
    return tomllib.loads(path.read_text(encoding="utf-8"))


def unsourced_values(path: Path) -> Iterator[str]:
    """Values and medians with no unit and source beside them or in a table above."""
    covered: set[str] = set()
    for where, table in tables(read(path)):
        has = {key for key in ("unit", "source") if str(table.get(key, "")).strip()}
        if has == {"unit", "source"}:
            covered.add(where)
        elif {"value", "median"} & set(table) and not any(where.startswith(f"{c}.") for c in covered if c):
            yield f"{path.parent.name}/{path.name} {where}"


def test_numbers_have_unit_and_source() -> None:
    """A value or a median stands beside its unit and its source, or under a table that gives both for all."""
    assert len(FILES) > 60
    assert [place for path in FILES for place in unsourced_values(path)] == []


def unsourced_tables(path: Path) -> Iterator[str]:
    """Tables with numbers that name no source in themselves or above, but for how a part is built up."""
    built = ("mode", "test", "part", "element")  # odds of modes: the shop's guesses, named in shop.toml
    sourced = {"": bool(str(read(path).get("source", "")))}
    for where, table in tables(read(path)):
        above = any(
            ok for place, ok in sourced.items() if not place or where.startswith((f"{place}.", f"{place}["))
        )
        sourced[where] = above or bool(str(table.get("source", "")).strip())
        numbers = [v for v in table.values() if isinstance(v, float | int) and not isinstance(v, bool)]
        if numbers and not sourced[where] and not where.startswith(built):
            yield f"{path.parent.name}/{path.name} {where}"


def test_tables_of_numbers_have_a_source() -> None:
    """In every data file."""
    assert [place for path in FILES for place in unsourced_tables(path)] == []


@pytest.mark.parametrize("name", families())
def test_modes_are_told_in_words_and_have_a_remedy(name: str) -> None:
    """Every mode has a title, words for the customer, positive odds and a remedy of the shop file."""
    for mode in family(name).modes.values():
        assert mode.title.strip()
        assert mode.plain.strip()
        if mode.name != HEALTHY:
            assert mode.odds > 0
            assert mode.remedy in default_shop().remedies
        else:
            assert mode.remedy == ""


@pytest.mark.parametrize("name", families())
def test_branches_stand_between_terminals(name: str) -> None:
    """Every branch and every test of a family stands between two terminals, or one and a node."""
    found = family(name)
    ends = [e for m in found.modes.values() for b in m.branches for e in b.between]
    ends += [e for t in found.tests for e in t.between]
    assert {e for e in ends if not e.startswith("{")} <= set(found.terminals)


def machines_with(name: str) -> list[Machine]:
    """Every machine that has a part of a family."""
    machines = [Machine.of(*row) for row in PROTECTED]
    return [m for m in machines if any(part.family.name == name for part in m.parts)]


@pytest.mark.parametrize("name", families())
def test_looks_have_probabilities_for_every_answer(name: str) -> None:
    """Each row of a look belongs to a mode, has one figure an answer, and sums to one."""
    found = family(name)
    for look in found.looks:
        own = {row for row in look.table if "." not in row}
        assert own - {"otherwise"} <= set(found.modes)
        for other in set(look.table) - own:  # a mode of a part that stands beside it in some machine
            part, _, mode = other.partition(".")
            beside = [m.part(part) for m in machines_with(name) if part in {p.id for p in m.parts}]
            assert beside
            assert all(mode in placed.family.modes for placed in beside)
        assert "otherwise" in look.table or set(look.table) == set(found.modes)
        assert len(set(look.outcomes)) == len(look.outcomes)
        for shares in look.table.values():
            assert len(shares) == len(look.outcomes)
            assert all(0 < p < 1 for p in shares)
            assert sum(shares) == pytest.approx(1.0, abs=1e-9)
        assert look.source.strip()


@pytest.mark.parametrize("table", ["reported", "listened"])
def test_what_is_heard_has_probabilities_for_every_happening(table: str) -> None:
    """Whatever happens at a start attempt, the probabilities of what is said of it sum to one."""
    rows = read(ROOT / "diagnosis" / "hearing.toml")[table]
    assert set(rows) - {"source"} == {str(o) for o in OUTCOMES}
    for happening in OUTCOMES:
        assert len(rows[str(happening)]) == len(OUTCOMES)
        assert sum(rows[str(happening)]) == pytest.approx(1.0, abs=1e-9)


def test_pairs_with_a_common_cause_exist() -> None:
    """Both halves of a pair are faults of some part, and of parts that stand in one machine."""
    together = [{p.id for p in Machine.of(name, guard).parts} for name, guard in PROTECTED]
    for (part, mode), (other, fault) in default_shop().joint:
        assert mode in family(part).modes
        assert fault in family(other).modes
        assert HEALTHY not in (mode, fault)
        assert any({part, other} <= parts for parts in together)


def test_every_remedy_puts_something_right() -> None:
    """No remedy of the shop file is idle, but for handing over."""
    used = {m.remedy for name in families() for m in family(name).modes.values()}
    used |= {remedy for name in families() for look in family(name).looks for remedy in look.due.values()}
    assert set(default_shop().remedies) - used == {"hand over"}


@pytest.mark.parametrize(("name", "protector"), PROTECTED)
def test_arrangements_load_with_each_protector(name: str, protector: str) -> None:
    """Every arrangement stands up with each of its protectors: remedies known, windings at the pins."""
    machine = Machine.of(name, protector)
    for part in machine.parts:
        for mode in part.family.modes:
            assert part.remedy(mode) in {"", *default_shop().remedies}
    nodes = {node for part in machine.parts for node in part.connect.values()}
    assert set(machine.pins) <= nodes
    assert arrangement(name).title.strip()
    assert arrangement(name).seen


@pytest.mark.parametrize(("name", "protector"), PROTECTED)
def test_probes_name_known_gates(name: str, protector: str) -> None:
    """Every gate a probe asks for stands in the safety file, and nothing live is measured without one."""
    for probe in probes_of(Machine.of(name, protector)).values():
        assert set(probe.gates) <= set(gates())
        assert probe.gates or not (probe.live or probe.inside)
