"""``python -m research.sweep``: from a spec to a Parquet file, and wrong use."""

from __future__ import annotations

from pathlib import Path

import pyarrow.parquet as parquet
import pytest
from click.testing import CliRunner, Result
from research.sweep import sweep

SPEC = "draws = 2\nseconds = 0.1\n[conditions]\nvolts = [0.9, 1.0]\n"


def run(*args: str) -> Result:
    done = CliRunner().invoke(sweep, args)
    assert "Traceback" not in done.output
    return done


def written(folder: Path, text: str = SPEC) -> str:
    path = folder / "spec.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_spec_becomes_a_file(tmp_path: Path) -> None:
    """The command counts what is asked, shows progress beside the output and writes the rows."""
    out = tmp_path / "starts.parquet"
    done = run(written(tmp_path), "--out", str(out), "--jobs", "1")
    assert done.exit_code == 0, done.output
    assert "2 points, 2 possible machines at each: 4 attempts" in done.stderr
    assert "4 of 4 (100%)" in done.stderr
    assert done.stdout == f"written: {out}\n"
    assert parquet.read_table(out).num_rows == 4


def test_a_spec_can_be_checked_alone(tmp_path: Path) -> None:
    """With --check only the count is told and nothing is written, whether a file is named or not."""
    for named in (("--out", str(tmp_path / "starts.parquet")), ()):
        done = run(written(tmp_path), *named, "--check")
        assert done.exit_code == 0
        assert "4 attempts" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["spec.toml"]


@pytest.mark.parametrize(
    ("text", "args", "said"),
    [
        (SPEC, ("--out", "starts.csv"), "ends in .parquet"),
        (SPEC, (), "--out starts.parquet"),
        (SPEC, ("--out", "s.parquet", "--dask", "tcp://x:1", "--jobs", "2"), "give one of them"),
        ("[machines]\n", ("--out", "s.parquet"), "did you mean machine"),
        ("volts = [", ("--out", "s.parquet"), "not TOML"),
        (SPEC, ("--out", "/no/such/folder/s.parquet", "--jobs", "1"), "cannot be written"),
    ],
)
def test_wrong_use_is_refused_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, args: tuple[str, ...], said: str
) -> None:
    """What cannot be played ends with 2 and says what would be right."""
    monkeypatch.chdir(tmp_path)
    if "/no/such" in " ".join(args):
        (tmp_path / "file").write_text("in the way", encoding="utf-8")
        args = tuple(each.replace("/no/such/folder", str(tmp_path / "file" / "folder")) for each in args)
    done = run(written(tmp_path, text), *args)
    assert done.exit_code == 2, done.output
    assert said in done.stderr


def test_a_missing_or_binary_spec_is_refused(tmp_path: Path) -> None:
    """A spec that is not there or is no text is told as that."""
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    for name, said in (("nowhere.toml", "cannot be read"), ("binary.toml", "not text")):
        done = run(str(tmp_path / name), "--out", str(tmp_path / "s.parquet"))
        assert done.exit_code == 2
        assert said in done.stderr
