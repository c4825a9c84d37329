"""The reference pages are whole and fresh, and no page points at what is not there."""

from __future__ import annotations

import importlib.util
import re
import tomllib
from pathlib import Path

import pytest
from docs.generate import PAGES, REFERENCE, ROOT, all_probes, commands
from docs.shown import filled, pages

from humclick.arrangements.arrangement import arrangements
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.shop import default_shop, shop_from_table
from humclick.jobs.call_file import parse_call
from humclick.jobs.events import KINDS
from humclick.jobs.fold import fold
from humclick.meters import meters
from humclick.parts.family import families, family
from humclick.safety import gates, hazards

HAS_CLI = importlib.util.find_spec("humclick.cli.main") is not None
WRITTEN = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")])


def page(name: str) -> str:
    """A reference page as it stands."""
    return (REFERENCE / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", sorted(PAGES))
def test_reference_pages_are_fresh(name: str) -> None:
    """What stands on the page is what the program says today."""
    if name == "cli.md" and not HAS_CLI:
        pytest.skip("there is no command line yet")
    assert page(name) == PAGES[name](), "run `make docs`"


@pytest.mark.parametrize("path", pages(), ids=lambda p: str(p.relative_to(ROOT)))
def test_shown_outputs_are_fresh(path: Path) -> None:
    """What a page shows of a command is what the command says today, carried out as on the page."""
    text = path.read_text(encoding="utf-8")
    assert text == filled(text), "run `make docs`"


@pytest.mark.parametrize("name", families())
def test_every_part_and_mode_has_an_entry(name: str) -> None:
    """The parts page has each family under its title, and below it each of its modes, tests aside."""
    text = page("parts.md")
    start = text.index(f"Family `{name}`.")
    end = text.find("\n## ", start)
    own = text[start : end if end > 0 else None]
    for mode in family(name).modes.values():
        assert f"| `{mode.name}` | {mode.title} |" in own


@pytest.mark.parametrize(
    ("where", "names"),
    [
        ("arrangements.md", [f"Name `{name}`." for name in arrangements()]),
        ("probes.md", [f"| `{name}` |" for name in all_probes()]),
        ("remedies.md", [f"| `{name}` |" for name in default_shop().remedies]),
        ("safety.md", [f"Name `{name}`." for name in gates()]),
        ("safety.md", [f"| `{each.name}` | {each.title} |" for each in hazards()]),
        ("meters.md", [f"Name `{name}`." for name in meters()]),
        ("events.md", [f"## `{kind}`" for kind in KINDS]),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_everything_with_a_name_has_an_entry(where: str, names: list[str]) -> None:
    """Arrangements, probes, remedies, gates, meters and events each stand on their page."""
    text = page(where)
    assert names
    assert [name for name in names if name not in text] == []


@pytest.mark.skipif(not HAS_CLI, reason="there is no command line yet")
def test_every_command_has_an_entry_that_says_what_it_does() -> None:
    """Each command stands on its page, with a sentence of its own."""
    text = page("cli.md")
    for path, help_text in commands().items():
        assert f"## `{path}`" in text
        said = [line for line in help_text.splitlines() if line.strip() and not line.startswith("Usage")]
        assert said
        assert not said[0].startswith("Options")


@pytest.mark.parametrize("path", WRITTEN, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(path: Path) -> None:
    """Every link to a file of this tree finds it."""
    for target in re.findall(r"\]\(([^)\s]+)\)", path.read_text(encoding="utf-8")):
        if "://" not in target and not target.startswith("#"):
            assert (path.parent / target.partition("#")[0]).exists(), target


@pytest.mark.parametrize("path", WRITTEN, ids=lambda p: str(p.relative_to(ROOT)))
def test_pages_have_one_sentence_a_line(path: Path) -> None:
    """Outside tables and examples a line of a written page ends where its sentence ends."""
    if path.parent == REFERENCE:
        return
    text = re.sub(r"```.*?```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    for line in text.splitlines():
        if not line.startswith("|"):
            words = re.sub(r"^(#+ )?\d+\. ", "", line)
            assert re.search(r"[a-z0-9)`][.?!] [A-Z]", words) is None, line


def examples(mark: str) -> list[tuple[str, str]]:
    """TOML examples of the written pages that hold a mark, with the page they stand on."""
    found = []
    for path in WRITTEN:
        if path.parent != REFERENCE:
            blocks = re.findall(r"```toml\n(.*?)```", path.read_text(encoding="utf-8"), flags=re.DOTALL)
            found += [(str(path.relative_to(ROOT)), block) for block in blocks if mark in block]
    return found


@pytest.mark.parametrize(("where", "block"), examples("[[event]]"))
def test_example_calls_are_understood(where: str, block: str) -> None:
    """Every example of a call is read as a call, with gates, probes and readings that exist."""
    head = "" if "humclick_call" in block else "humclick_call = 1\n"
    machine = "" if 'kind = "machine"' in block else '[[event]]\nkind = "machine"\narrangement = "rsir-ptc"\n'
    call = fold(parse_call(f"{head}{machine}{block}".encode(), where).events)
    allowed = "to undo"
    assert [problem for problem in call.problems if allowed not in str(problem)] == []


def tutorial(**changes: str) -> Advice:
    """Advice on the tutorial's call, its complaint and its readings changed."""
    blocks = [b for where, b in examples("[[event]]") if "tutorial" in where]
    before = blocks[: next(k for k, block in enumerate(blocks) if '"undo"' in block)]
    text = "\n".join(before)
    for old, new in {"probe": "ptc.ohms", "value": "OL", "temperature": "cold", "heard": "hum_click"}.items():
        text = text.replace(f'{old} = "{new}"', f'{old} = "{changes.get(old, new)}"')
    text = text.replace('value = "rattles"', f'value = "{changes.get("shaken", "rattles")}"')
    events = [e for e in parse_call(text.encode()).events if e.kind != "reading" or "value" in changes]
    situation = fold(events).situation()
    assert situation is not None
    return advise(situation)


def test_what_the_tutorial_says_happens() -> None:
    """The verdict and each of the things to try come out as the tutorial says."""
    verdict = tutorial(value="OL").verdict
    assert verdict is not None
    assert verdict.remedies == ("replace starter",)
    silent = tutorial(heard="silent").next
    assert silent is not None
    assert silent.probe == "supply.signs"
    doubted = dict(tutorial().remedies)["replace starter"]
    for value, temperature in (("6.2", "cold"), ("2.4k", "hot")):
        after = dict(tutorial(value=value, temperature=temperature, shaken="quiet").remedies)
        cleared = after.get("replace starter", 0.0)
        assert cleared < doubted / 2


@pytest.mark.parametrize(("where", "block"), examples("[rates]"))
def test_example_shop_files_are_understood(where: str, block: str) -> None:
    """Every example of a shop file is read as one."""
    assert shop_from_table(tomllib.loads(block)).rates["minute"] > 0, where


@pytest.mark.parametrize("path", WRITTEN, ids=lambda p: str(p.relative_to(ROOT)))
def test_nothing_is_left_to_fill(path: Path) -> None:
    """No page has a gap where an output or a figure should stand."""
    assert "TO FILL" not in path.read_text(encoding="utf-8")


def test_every_written_page_can_be_reached() -> None:
    """Each page under docs is linked from the front page or from another page."""
    linked = set()
    for path in WRITTEN:
        for target in re.findall(r"\]\(([^)\s]+)\)", path.read_text(encoding="utf-8")):
            linked.add((path.parent / target.partition("#")[0]).resolve())
    pages = {path.resolve() for path in (ROOT / "docs").rglob("*.md")}
    assert {str(p.relative_to(ROOT)) for p in pages - linked} == set()
