"""
What each probe not yet taken would show: outcomes and their probabilities under each set of modes.

A measurement is cut into a few bins, with edges between what the modes predict, plus OL. What has been read
before of the same unknown is taken into account. Used for planning only; the posterior itself weighs exact
readings.
"""

from __future__ import annotations

from collections.abc import Sequence

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.cases import Cases
from humclick.diagnosis.evidence import weighing_of
from humclick.diagnosis.observations.outlook import Forecast, Outlook
from humclick.diagnosis.probes import Probe, taken_of
from humclick.diagnosis.scales import Chosen
from humclick.diagnosis.situation import Situation, called
from humclick.diagnosis.suspects import Posterior

__all__ = ["Forecast", "forecast"]


def forecast(
    bench: Bench,
    situation: Situation,
    post: Posterior,
    sets: Sequence[Chosen],
    wanted: Sequence[tuple[Probe, float]],
) -> list[Forecast]:
    """
    Forecasts of probes under some sets of modes.

    Parameters
    ----------
    bench, situation, post
        The call so far.
    sets : sequence of set
        Each a tuple of (part index, mode index).
    wanted : sequence of (Probe, minutes)
        Probes, each with the wait before it. [min]

    Returns
    -------
    list of Forecast
        Those that have something to tell, in the order wanted.
    """
    outlook = Outlook(
        situation,
        weighing_of(bench, situation),
        taken_of(situation.machine, situation.observations, bench.shop),
        post.leads,
        situation.renewed | called(situation.machine, situation.observations),
        Cases(sets, len(bench.parts)),
    )
    made = (probe.model.forecast(outlook, probe, waits) for probe, waits in wanted)
    return [foreseen for foreseen in made if foreseen is not None and len(foreseen.rows) > 1]
