"""Hypothesis strategies: readings and stamps as typed, values, hostile text, events and calls."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from typing import Any, TypeVar

from hypothesis import strategies as st

from humclick.errors import ReadingRefused
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import HEARD, LAST_TURN, Event, HazardCleared, Undone
from humclick.jobs.fields import TURNING_LETTERS
from humclick.meters import Quantity
from humclick.safety import stops

__all__ = [
    "TypedReading",
    "calls",
    "events",
    "hostile_text",
    "outcome",
    "quantities",
    "typed_ranges",
    "typed_readings",
    "values_of",
]

#: Units as typed, with what they mean, written down apart from the program's own table.
UNITS_AS_TYPED: dict[Quantity, dict[str, int]] = {
    Quantity.RESISTANCE: {
        **dict.fromkeys(("ohm", "ohms", "Ω", "\u2126", "Ohm", "OHMS", "R"), 0),
        **dict.fromkeys(("k", "K", "kΩ", "kohm", "Kohms"), 3),
        **dict.fromkeys(("M", "MΩ", "Mohm", "megohm", "meg", "Megohms"), 6),
        **dict.fromkeys(("G", "GΩ", "gohm"), 9),
        "mΩ": -3,
    },
    Quantity.CAPACITANCE: {
        **dict.fromkeys(("uF", "\u00b5F", "\u03bcF", "MFD", "mfd", "MF D", "UF"), -6),
        "nF": -9,
        "pF": -12,
    },
    Quantity.VOLTAGE: {**dict.fromkeys(("V", "v", "VAC", "vdc", "volts", "V AC"), 0), "mV": -3, "kV": 3},
    Quantity.CURRENT: {**dict.fromkeys(("A", "a", "amps", "AMP"), 0), "mA": -3, "ma": -3},
    Quantity.TEMPERATURE: dict.fromkeys(("°C", "C", "c", "deg C", "Celsius", "℃"), 0),
}

#: Values a working program may meet. [SI]
BETWEEN: dict[Quantity, tuple[float, float]] = {
    Quantity.RESISTANCE: (1e-2, 2e9),
    Quantity.CAPACITANCE: (1e-11, 5e-3),
    Quantity.VOLTAGE: (1e-3, 1000.0),
    Quantity.CURRENT: (1e-5, 600.0),
    Quantity.TEMPERATURE: (-40.0, 200.0),
}

#: Values beyond these are refused as slips of the prefix. [SI]
LARGEST: dict[Quantity, Fraction] = {
    Quantity.RESISTANCE: Fraction(10**12),
    Quantity.CAPACITANCE: Fraction(1, 10),
    Quantity.VOLTAGE: Fraction(50_000),
    Quantity.CURRENT: Fraction(10_000),
    Quantity.TEMPERATURE: Fraction(1000),
}

quantities = st.sampled_from(Quantity)


@dataclass(frozen=True)
class TypedReading:
    """A typed text and what it must mean; value and resolution are exact. [SI]"""

    text: str
    quantity: Quantity
    value: Fraction
    resolution: Fraction


@st.composite
def typed_readings(draw: st.DrawFn, quantity: Quantity | None = None) -> TypedReading:
    """A reading with its unit, decimal mark, spaces and thousands in any form people use."""
    of = quantity or draw(quantities)
    unit = draw(st.sampled_from(sorted(UNITS_AS_TYPED[of])))
    power = Fraction(10) ** UNITS_AS_TYPED[of][unit]
    whole = draw(st.integers(0, min(9_999, int(LARGEST[of] / power) - 1)))
    decimals = draw(st.integers(0, 4))
    part = draw(st.integers(0, 10**decimals - 1)) if decimals else 0
    mark = draw(st.sampled_from(".,"))
    # a comma before three digits reads as thousands too, and belongs to the refusals
    if mark == "," and decimals == 3 and 0 < whole < 1000:
        mark = "."
    shown = str(whole)
    if whole >= 1000 and draw(st.booleans()):
        shown = shown[:-3] + draw(st.sampled_from(" \u2009\u202f\u00a0")) + shown[-3:]
    if decimals:
        shown += f"{mark}{part:0{decimals}d}"
    around = st.sampled_from(["", " ", "  ", "\t"])
    return TypedReading(
        draw(around) + shown + draw(around) + unit + draw(around),
        of,
        (whole + Fraction(part, 10**decimals)) * power,
        power / 10**decimals,
    )


def values_of(quantity: Quantity) -> st.SearchStrategy[float]:
    """Values of a quantity a working program may meet, small ones as likely as large ones. [SI]"""
    low, high = BETWEEN[quantity]
    if quantity is Quantity.TEMPERATURE:
        return st.floats(low, high)
    steps = st.floats(0.0, 1.0)
    return steps.map(lambda step: min(max(low * (high / low) ** step, low), high))


Parsed = TypeVar("Parsed")


def outcome(parse: Callable[[str], Parsed], text: str) -> Parsed | str:
    """What a text is understood as, or the words it is refused with; any other exception is a failure."""
    try:
        return parse(text)
    except ReadingRefused as refusal:
        return str(refusal)


@st.composite
def typed_ranges(draw: st.DrawFn) -> tuple[str, int, int]:
    """A start capacitor's stamped range and its two ends in microfarads."""
    low = draw(st.integers(10, 900))
    high = low + draw(st.integers(1, 300))
    join = draw(st.sampled_from(["-", "–", " - ", " to ", "- "]))
    unit = draw(st.sampled_from(["MFD", " MFD", " µF", "uF", " mfd", ""]))
    volts = draw(st.sampled_from(["", " 110/125 VAC", " 220 VAC", " 330V 50/60 Hz"]))
    return f"{low}{join}{high}{unit}{volts}", low, high


