"""An invented machine at the bench: what its meter would show, and a person who types it in."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from humclick.cli.session import Session
from humclick.diagnosis.probes import Probe
from humclick.diagnosis.shop import default_shop
from tests.visit import SOUND, USUAL

#: What the tries come to: it hums on its own gear and runs on another.
TRIES = {"attempt.as_found": "hums, then clicks off", "attempt.known_good": "runs"}


def _shown(probe: Probe, shows: Mapping[str, str]) -> str:
    """What a probe shows on this machine; ohms of what can be warm are read cold."""
    if probe.repairs:
        return shows.get(probe.id, "runs")
    if probe.id in shows:
        return shows[probe.id]
    said = {**SOUND, **TRIES}.get(probe.id) or (
        probe.outcomes[0] if probe.outcomes else USUAL[probe.quantity]
    )
    return f"{said} cold" if probe.quantity == "resistance" and probe.heat else said


def begun(path: Path, *facts: str) -> Session:
    """A call with the opening questions answered."""
    session = Session(path, default_shop(), {"customer": "Invented Corner Shop"}, invented=True)
    session.open()
    for line in facts:
        session.take(line)
    return session


def worked(session: Session, shows: Mapping[str, str], most: int = 40) -> list[str]:
    """Answer all that is asked until nothing more is, and give back what was typed."""
    typed: list[str] = []
    while len(typed) < most:
        probe, advice = session.step.probe, session.flow.advice
        if probe is None or advice is None:
            break
        waits = advice.next.waits if advice.next is not None else 0.0
        if session.step.briefing.gates:
            line = "done"
        elif waits and not (typed and typed[-1].startswith("wait")):
            line = f"wait {waits:g}"
        else:
            line = _shown(probe, shows)
        session.take(line)
        typed.append(line)
    return typed
