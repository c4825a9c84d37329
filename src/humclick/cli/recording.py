"""``humclick recording``: a clamp's log or a phone's sound of a start attempt, and what it shows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from humclick.cli.given import AMPS, call_in, shop_in, shop_option
from humclick.cli.language import say
from humclick.messages import Message, Value, Verbatim, counted
from humclick.recordings import GEARS

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.shop import Shop
    from humclick.recordings.evidence import Evidence
    from humclick.recordings.features import AttemptMeasured, MeasuredFigure, RecordingMeasured
    from humclick.recordings.recognise import Plate, Recognition
    from humclick.recordings.recording import Recording
    from humclick.recordings.sound import SoundRecognition

_SAID = {
    "silent": Message("nothing"),
    "hum": Message("hums"),
    "hum_click": Message("hums, then stops"),
    "starts_then_trips": Message("starts, then stops"),
    "breaker": Message("trips the breaker"),
    "runs": Message("runs"),
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
    from humclick.recordings.logs import recording_from_file
    from humclick.recordings.sound import SoundRecognition

    machine = None if call_file is None else call_in(call_file).machine
    plate = _plate(machine, lra, rla, gear, shop_in(shop_file))
    read = recording_from_file(file, rate=rate, scale=scale)
    if sound and not read.waveform:
        raise Refused(
            Message(
                "{name}: is a log of effective values, not sound; leave --sound out",
                name=Verbatim(read.name),
            )
        )
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
        raise Refused(Message("--keep needs the call's file: add --call call.toml"))
    with Path(file).open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256")
    turn = next_turn(read_call(str(call_file)))
    event = recording_event(evidence, sha256=digest.hexdigest(), device=terminal(), turn=turn)
    append_event(str(call_file), event)
    sentence = Message("Put into {path}; ask humclick advise {path}", path=Verbatim(call_file))
    click.echo(say(sentence), err=True)


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


def _tell_sound(read: Recording, heard: SoundRecognition, json_: bool) -> None:
    from humclick.cli.layout import label, lines, underlined
    from humclick.jobs.result import as_json

    if json_:
        click.echo(as_json(_sound_result(read, heard)))
        return
    head = Message("{name}: sound, {seconds:.1f} s", name=Verbatim(read.name), seconds=heard.seconds)
    click.echo(lines(head))
    click.echo(underlined(Message("What is heard")))
    for sentence in heard.sentences:
        click.echo(lines(sentence))
    if heard.clicks:
        click.echo(lines(", ".join(f"{t:.2f}" for t in heard.clicks[:20]) + " s", label(Message("Clicks"))))
    for note in read.notes:
        click.echo(lines(note, label(Message("Note"))))
    answer = Message("As a reading of {probe}: {heard}.", probe="attempt.as_found", heard=heard.heard)
    click.echo(lines(answer))


def _sound_result(read: Recording, heard: SoundRecognition) -> dict[str, Any]:
    return {
        "humclick_recording": 1,
        "kind": "sound",
        "file": read.name,
        "seconds": heard.seconds,
        "hertz": heard.hertz,
        "heard": list(heard.heard),
        "stretches": [{"kind": s.kind, "start": s.start, "end": s.end} for s in heard.stretches],
        "clicks": list(heard.clicks),
        "sentences": list(heard.sentences),
        "notes": list(read.notes),
    }


# -- current ----------------------------------------------------------------------------------------------


def _tell_current(
    read: Recording,
    measured: RecordingMeasured,
    recognised: Recognition,
    machine: Machine | None,
    json_: bool,
) -> None:
    from humclick.jobs.result import as_json

    probes = _offered(recognised.probes, machine)
    if json_:
        click.echo(as_json(_current_result(read, measured, recognised, [name for name, _ in probes])))
    else:
        click.echo(_current_in_words(read, measured, recognised, probes))


def _figure(value: MeasuredFigure | None) -> str:
    """A measured figure with its uncertainty, to two digits of that."""
    if value is None:
        return "–"
    digits = 2 if value.plus_minus < 0.095 else 1 if value.plus_minus < 0.95 else 0
    return f"{value.amount:.{digits}f} ± {value.plus_minus:.{digits}f} {value.unit}".rstrip()


_MEASURES = (
    ("peak", Message("largest")),
    ("plateau", Message("locked rotor")),
    ("fall", Message("left that level after")),
    ("run_up", Message("up to speed after")),
    ("lets_go", Message("start winding let go after")),
    ("run", Message("running")),
    ("end", Message("at the end")),
    ("trip", Message("stopped after")),
)


def _attempt_in_words(number: int, attempt: AttemptMeasured, heard: str) -> list[str]:
    from humclick.cli.layout import row, table

    when = Message("at {seconds:.2f} s", seconds=attempt.stretch.on)
    if attempt.stretch.before:
        when = Message("before it began")
    skipped = {"end"} if attempt.run is not None else set()
    rows = [
        (row(5, words), _figure(getattr(attempt, name)))
        for name, words in _MEASURES
        if name not in skipped and getattr(attempt, name) is not None
    ]
    return [row(2, Message("{n}  {when}: {heard}", n=number, when=when, heard=_SAID[heard])), table(rows)]


def _current_in_words(
    read: Recording, measured: RecordingMeasured, recognised: Recognition, probes: list[tuple[str, str]]
) -> str:
    from humclick.cli.layout import bar, label, lines, row, underlined
    from humclick.readings.shown import percent
    from humclick.sourced import read_data

    causes = read_data("humclick.recordings", "causes.toml")
    facts: list[Value] = [Message("waveform") if read.waveform else Message("effective values")]
    facts.append(Message("{rate:g} samples a second", rate=read.rate))
    facts.append(f"{measured.seconds:.1f} s")
    if measured.hertz:
        facts.append(f"{measured.hertz:g} Hz")
    pieces = [row(0, Message("{name}: {facts}", name=Verbatim(read.name), facts=tuple(facts)))]
    attempts = counted("{n} start attempt", "{n} start attempts", len(measured.attempts))
    pieces.append(underlined(attempts))
    heard = zip(measured.attempts[:5], recognised.heard, strict=False)
    for number, (attempt, outcome) in enumerate(heard, start=1):
        pieces += _attempt_in_words(number, attempt, outcome)
    if len(measured.attempts) > 5:
        pieces.append(row(2, Message("… and {n} more", n=len(measured.attempts) - 5)))
    if measured.restarts:
        pieces.append(
            lines(", ".join(_figure(r) for r in measured.restarts[:5]), label(Message("Off between"), 2))
        )
    if measured.attempts:
        pieces.append(row(2, Message("On for {share:.0f} % of the time", share=measured.duty.amount)))
    pieces.append(underlined(Message("What it shows")))
    order = sorted(recognised.probabilities.items(), key=lambda chance: -chance[1])
    for cause, p in order[:4]:
        if p >= 0.005:
            pieces.append(lines(Message.of(causes[cause]["title"]), f"  {percent(p):>5}  {bar(p)}  "))
    pieces += ["", *(lines(sentence) for sentence in recognised.sentences)]
    if probes:
        pieces.append(underlined(Message("What tells them apart")))
        for name, title in probes:
            probe = Message("{title}  [{probe}]", title=title, probe=name)
            pieces.append(lines(probe if title else name, "  "))
    pieces += [lines(note, label(Message("Note"))) for note in measured.notes]
    return "\n".join(pieces)


def _current_result(
    read: Recording, measured: RecordingMeasured, recognised: Recognition, probes: list[str]
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
                "on": attempt.stretch.on,
                "off": None if attempt.stretch.cut else attempt.stretch.off,
                "began_before": attempt.stretch.before,
                "heard": heard,
                **{name: getattr(attempt, name) for name, _ in _MEASURES},
            }
            for attempt, heard in zip(measured.attempts, recognised.heard, strict=False)
        ],
        "restarts": measured.restarts,
        "duty": measured.duty,
        "heard": list(recognised.heard),
        "probabilities": dict(recognised.probabilities),
        "none": recognised.none,
        "log_likelihood": dict(recognised.log_likelihood),
        "probes": probes,
        "sentences": list(recognised.sentences),
        "notes": list(measured.notes),
    }
