"""
The tables of start attempts as they are read: one file an arrangement, made by ``research.power_up_table``.

Amps are over the sound machine's locked-rotor current, times in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

from humclick.errors import DataError
from humclick.parts.shelves import starts_table
from humclick.start.rows import OUTCOMES

__all__ = ["COLUMNS", "DEFAULTS", "NOTHING", "Fault", "SetRow", "StartSigns", "Table", "guard_of", "table_of"]

#: Columns of a table: medians, each with its standard deviation of ln.
COLUMNS = (
    "guard", "plate", "heat", "set", "outcome", "share", "amps", "sd", "highest", "sd", "trip", "sd",
    "release", "sd", "left_in",
)  # fmt: skip
#: Stands for all sets together: what an outcome shows where nothing better is known.
DEFAULTS = "*"

_MAKER = "research.power_up_table"

#: A mode of a part: (part id, mode).
Fault = tuple[str, str]

#: A fork surer than this counts as this sure where forks are added up: more, the counts do not know. [-]
_SURE = 0.01


class StartSigns(NamedTuple):
    """What is seen of an attempt that comes to one outcome; 0 where nothing is."""

    #: Line current after five seconds, or the last before it stopped, over the sound machine's locked-rotor
    #: current: median and standard deviation of ln. [-]
    amps: float
    amps_sd: float
    #: Largest half-cycle rms of the first second, over the same. [-]
    highest: float
    highest_sd: float
    #: When the protector opens. [s], [-]
    trip: float
    trip_sd: float
    #: When the start winding is let go. [s], [-]
    release: float
    release_sd: float
    left_in: float  #: Share in which it turned and the start winding was not let go within five seconds. [-]


#: What is seen where nothing is.
NOTHING = StartSigns._make([0.0] * 9)


@dataclass(frozen=True, slots=True)
class SetRow:
    """
    What is known of a set: probabilities, what is seen by outcome, and the way to an outcome in forks.

    The forks: the breaker opens; if not, nothing is heard; if it is, the rotor starts; if it stands, the
    protector clicks; if it starts, the protector trips. Logits of the two that are added up.
    """

    shares: tuple[float, ...]
    signs: Mapping[int, StartSigns]
    breaker: float
    silent: float
    starts: float
    clicks: float
    trips: float
    silent_logit: float
    starts_logit: float


class Table(NamedTuple):
    """
    The sets of one protector and plate: ``rows[hot][set]``, sets as sorted numbers of modes.

    Modes in `idle` change nothing that the table knows.
    """

    number: Mapping[Fault, int]
    dead: frozenset[int]
    rows: tuple[Mapping[tuple[int, ...], SetRow], Mapping[tuple[int, ...], SetRow]]
    usual: Mapping[int, StartSigns]
    silent: SetRow
    idle: frozenset[Fault] = frozenset()


def guard_of(protector: str) -> str:
    """Where a protector is: ``outside`` or ``inside`` the shell."""
    return "inside" if protector == "internal" else "outside"


def _text(name: str) -> str:
    table = starts_table(name)
    if table is None:
        raise DataError(f"there is no table of start attempts for {name}: python -m {_MAKER} makes one")
    return table.read_text("utf-8")


def _row(shares: Mapping[int, float], floor: float, signs: Mapping[int, StartSigns]) -> SetRow:
    whole = [shares.get(k, floor) for k in range(len(OUTCOMES))]
    total = sum(whole)
    silent, hum, hum_click, trips, breaker, runs = (p / total for p in whole)
    nothing = silent / (1 - breaker)
    starts = (trips + runs) / (hum + hum_click + trips + runs)
    return SetRow(
        shares=(silent, hum, hum_click, trips, breaker, runs),
        signs=signs,
        breaker=breaker,
        silent=nothing,
        starts=starts,
        clicks=hum_click / (hum + hum_click),
        trips=trips / (trips + runs),
        silent_logit=_logit(nothing),
        starts_logit=_logit(starts),
    )


def _logit(p: float) -> float:
    p = min(max(p, _SURE), 1 - _SURE)
    return math.log(p / (1 - p))


@cache
def _lines(name: str) -> tuple[dict[str, str], list[tuple[str, ...]]]:
    """Head and body of a file, each line whole."""
    heads: dict[str, str] = {}
    body: list[tuple[str, ...]] = []
    last = [""] * len(COLUMNS)
    for line in _text(name).splitlines():
        if line.startswith("#"):
            key, _, value = line[1:].partition(":")
            heads[key.strip()] = value.strip()
            continue
        row = line.split(",")
        row += [""] * (len(COLUMNS) - len(row))
        if not row[3]:
            row[:4] = last[:4]
        last = row
        body.append(tuple(row))
    return heads, body[1:]


@cache
def table_of(name: str, guard: str, plate: str) -> Table:
    """
    Read the sets of one arrangement, protector and plate; `DataError` if its file is missing or damaged.
    """
    try:
        heads, body = _lines(name)
        number = {}
        for entry in heads["modes"].split():
            code, _, fault = entry.partition("=")
            part, _, mode = fault.partition(".")
            number[(part, mode)] = int(code)
        floor = float(heads["floor"]) / 1000
        shares: dict[tuple[str, str], dict[int, float]] = {}
        signs: dict[tuple[str, str], dict[int, StartSigns]] = {}
        for row in body:
            if row[0] != guard[0] or row[1] not in ("", plate):
                continue
            outcome = int(row[4])
            shares.setdefault((row[2], row[3]), {})[outcome] = int(row[5]) / 1000
            known = signs.setdefault((row[2], row[3]), {})
            if any(row[6:15]):
                known[outcome] = StartSigns._make(float(x) if x else 0.0 for x in row[6:15])
        rows: tuple[dict[tuple[int, ...], SetRow], dict[tuple[int, ...], SetRow]] = ({}, {})
        for (heat, code), by_outcome in shares.items():
            if code != DEFAULTS:
                key = tuple(int(n) for n in code.split(".") if code != "0")
                rows[heat == "h"][key] = _row(by_outcome, floor, signs[(heat, code)])
        usual = signs[("", DEFAULTS)]
        silent = _row({0: 1.0 - 5 * floor}, floor, {0: NOTHING})
        dead = frozenset(int(n) for n in heads["dead"].split())
        return Table(number, dead, rows, usual, silent)
    except (KeyError, ValueError, IndexError, TypeError) as error:
        raise DataError(f"the table of start attempts for {name} is damaged: {error!r}") from error
