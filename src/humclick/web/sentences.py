"""
Sentences that judgement puts together, taken apart so that they can be said in another language.

Each form is an English sentence with places in braces. Where a text fits a form, what stands in the places is
said by itself and put into the form's translation. Forms are tried in order; the most particular come first.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

__all__ = ["FORMS", "JOINS", "taken_apart"]

#: Places whose words are kept as they are: figures, names of probes, what somebody wrote.
_KEPT = frozenset(
    {"shown", "low", "high", "n", "m", "p", "q", "probe", "probes", "written", "write", "names", "event"}
)

#: Forms of findings, reasons, verdicts and refusals.
FORMS: tuple[str, ...] = (
    # findings
    "The leads add {shown}; readings of a few ohms are taken with that in mind.",
    "“{answer}” says nothing either way.",
    "{shown} while hot is no verdict: let it cool and measure again.",
    "{shown} (healthy: {low} to {high}): as a healthy {part} reads; it cannot rule out: {list}.",
    "{shown} (healthy: {low} to {high}): as a healthy {part} reads.",
    "{shown} (healthy: {low} to {high}): as sound windings read; it cannot rule out: {list}.",
    "{shown} (healthy: {low} to {high}): as sound windings read.",
    "{shown} (healthy: {low} to {high}): speaks for {faults}.",
    "{shown} (healthy: {low} to {high}): fits nothing the {part} can be; check the tips and read again.",
    "{shown} (healthy: OL): as a healthy {part} reads; it cannot rule out: {list}.",
    "{shown} (healthy: OL): as a healthy {part} reads.",
    "{shown} (healthy: OL): speaks for {faults}.",
    "{shown} (healthy: OL): fits nothing the {part} can be; check the tips and read again.",
    "{answer}: as a healthy {part} reads; it cannot rule out: {list}.",
    "{answer}: as a healthy {part} reads.",
    "{answer}: as sound windings read; it cannot rule out: {list}.",
    "{answer}: as sound windings read.",
    "{answer}: speaks for {faults}.",
    "{answer}: fits nothing the {part} can be; check the tips and read again.",
    "{answer}: as it should be.",
    "{answer}: as with {faults} and {n} more.",
    "{answer}: as with {faults}.",
    "{probes} does not fit the rest; lift the tips, press them on bright metal and repeat {probe}.",
    # why a probe
    "for its {n} minutes it tells best between “{one}” and “{two}”",
    "for its {n} minute it tells best between “{one}” and “{two}”",
    "it would confirm: {one}",
    "no compressor is condemned before this stands in the record: {one}; lift the tips, press them on bright"
    " metal and read once more",
    "no compressor is condemned before this stands in the record: {one}",
    "no compressor is left as it is before this stands in the record: {one}",
    # verdicts
    "What was done has put it right: {one} ({n} % that nothing is left)",
    "{one} ({n} % that this puts it right)",
    "{one}: the likeliest would be “{two}”, but this could not be done or shown here: {list}",
    # explanations
    "{n} % for: {one}; the rival is: {two}.",
    "{sentence} It leads by elimination: no reading speaks of it directly, all around it is proved good. That"
    " is only as good as the list of what can fail ({p} % is kept for causes not on it).",
    "speaks {strength} for it; {list}",
    "speaks {strength} against it; {list}",
    "speaks {strength} for it",
    "speaks {strength} against it",
    "complaint: {one}",
    # probes
    "Ohms between pins {n} and {m}, start gear off",
    "Ohms between pins {n} and {m} (not yet named), start gear off",
    "Pull the start gear and measure from pin {n} to pin {m}; press the tips on bright metal.",
    "Number the pins on your photo and measure from pin {n} to pin {m}.",
    "Ohms from {n} to {m}, everything plugged on, machine unplugged from the outlet",
    "Fit a new {part} and try",
    # safety
    "{part} ({n} µF, as stamped): up to {p} V (as marked) and {q} J. Hold {low} kΩ, {high} W or more, across it"
    " for {m} s: it falls below {event} V in {shown} s.",
    "{part} ({n} µF, as stamped): up to {p} V (taken as {names} times the supply; the mark on the can wins) and"
    " {q} J. Hold {low} kΩ, {high} W or more, across it for {m} s: it falls below {event} V in {shown} s.",
    "{part} ({n} µF, not read, so the largest usual one): up to {p} V (as marked) and {q} J. Hold {low} kΩ,"
    " {high} W or more, across it for {m} s: it falls below {event} V in {shown} s.",
    "{part} ({n} µF, not read, so the largest usual one): up to {p} V (taken as {names} times the supply; the"
    " mark on the can wins) and {q} J. Hold {low} kΩ, {high} W or more, across it for {m} s: it falls below"
    " {event} V in {shown} s.",
    # refusals
    "{written}: that is a {one}, and a {two} is asked for; write {write}",
    "{written}: not a number; write {write}",
    "{written}: nothing is written; write {write}",
    "{written}: more than one decimal mark; thousands take no comma or dot; write {write}",
    "{written}: no digit after the decimal mark; write {write}",
    "{written}: the comma may part thousands or decimals; write {write}",
    "{written}: the unit is missing; write {write}",
    "{written}: more than one number, or a space inside one; write {write}",
    "{written}: {names} is not a unit known here; write {write}",
    "nominal volts must be 100–127 or 200–240, got {n}",
    "line frequency must be 50 or 60 Hz, got {n} Hz",
    # parts and modes
    "{one}: {two}",
    "{written} {n} → {m} %",
)

#: What joins the members of a list, longest first, with what joins them in a translation.
JOINS: tuple[str, ...] = ("; ", " + ", ", ", " or ", " and ")


@cache
def _compiled() -> tuple[tuple[str, re.Pattern[str]], ...]:
    found = []
    for form in FORMS:
        pieces = re.split(r"\{(\w+)\}", form)
        pattern = "".join(
            re.escape(piece) if k % 2 == 0 else f"(?P<{piece}>.+?)" for k, piece in enumerate(pieces)
        )
        found.append((form, re.compile(pattern, re.DOTALL)))
    return tuple(found)


def taken_apart(
    text: str, say: Callable[[str], str | None], translate: Callable[[str], str], depth: int = 4
) -> str | None:
    """
    A put-together text in another language.

    Parameters
    ----------
    text : str
        In English.
    say : callable
        Says a part of it in the other language, or None where it cannot.
    translate : callable
        Looks up a form.
    depth : int
        How often a list may be split.

    Returns
    -------
    str or None
        None where no form fits or a part of it cannot be said.
    """
    for form, pattern in _compiled():
        found = pattern.fullmatch(text)
        if found is None:
            continue
        said: dict[str, str] = {}
        for name, words in found.groupdict().items():
            spoken = words if name in _KEPT else say(words)
            if spoken is None:
                break
            said[name] = spoken
        else:
            filled = translate(form)
            for name, words in said.items():
                filled = filled.replace("{" + name + "}", words)
            return filled
    for join in JOINS:
        if join in text and depth:
            members = [say(member) for member in text.split(join)]
            if all(member is not None for member in members):
                return translate(join).join(member for member in members if member is not None)
    sentences = re.split(r"(?<=[.?!]) (?=[A-Z])", text)
    if len(sentences) > 1:
        spoken_all = [say(sentence) for sentence in sentences]
        if all(each is not None for each in spoken_all):
            return " ".join(each for each in spoken_all if each is not None)
    return None
