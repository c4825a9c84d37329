"""
The workroom: pictures, PDFs, recordings and parcels are opened in processes of their own.

What comes from outside is opened there by libraries that may need much memory or time, or may fail.
A worker has a bound on both (``setrlimit``), and at most `WORKERS` work at one time; who comes then waits in
a short row, and is told to come again where that is full. A worker that breaks, or is too slow, is replaced;
the server goes on. Workers are started when the first is needed and used again.

Where a system has no such bounds (Windows), the work is done in the server itself, one piece at a time, with
the bounds that each piece has of its own.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import signal
import socket
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import msgspec

from humclick.errors import Busy, HumclickError, OverBound, Refused, Unknown, printable
from humclick.limits import WORK_BYTES, WORK_SECONDS, WORK_TIMES, WORK_WAIT_SECONDS, WORK_WAITING, WORKERS
from humclick.messages import Message, as_data, from_data

try:
    import resource
except ImportError:  # a system without such bounds
    resource = None  # type: ignore[assignment]

#: What a worker can be asked to do: functions of `humclick.web.tasks`, all of plain values in and out.
TASKS = {
    "photo cleaned": "photo_cleaned",
    "photo checked": "photo_checked",
    "recording": "recording_read",
    "parcel": "parcel_unpacked",
    "sheet": "sheet_typeset",
}
_LENGTH = struct.Struct("!Q")
#: Time to start and to pass things over, beside the work itself. [s]
_GRACE = 10
#: Longest message between server and worker. [byte]
_LONGEST = 256 * 1024 * 1024


def _send(line: socket.socket, message: Any) -> None:
    data = msgspec.msgpack.encode(message)
    line.sendall(_LENGTH.pack(len(data)))
    line.sendall(data)


def _received(line: socket.socket, by: float | None = None) -> Any:
    """The next message; `EOFError` if the other side is gone, `TimeoutError` if it is late. [s]"""
    (length,) = _LENGTH.unpack(_exactly(line, _LENGTH.size, by))
    if length > _LONGEST:
        raise EOFError
    return msgspec.msgpack.decode(_exactly(line, length, by))


def _exactly(line: socket.socket, count: int, by: float | None) -> bytes:
    data = bytearray()
    while len(data) < count:
        if by is not None:
            left = by - time.monotonic()
            if left <= 0:
                raise TimeoutError
            line.settimeout(left)
        try:
            piece = line.recv(min(count - len(data), 1 << 20))
        except ConnectionError:
            raise EOFError from None
        if not piece:
            raise EOFError
        data += piece
    return bytes(data)


# -- the server's side ------------------------------------------------------------------------------------


class _Worker:
    """One worker process and the line to it."""

    def __init__(self, memory: int, seconds: int) -> None:
        self.line, theirs = socket.socketpair()
        self.seconds = seconds
        self.done = 0
        arguments = [str(theirs.fileno()), str(memory), str(seconds)]
        threads = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        with theirs:
            self.process = subprocess.Popen(
                [sys.executable, "-c", "from humclick.web.workroom import worker; worker()", *arguments],
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={**os.environ, **threads, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            )

    def do(self, task: str, values: list[Any]) -> Any:
        """One piece of work; its answer as the worker gave it."""
        by = time.monotonic() + 2 * self.seconds + _GRACE
        self.line.settimeout(2 * self.seconds + _GRACE)
        _send(self.line, [task, values])
        self.done += 1
        return _received(self.line, by)

    def end(self) -> None:
        """End the process."""
        self.line.close()
        with contextlib.suppress(OSError):
            self.process.kill()
        self.process.wait()


@dataclass(frozen=True, slots=True)
class Workroom:
    """Workers, and the row of those who wait for them."""

    workers: int = WORKERS
    #: How many may wait.
    waiting: int = WORK_WAITING
    #: Of one worker. [byte]
    memory: int = WORK_BYTES
    #: Processor time of one piece of work. [s]
    seconds: int = WORK_SECONDS
    #: Longest wait for a turn. [s]
    patience: float = WORK_WAIT_SECONDS
    #: Whether there are processes of their own; False where the system cannot bound them.
    apart: bool = resource is not None
    _free: list[_Worker] = field(default_factory=list, init=False, repr=False, compare=False)
    _turn: threading.Condition = field(
        default_factory=threading.Condition, init=False, repr=False, compare=False
    )
    _count: dict[str, int] = field(
        default_factory=lambda: {"working": 0, "waiting": 0}, init=False, repr=False, compare=False
    )

    def do(self, task: str, *values: Any) -> Any:
        """
        Have one of `TASKS` done, with the plain values and bytes its function takes.

        Raises what the function does, `Busy` if too many wait already or the turn did not come in time,
        `OverBound` if the work took more memory or time than a worker has, `OSError` if the disk did not take
        it.
        """
        with self._place():
            if not self.apart:
                return _function(task)(*values)
            worker = self._worker()
            try:
                answer = worker.do(task, list(values))
            except (EOFError, OSError, msgspec.DecodeError) as error:
                worker.end()
                raise OverBound(_broken(worker.process.returncode, error, self)) from None
            except BaseException:
                worker.end()
                raise
            if worker.done < WORK_TIMES and answer[0] != "failed":
                self._free.append(worker)
            else:
                worker.end()
        return _answered(answer, self)

    def _worker(self) -> _Worker:
        """A worker that is free and alive, or a new one."""
        while self._free:
            worker = self._free.pop()
            if worker.process.poll() is None:
                return worker
            worker.end()
        return _Worker(self.memory, self.seconds)

    @contextlib.contextmanager
    def _place(self) -> Iterator[None]:
        """A turn to work, in the order of coming as far as the system gives it."""
        count = self._count
        with self._turn:
            if count["working"] >= self.workers:
                busy = Busy(
                    Message("busy with other photos, recordings and sheets; try again in half a minute")
                )
                if count["waiting"] >= self.waiting:
                    raise busy
                count["waiting"] += 1
                try:
                    if not self._turn.wait_for(lambda: count["working"] < self.workers, self.patience):
                        raise busy
                finally:
                    count["waiting"] -= 1
            count["working"] += 1
        try:
            yield
        finally:
            with self._turn:
                count["working"] -= 1
                self._turn.notify()

    def close(self) -> None:
        """End the workers that are not working."""
        while self._free:
            self._free.pop().end()


@cache
def standard_workroom() -> Workroom:
    """The workroom of this process, with the program's own bounds."""
    return Workroom()


