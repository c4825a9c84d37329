"""
A plugin of pytest for `benchmarks.mutations`: tests collected once, each fault woken in a process of its own.
"""

from __future__ import annotations

import functools
import gc
import hashlib
import json
import os
import random
import re
import resource
import signal
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import coverage
import hypothesis
import pytest

from benchmarks import mutant_switch

#: Tests that cover the line are run, the quickest first, while they fit into this much of the processor. [s]
_SPENT = 30.0
#: Lines are worked out for as many tests of a file as fit into this much of the processor. [s]
_OF_A_FILE = 30.0
#: Examples drawn for a property, the same ones each time; fewer than where the tests run by themselves. [-]
_EXAMPLES = 20
#: A run that takes more of the processor than this and so many times its tests hangs: noticed. [s], [-]
_START, _HANGS = 20.0, 8.0
#: Nothing takes longer than this, a wait for what never comes included. [s]
_LONGEST = 900.0
_PASSED, _FAILED, _NOT_REACHED = 0, 1, 3
_ROOT = Path(__file__).parents[1]
_PACKAGES = ("diagnosis", "readings", "jobs")

#: By file and number of line: the tests that cover it.
Lines = dict[str, dict[int, list[str]]]


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


def _forget() -> None:
    """Work out anew what was worked out while the tests were collected, but the one shop there is."""
    caches = (thing for thing in gc.get_objects() if isinstance(thing, functools._lru_cache_wrapper))
    for cache in caches:
        if cache.__module__.startswith("humclick") and cache.__name__ != "default_shop":
            cache.cache_clear()


def _by_file(session: pytest.Session) -> dict[Path, list[pytest.Item]]:
    files: dict[Path, list[pytest.Item]] = {}
    for item in session.items:
        files.setdefault(item.path, []).append(item)
    return files


# -- which test covers which line ---------------------------------------------------------------------------


def _digest(paths: Iterable[Path]) -> str:
    """One number for the contents of files."""
    whole = hashlib.sha256()
    for path in sorted(paths):
        whole.update(path.relative_to(_ROOT).as_posix().encode() + b"\0" + path.read_bytes())
    return whole.hexdigest()[:24]


def _with_helpers(test_file: Path) -> set[Path]:
    """A test file, and the files among the tests that it takes something from."""
    every, waiting = set(), [test_file]
    while waiting:
        file = waiting.pop()
        every.add(file)
        names = re.findall(r"^(?:from|import) (tests[\w.]*)", file.read_text("utf-8"), re.MULTILINE)
        near = [_ROOT / f"{name.replace('.', '/')}.py" for name in names]
        waiting += [path for path in near if path.exists() and path not in every]
    return every


class Map:
    """
    Which test covers which line, kept outside the tree under the digest of all that a test could depend on.

    A test file is run anew when the sources, itself, or what it takes from other tests have changed.
    """

    def __init__(self, folder: Path, copy: Path) -> None:
        self.folder = folder
        self.copy = copy
        source = _ROOT / "src" / "humclick"
        kept = [p for p in source.rglob("*") if p.suffix in (".py", ".toml") and "built" not in p.parts]
        self.sources = _digest(kept)

    def path(self, test_file: Path) -> Path:
        """Where the map of a test file stands."""
        return self.folder / f"{test_file.stem}-{self.sources}-{_digest(_with_helpers(test_file))}.json"

    def make(self, session: pytest.Session, jobs: int) -> None:
        """Run the files of tests that have no map yet, a process for each."""
        self.folder.mkdir(parents=True, exist_ok=True)
        waiting = {f: items for f, items in _by_file(session).items() if not self.path(f).exists()}
        children = Children(jobs)
        for number, (file, items) in enumerate(waiting.items(), 1):
            print(f"lines of {file.relative_to(_ROOT)} ({number} of {len(waiting)})", flush=True)
            children.fork(
                lambda file=file, items=items: self._covered(session, file, items),  # type: ignore[misc]
                1e6,
                lambda code: None,
            )
        children.wait()

    def _covered(self, session: pytest.Session, file: Path, items: Sequence[pytest.Item]) -> int:
        covered = coverage.Coverage(
            data_file=None, config_file=False, include=[f"{self.copy}/{name}/*" for name in _PACKAGES]
        )
        seconds: dict[str, float] = {}
        failed: list[str] = []
        _forget()
        covered.start()
        begun = time.process_time()
        for item in random.Random(0).sample(items, len(items)):
            if time.process_time() - begun > _OF_A_FILE:
                break
            covered.switch_context(item.nodeid)
            before = session.testsfailed
            for name, spent in _run(session, [item], stop=False):
                seconds[name] = spent
                failed += [name] * (session.testsfailed > before)
        covered.stop()
        data = covered.get_data()
        above = self.copy.parents[1]
        lines = {
            Path(name).relative_to(above).as_posix(): data.contexts_by_lineno(name)
            for name in data.measured_files()
        }
        text = json.dumps({"seconds": seconds, "failed": failed, "lines": lines})
        self.path(file).write_text(text, "utf-8")
        return _PASSED

    def read(self, session: pytest.Session) -> tuple[Lines, dict[str, float]]:
        """Tests by line, and how much of the processor each takes. [s]"""
        lines: Lines = {}
        seconds: dict[str, float] = {}
        for file in _by_file(session):
            if not self.path(file).exists():
                print(f"left out, for its lines were not worked out: {file.relative_to(_ROOT)}", flush=True)
                continue
            noted = json.loads(self.path(file).read_text("utf-8"))
            for name in noted["failed"]:
                print(f"left out, for it fails with no fault awake: {name}", flush=True)
            seconds |= {name: s for name, s in noted["seconds"].items() if name not in noted["failed"]}
            for source, rows in noted["lines"].items():
                mine = lines.setdefault(source, {})
                for line, tests in rows.items():
                    mine.setdefault(int(line), []).extend(t for t in tests if t in seconds)
        return lines, seconds


