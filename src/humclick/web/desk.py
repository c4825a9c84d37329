"""
The desk of one request: the call that is open, who asks, in which language, and what new events it makes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cached_property
from typing import Any

from humclick.diagnosis.advice import Advice
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.shop import Shop, default_shop
from humclick.errors import HumclickError, Refused
from humclick.jobs.briefing import Briefing, RemedyBriefing, briefed, briefed_on
from humclick.jobs.call import Call
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import DecisionTaken, Event, PartFitted
from humclick.jobs.fold import fold
from humclick.jobs.sheet.model import Advised, State, state_of
from humclick.jobs.standing import accepted, decided, probes_now, repaired
from humclick.web.exchange import Reply, Request, plain_table
from humclick.web.judgements import Judgements, Weighed
from humclick.web.language import Language, language

__all__ = ["Desk", "FormRefused", "beside"]

#: What was weighed for the last few pages.
_JUDGEMENTS = Judgements()


class FormRefused(Exception):
    """
    A form that cannot be taken, with the field it is about.

    Parameters
    ----------
    field : str
        Name of the field.
    message : str
        What was wrong and what would be right.
    """

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field
        self.message = message


@contextmanager
def beside(field: str) -> Iterator[None]:
    """
    What is refused inside is said beside a field of the form.

    Raises
    ------
    FormRefused
        If anything is.
    """
    try:
        yield
    except HumclickError as error:
        raise FormRefused(field, str(error)) from None


class Desk:
    """
    One request with the call it is about.

    Parameters
    ----------
    request : Request
        What is asked.

    Attributes
    ----------
    events : tuple of Event
        All events of the call, the new ones included.
    call : Call
        Their fold.
    appended : list of Event
        The new ones.
    errors : dict of str to str
        Messages beside the fields of the form that was refused.
    said : str
        What was just done, for the reader.
    ids : list of str
        Ids for the next events, where they were worked out before under these.
    """

    def __init__(self, request: Request) -> None:
        self.request = request
        self.language: Language = language(request.settings.language or request.language)
        self.shop: Shop = default_shop()
        self.id = request.call.id if request.call is not None else ""
        self.unread: list[str] = []
        self.events: tuple[Event, ...] = tuple(self._read())
        self.call: Call = fold(self.events)
        self.appended: list[Event] = []
        self.errors: dict[str, str] = {}
        self.said = ""
        self.ids: list[str] = []

    def _read(self) -> list[Event]:
        found = []
        for table in self.request.call.events if self.request.call is not None else ():
            try:
                found.append(event_from(table))
            except HumclickError as error:  # written by a later version, or damaged: kept, not used
                self.unread.append(str(error))
        return found

    def keep(self, kind: str, **given: Any) -> Event:
        """
        Add an event to the call, if the call can use it.

        Raises
        ------
        Refused
            If it cannot; nothing is added then.
        """
        if self.ids:
            given["id"] = self.ids.pop(0)
        event, call = accepted(self.events, kind, self.request.now, given, self.request.device[:300])
        self.events, self.call = (*self.events, event), call
        self.appended.append(event)
        self._forget()
        return event

    def _forget(self) -> None:
        for name in ("weighed", "repaired"):
            self.__dict__.pop(name, None)

    # -- judgement ------------------------------------------------------------------------------------------

    @cached_property
    def weighed(self) -> Weighed | None:
        """What judgement says; None while no machine is described."""
        situation = self.call.situation()
        return None if situation is None else _JUDGEMENTS.of(situation, self.shop)

    @property
    def advised(self) -> tuple[Weighed, Advice]:
        """
        What judgement says, and its advice.

        Raises
        ------
        Refused
            If nothing can be said.
        """
        weighed = self.weighed
        if weighed is None:
            raise Refused("no machine is described yet")
        if weighed.advice is None:
            raise Refused(weighed.refusal)
        return weighed, weighed.advice

    @property
    def state(self) -> State:
        """How far the call has come."""
        advice = self.weighed.advice if self.weighed is not None else None
        return state_of(self.call, None if advice is None else Advised(advice))

    @cached_property
    def repaired(self) -> bool:
        """Whether it is on record that it runs with what was fitted."""
        return repaired(self.call, self.weighed.advice if self.weighed is not None else None)

    @property
    def decided(self) -> DecisionTaken | PartFitted | None:
        """The decision or the new part after which nothing was measured yet."""
        return decided(self.events, self.call)

    def probes(self) -> dict[str, Probe]:
        """Every named probe of the machine; none while there is no machine."""
        return probes_now(self.call, self.shop)

    def probe(self, name: str) -> Probe:
        """
        One probe by name.

        Raises
        ------
        Refused
            If no machine is described yet.
        Unknown
            If it has no such probe.
        """
        if self.call.machine is None:
            raise Refused("no machine is described yet")
        return probe_of(self.call.machine, name, self.shop)

    def remedy(self, name: str) -> str:
        """What a remedy is called; its name where the shop has none such."""
        known = self.shop.remedies.get(name)
        return name if known is None else known.title

    def briefing(self, probe: Probe) -> Briefing:
        """What is said of safety before a probe, to whoever holds this device."""
        return briefed(self.events, self.call, probe, self.shop, self.request.device[:300])

    def briefing_on(self, remedies: Sequence[str]) -> RemedyBriefing:
        """What is said of safety with some remedies."""
        return briefed_on(self.events, self.call, remedies, self.shop, self.request.device[:300])

    # -- answers --------------------------------------------------------------------------------------------

    def path(self, *rest: str) -> str:
        """A path of this call."""
        return "/".join(("/call", self.id, *rest))

    def back(self, *otherwise: str) -> str:
        """Where a form came from, if that is a page of this call."""
        asked = self.request.given("back")
        own = asked == self.path() or asked.startswith((f"{self.path()}/", f"{self.path()}?"))
        return asked if own and "\\" not in asked and ".." not in asked else self.path(*otherwise)

    def go(self, path: str, announce: str = "") -> Reply:
        """The answer to a form that was taken: what to keep, and where to go."""
        return Reply(
            status=303,
            append=[plain_table(event) for event in self.appended],
            id=self.id,
            go=path,
            summary=self.summary() if self.appended else None,
            announce=announce,
            language=self.language.code,
        )

    def summary(self) -> Mapping[str, Any]:
        """The call's line in the list: texts as kept, state by its name, verdict in English."""
        header, machine = self.call.header, self.call.machine
        advice = self.weighed.advice if self.weighed is not None else None
        verdict = advice.verdict if advice is not None else None
        title = header.equipment if header and header.equipment else ""
        return {
            "id": self.id,
            "title": title,
            "equipment": machine.arrangement.title if machine is not None else "",
            "customer": header.customer if header else "",
            "state": self.state.name,
            "updated": max((event.at for event in self.events), default=self.request.now).isoformat(),
            "verdict": verdict.sentence if verdict is not None else "",
            "complaint": str(self.call.complaint or ""),
            "invented": bool(header and header.invented),
        }
