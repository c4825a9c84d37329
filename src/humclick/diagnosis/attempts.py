"""
What a start attempt does on a call: the simulated table, for faults bad enough to be called for.

The table (`humclick.start.power_up`) takes a fault of any degree. `severity.toml` lists those that come in
degrees; on a call an attempt under one of them fails with a least probability.
"""

from __future__ import annotations

from collections.abc import Mapping

from humclick.arrangements.machine import Machine
from humclick.sourced import read_data
from humclick.start.power_up import OUTCOMES, Starts

__all__ = ["Attempts"]

_RUNS = OUTCOMES.index("runs")


class Attempts:
    """
    Start attempts of one machine on a call.

    Parameters
    ----------
    machine : Machine
    """

    def __init__(self, machine: Machine) -> None:
        data = read_data("humclick.diagnosis", "severity.toml")
        self._severe = frozenset(data["modes"])
        self._fails = float(data["fails"])
        self._starts = Starts(machine)
        self._passing = {
            f"{part.id}.{mode.name}"
            for part in machine.parts
            for mode in part.family.modes.values()
            if mode.passing and part.id != "control"
        }
        self._kept: dict[tuple[object, ...], tuple[float, ...]] = {}

    def outcomes(self, modes: Mapping[str, str], *, hot: bool = False) -> tuple[float, ...]:
        """
        Probabilities of what an attempt does, in the order of `OUTCOMES`; arguments as for the table.

        Raises
        ------
        Unknown, DataError
            As `humclick.start.power_up.Starts`.
        """
        key = (hot, *sorted(modes.items()))
        if key not in self._kept:
            self._kept[key] = self._worked_out(modes, hot)
        return self._kept[key]

    def _worked_out(self, modes: Mapping[str, str], hot: bool) -> tuple[float, ...]:
        shares = self._starts.outcomes(modes, hot=hot)
        fails = 1.0 - shares[_RUNS]
        names = {f"{part}.{mode}" for part, mode in modes.items()}
        there = names if hot else names - self._passing
        if fails >= self._fails or self._severe.isdisjoint(there):
            return shares
        scale = self._fails / fails
        return tuple(1.0 - self._fails if k == _RUNS else scale * p for k, p in enumerate(shares))

    def amps(self, modes: Mapping[str, str], *, hot: bool = False) -> tuple[tuple[float, float], ...]:
        """Line current by what an attempt comes to, over the sound machine's locked-rotor current. [-]"""
        return self._starts.amps(modes, hot=hot)
