"""
The desk of one request: the call that is open, who asks, in which language, and what new events it makes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from humclick.diagnosis.advice import Advice
from humclick.diagnosis.shop import default_shop
from humclick.errors import HumclickError, Refused
from humclick.jobs.call import Call
from humclick.jobs.flow import Flow
from humclick.jobs.fold import fold
from humclick.jobs.judgements import Weighed
from humclick.messages import NOTHING, Message, as_data
from humclick.web.exchange import Reply, Request, events_in, plain_table
from humclick.web.language import Language, language


class FormRefused(Exception):
    """A form that cannot be taken, with the field it is about."""

    def __init__(self, field: str, message: Message) -> None:
        super().__init__(message)
        self.field = field
        self.message = message


@contextmanager
def beside(field: str) -> Iterator[None]:
    """What is refused inside is said beside a field of the form, as `FormRefused`."""
    try:
        yield
    except HumclickError as error:
        raise FormRefused(field, error.message) from None


class Desk:
    """
    One request with the call it is about.

    Ids may be given for the events of a form that was worked out before; ``after`` is the desk where the
    events of the request were taken a moment ago: its call is folded already.
    """

    def __init__(self, request: Request, ids: Sequence[str] = (), after: Desk | None = None) -> None:
        self.request = request
        self.language: Language = language(request.settings.language or request.language)
        self.id = request.call.id if request.call is not None else ""
        self.unread: list[str] = []
        #: Its `fresh` is what the reply appends.
        self.flow: Flow
        if after is not None:
            self.unread, self.flow = after.unread, after.flow.written()
        else:
            tables = request.call.events if request.call is not None else ()
            call = fold(events_in(tables, self.unread), device=request.device[:300])
            self.flow = Flow(call, default_shop(), ids=tuple(ids))
        #: Messages beside the fields of the form that was refused.
        self.errors: dict[str, Message] = {}
        self.said = ""

    def keep(self, kind: str, **values: Any) -> None:
        """Add an event to the call; refused, and nothing added, if the call cannot use it."""
        self.flow = self.flow.keep(kind, self.request.now, **values)

    # -- the call, as its flow has it -----------------------------------------------------------------------

    @property
    def call(self) -> Call:
        """The call as it stands."""
        return self.flow.call

    @property
    def advised(self) -> tuple[Weighed, Advice]:
        """What was weighed, and the advice on it; refused where nothing can be said."""
        weighed = self.flow.weighed
        if weighed is None:
            raise Refused(Message("no machine is described yet"))
        if weighed.advice is None:
            raise Refused(weighed.refusal)
        return weighed, weighed.advice

    def remedy(self, name: str) -> Message:
        """What a remedy is called; its name where the shop has none such."""
        known = self.flow.shop.remedies.get(name)
        return Message.of(name) if known is None else known.title

    # -- answers --------------------------------------------------------------------------------------------

    def path(self, *rest: str) -> str:
        """A path of this call."""
        return "/".join(("/call", self.id, *rest))

    def back(self, *otherwise: str) -> str:
        """Where a form came from, if that is a page of this call."""
        wanted = self.request.given("back")
        inside = wanted == self.path() or wanted.startswith((f"{self.path()}/", f"{self.path()}?"))
        return wanted if inside and "\\" not in wanted and ".." not in wanted else self.path(*otherwise)

    def go(self, path: str, announce: str = "") -> Reply:
        """The answer to a form that was taken: what to keep, and where to go."""
        return Reply(
            status=303,
            append=[plain_table(event) for event in self.flow.fresh],
            id=self.id,
            go=path,
            summary=self.summary() if self.flow.fresh else None,
            announce=announce,
            language=self.language.code,
        )

    def summary(self) -> Mapping[str, Any]:
        """The call's line in the list: texts as kept, state by its name, messages as data."""
        header, machine = self.call.header, self.call.machine
        advice = self.flow.weighed.advice if self.flow.weighed is not None else None
        verdict = advice.verdict if advice is not None else None
        title = header.equipment if header and header.equipment else ""
        outcome = self.flow.heading if self.flow.state.turn else verdict.sentence if verdict else NOTHING
        return {
            "id": self.id,
            "title": title,
            "equipment": as_data(machine.arrangement.title) if machine is not None else "",
            "customer": header.customer if header else "",
            "state": self.flow.state.name,
            "updated": (self.flow.events[-1].at if self.flow.events else self.request.now).isoformat(),
            "verdict": as_data(outcome),
            "complaint": str(self.call.complaint or ""),
            "invented": bool(header and header.invented),
        }
