"""
A try by the machine's own board, unit or contactor, where no start was simulated for its kind.

How a fault sounds is known only roughly then: nothing flows, or the rotor stands under current, or neither
is known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.factors import Factor, p_hot
from humclick.diagnosis.hearing import reported
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.observations.attempt import AsFound, none_of
from humclick.diagnosis.observations.model import Probe, Taken
from humclick.diagnosis.observations.outlook import Forecast, Outlook, Row
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.scales import PerSet
from humclick.diagnosis.situation import Heard
from humclick.messages import Message
from humclick.sourced import read_data
from humclick.start.rows import OUTCOMES

__all__ = ["KINDS", "OwnTry", "failed_before"]

#: What a try sees of a mode: it stops the machine, mostly does, or does while hot; nothing flows, or the
#: rotor stands.
_STOPS, _MOSTLY, _WHILE_HOT, _QUIET, _HELD = 1, 2, 4, 8, 16
#: By what a recording of the line current would show (`Mode.recorded`).
_SOUNDS = {"nothing": _QUIET, "rotor_held": _HELD}


def _data() -> Mapping[str, Any]:
    return read_data("humclick.diagnosis", "severity.toml")["own_try"]  # type: ignore[no-any-return]


def _marks(bench: Bench, mended: frozenset[str]) -> Mapping[Fault, int]:
    """What a try sees of each mode."""
    machine, marks = bench.machine, {}
    for part, m in bench.space.singles:
        placed, mode = machine.parts[part], bench.space.modes[part][m]
        new = placed.id in mended or f"{placed.id}.{mode.name}" in mended
        eased = machine.eased(placed.id, mode.name)
        kind = _WHILE_HOT if eased else _MOSTLY if mode.degrees else _STOPS
        silent = new or placed.family.apart
        marks[part, m] = 0 if silent else kind | _SOUNDS.get(mode.recorded, 0)
    return marks


def _runs(seen: int, hot: float) -> float:
    """Probability that it starts and runs. [-]"""
    sound, mostly, stops = (float(_data()[name]["value"]) for name in ("sound", "mostly", "stops"))
    if seen & _STOPS:
        return stops
    if seen & _MOSTLY:
        return mostly
    return hot * mostly + (1.0 - hot) * sound if seen & _WHILE_HOT else sound


def _outcomes(seen: int, hot: float) -> Row:
    """Probability of what it does, in the order of `OUTCOMES`. [-]"""
    runs = _runs(seen, hot)
    name = "nothing" if seen & _QUIET else "rotor_held" if seen & _HELD else "otherwise"
    sounds = _data()["sounds"][name]
    return tuple(runs if o == Heard.RUNS else (1.0 - runs) * float(sounds[o]) for o in OUTCOMES)


def failed_before(bench: Bench, heard: Heard | None) -> Factor:
    """What was heard before anybody came, of a machine whose starts are not simulated."""
    marks = _marks(bench, frozenset())
    k = OUTCOMES.index(heard.value if heard is not None else Heard.RUNS)

    def values(marks_seen: Sequence[int]) -> list[float]:
        chances = [reported(_outcomes(bits, 1.0), by="reported")[k] for bits in marks_seen]
        return chances if heard is not None else [1.0 - p for p in chances]

    none = 0.98 if heard is None else none_of(heard, 0.02)
    return Factor((), (), {}, PerSet(marks, values), none, 1.0)


def _answers(seen: int, hot: float) -> Row:
    """Probability of each answer of somebody who stands and listens. [-]"""
    return reported(_outcomes(seen, hot), by="listened")


class OwnTry(AsFound):
    """Let run by what runs it."""

    name: ClassVar[str] = "own_try"

    def serves(self, machine: Machine) -> bool:
        return machine.arrangement.frame.own_try is not None and not machine.started

    def words(self, machine: Machine) -> tuple[Message, Message]:
        own = machine.arrangement.frame.own_try
        assert own is not None
        return own.title, own.how

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        seen = taken[0].observation
        if seen.answer not in OUTCOMES:
            return Factor(())
        k, hot = OUTCOMES.index(seen.answer), p_hot(seen.temperature, weighing.slips["cold_but_warm"])

        def values(bits: Sequence[int]) -> list[float]:
            return [_answers(each, hot)[k] for each in bits]

        per_set = PerSet(_marks(weighing.bench, mended), values)
        return Factor((), (), {}, per_set, none_of(seen.answer), 0.99)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        hot, marks = outlook.hot(probe, waits), _marks(outlook.bench, outlook.mended)
        rows, which, _ = outlook.by_marks(marks, lambda seen: _answers(seen, hot))
        return Forecast(probe, waits, OUTCOMES, rows, which, tuple(map(none_of, OUTCOMES)))


KINDS = (OwnTry(),)
