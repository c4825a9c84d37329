"""The look holds in sun and dark: contrast, sizes of what is pressed, one set of colours a look."""

from __future__ import annotations

import re
from importlib import resources

import pytest

from tests.published import published

CSS = resources.files("humclick.web").joinpath("static", "app.css").read_text(encoding="utf-8")
#: Text on its ground, by the names of the colours.
PAIRS = (
    *(("ink", "paper"), ("soft", "paper"), ("link", "paper"), ("warm", "paper"), ("paper", "ink")),
    *(
        ("ink", "shade"),
        ("soft", "shade"),
        ("ink", "warm-ground"),
        ("warm", "warm-ground"),
        ("paper", "soft"),
    ),
    *(("on-hazard", "hazard"), ("draw-ink", "draw-paper"), ("draw-soft", "draw-paper")),
    *(("draw-ink", "draw-shell"), *(("draw-ink", f"draw-share-{k}") for k in range(11))),
)


def colours(look: int) -> dict[str, str]:
    """Colours of a look: 0 is light, 1 is dark; one that is given alone serves both."""
    found = re.search(r":root \{([^}]*)\}", CSS)
    assert found is not None
    given = re.findall(r"--([\w-]+): (?:light-dark\()?(#[0-9a-f]{6})(?:, (#[0-9a-f]{6})\))?;", found[1])
    return {name: dark if look and dark else light for name, light, dark in given}


LIGHT, DARK = colours(0), colours(1)


def luminance(colour: str) -> float:
    """Relative luminance of a colour."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours."""
    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@published(source="WCAG 2.2, definition of contrast ratio", where="black on white", printed_to="21")
def test_contrast_of_black_on_white_is_21() -> None:
    """Black on white has the ratio 21 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=0.1)


@published(source="WCAG 2.2, success criterion 1.4.6 (level AAA)", where="7:1 for text", printed_to="7")
def test_text_has_a_contrast_of_seven_in_both_looks() -> None:
    """Every text colour stands at least 7 to 1 against the ground it is used on, light and dark."""
    for look in (LIGHT, DARK):
        for text, ground in PAIRS:
            assert contrast(look[text], look[ground]) >= 7.0, (text, ground)


def test_marks_stand_out_from_the_drawing() -> None:
    """The two probe marks stand at least 3 to 1 against paper and shell, and differ in shape as well."""
    for look in (LIGHT, DARK):
        for mark in ("draw-mark-1", "draw-mark-2"):
            assert contrast(look[mark], look["draw-paper"]) >= 3.0
            assert contrast(look[mark], look["draw-shell"]) >= 3.0


def test_dark_is_the_same_by_choice_and_by_device() -> None:
    """Both looks stand in one table, of which the setting, else the device, takes its half."""
    assert "prefers-color-scheme" not in CSS
    assert "color-scheme: light dark;" in CSS
    for look in ("light", "dark"):
        assert f':root[data-theme="{look}"] {{ color-scheme: {look}; }}' in CSS
    assert all(
        DARK[name] != LIGHT[name] for name in ("paper", "ink", "soft", "link", "draw-paper", "draw-ink")
    )


def test_what_is_pressed_is_large_enough() -> None:
    """Buttons, fields, tiles and keys are at least 48 pixels high."""
    for selector in ("button, .button", "input, select, textarea", ".tile", ".keypad button", ".small"):
        rule = re.search(rf"^{re.escape(selector)} \{{([^}}]*)\}}", CSS, re.MULTILINE)
        assert rule is not None, selector
        high = re.search(r"min-height: (\d+)px", rule[1])
        assert high is not None, selector
        assert int(high[1]) >= 48


def test_nothing_is_fetched_from_elsewhere() -> None:
    """The style names no font, picture or sheet from anywhere."""
    assert not re.search(r"url\(|@import|https?:", CSS)
