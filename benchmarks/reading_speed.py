"""
Whether the reader of call files takes time in proportion to the text: ``python -m benchmarks.reading_speed``.

Each text repeats one hostile piece. Beside the CPU seconds of a whole file stands the ratio to a quarter of
it: 4 for a reader that is linear, 16 for one that is quadratic.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Mapping

from humclick.errors import CallFileError
from humclick.jobs.call_file import parse_call
from humclick.limits import CALL_BYTES

__all__ = ["PIECES", "seconds"]

#: What is repeated, and what stands before it.
PIECES: Mapping[str, tuple[str, str]] = {
    "quotes and backslashes": ("", '"\\'),
    "a long string that never ends": ('x = """', 'a"'),
    "backslashes in a string": ('x = "', "\\t"),
    "spaces": ("", " "),
    "brackets": ("x = [", "[],"),
    "numbers": ("x = [", "1,"),
    "digits": ("x = 1.", "9"),
    "one key": ("", "a"),
    "marks of blocks": ("", "# event a begins\n"),
    "zeros": ("", "\0"),
    "heads": ("", "[[event]]\n"),
}


def seconds(before: str, piece: str, size: int) -> float:
    """CPU time to read a file of one piece repeated up to a size in bytes. [s]"""
    text = f"humclick_call = 1\n{before}{piece * (size // len(piece))}"
    data = text.encode()[:size]
    start = time.process_time()
    with contextlib.suppress(CallFileError):
        parse_call(data)
    return time.process_time() - start


def main() -> None:
    """Print a line for each piece."""
    for name, (before, piece) in PIECES.items():
        quarter, whole = (seconds(before, piece, size) for size in (CALL_BYTES // 4, CALL_BYTES))
        print(f"{name:32} {whole:6.2f} s   x {whole / max(quarter, 1e-4):4.1f}")


if __name__ == "__main__":
    main()
