"""
Files on the disk: written whole or not at all, appended to by one writer at a time.

What is written here is on the disk when the function returns, and a battery that dies leaves no half of it.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

try:
    import fcntl
except ImportError:  # where files cannot be locked: one writer at a time
    fcntl = None  # type: ignore[assignment]

__all__ = ["OPEN", "append_block", "locked", "write_whole"]

#: All may read it, its owner may write it.
OPEN = 0o644


def write_whole(target: Path, data: bytes, mode: int = OPEN) -> None:
    """The data under the name, whole or not at all; what stood there is replaced."""
    name = _temporary(target, data, mode)
    try:
        os.replace(name, target)
    except BaseException:
        os.unlink(name)
        raise
    _folder_to_disk(target)


@contextlib.contextmanager
def locked(target: Path, first: bytes) -> Iterator[int]:
    """The file open for appending, and no other writer at it; made with its first line if it is not there."""
    while True:
        if not target.exists():
            _begin(target, first)
        descriptor = os.open(target, os.O_RDWR | os.O_APPEND | getattr(os, "O_CLOEXEC", 0))
        try:
            if fcntl is not None:
                fcntl.flock(descriptor, fcntl.LOCK_EX)
            if os.fstat(descriptor).st_ino == os.stat(target).st_ino:
                yield descriptor
                return
        finally:
            os.close(descriptor)


def append_block(descriptor: int, block: bytes, size: int) -> bool:
    """One write after the `size` bytes that stand there; false where it fell short and was taken back."""
    written = os.write(descriptor, block)
    if written != len(block):
        os.ftruncate(descriptor, size)
        return False
    os.fsync(descriptor)
    return True


def _temporary(target: Path, data: bytes, mode: int) -> str:
    """The data in a new file beside the target, on the disk."""
    descriptor, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, mode)
    except BaseException:
        os.unlink(name)
        raise
    return name


def _begin(target: Path, first: bytes) -> None:
    """A new file with its first line; one that appeared meanwhile is left as it is."""
    name = _temporary(target, first, OPEN)
    try:
        with contextlib.suppress(FileExistsError):
            os.link(name, target)
    except OSError:  # no hard links here
        if not target.exists():
            os.replace(name, target)
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(name)
    _folder_to_disk(target)


def _folder_to_disk(target: Path) -> None:
    with contextlib.suppress(OSError):  # not every system opens folders
        descriptor = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
