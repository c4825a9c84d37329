"""What is worked out for a thing is forgotten with it."""

from __future__ import annotations

import gc
import weakref

from humclick.diagnosis.memory import Memory, Remembering


def test_a_table_belongs_to_one_thing_and_one_memory() -> None:
    """The same key in another memory, or of another owner, is another entry."""
    squares: Memory[int, int] = Memory()
    cubes: Memory[int, int] = Memory()
    here, there = Remembering(), Remembering()
    squares.of(here)[3] = 9
    cubes.of(here)[3] = 27
    squares.of(there)[3] = -9
    assert (squares.of(here), cubes.of(here), squares.of(there)) == ({3: 9}, {3: 27}, {3: -9})
    assert cubes.of(there) == {}
    assert squares.of(here) is squares.of(here)


def test_what_was_worked_out_goes_with_its_owner() -> None:
    """A memory holds on to no owner and to nothing kept for one."""

    class Kept:
        """Something that can be watched."""

    memory: Memory[str, Kept] = Memory()
    owner = Remembering()
    memory.of(owner)["x"] = Kept()
    watched = weakref.ref(memory.of(owner)["x"])
    del owner
    gc.collect()
    assert watched() is None
