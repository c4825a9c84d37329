"""
The compiler, told that the kernel's files belong together.

A compiled function is kept on disk and used again while its own file is unchanged; what it took in from other
files (offsets, other compiled functions) would be missed. So every one here is kept under the stamps of all.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from numba import njit

__all__ = ["FAST", "kernel_compiled"]

#: Freedom the compiler has with floating point; not `reassoc`, which would undo a rounding in the kernel.
FAST = {"contract", "arcp", "nsz", "nnan"}

_FILES = ("compiled.py", "rows.py", "kernel.py", "network.py", "happenings.py", "lanes.py")


def _stamps(folder: Path) -> tuple[tuple[float, int], ...]:
    """When each file was last written, and how long it is."""
    stamps = []
    for name in _FILES:
        path = folder / name
        if path.exists():
            state = path.stat()
            stamps.append((state.st_mtime, state.st_size))
    return tuple(stamps)


def kernel_compiled(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Compile a function of the kernel: no checks of division, no lock of the interpreter, kept on disk."""

    def decorate(function: Callable[..., Any]) -> Any:
        made = njit(error_model="numpy", nogil=True, cache=True, **options)(function)
        cache_file: Any = getattr(getattr(made, "_cache", None), "_cache_file", None)
        if hasattr(cache_file, "_source_stamp"):
            cache_file._source_stamp = _stamps(Path(__file__).parent)
        return made

    return decorate
