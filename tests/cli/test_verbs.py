"""The small verbs: check, sheet, draw, list, work."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from humclick.arrangements.arrangement import arrangements
from humclick.cli.main import main
from humclick.diagnosis.shop import default_shop
from humclick.meters import meters
from humclick.parts.family import families
from humclick.physics.discharge import discharge_through
from humclick.safety import gates
from tests.cli.test_advise import READINGS, written
from tests.published import published


def run(*args: str, stdin: str | None = None) -> Result:
    done = CliRunner().invoke(main, args, input=stdin)
    assert "Traceback" not in done.output
    return done


@pytest.fixture
def file(tmp_path: Path) -> str:
    return written(tmp_path / "call.toml", READINGS)


def test_a_sound_call_is_said_to_be_sound(file: str) -> None:
    """Check ends with 0 and counts the events."""
    done = run("check", file)
    assert (done.exit_code, done.stdout) == (0, f"{file}: 13 events, all of it can be used.\n")
    assert json.loads(run("check", file, "--json").stdout)["problems"] == []


def test_what_cannot_be_used_is_named_with_its_line(tmp_path: Path) -> None:
    """Check ends with 1 and gives line and reason of each reading that cannot be used."""
    file = written(tmp_path / "call.toml", (("ptc.ohms", "short"), ("pins.C-R", "4.7"), ("ptc.ohm", "4")))
    done = run("check", file)
    assert done.exit_code == 1
    assert f"{file}, line 17: " in done.stdout
    assert f"{file}, line 27: unknown probe" in done.stdout
    assert "2 problems" in done.stdout


@pytest.mark.parametrize(
    ("text", "line"),
    [("humclick_call = 1\n[[event]]\nkind = 'waits'\n", 3), ("humclick_call = 1\nx = [\n", 3)],
)
def test_an_unreadable_call_is_refused_with_its_line(tmp_path: Path, text: str, line: int) -> None:
    """Check ends with 2 and names the line where reading stopped."""
    path = tmp_path / "call.toml"
    path.write_text(text, encoding="utf-8")
    done = run("check", str(path))
    assert done.exit_code == 2
    assert f"{path}, line {line}: " in done.stderr


def test_a_torn_block_is_named(file: str) -> None:
    """A block that was begun and not completed is a problem with its line."""
    with open(file, "a", encoding="utf-8") as call:
        call.write("# event e9 begins\n[[event]]\nkind = ")
    done = run("check", file)
    assert done.exit_code == 1
    assert "begun and not completed" in done.stdout


def test_a_sheet_is_written_in_each_form_asked_for(file: str, tmp_path: Path) -> None:
    """One call of the verb writes PDF and HTML."""
    pdf, html = tmp_path / "sheet.pdf", tmp_path / "sheet.html"
    done = run("sheet", file, "-o", str(pdf), "-o", str(html))
    assert done.exit_code == 0, done.output
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert "Invented Cold Shop" in html.read_text(encoding="utf-8")


def test_a_call_is_never_written_over(file: str, tmp_path: Path) -> None:
    """A sheet or a drawing under the name of a call file is refused."""
    call = tmp_path / "call.html"
    call.write_bytes(Path(file).read_bytes())
    for done in (run("sheet", file, "-o", str(call)), run("draw", file, "--svg", str(call))):
        assert done.exit_code == 2
        assert "a call stands in this file" in done.stderr
    assert call.read_bytes() == Path(file).read_bytes()


@pytest.mark.parametrize("name", ["sheet.txt", "sheet", "no/such/folder/sheet.html"])
def test_a_sheet_that_cannot_be_written_is_refused(file: str, tmp_path: Path, name: str) -> None:
    """Another ending or a missing folder ends with 2 and says what is right."""
    done = run("sheet", file, "-o", str(tmp_path / name))
    assert done.exit_code == 2
    assert name in done.stderr


def test_wiring_is_drawn_as_text_svg_and_sentences(file: str, tmp_path: Path) -> None:
    """A drawing marks where a probe is held, in each of its forms."""
    assert "(1) on r   [2] on s" in run("draw", "--arrangement", "rsir-ptc", "--probe", "ptc.ohms").stdout
    svg = tmp_path / "wiring.svg"
    done = run("draw", file, "--probe", "pins.C-R", "--suspects", "--svg", str(svg), "--dark")
    assert done.exit_code == 0, done.output
    root = ElementTree.fromstring(svg.read_text(encoding="utf-8"))
    assert root.tag.endswith("svg")
    assert "Probe 1 on C, probe 2 on R." in svg.read_text(encoding="utf-8")
    assert "PTC starter joins" in run("draw", file, "--describe").stdout


@pytest.mark.parametrize("name", arrangements())
def test_every_arrangement_is_drawn_and_listed(name: str) -> None:
    """Each arrangement has a drawing and its own parts and gates."""
    assert run("draw", "--arrangement", name).exit_code == 0
    for what in ("parts", "probes", "remedies", "gates", "meters", "arrangements"):
        assert run("list", what, "--for", name).exit_code == 0


@pytest.mark.parametrize(
    ("args", "said"),
    [
        *(
            ([], "either a call FILE or --arrangement"),
            (["--arrangement", "psc", "--probe", "x"], "unknown probe"),
        ),
        *(
            (["--arrangement", "psc", "--probe", "wiring.look"], "no two points"),
            (["--arrangement", "p"], "unknown"),
        ),
        *((["--arrangement", "psc", "--protector", "x"], "unknown protector"), (["-"], "nothing to draw")),
        *((["--arrangement", "psc", "--volts", "300"], "100–127"),),
    ],
)
def test_what_cannot_be_drawn_is_refused(args: list[str], said: str) -> None:
    """A wrong name or a probe without points ends with 2 and says why."""
    done = run("draw", *args, stdin="humclick_call = 1\n")
    assert done.exit_code == 2
    assert said in done.stderr


@pytest.mark.parametrize(
    ("what", "names"),
    [
        *(("arrangements", set(arrangements())), ("parts", set(families()))),
        *(("remedies", set(default_shop().remedies)), ("meters", set(meters())), ("gates", set(gates()))),
    ],
)
def test_lists_are_whole(what: str, names: set[str]) -> None:
    """Every name the program knows is in its list, as text and as JSON."""
    rows = json.loads(run("list", what, "--json").stdout)
    assert {row["name"] for row in rows} == names
    assert all(row["title"] for row in rows)
    text = run("list", what).stdout
    assert [name for name in names if name not in text] == []


def test_probes_are_listed_for_one_arrangement() -> None:
    """Probes of one arrangement are those its machine has."""
    rows = json.loads(run("list", "probes", "--for", "rsir-ptc", "--json").stdout)
    names = {row["name"] for row in rows}
    assert {"ptc.ohms", "pins.C-R", "fit.ptc"} <= names
    assert "start_capacitor.farads" not in names
    everything = json.loads(run("list", "probes", "--json").stdout)
    assert names < {row["name"] for row in everything}


@published(
    source="NEC 460.6", where="safe at 50 V", printed_to="three digits of t = R C ln(√2 · 230 V / 50 V)"
)
def test_a_discharge_is_worked_out() -> None:
    """88 µF at 230 V through 10 kΩ falls below 50 V in 1.65 s, the same as the library says."""
    done = run("work", "discharge", "--uF", "88", "--volts", "230", "--ohms", "10k", "--json")
    found = json.loads(done.stdout)
    assert found["seconds"] == pytest.approx(1.65, abs=0.005)
    assert found["seconds"] == discharge_through(88e-6, 230, 10_000).seconds


@pytest.mark.parametrize(
    ("args", "key", "value", "said"),
    [
        ("wire --gauge 14 --length 100ft --amps 10 --celsius 75C", "volts_lost", 6.14, "6.14 V"),
        ("wire --gauge 14 --length 30.48m --amps 10 --volts 115", "terminal_volts", None, "reach the motor"),
        ("capacitor --volts 370 --amps 3.2", "farads", 22.94e-6, "22.94 µF"),
        ("capacitor --volts 370 --uF 10", "amps", 1.395, "1.39 A"),
        ("copper --ohms 10 --at 20C --to 75C", "ohms", 12.157, "12.16 Ω"),
        ("copper --ohms 4 --at 77F --hot 5.2", "celsius", 103.0, "103 °C"),
        ("insulation --ohms 30M --at 20C", "insulation", None, "vacuum"),
        ("insulation --ohms 30M --at 20C --after 90M", "polarization", None, "MΩ"),
        ("supply --volts 118 --plate 115", "at_rest", None, "within what the motor is made for"),
        ("supply --volts 118 --plate 115 --starting 96 --amps 30", "source_ohms", 0.7333, "sags by 19%"),
        ("unbalance 460 467 450", "unbalance", 0.0196, "1.96 %"),
        ("unbalance 460 467 350", "derating", None, "from 0 to 0.05"),
        ("cool ptc --minutes 4", "passing", None, "50 %"),
        ("cool", "passing", None, "pressures"),
    ],
)
def test_figures_are_worked_out_as_the_library_does(
    args: str, key: str, value: float | None, said: str
) -> None:
    """Each verb of work gives its figure in words and as JSON."""
    done = run("work", *args.split())
    assert done.exit_code == 0, done.output
    assert said in " ".join(done.stdout.split())
    found = json.loads(run("work", *args.split(), "--json").stdout)
    assert key in found
    if value is not None:
        assert found[key] == pytest.approx(value, rel=2e-3)


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ("discharge --uF 88 --volts OL", "a figure is needed"),
        ("discharge --uF 88 --volts 230 --ohms 10", "use at least"),
        ("wire --gauge 14 --length 50 --amps 10", "15 m or 50 ft"),
        ("wire --gauge 14½ --length 50ft --amps 10", "wire gauge"),
        ("capacitor --volts 370", "either --amps or --uF"),
        ("copper --ohms 10 --at 20 --to 75C", "20 °C or 20 °F"),
        ("copper --ohms 10 --at 20C", "either --to or --hot"),
        ("cool ptcs", "did you mean ptc"),
        ("unbalance 460 467", "takes 3"),
        ("supply --volts 0 --plate 115", "above zero"),
    ],
)
def test_figures_that_cannot_be_are_refused(args: str, said: str) -> None:
    """A wrong unit, a missing figure or an impossible one ends with 2 and says what is right."""
    done = run("work", *args.split())
    assert done.exit_code == 2
    assert said in " ".join(done.stderr.split())


def test_pins_are_found_and_drawn(tmp_path: Path) -> None:
    """Three readings name the pins; they are drawn, and given as JSON."""
    svg = tmp_path / "pins.svg"
    args = ("pins", "4.0", "11.0", "15.0", "--shell", "OL", "--cold", "--leads", "nulled", "--lra", "12")
    done = run(*args, "--external", "--meter", "good", "--layout", "one above two", "--svg", str(svg))
    assert done.exit_code == 0, done.output
    assert "Pin 1 is C, pin 2 is R, pin 3 is S." in " ".join(done.stdout.split())
    assert "(C)" in done.stdout
    assert ElementTree.fromstring(svg.read_text(encoding="utf-8")).tag.endswith("svg")
    found = json.loads(run(*args, "--json", "--svg", str(svg)).stdout)
    assert found["names"] == ["C", "R", "S"]
    assert found["conclusion"] == "sound"


@pytest.mark.parametrize(
    ("args", "said"),
    [
        ("4.0 11.0", "takes 3"),
        ("4.0 11.0 bad", "conclusion"),
        ("4.0 11.0 15.0 --volts 300", "100–127"),
        ("4.0 11.0 15.0 --meter x", "unknown meter"),
        ("4.0 11.0 15.0 --leads OL", "0.3"),
    ],
)
def test_pins_that_cannot_be_read_are_refused(args: str, said: str) -> None:
    """A reading, a plate or a meter that cannot be ends with 2 and says what is right."""
    done = run("pins", *args.split())
    assert done.exit_code == 2
    assert said in " ".join(done.stderr.split())
