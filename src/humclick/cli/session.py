"""
A call at the bench: what is typed, line by line, and what is said to it.

Nothing here reads the keyboard or writes to the screen: `Session.take` is given what was typed and returns
what to show. Each accepted line is an event that is on the disk before anything is shown.
"""

from __future__ import annotations

import os
import shlex
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from humclick.cli import words
from humclick.cli.device import terminal
from humclick.cli.pins import finding_in_words
from humclick.cli.stopping import barred_in_words, stop_in_words
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import findings
from humclick.diagnosis.probes import Probe, probe_of
from humclick.errors import HumclickError, Refused, Unknown
from humclick.jobs.briefing import Briefing, briefed, on_machine
from humclick.jobs.call_file import append_event, load_call
from humclick.jobs.entry import LONGEST, answer_to, how_to_answer, looks_like_probe, probe_named
from humclick.jobs.events import Event
from humclick.jobs.fold import fold, merge
from humclick.jobs.history import State, heading, state_of
from humclick.jobs.standing import (
    UNNAMED_PINS,
    Onward,
    accepted,
    live,
    onward,
    pins_found,
    probes_now,
)

if TYPE_CHECKING:
    from humclick.diagnosis.shop import Shop
    from humclick.diagnosis.situation import Situation
    from humclick.jobs.call import Call

__all__ = ["Session"]


