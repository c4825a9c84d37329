"""
Figures deep inside judgement, written down: displays, bins, unnamed pins, forecasts, losses and the plan.

``python -m tests.diagnosis.written_numbers`` writes them again. A change of the file says in its commit why
the new figures are better.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable
from dataclasses import astuple
from functools import cache, partial
from pathlib import Path
from typing import Any

from humclick.diagnosis.choices import choices
from humclick.diagnosis.displays import Display, cut_at, shares_of
from humclick.diagnosis.factors import copper, dead, flat, p_hot, uncharged
from humclick.diagnosis.judged import judge
from humclick.diagnosis.law import Scale, gain
from humclick.diagnosis.likelihood import evidence, peaks_of
from humclick.diagnosis.pins import PinFinding, find_pins
from humclick.diagnosis.planner import plan
from humclick.diagnosis.reasons import explain
from humclick.diagnosis.shop import default_shop
from humclick.errors import Refused
from humclick.meters import Quantity, meter
from humclick.readings import Leads, PartTemperature, Reading, parse_reading
from tests.diagnosis.written_answers import calls, situation_of

__all__ = ["FIGURES", "figures", "written"]

NUMBERS = Path(__file__).parent / "written_numbers.json"
#: Pins and plans are worked out in so many parts. [-]
_PARTS = 7
_QUANTITIES = {
    Quantity.RESISTANCE: (
        ("0.0", "0.3", "4.7", "61", "1.2k", "15k", "2.2M", "OL"),
        (0.0, 0.2, 4.5, 60.0, 4700.0),
    ),
    Quantity.VOLTAGE: (("0.0 V", "0.3 V", "12 V", "104 V", "121 V"), (0.0, 0.2, 11.0, 115.0, 122.0)),
    Quantity.CURRENT: (("0.0 A", "0.8 A", "9.5 A", "31 A"), (0.0, 0.7, 9.4, 12.0)),
    Quantity.CAPACITANCE: (("0.0 uF", "0.01 uF", "12.1 uF", "105 uF", "OL"), (0.0, 1e-9, 1.2e-5, 9.8e-5)),
}
_COLD, _HOT, _WARM = PartTemperature("cold"), PartTemperature("hot"), PartTemperature("measured", 55.0)
_TRIPLES: tuple[tuple[str, str, str], ...] = (
    ("4.7", "11.2", "15.8"),
    ("15.8", "4.7", "11.2"),
    ("4.7", "11.2", "14.2"),
    ("4.7", "4.6", "9.2"),
    ("2.1", "8.8", "10.8"),
    ("1.1", "8.8", "9.8"),
    ("4.7", "3.1", "7.7"),
    ("OL", "OL", "15.8"),
    ("OL", "11.2", "OL"),
    ("4.7", "OL", "OL"),
    ("OL", "OL", "OL"),
    ("4.7", "4.7", "4.7"),
    ("5.0", "5.1", "5.0"),
    ("0.0", "11.2", "11.2"),
    ("0.0", "0.0", "0.0"),
    ("4.7", "11.2", "OL"),
    ("4.7", "11.2", "40"),
    ("4.7", "11.2", ""),
    ("4.7", "", ""),
    ("3.9", "6.1", "3.3"),
    ("4700", "11.2", "15.8"),
)

Plain = dict[str, Any]


@cache
def written() -> Plain:
    """The figures written down, by group and name."""
    rows: Plain = json.loads(NUMBERS.read_text("utf-8"))
    return rows


def _displays() -> Plain:
    """Displays of every meter, quantity and kind of lead: how probable they are, and how large that gets."""
    slips = default_shop().slips
    found: Plain = {}
    for name in ("basic", "standard", "good", "bench", "clamp", "insulation tester"):
        own = meter(name)
        for quantity, (texts, values) in _QUANTITIES.items():
            for text in texts:
                reading = parse_reading(text, quantity)
                for offset in (0.0, 0.25):
                    d = Display(reading, own, slips, offset)
                    bound = d.at_most(0.05, 0.4)
                    near = (*values, reading.value or 0.0, 1000 * (reading.value or 0.0), math.inf)
                    found[f"{name} {text} {offset}"] = [
                        *(d.probability(x) for x in near),
                        *(bound(math.log(x)) for x in values[1:]),
                        *(d.most, d.digit, *(d.peak or ()), *d.steps),
                    ]
    return found


def _bins() -> Plain:
    """The next display between edges, the gain of meters, and what is said where nothing is behind it."""
    slips = default_shop().slips
    found: Plain = {}
    for name in ("basic", "standard", "bench"):
        own = meter(name)
        for quantity, (texts, values) in _QUANTITIES.items():
            scale = Scale(own, quantity, slips, 0.2)
            bins = cut_at(scale, [1.5 * x for x in values[1:]])
            found[f"{name} {quantity}"] = [
                *(p for x in (*values, math.inf) for p in shares_of(bins, x, 0.0)),
                *(p for x in values[1:] for wide in (0.02, 0.5) for p in shares_of(bins, x, wide, x)),
                *(gain(own, quantity, x) for x in values),
            ]
            shown = [Display(parse_reading(text, quantity), own, slips) for text in texts]
            found[f"{name} {quantity} nothing"] = [p for d in shown for p in (uncharged([d], 1e-5), flat(d))]
            found[f"{name} {quantity} stray"] = [dead([d], 24.0) for d in shown]
            found[f"{name} {quantity} peaks"] = [x for row in sorted(peaks_of(shown * 2)) for x in row]
            for sigma in (0.05, 0.8):
                rows = [evidence([d], values[-1] or 1.0, sigma) for d in shown]
                found[f"{name} {quantity} {sigma}"] = [x for r in rows for x in (r.value, _mean(r.nodes))]
    warm = [PartTemperature("measured", t) for t in (34.9, 35.0, 49.9, 50.0)]
    every = [PartTemperature(), _COLD, _HOT, *warm]
    found["heat"] = [x for t in every for x in (*copper(t), p_hot(t, 0.05), p_hot(t, 0.2))]
    return found


def _mean(nodes: Iterable[tuple[float, float]]) -> float:
    return math.fsum(x * w for x, w in nodes)


def _of_pins(made: PinFinding) -> list[Any]:
    test = made.sum_test
    return [
        made.conclusion,
        str(made.sentence),
        [name or "" for name in made.names],
        list(map(str, made.warnings)),
        list(map(str, made.next)),
        [["".join(way), p] for way, p in made.permutations],
        [[case.name, case.probability] for case in made.cases],
        made.grounded,
        [test.residual, test.uncertainty, test.adds_up, *test.longest] if test is not None else [],
        [list(astuple(value)) for value in made.windings],
    ]


def _pins(part: int) -> Plain:
    """Unnamed pins: names, cases and words for triples sound, open, shorted, equal or not to be believed."""
    found: Plain = {}
    pairs = (("1", "2"), ("1", "3"), ("2", "3"))

    def find(name: str, texts: tuple[str, ...], **more: Any) -> None:
        shown = {
            pair: [parse_reading(text, Quantity.RESISTANCE)]
            for pair, text in zip(pairs, texts, strict=True)
            if text
        }
        given = {"meter": meter("standard"), "leads": Leads(nulled=True), "temperature": _COLD, **more}
        try:
            found[f"{name} {' '.join(texts)}"] = _of_pins(find_pins(shown, **given))
        except Refused as refused:
            found[f"{name} {' '.join(texts)}"] = str(refused)

    for texts in _TRIPLES[part::_PARTS]:
        find("cold", texts)
        if _TRIPLES.index(texts) % 3 == 0:
            find("hot", texts, temperature=_HOT, leads=Leads())
            find("measured", texts, temperature=_WARM, leads=Leads(resistance=0.4), meter=meter("bench"))
    for shell in ("OL", "0.4", "2.2M", "40k")[part::_PARTS]:
        reading: Reading = parse_reading(shell, Quantity.RESISTANCE)
        find(f"shell {shell}", _TRIPLES[0], shell=reading)
        find(f"shell {shell}", _TRIPLES[7], shell=reading)
    return found


def _plans(part: int) -> Plain:
    """Cases, costs, forecasts and worths of what the planner weighs, and the odds of each reason."""
    found: Plain = {}
    rows = calls()
    for number in range(0, len(rows), 14)[part::_PARTS]:
        call = rows[number]
        count = min(len(call["seen"]), 1 + number % 6)
        situation = situation_of(call, count)
        judged = judge(situation)
        problem, actions, _ = choices(judged)
        made = plan(problem)
        weights = problem.weights
        found[f"{call['name']}/{count}"] = {
            "actions": [sorted(action) for action in actions],
            "loss": problem.loss,
            "classes": len(weights),
            "act_now": made.act_now,
            "best": problem.forecasts[made.best.probe].probe.id if made.best else "",
            "probes": [
                f"{f.probe.id} {f.waits:g} {' | '.join(map(str, f.labels))}" for f in problem.forecasts
            ],
            "first": problem.first,
            "second": [math.fsum(row) for row in problem.second],
            "seen": [
                [
                    math.fsum(w * table[r][o] for w, r in zip(weights, rows, strict=True))
                    for o in range(len(table[0]))
                ]
                for rows, table in zip(problem.rows_of, problem.tables, strict=True)
            ],
            "told": [
                math.fsum(w * x * x for w, r in zip(weights, rows, strict=True) for x in table[r])
                for rows, table in zip(problem.rows_of, problem.tables, strict=True)
            ],
            "alone": sorted([problem.forecasts[w.probe].probe.id, w.one_step] for w in made.worths),
            "after": [math.fsum(map(math.fsum, rows)) if rows else 0.0 for rows in problem.after],
            "reasons": [[r.probe, r.decibans, r.without] for r in explain(situation).reasons],
        }
    return found


#: Every group of figures, and what works them out.
FIGURES: dict[str, Callable[[], Plain]] = {
    "displays": _displays,
    "bins": _bins,
    **{f"pins {part}": partial(_pins, part) for part in range(_PARTS)},
    **{f"plans {part}": partial(_plans, part) for part in range(_PARTS)},
}


def figures(group: str) -> Plain:
    """The figures of a group as they are now, as plain data."""
    made: Plain = json.loads(
        json.dumps(FIGURES[group]()), parse_float=lambda text: float(f"{float(text):.9g}")
    )
    return made


def main() -> None:
    """Write the figures."""
    rows = []
    for group in FIGURES:
        inner = [f"{json.dumps(n)}: {json.dumps(x, ensure_ascii=False)}" for n, x in figures(group).items()]
        rows.append(f"{json.dumps(group)}: {{\n" + ",\n".join(inner) + "\n}")
    NUMBERS.write_text("{\n" + ",\n".join(rows) + "\n}\n", "utf-8")


if __name__ == "__main__":
    main()
