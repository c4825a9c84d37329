"""The simulated signatures are those that the command makes."""

from __future__ import annotations

import math

from benchmarks.recordings_table import signatures

from humclick.sourced import read_data


def test_a_few_machines_lie_within_the_table() -> None:
    """Three other machines behind a PTC start with currents within the spreads of the table that is kept."""
    kept = read_data("humclick.recordings", "simulated.toml")["signature"]
    compared = 0
    for one in signatures("ptc", 3, 12.0, 77):
        same = [k for k in kept if all(k[name] == one[name] for name in ("gear", "cause", "runs"))]
        for entry in same:
            middle, factor = entry["first"]
            now = one["first"]
            assert isinstance(now, tuple)
            assert abs(math.log(now[0] / middle)) <= 1.5 * math.log(factor)
            compared += 1
    assert compared >= 8
