"""The list of calls, with search."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from humclick.messages import N_, from_data
from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.typeset import page

#: How far a call has come, in words.
STATES: dict[str, str] = {
    "bare": N_("begun"),
    "recognised": N_("another kind of test"),
    "open": N_("open"),
    "handed": N_("handed over"),
    "stopped": N_("stopped for safety"),
    "passing": N_("nothing broken"),
    "needed": N_("cause found"),
    "fitted": N_("new part fitted"),
    "repaired": N_("repaired"),
}


def _matches(row: Mapping[str, Any], wanted: str, desk: Desk) -> bool:
    language = desk.language
    texts = [str(row.get(name, "")) for name in ("title", "customer", "id")]
    for message in (from_data(row.get("equipment")), from_data(row.get("verdict"))):
        texts += [message, language.plain(message)]
    texts.append(language.text(STATES.get(str(row.get("state", "")), "")))
    everything = " ".join(texts).casefold()
    return all(word in everything for word in wanted.casefold().split())


def _row(row: Mapping[str, Any]) -> dict[str, Any]:
    names = ("id", "title", "customer", "state", "updated", "complaint")
    shown_row: dict[str, Any] = {name: str(row.get(name, "") or "") for name in names}
    shown_row |= {name: from_data(row.get(name)) for name in ("equipment", "verdict")}
    try:
        shown_row["at"] = datetime.fromisoformat(shown_row["updated"])
    except ValueError:
        shown_row["at"] = None
    shown_row["invented"] = bool(row.get("invented", False))
    return shown_row


def show(desk: Desk) -> Reply:
    """The calls kept here, the latest first."""
    wanted = desk.request.asked("q")
    rows = [_row(row) for row in desk.request.calls or () if not wanted or _matches(row, wanted, desk)]
    rows.sort(key=lambda row: row["updated"], reverse=True)
    open_ = [row for row in rows if row["state"] not in ("repaired", "passing", "handed", "recognised")]
    closed = [row for row in rows if row not in open_]
    return page("calls.html", desk, N_("Calls"), open=open_, closed=closed, wanted=wanted, states=STATES)
