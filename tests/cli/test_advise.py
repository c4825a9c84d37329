"""``humclick advise`` and ``humclick schema``: the same advice as text and as data."""

from __future__ import annotations

import json
import random
from pathlib import Path

import msgspec
import pytest
from click.testing import CliRunner, Result

from humclick.cli.main import main
from humclick.jobs.result import AdviceResult

HEAD = """\
humclick_call = 1
[[event]]
kind = "opened"
shop = "Invented Cold Shop"
invented = true
[[event]]
kind = "machine"
arrangement = "rsir-ptc"
refrigerant = "R134a"
[[event]]
kind = "complaint"
heard = "hum_click"
[[event]]
kind = "meter"
name = "good"
leads_nulled = true
"""
MACHINE = 'humclick_call = 1\n[[event]]\nkind = "machine"\narrangement = "{}"\n'
READINGS = (
    *(("pins.C-R", "4.7"), ("pins.C-S", "11.2"), ("pins.S-R", "15.8"), ("pins.shell", "OL")),
    *(("ptc.ohms", "OL"), ("ptc.shake", "rattles"), ("overload_protector.ohms", "0.3")),
    *(("supply.volts", "118 V"), ("wiring.look", "as drawn")),
)


def reading(probe: str, value: str) -> str:
    return f'[[event]]\nkind = "reading"\nprobe = "{probe}"\nvalue = "{value}"\ntemperature = "cold"\n'


def written(path: Path, readings: tuple[tuple[str, str], ...]) -> str:
    path.write_text(HEAD + "".join(reading(*each) for each in readings), encoding="utf-8")
    return str(path)


def run(*args: str, stdin: str | None = None) -> Result:
    done = CliRunner().invoke(main, args, input=stdin)
    assert "Traceback" not in done.output
    return done


def advised(file: str, *more: str) -> AdviceResult:
    done = run("advise", file, "--json", *more)
    assert done.exit_code == 0, done.output
    return msgspec.convert(json.loads(done.stdout), AdviceResult, dec_hook=lambda kind, text: kind(text))


def test_advice_in_words_names_remedy_findings_and_parts(tmp_path: Path) -> None:
    """Text shows findings, suspects, the verdict with its defence, and what to ask for at the counter."""
    file = written(tmp_path / "call.toml", READINGS)
    done = run("advise", file, "--why")
    assert done.exit_code == 0
    for said in ("Verdict: Replace the starter", "ptc.ohms: OL", "To change this", "decibans", "Part:  PTC"):
        assert said in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 78


def test_advice_as_json_keeps_to_its_schema(tmp_path: Path) -> None:
    """JSON converts back to the published types, has every required key, and is the same twice."""
    file = written(tmp_path / "call.toml", READINGS)
    result = advised(file, "--why")
    assert result == advised(file, "--why")
    assert result.verdict is not None
    assert result.verdict.remedies == ("replace starter",)
    assert result.explanation is not None
    assert result.problems == ()
    assert len(result.findings) == len(READINGS)
    schema = json.loads(run("schema", "advice").stdout)
    described = schema["$defs"]["AdviceResult"]
    data = json.loads(run("advise", file, "--json").stdout)
    assert set(described["properties"]) == set(data)
    assert set(described["properties"]) - set(described["required"]) == {"messages"}
    told = schema["$defs"]["DefendedVerdict"]["properties"]["flip_factor"]["anyOf"]
    assert {"type": "null"} in told


def test_advice_before_a_verdict_names_the_next_probe(tmp_path: Path) -> None:
    """With nothing measured the next probe, its gates and the alternatives are given."""
    file = written(tmp_path / "call.toml", ())
    result = advised(file)
    assert result.kind in ("probe", "wait")
    assert result.verdict is None
    assert result.next is not None
    assert result.next.gates
    assert result.alternatives
    assert f"[{result.next.probe}]" in run("advise", file).stdout.replace("\n      ", " ")


def test_the_order_of_readings_does_not_matter(tmp_path: Path) -> None:
    """Shuffled readings give the same verdict with the same probability."""
    first = advised(written(tmp_path / "call.toml", READINGS))
    for seed in range(3):
        shuffled = random.Random(seed).sample(READINGS, len(READINGS))
        again = advised(written(tmp_path / f"{seed}.toml", tuple(shuffled)))
        assert first.verdict is not None
        assert again.verdict is not None
        assert again.verdict.remedies == first.verdict.remedies
        assert again.verdict.probability == pytest.approx(first.verdict.probability, rel=1e-9)


def test_unusable_readings_are_told_and_the_rest_counts(tmp_path: Path) -> None:
    """A reading that cannot be understood and an unknown probe are named; the others are used."""
    file = written(tmp_path / "call.toml", (*READINGS, ("ptc.ohms", "short"), ("ptc.ohm", "4")))
    result = advised(file)
    assert [problem.kept for problem in result.problems] == ["short", "4"]
    assert result.verdict is not None
    assert "Could not be used" in run("advise", file).stdout


def test_readings_without_a_gate_on_record_are_told(tmp_path: Path) -> None:
    """A file without gates still gives advice, and says which gates are not on record."""
    result = advised(written(tmp_path / "call.toml", READINGS))
    assert {gate for names in result.unproved.values() for gate in names} >= {"power-off-proved-dead"}


def test_a_call_comes_from_standard_input() -> None:
    """A dash stands for standard input."""
    done = run("advise", "-", stdin=HEAD)
    assert done.exit_code == 0
    assert "Next: " in done.stdout


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("humclick_call = 1\n", "no machine is described"),
        (
            'humclick_call = 1\n[[event]]\nkind = "machine"\narrangement = "dc-unit"\nvolts = 400.0\n',
            "no machine is described",
        ),
        (
            'humclick_call = 1\n[[event]]\nkind = "machine"\narrangement = "rsir-pct"\n',
            "did you mean rsir-ptc",
        ),
        ('humclick_call = 1\n[[event]]\nkind = "reading"\nprobe = "x"\nvalue = 4\n', "line 5"),
    ],
)
def test_a_call_that_cannot_be_judged_is_refused(text: str, said: str) -> None:
    """Without a machine that can be judged there is no advice: exit code 2 and what would be right."""
    done = run("advise", "-", stdin=text)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr


def test_the_shop_has_its_own_figures(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Prices come from the file of --shop or HUMCLICK_SHOP; a wrong one is refused."""
    shop = tmp_path / "shop.toml"
    shop.write_text("[rates]\nminute = 30.0\n", encoding="utf-8")
    file = written(tmp_path / "call.toml", ())
    usual = advised(file).next
    dear = advised(file, "--shop", str(shop)).next
    assert usual is not None
    assert dear is not None
    assert dear.cost > usual.cost
    monkeypatch.setenv("HUMCLICK_SHOP", str(shop))
    assert advised(file).next == dear
    shop.write_text("[rates]\nminute = -1\n", encoding="utf-8")
    done = run("advise", file)
    assert done.exit_code == 2
    assert "rates.minute" in done.stderr


def test_the_call_schema_names_every_kind_of_event() -> None:
    """The schema of a call describes each event by its kind."""
    from humclick.jobs.events import KINDS

    schema = json.loads(run("schema", "call").stdout)
    kinds = [each["properties"]["kind"]["const"] for each in schema["properties"]["event"]["items"]["oneOf"]]
    assert kinds == list(KINDS)
