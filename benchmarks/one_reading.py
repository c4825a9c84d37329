"""
What one typed reading costs: ``python -m benchmarks.one_reading [--keep NAME]``.

The call of the README is worked up to the starter that rattles, then ``ptc.ohms OL cold`` is typed at the
terminal, and every Python function that is entered until the screen is ready is counted, with and without
numpy. The same call was worked once before, so that what is kept is there. Counts, not times: they are the
same on every machine.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

__all__ = ["counted", "measured"]

RESULTS = Path(__file__).with_name("results") / "one_reading.json"

#: The README's call up to the reading.
OPENING = (
    *("rsir-ptc", "external", "115", "60", "", "", "R134a", "standard", "nulled"),
    *("hums, then clicks; again and again since Monday", "ptc.shake", "done", "rattles"),
)
READING = "ptc.ohms OL cold"
#: Packages that judge: what they call is their own, the rest is the flow's share.
JUDGEMENT = ("diagnosis", "replacement")
#: Functions that are told apart: how often a reading is parsed, a whole call folded, one event, a file read.
WATCHED = ("parse_reading", "fold", "_follows", "parse_call", "situation", "event_from", "advise", "judge")


def _worked(path: Path) -> Any:
    """A call worked up to the reading."""
    from humclick.cli.session import Session
    from humclick.diagnosis.shop import default_shop

    session = Session(path, default_shop(), invented=True)
    session.open()
    for line in OPENING:
        session.take(line)
    return session


def counted() -> dict[str, Any]:
    """
    Functions entered between the typed line and the screen that answers it.

    Returns
    -------
    dict
        ``functions`` (comprehensions not counted) and ``files`` of humclick, ``calls`` of any Python
        function, ``own_calls`` of humclick's, ``watched`` with how often each of `WATCHED` was entered,
        ``packages`` with functions, files and calls of each; and ``flow``, the same of what is entered while
        nothing of `JUDGEMENT` is at work.
    """
    entered: Counter[CodeType] = Counter()
    judging: list[FrameType] = []
    by_flow: Counter[CodeType] = Counter()

    def note(frame: FrameType, event: str, _arg: object) -> None:
        if event == "call":
            entered[frame.f_code] += 1
            if not judging and _package(frame.f_code) in JUDGEMENT:
                judging.append(frame)
            if not judging:
                by_flow[frame.f_code] += 1
        elif event == "return" and judging and frame is judging[0]:
            judging.clear()

    with tempfile.TemporaryDirectory() as folder:
        _worked(Path(folder) / "before.toml").take(READING)
        session = _worked(Path(folder) / "call.toml")
        sys.setprofile(note)
        try:
            shown = session.take(READING)
        finally:
            sys.setprofile(None)
    assert "Verdict" in shown
    return {**_summed(entered), "flow": _summed(by_flow)}


def _summed(entered: Counter[CodeType]) -> dict[str, Any]:
    own = {code: times for code, times in entered.items() if "/humclick/" in code.co_filename}
    packages: dict[str, dict[str, int]] = {}
    for name in sorted({_package(code) for code in own}):
        codes = [code for code in own if _package(code) == name]
        packages[name] = {
            "functions": len(codes),
            "files": len({code.co_filename for code in codes}),
            "calls": sum(own[code] for code in codes),
        }
    return {
        "functions": len([code for code in own if not code.co_name.startswith("<")]),
        "files": len({code.co_filename for code in own}),
        "calls": sum(entered.values()),
        "own_calls": sum(own.values()),
        "watched": {
            name: sum(times for code, times in own.items() if code.co_name == name) for name in WATCHED
        },
        "packages": packages,
    }


def _package(code: CodeType) -> str:
    return code.co_filename.rpartition("/humclick/")[2].partition("/")[0]  # empty for what is not humclick's


def measured(numpy: bool) -> dict[str, Any]:
    """`counted` in a Python of its own, with numpy or with its import blocked."""
    block = "" if numpy else "sys.modules['numpy'] = None; "
    script = (
        f"import json, sys; {block}from benchmarks.one_reading import counted; print(json.dumps(counted()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=600
    )
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def table(found: dict[str, dict[str, Any]]) -> str:
    """Both variants side by side, the packages below."""
    columns = list(found)
    totals = ("functions", "files", "calls", "own_calls")
    rows = [("", *columns)]
    rows += [(name, *(str(found[c][name]) for c in columns)) for name in totals]
    rows += [(f"flow's {name}", *(str(found[c]["flow"][name]) for c in columns)) for name in totals]
    rows += [(f"{name}()", *(str(found[c]["watched"][name]) for c in columns)) for name in WATCHED]
    for package in sorted({name for c in columns for name in found[c]["packages"]}):
        shares = [found[c]["packages"].get(package, {}) for c in columns]
        rows.append(
            (
                f"  {package}",
                *(f"{s.get('functions', 0)} f {s.get('files', 0)} m {s.get('calls', 0)} c" for s in shares),
            )
        )
    return "\n".join("  ".join(f"{cell:>20}" for cell in row) for row in rows)


def main() -> None:
    """Print the table; keep the figures under a name where asked."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--keep", default="", help="name under which the figures are kept, such as after")
    name = parser.parse_args().keep
    found = {"with numpy": measured(True), "without": measured(False)}
    print(table(found))
    if name:
        kept = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
        RESULTS.write_text(json.dumps({**kept, name: found}, indent=1) + "\n")


if __name__ == "__main__":
    main()
