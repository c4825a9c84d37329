"""
Fills the written pages with what the program really says.

A page is carried out from top to bottom in a folder of its own. A block of TOML with events goes into the
call file ``my-call.toml``: one that begins with ``humclick_call`` begins it anew, any other is appended. A
comment ``<!-- shown: … -->`` runs the command in it; the fenced block below is replaced by the command and
its output. Further lines of the comment are typed into it. After a bar stand ``from=N`` (show from the N-th
prompt on), ``most=N,M`` (most lines shown of each step from there on, the last for all further ones) and
``after=TEXT`` (show from the line that begins so).
"""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from click.testing import CliRunner

from humclick.cli.main import main as humclick

__all__ = ["filled", "pages"]

ROOT = Path(__file__).resolve().parents[1]
CALL = "my-call.toml"
_STEP = re.compile(
    r"```toml\n(?P<toml>.*?)```|<!-- shown: (?P<args>[^\n]*?)(?:\n(?P<typed>.*?))?\s*-->\n```console\n.*?```",
    re.DOTALL,
)
_PROMPT = re.compile(r"^(?:[A-Za-z0-9_.-]+|done or cannot)?> ")


def pages() -> list[Path]:
    """Written pages that show output."""
    written = [*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")]
    return sorted(path for path in written if "<!-- shown:" in path.read_text(encoding="utf-8"))


@contextmanager
def _folder() -> Iterator[None]:
    """A folder to work in, without a shop's own figures."""
    before, shop = Path.cwd(), os.environ.pop("HUMCLICK_SHOP", None)
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            yield
        finally:
            os.chdir(before)
            if shop is not None:
                os.environ["HUMCLICK_SHOP"] = shop


def filled(text: str) -> str:
    """
    A page with its outputs as they are today.

    Raises
    ------
    AssertionError
        If a command of the page fails.
    """
    with _folder():
        return _STEP.sub(_carried_out, text)


def _carried_out(step: re.Match[str]) -> str:
    if step["toml"] is not None:
        if "[[event]]" in step["toml"]:
            begun = step["toml"].startswith("humclick_call")
            with Path(CALL).open("w" if begun else "a", encoding="utf-8") as file:
                file.write(f"\n{step['toml']}")
        elif "[rates]" in step["toml"]:
            Path("my-shop.toml").write_text(step["toml"], encoding="utf-8")
        return step[0]
    command, _, how = step["args"].partition(" | ")
    asked = dict(part.partition("=")[::2] for part in how.split(" ; ") if part)
    done = CliRunner().invoke(humclick, command.split(), input=step["typed"])
    assert done.exit_code == 0, f"{command}: {done.output}"
    shown = _cut(done.output.strip("\n").splitlines(), asked)
    head = step[0][: step[0].index("```console")]
    lines = [f"$ .venv/bin/humclick {command}", *shown]
    return f"{head}```console\n" + "\n".join(line.rstrip() for line in lines) + "\n```"


def _cut(lines: list[str], asked: dict[str, str]) -> list[str]:
    """What is asked for of an output; what is left out is marked."""
    if "after" in asked:
        at = next(k for k, line in enumerate(lines) if line.startswith(asked["after"]))
        return ["…", *lines[at:]]
    steps: list[list[str]] = [[]]
    for line in lines:
        if _PROMPT.match(line):
            steps.append([])
        steps[-1].append(line)
    first = int(asked.get("from", 0))
    limits = [int(most) for most in asked.get("most", "10000").split(",")]
    shown = ["…"] if first else []
    for k, step in enumerate(steps[first:]):
        most = limits[min(k, len(limits) - 1)]
        shown += step if len(step) <= most else [*step[:most], "…"]
    return shown
