"""
The same model as a Bayesian network of a general-purpose engine (pyAgrum), as oracle and for speed.

One node a part, its states the modes; a counter chain whose last node is observed to be within the number of
faults allowed; a node for "none of these"; one observed node for each factor of the evidence, one for each
pair with a common cause. Only machines small enough for a whole-machine table can be built.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.evidence import Compiled, Factor

with warnings.catch_warnings():  # its wrapper warns about itself, and does not survive that as an error
    warnings.simplefilter("ignore")
    import pyagrum as gum

__all__ = ["Net"]

Array = np.ndarray[Any, Any]


class Net:
    """
    The network of a bench with its evidence.

    Parameters
    ----------
    bench : Bench
        Hypotheses and priors.
    evidence : Compiled
        Factors of the observations.

    Notes
    -----
    Weights that are not probabilities (odds of a pair, the factor for "nothing wrong") enter as probabilities
    of observed nodes, scaled to at most 1.
    """

    def __init__(self, bench: Bench, evidence: Compiled) -> None:
        self.bench = bench
        self.net: Any = gum.BayesNet("machine")  # type: ignore[no-untyped-call]
        self.observed: dict[str, int] = {}
        self._parts()
        self._count()
        self._leads(evidence)
        for i, factor in enumerate(evidence.factors):
            if factor.per_set is not None or factor.table:
                self._factor(f"seen{i}", factor, len(evidence.leads))

    def _node(self, name: str, states: int, parents: Sequence[str], table: Array) -> None:
        """Add a node; `table` has one axis per parent in order, then the node's own."""
        self.net.add(gum.LabelizedVariable(name, name, states))  # type: ignore[no-untyped-call]
        for parent in parents:
            self.net.addArc(parent, name)
        turned = np.transpose(table, (*reversed(range(len(parents))), len(parents)))
        self.net.cpt(name)[:] = np.ascontiguousarray(turned)

    def _observe(self, name: str, parents: Sequence[str], on: Array) -> None:
        """Add a node that is observed to be on; `on` is scaled so that it is a probability."""
        share = on / max(float(on.max()), 1e-300)
        self._node(name, 2, parents, np.stack([1.0 - share, share], axis=-1))
        self.observed[name] = 1

    def _parts(self) -> None:
        self.scale = 1.0
        self.prior: list[Array] = []
        for part, odds in zip(self.bench.parts, self.bench.space.odds, strict=True):
            row = np.array(odds) / sum(odds)
            self.scale *= sum(odds)
            self.prior.append(row)
            self._node(part, len(odds), (), row)
        unknown = self.bench.space.none_prior / self.scale
        self._node("unknown", 2, (), np.array([1.0, unknown]) / (1.0 + unknown))
        for (a, b), times in self.bench.space.joint.items():
            shape = (2, len(self.prior[a[0]]), len(self.prior[b[0]]))
            on = np.ones(shape)
            on[0, a[1], b[1]] = times
            name = f"pair{a[0]}_{a[1]}_{b[0]}_{b[1]}"
            self._observe(name, ("unknown", self.bench.parts[a[0]], self.bench.parts[b[0]]), on)

    def _count(self) -> None:
        most = self.bench.space.most
        before = ""
        for part, prior in zip(self.bench.parts, self.prior, strict=True):
            name = f"count_{part}"
            parents = (before, part) if before else (part,)
            table = np.zeros((most + 2, len(prior), most + 2) if before else (len(prior), most + 2))
            for mode in range(len(prior)):
                for k in range(most + 2) if before else (0,):
                    now = min(k + (mode > 0), most + 1)
                    table[(k, mode, now) if before else (mode, now)] = 1.0
            self._node(name, most + 2, parents, table)
            before = name
        allowed = np.ones((2, most + 2))
        allowed[0, 0] = self.bench.space.prior[0]
        allowed[0, most + 1] = 0.0
        self._observe("allowed", ("unknown", before), allowed)

    def _leads(self, evidence: Compiled) -> None:
        weights = np.array([w for _, w in evidence.leads])
        self._node("leads", max(2, len(weights)), (), np.append(weights, [0.0] * (2 - len(weights))))

    def _factor(self, name: str, factor: Factor, leads: int) -> None:
        if factor.per_set is not None:
            on = np.zeros((2, *(len(p) for p in self.prior)))
            on[1] = factor.none
            for chosen in self.bench.space.sets:
                at = [0] * len(self.prior)
                for part, mode in chosen:
                    at[part] = mode
                on[(0, *at)] = factor.per_set(chosen)
            self._observe(name, ("unknown", *self.bench.parts), on)
            return
        shape = (2, max(2, leads), *(len(self.prior[p]) for p in factor.scope))
        on = np.zeros(shape)
        on[1] = factor.none
        for config, row in factor.table.items():
            for g, p in enumerate(row):
                on[(0, g, *config)] = p
        self._observe(name, ("unknown", "leads", *(self.bench.parts[p] for p in factor.scope)), on)

    def add_probe(
        self, name: str, scope: Sequence[int], rows: Mapping[tuple[int, ...], Sequence[float]]
    ) -> None:
        """Add a probe not yet taken, with its outcomes per mode configuration of some parts."""
        outcomes = len(next(iter(rows.values())))
        table = np.full((*(len(self.prior[p]) for p in scope), outcomes), 1.0 / outcomes)
        for config, row in rows.items():
            table[config] = row
        self._node(name, outcomes, [self.bench.parts[p] for p in scope], table)

    def fresh(self) -> Any:
        """An engine with the evidence set, not yet run."""
        engine: Any = gum.LazyPropagation(self.net)  # type: ignore[no-untyped-call]
        engine.setEvidence(self.observed)
        for part in self.bench.parts:
            engine.addTarget(part)
        engine.addTarget("unknown")
        return engine

    def posterior(self) -> tuple[dict[tuple[str, str], float], float]:
        """
        Probability of every mode together with "one of these", and of "none of these". [-]
        """
        engine = self.fresh()
        engine.makeInference()
        none = float(engine.posterior("unknown").toarray()[1])
        found = {}
        for part, prior, modes in zip(self.bench.parts, self.prior, self.bench.space.modes, strict=True):
            row = engine.posterior(part).toarray()
            for k, mode in enumerate(modes):
                found[(part, mode.name)] = float(row[k]) - none * float(prior[k])
        return found, none
