"""What a phone needs to put the program on its home screen."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from PIL import Image

from humclick.errors import Refused
from humclick.web.icons import png_of
from tests.web.bench import client

ICONS = Path("src/humclick/web/static/icons")


def test_every_icon_of_the_manifest_is_served_in_its_size(tmp_path: Path) -> None:
    """Each is of the type and size the manifest says; both sizes are there, plain and maskable."""
    asked = client(tmp_path)
    page = asked("GET", "/").text
    address = page.partition('rel="manifest" href="')[2].partition('"')[0]
    manifest = json.loads(asked("GET", address).text)
    seen = set()
    for icon in manifest["icons"]:
        answer = asked("GET", address.rpartition("/")[0] + "/" + icon["src"])
        assert answer.headers["content-type"] == icon["type"]
        if icon["type"] == "image/png":
            size = Image.open(io.BytesIO(answer.content)).size
            assert f"{size[0]}x{size[1]}" == icon["sizes"]
            seen.add((icon["sizes"], icon["purpose"]))
    assert seen == {(f"{n}x{n}", purpose) for n in (192, 512) for purpose in ("any", "maskable")}
    assert {"name", "short_name", "start_url", "scope", "display", "id"} <= manifest.keys()


def test_a_maskable_icon_keeps_its_drawing_in_the_middle() -> None:
    """Nothing but the ground lies outside the circle of 40 % of the side that no mask cuts."""
    image = Image.open(io.BytesIO(png_of((ICONS / "maskable.svg").read_text(), 192))).convert("L")
    grey = image.tobytes()
    dark = [(k % 192, k // 192) for k, value in enumerate(grey) if value < 128]
    assert len(dark) > 500
    assert max((x - 96) ** 2 + (y - 96) ** 2 for x, y in dark) <= (0.4 * 192) ** 2


def test_a_drawing_that_is_not_understood_is_refused() -> None:
    """No icon is made of half a drawing."""
    with pytest.raises(Refused, match="ellipse"):
        png_of('<svg viewBox="0 0 64 64"><ellipse rx="3" ry="4"/></svg>', 16)
