"""
Pictures of every state of the pages, at the size of a phone and of a desk: ``python -m docs.screens``.

A server on a fresh folder with the invented shop's calls, a headless Chromium, and a call worked through by
its forms. What stands in ``docs/screens`` before is replaced.
"""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import httpx
from PIL import Image, ImageDraw
from playwright.sync_api import Page, sync_playwright
from tests.browser.bench import CHROMIUM, DESK, PHONE, Server
from tests.web.test_api import clamp_log

from humclick.web.api import DEVICE

FOLDER = Path(__file__).parent / "screens"
CALL = "/call/example-"
#: Shown in the dark as well.
MAIN = ("calls", "gate", "probe", "finding", "verdict", "stop")
#: What is brought to the top of the screen first, where it is not the top of the page.
SCROLLED = {
    "timer": ".timer-row",
    "keypad": "form.entry",
    "recordings": ".recording",
    "photos": "article.photo",
}
#: Colours kept of a picture. [-]
COLOURS = 48


def photo() -> bytes:
    """A picture that stands for a photograph: a terminal cover with three wires. Drawn by us."""
    image = Image.new("RGB", (1200, 900), "#8b8f94")
    draw = ImageDraw.Draw(image)
    draw.rounded_rectangle((180, 120, 1020, 780), 90, fill="#3a3e42")
    for x, y, colour in ((420, 560, "#b03020"), (780, 560, "#e8e2d0"), (600, 300, "#202428")):
        draw.line((x, y, x + 3 * (x - 600), y + 420), fill=colour, width=34)
        draw.ellipse((x - 46, y - 46, x + 46, y + 46), fill="#d8c27a", outline="#202428", width=8)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=85)
    return buffer.getvalue()


def hidden(asked: httpx.Client, path: str, action: str) -> dict[str, list[str]]:
    """The hidden fields of a form of a page."""
    form = re.search(rf'<form[^>]*action="[^"]*/{action}".*?</form>', asked.get(path).text, re.DOTALL)
    assert form is not None, (path, action)
    fields = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form[0])
    return {name: [value for other, value in fields if other == name] for name, _ in fields}


def states(asked: httpx.Client) -> Iterator[tuple[str, str]]:
    """Name and address of every state; the calls are brought into it just before."""
    begun, verdict = f"{CALL}just-begun", f"{CALL}broken-starter"
    yield "calls", "/"
    yield "new", "/new"
    yield "settings", "/settings"
    yield "about-offline", "/about-offline"
    yield "identify", f"{begun}/identify"
    yield "identify-list", f"{begun}/identify?list=1"
    yield "nameplate", f"{begun}/plate"
    yield "pins", f"{begun}/pins"
    yield "look", begun
    chosen = f"{begun}?probe=pins.C-R"
    yield "gate", chosen
    end = (datetime.now().astimezone() + timedelta(seconds=45)).isoformat(timespec="seconds")
    yield "timer", f"{chosen}&until={end.replace('+', '%2B')}"
    asked.post(f"{begun}/reading", data={**hidden(asked, chosen, "reading"), "value": "3.4"})
    yield "probe", f"{begun}?probe=pins.C-S"
    yield "keypad", f"{begun}?probe=pins.C-S"
    yield "finding", begun
    yield "barred", f"{begun}?probe=attempt.as_found"
    yield "what-if", f"{begun}/whatif?probe=pins.C-S"
    yield "other-probes", f"{begun}/probes"
    files = {"photo": ("cover.jpg", photo(), "image/jpeg")}
    asked.post(f"{begun}/photos", data={"caption": "as found"}, files=files)
    yield "photos", f"{begun}/photos"
    asked.post(f"{verdict}/recordings", files={"recording": ("start.csv", clamp_log(), "text/csv")})
    yield "recordings", f"{verdict}/recordings"
    yield "wait", f"{CALL}hot-protector-still-hot"
    asked.post(f"{CALL}hot-protector-still-hot/hazard", data={"hazard": "leak"})
    yield "stop", f"{CALL}hot-protector-still-hot"
    yield "inverter", f"{CALL}inverter-driven"
    yield "verdict", f"{CALL}two-faults"
    yield "why", f"{CALL}two-faults/why"
    asked.post(f"{CALL}two-faults/decide", data=hidden(asked, f"{CALL}two-faults", "decide"))
    yield "decided", f"{CALL}two-faults"
    page = asked.get(f"{CALL}two-faults").text
    part = re.search(r'<select id="part".*?<option value="([^"]+)"', page, re.DOTALL)
    assert part is not None
    asked.post(f"{CALL}two-faults/fitted", data={"part": part[1], "note": "new"})
    yield "prove", f"{CALL}two-faults"
    yield "record", f"{CALL}two-faults/record"
    yield "sheet", f"{CALL}two-faults/sheet"
    yield "not-here", "/nothing-here"


def keep(page: Page, name: str) -> int:
    """One picture, with few colours; its size in bytes."""
    shot = Image.open(io.BytesIO(page.screenshot(animations="disabled"))).convert("RGB")
    path = FOLDER / f"{name}.png"
    shot.quantize(COLOURS, dither=Image.Dither.NONE).save(path, "PNG", optimize=True)
    return path.stat().st_size


def main() -> None:
    """Take them all."""
    FOLDER.mkdir(exist_ok=True)
    for old in FOLDER.glob("*.png"):
        old.unlink()
    total = 0
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        server = Server(Path(folder) / "shop")
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            views = []
            for word, (width, height) in (("phone", PHONE), ("desk", DESK)):
                for look in ("light", "dark"):
                    context = chromium.new_context(
                        viewport={"width": width, "height": height}, color_scheme=look, locale="en-GB"
                    )
                    context.add_cookies([{"name": DEVICE, "value": "bench", "url": server.address}])
                    context.route("**/app.js", lambda route: route.abort())
                    views.append((word, look, context.new_page()))
            with httpx.Client(base_url=server.address, timeout=60, cookies={DEVICE: "bench"}) as asked:
                for name, path in states(asked):
                    for word, look, page in views:
                        if look == "dark" and name not in MAIN:
                            continue
                        page.goto(server.address + path)
                        page.evaluate("document.documentElement.classList.add('js')")
                        if name in SCROLLED:
                            page.locator(SCROLLED[name]).first.evaluate("each => each.scrollIntoView()")
                        page.wait_for_load_state("networkidle")
                        total += keep(page, f"{name}-{word}" + ("-dark" if look == "dark" else ""))
        finally:
            chromium.close()
            server.stop()
    print(f"{len(list(FOLDER.glob('*.png')))} pictures, {total / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
