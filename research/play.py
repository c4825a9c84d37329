"""
Sweeps: very many starts, over all cores here or on a Dask cluster, into one Parquet file.

The attempts are cut into chunks of fixed size. Each finished chunk is a Parquet file of its own beside the
result until all are there; then they are joined in order. So a sweep can be stopped at any moment and the
same call goes on, and the rows are the same however many cores or stops there were.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from humclick.errors import Refused
from humclick.messages import Message
from humclick.start.attempts import attempts
from humclick.start.batch import Features, simulate_many
from humclick.start.case import StartCase
from humclick.start.conditions import modes_of
from humclick.start.estimate import Estimate, Possible, estimate
from humclick.start.rows import OUTCOMES
from research.spec import (
    CONDITIONS,
    MACHINE,
    WORDS,
    SweepSpec,
    Value,
    conditions_of,
    machine_of,
    spec_of,
)

__all__ = ["CHUNK", "Progress", "chunk_rows", "chunks", "sweep"]

#: Attempts in a chunk. [-]
CHUNK = 256
#: Chunks handed out for each core at a time, so that little is lost when it is stopped. [-]
_AHEAD = 3
_MARK = b"humclick_sweep"
Columns = dict[str, list[Any]]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a sweep has come."""

    #: Attempts played, and all of them.
    done: int
    all: int
    resumed: int = 0  #: Of those played, how many before this call.
    stopped: bool = False  #: Whether it was stopped before the end.


