"""
Writes docs/reference from the program itself, and fills the outputs that other pages show, so that no page
can say what the program does not do.

Run ``python docs/generate.py`` (or ``make docs``); a test holds the pages to what is written here.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import MISSING, fields
from importlib import resources
from pathlib import Path

import click

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.circuit.drawing import draw_text
from humclick.diagnosis.probes import Probe, probes_of
from humclick.diagnosis.shop import default_shop
from humclick.jobs.briefing import briefed, briefed_on
from humclick.jobs.call import Call
from humclick.limits import BODIES, LIMITS, Limit
from humclick.meters import meters
from humclick.parts.family import Family, Mode, families, family
from humclick.safety import PLACES, defer, gates, hazards, place_of
from humclick.sourced import read_data

ROOT = Path(__file__).resolve().parents[1]
REFERENCE = ROOT / "docs" / "reference"
_MADE = (
    "<!-- Made by docs/generate.py; change the data or the docstring it comes from, then run `make docs`. -->"
)


def _page(title: str, *blocks: str) -> str:
    return "\n\n".join((f"# {title}", _MADE, *blocks)) + "\n"


def _cell(value: object) -> str:
    return " ".join(str(value).split()).replace("|", "\\|")


def _table(heads: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    heads = list(heads)
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(map(_cell, line)) + " |" for line in lines)


def _code(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


# -- the matter -------------------------------------------------------------------------------------------


def _where(found: Family) -> str:
    if found.sealed:
        return "Sealed inside the shell."
    return "Start gear outside the shell." if found.gear else "Outside the start gear."


def _mode_row(mode: Mode) -> tuple[object, ...]:
    odds = f"{mode.odds:g}" if mode.remedy else "1"
    return f"`{mode.name}`", mode.title, odds, mode.remedy or "none", "yes" if mode.passing else ""


def _sizes(found: Family) -> str:
    rows = [
        (f"`{name}`", f"{volts} V" if volts else "any", f"{s.median:g}", f"{s.factor:g}", s.unit, s.source)
        for name, by_class in found.sizes.items()
        for volts, s in by_class.items()
    ]
    return _table(("size", "supply", "median", "95 % within a factor of", "unit", "source"), rows)


def parts() -> str:
    """Every part family: sizes, modes, tests and looks."""
    blocks = [
        "A part is in one mode at a time.\n"
        "The odds are prior odds against the healthy mode, before any complaint.\n"
        "They and the figures of the looks are the trade's guesses until a shop puts in its own.",
    ]
    for name in families():
        found = family(name)
        blocks += [f"## {found.title}", f"Family `{name}`. {_where(found)}"]
        if found.sizes:
            blocks += ["What it measures:", _sizes(found)]
        heads = ("mode", "in words", "prior odds", "remedy", "passes by itself")
        blocks += ["What it can be:", _table(heads, map(_mode_row, found.modes.values()))]
        for look in found.looks:
            rows = [(f"`{mode}`", *(f"{p:g}" for p in ps)) for mode, ps in look.table.items()]
            blocks += [
                f"Look `{name}.{look.name}`: {look.question}\nSource of the probabilities: {look.source}.",
                _table(("mode", *look.outcomes), rows),
            ]
    return _page("Parts and their modes", *blocks)


def arrangement_page() -> str:
    """Every start arrangement, with its drawing."""
    blocks = ["Pins stand in these drawings as the circuit runs, not as they stand on a compressor."]
    for name in arrangements():
        kind = arrangement(name)
        machine = Machine.of(name)
        letters = f" ({kind.abbreviation})" if kind.abbreviation else ""
        blocks += [
            f"## {kind.title}{letters}",
            f"Name `{name}`. Protector: {', '.join(kind.protectors)}.",
            "\n".join(f"- {seen}" for seen in kind.seen),
        ]
        if kind.caution:
            blocks += [f"**{kind.caution}**"]
        if kind.recognised_only:
            blocks += ["It is recognised, and nothing on it is judged."]
        blocks += [f"Parts: {_code(p.id for p in machine.parts)}."]
        blocks += ["```text\n" + "\n".join(s.rstrip() for s in draw_text(machine).splitlines()) + "\n```"]
    return _page("Start arrangements", *blocks)


# -- judgement --------------------------------------------------------------------------------------------


def all_probes() -> dict[str, Probe]:
    """Every named probe of any machine."""
    found: dict[str, Probe] = {}
    for name in arrangements():
        for protector in arrangement(name).protectors:
            for probe in probes_of(Machine.of(name, protector)).values():
                found.setdefault(probe.id, probe)
    return dict(sorted(found.items()))


def probes() -> str:
    """Every probe: how it is done, its answers, its minutes and its gates."""
    blocks = [
        "A probe is one thing to measure, look at or try.\n"
        "A machine has those of its own parts; minutes and gates are those of the shop file and of safety.",
        "Any two points of the drawing are a probe too: `between.<node>-<node>`.\n"
        "The start gear is plugged on, the machine unplugged: for example `between.l-n` at the plug.",
    ]
    by_head: dict[str, list[Probe]] = {}
    for probe in all_probes().values():
        by_head.setdefault(probe.id.partition(".")[0], []).append(probe)
    for head, group in by_head.items():
        rows = [
            (
                f"`{p.id}`",
                p.title,
                p.how if p.how != p.title else "",
                ", ".join(p.outcomes) or p.quantity,
                f"{p.minutes:g}",
                _code(p.gates),
            )
            for p in group
        ]
        heads = ("probe", "what", "how", "answer", "minutes", "gates")
        blocks += [f"## {head.replace('_', ' ')}", _table(heads, rows)]
    return _page("Probes", *blocks)


def remedies() -> str:
    """Every remedy with its cost and what it puts right."""
    right: dict[str, list[str]] = {}
    for name in families():
        for mode in family(name).modes.values():
            right.setdefault(mode.remedy, []).append(f"{name}.{mode.name}")
    rows = [
        (
            f"`{r.name}`",
            r.title,
            f"{r.price:g}",
            f"{r.minutes:g}",
            f"{r.cost:g}",
            _code(right.get(r.name, ())),
        )
        for r in default_shop().remedies.values()
    ]
    heads = ("remedy", "in words", "parts [money]", "work [min]", "together [money]", "puts right")
    return _page(
        "Remedies",
        "Prices and times are those of the shop file that comes with the program: guesses, until yours stand "
        "there.\n"
        "A protector built into the starter is replaced with it.",
        _table(heads, rows),
    )


def shop() -> str:
    """The shop file as it comes."""
    text = resources.files("humclick.diagnosis").joinpath("shop.toml").read_text(encoding="utf-8")
    return _page(
        "The shop file",
        "A shop's own file has the same layout and only the lines that differ.\n"
        'It may add `[odds]`, such as `"ptc.open" = 0.01`, to replace the prior odds of a mode, and '
        '`place`, such as `place = "us"`, to say whose safety rules hold on new calls.',
        f"```toml\n{text.rstrip()}\n```",
    )


def _controls() -> dict[str, tuple[list[str], list[str], list[str]]]:
    """By hazard: the gates that keep it away, probes that speak it, remedies that speak it."""
    shop = default_shop()
    found: dict[str, tuple[list[str], list[str], list[str]]] = {h.name: ([], [], []) for h in hazards()}
    for gate in gates().values():
        for name in gate.hazards:
            found[name][0].append(gate.name)
    for kind in arrangements():
        for protector in arrangement(kind).protectors:
            call = Call(machine=Machine.of(kind, protector))
            for probe in probes_of(Machine.of(kind, protector)).values():
                for shown in briefed((), call, probe, shop).hazards:
                    found[shown.hazard.name][1].append(probe.id)
            for remedy in shop.remedies:
                for shown in briefed_on((), call, [remedy], shop).hazards:
                    found[shown.hazard.name][2].append(remedy)
    return found


def _control(gate_names: list[str], probe_names: list[str], remedy_names: list[str]) -> str:
    """What stands before a hazard, in words."""
    heads = sorted({name.partition(".")[0] + ".*" for name in probe_names})
    told = [f"gate {_code(gate_names)}"] if gate_names else []
    told += [f"spoken with {_code(heads)}"] if heads else []
    told += [f"spoken with the remedy {_code(sorted(set(remedy_names)))}"] if remedy_names else []
    return "; ".join(told)


def safety() -> str:
    """Hazards with the control of each and its test, the gates before probes, classes and places."""
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        if "controls(" in path.read_text(encoding="utf-8"):
            importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    from tests.controls import CONTROLLED

    control = _controls()
    rows = [
        (f"`{h.name}`", h.title, h.plain, _control(*control[h.name]), _code(CONTROLLED[h.name]), h.source)
        for h in hazards()
    ]
    blocks = [
        defer(),
        "## Hazards, what stands before each, and the test of it",
        "A gate stands before the probe and is confirmed.\n"
        "What no gate keeps away is spoken with the probe or the remedy: in full the first time on a call, "
        "in a few words from then on.",
        _table(("name", "hazard", "as spoken", "control", "tests of the control", "source"), rows),
        "## Gates",
        "Each is shown in full once a call on each device, and again for another refrigerant or charge; "
        "from then on in one line, the words in italics.\n"
        "All that stand together are confirmed together, each recorded by itself.",
    ]
    for gate in gates().values():
        told = zip(gate.steps, gate.ticks, strict=True)
        steps = "\n".join(f"{n}. {step} *{tick}*" for n, (step, tick) in enumerate(told, 1))
        ends = f"Passing it ends {_code(sorted(gate.ends))}." if gate.ends else ""
        last = "\n".join(s for s in (f"Holds {gate.lasts}.", ends, f"Source: {gate.source}.") if s)
        blocks += [f"### {gate.title}", f"Name `{gate.name}`.", steps, gate.why, last]
    classes = read_data("humclick.safety", "refrigerants.toml")
    blocks += [
        "## Classes of refrigerants",
        _table(
            ("class", "what it means", "refrigerants"),
            [
                (words["title"], words["plain"], ", ".join(classes["class"].get(name, ())))
                for name, words in classes["meaning"].items()
                if isinstance(words, dict)
            ],
        ),
        f"Source: {classes['source']}.",
        "## Places",
    ]
    for place in map(place_of, ("", *PLACES)):
        rules = [(r.title, r.text, "yes" if r.certificate else "", r.source) for r in place.rules.values()]
        figures = [(name, f"{f.value:g} {f.unit}", f.source) for name, f in place.figures.items()]
        blocks += [
            f"### {place.title[:1].upper()}{place.title[1:]}",
            f"Name `{place.name}`." if place.name else "Without a name: where none is chosen.",
            _table(("matter", "rule", "certificate", "source"), rules),
            _table(("figure", "limit", "source"), figures),
        ]
    return _page("Hazards and gates", *blocks)


def meter_page() -> str:
    """Every class of meter with its ranges."""
    blocks = [
        "Classes of meter, no makes.\nLimits of error are ±(percent of reading + counts of the last digit)."
    ]
    for name, found in meters().items():
        rows = [
            (
                str(r.quantity),
                f"{r.full_scale:g}",
                f"{r.resolution:g}",
                f"{r.percent:g} %",
                r.counts,
                r.source,
            )
            for r in found.ranges
        ]
        heads = ("quantity", "full scale [SI]", "resolution [SI]", "of reading", "counts", "source")
        blocks += [f"## {found.title}", f"Name `{name}`.", _table(heads, rows)]
    return _page("Meters", *blocks)


# -- the call, the command line, the checks ---------------------------------------------------------------


def _plain(annotation: object) -> str:
    text = str(annotation).removeprefix("Annotated[").partition(",")[0]
    return text.replace(" | None", "").replace("dict[str", "table").replace("tuple[str", "list")


def events() -> str:
    """Every kind of event with its fields."""
    from humclick.jobs.events import KINDS, Event

    shared = {each.name for each in fields(Event)}
    blocks = [
        "Every event has an `id`, the time `at` which it happened, the `device` that wrote it and its"
        " `turn`.\n"
        "A file may leave these four out; a field marked needed may not be left out.",
        "`turn` is one more than the largest its device knew of in the call.\n"
        "It puts events in order, then the device, then that device's own clock; `at` is what a clock said.\n"
        "Events without a turn come first, by time.\n"
        "In a file, one that stands below others with turns comes after them.\n"
        "A turn more than 5000 above the next lower one is not believed: it counts as none.",
    ]
    for kind, event in KINDS.items():
        says = (event.__doc__ or "").strip().split("\n\n")[0]
        rows = []
        for each in fields(event):
            if each.name in shared:
                continue
            default = "needed" if each.default is MISSING and each.default_factory is MISSING else ""
            if not default and each.default is not MISSING and each.default not in ("", None, ()):
                default = f"{each.default!r}".lower() if isinstance(each.default, bool) else f"{each.default}"
            rows.append((f"`{each.name}`", _plain(each.type), default))
        blocks += [f"## `{kind}`", says.replace("``", "`"), _table(("field", "kind", "default"), rows)]
    return _page("Events of a call", *blocks)


def _commands(command: click.Command, context: click.Context) -> Iterator[tuple[str, str]]:
    yield context.command_path, command.get_help(context)
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            inner = command.get_command(context, name)
            if inner is not None and not inner.hidden:
                yield from _commands(inner, _context(inner, name, context))


def _context(command: click.Command, name: str, parent: click.Context | None = None) -> click.Context:
    settings = {**command.context_settings, "terminal_width": 100, "max_content_width": 100}
    return click.Context(command, info_name=name, parent=parent, **settings)


def commands() -> dict[str, str]:
    """Every command of the command line with its help."""
    main = importlib.import_module("humclick.cli.main").main
    return dict(_commands(main, _context(main, "humclick")))


def cli() -> str:
    """The command line's own help."""
    blocks = [f"## `{path}`\n\n```text\n{text}\n```" for path, text in commands().items()]
    return _page("Command line", *blocks)


