"""
A plugin of pytest for `benchmarks.mutations`: tests collected once, each fault woken in a process of its own.
"""

from __future__ import annotations

import functools
import gc
import json
import os
import resource
import signal
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

import pytest

from benchmarks import mutant_switch

#: Tests that come by are run, the quickest first, as long as they fit into this much of the processor. [s]
_SPENT = 40.0
#: A run that takes more of the processor than this and so many times its tests hangs: noticed. [s], [-]
_START, _HANGS = 20.0, 8.0
#: Nothing takes longer than this, a wait for what never comes included. [s]
_LONGEST = 900.0
_PASSED, _FAILED = 0, 1


class Children:
    """
    Processes forked from the one that has collected the tests, so many at a time.

    Parameters
    ----------
    jobs : int
        How many at a time. [-]
    """

    def __init__(self, jobs: int) -> None:
        self.jobs = jobs
        self.running: dict[int, tuple[float, Callable[[int], None]]] = {}

    def fork(self, task: Callable[[], int], limit: float, done: Callable[[int], None]) -> None:
        """Run a task in a child, with a limit on its processor time; `done` gets what it ended with. [s]"""
        self.wait(self.jobs - 1)
        pid = os.fork()
        if pid == 0:
            code = _FAILED
            try:
                resource.setrlimit(resource.RLIMIT_CPU, (int(limit) + 1, int(limit) + 2))
                nowhere = os.open(os.devnull, os.O_WRONLY)
                os.dup2(nowhere, 1)
                os.dup2(nowhere, 2)
                code = task()
            finally:
                os._exit(code)
        self.running[pid] = time.monotonic(), done

    def wait(self, most: int = 0) -> None:
        """Wait until no more than so many are running."""
        while len(self.running) > most:
            for pid, (begun, done) in list(self.running.items()):
                ended, status = os.waitpid(pid, os.WNOHANG)
                if ended:
                    del self.running[pid]
                    done(os.waitstatus_to_exitcode(status))
                elif time.monotonic() - begun > _LONGEST:
                    os.kill(pid, signal.SIGKILL)
            time.sleep(0.02)


def _run(session: pytest.Session, items: Sequence[pytest.Item], *, stop: bool) -> Iterable[tuple[str, float]]:
    """Run tests, and give back how much of the processor each took. [s]"""
    for k, item in enumerate(items):
        begun = time.process_time()
        following = items[k + 1] if k + 1 < len(items) else None
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        yield item.nodeid, time.process_time() - begun
        if stop and session.testsfailed:
            return


class Faults:
    """The faults of one run, and the tests they meet."""

    def __init__(self, session: pytest.Session) -> None:
        self.session = session
        self.work = Path(os.environ["MUTANTS"])
        self.task = json.loads((self.work / "task.json").read_text("utf-8"))
        self.items = {item.nodeid: item for item in session.items}
        self.children = Children(self.task["jobs"])
        self.looked = 0
        self.seconds: dict[str, float] = {}
        self.tests: dict[int, list[str]] = {}
        self.outcome: dict[int, bool] = {}

    def look(self) -> None:
        """Run every test once, a process for a file, to see which places it comes by."""
        files: dict[Path, list[pytest.Item]] = {}
        for item in self.items.values():
            files.setdefault(item.path, []).append(item)
        for number, items in enumerate(files.values()):
            notes = self.work / f"seen{number}.json"
            self.children.fork(
                lambda items=items, notes=notes: self._looked(items, notes),  # type: ignore[misc]
                1e6,
                lambda code, notes=notes: self._noted(notes),  # type: ignore[misc]
            )
        self.children.wait()

    @staticmethod
    def _forget() -> None:
        """Work out anew what was worked out while the tests were collected, but the one shop there is."""
        caches = (thing for thing in gc.get_objects() if isinstance(thing, functools._lru_cache_wrapper))
        for cache in caches:
            if cache.__module__.startswith("humclick") and cache.__name__ != "default_shop":
                cache.cache_clear()

    def _looked(self, items: Sequence[pytest.Item], notes: Path) -> int:
        rows: dict[str, tuple[float, list[int], bool]] = {}
        self._forget()
        mutant_switch.SEEN.clear()
        failed = self.session.testsfailed
        for name, seconds in _run(self.session, items, stop=False):
            rows[name] = seconds, sorted(mutant_switch.SEEN), self.session.testsfailed > failed
            mutant_switch.SEEN.clear()
            failed = self.session.testsfailed
        notes.write_text(json.dumps(rows), "utf-8")
        return _PASSED

    def _noted(self, notes: Path) -> None:
        for name, (seconds, seen, failed) in json.loads(notes.read_text("utf-8")).items():
            self.looked += 1
            if failed:
                print(f"left out, for it fails with no fault awake: {name}", flush=True)
                continue
            self.seconds[name] = seconds
            for number in seen:
                self.tests.setdefault(number, []).append(name)
        print(f"{self.looked} of {len(self.items)} tests run once", flush=True)

    def wake(self) -> None:
        """Each fault that tests come by, up to so many, in a process of its own."""
        met = [k for k in range(self.task["drawn"]) if k in self.tests]
        print(f"tests come by {len(met)} of {self.task['drawn']} places drawn", flush=True)
        for number in met[: self.task["count"]]:
            items, spent = self._within(self.tests[number])
            self.children.fork(
                lambda number=number, items=items: self._woken(number, items),  # type: ignore[misc]
                _START + _HANGS * spent,
                lambda code, number=number: self._ended(number, code),  # type: ignore[misc]
            )
        self.children.wait()
        (self.work / "outcome.json").write_text(json.dumps(dict(sorted(self.outcome.items()))), "utf-8")

    def _within(self, names: Iterable[str]) -> tuple[list[pytest.Item], float]:
        """As many tests, the quickest first, as fit into the time, and how much they take. [s]"""
        chosen: list[pytest.Item] = []
        spent = 0.0
        for name in sorted(names, key=self.seconds.__getitem__):
            if chosen and spent + self.seconds[name] > _SPENT:
                break
            chosen.append(self.items[name])
            spent += self.seconds[name]
        return chosen, spent

    def _woken(self, number: int, items: Sequence[pytest.Item]) -> int:
        if not self.task["control"]:
            mutant_switch.ACTIVE = number
            os.environ["MUTANT"] = str(number)
        self._forget()
        for _ in _run(self.session, items, stop=True):
            pass
        return _FAILED if self.session.testsfailed else _PASSED

    def _ended(self, number: int, code: int) -> None:
        self.outcome[number] = code != _PASSED
        if code == _PASSED:
            print(f"not noticed: {self.task['names'][number]}", flush=True)


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> bool:
    """In place of running the tests once."""
    faults = Faults(session)
    faults.look()
    faults.wake()
    return True
