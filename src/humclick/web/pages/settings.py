"""Settings of this device: language, look, meter, shop, and whose safety rules hold."""

from __future__ import annotations

from dataclasses import asdict

from humclick.messages import N_, Message, languages, translator
from humclick.meters import meters
from humclick.safety import PLACES, place_of
from humclick.web.desk import Desk, FormRefused
from humclick.web.exchange import THEMES, Reply, Settings
from humclick.web.typeset import page


def show(desk: Desk) -> Reply:
    """The settings."""
    places = [(name, place_of(name)) for name in ("", *PLACES)]
    known = {
        "meters": meters(),
        "themes": THEMES,
        "places": places,
        "languages": [(code, translator(code).name) for code in languages()],
    }
    return page("settings.html", desk, N_("Settings"), **known)


def take(desk: Desk) -> Reply:
    """Change the settings; the caller keeps them."""
    request = desk.request
    language, theme, meter = request.given("language"), request.given("theme"), request.given("meter")
    if language not in languages():
        raise FormRefused("language", Message("choose one of the languages shown"))
    if theme not in THEMES:
        raise FormRefused("theme", Message("choose one of the looks shown"))
    if meter and meter not in meters():
        raise FormRefused("meter", Message("choose one of the meters shown"))
    if len(request.given("shop")) > 300:
        raise FormRefused("shop", Message("shop may have 300 characters at most"))
    place = request.given("place")
    if place and place not in PLACES:
        raise FormRefused("place", Message("choose one of the places shown"))
    nulled = request.given("leads_nulled") != ""
    chosen = Settings(language, theme, meter, nulled, request.given("shop"), place)
    return Reply(status=303, go="/settings?kept=1", settings=asdict(chosen), language=language)
