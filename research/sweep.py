"""
Very many starts into one Parquet file, here or on a cluster: ``python -m research.sweep SPEC --out FILE``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import click

from humclick.cli.failure import refused
from humclick.cli.terminal import plain_terminal
from humclick.errors import HumclickError, Refused
from humclick.messages import Message
from research.play import Progress
from research.play import sweep as played
from research.spec import SweepSpec, spec_of

__all__ = ["sweep"]

#: Largest spec read. [bytes]
_LARGEST = 1_000_000
#: Where progress is not on a screen, a line is written each time so much more is done. [-]
_STEP = 0.1


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("spec", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="The .parquet file.")
@click.option("--jobs", type=click.IntRange(1, 4096), help="Cores here; all if left out.")
@click.option(
    "--dask", metavar="ADDRESS", help="A Dask scheduler that runs already, such as tcp://host:8786."
)
@click.option("--check", is_flag=True, help="Only read the spec and say how many attempts it takes.")
def sweep(spec: Path, out: Path | None, jobs: int | None, dask: str | None, check: bool) -> None:
    """
    Play very many starts: machines and conditions from a small TOML file.

    Ctrl-C stops it and keeps what is played; the same command goes on.

    Example: python -m research.sweep examples/sweep.toml --out starts.parquet
    """
    if out is None and not check:
        raise click.UsageError("Say with --out where the result goes, such as --out starts.parquet.")
    if out is not None and out.suffix.casefold() != ".parquet":
        raise click.UsageError(f"{out}: the result ends in .parquet.")
    if dask is not None and jobs is not None:
        raise click.UsageError("--jobs counts cores here and --dask plays elsewhere; give one of them.")
    with plain_terminal():
        try:
            wanted = _read(spec)
            click.echo(
                f"{wanted.points:,} points, {wanted.draws:,} possible machines at each:"
                f" {wanted.attempts:,} attempts",
                err=True,
            )
            if out is not None and not check:
                _play(wanted, out, jobs, dask)
        except HumclickError as error:
            refused(error)
            sys.exit(2)


def _read(spec: Path) -> SweepSpec:
    try:
        with spec.open("rb") as file:
            data = file.read(_LARGEST + 1)
        if len(data) > _LARGEST:
            raise Refused(Message.of(f"{spec}: larger than a spec can be ({_LARGEST // 1000:,} kB)"))
        text = data.decode("utf-8")
    except OSError as error:
        raise Refused(Message.of(f"{spec}: cannot be read: {error.strerror or error}")) from None
    except UnicodeDecodeError:
        raise Refused(Message.of(f"{spec}: this is not text in UTF-8")) from None
    return spec_of(text, str(spec))


def _play(wanted: SweepSpec, out: Path, jobs: int | None, dask: str | None) -> None:
    done = played(wanted, out, jobs=jobs, dask=dask, progress=_progress_line())
    if sys.stderr.isatty():
        click.echo(err=True)
    if done.stopped:
        click.echo(
            f"stopped at {done.done:,} of {done.all:,}; nothing is lost: the same command goes on", err=True
        )
        sys.exit(130)
    click.echo(f"written: {out}")


def _progress_line() -> Callable[[Progress], None]:
    """Progress on one line of a screen, or now and then in a log."""
    begun, last = time.monotonic(), [0.0]

    def show(progress: Progress) -> None:
        share = progress.done / progress.all
        played = progress.done - progress.resumed
        left = (progress.all - progress.done) * (time.monotonic() - begun) / max(played, 1)
        line = f"{progress.done:,} of {progress.all:,} ({share:.0%}), about {_time(left)} left"
        if sys.stderr.isatty():
            click.echo(f"\r{line:<70}", nl=False, err=True)
        elif share >= last[0] + _STEP or progress.done == progress.all:
            last[0] = share
            click.echo(line, err=True)

    return show


def _time(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


if __name__ == "__main__":
    sweep()
