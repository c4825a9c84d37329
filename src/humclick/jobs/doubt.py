"""
A doubted reading, and what it may have been meant to be; every face offers the same, with one tap or key.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from humclick.diagnosis.fixes import Fix, fixes
from humclick.messages import Message

if TYPE_CHECKING:
    from humclick.diagnosis.findings import Finding
    from humclick.diagnosis.shop import Shop
    from humclick.jobs.call import Call

__all__ = ["Doubt", "doubt_of"]


@dataclass(frozen=True, slots=True)
class Doubt:
    """
    The last reading, where it may have been taken or written down wrong.

    Attributes
    ----------
    of : str
        Its event.
    probe : str
        What it was taken at.
    text : str
        Why it is doubted.
    fixes : tuple of Fix
        Ways to put it right, the likeliest first.
    """

    of: str
    probe: str
    text: Message
    fixes: tuple[Fix, ...]


def doubt_of(call: Call, shop: Shop, findings: Mapping[str, Finding]) -> Doubt | None:
    """The last reading of a call with what puts it right; None where it stands, or was read again already."""
    situation = call.situation()
    last = call.readings[-1] if call.readings else None
    if situation is None or last is None or last.reading is None or last.event not in findings:
        return None
    if sum(r.probe == last.probe and r.repairs == last.repairs for r in call.readings) > 1:
        return None
    finding = findings[last.event]
    ways = fixes(situation, shop, last.event) if finding.warns else ()
    return Doubt(last.event, last.probe, finding.text, ways) if ways else None
