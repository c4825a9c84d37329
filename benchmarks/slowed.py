"""
A browser held to a share of one processor by the system's own quota, and the processor time it took.

A control group of its own takes the browser and every process it starts; the kernel lets them run for that
share of each hundredth of a second, all together. A browser that would use two processors gets no more than
one that uses one, so this is rather slower than a processor of a quarter of the speed. Where no such group
can be made (no rights, another system), `slowed` says so.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

GROUPS = Path("/sys/fs/cgroup")
#: Length of the kernel's turn. [µs]
PERIOD = 10_000


class NotPossible(Exception):
    """No control group can be made here."""


@dataclass(frozen=True)
class Slowed:
    """
    A program run within its group.

    Attributes
    ----------
    program : Path
        Starts it there.
    usage : Path
        Where the kernel counts its processor time.
    """

    program: Path
    usage: Path

    def processor(self) -> float:
        """Processor time taken by the program and all it started so far. [ms]"""
        text = self.usage.read_text()
        if self.usage.name == "cpuacct.usage":
            return int(text) / 1e6
        return int(text.split("usage_usec")[1].split()[0]) / 1e3


@contextmanager
def slowed(program: Path, share: float | None, scratch: Path) -> Iterator[Slowed]:
    """
    A way to start a program within a group of its own.

    Parameters
    ----------
    program : Path
        What is started.
    share : float or None
        Of one processor; None for as much as there is, only counted. [-]
    scratch : Path
        Folder for the starting script.

    Raises
    ------
    NotPossible
        If there are no rights to make a group.
    """
    name = f"humclick-{os.getpid()}"
    first = (GROUPS / "cgroup.controllers").exists()
    folders = [GROUPS / name] if first else [GROUPS / "cpu" / name, GROUPS / "cpuacct" / name]
    made: list[Path] = []
    try:
        for folder in folders:
            if not folder.exists():
                folder.mkdir()
            made.append(folder)
        if share is not None and first:
            (folders[0] / "cpu.max").write_text(f"{int(share * PERIOD)} {PERIOD}")
        elif share is not None:
            (folders[0] / "cpu.cfs_period_us").write_text(str(PERIOD))
            (folders[0] / "cpu.cfs_quota_us").write_text(str(int(share * PERIOD)))
    except OSError as error:
        _gone(made)
        raise NotPossible(f"no control group can be made here: {error}") from None
    script = scratch / "start-in-group"
    joined = " ".join(f"echo $$ > {folder}/cgroup.procs;" for folder in folders)
    script.write_text(f'#!/bin/sh\n{joined}\nexec {program} "$@"\n')
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    try:
        yield Slowed(script, folders[0] / "cpu.stat" if first else folders[1] / "cpuacct.usage")
    finally:
        _gone(made)


def _gone(folders: list[Path]) -> None:
    for folder in folders:
        with suppress(OSError):  # still in use by a process that is ending
            folder.rmdir()
