"""
Sentences that judgement puts together, taken apart so that they can be said in another language.

Each form is an English sentence with places in braces. Where a text fits a form, what stands in the places is
said by itself and put into the form's translation. Forms are tried in order; the most particular come first.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

from humclick.parts.family import families, family
from humclick.replacement.marks import compressor_rules, family_rules
from humclick.sourced import read_data

__all__ = ["FORMS", "JOINS", "barred", "demanded", "neutral", "taken_apart"]

#: Places whose words are kept as they are: readings, names of probes, what somebody wrote.
_KEPT = frozenset({"shown", "low", "high", "probe", "probes", "written", "write", "names", "read", "a", "b"})
#: Places that hold a figure.
_FIGURES = frozenset({"n", "m", "p", "q", "event"})
#: Places that hold a figure, mostly with its unit.
_AMOUNTS = frozenset({"low", "high"})
#: Places that hold the letter of a pin.
_LETTERS = frozenset({"i", "j", "k"})

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
    "first, with power off: {one}. Before power: {two}",
    "before {one}: {two}. Read it again: lift the tips, press on bright metal, same two points",
    "before {one}: {two}",
    # verdicts
    "Stop: {one}. Make it safe, then {two}",
    "{one}: that fixed it ({n} % that nothing else is needed)",
    "Nothing on the list fits ({n} %): {one}",
    "The readings do not settle it: {one}",
    "{one} ({n} % that this puts it right)",
    "Do not power it: three equal readings belong to an inverter-driven or three-phase compressor, never to"
    " be put across the line. Read the nameplate and start again with what it says, or {one}; if the plate"
    " says single-phase, measure the three pairs once more on bright metal",
    "Do not power it: {list}. {one}",
    "{one}: the likeliest would be “{two}”, but this could not be done or shown here: {list}",
    # explanations
    "{n} % that exactly this is needed: {one}; next best: {two}.",
    "{n} % that this puts it right: {one}; next best: {two}.",
    "{n} % that nothing else is needed now; next best: {two}.",
    "Nothing on the list fits ({n} %): {one}; next best: {two}.",
    "The readings give no case for this: {one}; the likeliest: {two}.",
    "{sentence} It leads by elimination: no reading speaks of it directly, all around it is proved good. That"
    " is only as good as the list of what can fail ({p} % is kept for causes not on it).",
    "speaks {strength} for it; {list}",
    "speaks {strength} against it; {list}",
    "speaks {strength} for it",
    "speaks {strength} against it",
    "complaint: {one}",
    # probes
    "Ohms between pins {a} and {b} (not yet named), start gear off",
    "Ohms between pins {a} and {b}, start gear off",
    "Pull the start gear and measure from pin {a} to pin {b}; press the tips on bright metal.",
    "Number the pins on your photo and measure from pin {a} to pin {b}.",
    "Ohms from {a} to {b}, everything plugged on, machine unplugged from the outlet",
    "Fit a new {part} and try",
    # safety
    "{names} burns from {n} % in air.",
    "{part}: {low} kΩ for {n} s",
    "{part} ({n} µF, as stamped): up to {p} V (as marked) and {q} J. Hold {low} kΩ, {high} W or more, across"
    " it for {m} s: it falls below {event} V in {shown} s.",
    "{part} ({n} µF, as stamped): up to {p} V (taken as {names} times the supply; the mark on the can wins)"
    " and {q} J. Hold {low} kΩ, {high} W or more, across it for {m} s: it falls below {event} V in"
    " {shown} s.",
    "{part} ({n} µF, not read, so the largest usual one): up to {p} V (as marked) and {q} J. Hold {low} kΩ,"
    " {high} W or more, across it for {m} s: it falls below {event} V in {shown} s.",
    "{part} ({n} µF, not read, so the largest usual one): up to {p} V (taken as {names} times the supply; the"
    " mark on the can wins) and {q} J. Hold {low} kΩ, {high} W or more, across it for {m} s: it falls below"
    " {event} V in {shown} s.",
    # refusals
    "{one}: first pass the safety step “{two}”",
    "{written} is no hazard that is open on this call",
    "nothing is entered yet; enter what the display shows, such as {write}",
    "{written} is not a number of minutes; write it such as {write}",
    "a timer runs from {n} second to {m} hours",
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
    # the sheet
    "Left alone for {n} minutes",
    "Left alone for {n} minute",
    "Read on the {part}",
    "{n} more say hardly anything either way (below 1 deciban each).",
    "Left out as too improbable: at most {shown} together.",
    "More than three faults at once: at most {shown}, not worked out.",
    "None of these (a cause that is not on the list): {shown}.",
    "so many times likelier beforehand must the case for “{one}” be to change the decision",
    "{probe}: scattered: {shown}; contact not settled, clean the points, press the probes and read again",
    "{one}; without it {shown}",
    "without it {shown}",
    "class {names}, flammable",
    "class {names}",
    "{one}, or its own complete start gear with it",
    "Stopped: {one}. Make it safe and hand over",
    "Hazard: {one}",
    "Recognised only: {one}",
    "Repaired: {one}. It ran afterwards. Still to do: {two}",
    "Repaired: {one}. It ran afterwards",
    "Done: {one}. Not test-run yet",
    "Done: {one}. It still did not start. {two}",
    "Done: {one}. {two}",
    "To do: {one}",
    "Do it: {one}",
    "Verdict: {one}",
    "Decided by the technician: {one}.",
    "Judged from the readings then: {one}.",
    "{n} entries were taken back; they stay in the call.",
    "{one}; taken back since",
    "Fitted a new {part}",
    "To order: {n} parts",
    "the running amps (RLA) on the compressor's plate decide, or {one}",
    "the locked-rotor amps (LRA) on the compressor's plate decide, or {one}",
    "{one}, after {n} minutes of cooling",
    "{n} minutes to cool",
    "The windings measure as they should. Pin 1 is {a}, pin 2 is {b}, pin 3 is {names}. At {shown}: run"
    " winding {probe}, start winding {probes}.",
    "{one}; the largest reading is off the sum of the others by {n} Ω.",
    "{one}; the largest reading is off the sum of the others by {n} Ω",
    "{one}; measure once more before you condemn it.",
    "so far {one}",
    "So far {one}.",
    "Not clear yet: {one}, or {two}.",
    "Pin 1 is {i}, pin 2 is {j}, pin 3 is {k}.",
    "At 25 °C: {list}.",
    "{one} {low} ± {high}",
    "cannot be done safely here: {one}",
    "below {low}",
    "above {high}",
    "{low} to {high}",
    # recordings
    "{n} start attempts.",
    "{n} start attempt.",
    "No current flowed in {n} s.",
    "{one}; the current stopped after {shown}.",
    "{one}; it still flowed at the end.",
    "{one}, then running after {a} at {b}",
    "{one}, then running at {b}",
    "{one}, after {n} s {b}",
    "At first {a}, {n} % of the plate's LRA",
    "At first {a}",
    "This looks like {one} ({n} %): {two}.",
    "It may also be {list}.",
    "{n} times the plate's locked-rotor amperes cannot flow for long: look whether the clamp's range, its"
    " turns of wire and the plate are those of this machine.",
    "Neither hum nor running is heard in {n} s, only a click at {m} s.",
    "Neither hum nor running is heard in {n} s.",
    "Heard: {list}.",
    "hum {n}–{m} s",
    "running {n}–{m} s",
    "quiet {n}–{m} s",
    "{one} ({n} %), {list}",
    "{one} ({n} %)",
    "Attempt {n}: {one}.",
    # the rest
    "{one} with {two}",
    "{one} ({names})",
    "{list} {n} → {m} %",
)

#: Longest list that is taken apart.
_LONGEST_LIST = 14

#: What joins the members of a list, longest first, with what joins them in a translation.
JOINS: tuple[str, ...] = ("; ", " + ", ", ", " or ", " and ")


@cache
def demanded() -> tuple[str, ...]:
    """What is asked of new parts, with a place for the value."""
    every = [compressor_rules(), *(family_rules(family(name)) for name in families())]
    musts = dict.fromkeys(mark.must for rules in every for mark in rules.marks)
    return tuple(must for must in musts if "{value}" in must and must != "{value}")


@cache
def barred() -> tuple[str, ...]:
    """What forbids power by a reading, with a place for it."""
    bars = read_data("humclick.diagnosis", "power.toml")["bar"].values()
    return tuple(row["reason"] for row in bars if "{read}" in row["reason"])


@cache
def _compiled() -> tuple[tuple[str, re.Pattern[str]], ...]:
    found = []
    for form in (*FORMS, *demanded(), *barred()):
        pieces = re.split(r"\{(\w+)\}", form)
        pattern = "".join(
            re.escape(piece)
            if k % 2 == 0
            else f"(?P<{piece}>[-+−<>0-9.,e]+)"
            if piece in _FIGURES
            else f"(?P<{piece}>[0-9.,]+(?: ?[µnpmkMG]?[ΩFVAW])?|OL)"
            if piece in _AMOUNTS
            else f"(?P<{piece}>[CSR])"
            if piece in _LETTERS
            else f"(?P<{piece}>.+?)"
            for k, piece in enumerate(pieces)
        )
        found.append((form, re.compile(pattern, re.DOTALL)))
    return tuple(found)


#: What is the same in every language: figures with units, names of probes and modes, refrigerants, letters.
_NEUTRAL = re.compile(
    r"(?:[<>≤≥±+−–×~/&·,;:()-]|\d[\d.,kKMR]*|[µnpmkMG]?[ΩFVAWJ]|[umnp]F|Hz|%|OL|min|s|mm²?|cm³|°[CF]|LRA|RLA|MFD|VAC"
    r"|R-?\d+[A-Za-z]*|[A-Z]\d?|\w+\.[\w-]+)"
)


def neutral(text: str) -> bool:
    """
    Whether a text is the same in every language.

    Examples
    --------
    >>> neutral("115 V, 60 Hz"), neutral("R134a"), neutral("pins.C-R"), neutral("open")
    (True, True, True, False)
    """
    return all(_NEUTRAL.fullmatch(piece) or _pieces(piece) for piece in text.split())


def _pieces(word: str) -> bool:
    """Whether a word falls into neutral pieces, such as ``(CSIR)`` or ``99,9``."""
    return bool(re.fullmatch(r"[\W\d_]+|\W*[A-Z]{2,5}\d?\W*", word)) or (
        len(word) > 1 and word[-1] in ",;:" and bool(_NEUTRAL.fullmatch(word[:-1]))
    )


def taken_apart(text: str, say: Callable[[str], str | None], translate: Callable[[str], str]) -> str | None:
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
            spoken = words if name in _KEPT | _FIGURES | _LETTERS else say(words)
            if spoken is None and name == "value":  # as it stands on the old part
                spoken = words
            if spoken is None:
                break
            said[name] = spoken
        else:
            filled = translate(form)
            for name, words in said.items():
                filled = filled.replace("{" + name + "}", words)
            return filled
    for join in JOINS:
        members = _grouped(text.split(join), join, say)
        if members is not None:
            return translate(join).join(members)
    sentences = _grouped(re.split(r"(?<=[.?!]) (?=[A-Z])", text), " ", say)
    return " ".join(sentences) if sentences is not None else _paired(text, say)


def _grouped(pieces: list[str], between: str, say: Callable[[str], str | None]) -> tuple[str, ...] | None:
    """Pieces said one by one, or several together where they belong together; None where one cannot be."""
    if len(pieces) < 2 or len(pieces) > _LONGEST_LIST:
        return None

    @cache
    def rest(start: int) -> tuple[str, ...] | None:
        if start == len(pieces):
            return ()
        for end in range(len(pieces), start, -1):
            if (start, end) == (0, len(pieces)):
                continue
            spoken = say(between.join(pieces[start:end]))
            after = rest(end) if spoken is not None else None
            if spoken is not None and after is not None:
                return (spoken, *after)
        return None

    return rest(0)


def _paired(text: str, say: Callable[[str], str | None]) -> str | None:
    """A part and its mode side by side, or a heading and what stands behind its colon."""
    for between in (": ", " "):
        places = [found.start() for found in re.finditer(re.escape(between), text)]
        for place in reversed(places[:_LONGEST_LIST]):
            first, second = text[:place], text[place + len(between) :]
            if between == " " and (first.count(" ") > 4 or not second[:1].islower()):
                continue
            one = say(first) if between == ": " or _plain(first) else None
            two = say(second) if one is not None else None
            if one is not None and two is not None:
                return f"{one}{between}{two}"
    return None


def _plain(text: str) -> bool:
    """Whether a text may be the name of a part."""
    return not re.search(r"[.,:;?!\d]", text)
