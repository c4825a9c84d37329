"""A part family is one folder and an arrangement one file: two invented ones are asked of everything."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from humclick.arrangements.arrangement import arrangements
from humclick.arrangements.machine import Machine
from humclick.circuit.drawing import draw_svg, draw_text
from humclick.circuit.layout import lay_out
from humclick.cli.main import main
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.attempts import attempts_of
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.recognise import candidates, questions
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.errors import DataError, Unknown
from humclick.jobs.call_file import parse_call
from humclick.jobs.fold import fold
from humclick.jobs.sheet.render import sheet_html
from humclick.parts.family import families, family
from humclick.parts.shelves import shelf, shelves
from humclick.readings import parse_reading
from humclick.start.answers import answers
from humclick.start.at_hand import at_hand
from humclick.start.conditions import StartConditions
from humclick.start.estimate import estimate
from tests.web.pages_asked import Bench

ROOT = Path(__file__).parents[2]
#: Arrangement, part, and a reading that condemns it with the words its remedy has.
INVENTED = [
    ("rsir-solid", "solid_starter", "solid_starter.ohms", "OL cold"),
    ("csir-voltage-switch", "voltage_switch", "voltage_switch.look", "burnt"),
]
NAMES = [row[0] for row in INVENTED]


def written(page: Path, into: Path) -> None:
    """Write every file that a page shows under its name onto a shelf."""
    shown = re.findall(
        r"^`((?:parts|arrangements)/[\w/.-]+)`\n\n```\w+\n(.*?)^```", page.read_text("utf-8"), re.M | re.S
    )
    assert len(shown) == 3
    for name, text in shown:
        (into / name).parent.mkdir(parents=True, exist_ok=True)
        (into / name).write_text(text, "utf-8")


def renamed(into: Path) -> None:
    """A PTC starter and its arrangement, copied, and renamed in them."""
    source = Path(str(resources.files("humclick.parts"))) / "ptc"
    folder = into / "parts" / "solid_starter"
    shutil.copytree(source, folder, ignore=shutil.ignore_patterns("__pycache__"))
    text = (
        (folder / "ptc.toml").read_text("utf-8").replace('title = "PTC starter"', 'title = "solid starter"')
    )
    (folder / "solid_starter.toml").write_text(text, "utf-8")
    (folder / "ptc.toml").unlink()
    kind = resources.files("humclick.arrangements").joinpath("rsir-ptc.toml").read_text("utf-8")
    kind = kind.replace("with a PTC starter", "with a solid starter").replace('"ptc"', '"solid_starter"')
    (into / "arrangements" / "rsir-solid.toml").write_text(kind, "utf-8")


@pytest.fixture(scope="module")
def invented(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A shelf with both, in use."""
    folder = tmp_path_factory.mktemp("shelf")
    written(ROOT / "CONTRIBUTING.md", folder)
    renamed(folder)
    with shelf(folder):
        yield folder


@pytest.fixture(scope="module")
def call(invented: Path) -> Callable[[str], str]:
    """The text of a call about a machine of an arrangement."""
    example = (ROOT / "examples" / "just-begun" / "call.toml").read_text("utf-8")

    def of(name: str, part: str = "", value: str = "") -> str:
        text = re.sub(r'arrangement = ".*"', f'arrangement = "{name}"', example)
        if part:
            value, _, warmth = value.partition(" ")
            text += f'\n[[event]]\nkind = "reading"\nat = 2026-03-02T11:00:00-05:00\nprobe = "{part}"\n'
            text += f'value = "{value}"\n' + (f'temperature = "{warmth}"\n' if warmth else "")
        return text

    return of


def test_they_are_discovered_and_nothing_else_changes(invented: Path) -> None:
    """Family and arrangement are there by name while their shelf is in use, and no other is lost."""
    assert {"solid_starter", "voltage_switch", "ptc"} <= set(families())
    assert {*NAMES, "rsir-ptc"} <= set(arrangements())
    assert invented in shelves()
    assert family("solid_starter").title == "solid starter"