class Session:
    """
    One call file and the person at it.

    Parameters
    ----------
    path : Path
        The call file; begun if it is not there.
    shop : Shop
        Figures of the shop.
    opened : mapping
        Shop, customer and equipment for a call that is begun.
    invented : bool
        Whether a call that is begun is practice.

    Attributes
    ----------
    device : str
        Under what name this terminal writes.
    over : bool
        Whether the person has left.
    questions : list of str
        Names of the opening questions still to be asked.
    queue : list of str
        Probes asked for one after the other.
    """

    def __init__(
        self, path: Path, shop: Shop, opened: Mapping[str, str] | None = None, *, invented: bool = False
    ) -> None:
        self.path = path
        self.shop = shop
        self.device = terminal()
        self.opened: dict[str, str | bool] = {**(opened or {}), "invented": invented}
        self.events: tuple[Event, ...] = ()
        self.call: Call = fold(())
        self.over = False
        self.questions: list[str] = []
        self.queue: list[str] = []
        self._chosen = ""
        self._advice: Advice | None = None
        self._weighed: Situation | None = None
        self._refusal = ""
        self._judged = False
        self._told: frozenset[str] = frozenset()
        self._shown = ""
        self._bars_told: frozenset[str] = frozenset()
        self._confirmed = False
        self._read_here: frozenset[str] = frozenset()
        self._texts: frozenset[str] = frozenset()  # in full on the last view

    # -- the file -------------------------------------------------------------------------------------------

    def open(self) -> str:
        """
        Begin or resume, and what to say first.

        Raises
        ------
        CallFileError
            If the file cannot be read or written.
        """
        from humclick.cli.opening import questions_for

        if not os.path.lexists(self.path):
            self.keep("opened", **self.opened)
            said = [f"New call, kept in {self.path}", "Each line is written to it at once."]
        else:
            read = load_call(self.path)
            self._read(read.events)
            said = [f"Call resumed from {self.path}: {words.counted(len(self.events), 'event')}."]
            if read.torn:
                said.append(
                    "! Something was being written when it stopped; what is left of it stays in the file."
                )
            if self.call.machine is not None:
                said.append(words.machine_in_words(self.call.machine))
            if self.call.problems:
                said.append(words.problems_in_words(self.call.problems))
        said.append("Type help at any time, quit to leave.")
        self.questions = questions_for(self.events, self.call)
        self._shown = self.view()
        return "\n".join((*said, self._shown))

    def _read(self, events: tuple[Event, ...]) -> None:
        self.events, self.call = merge(events), fold(events, device=self.device)
        self._judged = False

    def keep(self, kind: str, **given: Any) -> Event:
        """
        Write an event to the file, if the call can use it.

        Raises
        ------
        Refused
            If the call cannot use it; nothing is written then.
        CallFileError
            If it cannot be written.
        """
        event, _ = accepted(self.events, kind, datetime.now().astimezone(), given, self.device)
        append_event(self.path, event)
        self._read(load_call(self.path).events)
        return event

    def live(self) -> list[Event]:
        """Events in force, in order."""
        return live(self.events, self.call)

    # -- judgement ------------------------------------------------------------------------------------------

    @property
    def situation(self) -> Situation:
        """
        The call as judgement sees it.

        Raises
        ------
        Refused
            If no machine is described yet.
        """
        found = self.call.situation()
        if found is None:
            raise Refused("no machine is described yet; type arrangement and its name (list arrangements)")
        return found

    @property
    def advice(self) -> Advice | None:
        """What to do next; None where nothing can be said (no machine, or one only recognised)."""
        if self._judged:
            return self._advice
        self._judged = True
        situation = self.call.situation()
        if situation is None or situation != self._weighed:
            self._weighed, self._advice, self._refusal = situation, None, ""
            try:
                self._advice = advise(self.situation, shop=self.shop)
            except HumclickError as error:
                self._refusal = str(error)
        return self._advice

    @property
    def state(self) -> State:
        """How far the call has come."""
        return state_of(self.call, self.advice)

    @property
    def step(self) -> Onward | None:
        """What comes next; None where nothing can be said."""
        return None if self.advice is None else onward(self.call, self.advice, self.state, self.shop)

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
        return probe_of(self.situation.machine, name, self.shop)

    @property
    def asked(self) -> Probe | None:
        """The probe a bare reading belongs to."""
        if self.call.machine is None:
            return None
        for name in (*self.queue[:1], self._chosen):
            if name:
                return self.probe(name)
        step = self.step
        asks = step is not None and step.kind in ("probe", "wait", "prove", "repaired") and bool(step.probe)
        return self.probe(step.probe) if step is not None and asks else None

    def choose(self, name: str) -> None:
        """
        Ask for a probe by name instead of the one advised.

        Raises
        ------
        Refused, Unknown
            As `probe`.
        """
        probe = self.probe(name)
        self._chosen = probe.id
        first = self.briefing().first
        if first:  # that comes before it
            self.queue = [first, *(each for each in self.queue if each != first)]

    def release(self, name: str) -> None:
        """A probe is done with or skipped: no longer asked for."""
        self.queue = [each for each in self.queue if each != name]
        self._chosen = "" if self._chosen == name else self._chosen

    def briefing(self) -> Briefing:
        """What is said of safety before the probe asked for."""
        probe = self.asked
        if probe is None:
            return Briefing()
        return briefed(self.events, self.call, probe, self.shop, self.device, self._read_here)

    def confirm(self, words_: str) -> tuple[str, ...]:
        """Write down that every gate before the probe asked for is passed; their titles come back."""
        shown = self.briefing().gates
        for each in shown:
            self.keep("gate", gate=each.gate.name, words=words_, matter=each.gate.matter)
        self._confirmed = bool(shown)
        return tuple(each.gate.title for each in shown)

    # -- what is typed --------------------------------------------------------------------------------------

    @property
    def prompt(self) -> str:
        """What stands before the cursor."""
        if self.call.stopped:
            return "stopped> "
        if self.questions:
            return f"{self.questions[0]}> "
        briefing = self.briefing()
        if briefing.gates:
            return "done or cannot> "
        probe = self.asked
        return f"{probe.id}> " if probe is not None else "> "

    def take(self, typed: str) -> str:
        """
        Understand what was typed, of one line or several, and say what there is to say.

        What is refused is answered with the right form; nothing kept so far is touched.
        """
        said = []
        self._confirmed = False
        for line in typed.splitlines() or [""]:
            if self.over:
                break
            try:
                said.append(self._line(line.strip()))
            except HumclickError as error:
                said.append(words.lines(f"{error}", "? "))
        shown = [each for each in said if each]
        if not self.over:
            read, view = self._texts, self.view()
            again = view == self._shown and bool(typed.strip())
            if view != self._shown:  # what was shown in full above need not be again
                self._read_here |= read
                view = self.view()
            probe = self.asked if self._confirmed else None
            if probe is not None and not self.briefing().gates:  # what it is stands on the screen above
                shown.append(words.lines(how_to_answer(probe), "  "))
            else:
                shown.append(f"\n{self._brief()}" if again else view)
            self._shown = view
            if self.advice is not None and not self.questions:
                self._bars_told = frozenset(bar.name for bar in self.advice.bars)
        return "\n".join(shown)

    def _line(self, line: str) -> str:
        from humclick.cli.opening import answer_question
        from humclick.cli.orders import order_in

        if len(line) > LONGEST:
            raise Refused(f"a line may have {LONGEST} letters; a long text goes in several notes")
        order = order_in(line)
        if order is not None:
            return order(self)
        first, _, rest = line.partition(" ")
        name = self._named(first)
        if name is not None:
            if rest.strip():
                return self.read(name, rest.strip())
            self.choose(name)
            return ""
        if self.questions:
            return answer_question(self, line)
        if not line:
            return ""
        probe = self.asked
        if probe is None:
            if looks_like_probe(first):
                raise Unknown("probe", first[:60], self.probes())
            raise Refused("no probe is asked for now; write its name before the reading, or type help")
        briefing = self.briefing()
        if briefing.barred:
            raise Refused(
                f"not now: {'; '.join(briefing.held_back)}. For a"
                f" reading that was taken already, write the probe's name before it: {probe.id} {line[:40]}"
            )
        if briefing.gates:
            right = f"done {line[:40]}" if briefing.dead else "done when all are"
            raise Refused(
                f"first the safety steps above: type {right}, or cannot. For a reading that was taken"
                f" already, write the probe's name before it: {probe.id} {line[:40]}"
            )
        try:
            return self.read(probe.id, line)
        except HumclickError:
            if looks_like_probe(first):
                raise Unknown("probe", first[:60], self.probes()) from None
            raise

    def _named(self, word: str) -> str | None:
        if not word or self.call.machine is None:
            return None
        found = probe_named(word, self.probes())
        if found is None and word.startswith("between."):
            return self.probe(word).id
        return found

    def read(self, name: str, text: str) -> str:
        """
        Keep a reading or an answer, and what it means in a sentence.

        Raises
        ------
        HumclickError
            If it cannot be understood.
        """
        value, warmth = answer_to(self.probe(name), text)
        event = self.keep("reading", probe=name, value=value, temperature=warmth)
        self.release(name)
        said = [words.lines(f"{name} {value}: kept.")]
        kept = next((r for r in self.call.readings if r.event == event.id), None)
        missing = (*kept.unproved, *kept.against) if kept is not None else ()
        if missing:
            said.append(
                words.lines(f"taken without a record of {', '.join(missing)}; it is marked so.", "  ! ")
            )
        if self.advice is None:
            return "\n".join(said)
        for finding in findings(self.situation, self.shop):
            if finding.id == event.id:
                said = [words.lines(finding.text, "! " if finding.warns else "  "), *said[1:]]
        said += self._new_contradictions()
        if name in UNNAMED_PINS and name not in self.queue and (pins := pins_found(self.call, self.shop)):
            said.append(finding_in_words(pins))
        return "\n".join(said)

    def _new_contradictions(self) -> list[str]:
        found = contradictions(self.situation, self.shop)
        new = [words.lines(text, "!! ") for text in found if text not in self._told]
        self._told = frozenset(found)
        return new

    # -- what is shown --------------------------------------------------------------------------------------

    def view(self) -> str:
        """Where the call stands: suspects and the next step, or the question to be answered."""
        from humclick.cli.ending import onward_in_words, verdict_shown
        from humclick.cli.opening import question_in_words

        self._texts = frozenset()
        if self.call.stopped:
            return "\n".join(("", stop_in_words(self.call.stopped)))
        if self.questions:
            return question_in_words(self)
        advice, step = self.advice, self.step
        if advice is None or step is None:
            hazards = [words.lines(f"{each.title}. {each.plain}", "! ") for each in on_machine(self.call)]
            return "\n".join(("", words.lines(self._refusal), *hazards))
        state, probe = self.state, self.asked
        shown = [
            "",
            *words.bars_in_words(advice.bars, self._bars_told),
            *([f"{words.LEFT}:"] if state.done else []),
        ]
        shown += [words.suspects_in_words(advice.suspects, advice.none_of_these, advice.beyond), ""]
        if step.kind in ("work", "prove", "repaired"):
            said = heading(state, advice, self.shop)
            if probe is None:
                return "\n".join((*shown, onward_in_words(self.call, step, said, self.shop)))
            shown.append(words.lines(f"{said}."))
        if probe is None:
            return "\n".join((*shown, verdict_shown(self)))
        if advice.next is not None and advice.next.probe == probe.id:
            shown.append(words.next_in_words(advice.next, advice.guards))
        else:
            shown.append(words.probe_in_words(probe))
        shown.append(self._before(probe))
        return "\n".join(shown)

    def _brief(self) -> str:
        """The next step in a line, where all of it was shown a moment ago; Enter shows it again."""
        from humclick.cli.opening import question_again

        if self.call.stopped:
            return words.lines(f"Stopped: {self.call.stopped[0].stop.title}. Type cleared and how, or quit.")
        if self.questions:
            return question_again(self)
        probe, advice = self.asked, self.advice
        if probe is not None:
            titles = "; ".join(each.gate.title for each in self.briefing().gates)
            step = f" (first: {titles}: done or cannot)" if titles else ""
            return words.lines(f"{probe.title}  [{probe.id}]{step}", "Next: ", "      ")
        what = self.step
        if advice is not None and advice.verdict is not None and what is not None and what.kind == "verdict":
            then = "Type decide to record it." if advice.verdict.due else "Type sheet, or quit."
            return words.lines(f"{advice.verdict.sentence}. {then}", "Verdict: ", "  ")
        return "Type help for what can be typed, quit to leave."

    def _before(self, probe: Probe) -> str:
        """What stands before a probe, or how to answer it."""
        briefing = self.briefing()
        if briefing.barred:
            return barred_in_words(briefing, probe)
        self._texts = briefing.texts
        hazards = words.hazards_in_words(briefing.hazards)
        if not briefing.gates:
            return "\n".join((*hazards, words.lines(how_to_answer(probe), "  ")))
        parts = [*hazards, words.gates_in_words(briefing)]
        if briefing.dead:  # nobody types done and a figure without having read what it says
            parts.append(words.lines(how_to_answer(probe), "  "))
            parts.append("When every step is done, type done and the reading: done …; or cannot.")
        else:
            parts.append("Type done when every step is done, or cannot.")
        return "\n".join(parts)

    @property
    def farewell(self) -> str:
        """What is said on leaving."""
        return f"Everything is kept. To go on:\n  humclick call {shlex.quote(str(self.path))}"
