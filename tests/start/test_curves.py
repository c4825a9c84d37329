"""Curves of a start in the terminal and as pictures, and a recording laid over them."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from humclick.errors import OutOfRange, Refused
from humclick.start import curves
from humclick.start.curves import (
    MeasuredCurrent,
    curves_text,
    describe_run,
    lay_over,
    measured_current,
    notable_events,
    panels_of,
    panels_to_compare,
)
from humclick.start.pictures import picture_png, picture_svg
from humclick.start.run import Run, Switched

SVG = "{http://www.w3.org/2000/svg}"


def a_run(release: float = 0.6, *, top: float = 12.0) -> Run:
    """An invented start: locked current, run-up, starter lets go."""
    t = np.arange(1, 181) / 120
    speed = 360.0 * np.clip(t / 0.4, 0, 1)
    line = np.where(t < release, top - 4.0 * np.clip(t / 0.4, 0, 1), 1.5)
    start = np.where(t < release, 4.0, 0.05)
    still = np.full_like(t, 25.0)
    return Run(
        time=t, line=line, run=line, start=start, speed=speed, torque=np.sin(t), gear=start,
        ptc=25 + 100 * np.clip(t / release, 0, 1), protector=25 + 5 * t, run_winding=still,
        start_winding=25 + 8 * np.clip(t / release, 0, 1), shell=still, difference=0 * t,
        events=(
            Switched(0.005, "rotor breaks away", 0.1),
            Switched(0.3, "three quarters of synchronous speed", 270.0),
            Switched(release, "start current has halved", 130.0),
        ),
        features={},
    )  # fmt: skip


def a_log(run: Run, late: float, factor: float = 1.0, every: float = 0.05) -> MeasuredCurrent:
    """What a clamp meter's log of that run would hold, begun before power came."""
    t = np.arange(0.0, 1.5 + late, every)
    return measured_current(t, np.interp(t - late, run.time, run.line * factor, left=0.0))


@pytest.mark.parametrize("plain", [True, False])
def test_panels_stand_in_a_terminal(plain: bool) -> None:
    """Current, speed, torque and temperature are drawn with units, names and within the width."""
    text = curves_text(panels_of(a_run()), width=76, plain=plain)
    for said in ("current [A]:", "o start winding", "speed [rev/min]", "torque [N m]", "temperature [°C]:"):
        assert said in text
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= 77
    assert ("|" in text) == plain