@pytest.mark.parametrize(("name", "part", "probe", "value"), INVENTED)
def test_advice_weighs_their_readings(invented: Path, name: str, part: str, probe: str, value: str) -> None:
    """A reading on the new part makes it the first suspect, and its remedy what is most probably needed."""
    machine = Machine.of(name)
    before = advise(Situation(machine, Heard.HUM_CLICK, hot=False))
    shown = probes_of(machine)[probe]
    seen = (
        Observation(probe, parse_reading(value.split()[0]))
        if shown.quantity
        else Observation(probe, answer=value)
    )
    after = advise(Situation(machine, Heard.HUM_CLICK, (seen,), hot=False))

    def suspected(advice: Advice) -> float:
        return sum(s.probability for s in advice.suspects if any(own == part for own, _ in s.parts))

    assert before.next is not None
    assert suspected(after) > max(0.5, suspected(before))
    assert after.remedies[0][0] == "replace starter"


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("volts", [115.0, 230.0])
def test_every_mode_has_a_place_in_judgement(invented: Path, name: str, volts: float) -> None:
    """Outcomes of a start try sum to one under each single mode of the machine, hot and cold."""
    from humclick.arrangements.machine import Nameplate

    machine = Machine.of(name, None, Nameplate(volts, 60.0 if volts < 150 else 50.0))
    starts = attempts_of(machine)
    for part in machine.parts:
        for mode in part.family.modes:
            for hot in (False, True):
                assert sum(starts.of({part.id: mode}, hot=hot).outcomes) == pytest.approx(1.0)


@pytest.mark.parametrize("name", NAMES)
def test_the_drawing_holds_every_part(invented: Path, name: str) -> None:
    """SVG is well formed and text of 78 columns, with each part and each node of the machine in them."""
    machine = Machine.of(name)
    ElementTree.fromstring(draw_svg(machine, suspects={part.id: 0.2 for part in machine.parts}))
    text = draw_text(machine)
    assert max(map(len, text.splitlines())) <= 78
    scene = lay_out(machine)
    shapes = {symbol.part for symbol in scene.symbols} | {frame.part for frame in scene.frames}
    drawn = [part for part in machine.parts if part.family.drawn or not part.family.apart]
    assert shapes - {""} == {part.id for part in drawn}
    assert {node for part in drawn for node in part.connect.values()} <= set(scene.nodes)


@pytest.mark.parametrize(("name", "part", "probe", "value"), INVENTED)
def test_the_start_is_simulated(invented: Path, name: str, part: str, probe: str, value: str) -> None:
    """A sound machine starts; with its starter open it does not."""
    machine = Machine.of(name)
    motor = estimate(at_hand(machine))
    open_mode = next(m.name for m in family(part).listed if m.recorded == "no_start_current")
    sound = answers(machine, motor, StartConditions(volts=115.0), n=4)
    broken = answers(machine, motor, StartConditions(volts=115.0), n=4, modes={part: open_mode})
    assert sound.starts > 0.7
    assert sound.release_time is not None
    assert broken.starts < 0.3


@pytest.mark.parametrize(("name", "part", "probe", "value"), INVENTED)
def test_the_sheet_names_them(call: Callable[..., str], name: str, part: str, probe: str, value: str) -> None:
    """The sheet of a call about such a machine is whole, with its title and the new part in it."""
    html = sheet_html(fold(parse_call(call(name, probe, value).encode()).events))
    assert family(part).title in html
    assert "Traceback" not in html


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("page", ["", "identify", "probes", "why", "sheet"])
def test_the_phone_page_shows_them(call: Callable[..., str], name: str, page: str) -> None:
    """Every page of such a call opens; that of the call has its wiring and its caution."""
    bench = Bench()
    from humclick.web.exchange import plain_table

    bench.calls["c1"] = [plain_table(event) for event in parse_call(call(name).encode()).events]
    reply = bench.ask(f"/call/c1/{page}".rstrip("/"))
    assert reply["status"] == 200
    if page == "":
        assert "<svg" in reply["html"]


