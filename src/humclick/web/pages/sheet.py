"""
The job sheet as a page that prints well: for the customer, for the next technician, for the parts counter.
"""

from __future__ import annotations

from markupsafe import Markup

from humclick.jobs.sheet.render import sheet_of
from humclick.safety import defer
from humclick.web.desk import Desk
from humclick.web.drawings import wiring
from humclick.web.exchange import Reply
from humclick.web.pages.photos import photos_of
from humclick.web.typeset import page

__all__ = ["show"]


def show(desk: Desk) -> Reply:
    """The sheet."""
    _ = desk.language.text
    made = sheet_of(desk.call, weighed=desk.weighed, before=desk.before)
    machine = desk.call.machine
    drawn = wiring(machine, desk.language).whole if machine is not None else Markup()
    html = page("sheet.html", desk, sheet=made, drawing=drawn, defer=defer(), photos=photos_of(desk))
    return Reply(title=_("Job sheet"), html=html, id=desk.id)
