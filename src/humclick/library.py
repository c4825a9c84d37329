"""
The face of the library: a call in Python, from the machine to the sheet.

``import humclick as hc`` gives these names. A `Call` never changes: every step gives a new one, so that
earlier ones can be kept and asked again. Plain values go in, as a person would type them; what cannot be
meant is refused with what would be right.
"""

from __future__ import annotations

import numbers
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeGuard

from humclick.arrangements.arrangement import arrangement as arrangement_called
from humclick.arrangements.machine import UNREAD, Machine, Nameplate
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.findings import Finding, findings
from humclick.diagnosis.probes import probe_of, probes_of
from humclick.diagnosis.reasons import Explanation, WhatIf, explain, leader_of, what_if
from humclick.diagnosis.shop import Shop, default_shop, shop_from_file
from humclick.errors import Refused, because
from humclick.jobs.call_file import read_call, write_call
from humclick.jobs.doubt import Doubt
from humclick.jobs.entry import answer_to
from humclick.jobs.events import Event
from humclick.jobs.flow import Flow
from humclick.jobs.fold import fold
from humclick.jobs.taking import arrangement_named, corrected, take
from humclick.messages import Message, Verbatim
from humclick.readings.shown import percent
from humclick.safety import chosen_place

if TYPE_CHECKING:
    from humclick.jobs.call import Call as Folded
    from humclick.recordings.evidence import Evidence
    from humclick.start.answers import Answers

__all__ = ["Call", "machine", "open_call", "read_recording", "shop", "try_start"]

_UNITS = {"resistance": "ohm", "voltage": "V", "current": "A"}


def machine(
    arrangement: str,
    *,
    protector: str = "",
    volts: float | None = None,
    hertz: float = 60.0,
    lra: float | None = None,
    rla: float | None = None,
    refrigerant: str = "",
    hp: float | None = None,
    cooling: float | None = None,
    appliance: str = "",
    also: Sequence[str] = (),
) -> Machine:
    """
    Describe a machine; `Unknown` or `OutOfRange` says what of it cannot be, and what would be right.

    Parameters
    ----------
    arrangement : str
        Name of its start arrangement, such as ``rsir-ptc``.
    protector : str
        ``external``, ``integrated`` or ``internal``; the arrangement's usual one if left out.
    volts, hertz : float
        Of the plate; without volts, those usual for its kind. [V] [Hz]
    lra, rla : float, optional
        Locked-rotor and running amps of the plate. [A]
    refrigerant : str
        As printed.
    hp, cooling : float, optional
        The trade's size, and the cooling capacity. [hp] [W]
    appliance : str
        What stands there, such as ``refrigerator`` or ``room-unit``: it says how strong the machine may be.
    also : sequence of str
        Other arrangements it may have, where nobody is sure: each is weighed.

    Examples
    --------
    >>> machine("rsir-ptc", refrigerant="R134a")
    <rsir-ptc, external protector, 115 V 60 Hz, R134a>
    """
    plate = Nameplate(
        UNREAD if volts is None else volts, hertz, lra, rla, refrigerant, hp, cooling, appliance
    )
    described = Machine.of(arrangement, protector or None, plate)
    described.parts  # noqa: B018  refuses a protector the arrangement does not come with
    others = [arrangement_called(name).id for name in also]
    return replace(described, also=tuple(name for name in dict.fromkeys(others) if name != arrangement))


def shop(path: str | os.PathLike[str]) -> Shop:
    """A shop's own prices, times and odds, from its file."""
    from pathlib import Path

    return shop_from_file(Path(path))


