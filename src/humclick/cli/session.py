"""
A call at the bench: what is typed, line by line, and what is said to it.

Nothing here reads the keyboard or writes to the screen: `Session.take` is given what was typed and returns
what to show. Each accepted line is an event that is on the disk before anything is shown. What a line does
stands in `humclick.cli.answers`, what is shown in `humclick.cli.screen`, what comes next in
`humclick.jobs.flow`.
"""

from __future__ import annotations

import os
import shlex
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from humclick.cli import layout, screen, words
from humclick.cli.answers import taken
from humclick.cli.device import terminal
from humclick.cli.language import reason, say
from humclick.cli.opening import questions_for
from humclick.diagnosis.probes import Probe, probe_of
from humclick.errors import HumclickError, Refused
from humclick.jobs.call_file import CallFile, append_all, load_call
from humclick.jobs.flow import Flow, Step, step
from humclick.jobs.fold import fold
from humclick.messages import Message, Verbatim

if TYPE_CHECKING:
    from humclick.diagnosis.shop import Shop
    from humclick.diagnosis.situation import Situation
    from humclick.jobs.call import Call
    from humclick.jobs.events import Event


class Session:
    """One call file, begun if it is not there, and the person at it."""

    def __init__(
        self, path: Path, shop: Shop, opened: Mapping[str, str] | None = None, *, invented: bool = False
    ) -> None:
        self.path = path
        self.opened: dict[str, str | bool] = {**(opened or {}), "invented": invented}
        self.flow = Flow(fold((), device=terminal()), shop)
        self.over = False
        #: Opening questions still to be asked.
        self.questions: list[str] = []
        #: Probes asked for one after the other.
        self.queue: list[str] = []
        #: The probe asked for by name; empty where it is the one advised.
        self.chosen = ""
        self.screen = screen.Screen()
        self._file: CallFile | None = None
        self._step: tuple[object, Step] | None = None

    # -- the file -------------------------------------------------------------------------------------------

    def open(self) -> str:
        """Begin or resume, and what to say first."""
        if not os.path.lexists(self.path):
            self.keep("opened", **self.opened)
            pieces = [
                say(Message("New call, kept in {path}", path=Verbatim(self.path))),
                say(Message("Each line is written to it at once.")),
            ]
        else:
            self._read(load_call(self.path))
            held = words.events_in_words(len(self.flow.events))
            resumed = Message("Call resumed from {path}: {events}.", path=Verbatim(self.path), events=held)
            pieces = [say(resumed)]
            if self._file is not None and self._file.torn:
                torn = Message(
                    "Something was being written when it stopped; what is left of it stays in the file."
                )
                pieces.append(f"! {say(torn)}")
            if self.call.machine is not None:
                pieces.append(words.machine_in_words(self.call.machine))
            if self.call.problems:
                pieces.append(words.problems_in_words(self.call.problems))
        pieces.append(say(Message("Type help at any time, quit to leave.")))
        self.questions = questions_for(self.flow.events, self.call)
        return "\n".join((*pieces, screen.opened(self)))

    def _read(self, file: CallFile) -> None:
        self._file = file
        self.flow = Flow(fold(file.events, device=self.flow.device), self.flow.shop)

    def now(self) -> datetime:
        """What this device's clock says."""
        return datetime.now().astimezone()

    def keep(self, kind: str, **values: Any) -> Event:
        """Write an event to the file; refused, and nothing written, if the call cannot use it."""
        return self.record(self.flow.keep(kind, self.now(), **values))[-1]

    def record(self, after: Flow) -> tuple[Event, ...]:
        """Write what is new to the file, all of it or none, and go on from there; the new events."""
        done = append_all(self.path, after.fresh, self._file)
        if self._file is not None and done.before is self._file.events:
            self._file, self.flow = done.after, after.written()
        else:  # somebody else wrote too
            self._read(done.after)
        self.queue = [name for name in self.queue if self.flow.has(name)]  # on the machine as it is now
        self.chosen = self.chosen if self.chosen and self.flow.has(self.chosen) else ""
        return after.fresh

    # -- where the call stands ------------------------------------------------------------------------------

    @property
    def call(self) -> Call:
        """The call as it stands."""
        return self.flow.call

    @property
    def situation(self) -> Situation:
        """The call as judgement sees it; refused while no machine is described."""
        if self.call.machine is None:
            raise Refused(screen.NO_MACHINE)
        return self.flow.situation

    def probe(self, name: str) -> Probe:
        """One probe by name; refused while no machine is described, or if it has no such probe."""
        return probe_of(self.situation.machine, name, self.flow.shop)

    @property
    def step(self) -> Step:
        """What to do now."""
        onward = self.flow.onward
        due = onward.probe if onward is not None and onward.kind in ("prove", "repaired") else ""
        chosen = next((name for name in (*self.queue[:1], self.chosen, due) if name), "")
        key = self.flow, chosen, self.screen.read
        if self._step is None or self._step[0] != key:
            read = self.screen.read
            self._step = key, step(self.flow, chosen, at_once=True, on_screen=read)
        return self._step[1]

    def choose(self, name: str) -> None:
        """Ask for a probe by name instead of the one advised."""
        self.chosen = self.probe(name).id
        first = self.flow.briefing(self.probe(name)).first
        if first:  # that comes before it
            self.queue = [first, *(probe for probe in self.queue if probe != first)]

    def answered(self, question: str) -> None:
        """An opening question is not asked any more."""
        self.questions = [name for name in self.questions if name != question]

    def release(self, name: str) -> None:
        """A probe is done with or skipped: no longer asked for."""
        self.queue = [probe for probe in self.queue if probe != name]
        self.chosen = "" if self.chosen == name else self.chosen

    # -- what is typed, and what is shown -------------------------------------------------------------------

    def take(self, typed: str) -> str:
        """
        Understand what was typed, of one line or several, and say what there is to say.

        What is refused is answered with the right form; nothing kept so far is touched.
        """
        pieces = []
        self.screen.confirmed = False
        for line in typed.splitlines() or [""]:
            if self.over:
                break
            try:
                pieces.append(taken(self, line.strip()))
            except HumclickError as error:
                pieces.append(layout.lines(reason(error), "? "))
        text = [piece for piece in pieces if piece]
        if not self.over:
            text.append(screen.shown_next(self, bool(typed.strip())))
        return "\n".join(text)

    @property
    def farewell(self) -> str:
        """What is said on leaving."""
        sentence = say(Message("Everything is kept. To go on:"))
        return f"{sentence}\n  humclick call {shlex.quote(str(self.path))}"
