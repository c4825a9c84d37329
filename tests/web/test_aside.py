"""The process that works the list out ahead ends with its server, also where that is killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

_SERVER = """
import multiprocessing, os, time
from concurrent.futures import ProcessPoolExecutor
from humclick.web.office import _give_way

if __name__ == "__main__":
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(1, mp_context=context, initializer=_give_way)
    print(pool.submit(os.getpid).result(), flush=True)
    time.sleep(60)
"""


def runs(pid: int) -> bool:
    """Whether there is such a process, and not only its remains."""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no list of processes to look at")
def test_nothing_is_left_running_when_the_server_is_killed(tmp_path: Path) -> None:
    """Killed as when the power goes, with its helper idle; the helper is gone within seconds."""
    script = tmp_path / "server.py"
    script.write_text(_SERVER, encoding="utf-8")
    server = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    aside = int(server.stdout.readline())
    try:
        assert runs(aside)
        server.send_signal(signal.SIGKILL)
        server.wait()
        end = time.monotonic() + 20
        while runs(aside) and time.monotonic() < end:
            time.sleep(0.05)
        assert not runs(aside)
    finally:
        server.stdout.close()
        if runs(aside):
            os.kill(aside, signal.SIGKILL)
