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
from humclick.jobs.events import Event
from humclick.jobs.fold import fold
from humclick.jobs.history import State, heading, state_of
from humclick.jobs.standing import Onward, accepted, onward, probes_now
from humclick.messages import NOTHING, Message, as_data
from humclick.web.exchange import Reply, Request, events_in, plain_table
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
    message : Message
        What was wrong and what would be right.
    """

    def __init__(self, field: str, message: Message) -> None:
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
        raise FormRefused(field, error.message) from None


class Desk:
    """
    One request with the call it is about.

    Parameters
    ----------
    request : Request
        What is asked.

    Attributes
    ----------
    device : str
        Who asks.
    events : tuple of Event
        All events of the call in order, the new ones included.
    call : Call
        Their fold.
    appended : list of Event
        The new ones.
    errors : dict of str to Message
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
        self.device = request.device[:300]
        tables = request.call.events if request.call is not None else ()
        self.events: tuple[Event, ...] = events_in(tables, self.unread)
        self.call: Call = fold(self.events, device=self.device)
        self.appended: list[Event] = []
        self.errors: dict[str, Message] = {}
        self.said = ""
        self.ids: list[str] = []

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
        event, call = accepted(self.events, kind, self.request.now, given, self.device)
        self.events, self.call = (*self.events, event), call
        self.appended.append(event)
        self._forget()
        return event

    def _forget(self) -> None:
        for name in ("weighed", "state", "onward", "before"):
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
            raise Refused(Message("no machine is described yet"))
        if weighed.advice is None:
            raise Refused(weighed.refusal)
        return weighed, weighed.advice

    @cached_property
    def state(self) -> State:
        """How far the call has come."""
        return state_of(self.call, self.weighed.advice if self.weighed is not None else None)

    @cached_property
    def onward(self) -> Onward | None:
        """What comes next; None where nothing can be said."""
        advice = self.weighed.advice if self.weighed is not None else None
        return None if advice is None else onward(self.call, advice, self.state, self.shop)

    @property
    def heading(self) -> Message:
        """How far the call has come, in one line."""
        machine = self.call.machine
        advice = self.weighed.advice if self.weighed is not None else None
        return heading(self.state, advice, self.shop, machine.arrangement.title if machine else NOTHING)

    @cached_property
    def before(self) -> Weighed | None:
        """The call as it stood when its last go at fixing it began; None where there was none."""
        turn = self.state.turn
        situation = turn.before.situation() if turn is not None else None
        weighed = None if situation is None else _JUDGEMENTS.of(situation, self.shop)
        return weighed if weighed is not None and weighed.advice is not None else None

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
            raise Refused(Message("no machine is described yet"))
        return probe_of(self.call.machine, name, self.shop)

    def remedy(self, name: str) -> Message:
        """What a remedy is called; its name where the shop has none such."""
        known = self.shop.remedies.get(name)
        return Message.of(name) if known is None else known.title

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
        """The call's line in the list: texts as kept, state by its name, messages as data."""
        header, machine = self.call.header, self.call.machine
        advice = self.weighed.advice if self.weighed is not None else None
        verdict = advice.verdict if advice is not None else None
        title = header.equipment if header and header.equipment else ""
        return {
            "id": self.id,
            "title": title,
            "equipment": as_data(machine.arrangement.title) if machine is not None else "",
            "customer": header.customer if header else "",
            "state": self.state.name,
            "updated": (self.events[-1].at if self.events else self.request.now).isoformat(),
            "verdict": as_data(self.heading if self.state.turn else verdict.sentence if verdict else NOTHING),
            "complaint": str(self.call.complaint or ""),
            "invented": bool(header and header.invented),
        }
