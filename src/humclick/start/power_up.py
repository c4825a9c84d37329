"""
What happens at power-up, from simulated start attempts: outcomes, amps on a clamp meter, times.

Reads the table of the machine's arrangement, made by ``research.power_up_table``, when first asked. Sets
of one and two modes are in the table; larger ones are put together from their pairs (see `Starts`). Pure
Python. Amps are over the sound machine's locked-rotor current, times in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import combinations
from typing import NamedTuple

from humclick.arrangements.machine import Machine
from humclick.errors import DataError, Unknown
from humclick.messages import Message
from humclick.parts.family import HEALTHY, Role
from humclick.parts.shelves import starts_table
from humclick.start.rows import OUTCOMES

__all__ = ["COLUMNS", "DEFAULTS", "Fault", "StandIn", "StartSigns", "Starts", "guard_of"]

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

#: From this factor on the torque needed to start, nothing turns it. [-]
_SEIZED = 1.0e5
_RUNS = OUTCOMES.index("runs")
#: Outcomes in which the rotor stands.
_STANDING = (OUTCOMES.index("hum"), OUTCOMES.index("hum_click"))

#: Spread of what is known only of the outcome, added to that of all sets together. [-]
_VAGUE = 0.2


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


_NOTHING = StartSigns._make([0.0] * 9)


@dataclass(frozen=True, slots=True)
class _Row:
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


class _Table(NamedTuple):
    """
    The sets of one protector and plate: ``rows[hot][set]``, sets as sorted numbers of modes.

    Modes in `idle` change nothing that the table knows.
    """

    number: Mapping[Fault, int]
    dead: frozenset[int]
    rows: tuple[Mapping[tuple[int, ...], _Row], Mapping[tuple[int, ...], _Row]]
    usual: Mapping[int, StartSigns]
    silent: _Row
    idle: frozenset[Fault] = frozenset()


@dataclass(frozen=True, slots=True)
class StandIn:
    """A machine whose table stands in for one without."""

    machine: Machine  #: Whose table it is.
    #: The mode of it that stands for each mode of the other; None where none does: nothing changes.
    modes: Mapping[Fault, Fault | None]


def guard_of(protector: str) -> str:
    """Where a protector is: ``outside`` or ``inside`` the shell."""
    return "inside" if protector == "internal" else "outside"


def _text(name: str) -> str:
    table = starts_table(name)
    if table is None:
        raise DataError(f"there is no table of start attempts for {name}: python -m {_MAKER} makes one")
    return table.read_text("utf-8")


def _row(shares: Mapping[int, float], floor: float, signs: Mapping[int, StartSigns]) -> _Row:
    whole = [shares.get(k, floor) for k in range(len(OUTCOMES))]
    total = sum(whole)
    silent, hum, hum_click, trips, breaker, runs = (p / total for p in whole)
    nothing = silent / (1 - breaker)
    starts = (trips + runs) / (hum + hum_click + trips + runs)
    return _Row(
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


def _median(values: list[float]) -> float:
    values.sort()
    middle = len(values) // 2
    return values[middle] if len(values) % 2 else 0.5 * (values[middle - 1] + values[middle])


def _logistic(x: float) -> float:
    return 1 / (1 + math.exp(-x))


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
def _table(name: str, guard: str, plate: str) -> _Table:
    """Read the sets of one arrangement, protector and plate."""
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
        rows: tuple[dict[tuple[int, ...], _Row], dict[tuple[int, ...], _Row]] = ({}, {})
        for (heat, code), by_outcome in shares.items():
            if code != DEFAULTS:
                key = tuple(int(n) for n in code.split(".") if code != "0")
                rows[heat == "h"][key] = _row(by_outcome, floor, signs[(heat, code)])
        usual = signs[("", DEFAULTS)]
        silent = _row({0: 1.0 - 5 * floor}, floor, {0: _NOTHING})
        dead = frozenset(int(n) for n in heads["dead"].split())
        return _Table(number, dead, rows, usual, silent)
    except (KeyError, ValueError, IndexError, TypeError) as error:
        raise DataError(f"the table of start attempts for {name} is damaged: {error!r}") from error


class Starts:
    """
    Start attempts of one machine.

    Arrangement, protector and voltage class choose the table; sizes known of the machine do not matter. With
    `stand_in`, the table of that machine is read. Raises `DataError` when first asked, if it is missing or
    damaged.

    A set of three or more modes is put together from its pairs, fork by fork (see `_Row`). Whether it starts:
    logit(S) = Σ logit(pair) − (n−2) Σ logit(single) + (n−1)(n−2)/2 logit(none), the log-linear model without
    terms of third order (Bishop, Fienberg and Holland, Discrete Multivariate Analysis, from memory), but no
    more probably than with the worst of its pairs, for a third fault mends nothing; whether it is silent: the
    same formula, kept within the range of its pairs; breaker, click and trip: the median of its pairs. The
    log-linear model of the six outcomes themselves fails where several faults are each enough. Amps and times
    as if each mode moved their logarithm by its own amount. How far all this is from simulated triples is in
    docs/how-to/make-the-power-up-table.md.
    """

    def __init__(self, machine: Machine, stand_in: StandIn | None = None) -> None:
        self.machine = machine
        self.stand_in = stand_in

    @cached_property
    def _table(self) -> _Table:
        whose = self.machine if self.stand_in is None else self.stand_in.machine
        table = _table(whose.arrangement.id, guard_of(whose.protector), whose.volts_class)
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

    def _stored(self, key: tuple[int, ...]) -> _Row:
        return self._table.rows[not self._warm.isdisjoint(key)][key]

    def _pairs(self, key: tuple[int, ...]) -> list[_Row]:
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
        breaker = _median([row.breaker for row in pairs])
        clicks = _median([row.clicks for row in pairs])
        trips = _median([row.trips for row in pairs])
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
        """What a clamp meter and a watch show, by what an attempt comes to (`OUTCOMES`). As for `key`."""
        key = self.key(modes, hot=hot)
        signs = []
        for known in self._known(key):
            if isinstance(known, StartSigns):
                signs.append(known)
                continue
            base, rows = known
            columns = [x for at in range(0, 8, 2) for x in _joined(rows, base, len(key), at)]
            total = sum(p for p, _ in rows)
            signs.append(StartSigns._make((*columns, sum(p * row.left_in for p, row in rows) / total)))
        return tuple(signs)

    def amps_of(self, key: tuple[int, ...]) -> tuple[tuple[float, float], ...]:
        """
        Line current after five seconds, or the last before it stopped, by what an attempt comes to.

        Pairs of a ratio over the sound machine's locked-rotor current and its ln standard deviation, in the
        order of `OUTCOMES`; (0, 0) for nothing. [-]
        """
        if len(key) > 2 and key != self.quiet:
            return self._amps_together(key)
        return tuple(
            known[:2] if isinstance(known, StartSigns) else _joined(known[1], known[0], len(key), 0)
            for known in self._known(key)
        )

    def _amps_together(self, key: tuple[int, ...]) -> tuple[tuple[float, float], ...]:
        """The same of three modes and more, from what is worked out once of their pairs; see `_joined`."""
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

    def _known(
        self, key: tuple[int, ...]
    ) -> Iterator[StartSigns | tuple[StartSigns | None, list[tuple[float, StartSigns]]]]:
        """By outcome: what is seen of it, or a base and the pairs it is put together from."""
        if key == self.quiet:
            yield _NOTHING
            yield from (self._vague(None, k) for k in range(1, len(OUTCOMES)))
        elif len(key) < 3:
            here = self._stored(key).signs
            yield from (here.get(k) or self._rare(key, k) for k in range(len(OUTCOMES)))
        else:
            pairs, sound = self._pairs(key), self._stored(()).signs
            for k in range(len(OUTCOMES)):
                rows = [(row.shares[k], row.signs[k]) for row in pairs if k in row.signs]
                if not rows:
                    yield self._rare(key, k)
                    continue
                base = self._standing if k in _STANDING else sound.get(k)
                yield base if len(rows) == len(pairs) else None, rows

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
            of = (self._table.usual if part is None else self._stored(part).signs).get(k, _NOTHING)
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

    def __init__(self, stored: Callable[[tuple[int, ...]], _Row]) -> None:
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


def _joined(
    rows: list[tuple[float, StartSigns]], base: StartSigns | None, n: int, at: int
) -> tuple[float, float]:
    """
    A median that is seen of a set of `n` modes and its spread, from its pairs: each with its share.

    Each mode moves the logarithm by its own amount from `base`; without a base, the pairs' mean by share.
    """
    logs = [(p, math.log(row[at]), row[at + 1]) for p, row in rows if row[at] > 0]
    if not logs:
        return 0.0, 0.0
    if base is not None and base[at] > 0 and len(logs) == len(rows):
        zero = math.log(base[at])
        middle = zero + sum(x - zero for _, x, _ in logs) / (n - 1)
    else:
        middle = sum(p * x for p, x, _ in logs) / sum(p for p, _, _ in logs)
    return math.exp(middle), max(sd for _, _, sd in logs)
