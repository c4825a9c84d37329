"""What works without a network, and why it may not."""

from __future__ import annotations

from humclick.messages import N_
from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.typeset import page


def show(desk: Desk) -> Reply:
    """Whether this page can work offline here."""
    return page("offline.html", desk, N_("Without a network"))