def chunks(spec: SweepSpec) -> int:
    """How many chunks a sweep has."""
    return -(-spec.attempts // CHUNK)


@lru_cache(maxsize=8)
def _read(text: str) -> SweepSpec:
    return spec_of(text)


def chunk_rows(text: str, number: int) -> Columns:
    """
    Play one chunk: what a core or a worker of a cluster does.

    Gives columns of the result, one value a row; None where something did not happen. Chunks count from 0.
    Raises `Refused` if there is no such chunk or the spec cannot be read.
    """
    spec = _read(text)
    if not 0 <= number < chunks(spec):
        raise Refused(Message.of(f"the sweep has chunks 0 to {chunks(spec) - 1}, got {number}"))
    rows = range(number * CHUNK, min((number + 1) * CHUNK, spec.attempts))
    values_by_row: list[dict[str, Value]] = []
    cases: list[StartCase] = []
    for row in rows:
        values, case = _attempt(spec, *divmod(row, spec.draws))
        values_by_row.append(values)
        cases.append(case)
    features = simulate_many(cases, spec.seconds, threads=1)
    columns: Columns = {
        "point": [row // spec.draws for row in rows],
        "draw": [row % spec.draws for row in rows],
    }
    for name in values_by_row[0]:
        columns[_column(name)] = [values[name] for values in values_by_row]
    columns["outcome"] = [OUTCOMES[code] for code in features.outcome]
    for feature in fields(Features):
        if feature.name != "outcome":
            column = np.asarray(getattr(features, feature.name)).tolist()
            columns[_feature(feature.name)] = [None if value != value else value for value in column]
    return columns


def _column(name: str) -> str:
    """Name of a column: [machine] volts are the plate's, [conditions] volts are over them."""
    return {"volts": "plate_volts", ".volts": "volts_over_plate"}.get(name, name.lstrip("."))


def _feature(name: str) -> str:
    """A feature with its unit."""
    for end, unit in (("_time", "s"), ("_max", "celsius")):
        if name.endswith(end):
            return f"{name}_{unit}"
    amps = ("peak", "locked", "running", "last_line", "last_gear", "first_gear")
    return f"{name}_amps" if name in amps else name


def _attempt(spec: SweepSpec, place: int, draw: int) -> tuple[dict[str, Value], StartCase]:
    point = spec.point(place)
    # drawn by the number of the machine alone, so that all points have the same possible machines
    values = point.drawn(np.random.default_rng([spec.seed, draw]))
    machine, _ = machine_of(values)
    plain = tuple((name, values[name]) for name in MACHINE)
    if point.machine_drawn:
        motor = _possible(plain, 1, spec.seed + draw)[0]
    else:
        motor = _possible(plain, spec.draws, spec.seed)[draw]
    conditions = conditions_of(values, machine)
    wrong = modes_of(str(values[".modes"]), machine)
    return values, attempts(machine, [motor], conditions, wrong, spec.seed * 100_003 + draw)[0]


@lru_cache(maxsize=1024)
def _estimate(plain: tuple[tuple[str, Value], ...]) -> Estimate:
    return estimate(machine_of(dict(plain))[1])


@lru_cache(maxsize=1024)
def _possible(plain: tuple[tuple[str, Value], ...], count: int, seed: int) -> list[Possible]:
    return _estimate(plain).possible(count, seed)


# -- files --------------------------------------------------------------------------------------------------


def _parquet() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet as parquet
    except ImportError:
        raise Refused(
            Message.of("Parquet needs pyarrow; install it with: python -m pip install pyarrow")
        ) from None
    return pyarrow, parquet


def _schema(spec: SweepSpec) -> Any:
    pyarrow, _ = _parquet()
    numbers, words = pyarrow.float64(), pyarrow.string()
    columns = [("point", pyarrow.int64()), ("draw", pyarrow.int64())]
    for name in (*MACHINE, *(f".{condition}" for condition in CONDITIONS)):
        bare = name.lstrip(".")
        text = bare in WORDS
        columns.append((_column(name), words if text else pyarrow.bool_() if bare == "hot" else numbers))
    columns.append(("outcome", words))
    for feature in fields(Features):
        if feature.name != "outcome":
            kind = pyarrow.bool_() if feature.name == "unreleased" else numbers
            columns.append((_feature(feature.name), kind))
    return pyarrow.schema(columns, metadata={_MARK: spec.mark.encode()})


def _parts(out: Path) -> Path:
    return out.with_name(f"{out.name}.parts")


def _part(out: Path, number: int) -> Path:
    return _parts(out) / f"{number:07d}.parquet"


def _write(spec: SweepSpec, out: Path, number: int, columns: Columns) -> None:
    """One chunk, whole or not at all."""
    pyarrow, parquet = _parquet()
    path = _part(out, number)
    half = path.with_suffix(".half")
    parquet.write_table(pyarrow.table(columns, schema=_schema(spec)), half)
    os.replace(half, path)


def _begin(spec: SweepSpec, out: Path) -> set[int]:
    """Make the folder of parts, or find what is in it already."""
    _, parquet = _parquet()
    folder, mark = _parts(out), _parts(out) / "sweep.txt"
    if out.exists():
        try:
            written = (parquet.read_schema(out).metadata or {}).get(_MARK, b"")
        except Exception:
            written = b""
        if written.decode() != spec.mark:
            raise Refused(
                Message.of(f"{out}: another file stands there already; give another name or take it away")
            )
        return set(range(chunks(spec)))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if mark.exists() and mark.read_text(encoding="utf-8").strip() != spec.mark:
            raise Refused(
                Message.of(
                    f"{folder}: parts of another sweep stand there; go on with that spec, give another name,"
                    " or take the folder away"
                )
            )
        mark.write_text(f"{spec.mark}\n", encoding="utf-8")
    except OSError as error:
        raise Refused(Message.of(f"{folder}: cannot be written: {error.strerror or error}")) from None
    return {int(path.stem) for path in folder.glob("*.parquet") if path.stem.isdigit()}


def _join(spec: SweepSpec, out: Path) -> None:
    """All chunks in order into one file; then the parts go."""
    _, parquet = _parquet()
    half = out.with_name(f"{out.name}.half")
    with parquet.ParquetWriter(half, _schema(spec)) as writer:
        for number in range(chunks(spec)):
            writer.write_table(parquet.read_table(_part(out, number)))
    os.replace(half, out)
    for path in _parts(out).iterdir():
        path.unlink()
    _parts(out).rmdir()


# -- cores and clusters -------------------------------------------------------------------------------------

Finished = Generator[tuple[int, Columns], None, None]


def _quiet() -> None:
    """A core's process leaves Ctrl-C to the one that started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _here(text: str, numbers: Sequence[int]) -> Finished:
    for number in numbers:
        yield number, chunk_rows(text, number)


def _cores(text: str, numbers: Sequence[int], jobs: int) -> Finished:
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(min(jobs, len(numbers)), mp_context=context, initializer=_quiet)
    try:
        left = iter(numbers)
        running: dict[Future[Columns], int] = {}
        while True:
            for number in left:
                running[pool.submit(chunk_rows, text, number)] = number
                if len(running) >= jobs * _AHEAD:
                    break
            if not running:
                return
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                try:
                    columns = future.result()
                except BrokenProcessPool:
                    raise Refused(
                        Message.of(
                            "a process on one of the cores was ended, perhaps for want of memory; what is"
                            " played is kept: go on with the same call and fewer jobs"
                        )
                    ) from None
                yield running.pop(future), columns
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _cluster(text: str, numbers: Sequence[int], address: str) -> Finished:
    try:
        import distributed
    except ImportError:
        raise Refused(
            Message.of("a Dask cluster needs distributed; install it with: python -m pip install distributed")
        ) from None
    try:
        dask: Any = distributed
        client = dask.Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise Refused(Message.of(f"no Dask scheduler answers at {address}: {error}")) from None
    submitted: dict[Any, int] = {}
    try:
        cores = max(1, sum(client.nthreads().values()))
        left = iter(numbers)

        def more(count: int) -> list[Any]:
            futures = []
            for number, _ in zip(left, range(count), strict=False):
                future = client.submit(chunk_rows, text, number, pure=False)
                submitted[future] = number
                futures.append(future)
            return futures

        arriving = dask.as_completed(more(cores * _AHEAD), loop=client.loop)
        for future in arriving:
            try:
                columns = future.result()
            except ImportError as error:
                raise Refused(
                    Message.of(f"the workers at {address} lack what a sweep needs: {error}")
                ) from None
            number = submitted.pop(future)
            for extra in more(1):
                arriving.add(extra)
            yield number, columns
    finally:
        with contextlib.suppress(Exception):
            client.cancel(list(submitted))
        client.close()


def sweep(
    spec: SweepSpec,
    out: Path,
    *,
    jobs: int | None = None,
    dask: str | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Progress:
    """
    Play a sweep into a Parquet file, or go on with one that was stopped.

    Until the file is whole, its parts stand in a folder beside it. `jobs` are cores here, all if left out;
    one plays in this process. `dask` is the address of a scheduler that runs already; then nothing is played
    here. What comes back says `stopped` if it was interrupted; the same call goes on. Raises `Refused` if
    another file or another sweep's parts stand there, it cannot be written, no scheduler answers, or pyarrow
    is not installed.
    """
    if jobs is not None and jobs < 1:
        raise Refused(Message.of(f"at least one core is needed, got {jobs}"))
    done = _begin(spec, out)
    sizes = [min(CHUNK, spec.attempts - number * CHUNK) for number in range(chunks(spec))]
    played = before = sum(sizes[number] for number in done)
    left = [number for number in range(chunks(spec)) if number not in done]
    if not left:
        if not out.exists():
            _join(spec, out)
        return Progress(played, spec.attempts, before)
    workers = jobs or os.cpu_count() or 1
    if dask is not None:
        arriving = _cluster(spec.text, left, dask)
    elif workers == 1 or len(left) == 1:
        arriving = _here(spec.text, left)
    else:
        arriving = _cores(spec.text, left, workers)
    try:
        with contextlib.closing(arriving):
            for number, columns in arriving:
                _write(spec, out, number, columns)
                played += sizes[number]
                if progress is not None:
                    progress(Progress(played, spec.attempts, before))
    except KeyboardInterrupt:
        return Progress(played, spec.attempts, before, stopped=True)
    _join(spec, out)
    return Progress(played, spec.attempts, before)
