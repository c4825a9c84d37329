"""What is kept of the compiler's work is dropped when any file of the kernel changes."""

from __future__ import annotations

import os
from pathlib import Path

from humclick.start import compiled, happenings, kernel, lanes, network


def test_every_compiled_function_is_kept_under_the_stamps_of_all_files() -> None:
    """Functions of all four files carry the same stamp, and it names every file."""
    found = [
        function._cache._cache_file._source_stamp
        for function in (kernel.step_all, kernel.commit, network.switch, happenings.half_cycle, lanes.play)
    ]
    assert len(set(found)) == 1
    assert len(found[0]) == len(compiled._FILES)


def test_the_stamp_changes_with_any_file(tmp_path: Path) -> None:
    """Another time on the file of offsets changes the stamp, though no compiled function stands in it."""
    for name in compiled._FILES:
        (tmp_path / name).write_text("x = 1\n")
    before = compiled._stamps(tmp_path)
    os.utime(tmp_path / "rows.py", (1.0, 1.0))
    assert compiled._stamps(tmp_path) != before
