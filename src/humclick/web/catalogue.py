"""
The catalogues of the pages: every text that can be shown, gathered from templates, pages and model data.

``python -m humclick.web.catalogue`` brings the ``.po`` files up to date, keeping what is translated, and
writes the ``.mo`` files the pages read. It needs Babel; the pages do not.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.circuit.pins_drawing import LAYOUTS
from humclick.diagnosis.checks import checks
from humclick.diagnosis.findings import HEARD
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.shop import default_shop
from humclick.jobs.recognise import questions
from humclick.jobs.standing import HAZARD_STANDS
from humclick.meters import meters
from humclick.parts.family import families, family
from humclick.replacement.marks import compressor_rules, family_rules
from humclick.safety import PLACES, caution, defer, gates, hazards, place_of, stops_at
from humclick.sourced import read_data
from humclick.web.exchange import LANGUAGES
from humclick.web.sentences import FORMS, JOINS, barred

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog

__all__ = ["FOLDER", "brought_up_to_date", "compiled", "gathered", "messages", "read"]

#: Where the catalogues stand.
FOLDER = Path(str(resources.files("humclick.web").joinpath("locale")))

_TEMPLATES = (("**.py", "python"), ("**.html", "jinja2"))
_KEYWORDS = {"_": None, "N_": None, "counted": (1, 2)}

#: Texts that judgement and drawings put in from code.
_MORE = (
    *("First wait", "nearly nothing", "within 10 %", "low", "high", "Fitted on this call"),
    *("Kept so that the part can be checked or bought again.", "no clamp meter at hand"),
    *(
        "Protector",
        "Supply",
        "Else",
        "To order",
        "How",
        "Before it",
        "No verdict yet",
        "No machine is described yet",
        "Do not order yet",
    ),
    *("Probability of the leading decision", "Expected loss of acting now", "in the shop's money"),
    *("Best further test would lose", "in the shop's money; below 0 it would pay", "Flip factor"),
    "Probabilities rest on the shop's prior odds and on typical values where no stamp was read.",
    "The price was not known when this was printed. Please ask before the work starts.",
    "Take the old part along. Where anything below is not met, ask before you buy.",
    "No verdict so far. Read these marks while the machine is open; it saves a second visit.",
    *("A start capacitor, for intermittent duty", "A run capacitor, for continuous duty", "Single-phase"),
    *("windings", "weakly", "clearly", "strongly", "says hardly anything either way", "nothing wrong now"),
    *(
        "it runs",
        "It runs.",
        "on known-good gear it runs: the compressor is good",
        "compressor",
        "outlet",
        "cord",
    ),
    *("On known-good gear it runs: the compressor is good.", "Nothing is wrong with it at the moment."),
    "Pins stand here as the circuit runs, not as they stand on the compressor.",
    "Pins stand here as the circuit runs, not as they stand on the compressor. Small letters: wire side;"
    " capitals: outlet and pins. PE: the plug's ground pin.",
    "one of three equal readings: not the two windings of a single-phase machine.",
    "Stopped for safety: the suspects are as they stood then.",
    *("current relay contact", "current relay coil", "potential relay contact", "in the starter", "star"),
    *(
        "shell",
        "start",
        "winding",
        "wiring at the pins",
        "potential",
    ),
    *("relay", "contact", "relay coil", "potential relay coil", "run", "capacitor", "current", "up", "coil"),
    *(
        "open",
        "closed",
        "working position: plunger down, contacts open",
        "external",
        "integrated",
        "internal",
    ),
    *("turned over: the contacts close, if healthy", "looking at the pins, compressor the right way up"),
    *("looking at the pins, compressor upside down", "probe 1", "probe 2", "resistance", "capacitance"),
    *("voltage", "current", "temperature", "not sure", "not known", "in range", "OL", "below resolution"),
    *("Opened", "done", "NOT DONE"),
    "It was running when the recording began",
    "The plate's locked-rotor amperes (LRA) would make this surer.",
    *("it hums to the end of the recording", "it starts and runs, then stops", "it starts and runs"),
    "it hums, then stops: the protector opened, or power was taken off",
    "no machine is described yet",
    "there is nothing to take back",
    "A winding touches the shell: this compressor must not be powered.",
    "It may be an inverter-driven or three-phase compressor: never put it across the mains, and never fit"
    " start gear to it.",
    "The two differ.",
    "The readings had not settled it then.",
    *("the same", "nothing else", "it proves the repair", "Then", "Reasons", "Reasons before the repair"),
    *(
        "Reasons when it was decided",
        "Suspects",
        "Suspects before the repair",
        "Suspects when it was decided",
    ),
    *("Suspects now", "What is needed now, how probably"),
    *("What was needed before the repair, how probably", "What was needed when it was decided, how probably"),
    "Write down what was installed, start it and listen: that proves the repair",
    "1 entry was taken back; it stays in the call.",
    "The arrangement is taken for now only: more than one fits what was seen.",
    "What stood when it was decided cannot be worked out: no machine was described then.",
    *("not read", "none", "no other decision comes near", "no reason given"),
    "decide what? Choose at least one remedy",
    "tap the picture, or write the place in per cent from left and top",
    "first the safety steps; for a reading taken already, say so below",
    "a figure is needed here, not over limit",
    "choose a picture first",
    "text must not be empty",
    "this is not safe to do now; for a reading taken already, say so below",
    "this call is not stopped for that now",
    HAZARD_STANDS,
    "nothing is entered yet; enter one of the answers",
    "a timer needs its seconds",
    "label must not be empty",
    "which probe? Choose one from the list of probes",
    "Not read yet: the same as the old part",
    "Not read yet: within the old part's range",
    "Not read yet: it must cover the old part's",
    "Not read yet: no less than on the old part",
    "Not read yet: no more than on the old part",
)


def _guards() -> Iterator[str]:
    words = read_data("humclick.diagnosis", "guards.toml")
    for guard in words["guard"].values():
        yield from (guard["title"], guard["before"])
    yield from words["reason"].values()


def _stops() -> Iterator[str]:
    for name in gates():
        for stop in stops_at(name):
            yield from (stop.title, stop.said, *stop.steps, stop.customer, stop.answer)


def _bars() -> Iterator[str]:
    for row in read_data("humclick.diagnosis", "power.toml")["bar"].values():
        yield from (row[name] for name in ("title", "reason") if name in row and row[name] not in barred())


def _checks() -> Iterator[str]:
    for check in checks().values():
        yield from (check.title, check.how, *check.outcomes, check.bad)


def _recordings() -> Iterator[str]:
    for cause in read_data("humclick.recordings", "causes.toml").values():
        if isinstance(cause, dict):
            yield from (cause["title"], cause["plain"])
            if "alike" in cause:
                yield f"{cause['alike']}."


def _families() -> Iterator[str]:
    for name in families():
        kind = family(name)
        yield from (kind.title, kind.does, kind.tested)
        for mode in kind.modes:
            yield kind.mode(mode).title
            yield kind.mode(mode).title.split(":")[0]
            yield kind.mode(mode).plain
        for test in kind.tests:
            yield from (test.title, test.how)
        for look in kind.looks:
            yield look.question
            yield from look.outcomes


def _marks() -> Iterator[str]:
    every = [compressor_rules(), *(family_rules(family(name)) for name in families())]
    for rules in every:
        yield from (rules.title, rules.before)
        for mark in rules.marks:
            yield from (mark.title, mark.where, *([mark.must] if mark.must != "{value}" else []))
        for rule in (*rules.may, *rules.never):
            yield rule.text


def _flammable() -> Iterator[str]:
    data = read_data("humclick.replacement", "flammable.toml")
    mark = data["mark"]
    yield from (mark["title"], mark["where"], mark["must"], data["unknown"]["must"], data["never"]["text"])


def _safety() -> Iterator[str]:
    for gate in gates().values():
        yield from (gate.title, gate.why, gate.lasts, *gate.steps, *gate.ticks)
    for fact in hazards():
        yield from (fact.title, fact.plain, fact.tick)
    for row in read_data("humclick.safety", "hazards.toml")["caution"]:
        said = caution(str(row["name"]))
        yield from (said.title, said.plain)
    for row in read_data("humclick.safety", "refrigerants.toml")["meaning"].values():
        if isinstance(row, dict):
            yield from (row["title"], row["plain"])
    for name in ("", *PLACES):
        place = place_of(name)
        yield place.title
        for rule in place.rules.values():
            yield from (rule.title, rule.text)
        for instead in place.gates.values():
            for step in instead.instead.values():
                yield from step
    yield defer()


def _probes() -> Iterator[str]:
    for name in arrangements():
        for protector in arrangement(name).protectors:
            for probe in probes_of(Machine.of(name, protector)).values():
                if not probe.id.startswith(("pins.", "fit.")) or probe.id in (
                    "pins.shell",
                    "fit.mechanism",
                    "fit.wiring",
                ):
                    yield from (probe.title, probe.how)
                elif probe.id.startswith("fit."):
                    yield probe.how


def _strings(table: Any) -> Iterator[str]:
    if isinstance(table, str):
        yield table
    elif isinstance(table, dict):
        for key, value in table.items():
            if key not in ("source", "unit"):
                yield from _strings(value)


def _model() -> Iterator[str]:
    yield from _families()
    yield from _stops()
    yield from _bars()
    yield from _checks()
    yield from _guards()
    yield from _recordings()
    yield from _marks()
    yield from _probes()
    for name in arrangements():
        kind = arrangement(name)
        yield from (kind.title, kind.caution, *kind.seen)
    yield from _safety()
    yield from _flammable()
    for remedy in default_shop().remedies.values():
        yield from (remedy.title, remedy.did, remedy.name)
    for each in meters().values():
        yield each.title
    for question in questions():
        yield from (question.text, *(option.text for option in question.options))
    for case in read_data("humclick.diagnosis", "pins.toml")["case"].values():
        yield str(case["plain"])
    yield from HEARD.values()
    yield from LAYOUTS
    yield from (*FORMS, *barred(), *JOINS, *_MORE)
    yield from _strings(read_data("humclick.jobs.sheet", "words.toml"))


def messages() -> dict[str, tuple[str, ...]]:
    """
    Every text with a translation of its own: the text, or one and many, by the text.

    Needs Babel to read templates and pages.
    """
    from babel.messages.extract import extract_from_dir

    here = str(resources.files("humclick.web"))
    found: dict[str, tuple[str, ...]] = {}
    options = {"**.html": {"trimmed": "false"}}
    for _file, _line, text, _comments, _context in extract_from_dir(
        here, method_map=[*_TEMPLATES], options_map=options, keywords=_KEYWORDS
    ):
        for_all = (text,) if isinstance(text, str) else tuple(text)
        if for_all and for_all[0]:
            found.setdefault(for_all[0], for_all)
    for each in _model():
        if (each.strip() and any(letter.isalpha() for letter in each)) or each in JOINS:
            found.setdefault(each, (each,))
    return found


def read(code: str) -> Catalog:
    """The catalogue of a language as it stands."""
    from babel.messages.pofile import read_po

    with (FOLDER / code / "LC_MESSAGES" / "humclick.po").open("rb") as file:
        return read_po(file, locale=code, domain="humclick")


def gathered(code: str, old: Catalog | None = None) -> Catalog:
    """A catalogue that holds every text, with the translations of an older one."""
    from babel.messages.catalog import Catalog as Made

    made = Made(locale=code, domain="humclick", project="Hum & Click", charset="utf-8", fuzzy=False)
    for text, forms in sorted(messages().items(), key=lambda item: item[0].casefold()):
        before = old.get(text) if old is not None else None
        string = before.string if before is not None and before.string else None
        flags = ("python-brace-format",) if "{" in text else ()
        made.add(forms if len(forms) > 1 else text, string, flags=flags)
    return made


def compiled(catalogue: Catalog) -> bytes:
    """A catalogue as the pages read it."""
    import io

    from babel.messages.mofile import write_mo

    buffer = io.BytesIO()
    write_mo(buffer, catalogue)
    return buffer.getvalue()


def brought_up_to_date(code: str) -> int:
    """Bring the files of a language up to date; the number of texts still without translation."""
    from babel.messages.pofile import write_po

    folder = FOLDER / code / "LC_MESSAGES"
    folder.mkdir(parents=True, exist_ok=True)
    made = gathered(code, read(code) if (folder / "humclick.po").exists() else None)
    with (folder / "humclick.po").open("wb") as file:
        write_po(file, made, width=110, omit_header=False, no_location=True)
    (folder / "humclick.mo").write_bytes(compiled(made))
    return sum(1 for message in made if message.id and not message.string)


if __name__ == "__main__":
    for each in LANGUAGES:
        print(f"{each}: {brought_up_to_date(each)} texts without translation")
