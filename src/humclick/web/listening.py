"""
A recording of a start, handed in on a page: read, and put into the call as an event.

The same on the server and in the browser.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from humclick.errors import Refused
from humclick.jobs.fold import fold
from humclick.jobs.order import next_turn
from humclick.jobs.recorded import plate_of, recording_event
from humclick.jobs.standing import moment
from humclick.limits import RECORDING_BYTES, RECORDING_ROWS, RECORDING_SAMPLES
from humclick.messages import Message
from humclick.web.exchange import events_in, plain_table


def recording_table(
    data: bytes, name: str, events: Sequence[Mapping[str, Any]], *, now: str, device: str = ""
) -> dict[str, Any]:
    """The event that says what a recording shows: a clamp's log as CSV, or a WAV file, as its name ends."""
    if not data:
        raise Refused(Message("choose a recording first: a clamp's log (CSV) or a sound (WAV)"))
    if len(data) > RECORDING_BYTES:
        raise Refused(
            Message("a recording may have {most} MiB; cut it to the attempts", most=RECORDING_BYTES // 2**20)
        )
    earlier = events_in(events)
    machine = fold(earlier).machine
    from humclick.recordings.evidence import evidence_of  # here: most calls have none
    from humclick.recordings.logs import recording_from_file

    called = Path(name.replace("\\", "/")).name or "recording"
    ending = Path(called).suffix.casefold()
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / f"recording{ending if ending in ('.csv', '.wav', '.txt') else ''}"
        path.write_bytes(data)
        hertz = None if machine is None else machine.nameplate.hertz
        read = recording_from_file(path, most=RECORDING_ROWS, most_sound=RECORDING_SAMPLES)
        evidence = evidence_of(read, plate_of(machine), hertz=hertz)
    event = recording_event(
        evidence,
        sha256=hashlib.sha256(data).hexdigest(),
        device=device[:300],
        at=moment(datetime.fromisoformat(now)),
        turn=next_turn(earlier),
    )
    return {**plain_table(event), "name": called[:300]}


def recording_json(data: Any, question: str) -> str:
    """As `recording_table`, for the browser: what is asked and the event are JSON."""
    wanted = json.loads(question)
    table = recording_table(
        bytes(data), wanted["name"], wanted["events"], now=wanted["now"], device=wanted["device"]
    )
    return json.dumps(table)