# -- faults -------------------------------------------------------------------------------------------------


class Faults:
    """The faults of one run, and the tests they meet."""

    def __init__(self, session: pytest.Session, task: Mapping[str, Any], lines: Map) -> None:
        self.session = session
        self.task = task
        self.items = {item.nodeid: item for item in session.items}
        self.children = Children(task["jobs"])
        self.lines, self.seconds = lines.read(session)
        self.outcome: dict[int, str] = {}

    def wake(self) -> dict[int, str]:
        """What became of each fault: ``failed``, ``hung``, ``passed``, ``not reached`` or ``not covered``."""
        for number, mutation in enumerate(self.task["drawn"]):
            items, spent = self._within(self._tests(mutation))
            if not items:
                self._ended(number, None)
                continue
            self.children.fork(
                lambda number=number, items=items: self._woken(number, items),  # type: ignore[misc]
                _START + _HANGS * spent,
                lambda code, number=number: self._ended(number, code),  # type: ignore[misc]
            )
        self.children.wait()
        return dict(sorted(self.outcome.items()))

    def _tests(self, mutation: Mapping[str, Any]) -> set[str]:
        """The tests that cover a line of the changed place, or else the statement it lies in."""
        rows = self.lines.get(mutation["file"], {})
        for begin, end in ((mutation["line"], mutation["end_line"]), mutation["statement"]):
            tests = {test for line in range(begin, end + 1) for test in rows.get(line, ())}
            if tests:
                return tests
        return set()

    def _within(self, names: Iterable[str]) -> tuple[list[pytest.Item], float]:
        """As many tests, the quickest first, as fit into the time, and how much they take. [s]"""
        chosen: list[pytest.Item] = []
        spent = 0.0
        for name in sorted(names, key=lambda name: (self.seconds[name], name)):
            if chosen and spent + self.seconds[name] > _SPENT:
                break
            chosen.append(self.items[name])
            spent += self.seconds[name]
        return chosen, spent

    def _woken(self, number: int, items: Sequence[pytest.Item]) -> int:
        if not self.task["control"]:
            mutant_switch.ACTIVE = number
            os.environ["MUTANT"] = str(number)
        _forget()
        mutant_switch.SEEN.clear()
        for _ in _run(self.session, items, stop=True):
            pass
        if self.session.testsfailed:
            return _FAILED
        return _PASSED if number in mutant_switch.SEEN else _NOT_REACHED

    def _ended(self, number: int, code: int | None) -> None:
        words = {_FAILED: "failed", _PASSED: "passed", _NOT_REACHED: "not reached", None: "not covered"}
        self.outcome[number] = words.get(code, "hung")
        if self.outcome[number] != "failed":
            print(f"{self.outcome[number]}: {self.task['drawn'][number]['name']}", flush=True)
        if len(self.outcome) % 10 == 0:
            print(f"{len(self.outcome)} of {len(self.task['drawn'])} faults woken", flush=True)


@pytest.hookimpl(tryfirst=True)
def pytest_collection() -> None:
    """Before the tests are read, for they take their settings then."""
    hypothesis.settings.register_profile("mutants", max_examples=_EXAMPLES, deadline=None, derandomize=True)
    hypothesis.settings.load_profile("mutants")


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> bool:
    """In place of running the tests once."""
    work = Path(os.environ["MUTANTS"])
    task = json.loads((work / "task.json").read_text("utf-8"))
    lines = Map(Path(task["map"]), work / "src" / "humclick")
    lines.make(session, task["jobs"])
    outcome = Faults(session, task, lines).wake()
    (work / "outcome.json").write_text(json.dumps(outcome), "utf-8")
    return True
