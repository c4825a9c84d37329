"""What the browser's build works out beforehand: taken where it was kept, worked out where it was not."""

from __future__ import annotations

import dataclasses
import json
import marshal
import re
import subprocess
import sys
from pathlib import Path

import pytest

from humclick import sourced
from humclick.web import prepared

ROOT = Path(__file__).resolve().parents[2]
#: Imports the engine with what stands in `kept`, and tells what the usual way would have had to work out.
_USE = """
import builtins, dataclasses, json, re, sys
from humclick.web import prepared
worked_out = []
inner = re._compiler.compile
re._compiler.compile = lambda text, flags=0: (worked_out.append(str(text)), inner(text, flags))[1]
prepared.use(open(sys.argv[1], "rb").read())
own = prepared.builtins = type(sys)("counted")
own.exec = lambda code, *rest: (isinstance(code, str) and worked_out.append(code), builtins.exec(code, *rest))
import humclick.web.engine
from humclick import sourced
from humclick.parts.family import family
taken = dict(sourced.PREPARED)
tables = [sourced.read_data(package, name) for package, name in taken]
sourced.PREPARED.clear()
sourced.read_data.cache_clear()
same = tables == [sourced.read_data(package, name) for package, name in taken]

before = len(worked_out)

@dataclasses.dataclass(frozen=True, slots=True)
class Another:
    x: int
    y: str = "y"

more = [Another(3), Another(3) == Another(3, "y"), re.match("another(?P<n>[0-9]+)", "another42")["n"]]
print(json.dumps([worked_out[:before], len(worked_out) > before, same, len(taken), repr(more)]))
"""
_RECORD = """
import sys
from pathlib import Path
from humclick.web import prepared
root = Path("src/humclick")
files = [(".".join(("humclick", *path.relative_to(root).parts[:-1])), path.name, path.read_text("utf-8"))
         for path in sorted(root.rglob("*.toml"))]
recorded = prepared.recorded(files)
import humclick.web.engine
Path(sys.argv[1]).write_bytes(recorded())
"""


def _python(script: str, kept: Path) -> str:
    command = [sys.executable, "-c", script, str(kept)]
    return subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout


def test_a_start_takes_everything_that_was_worked_out_before(tmp_path: Path) -> None:
    """No method or pattern of the engine is compiled again, tables are the same, others are worked out."""
    _python(_RECORD, tmp_path / "kept")
    worked_out, others, same, tables, more = json.loads(_python(_USE, tmp_path / "kept"))
    assert worked_out == []
    assert others
    assert same
    assert tables > 40
    assert more == "[Another(x=3, y='y'), True, '42']"


def test_the_private_parts_are_those_of_two_versions_of_python() -> None:
    """Python 3.11, which these tests run on, and 3.14, which the browser has."""
    assert prepared.HOLDS_FOR == ((3, 11), (3, 14))
    browser = json.loads((ROOT / "package.json").read_text("utf-8"))["dependencies"]["pyodide"]
    assert browser.startswith("314.")


@pytest.mark.parametrize("where", ["kept by another version", "another version", "another implementation"])
def test_elsewhere_nothing_of_python_is_touched(where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A version that is not known, or not the one that kept, takes the data files and works out the rest."""
    monkeypatch.setattr(sourced, "PREPARED", {})
    compiler = vars(re)["_compiler"].compile
    file = ("humclick.invented", "one.toml", "x = 1")
    if where == "another version":
        monkeypatch.setattr(prepared, "HOLDS_FOR", ())
    elif where == "another implementation":
        monkeypatch.setattr(sys.implementation, "name", "other")
    kept = prepared.recorded([file])()
    if where == "kept by another version":
        kept = marshal.dumps((marshal.loads(kept)[0], (3, 14, 99), b"of no use here"))
    prepared.use(kept)
    assert vars(re)["_compiler"].compile is compiler
    assert "exec" not in vars(dataclasses)
    assert sourced.read_data("humclick.invented", "one.toml") == {"x": 1}
