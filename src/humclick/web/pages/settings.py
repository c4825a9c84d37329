"""
Settings of this device: language, look, meter, shop.
"""

from __future__ import annotations

from dataclasses import asdict

from humclick.meters import meters
from humclick.web.desk import Desk, FormRefused
from humclick.web.exchange import LANGUAGES, THEMES, Reply, Settings
from humclick.web.typeset import page

__all__ = ["show", "take"]


def show(desk: Desk) -> Reply:
    """The settings."""
    _ = desk.language.text
    return Reply(title=_("Settings"), html=page("settings.html", desk, meters=meters(), themes=THEMES))


def take(desk: Desk) -> Reply:
    """
    Change the settings; the caller keeps them.

    Raises
    ------
    FormRefused
        If one of them is not to be had.
    """
    request = desk.request
    language, theme, meter = request.given("language"), request.given("theme"), request.given("meter")
    if language not in LANGUAGES:
        raise FormRefused("language", "choose one of the languages shown")
    if theme not in THEMES:
        raise FormRefused("theme", "choose one of the looks shown")
    if meter and meter not in meters():
        raise FormRefused("meter", "choose one of the meters shown")
    if len(request.given("shop")) > 300:
        raise FormRefused("shop", "shop may have 300 characters at most")
    chosen = Settings(language, theme, meter, request.given("leads_nulled") != "", request.given("shop"))
    return Reply(status=303, go="/settings?kept=1", settings=asdict(chosen), language=language)