def _broken(status: int | None, error: Exception, room: Workroom) -> Message:
    if isinstance(error, TimeoutError) or status == -getattr(signal, "SIGXCPU", 0):
        return Message(
            "this took more than {seconds} seconds and was stopped; send a smaller one", seconds=room.seconds
        )
    return Message(
        "this took more than {most} MiB of memory and was stopped; send a smaller one",
        most=room.memory // 2**20,
    )


def _answered(answer: Any, room: Workroom) -> Any:
    """The value of a worker's answer, or its refusal raised here."""
    kind, value = answer
    if kind == "done":
        return value
    if kind == "memory":
        raise OverBound(_broken(None, MemoryError(), room))
    if kind == "storage":
        raise OSError(*value)
    if kind == "unknown":
        raise Unknown(from_data(value[0]), *value[1:])
    if kind == "missing":
        raise Refused(from_data(value)) from ImportError()
    if kind == "refused":
        raise Refused(from_data(value))
    raise Refused(Message("this cannot be read: {value}", value=value))


def _function(task: str) -> Callable[..., Any]:
    function: Callable[..., Any] = getattr(importlib.import_module("humclick.web.tasks"), TASKS[task])
    return function


# -- the worker's side ------------------------------------------------------------------------------------


def worker() -> None:
    """A worker's life: bound itself, then answer until the server is gone."""
    number, memory, seconds = map(int, sys.argv[1:4])
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    for name in ("RLIMIT_DATA", "RLIMIT_AS"):
        with contextlib.suppress(AttributeError, ValueError, OSError):
            # the address space of threads and libraries is larger than what they use
            most = memory if name == "RLIMIT_DATA" else 4 * memory
            resource.setrlimit(getattr(resource, name), (most, most))
    with contextlib.suppress(OSError, AttributeError):
        os.nice(5)
    with socket.socket(fileno=number) as line:
        while True:
            try:
                task, values = _received(line)
            except EOFError:
                return
            _send(line, _done(task, values, seconds))


def _done(task: str, values: list[Any], seconds: int) -> list[Any]:
    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = int(used.ru_utime + used.ru_stime) + 1 + seconds
    resource.setrlimit(resource.RLIMIT_CPU, (soft, resource.getrlimit(resource.RLIMIT_CPU)[1]))
    try:
        return ["done", _function(task)(*values)]
    except Unknown as error:
        return ["unknown", [as_data(error.kind), error.name, list(error.known)]]
    except HumclickError as error:
        missing = isinstance(error.__cause__, ImportError | OSError)
        return ["missing" if missing else "refused", as_data(error.message)]
    except MemoryError:
        return ["memory", ""]
    except OSError as error:
        if error.errno is not None:
            return ["storage", [error.errno, error.strerror or ""]]
        return ["failed", printable(str(error))[:200]]
    except Exception as error:
        return ["failed", printable(f"{type(error).__name__}: {error}")[:200]]