def _bound(limit: Limit) -> str:
    """A bound as people say it."""
    if limit.unit == "byte":
        size, unit = (limit.most / 2**20, "MiB") if limit.most >= 2**20 else (limit.most / 1024, "kB")
        return f"{size:,.0f} {unit}"
    unit = limit.unit.replace("piece of work", "piece")
    plural = "" if limit.most == 1 or unit == "s" else "es" if unit.endswith("s") else "s"
    return f"{limit.most:,} {unit}{plural}"


#: What stands around the tables on limits.
_BOUNDED = """\
What comes from outside has a bound.
One that is passed is refused with a message that names it.
Nothing that was stored before is lost, and the server goes on.
The figures are choices (`humclick.limits`), far above what a call needs.
"""
_BODIES_TAKEN = """\
The first pattern that fits the path decides; more is answered with 413.
Lists and tables nested too deeply are answered with 422, and a body that stops coming with 408.
"""
_BEHIND_LIMITS = """\
## Work apart

The server opens photos, recordings, parcels and PDFs in processes of their own.
Each has the bounds on memory and time above.
When too many ask at once, the answer is 503 with `Retry-After`; send it again then.
Where a system has no such bounds (Windows), the server does the work itself.
The bounds on size, pixels and rows hold there too.
A full disk is 507, storage that does not answer is 503: nothing was stored, send it again.

## Connections

When the house is full, the connection that has waited longest without a whole request makes room.
Some descriptors stay free for files: 128, or half where the system allows few.
The log writes so many lines of one kind in ten seconds, then says how many more there were.

## After a power cut

A block that was being written when the power went is not read, be it cut short or full of zeros.
`humclick check` names it.
The next entry turns it into comments, so what is left of it stays in the file.

## What has no bound yet

Each reading is weighed again whenever the call is.
A call of 1,000 readings of one pair takes some five seconds, one of 4,990 about a minute."""