@pytest.mark.parametrize("name", NAMES)
def test_the_command_line_takes_them(call: Callable[..., str], tmp_path: Path, name: str) -> None:
    """Check, advise, draw, list and sheet work on a call about such a machine, and pins beside it."""
    file = tmp_path / "call.toml"
    file.write_text(call(name), "utf-8")
    for command in (
        ["check", str(file)],
        ["advise", str(file)],
        ["draw", str(file)],
        ["draw", "--arrangement", name],
        ["list", "probes", "--for", name],
        ["sheet", str(file), "--out", str(tmp_path / "sheet.html")],
        ["pins", "4.7", "11.2", "15.8"],
    ):
        done = CliRunner().invoke(main, command)
        assert done.exit_code == 0, (command, done.output)
    told = json.loads(CliRunner().invoke(main, ["advise", str(file), "--json"]).output)
    assert any("similar machine" in each for each in told["cautions"])


def test_an_arrangement_that_says_how_it_looks_is_recognised(invented: Path) -> None:
    """Answers in its file choose it; one with a capacitor is not chosen by the answer that there is none."""
    seen = {"feed": "mains", "pins": "wires", "capacitors": "start", "added": "switch"}
    assert "csir-voltage-switch" in candidates(seen)
    assert "csir-voltage-switch" not in candidates({"capacitors": "none"})
    assert next(iter(questions())).name == "feed"


def test_away_from_its_shelf_it_is_unknown(tmp_path: Path) -> None:
    """Names of a shelf are known only while it is in use."""
    written(ROOT / "CONTRIBUTING.md", tmp_path)
    (tmp_path / "parts" / "voltage_switch").rename(tmp_path / "parts" / "other_switch")
    (tmp_path / "parts" / "other_switch" / "voltage_switch.toml").rename(
        tmp_path / "parts" / "other_switch" / "other_switch.toml"
    )
    shutil.rmtree(tmp_path / "arrangements")
    with shelf(tmp_path):
        assert family("other_switch").name == "other_switch"
    with pytest.raises(Unknown, match="other_switch"):
        family("other_switch")


def test_a_name_of_the_program_is_not_taken_twice(tmp_path: Path) -> None:
    """A shelf cannot put another part in the place of one of the program's."""
    (tmp_path / "parts" / "ptc").mkdir(parents=True)
    (tmp_path / "parts" / "ptc" / "ptc.toml").write_text("", "utf-8")
    with pytest.raises(DataError, match="called 'ptc' already"), shelf(tmp_path):
        pass


@pytest.mark.long
def test_its_table_of_start_tries_is_made_and_read(tmp_path: Path) -> None:
    """The command of CONTRIBUTING makes the table; on its shelf it is read, and the caution goes."""
    from research.power_up_table import made

    written(ROOT / "CONTRIBUTING.md", tmp_path)
    (tmp_path / "arrangements" / "csir-voltage-switch.toml").rename(
        tmp_path / "arrangements" / "with-table.toml"
    )
    with shelf(tmp_path):
        text = made("with-table", 2, 1)
    (tmp_path / "power_up").mkdir()
    (tmp_path / "power_up" / "with-table.csv").write_text(text, "utf-8")
    (tmp_path / "again").symlink_to(tmp_path)
    with shelf(tmp_path / "again"):
        machine = Machine.of("with-table")
        starts = attempts_of(machine)
        assert machine.arrangement.simulated
        assert starts.of({"voltage_switch": "never_connects"}).outcomes[-1] < 0.5
        assert starts.of({}).outcomes[-1] > 0.5


def test_a_caution_says_whose_start_tries_stand_in(invented: Path) -> None:
    """Whoever is told what to do next is told that start tries are those of a similar machine."""
    from humclick.safety import cautions_for

    assert "starts-not-simulated" in [fact.name for fact in cautions_for(Machine.of("rsir-solid"))]
    assert "starts-not-simulated" not in [fact.name for fact in cautions_for(Machine.of("rsir-ptc"))]
