"""Sweeps: read from a spec, the same rows on one core, several, a cluster, and after being stopped."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow.parquet as parquet
import pytest
import research.play as sweeping
from research.play import Progress, chunk_rows, chunks, sweep
from research.spec import Drawn, SweepSpec, spec_of

from humclick.errors import HumclickError, Refused, Unknown

TEXT = """
draws = 3
seconds = 0.4
[machine]
arrangement = ["rsir-ptc", "csir-current-relay"]
locked_rotor_amps = 12.0
[conditions]
volts = { from = 0.9, to = 1.1, steps = 2 }
modes = ["", "overload_protector=welded"]
supply_ohms = { low = 0.2, high = 1.5 }
"""


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunks of five attempts, so that a small sweep has several."""
    monkeypatch.setattr(sweeping, "CHUNK", 5)


def spec() -> SweepSpec:
    """The small sweep of these tests: 24 attempts in five chunks."""
    return spec_of(TEXT)


def rows(path: Path) -> list[dict[str, Any]]:
    """All rows of a result."""
    found = parquet.read_table(path).to_pylist()
    assert isinstance(found, list)
    return found


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """The rows of the small sweep played at one go in this process."""
    out = tmp_path_factory.mktemp("sweep") / "whole.parquet"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sweeping, "CHUNK", 5)
        done = sweep(spec(), out, jobs=1)
    assert done == Progress(24, 24)
    assert list(out.parent.iterdir()) == [out]
    return rows(out)


def test_every_point_and_draw_is_there_once(whole: list[dict[str, Any]]) -> None:
    """Lists and ranges are crossed, each point has all draws, and what was set stands in the row."""
    assert [(row["point"], row["draw"]) for row in whole] == [(p, d) for p in range(8) for d in range(3)]
    assert {row["arrangement"] for row in whole} == {"rsir-ptc", "csir-current-relay"}
    assert {row["volts_over_plate"] for row in whole} == {0.9, 1.1}
    assert all(0.2 <= row["supply_ohms"] <= 1.5 for row in whole)
    assert {row["outcome"] for row in whole} <= {"silent", "hum", "hum_click", "starts_then_trips", "runs"}


def test_what_did_not_happen_is_empty(whole: list[dict[str, Any]]) -> None:
    """A time of something that did not happen is null, not a number."""
    assert all(row["trip_time_s"] is None for row in whole if row["trips"] == 0)
    assert all(row["peak_amps"] > 1 for row in whole)


def test_points_share_their_possible_machines(whole: list[dict[str, Any]]) -> None:
    """A draw is the same at every point, so that conditions are compared on the same machines."""
    ohms = {(row["draw"], row["supply_ohms"]) for row in whole}
    assert len(ohms) == 3
    more = [row["locked_amps"] for row in whole if row["volts_over_plate"] == 1.1]
    less = [row["locked_amps"] for row in whole if row["volts_over_plate"] == 0.9]
    assert all(a > b for a, b in zip(more, less, strict=True))


def test_stopped_and_gone_on_with_is_the_same(tmp_path: Path, whole: list[dict[str, Any]]) -> None:
    """Stopped by Ctrl-C after two chunks, a second call plays only the rest and ends in equal rows."""
    out = tmp_path / "starts.parquet"
    seen: list[Progress] = []

    def interrupted(progress: Progress) -> None:
        if progress.done >= 10:
            raise KeyboardInterrupt

    first = sweep(spec(), out, jobs=1, progress=interrupted)
    assert first.stopped
    assert not out.exists()
    (tmp_path / "starts.parquet.parts" / "0000004.half").write_bytes(b"torn off in mid-write")
    second = sweep(spec(), out, jobs=1, progress=seen.append)
    assert (second.resumed, second.stopped) == (10, False)
    assert len(seen) == 3
    assert rows(out) == whole
    assert list(tmp_path.iterdir()) == [out]


def test_a_whole_sweep_is_not_played_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same call on a finished file does nothing; another spec does not write over it."""
    out = tmp_path / "starts.parquet"
    small = spec_of("draws = 1\nseconds = 0.1")
    sweep(small, out, jobs=1)
    monkeypatch.setattr(sweeping, "chunk_rows", lambda *_: pytest.fail("played again"))
    assert sweep(small, out, jobs=1) == Progress(1, 1, 1)
    with pytest.raises(Refused, match="another file stands there"):
        sweep(spec(), out, jobs=1)


def test_parts_of_another_sweep_are_left_alone(tmp_path: Path) -> None:
    """Parts of a stopped sweep are not mixed with those of another spec."""
    out = tmp_path / "starts.parquet"

    def at_once(progress: Progress) -> None:
        raise KeyboardInterrupt

    assert sweep(spec(), out, jobs=1, progress=at_once).stopped
    with pytest.raises(Refused, match="parts of another sweep"):
        sweep(spec_of(TEXT.replace("draws = 3", "draws = 2")), out, jobs=1)


def test_cores_give_the_same_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two processes play chunks of the usual size into the rows that one plays."""
    monkeypatch.setattr(sweeping, "CHUNK", 256)
    wide = spec_of("draws = 150\nseconds = 0.02\n[conditions]\nvolts = [0.9, 1.0]")
    assert chunks(wide) == 2
    sweep(wide, tmp_path / "one.parquet", jobs=1)
    sweep(wide, tmp_path / "two.parquet", jobs=2)
    assert rows(tmp_path / "one.parquet") == rows(tmp_path / "two.parquet")


