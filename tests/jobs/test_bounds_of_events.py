"""What an event can hold: each bound taken just at it and refused just beyond it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from humclick.errors import Refused
from humclick.jobs.call import Call
from humclick.jobs.event import EARLIEST, LAST_TURN, LATEST, Event
from humclick.jobs.event_media import PhotoMarked, PhotoTaken, RecordingTaken
from humclick.jobs.event_tables import event_from, new_event
from humclick.jobs.fields import PAGE, check_amount
from humclick.jobs.fold import fold
from humclick.jobs.machines import cooled, machine_read
from humclick.jobs.undos import taken_back
from humclick.physics.cooling import minutes_for
from humclick.readings.stamps import parse_stamp
from tests.visit import MACHINES, machine_of

HASH = "0123456789abcdef" * 4
NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
RECORDING = {"kind": "recording", "of": "current", "heard": ["hum"]}
MARK = {"kind": "mark", "sha256": HASH, "x": 50, "y": 50, "label": "pin C"}
PHOTO = {"kind": "photo", "sha256": HASH}
NOTE = {"kind": "note", "text": "x"}


def made(base: dict[str, Any], **changed: Any) -> Event:
    return event_from({"id": "a", "at": NOW, **base, **changed})


#: Field, the last value that is taken, the first that is not; of what kind of event.
BOUNDS: list[tuple[dict[str, Any], str, Any, Any]] = [
    (RECORDING, "seconds", 2_678_400, 2_678_401),
    (RECORDING, "seconds", 0, -1),
    (RECORDING, "course", [1.0] * 1000, [1.0] * 1001),
    (RECORDING, "course", [1e9, -1e9], [1.1e9]),
    (RECORDING, "heard", ["hum"] * 500, ["hum"] * 501),
    (RECORDING, "heard", ["runs"], []),
    (RECORDING, "heard", ["silent"], ["unknown"]),
    (RECORDING, "causes", {f"c{k}": 0.0 for k in range(50)}, {f"c{k}": 0.0 for k in range(51)}),
    (RECORDING, "causes", {"healthy": -1e4}, {"healthy": -1.1e4}),
    (RECORDING, "causes", {"healthy": 0.0}, {"healthy": 0.1}),
    (RECORDING, "unit", "dB", "V"),
    (RECORDING, "of", "sound", "smell"),
    (RECORDING, "spans", [[0, 1, "click"]] * 500, [[0, 1, "click"]] * 501),
    (RECORDING, "spans", [[0, 1, "locked"]], [[0, 1.5, "locked"]]),
    (RECORDING, "spans", [[1, 1, "running"]], [[1, 0.5, "running"]]),
    (RECORDING, "spans", [[0, 1, "hum_click"]], [[0, 1, "quiet"]]),
    (RECORDING, "said", [{"id": "x"}] * 50, [{"id": "x"}] * 51),
    (RECORDING, "words", "x" * PAGE, "x" * (PAGE + 1)),
    (MARK, "x", 100, 100.1),
    (MARK, "y", 0, -0.1),
    (MARK, "label", "C", ""),
    (PHOTO, "sha256", HASH, HASH[:-1]),
    (PHOTO, "caption", "x" * PAGE, "x" * (PAGE + 1)),
    (NOTE, "turn", LAST_TURN, LAST_TURN + 1),
    (NOTE, "turn", 0, -1),
    (NOTE, "id", "a" * 64, "a" * 65),
    (NOTE, "id", "A.b-c_1", "-a"),
    (NOTE, "at", datetime(EARLIEST, 1, 1, tzinfo=UTC), datetime(EARLIEST - 1, 12, 31, tzinfo=UTC)),
    (NOTE, "at", datetime(LATEST, 12, 31, tzinfo=UTC), datetime(LATEST + 1, 1, 1, tzinfo=UTC)),
    (NOTE, "at", NOW, NOW.replace(tzinfo=timezone(timedelta(seconds=30)))),
]


@pytest.mark.parametrize(("base", "field", "last", "beyond"), BOUNDS)
def test_a_field_is_taken_up_to_its_bound(base: dict[str, Any], field: str, last: Any, beyond: Any) -> None:
    """And refused beyond it, with its name."""
    event = made(base, **{field: last})
    assert isinstance(event, (RecordingTaken, PhotoMarked, PhotoTaken, Event))
    with pytest.raises(Refused, match=field):
        made(base, **{field: beyond})


@pytest.mark.parametrize(
    ("value", "zero", "taken"),
    [
        *((5.0, False, True), (5.1, False, False), (0.0, False, True), (0.0, True, False), (0.1, True, True)),
        *((-0.1, False, False), (float("nan"), False, False), (None, True, True)),
    ],
)
def test_an_amount_lies_between_nothing_and_its_highest(value: float | None, zero: bool, taken: bool) -> None:
    """Nothing itself only where it may be; what nobody wrote is no amount."""
    if taken:
        check_amount(value, "amps", 5.0, "A", above_zero=zero)
        assert value is None or 0 <= value <= 5.0
        return
    with pytest.raises(Refused, match="amps"):
        check_amount(value, "amps", 5.0, "A", above_zero=zero)


def test_a_new_event_has_a_name_of_its_own() -> None:
    """Sixteen hexadecimal digits; nobody counted it, and no device wrote it, unless said."""
    one, other = new_event("note", text="x"), new_event("note", text="x")
    assert one.id != other.id
    assert len(one.id) == 16
    int(one.id, 16)
    assert (one.turn, one.device) == (0, "")
    assert abs(one.at - datetime.now(UTC)) < timedelta(minutes=5)
    assert new_event("note", id="mine", at=NOW, device="d", turn=3, text="x").turn == 3


# -- undos --------------------------------------------------------------------------------------------------


def undone(*pairs: tuple[str, str], notes: str = "n") -> tuple[set[str], bool, list[str]]:
    """What is taken back by undos (id, of) beside a note."""
    events = [made(NOTE, id=notes), *(made({"kind": "undo", "of": of}, id=id) for id, of in pairs)]
    problems: list[str] = []
    gone, astray = taken_back(events, lambda id, text, kept: problems.append(id))
    return set(gone), astray, problems


def test_an_undo_counts_while_it_is_in_force_itself() -> None:
    """An undone undo leaves the entry; undone twice over it goes again."""
    assert undone(("u", "n")) == ({"n"}, False, [])
    assert undone(("u", "n"), ("v", "u")) == ({"u"}, False, [])
    assert undone(("u", "n"), ("v", "u"), ("w", "v")) == ({"v", "n"}, False, [])
    assert undone(("u", "n"), ("v", "u"), ("x", "n")) == ({"u", "n"}, False, [])


def test_undos_in_a_circle_do_nothing_and_those_of_nothing_are_said() -> None:
    """Both are named, and the rest of the call stands."""
    gone, astray, problems = undone(("u", "v"), ("v", "u"))
    assert (gone, astray, sorted(problems)) == ({"u", "v"}, False, ["u", "v"])
    gone, astray, problems = undone(("u", "m"))
    assert (gone, astray, problems) == (set(), True, ["u"])


# -- the machine of a call ----------------------------------------------------------------------------------


def described(*tables: dict[str, Any]) -> tuple[Any, dict[str, float], list[str]]:
    problems: list[str] = []
    events = [made(table, id=f"e{k}") for k, table in enumerate(tables)]
    machine, volts = machine_read(events, lambda id, text, kept: problems.append(f"{id}: {kept}"))
    return machine, volts, problems


CSIR = {"kind": "machine", "arrangement": "csir-current-relay", "protector": "external"}


def stamp(text: str, part: str = "start_capacitor") -> dict[str, Any]:
    return {"kind": "stamp", "part": part, "text": text}


def test_the_last_machine_that_can_be_is_the_machine() -> None:
    """One that cannot be is said and passed over; no machine has no stamps."""
    machine, _, problems = described(
        CSIR, {"kind": "machine", "arrangement": "rsir-ptc"}, {**CSIR, "arrangement": "x"}
    )
    assert machine.arrangement.id == "rsir-ptc"
    assert problems == ["e2: x"]
    assert described(stamp("88-108 MFD"))[:2] == (None, {})


def test_the_last_stamp_of_a_part_counts_with_its_volts() -> None:
    """Its range is the spread of the size; one that cannot be read is said."""
    machine, volts, problems = described(
        CSIR, stamp("88-108 MFD 165 VAC"), stamp("15 parsec"), stamp("X 4711", "overload_protector")
    )
    low, high = parse_stamp("88-108 MFD").limits("start")
    spread = machine.known["start_capacitor.capacitance"]
    assert (spread.median * spread.factor, spread.median / spread.factor) == pytest.approx((high, low))
    assert volts == {"start_capacitor": 165.0}
    assert problems == ["e2: 15 parsec"]
    machine, volts, _ = described(CSIR, stamp("88-108 MFD 165 VAC"), stamp("64-77 MFD"))
    assert volts == {}
    assert machine.known["start_capacitor.capacitance"].source == "stamp: 64-77 MFD"


@pytest.mark.parametrize(("name", "guard"), MACHINES[::4])
def test_a_machine_has_cooled_once_its_slowest_part_has(name: str, guard: str) -> None:
    """Nine in ten, for pressures, windings and whatever of it is warm."""
    machine = machine_of(name, guard)
    kinds = {part.family.heat for part in machine.parts} - {""} | {"pressures", "windings"}
    slowest = max(minutes_for(kind, 0.9) for kind in kinds)
    assert cooled(machine, slowest * 1.001)
    assert not cooled(machine, slowest * 0.99)


def test_what_is_only_written_is_no_machine() -> None:
    """A call of a note has none, and no situation."""
    job: Call = fold([made(NOTE)])
    assert job.machine is None
    assert job.situation() is None
