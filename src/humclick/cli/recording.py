"""
``humclick recording``: a clamp's log or a phone's sound of a start attempt, and what it shows.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from humclick.cli.given import AMPS, call_in, shop_in, shop_option
from humclick.recordings import GEARS

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.shop import Shop
    from humclick.recordings.evidence import Evidence
    from humclick.recordings.features import AttemptMeasured, MeasuredFigure, RecordingMeasured
    from humclick.recordings.recognise import Plate, Recognition
    from humclick.recordings.recording import Recording
    from humclick.recordings.sound import SoundRecognition

__all__ = ["recording"]

_SAID = {
    "silent": "nothing",
    "hum": "hums",
    "hum_click": "hums, then stops",
    "starts_then_trips": "starts, then stops",
    "breaker": "trips the breaker",
    "runs": "runs",
}


@click.command()
@click.argument("file", type=click.Path())
@click.option("--call", "call_file", help="Call file of the machine: its plate and start gear.")
@click.option("--lra", type=AMPS, help="Locked-rotor amperes of the plate.")
@click.option("--rla", type=AMPS, help="Rated-load amperes of the plate.")
@click.option("--gear", type=click.Choice(GEARS), help="Kind of start gear, where no call tells it.")
@click.option("--rate", type=float, help="Samples a second, where the file does not tell.")
@click.option("--scale", type=float, help="Amperes for one unit (1 mV, or full scale of a WAV file).")
@click.option("--sound/--current", "sound", default=None, help="What a WAV file holds, where it is mistaken.")
@shop_option
@click.option("--keep", is_flag=True, help="Also put it into the call, as evidence.")
@click.option("--json", "json_", is_flag=True, help="As JSON.")
def recording(
    file: str,
    call_file: str | None,
    lra: float | None,
    rla: float | None,
    gear: str | None,
    rate: float | None,
    scale: float | None,
    sound: bool | None,
    shop_file: Path | None,
    keep: bool,
    json_: bool,
) -> None:
    """
    Say what a recording of a start attempt shows.

    FILE is a clamp meter's or logger's CSV (time and amperes), a WAV file of a clamp's signal, or a WAV
    file of the sound.

    Example: humclick recording clamp.csv --call call.toml
    """
    from humclick.errors import Refused
    from humclick.recordings.evidence import evidence_of
    from humclick.recordings.logs import read_recording
    from humclick.recordings.sound import SoundRecognition

    machine = None if call_file is None else call_in(call_file).machine
    plate = _plate(machine, lra, rla, gear, shop_in(shop_file))
    read = read_recording(file, rate=rate, scale=scale)
    if sound and not read.waveform:
        raise Refused(f"{read.name}: is a log of effective values, not sound; leave --sound out")
    hertz = None if machine is None else machine.nameplate.hertz
    evidence = evidence_of(read, plate, sound=sound, hertz=hertz)
    if isinstance(evidence.recognition, SoundRecognition):
        _tell_sound(read, evidence.recognition, json_)
    elif evidence.measured is not None:
        _tell_current(read, evidence.measured, evidence.recognition, machine, json_)
    if keep:
        _keep(file, call_file, evidence)


def _keep(file: str, call_file: str | None, evidence: Evidence) -> None:
    """Put what the recording shows into the call."""
    import hashlib

    from humclick.cli.device import terminal
    from humclick.errors import Refused
    from humclick.jobs.call_file import append_event, read_call
    from humclick.jobs.order import next_turn
    from humclick.jobs.recorded import recording_event

    if call_file in (None, "-"):
        raise Refused("--keep needs the call's file: add --call call.toml")
    with Path(file).open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256")
    turn = next_turn(read_call(str(call_file)))
    event = recording_event(evidence, sha256=digest.hexdigest(), device=terminal(), turn=turn)
    append_event(str(call_file), event)
    click.echo(f"Put into {call_file}; ask humclick advise {call_file}", err=True)


def _plate(
    machine: Machine | None, lra: float | None, rla: float | None, gear: str | None, shop: Shop
) -> Plate:
    """What is known of the machine; what is typed goes before the call."""
    from dataclasses import replace

    from humclick.jobs.recorded import plate_of

    known = plate_of(machine, shop, gear)
    return replace(
        known,
        locked_rotor_amps=lra or known.locked_rotor_amps,
        rated_load_amps=rla or known.rated_load_amps,
    )


def _offered(names: tuple[str, ...], machine: Machine | None) -> list[tuple[str, str]]:
    """Probes that this machine has, with their titles; all of them where the machine is not known."""
    from humclick.diagnosis.probes import probes_of

    if machine is None:
        return [(name, "") for name in names]
    known = probes_of(machine)
    return [(name, known[name].title) for name in names if name in known]


# -- sound ------------------------------------------------------------------------------------------------


def _tell_sound(read: Recording, shown: SoundRecognition, json_: bool) -> None:
    from humclick.cli.words import heading, lines
    from humclick.jobs.result import as_json

    if json_:
        click.echo(as_json(_sound_result(read, shown)))
        return
    click.echo(f"{read.name}: sound, {shown.seconds:.1f} s")
    click.echo(heading("What is heard"))
    for sentence in shown.sentences:
        click.echo(lines(sentence))
    if shown.clicks:
        click.echo(lines(", ".join(f"{t:.2f}" for t in shown.clicks[:20]) + " s", "Clicks: "))
    for note in read.notes:
        click.echo(lines(note, "Note: "))
    click.echo(lines(f"As a reading of attempt.as_found: {', '.join(shown.heard)}.", ""))


def _sound_result(read: Recording, shown: SoundRecognition) -> dict[str, Any]:
    return {
        "humclick_recording": 1,
        "kind": "sound",
        "file": read.name,
        "seconds": shown.seconds,
        "hertz": shown.hertz,
        "heard": list(shown.heard),
        "stretches": [{"kind": s.kind, "start": s.start, "end": s.end} for s in shown.stretches],
        "clicks": list(shown.clicks),
        "sentences": list(shown.sentences),
        "notes": list(read.notes),
    }


# -- current ----------------------------------------------------------------------------------------------


def _tell_current(
    read: Recording, measured: RecordingMeasured, shown: Recognition, machine: Machine | None, json_: bool
) -> None:
    from humclick.jobs.result import as_json

    probes = _offered(shown.probes, machine)
    if json_:
        click.echo(as_json(_current_result(read, measured, shown, [name for name, _ in probes])))
    else:
        click.echo(_current_in_words(read, measured, shown, probes))


def _figure(seen: MeasuredFigure | None) -> str:
    """A measured figure with its uncertainty, to two digits of that."""
    if seen is None:
        return "–"
    digits = 2 if seen.plus_minus < 0.095 else 1 if seen.plus_minus < 0.95 else 0
    return f"{seen.amount:.{digits}f} ± {seen.plus_minus:.{digits}f}{' ' + seen.unit if seen.unit else ''}"


_MEASURES = (
    ("peak", "largest"),
    ("plateau", "locked rotor"),
    ("fall", "left that level after"),
    ("run_up", "up to speed after"),
    ("lets_go", "start winding let go after"),
    ("run", "running"),
    ("end", "at the end"),
    ("trip", "stopped after"),
)


def _attempt_in_words(number: int, one: AttemptMeasured, heard: str) -> list[str]:
    from humclick.cli.words import table

    when = "before it began" if one.stretch.before else f"at {one.stretch.on:.2f} s"
    skipped = {"end"} if one.run is not None else set()
    rows = [
        (f"     {words}", _figure(getattr(one, name)))
        for name, words in _MEASURES
        if name not in skipped and getattr(one, name) is not None
    ]
    return [f"  {number}  {when}: {_SAID[heard]}", table(rows)]


def _current_in_words(
    read: Recording, measured: RecordingMeasured, shown: Recognition, probes: list[tuple[str, str]]
) -> str:
    from humclick.cli.words import bar, counted, heading, lines
    from humclick.readings.shown import percent
    from humclick.sourced import read_data

    causes = read_data("humclick.recordings", "causes.toml")
    what = "waveform" if read.waveform else "effective values"
    said = [f"{read.name}: {what}, {read.rate:g} samples a second, {measured.seconds:.1f} s"]
    if measured.hertz:
        said[0] += f", {measured.hertz:g} Hz"
    said.append(heading(counted(len(measured.attempts), "start attempt")))
    for number, (one, heard) in enumerate(zip(measured.attempts, shown.heard, strict=False), start=1):
        if number > 5:
            said.append(f"  … and {len(measured.attempts) - 5} more")
            break
        said += _attempt_in_words(number, one, heard)
    if measured.restarts:
        said.append(lines(", ".join(_figure(r) for r in measured.restarts[:5]), "  Off between: "))
    if measured.attempts:
        said.append(f"  On for {measured.duty.amount:.0f} % of the time")
    said.append(heading("What it shows"))
    order = sorted(shown.probabilities.items(), key=lambda each: -each[1])
    for cause, p in order[:4]:
        if p >= 0.005:
            said.append(lines(causes[cause]["title"], f"  {percent(p):>5}  {bar(p)}  "))
    said += ["", *(lines(sentence) for sentence in shown.sentences)]
    if probes:
        said.append(heading("What tells them apart"))
        said += [lines(f"{title or name}" + (f"  [{name}]" if title else ""), "  ") for name, title in probes]
    said += [lines(note, "Note: ") for note in measured.notes]
    return "\n".join(said)


def _current_result(
    read: Recording, measured: RecordingMeasured, shown: Recognition, probes: list[str]
) -> dict[str, Any]:
    return {
        "humclick_recording": 1,
        "kind": "current",
        "file": read.name,
        "seconds": measured.seconds,
        "samples_per_second": read.rate,
        "waveform": read.waveform,
        "hertz": measured.hertz,
        "scale_known": measured.scale_known,
        "clipped": measured.clipped,
        "attempts": [
            {
                "on": one.stretch.on,
                "off": None if one.stretch.cut else one.stretch.off,
                "began_before": one.stretch.before,
                "heard": heard,
                **{name: getattr(one, name) for name, _ in _MEASURES},
            }
            for one, heard in zip(measured.attempts, shown.heard, strict=False)
        ],
        "restarts": measured.restarts,
        "duty": measured.duty,
        "heard": list(shown.heard),
        "probabilities": dict(shown.probabilities),
        "none": shown.none,
        "log_likelihood": dict(shown.log_likelihood),
        "probes": probes,
        "sentences": list(shown.sentences),
        "notes": list(measured.notes),
    }
