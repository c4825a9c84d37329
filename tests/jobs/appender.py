"""Appends events to a call file until killed, and says on standard output which ones are on the disk."""

from __future__ import annotations

import sys

from humclick.jobs.call_file import append_event
from humclick.jobs.event_tables import new_event


def main() -> None:
    """Append notes for ever; a name is printed only after its event is written."""
    path, prefix = sys.argv[1:]
    number = 0
    while True:
        append_event(path, new_event("note", id=f"{prefix}{number}", text=f"note {number} " + "µ" * 500))
        print(f"{prefix}{number}", flush=True)
        number += 1


if __name__ == "__main__":
    main()
