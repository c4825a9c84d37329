"""The foreign worlds keep apart from the program, are the same for a seed, and play to an end."""

import ast
import json
import subprocess
import sys
import tomllib
from importlib import import_module
from pathlib import Path

import pytest
from benchmarks.worlds import ceiling, play, score
from benchmarks.worlds.face import Truth

HERE = Path(play.__file__).parent
FILES = sorted(HERE.rglob("*.py"))
OTHER = {"first": "second", "second": "first"}


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {each.name for each in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {node.module or ""} | {f"{node.module}.{each.name}" for each in node.names}
    return names


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(HERE)))
def test_only_the_public_face_is_imported(path: Path) -> None:
    ours = {name for name in imported(path) if name.split(".")[0] == "humclick"}
    assert ours <= {"humclick"}
    if "humclick" in ours:
        assert path.name in ("play.py", "compare.py")


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(HERE)))
def test_nothing_of_the_other_benchmarks_is_used(path: Path) -> None:
    ours = {name for name in imported(path) if name.split(".")[0] == "benchmarks"}
    assert all(name.startswith("benchmarks.worlds") for name in ours)


@pytest.mark.parametrize("world", play.WORLDS)
def test_worlds_share_no_code_but_the_face(world: str) -> None:
    for path in (HERE / world).glob("*.py"):
        for name in imported(path):
            if name.startswith("benchmarks.worlds"):
                assert name.startswith((f"benchmarks.worlds.{world}", "benchmarks.worlds.face")), name


def told(world: str, hash_seed: str) -> str:
    script = (
        "from benchmarks.worlds.play import case_of\n"
        f"for n in range(12):\n    c = case_of({world!r}, 5, n)\n"
        "    probes = ('pins.C-R', 'supply.look', 'attempt.as_found')\n"
        "    print(c.opening, c.truth.cause, [c.shows(p) for p in probes])"
    )
    environment = {"PYTHONPATH": ":".join(sys.path), "PYTHONHASHSEED": hash_seed}
    done = subprocess.run(
        [sys.executable, "-c", script], env=environment, capture_output=True, text=True, check=True
    )
    return done.stdout


@pytest.mark.parametrize("world", play.WORLDS)
def test_a_seed_gives_the_same_calls_in_another_process(world: str) -> None:
    assert told(world, "1") == told(world, "2")


@pytest.mark.parametrize("world", play.WORLDS)
def test_another_seed_gives_other_calls(world: str) -> None:
    one = [play.case_of(world, 5, number).opening for number in range(6)]
    other = [play.case_of(world, 6, number).opening for number in range(6)]
    assert one != other


@pytest.mark.parametrize("world", play.WORLDS)
def test_six_calls_are_played_to_an_end(
    world: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "six.json"
    play.main(["--world", world, "--calls", "6", "--seed", "5", "--out", str(out)])
    written = json.loads(out.read_text())
    assert len(written["outcomes"]) == 6
    assert all(
        each["ended"] in ("verdict", "handed over", "stopped", "stuck") for each in written["outcomes"]
    )
    assert written["figures"]["errors"] == 0
    assert "right first time" in capsys.readouterr().out


@pytest.mark.parametrize("world", play.WORLDS)
def test_machines_are_of_all_sizes(world: str) -> None:
    sizes = [play.case_of(world, 5, number).opening.plate.horsepower for number in range(150)]
    assert min(sizes) < 1 / 12
    assert max(sizes) > 2.0


@pytest.mark.parametrize("world", play.WORLDS)
def test_every_call_needs_something_and_names_no_gear_the_machine_lacks(world: str) -> None:
    for number in range(80):
        case = play.case_of(world, 5, number)
        assert case.truth.needs
        if (
            case.opening.plate.arrangement.startswith("psc")
            and "assist" not in case.opening.plate.arrangement
        ):
            assert not any("replace relay" in need for need in case.truth.needs)


RELAY = Truth((frozenset({"replace relay"}),), frozenset({"wait"}), "relay", "relay")


def test_a_new_compressor_is_no_answer_to_a_relay() -> None:
    assert not score.is_right(RELAY, ("replace compressor",))
    assert score.superfluous(RELAY, ("replace compressor",)) == {"replace compressor"}


def test_a_sound_part_besides_is_condemned() -> None:
    assert not score.is_right(RELAY, ("replace relay", "replace control"))


def test_a_new_compressor_brings_its_gear() -> None:
    both = Truth((frozenset({"replace compressor"}), frozenset({"replace relay"})), frozenset(), "two", "two")
    assert score.is_right(both, ("replace compressor",))


def test_a_wait_is_right_where_nothing_is_broken() -> None:
    passing = Truth((frozenset({"wait"}),), frozenset({"wait"}), "pressures", "passing")
    assert passing.healthy
    assert score.is_right(passing, ("wait",))
    assert not score.is_right(passing, ("replace starter",))


def test_wilson_agrees_with_the_printed_example() -> None:
    # Newcombe 1998, Statistics in Medicine 17, 857: 81 of 263 gives 0.2553 to 0.3662 (from memory)
    low, high = score.wilson(81, 263)
    assert (round(low, 4), round(high, 4)) == (0.2553, 0.3662)


def test_the_log_of_seeds_names_every_result() -> None:
    log = tomllib.loads((HERE / "seeds.toml").read_text())["seed"]
    logged = {(each["world"], each["seed"]) for each in log}
    for path in (HERE / "results").glob("*.json"):
        world, seed = path.stem.split("-")[:2]
        assert (world, int(seed)) in logged
    assert all(each["purpose"] and each["at"] for each in log)


@pytest.mark.parametrize("world", play.WORLDS)
def test_a_machine_is_alike_to_itself_and_a_twin_that_needs_the_same_does_not_count(world: str) -> None:
    oracle = import_module(f"benchmarks.worlds.{world}.oracle")
    case = oracle.rested(play.case_of(world, 5, 1))
    same = [list(ceiling._fresh(oracle, case, True)) for _ in range(2)]
    assert ceiling.alike(iter(same[0]), iter(same[1]))
    assert len(same[0]) > 25
    assert not ceiling.another(RELAY, RELAY)
