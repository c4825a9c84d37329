"""
Substitution: would the machine start with this part as it did with the old one, and stay protected?

Both are simulated on the machines that agree with what is at hand (`humclick.replacement.trials`); what the
simulation cannot see is held against the marks (`humclick.replacement.match`). Needs the ``start`` extra.

Protection is never given up: a protector that opens later or never with the rotor locked, a bridged or absent
one, and a bridged starter are answered *no*, whatever else would be gained.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from humclick.arrangements.machine import Machine
from humclick.errors import Refused
from humclick.messages import Message, listed
from humclick.parts.family import Role
from humclick.replacement.demand import MissingMark
from humclick.replacement.fitting import ASSIST, assist_arrangement, assisted, fitted, known_of
from humclick.replacement.judging import StartsAt, findings_of, starts_of
from humclick.replacement.marks import Rule, read_marks
from humclick.replacement.match import Fit, MatchLine, worst
from humclick.replacement.proposal import (
    Proposal,
    check,
    example,
    is_starter,
    marked,
    proposal_of,
    rating,
    rules_of,
    shown,
    simulated_marks,
    still_to_read,
)
from humclick.replacement.trials import Condition, Fitted, best_case, number, prepared, try_part, working
from humclick.start.case import Case
from humclick.start.estimate import Estimate, Possible
from humclick.start.run import Run, simulate

__all__ = ["Substitution", "described", "runs_of", "substitute"]


@dataclass(frozen=True, slots=True)
class Substitution:
    """
    What a substitute comes to.

    Attributes
    ----------
    part, title : str
        Which part, and its name in the trade.
    old, new : str
        What was read on either.
    fit : Fit
        The worst of all findings and marks.
    sentence : str
        The answer in one sentence.
    machines : int
        How many possible machines were tried; 0 where nothing had to be.
    starts : tuple of StartsAt
        At each condition, the share that started with either part.
    findings : tuple of MatchLine
        What was simulated, compared.
    marks : tuple of MatchLine
        Marks compared.
    flags : tuple of str
        What must not be overlooked.
    read : tuple of MissingMark
        Marks still to be read, the ones without which nothing can be said first.
    assumed : tuple of str
        What the simulation took for granted.
    before : str
        What comes before touching the old part.
    never : tuple of Rule
        What is never done with this kind of part.
    """

    part: str
    title: str
    old: str
    new: str
    fit: Fit
    sentence: str
    machines: int = 0
    starts: tuple[StartsAt, ...] = ()
    findings: tuple[MatchLine, ...] = ()
    marks: tuple[MatchLine, ...] = ()
    flags: tuple[str, ...] = ()
    read: tuple[MissingMark, ...] = ()
    assumed: tuple[str, ...] = ()
    before: str = ""
    never: tuple[Rule, ...] = ()


def described(machine: Machine, part: str, old: Sequence[str]) -> Machine:
    """
    The machine with what was read on the old part put in, for the estimate of its motor.

    Parameters
    ----------
    machine : Machine
        Arrangement and plate.
    part : str
        Which part is to be replaced.
    old : sequence of str
        What was read on it, word for word.

    Raises
    ------
    Refused, Unknown
        As `substitute`.
    """
    if part == ASSIST:
        return machine
    check(machine, part)
    rules = rules_of(machine, part)
    marks, _ = read_marks(rules.values(), old)
    return replace(
        machine, known={**machine.known, **known_of(part, machine.part(part).family, marks, rules)}
    )


def substitute(
    machine: Machine,
    found: Estimate | Sequence[Possible],
    part: str,
    new: str | Sequence[str],
    old: Sequence[str] = (),
    *,
    n: int | None = None,
    seed: int = 0,
) -> Substitution:
    """
    Hold a substitute against the old part.

    Parameters
    ----------
    machine : Machine
        As it stands; see `described`.
    found : Estimate or sequence of Possible
        What is known of its motor.
    part : str
        One whose family says how it is tried, or ``start_assist``.
    new : str or sequence of str
        Marks of the new part, as they would be noted: ``97-117 MFD 250 VAC``, ``pick-up current: 8.5 A``.
        ``listed: yes`` says that the compressor's maker lists it for this compressor.
    old : sequence of str
        What was read on the old part.
    n : int, optional
        How many possible machines to try; 24 if left out.
    seed : int
        The same seed gives the same answer.

    Returns
    -------
    Substitution

    Raises
    ------
    Refused
        If a text cannot be understood, nothing is said of the new part, or the part is sealed in the shell.
    Unknown
        If the machine has no such part.
    """
    if part != ASSIST:
        check(machine, part)
    texts = [new] if isinstance(new, str) else list(new)
    given = proposal_of(machine, part, texts, old)
    if given.defeated:
        return _defeated(given)
    lines = marked(machine, given)
    count = int(number("trial", "machines")) if n is None else n
    if count < 2:
        raise Refused(f"two possible machines or more are tried, got {count}")
    over = int(number("trial", "oversampling"))
    motors = found.possible(over * count, seed) if isinstance(found, Estimate) else list(found)
    shares = (np.arange(len(motors)) + 0.5) / len(motors)
    np.random.default_rng(seed + 7).shuffle(shares)
    before, after = _fitters(machine, given, motors[0])
    cases = prepared(machine, motors, seed)
    chosen = np.flatnonzero(working(cases, before, shares=shares))[:count]
    if len(chosen) < 2:
        raise Refused(
            f"hardly any motor that agrees with plate and readings starts and runs with the old {given.title}"
            " as described; check the marks of the old part, volts, amps and ohms"
        )
    first = try_part(machine, motors, cases, before, shares=shares, chosen=chosen)
    second = try_part(machine, motors, cases, after, shares=shares, chosen=chosen)
    seen = findings_of(
        given.kind,
        machine.nameplate.volts,
        first,
        second,
        rating(given.old, given.kind),
        rating(given.new, given.kind),
    )
    fit = worst((*seen, *lines))
    return Substitution(
        part=part,
        title=given.title,
        old=shown(given.old),
        new=shown(given.new),
        fit=fit,
        sentence=_sentence(fit, (*seen, *lines)),
        machines=len(chosen),
        starts=starts_of(first, second),
        findings=seen,
        marks=tuple(line for line in lines if line.fit is not Fit.UNKNOWN),
        flags=_flags(given, lines, seen),
        read=still_to_read(given),
        assumed=_assumed(given),
        before=given.before,
        never=given.never,
    )


def runs_of(
    machine: Machine,
    found: Estimate | Possible,
    part: str,
    new: str | Sequence[str],
    old: Sequence[str] = (),
    *,
    condition: Condition | None = None,
    seconds: float = 1.5,
) -> tuple[tuple[str, Run], ...]:
    """
    One start of the most probable machine with either part, for the curves.

    Parameters
    ----------
    machine, part, new, old
        As in `substitute`.
    found : Estimate or Possible
        What is known of its motor.
    condition : Condition, optional
        The plate's volts, equal pressures, cold if left out.
    seconds : float
        How long. [s]

    Returns
    -------
    tuple
        Two pairs of a name and a run.

    Raises
    ------
    Refused, Unknown
        As `substitute`; also where the new part would do away with protection.
    """
    if part != ASSIST:
        check(machine, part)
    given = proposal_of(machine, part, [new] if isinstance(new, str) else list(new), old)
    if given.defeated:
        raise Refused("a start without its protection is not drawn")
    motor = found.best if isinstance(found, Estimate) else found
    at = condition or Condition(1.0, "equal", False)
    before, after = _fitters(machine, given, motor)
    return tuple(
        (name, simulate(best_case(machine, motor, fit, at), seconds))
        for name, fit in (("old part", before), ("new part", after))
    )


# -- trying -------------------------------------------------------------------------------------------------


def _fitters(machine: Machine, given: Proposal, motor: Possible) -> tuple[Fitted, Fitted]:
    def old(case: Case, share: float) -> Case:
        return case if role is None else fitted(case, role, given.old, given.rules, share)

    role = given.kind.role if given.kind else None
    if role is not None:
        return old, lambda case, share: fitted(case, role, given.new, given.rules, share)
    kind = given.new.get("kind")
    if kind is None:
        raise Refused(f"say what switches the start-assist off, such as: {example(None)}")
    has_run = machine.has(Role.RUN_CAPACITOR) is not None
    name = assist_arrangement(kind.text, "capacitance" in given.new, has_run)
    rules = given.rules
    becomes = Machine.of(name, None, machine.nameplate)
    added = [p for p in becomes.parts if p.family.role in (Role.STARTER, Role.START_CAPACITOR)]
    known = [known_of(p.id, p.family, given.new, rules) for p in added]
    becomes = replace(becomes, known={key: size for each in known for key, size in each.items()})
    return old, lambda case, share: assisted(case, becomes, motor, given.new, rules, share)


# -- words --------------------------------------------------------------------------------------------------


def _defeated(given: Proposal) -> Substitution:
    starter = is_starter(given.kind)
    why = Message("there is no part to try in that")
    if starter:
        why = Message("the start winding would stay in and burn out within seconds")
    elif given.kind is not None and given.kind.role is Role.PROTECTOR:
        why = Message("nothing would switch the motor off when it stalls, and it would burn")
    line = MatchLine("kind", Message("What it is"), "", given.defeated, Fit.NO, why)
    flag = Message(
        "“{typed}” is no {part}: {why}. Not even for a trial.",
        typed=given.defeated,
        part=given.title,
        why=why,
    )
    return Substitution(
        part=given.part,
        title=given.title,
        old=shown(given.old),
        new=given.defeated,
        fit=Fit.NO,
        sentence=Message("No: {why}.", why=why),
        marks=(line,),
        flags=(flag,),
        before=given.before,
        never=given.never,
    )


def _sentence(fit: Fit, lines: Sequence[MatchLine]) -> Message:
    said = (
        Message("{mark}: {reason}", mark=Message.of(each.title).small(), reason=each.reason)
        for each in lines
        if each.fit is fit
    )
    told = listed(dict.fromkeys(said), "semicolon")
    match fit:
        case Fit.SAME:
            return Message("The same: no difference beyond what two new parts of one mark have.")
        case Fit.ACCEPTABLE:
            return Message("Acceptable with these differences: {told}.", told=told)
        case Fit.NO:
            return Message("No: {why}.", why=told)
        case _:
            return Message("It cannot be said yet: {told}.", told=told)


def _flags(given: Proposal, lines: Sequence[MatchLine], seen: Sequence[MatchLine]) -> tuple[Message, ...]:
    told = []
    for line in lines:
        if line.name in ("reset", "reset_temperature", "protector") and line.fit in (Fit.ACCEPTABLE, Fit.NO):
            told.append(Message("{mark}: {reason}.", mark=line.title, reason=line.reason))
    if given.kind is not None and given.kind.role is Role.PROTECTOR:
        told += [
            Message("{mark}: {reason}.", mark=each.title, reason=each.reason)
            for each in seen
            if each.fit is Fit.NO
        ]
        if not given.listed:
            told.append(
                Message(
                    "A motor protector is proved together with its motor: only the number on the old one, or"
                    " one the compressor's maker lists, can be fitted. The simulation alone approves none."
                )
            )
    return tuple(told)


def _assumed(given: Proposal) -> tuple[Message, ...]:
    told = [
        Message(
            "The motor is one of those that agree with plate and readings; where in its printed range a part"
            " lies is not known, and both parts are taken at the same place of theirs."
        ),
        Message(
            "The old part is taken to have worked when new: only motors that start and run with it at the"
            " plate's volts, cold, with equal pressures, are tried."
        ),
    ]
    told.append(
        Message(
            "Figures are those of the middle machine with either part; a difference is the middle one of all,"
            " machine by machine, so it need not be the difference of the two figures."
        )
    )
    simulated = simulated_marks(given.kind)
    unread = tuple(Message.of(given.rules[name].title).small() for name in simulated if name not in given.old)
    if unread and given.kind is not None:
        told.append(
            Message(
                "Not read on the old part, so one usual for this compressor was taken: {marks}.",
                marks=unread,
            )
        )
    if given.kind is not None and given.kind.substitute is not None and given.kind.substitute.assumes:
        told.append(Message.of(given.kind.substitute.assumes))
    return tuple(told)