def limits() -> str:
    """Every bound, and what each address of the server takes."""
    rows = [(limit.of, _bound(limit), limit.why, f"`{limit.name}`") for limit in LIMITS]
    sizes = [(f"`{body.path}`", f"{body.most / 2**20:,.0f} MiB", body.what) for body in BODIES]
    return _page(
        "Limits",
        _BOUNDED.strip(),
        _table(("what", "at most", "why", "name"), rows),
        "## What each address takes",
        _BODIES_TAKEN.strip(),
        _table(("path", "at most", "what is sent there"), sizes),
        _BEHIND_LIMITS,
    )


def checked_against() -> str:
    """Every check against the outside world, from the register that the tests fill."""
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        importlib.import_module(".".join(path.relative_to(ROOT).with_suffix("").parts))
    from tests.published import REGISTER, Check

    unique: Mapping[str, Check] = {check.test: check for check in REGISTER}
    by_source: dict[str, list[Check]] = {}
    for check in unique.values():
        by_source.setdefault(check.source, []).append(check)
    blocks = [
        "Each line is a test that compares the program with the outside world.\n"
        "`common practice` is a rule of the trade without a better source.\n"
        "`from memory` says that the document was not at hand when the check was written.",
        f"{len(unique)} checks, {len(by_source)} sources.",
    ]
    for source, checks in sorted(by_source.items(), key=lambda item: item[0].lower()):
        rows = [(c.says, c.where, c.printed_to, f"`{c.test}`") for c in sorted(checks, key=lambda c: c.test)]
        blocks += [f"## {source}", _table(("what is checked", "where", "printed to", "test"), rows)]
    return _page("What the program is checked against", *blocks)


PAGES: Mapping[str, Callable[[], str]] = {
    "parts.md": parts,
    "arrangements.md": arrangement_page,
    "probes.md": probes,
    "remedies.md": remedies,
    "shop.md": shop,
    "safety.md": safety,
    "meters.md": meter_page,
    "events.md": events,
    "cli.md": cli,
    "limits.md": limits,
    "checked-against.md": checked_against,
}


def main() -> None:
    """Write every reference page, and what the written pages show."""
    sys.path.insert(0, str(ROOT))
    REFERENCE.mkdir(parents=True, exist_ok=True)
    for name, make in PAGES.items():
        try:
            text = make()
        except ModuleNotFoundError as error:
            print(f"{name}: left out, {error}")
            continue
        (REFERENCE / name).write_text(text, encoding="utf-8")
        print(name)
    shown = importlib.import_module("docs.shown")
    for path in shown.pages():
        path.write_text(shown.filled(path.read_text(encoding="utf-8")), encoding="utf-8")
        print(path.relative_to(ROOT))


if __name__ == "__main__":
    main()
