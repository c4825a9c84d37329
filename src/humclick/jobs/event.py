"""What every event of a call has, and the bounds of it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Annotated, ClassVar

import msgspec

from humclick.diagnosis.situation import Heard
from humclick.errors import OutOfRange
from humclick.jobs.fields import check_text
from humclick.messages import Message

__all__ = ["EARLIEST", "HEARD", "LAST_TURN", "LATEST", "UNTIMED", "Event"]

#: Years in which an event can have happened.
EARLIEST, LATEST = 1970, 2200

#: From here events without a time are numbered, a microsecond apart, so that they keep their order.
UNTIMED = datetime(1970, 1, 1, tzinfo=UTC)

#: Largest turn an event may have. No call gets there: `humclick.jobs.order.MOST_AHEAD` for each event it may
#: have comes to far less.
LAST_TURN = 2**31 - 1

#: Answers to "what did you hear?": those of a start attempt, or not known.
HEARD: tuple[str, ...] = (*(str(heard) for heard in Heard), "unknown")

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """
    What every event has.

    Attributes
    ----------
    id : str
        Its own name, unique in the call: letters, digits, dot, dash and underscore.
    at : datetime
        When, with the zone.
    device : str
        Which phone or desk wrote it.
    turn : int
        One more than the largest that device knew of in the call; 0 where nobody counted.
    """

    kind: ClassVar[str] = ""

    id: str
    at: datetime
    device: str = ""
    turn: Annotated[int, msgspec.Meta(extra_json_schema={"minimum": 0, "maximum": LAST_TURN})] = 0

    def __post_init__(self) -> None:
        if not _ID.fullmatch(self.id):
            raise OutOfRange(
                Message(
                    "id must be 1 to 64 letters, digits, dots, dashes or underscores, got {id}",
                    id=ascii(self.id)[:80],
                )
            )
        offset = self.at.utcoffset()
        if offset is None:
            raise OutOfRange(Message("at needs its time zone, such as 2026-03-02T09:30:00+01:00 or …Z"))
        if offset % timedelta(minutes=1) or not EARLIEST <= self.at.year <= LATEST:
            raise OutOfRange(
                Message(
                    "at must lie between {earliest} and {latest}, in a zone of whole minutes, got {at}",
                    earliest=EARLIEST,
                    latest=LATEST,
                    at=str(self.at),
                )
            )
        check_text(self.device, "device")
        if not 0 <= self.turn <= LAST_TURN:
            raise OutOfRange(
                Message(
                    "turn must be a whole number from 0 to {last_turn}, got {turn}",
                    last_turn=LAST_TURN,
                    turn=self.turn,
                )
            )
        self._check()

    def _check(self) -> None:
        """Refuse what this kind of event cannot hold."""

    @property
    def timed(self) -> bool:
        """Whether somebody wrote down when it happened."""
        return self.at.year > 1970