def test_a_cluster_gives_the_same_rows(tmp_path: Path, whole: list[dict[str, Any]]) -> None:
    """A Dask cluster that runs already plays the sweep into equal rows."""
    from distributed import LocalCluster

    cluster = LocalCluster(  # type: ignore[no-untyped-call]
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
    )
    with cluster:
        sweep(spec(), tmp_path / "starts.parquet", dask=cluster.scheduler_address)
    assert rows(tmp_path / "starts.parquet") == whole


def test_no_scheduler_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An address at which nothing answers, or that is none, is refused in words."""
    with pytest.raises(Refused, match="no Dask scheduler answers"):
        sweep(spec(), tmp_path / "starts.parquet", dask="nonsense://x")


def test_order_and_comments_make_no_other_sweep() -> None:
    """A sweep is told by what is asked, not by how it is written down."""
    again = "[conditions]\n# as before\nvolts=1\n[machine]\nlocked_rotor_amps = 12"
    first = "[machine]\nlocked_rotor_amps = 12.0\n[conditions]\nvolts = 1.0"
    assert spec_of(first).mark == spec_of(again).mark
    assert spec_of(first).mark != spec_of(f"seed = 1\n{first}").mark


def test_draws_are_read() -> None:
    """A range of two ends is drawn evenly, a median with a factor log-normally."""
    read = spec_of(
        "[conditions]\nsupply_ohms = { low = 0.2, high = 1.5 }\nvolts = { median = 1.0, factor = 1.1 }"
    )
    assert read.axes[".supply_ohms"] == (Drawn(0.2, 1.5, False),)
    assert read.axes[".volts"] == (Drawn(1.0, 1.1, True),)
    assert read.points == 1


def test_a_drawn_machine_is_estimated_anew() -> None:
    """Locked-rotor amps drawn for each possible machine stand in the rows and move its current."""
    text = "draws = 4\nseconds = 0.1\n[machine]\nlocked_rotor_amps = { low = 6.0, high = 20.0 }"
    told = chunk_rows(text, 0)
    pairs = sorted(zip(told["locked_rotor_amps"], told["locked_amps"], strict=True))
    assert len(set(told["locked_rotor_amps"])) == 4
    assert pairs[-1][1] > pairs[0][1]


@pytest.mark.parametrize(
    ("text", "error", "said"),
    [
        ("draws = ", Refused, "not TOML"),
        ("drawz = 3", Unknown, "did you mean draws"),
        ("draws = 0", Refused, "draws must be a number from 1"),
        ("draws = true", Refused, "draws must be"),
        ("machine = 3", Refused, "must be a table"),
        ('[machine]\narrangement = "rsir-pct"', Unknown, "rsir-ptc"),
        ("[machine]\nlra = 12", Unknown, "name under .machine."),
        ('[machine]\nlocked_rotor_amps = "12"', Refused, "no number"),
        ("[machine]\nvolts = 64.0", Refused, "100–127 or 200–240"),
        ("[machine]\narrangement = 3", Refused, "words in quotes"),
        ('[machine]\narrangement = "three-phase"', Refused, "single-phase"),
        ("[conditions]\nvolts = []", Refused, "list is empty"),
        ("[conditions]\nvolts = { from = 0.8, to = 1.1 }", Refused, "write a value, a list"),
        ("[conditions]\nvolts = { from = 0.8, to = 1.1, steps = 1 }", Refused, "steps must be"),
        ("[conditions]\nvolts = { low = 1.1, high = 0.8 }", Refused, "low must lie below high"),
        ("[conditions]\nvolts = { median = 1.1, factor = 0.8 }", Refused, "factor 1 or more"),
        ("[conditions]\nvolts = [1.0, 9.0]", Refused, "volts at the outlet"),
        ("[conditions]\nhot = 1", Refused, "true or false"),
        ('[conditions]\npressure = "sideways"', Unknown, "unknown pressure"),
        ('[conditions]\nmodes = "ptc"', Refused, "part=mode"),
        ('[conditions]\nmodes = "ptc=melted"', Unknown, "melted"),
        (
            '[machine]\narrangement = ["rsir-ptc", "psc"]\n[conditions]\nmodes = "ptc=open"',
            Unknown,
            "part of psc",
        ),
        ("draws = 100000\n[conditions]\nvolts = { from = 0.8, to = 1.1, steps = 200 }", Refused, "too many"),
    ],
)
def test_a_bad_spec_is_refused_before_anything_is_played(
    text: str, error: type[HumclickError], said: str
) -> None:
    """Wrong names, forms and values are named, with what would be right."""
    with pytest.raises(error, match=said):
        spec_of(text)
