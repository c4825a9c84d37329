"""
Recordings: a clamp's log or the sound of a start.
"""

from __future__ import annotations

from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.typeset import page

__all__ = ["show"]


def show(desk: Desk) -> Reply:
    """Where a recording is handed in."""
    _ = desk.language.text
    return Reply(title=_("Recordings"), html=page("recordings.html", desk), id=desk.id)