@dataclass(frozen=True)
class Call:  # the face of `humclick.jobs.call.Call`, and called so on purpose
    """
    A call: what is known, and what to do next.

    Parameters
    ----------
    machine : Machine
        From `machine`.
    heard : str
        What happens when it should start: ``silent``, ``hum``, ``hum_click``, ``starts_then_trips``,
        ``breaker``, ``runs`` or ``unknown``.
    words : str
        The complaint as told.
    meter : str
        Class of meter in use; the usual one if left out.
    leads : str or float, optional
        ``"nulled"``, or what the meter shows with the tips together. [Ω]
    place : str
        Whose safety rules hold: ``us``, ``eu`` or ``mx``.
    shop : Shop, optional
        From `shop`; the program's own figures if left out.

    Raises
    ------
    Refused, Unknown, OutOfRange
        If a value cannot be meant; the message says what would be right.

    Examples
    --------
    >>> call = Call(machine("rsir-ptc", refrigerant="R134a"), heard="hum_click")
    >>> call.seen("ptc.shake", "rattles").seen("ptc.ohms", "OL", temperature="cold").advice.verdict.remedies
    ('replace starter',)
    """

    machine: Machine
    heard: str = "unknown"
    words: str = ""
    meter: str = ""
    leads: str | float | None = None
    place: str = ""
    shop: Shop = field(default_factory=default_shop, repr=False)
    events: tuple[Event, ...] = field(default=(), repr=False)

    def __post_init__(self) -> None:
        if not isinstance(self.machine, Machine):
            raise Refused(
                Message(
                    "machine: describe it first, as machine('rsir-ptc'); got {machine}",
                    machine=f"{self.machine!r:.60}",
                )
            )
        if self.events:
            return
        plate = self.machine.nameplate
        steps: list[tuple[str, dict[str, Any]]] = [
            ("opened", {"place": chosen_place(_text(self.place, "place"))}),
            (
                "machine",
                {
                    "arrangement": self.machine.arrangement.id,
                    "protector": self.machine.protector,
                    "volts": plate.volts,
                    "hertz": plate.hertz,
                    "locked_rotor_amps": plate.locked_rotor_amps,
                    "rated_load_amps": plate.rated_load_amps,
                    "horsepower": plate.horsepower,
                    "cooling": plate.cooling,
                    "appliance": plate.appliance,
                    "refrigerant": plate.refrigerant,
                    "provisional": bool(self.machine.also),
                    "also_fits": list(self.machine.also),
                },
            ),
            ("meter", {"name": self.meter, **_leads(self.leads)}),
            ("complaint", {"heard": str(self.heard), "words": self.words}),
        ]
        flow = Flow(fold((), device=""), self.shop)
        for kind, values in steps:
            flow = flow.keep(kind, datetime.now().astimezone(), **values)
        object.__setattr__(self, "events", flow.events)
        self.__dict__["_flow"] = flow

    # -- what is done -----------------------------------------------------------------------------------

    @cached_property
    def _flow(self) -> Flow:
        """The call and what follows from it, as `humclick.jobs.flow` has it."""
        return Flow(fold(self.events, device=""), self.shop)

    def _after(self, flow: Flow) -> Call:
        call = replace(self, events=flow.events, machine=flow.call.machine or self.machine)
        call.__dict__["_flow"] = flow
        return call

    def _with(self, kind: str, **values: Any) -> Call:
        return self._after(self._flow.keep(kind, datetime.now().astimezone(), **values))

    def seen(self, probe: str, value: str | float, *, temperature: str | float = "", note: str = "") -> Call:
        """
        What a probe showed.

        Parameters
        ----------
        probe : str
            Such as ``ptc.ohms``; `probes` lists them.
        value : str or float
            What the display shows, such as ``"OL"`` or ``"4k7"``, or the answer of a look; a number is taken
            in ohms, volts or amperes.
        temperature : str or float
            Of the part: ``"cold"``, ``"hot"`` or degrees Celsius. [°C]
        note : str
            Anything else.

        Raises
        ------
        ReadingRefused, Unknown, Refused
            If it is of another quantity, no answer of that probe, or no value at all.
        """
        known = probe_of(self.machine, _text(probe, "probe"), self.shop)
        if _is_number(value):
            if known.quantity not in _UNITS:
                right = Message("one of its answers")
                if known.quantity:
                    right = Message('the figure with its unit, such as "14.84 uF"')
                raise Refused(
                    Message(
                        "{probe}: write {right}, got {value}", probe=probe, right=right, value=repr(value)
                    )
                )
            value = f"{float(value):g} {_UNITS[known.quantity]}"
        if _is_number(temperature):
            temperature = f"{float(temperature):g} C"
        answer = answer_to(known, _text(value, "value"), _text(temperature, "temperature"))
        now = datetime.now().astimezone()
        return self._after(take(self._flow, now, known, answer.value, answer=answer, already=True, note=note))

    def settled(self, arrangement: str) -> Call:
        """The start arrangement is this one; `Unknown` if there is none of that name."""
        name = arrangement_called(_text(arrangement, "arrangement")).id
        return self._after(arrangement_named(self._flow, datetime.now().astimezone(), name))

    def corrected(self, way: str = "") -> Call:
        """
        The doubted reading put right in a way of `doubt`: the first, or by its name.

        `Refused` if no reading is in doubt, `Unknown` if there is no such way.
        """
        return self._after(corrected(self._flow, datetime.now().astimezone(), way))

    def passed(self, gate: str, words: str = "") -> Call:
        """A safety step was passed; `Unknown` if there is no such gate."""
        from humclick.safety import gate as gate_of

        return self._with("gate", gate=gate_of(_text(gate, "gate")).name, words=words)

    def waited(self, minutes: float) -> Call:
        """It was left alone for some minutes. [min]"""
        return self._with("wait", minutes=minutes)

    def fitted(self, part: str, note: str = "") -> Call:
        """A new part was installed; ``compressor`` for all that is sealed."""
        return self._with("fitted", part=_text(part, "part"), note=note)

    def stamped(self, part: str, text: str) -> Call:
        """What is marked on a part, such as ``88-108 MFD 125 VAC``."""
        return self._with("stamp", part=_text(part, "part"), text=_text(text, "text"))

    def skipped(self, probe: str, reason: str = "") -> Call:
        """A probe cannot be done here."""
        return self._with("skip", probe=probe_of(self.machine, _text(probe, "probe")).id, reason=reason)

    def decided(self, *remedies: str) -> Call:
        """What is to be done; `Unknown` if there is no such remedy."""
        return self._with("decision", remedies=[self.shop.remedy(remedy).name for remedy in remedies])

    def stopped(self, hazard: str, words: str = "") -> Call:
        """A hazard was found: the work stops until it is answered."""
        return self._with("hazard", hazard=_text(hazard, "hazard"), words=words)

    def cleared(self, how: str) -> Call:
        """
        The first hazard that is open was cleared, and how.

        Refused if nothing stops this call, or its safety step was not passed again first.
        """
        if not self.folded.stoppages:
            raise Refused(Message("nothing stops this call"))
        return self._with("cleared", of=self.folded.stoppages[0].event, words=_text(how, "how"))

    # -- what follows -----------------------------------------------------------------------------------

    @property
    def folded(self) -> Folded:
        """All that is known, as `humclick.jobs.call.Call` has it."""
        return self._flow.call

    @cached_property
    def advice(self) -> Advice:
        """
        What to do next: a probe, a wait, a verdict or a stop, with the suspects.

        Refused if the machine is one that is only recognised.
        """
        return advise(self._situation, shop=self.shop)

    @property
    def _situation(self) -> Any:
        return self.folded.situation()

    @property
    def probes(self) -> Mapping[str, str]:
        """Every probe of the machine and what it is."""
        return {name: probe.title for name, probe in probes_of(self.machine, self.shop).items()}

    @property
    def findings(self) -> Sequence[Finding]:
        """What each reading means, in order."""
        return findings(self._situation, self.shop)

    @property
    def doubt(self) -> Doubt | None:
        """
        The last reading with what puts it right, where it may have been taken or written down wrong.

        Examples
        --------
        >>> call = Call(machine("rsir-ptc")).seen("pins.C-R", "4.2k", temperature="cold")
        >>> call.doubt.fixes[0].question, call.corrected().findings[0].says
        ('Did you mean 4.2 Ω?', <Says.GOOD: 'good'>)
        """
        return self._flow.doubt

    @property
    def why(self) -> Explanation:
        """Why it looks so: each reading's weight for the leading decision."""
        return explain(self._situation, self.shop, leader=leader_of(self.advice))

    def what_if(self, probe: str) -> Sequence[WhatIf]:
        """What each outcome of a probe would change."""
        return what_if(
            self._situation, probe_of(self.machine, _text(probe, "probe"), self.shop).id, self.shop
        )

    def sheet(self, path: str | os.PathLike[str] | None = None) -> str:
        """
        The job sheet as one HTML file; written too, as HTML or PDF by its ending, where a path is given.

        Refused if the file cannot be written, or PDF is asked for where no typesetter is installed.
        """
        from pathlib import Path

        from humclick.jobs.on_disk import write_whole
        from humclick.jobs.sheet.render import sheet_html

        html = sheet_html(self.folded, self.shop)
        if path is None:
            return html
        target = Path(path)
        if target.suffix.casefold() == ".pdf":
            from humclick.jobs.sheet.pdf import sheet_pdf

            data = sheet_pdf(self.folded, self.shop)
        else:
            data = html.encode()
        try:
            write_whole(target, data)
        except OSError as error:
            raise Refused(
                Message("{target}: cannot be written ({why})", target=Verbatim(target), why=because(error))
            ) from None
        return html

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write the call file; `CallFileError` if it cannot be written."""
        write_call(path, self.events)

    def __repr__(self) -> str:
        taken = len(self.folded.readings)
        return f"<Call: {self.machine!r:.60}, {self.heard}, {taken} reading{'' if taken == 1 else 's'}>"

    def _repr_html_(self) -> str:
        from html import escape

        rows = "".join(
            f"<tr><td>{escape(percent(suspect.probability))}</td><td>{escape(suspect.label)}</td></tr>"
            for suspect in self.advice.suspects[:5]
        )
        return f"<p><b>{escape(repr(self.advice))}</b></p><table>{rows}</table>"


def open_call(path: str | os.PathLike[str], shop: Shop | None = None) -> Call:
    """A call from its file; refused if it cannot be read or no machine is described in it."""
    events = read_call(path)
    folded = fold(events)
    if folded.machine is None:
        raise Refused(Message("{file}: no machine is described in this call", file=Verbatim(os.fspath(path))))
    heard = "unknown" if folded.complaint is None else str(folded.complaint)
    return Call(folded.machine, heard, folded.words, shop=shop or default_shop(), events=folded.events)


def try_start(of: Call | Machine, **wanted: Any) -> Answers:
    """
    Whether it starts, how fast, with how many amps, down to which volts; each with its range.

    Parameters
    ----------
    of : Call or Machine
        Windings and capacitors are taken as measured on a call.
    wanted : fields of `humclick.start.conditions.StartConditions`
        ``volts`` [V], ``difference`` [-], ``ambient`` [°C], ``hot``, ``supply_ohms`` [Ω], ``start_farads``,
        ``run_farads`` [F]; and ``modes``, a mapping of part to mode.

    Raises
    ------
    Refused
        If the numeric extras are not installed, or the machine is never started from here.
    """
    try:
        from humclick.jobs.at_hand import of_call
        from humclick.start.answers import answers
        from humclick.start.at_hand import at_hand
        from humclick.start.conditions import StartConditions
        from humclick.start.estimate import estimate
    except ImportError as error:
        raise Refused(
            Message(
                "starts need the numeric extras: pip install 'humclick[start]' ({name})", name=str(error.name)
            )
        ) from None
    subject = of.machine if isinstance(of, Call) else of
    modes = wanted.pop("modes", {})
    known = of_call(of.folded) if isinstance(of, Call) else at_hand(subject)
    conditions = StartConditions(**{"volts": subject.nameplate.volts, **wanted})
    return answers(subject, estimate(known), conditions, modes=modes)


def read_recording(path: str | os.PathLike[str], of: Call | Machine | None = None) -> Evidence:
    """What a recording of a start shows: a clamp's log (CSV), or a WAV file of a clamp or of the sound."""
    from pathlib import Path

    from humclick.jobs.recorded import plate_of
    from humclick.recordings import logs
    from humclick.recordings.evidence import evidence_of

    subject = of.machine if isinstance(of, Call) else of
    hertz = None if subject is None else subject.nameplate.hertz
    return evidence_of(logs.recording_from_file(Path(path)), plate_of(subject), hertz=hertz)


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, numbers.Real) and not isinstance(value, bool)


def _text(value: object, name: str) -> str:
    if not isinstance(value, str):
        raise Refused(
            Message(
                "{name} must be text, as a person would type it; got {type}",
                name=name,
                type=type(value).__name__,
            )
        )
    return value


def _leads(leads: str | float | None) -> dict[str, Any]:
    if leads is None:
        return {}
    if leads == "nulled":
        return {"leads_nulled": True}
    if _is_number(leads):
        return {"lead_ohms": float(leads)}
    raise Refused(
        Message(
            'leads must be "nulled" or the ohms shown with the tips together, got {leads}',
            leads=f"{leads!r:.40}",
        )
    )
