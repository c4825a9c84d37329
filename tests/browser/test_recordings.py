"""A recording taken in on the phone, with no server in reach: drawn, in words, and with what it changed."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
from playwright.sync_api import FilePayload, Playwright

from tests.browser.bench import PHONE, SLOW, Server, begun, browser, kept_offline, next_screen
from tests.recordings.sounds import sound
from tests.web.test_api import clamp_log

#: Of what is played to the microphone; it holds one attempt of some seconds. [s]
LISTENED = 12.0


def played(path: Path) -> Path:
    """A start that hums and clicks, as a file the browser takes for its microphone. Invented."""
    one = sound("hum_click", 990_050, noise="fan", hertz=60.0, decibels=15.0, rate=48_000.0)
    loud = np.clip(one.values / np.max(np.abs(one.values)), -1, 1)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes((loud * 30_000).astype("<i2").tobytes())
    return path


def test_a_clamps_log_is_drawn_and_its_effect_shown(play: Playwright, server: Server, tmp_path: Path) -> None:
    """With the server away the log becomes a drawing with its attempts, sentences, and suspects moved."""
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.goto(f"{server.address}{path}/recordings")
        kept_offline(page)
        server.stop()
        log = FilePayload(name="start.csv", mimeType="text/csv", buffer=clamp_log())
        page.locator("#recording").set_input_files([log])
        with next_screen(page):
            page.locator("form[action$='/recordings'] button.main").click()
        assert page.url.endswith("/recordings")
        assert page.locator("svg.course rect.span").count() == 3
        assert page.locator(".recording .says").count() >= 2
        rows = page.locator("table.shifts tbody tr")
        before, after = rows.first.locator("td").all_inner_texts()
        assert before != after
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_sound_of_a_start_is_recorded_by_the_microphone(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """What the browser's microphone hears becomes evidence and a drawing; a file is played into it."""
    file = played(tmp_path / "start.wav")
    given = (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={file}",
    )
    with browser(play, tmp_path / "profile", PHONE, arguments=given, permissions=("microphone",)) as context:
        page, path = context.new_page(), begun(server)
        page.goto(f"{server.address}{path}/recordings")
        kept_offline(page)
        server.stop()
        button = page.locator("[data-record]")
        button.click()
        page.wait_for_selector("[data-record][aria-pressed=true]", timeout=SLOW)
        page.wait_for_timeout(1000 * LISTENED)  # it takes as long as the start does
        button.click()
        page.wait_for_selector("[data-record]:not([aria-pressed])", timeout=SLOW)
        assert page.locator("#recording").evaluate("field => field.files[0].name") == "start.wav"
        with next_screen(page):
            page.locator("form[action$='/recordings'] button.main").click()
        assert page.locator("svg.course rect.span.locked").count() >= 1
        assert "hum" in page.locator(".recording").inner_text().casefold()
