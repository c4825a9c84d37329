"""Begins calls of a store, each with one note of its own, and says which ones are on the disk."""

from __future__ import annotations

import sys
from pathlib import Path

from humclick.web.store import Store


def main() -> None:
    """Wait for a line, then append one note to each of so many calls."""
    folder, who, calls = sys.argv[1:]
    store = Store.at(Path(folder))
    print("ready", flush=True)
    sys.stdin.readline()
    for number in range(int(calls)):
        table = {"kind": "note", "id": f"{who}{number}", "at": "2026-03-02T09:00:00Z", "text": who}
        store.append(f"c{number}", [table])
        print(f"c{number} {who}{number}", flush=True)


if __name__ == "__main__":
    main()
