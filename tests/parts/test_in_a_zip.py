"""Folders of parts and files of arrangements are read from a zip too: the browser's engine comes in one."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

from humclick.web.offline.build import engine_sources

SCRIPT = """
import sys
sys.path.insert(0, sys.argv[1])
from humclick.arrangements.arrangement import arrangements
from humclick.arrangements.machine import Machine
from humclick.circuit.drawing import draw_text
from humclick.parts.family import families, family
from humclick.parts.shelves import family_sources
for name in families():
    family(name)
assert family_sources()["ptc"].module("in_time").law.__doc__
import humclick
assert sys.argv[1] in humclick.__file__
print(len(families()), len(arrangements()), len(draw_text(Machine.of("rsir-ptc"))) > 1000)
"""


def test_the_engine_has_every_part_and_arrangement(tmp_path: Path) -> None:
    """From a zip without entries for folders as many families and arrangements are read as stand here."""
    from humclick.arrangements.arrangement import arrangements
    from humclick.parts.family import families

    engine = tmp_path / "engine.zip"
    with zipfile.ZipFile(engine, "w") as archive:
        for name, path in engine_sources():
            archive.writestr(name, path.read_bytes())
    done = subprocess.run(
        [sys.executable, "-I", "-c", SCRIPT, str(engine)], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == [str(len(families())), str(len(arrangements())), "True"]
