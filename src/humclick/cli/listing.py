"""``humclick list``: what the program knows, by name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from humclick.cli.given import shop_in, shop_option
from humclick.messages import N_, Message, listed

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.shop import Shop

Rows = list[dict[str, Any]]


def _fields(value: object, *names: str) -> dict[str, Any]:
    """Fields of a value, its tuples as lists."""
    fields = {name: getattr(value, name) for name in names}
    return {name: list(field) if isinstance(field, tuple) else field for name, field in fields.items()}


def _arrangements(machine: Machine | None, shop: Shop) -> Rows:
    from humclick.arrangements.arrangement import arrangement, arrangements

    kinds = [machine.arrangement] if machine else [arrangement(name) for name in arrangements()]
    return [
        {"name": kind.id, **_fields(kind, "title", "seen", "protectors", "recognised_only")} for kind in kinds
    ]


def _parts(machine: Machine | None, shop: Shop) -> Rows:
    from humclick.parts.family import families, family

    kinds = {name: family(name) for name in families()}
    if machine is not None:
        kinds = {part.id: part.family for part in machine.parts}
    return [{"name": name, "title": kind.title, "modes": list(kind.modes)} for name, kind in kinds.items()]


def _probes(machine: Machine | None, shop: Shop) -> Rows:
    from humclick.arrangements.arrangement import arrangement, arrangements
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.probes import probes_of

    pairs = [(name, p) for name in arrangements() for p in arrangement(name).protectors]
    machines = [machine] if machine else [Machine.of(name, protector) for name, protector in pairs]
    probes = {name: probe for kind in machines for name, probe in probes_of(kind, shop).items()}
    rows = []
    for name, probe in probes.items():
        row = _fields(probe, "title", "minutes", "quantity")
        rows.append({"name": name, **row, "answers": list(probe.outcomes), "gates": list(probe.gates)})
    return rows


def _remedies(machine: Machine | None, shop: Shop) -> Rows:
    wanted = {p.remedy(m) for p in machine.parts for m in p.family.modes} if machine else set(shop.remedies)
    remedies = [remedy for remedy in shop.remedies.values() if remedy.name in wanted]
    return [_fields(remedy, "name", "title", "price", "minutes", "cost") for remedy in remedies]


def _meters(machine: Machine | None, shop: Shop) -> Rows:
    from humclick.meters import meters

    return [
        {**_fields(meter, "name", "title"), "measures": sorted({str(r.quantity) for r in meter.ranges})}
        for meter in meters().values()
    ]


def _gates(machine: Machine | None, shop: Shop) -> Rows:
    from humclick.safety import gates, gates_for

    known = gates_for(gates(), machine) if machine else tuple(gates().values())
    return [_fields(gate, "name", "title", "steps", "lasts") for gate in known]


_LISTS: dict[str, Callable[[Machine | None, Shop], Rows]] = {
    "arrangements": _arrangements,
    "parts": _parts,
    "probes": _probes,
    "remedies": _remedies,
    "meters": _meters,
    "gates": _gates,
}


#: Words over what stands in a row.
_KEYS = {
    "seen": Message("seen"),
    "protectors": Message("protectors"),
    "recognised_only": Message("recognised only"),
    "modes": Message("modes"),
    "minutes": Message("minutes"),
    "quantity": Message("quantity"),
    "answers": Message("answers"),
    "gates": Message("gates"),
    "price": Message("price"),
    "cost": Message("cost"),
    "measures": Message("measures"),
    "steps": Message("steps"),
    "lasts": Message("lasts"),
}
#: What is typed, and so the same in every language.
_TYPED = frozenset({"modes", "gates"})
#: Quantities by their names.
_QUANTITIES = (
    *(N_("capacitance"), N_("current"), N_("resistance")),
    *(N_("voltage"), N_("temperature")),
)


def _row(row: dict[str, Any]) -> tuple[str, Message]:
    """Name, and all else in a sentence."""
    sentences: Message = row["title"]
    for key, value in row.items():
        if key in ("name", "title") or value in (False, "", []):
            continue
        more = _KEYS[key]
        if value is not True:
            more = Message("{label}: {text}", label=more, text=_cell(key, value))
        sentences = Message("{text}. {more}", text=sentences, more=more)
    return row["name"], sentences


def _cell(key: str, value: object) -> str:
    if isinstance(value, list):
        return listed((text if key in _TYPED else Message.of(text) for text in value), "semicolon")
    return f"{value:g}" if isinstance(value, float | int) else Message.of(str(value))


@click.command("list")
@click.argument("what", type=click.Choice(list(_LISTS)))
@click.option("--for", "arrangement", help="Only what belongs to one arrangement.")
@click.option("--protector", help="With --for: external, integrated or internal.")
@click.option("--json", "json_", is_flag=True, help="As JSON.")
@shop_option
def listing(
    what: str, arrangement: str | None, protector: str | None, json_: bool, shop_file: Path | None
) -> None:
    """
    List what the program knows, by name.

    Example: humclick list probes --for rsir-ptc
    """
    from humclick.arrangements.machine import Machine
    from humclick.cli.layout import table
    from humclick.jobs.result import as_json

    machine = Machine.of(arrangement, protector) if arrangement else None
    if machine is not None:
        machine.parts  # noqa: B018  refuses a protector it does not come with
    rows = _LISTS[what](machine, shop_in(shop_file))
    click.echo(as_json(rows) if json_ else table([_row(row) for row in rows]))
