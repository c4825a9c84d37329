"""A call at an invented machine, event by event, with answers that a sound machine gives."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.probes import Probe, probes_of
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Situation
from humclick.jobs.call import Call
from humclick.jobs.events import Event
from humclick.jobs.fold import fold
from humclick.jobs.history import state_of
from humclick.jobs.standing import Onward, added, onward

#: Every machine that is judged, with each protector it comes with.
MACHINES = [
    (name, guard)
    for name in arrangements()
    if arrangement(name).started
    for guard in arrangement(name).protectors
]


def machine_of(name: str, guard: str = "") -> Machine:
    """One of them, on 115 V and 60 Hz."""
    return Machine.of(name, guard or None, Nameplate(115.0, 60.0, 15.0, None, "R134a"))


_NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
#: What a sound machine of 115 V shows; looks not named here get their first answer.
SOUND = {
    "pins.C-R": "4.7",
    "pins.C-S": "11.2",
    "pins.S-R": "15.8",
    "pins.shell": "OL",
    "shell.insulation": ">550 M",
    "leads.short": "0.2",
    "overload_protector.ohms": "0.1",
    "control.ohms": "0.2",
    "ptc.ohms": "5.1",
    "current_relay.coil": "0.3",
    "current_relay.at_rest": "OL",
    "current_relay.turned_over": "0.2",
    "start_capacitor.farads": "98 uF",
    "start_capacitor.ohms": "15k",
    "run_capacitor.farads": "15.1 uF",
    "run_capacitor.ohms": "OL",
    "earth.continuity": "0.1",
    "wiring.to_common": "0.1",
    "wiring.to_run": "0.1",
    "wiring.to_start": "0.1",
    "supply.cord": "OL",
    "condenser_fan.ohms": "48",
    "other_loads.ohms": "52",
    "supply.volts_neutral": "1 V",
    "proof.ground_current": "0.5 mA",
    "proof.touch_current": "0.1 mA",
}
#: And what it shows by quantity, where a probe is not named.
USUAL = {"resistance": "0.3", "capacitance": "15 uF", "voltage": "116 V", "current": "9 A"}


def accepted(
    events: Iterable[Event], kind: str, now: datetime, given: Mapping[str, Any], device: str = ""
) -> tuple[Event, Call]:
    """A new event of a device after some others, and the call with it."""
    return added(fold(events, device=device), kind, now, given)


class Visit:
    """
    One call as it grows.

    Parameters
    ----------
    name, guard : str
        Arrangement and protector.
    heard, gas : str
        Complaint, and refrigerant.
    """

    def __init__(self, name: str, guard: str = "", heard: str = "hum_click", gas: str = "R134a") -> None:
        self.events: list[Event] = []
        self.call: Call = fold(())
        self.does("opened", invented=True)
        self.describes(name, guard, gas)
        if heard:
            self.does("complaint", heard=heard)

    def describes(self, name: str, guard: str = "", gas: str = "R134a", **given: Any) -> Event:
        """Describe the machine."""
        plate = {"volts": 115.0, "hertz": 60.0, "locked_rotor_amps": 15.0, **given}
        return self.does("machine", arrangement=name, protector=guard, refrigerant=gas, **plate)

    def does(self, kind: str, device: str = "bench", **given: Any) -> Event:
        """Add an event."""
        event, self.call = accepted(self.events, kind, _NOW, given, device)
        self.events.append(event)
        return event

    def reads(self, probe: str, value: str = "", warmth: str = "") -> Event:
        """A reading or an answer; what a sound machine shows where nothing is said."""
        return self.does("reading", probe=probe, value=value or self.shows(probe), temperature=warmth)

    def shows(self, name: str) -> str:
        """What a sound machine shows."""
        probe = self.probes[name]
        return SOUND.get(name) or (probe.outcomes[0] if probe.outcomes else USUAL[probe.quantity])

    @property
    def probes(self) -> dict[str, Probe]:
        """Every probe of the machine."""
        return {} if self.call.machine is None else probes_of(self.call.machine)

    @property
    def situation(self) -> Situation:
        """The call as judgement sees it."""
        found = self.call.situation()
        assert found is not None
        return found

    @property
    def advice(self) -> Advice:
        """What comes next."""
        return advise(self.situation)

    def onward(self, advice: Advice) -> Onward:
        """What every face shows next."""
        return onward(self.call, advice, state_of(self.call, advice), default_shop())

    def offered(self, advice: Advice) -> list[Probe]:
        """Every probe that some face offers now."""
        values = (advice.next, *advice.alternatives)
        names = {v.probe for v in values if v is not None} | ({self.onward(advice).probe} - {""})
        return [self.probes[name] for name in names]

    def goes_on(self, shows: Mapping[str, str], most: int = 40) -> tuple[Advice, list[str]]:
        """
        Take every probe asked for until a verdict, and say which; ``skip`` leaves one out.

        Waits are kept; ohms are read cold.
        """
        taken: list[str] = []
        advice = self.advice
        while advice.next is not None and len(taken) < most:
            name = advice.next.probe
            said = shows.get(name, "")
            if advice.next.waits:
                self.does("wait", minutes=max(60.0, advice.next.waits))
            if said == "skip":
                self.does("skip", probe=name, reason="not here")
            else:
                self.reads(name, said, "cold" if self.probes[name].quantity == "resistance" else "")
            taken.append(name)
            advice = self.advice
        return advice, taken
