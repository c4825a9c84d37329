"""An invented machine at the bench: what its meter would show, and a person who types it in."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from humclick.cli.session import Session
from humclick.diagnosis.probes import Probe
from humclick.diagnosis.shop import default_shop

#: What a sound machine of 115 V shows; looks not named here get their first answer.
SOUND = {
    "pins.C-R": "4.7 cold",
    "pins.C-S": "11.2 cold",
    "pins.S-R": "15.8 cold",
    "pins.shell": "OL",
    "leads.short": "0.2",
    "supply.volts": "118 V",
    "supply.volts_start": "112 V",
    "feed.volts": "118",
    "overload_protector.ohms": "0.3 cold",
    "control.ohms": "0.2",
    "ptc.ohms": "5.1 cold",
    "current_relay.coil": "0.3",
    "current_relay.at_rest": "OL",
    "current_relay.turned_over": "0.2",
    "start_capacitor.farads": "98 uF",
    "start_capacitor.ohms": "15k",
    "run_capacitor.farads": "15.1 uF",
    "run_capacitor.ohms": "OL",
    "earth.continuity": "0.1",
    "shell.insulation": "800M",
    "proof.ground_current": "0.3 mA",
    "attempt.as_found": "hums, then clicks off",
    "attempt.known_good": "runs",
}


def _shown(probe: Probe, shows: Mapping[str, str]) -> str:
    """What a probe shows on this machine."""
    if probe.repairs:
        return shows.get(probe.id, "runs")
    return {**SOUND, **shows}.get(probe.id, probe.outcomes[0] if probe.outcomes else "?")


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
        probe, advice = session.asked, session.advice
        if probe is None or advice is None:
            break
        waits = advice.next.waits if advice.next is not None else 0.0
        if session.briefing().gates:
            line = "done"
        elif waits and not (typed and typed[-1].startswith("wait")):
            line = f"wait {waits:g}"
        else:
            line = _shown(probe, shows)
        session.take(line)
        typed.append(line)
    return typed