_PIECES = (
    *(
        "4",
        "0",
        "12",
        "1,200",
        ".",
        ",",
        "-",
        "+",
        "/",
        "±",
        "%",
        "<",
        ">",
        " ",
        "\u2009",
        "\n",
        "\x00",
        "\u200b",
    ),
    *(
        "ohm",
        "Ω",
        "\u2126",
        "k",
        "K",
        "M",
        "m",
        "R",
        "u",
        "µ",
        "uF",
        "MFD",
        "mF",
        "F",
        "V",
        "VAC",
        "mV",
        "A",
        "mA",
    ),
    *(
        "°C",
        "°",
        "OL",
        "O.L",
        "0L",
        "o",
        "open",
        "inf",
        "nan",
        "∞",
        "short",
        "e",
        "1e9",
        "٣",
        "½",
        "²",
        "to",
        "Hz",
    ),
)

#: Anything a keyboard, a broken app or an attacker may send: never more than a few hundred characters.
hostile_text: st.SearchStrategy[str] = st.one_of(
    st.text(alphabet=st.characters(exclude_categories=()), max_size=30),
    st.lists(st.sampled_from(_PIECES), max_size=8).map("".join),
    st.text(alphabet="0123456789.,-+/ kKmMRuΩFVAC%±", max_size=20),
    st.sampled_from(
        ["9" * 81, "9" * 300, "1" + "0" * 60, "0." + "0" * 70 + "1", " " * 200, "OL" * 50, "1 000" * 15]
    ),
)

_SHOWN = st.text(
    alphabet=st.characters(exclude_categories=("Cc", "Cs"), exclude_characters=TURNING_LETTERS), max_size=30
)
_NEEDED = _SHOWN.filter(lambda text: bool(text.strip()))
_PAGES = st.text(
    alphabet=st.characters(
        exclude_categories=("Cc", "Cs"), include_characters="\n\t", exclude_characters=TURNING_LETTERS
    ),
    max_size=60,
)
_IDS = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,11}", fullmatch=True)
_ZONES = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
_TIMES = st.one_of(
    st.datetimes(datetime(2026, 3, 2), datetime(2026, 3, 2, 0, 0, 9), timezones=st.just(UTC)),
    st.datetimes(datetime(1971, 1, 2), datetime(2199, 12, 30), timezones=_ZONES),
)
_OWN_METERS = st.one_of(
    st.just({}),
    st.builds(
        lambda name, scale, counts: {
            "name": name,
            "ranges": [
                {
                    "quantity": "resistance",
                    "full_scale": scale,
                    "resolution": 0.1,
                    "percent": 1.5,
                    "counts": counts,
                }
            ],
        },
        _NEEDED.map(str.strip).filter(bool),
        st.floats(1, 1e9),
        st.integers(1, 9),
    ),
)
_DEVICES = st.sampled_from(["", "phone-a", "phone-b", "desk-1"]) | _SHOWN
#: Mostly as devices count, some by nobody, some damaged.
_TURNS = st.one_of(
    st.integers(0, 12), st.integers(0, 12), st.sampled_from([0, 4999, 5001, 9_999, 10_000, LAST_TURN])
)
_AMPS = st.none() | st.floats(0.1, 200)
_HASHES = st.sampled_from(["0" * 64, "a" * 64]) | st.from_regex(r"[0-9a-f]{64}", fullmatch=True)
PROBE_NAMES = (
    *("pins.C-R", "pins.C-S", "pins.S-R", "pins.shell", "leads.short", "supply.volts", "supply.volts_start"),
    *("attempt.as_found", "attempt.known_good", "fit.current_relay", "fit.ptc", "start_capacitor.farads"),
    *("current_relay.coil", "ptc.shake", "between.l-n", "no.such", "pins.C-X"),
)
PART_NAMES = (
    "start_capacitor",
    "run_capacitor",
    "current_relay",
    "ptc",
    "overload_protector",
    "compressor",
    "x",
)
_GATES = (
    "power-off-proved-dead",
    "capacitors-discharged",
    "cover-on",
    "stand-clear",
    "flammable-caution",
    "no",
)
_VALUES = (
    "4.7",
    "OL",
    "0.0",
    "104 uF",
    "118 V",
    "hum_click",
    "silent",
    "runs",
    "not sure",
    "rattles",
    "??",
    "1,200",
)
_ARRANGEMENTS = ("csir-current-relay", "rsir-ptc", "psc", "inverter-driven", "three-phase", "no-such")

