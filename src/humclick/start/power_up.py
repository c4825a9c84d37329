"""
What happens at power-up, from simulated start attempts: outcomes, amps on a clamp meter, times.

Reads the table of the machine's arrangement, made by ``research.power_up_table``, when first asked. Sets
of one and two modes are in the table; larger ones are put together from their pairs (see `Starts`). Pure
Python. Amps are over the sound machine's locked-rotor current, times in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from statistics import median

from humclick.arrangements.machine import Machine
from humclick.errors import Unknown
from humclick.messages import Message
from humclick.parts.family import HEALTHY, Role
from humclick.start.rows import OUTCOMES
from humclick.start.start_table import NOTHING, Fault, SetRow, StartSigns, Table, guard_of, table_of

__all__ = ["StandIn", "Starts"]

#: From this factor on the torque needed to start, nothing turns it. [-]
_SEIZED = 1.0e5
_RUNS = OUTCOMES.index("runs")
#: Outcomes in which the rotor stands.
_STANDING = (OUTCOMES.index("hum"), OUTCOMES.index("hum_click"))

#: Spread of what is known only of the outcome, added to that of all sets together. [-]
_VAGUE = 0.2


@dataclass(frozen=True, slots=True)
class StandIn:
    """A machine whose table stands in for one without."""

    machine: Machine  #: Whose table it is.
    #: The mode of it that stands for each mode of the other; None where none does: nothing changes.
    modes: Mapping[Fault, Fault | None]


def _logistic(x: float) -> float:
    return 1 / (1 + math.exp(-x))


class Starts:
    """
    Start attempts of one machine.

    Arrangement, protector and voltage class choose the table; sizes known of the machine do not matter. With
    `stand_in`, the table of that machine is read. Raises `DataError` when first asked, if it is missing or
    damaged.

    A set of three or more modes is put together from its pairs, fork by fork (see `SetRow`). Whether it
    starts: logit(S) = Σ logit(pair) − (n−2) Σ logit(single) + (n−1)(n−2)/2 logit(none), the log-linear
    model without terms of third order (Bishop, Fienberg and Holland, Discrete Multivariate Analysis, from
    memory), but no more probably than with the worst of its pairs, for a third fault mends nothing;
    whether it is silent: the same formula, kept within the range of its pairs; breaker, click and trip:
    the median of its pairs. The log-linear model of the six outcomes themselves fails where several
    faults are each enough. Amps as if each mode moved their logarithm by its own amount. How far all this
    is from simulated triples is in docs/how-to/make-the-power-up-table.md.
    """

    def __init__(self, machine: Machine, stand_in: StandIn | None = None) -> None:
        self.machine = machine
        self.stand_in = stand_in

    @cached_property
    def _table(self) -> Table:
        whose = self.machine if self.stand_in is None else self.stand_in.machine
        table = table_of(whose.arrangement.id, guard_of(whose.protector), whose.volts_class)
        if self.stand_in is None:
            return table
        stood = self.stand_in.modes
        number = {fault: table.number[other] for fault, other in stood.items() if other is not None}
        return table._replace(number=number, idle=frozenset(f for f, other in stood.items() if other is None))

    @cached_property
    def _counted(self) -> tuple[Mapping[Fault, int], Mapping[Fault, int]]:
        """Numbers of the modes that count while all has cooled, and while it is hot."""
        number = self._table.number
        lasting = {fault: n for fault, n in number.items() if n not in self._warm}
        return lasting, number

    @cached_property
    def _warm(self) -> frozenset[int]:
        here, number = {part.id for part in self.machine.parts}, self._table.number
        return frozenset(
            code for fault, code in number.items() if fault[0] in here and self.machine.eased(*fault)
        )

    @cached_property
    def quiet(self) -> tuple[int, ...]:
        """Stands for every set with a mode that lets no current flow."""
        return (min(self._table.dead),)

    @property
    def most(self) -> int:
        """The largest number a mode has in a key."""
        return max(self._table.number.values())

    def key(self, modes: Mapping[str, str], *, hot: bool = False) -> tuple[int, ...]:
        """
        What an attempt under a set of modes goes by: no attempt can tell sets of one key apart.

        Parts not named in `modes` are healthy. `hot` is not rested since the last try: what a rest eases
        counts only then.
        """
        counted, number = self._counted[hot], self._table.number
        codes = []
        for fault in self.machine.in_a_start(modes, hot=hot):
            code = counted.get(fault)
            if code is not None:
                codes.append((code,))
            elif fault[1] != HEALTHY and fault not in number:
                family = self.machine.part(fault[0]).family
                family.mode(fault[1])
                if family.apart or fault in self._table.idle:
                    continue
                names = [".".join(pair) for pair in number]
                raise Unknown(Message("mode in the table of start attempts"), ".".join(fault), names)
        return self.joined(codes)

    def joined(self, keys: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
        """The key of several sets together, of parts that differ, from theirs."""
        codes = [code for key in keys for code in key]
        if not self._table.dead.isdisjoint(codes):
            return self.quiet
        return self.worst_of_each(codes)

    @cached_property
    def _part(self) -> Mapping[int, str]:
        return {code: part for (part, _), code in self._table.number.items()}

    def worst_of_each(self, codes: Collection[int]) -> tuple[int, ...]:
        """
        A key of modes by their numbers; of several that start as modes of one part, the one that runs least.

        A part is in one mode, so that several modes of one were never simulated; faults of several parts that
        start alike, such as burnt contacts in one line, come as such a set.
        """
        if len({self._part[code] for code in codes}) == len(codes):
            return tuple(sorted(codes))
        by_part: dict[str, int] = {}
        for code in sorted(codes):
            other = by_part.setdefault(self._part[code], code)
            if other != code and self._stored((code,)).shares[_RUNS] < self._stored((other,)).shares[_RUNS]:
                by_part[self._part[code]] = code
        return tuple(sorted(by_part.values()))

    def _stored(self, key: tuple[int, ...]) -> SetRow:
        return self._table.rows[not self._warm.isdisjoint(key)][key]

    def _pairs(self, key: tuple[int, ...]) -> list[SetRow]:
        return [self._stored(pair) for pair in combinations(key, 2)]

    def outcomes(self, modes: Mapping[str, str], *, hot: bool = False) -> tuple[float, ...]:
        """
        Probabilities of what an attempt really does, in the order of `OUTCOMES`; sum to 1. As for `key`. [-]
        """
        return self.outcomes_of(self.key(modes, hot=hot))

    def outcomes_of(self, key: tuple[int, ...]) -> tuple[float, ...]:
        """The same of all sets of a `key`. [-]"""
        if key == self.quiet:
            return self._table.silent.shares
        return self._stored(key).shares if len(key) < 3 else self._together(key)

    def _together(self, key: tuple[int, ...]) -> tuple[float, ...]:
        n, none = len(key), self._stored(())
        singles = [self._stored((single,)) for single in key]
        pairs = self._pairs(key)
        start = (n - 1) * (n - 2) / 2 * none.starts_logit
        quiet = (n - 1) * (n - 2) / 2 * none.silent_logit
        for row in singles:
            start -= (n - 2) * row.starts_logit
            quiet -= (n - 2) * row.silent_logit
        for row in pairs:
            start += row.starts_logit
            quiet += row.silent_logit
        starts = min(_logistic(start), *[row.starts for row in pairs])
        among = [row.silent for row in pairs]
        silent = min(max(_logistic(quiet), min(among)), max(among))
        breaker = median([row.breaker for row in pairs])
        clicks = median([row.clicks for row in pairs])
        trips = median([row.trips for row in pairs])
        live = 1 - breaker
        heard = live * (1 - silent)
        stands = heard * (1 - starts)
        goes = heard * starts
        return (
            live * silent,
            stands * (1 - clicks),
            stands * clicks,
            goes * trips,
            breaker,
            goes * (1 - trips),
        )

    def signs(self, modes: Mapping[str, str], *, hot: bool = False) -> tuple[StartSigns, ...]:
        """
        What a clamp meter and a watch show, by what an attempt comes to (`OUTCOMES`); of two modes at most.

        As for `key`.
        """
        return self._signs(self.key(modes, hot=hot))

    def _signs(self, key: tuple[int, ...]) -> tuple[StartSigns, ...]:
        if key == self.quiet:
            return (NOTHING, *(self._vague(None, k) for k in range(1, len(OUTCOMES))))
        known = self._stored(key).signs
        return tuple(known.get(k) or self._rare(key, k) for k in range(len(OUTCOMES)))

    def amps_of(self, key: tuple[int, ...]) -> tuple[tuple[float, float], ...]:
        """
        Line current after five seconds, or the last before it stopped, by what an attempt comes to.

        Pairs of a ratio over the sound machine's locked-rotor current and its ln standard deviation, in the
        order of `OUTCOMES`; (0, 0) for nothing. [-]
        """
        if len(key) > 2 and key != self.quiet:
            return self._amps_together(key)
        return tuple(signs[:2] for signs in self._signs(key))

    def _amps_together(self, key: tuple[int, ...]) -> tuple[tuple[float, float], ...]:
        """
        The same of three modes and more, from the logarithms of their pairs, worked out once.

        Each mode moves the logarithm by its own amount from `_zeros`; where that or a pair is missing, the
        pairs' mean by share.
        """
        more, exp = len(key) - 1, math.exp
        pairs = list(map(self._logs.__getitem__, combinations(key, 2)))
        amps: list[tuple[float, float]] = []
        for k, (zero, rows) in enumerate(zip(self._zeros, zip(*pairs, strict=True), strict=True)):
            logs = [row for row in rows if row is not None and row[1] > _NONE]
            if len(logs) == len(rows) and zero is not None:
                middle = zero + sum([x - zero for _, x, _ in logs]) / more
            elif logs:
                middle = sum([p * x for p, x, _ in logs]) / sum([p for p, _, _ in logs])
            else:
                unseen = rows.count(None) == len(rows)
                amps.append(self._rare_amps(key, k) if unseen else (0.0, 0.0))
                continue
            amps.append((exp(middle), max([sd for _, _, sd in logs])))
        return tuple(amps)

    def _rare_amps(self, key: tuple[int, ...], k: int) -> tuple[float, float]:
        """Amps of an outcome not seen of a set; see `_rare`."""
        for code in key:
            if code not in self._vague_amps:
                known = self._stored((code,)).signs
                self._vague_amps[code] = tuple(
                    self._vague((code,), n)[:2] if n in known else None for n in range(len(OUTCOMES))
                )
            amps = self._vague_amps[code][k]
            if amps is not None:
                return amps
        return self._usual_amps[k]

    @cached_property
    def _usual_amps(self) -> list[tuple[float, float]]:
        """Amps of an outcome seen of none of a set's modes."""
        return [self._rare((), k)[:2] for k in range(len(OUTCOMES))]

    @cached_property
    def _vague_amps(self) -> dict[int, tuple[tuple[float, float] | None, ...]]:
        return {}

    @cached_property
    def _logs(self) -> _Logs:
        return _Logs(self._stored)

    @cached_property
    def _zeros(self) -> list[float | None]:
        """By outcome, the logarithm of the amps from which each mode moves them; None without."""
        sound = self._stored(()).signs
        bases = [self._standing if k in _STANDING else sound.get(k) for k in range(len(OUTCOMES))]
        return [math.log(base[0]) if base is not None and base[0] > 0 else None for base in bases]

    @cached_property
    def _standing(self) -> StartSigns | None:
        """What a sound machine shows that cannot turn."""
        turned = self.machine.having(Role.MECHANISM)
        seized = next(mode.name for mode in turned.family.listed if mode.breakaway >= _SEIZED)
        return self._stored((self._table.number[turned.id, seized],)).signs.get(OUTCOMES.index("hum_click"))

    def _rare(self, key: tuple[int, ...], k: int) -> StartSigns:
        """An outcome not seen of a set: as of its modes, or of the sound machine, else as is usual."""
        for part in (*((n,) for n in key), ()):
            if k in self._stored(part).signs:
                return self._vague(part, k)
        return self._vague(None, k)

    def _vague(self, part: tuple[int, ...] | None, k: int) -> StartSigns:
        """What is seen of an outcome of a set in the table, or of it as is usual, known less well."""
        vague = self._vaguer.get((part, k))
        if vague is None:
            of = (self._table.usual if part is None else self._stored(part).signs).get(k, NOTHING)
            columns = zip(of[:8:2], of[1:8:2], strict=True)
            wide = [x for middle, sd in columns for x in (middle, math.hypot(sd, _VAGUE) if middle else sd)]
            vague = self._vaguer[(part, k)] = StartSigns._make((*wide, of.left_in))
        return vague

    @cached_property
    def _vaguer(self) -> dict[tuple[tuple[int, ...] | None, int], StartSigns]:
        return {}


#: A share, the logarithm of amps, and its spread; minus infinity where there are none. [-]
_Log = tuple[float, float, float]
_NONE = -math.inf


class _Logs(dict[tuple[int, ...], tuple[_Log | None, ...]]):
    """By set in the table and outcome: its share, the logarithm of its amps and its spread; None unseen."""

    def __init__(self, stored: Callable[[tuple[int, ...]], SetRow]) -> None:
        super().__init__()
        self._stored = stored

    def __missing__(self, key: tuple[int, ...]) -> tuple[_Log | None, ...]:
        row = self._stored(key)
        signs = [row.signs.get(k) for k in range(len(OUTCOMES))]
        self[key] = tuple(
            None if of is None else (share, math.log(of[0]) if of[0] > 0 else _NONE, of[1])
            for share, of in zip(row.shares, signs, strict=True)
        )
        return self[key]
