"""The same call gives the same verdict and the same next probe on the server and in the browser."""

from __future__ import annotations

import gzip
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from humclick.diagnosis.advice import advise
from humclick.errors import HumclickError
from humclick.jobs.call_file import read_call
from humclick.jobs.fold import fold
from humclick.web.offline.build import BUILT

ROOT = Path(__file__).resolve().parents[2]
CALLS = sorted((ROOT / "examples").glob("*/call.toml"))

#: Runs in the browser's own Python, by Node: each call's decision, as `decision` below makes it.
SCRIPT = """
import fs from "node:fs";
import { pathToFileURL } from "node:url";
const [folder, ...calls] = process.argv.slice(2);
const { loadPyodide } = await import(pathToFileURL(folder + "/pyodide.mjs").href);
const py = await loadPyodide({ indexURL: folder + "/" });
py.unpackArchive(new Uint8Array(fs.readFileSync(folder + "/engine.zip")), "zip",
  { extractDir: "/lib/python3.14/site-packages" });
for (const call of calls) py.FS.writeFile("/" + call.split("/").at(-2), fs.readFileSync(call));
py.globals.set("names", py.toPy(calls.map(call => call.split("/").at(-2))));
console.log(py.runPython(`
import json, sys
assert "numpy" not in sys.modules
from humclick.web import prepared
prepared.use()
from humclick.diagnosis.advice import advise
from humclick.errors import HumclickError
from humclick.jobs.call_file import read_call
from humclick.jobs.fold import fold
DECISION
json.dumps({name: decisions("/" + name) for name in names} | {"not to be imported": failing()})
`));
"""

DECISION = '''
def decisions(path):
    """What is advised on a whole call, and on it halfway."""
    events = read_call(path)
    return [decision(events), decision(events[: 2 + 2 * len(events) // 3])]

def decision(events):
    situation = fold(events).situation()
    if situation is None:
        return ["no machine"]
    try:
        advice = advise(situation)
    except HumclickError as error:
        return ["refused", str(error)]
    remedies = list(advice.verdict.remedies) if advice.verdict else []
    likely = [[s.label, round(s.probability, 6)] for s in advice.suspects[:3]]
    return [advice.kind, advice.next.probe if advice.next else None, remedies, likely]
'''

#: Runs there too: imports all that the browser was sent.
EVERY = """
def failing():
    import importlib, pkgutil, humclick, jinja2, markupsafe, msgspec, tomlkit
    found = []
    for package in (humclick, jinja2, markupsafe, msgspec, tomlkit):
        for module in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
            try:
                importlib.import_module(module.name)
            except ImportError as error:
                found.append(f"{module.name}: {error}")
    return found
"""


def here(path: Path) -> Any:
    """The same decisions, by this Python."""
    names: dict[str, Any] = {
        "fold": fold,
        "advise": advise,
        "HumclickError": HumclickError,
        "read_call": read_call,
    }
    exec(DECISION, names)
    return json.loads(json.dumps(names["decisions"](path)))


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Every call's decisions, by the browser's Python."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("no Node on the path")
    folder = tmp_path_factory.mktemp("runtime")
    for path in (*(BUILT / "runtime").glob("*.gz"), *(BUILT / "engine").glob("*.gz")):
        (folder / path.stem).write_bytes(gzip.decompress(path.read_bytes()))
    (folder / "run.mjs").write_text(SCRIPT.replace("DECISION", DECISION.replace("`", "") + EVERY))
    done = subprocess.run(
        [node, folder / "run.mjs", folder, *CALLS], capture_output=True, text=True, timeout=600
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


@pytest.mark.parametrize("path", CALLS, ids=[path.parent.name for path in CALLS])
def test_server_and_browser_agree(path: Path, there: Any) -> None:
    """Kind, next probe, remedies and the three likeliest suspects to six decimals are the same."""
    assert there[path.parent.name] == here(path)


def test_everything_the_browser_is_sent_can_be_imported_there(there: Any) -> None:
    """No module was sent whose imports were left out, be they the program's, a package's or the library's."""
    assert there["not to be imported"] == []