_FIELDS: dict[str, dict[str, st.SearchStrategy[Any]]] = {
    "opened": {"shop": _SHOWN, "customer": _SHOWN, "equipment": _SHOWN, "invented": st.booleans()},
    "machine": {
        "arrangement": st.sampled_from(_ARRANGEMENTS) | _NEEDED,
        "protector": st.sampled_from(["", "external", "internal", "integrated", "none"]),
        "volts": st.sampled_from([115.0, 230.0, 400.0]) | st.floats(1, 999),
        "hertz": st.sampled_from([50.0, 60.0, 16.7]),
        "locked_rotor_amps": _AMPS,
        "rated_load_amps": _AMPS,
        "refrigerant": st.sampled_from(["", "R134a", "R600a", "R999"]) | _SHOWN,
    },
    "meter": {"leads_nulled": st.booleans(), "lead_ohms": st.none() | st.floats(0, 5), "own": _OWN_METERS},
    "stamp": {
        "part": st.sampled_from(PART_NAMES),
        "text": st.sampled_from(["88-108 MFD 110/125 VAC", "15 µF"]) | _NEEDED,
    },
    "complaint": {
        "heard": st.sampled_from(["silent", "hum", "hum_click", "runs", "unknown"]),
        "words": _PAGES,
    },
    "gate": {
        "gate": st.sampled_from(_GATES),
        "words": _PAGES,
        "ended": st.none() | st.integers(0, 3),
    },
    "reading": {
        "probe": st.sampled_from(PROBE_NAMES),
        "value": st.sampled_from(_VALUES) | _NEEDED,
        "temperature": st.sampled_from(["", "cold", "hot", "?", "23 C", "lukewarm"]),
        "note": _PAGES,
    },
    "hazard": {
        "hazard": st.sampled_from(sorted(stops())),
        "gate": st.sampled_from(["", *_GATES[:3]]),
        "words": _PAGES,
    },
    "cleared": {"of": _IDS, "words": _PAGES.filter(lambda text: bool(text.strip()))},
    "recording": {
        "of": st.sampled_from(["current", "sound"]),
        "heard": st.lists(st.sampled_from(HEARD[:-1]), min_size=1, max_size=3),
        "causes": st.just({}) | st.just({"seized": 0.0, "sound": -3.5}),
    },
    "skip": {"probe": st.sampled_from(PROBE_NAMES), "reason": _PAGES},
    "wait": {"minutes": st.floats(0, 500)},
    "fitted": {"part": st.sampled_from(PART_NAMES), "note": _PAGES},
    "photo": {"sha256": _HASHES, "caption": _PAGES},
    "mark": {"sha256": _HASHES, "x": st.floats(0, 100), "y": st.floats(0, 100), "label": _NEEDED},
    "note": {"text": _PAGES.filter(lambda text: bool(text.strip()))},
    "decision": {"remedies": st.lists(_NEEDED, min_size=1, max_size=3), "words": _PAGES},
    "undo": {"of": _IDS},
}


@st.composite
def events(draw: st.DrawFn, kinds: tuple[str, ...] = tuple(_FIELDS)) -> Event:
    """One event of any kind, well formed, not always sensible."""
    kind = draw(st.sampled_from(kinds))
    given = {name: draw(values) for name, values in _FIELDS[kind].items()}
    common = {"id": draw(_IDS), "at": draw(_TIMES), "device": draw(_DEVICES), "turn": draw(_TURNS)}
    return event_from({"kind": kind, **common, **given})


@st.composite
def calls(draw: st.DrawFn, most: int = 12) -> tuple[Event, ...]:
    """The events of a call under different ids; many undos and answers point at an event of the call."""
    found = draw(st.lists(events(), max_size=most, unique_by=lambda event: event.id))
    ids = [event.id for event in found]
    aimed = []
    for event in found:
        if isinstance(event, Undone | HazardCleared) and draw(st.booleans()):
            event = replace(event, of=draw(st.sampled_from(ids)))
        aimed.append(event)
    return tuple(aimed)