def test_a_terminal_without_the_drawing_library_gets_letters(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where plotext is not installed the same curves come in plain letters."""
    panels = panels_of(a_run())
    monkeypatch.setattr(curves, "_plotext", lambda: None)
    assert curves_text(panels) == curves_text(panels, plain=True)


def test_the_plain_curve_falls_where_the_current_falls() -> None:
    """In the plain picture the line current is in the top rows first and in the bottom rows at the end."""
    rows = curves_text(panels_of(a_run())[:1], plain=True).splitlines()[1:12]
    column = {k: [row[11 + k] if len(row) > 11 + k else " " for row in rows] for k in (0, 60)}
    assert "#" in column[0][:3]
    assert "#" in column[60][-3:]
    assert "#" not in column[60][:8]


def test_a_reader_who_cannot_see_is_told() -> None:
    """The words hold highest current, speed and the moments of switching."""
    told = describe_run(a_run())
    assert "reaches 11.9 A" in told
    assert "3438 revolutions" in told
    assert "Start current has halved at 0.60 s" in told
    still = replace(a_run(), speed=np.zeros(180))
    assert "does not turn" in describe_run(still)


def test_a_recording_is_moved_to_where_it_belongs() -> None:
    """A log begun 0.83 s before power is moved by that, and a clamp that reads 20 % high is found out."""
    run = a_run()
    laid = lay_over(run, a_log(run, 0.83, 1.2))
    assert laid.shift == pytest.approx(-0.83, abs=0.02)
    assert laid.factor == pytest.approx(1.2, abs=0.03)
    assert lay_over(run, a_log(run, 0.83)).apart < 0.05


def test_another_start_does_not_lie_on_it() -> None:
    """A recording in which the starter lets go half a second later stands clearly apart."""
    laid = lay_over(a_run(0.6), a_log(a_run(1.1), 0.4))
    assert laid.apart > 0.15


def test_a_waveform_becomes_rms() -> None:
    """A 60 Hz wave of 10 A rms is drawn as 10 A; one sampled too slowly is refused."""
    t = np.arange(0, 1, 1e-3)
    seen = measured_current(t, 10 * math.sqrt(2) * np.sin(2 * math.pi * 60 * t), 60.0)
    assert np.median(seen.amps) == pytest.approx(10.0, rel=0.02)
    with pytest.raises(OutOfRange, match="too few"):
        measured_current(t[::10], np.sin(2 * math.pi * 60 * t[::10] + 0.3), 60.0)


@pytest.mark.parametrize(
    ("time", "amps", "said"),
    [([0.0, 1.0], [1.0], "as many times"), ([0.0, 1.0, 0.5], [1.0, 1.0, 1.0], "rise"), ([0.0], [1.0], "two")],
)
def test_a_bad_recording_is_refused(time: list[float], amps: list[float], said: str) -> None:
    """Lengths that differ, times that do not rise and a single sample are named."""
    with pytest.raises(Refused, match=said):
        measured_current(time, amps)


def test_no_current_cannot_be_laid_over() -> None:
    """A silent recording is refused instead of being moved anywhere."""
    with pytest.raises(Refused, match="no current"):
        lay_over(a_run(), measured_current([0.0, 1.0, 2.0], [0.0, 0.0, 0.0]))


def drawing(tag: str = "start") -> str:
    """The picture of the invented run with a recording."""
    run = a_run()
    laid = lay_over(run, a_log(run, 0.3, 1.05))
    return picture_svg(
        panels_of(run, laid.measured), "A start <1>", describe_run(run), events=notable_events(run), tag=tag
    )


def test_a_picture_is_the_same_each_time() -> None:
    """The same curves give the same SVG, without a date."""
    first = drawing()
    assert first == drawing()
    assert not re.search(r"20\d\d-\d\d", first)


def test_a_picture_has_words_and_no_style() -> None:
    """The SVG is well formed, has title, description and names, and needs no style sheet or script."""
    text = drawing()
    root = ElementTree.fromstring(text)
    assert root.get("role") == "img"
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert title.text == "A start <1>"
    assert desc is not None
    assert "revolutions" in str(desc.text)
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    words = [each.text for each in root.iter(f"{SVG}text")]
    for name in ("measured", "line", "start winding", "starter has let go 0.60 s"):
        assert name in words
    assert "style" not in text
    assert "<script" not in text


def test_two_pictures_share_no_identifier() -> None:
    """Two pictures on one page keep their own clip paths and marks."""
    one, two = (set(re.findall(r' id="([^"]+)"', drawing(tag))) for tag in ("one", "two"))
    assert one
    assert not one & two
    with pytest.raises(Refused, match="tag"):
        drawing("a b")


def test_curves_differ_by_more_than_colour() -> None:
    """Each simulated curve of a panel has dashes of its own, a measured one has rings."""
    root = ElementTree.fromstring(drawing())
    strokes = {
        (path.get("stroke"), path.get("stroke-dasharray"))
        for path in root.iter(f"{SVG}path")
        if path.get("clip-path") and path.get("stroke-width") == "1.6"
    }
    assert len({dashes for _, dashes in strokes}) == len(strokes) >= 3


def test_a_png_is_one() -> None:
    """The PNG begins as one and is as wide as asked."""
    data = picture_png(panels_of(a_run()), "A start", dots=50.0)
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20], "big") == 360


def test_runs_are_compared() -> None:
    """Two runs share panels under their own names; five are too many."""
    runs = [("old", a_run()), ("new", a_run(0.9))]
    root = ElementTree.fromstring(picture_svg(panels_to_compare(runs), "Old and new", "Both."))
    words = [each.text for each in root.iter(f"{SVG}text")]
    assert words.count("old") == words.count("new") == 3
    with pytest.raises(Refused, match="one to 4"):
        panels_to_compare(runs * 3)


def test_too_little_is_not_drawn() -> None:
    """One half cycle, or a terminal of ten letters, is refused in words."""
    with pytest.raises(Refused, match="fewer than two"):
        panels_of(a_run(), seconds=0.009)
    with pytest.raises(OutOfRange, match="40 by 5"):
        curves_text(panels_of(a_run()), width=10)
