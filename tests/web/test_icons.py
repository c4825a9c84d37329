"""What a phone needs to put the program on its home screen."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from PIL import Image

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


@pytest.mark.parametrize("size", [192, 512])
@pytest.mark.parametrize("name", ["mark", "maskable"])
def test_every_drawing_lies_beside_its_pictures(name: str, size: int) -> None:
    """A PNG of each size phones ask for is in the folder of the SVG it was made of."""
    assert (ICONS / f"{name}.svg").is_file()
    with Image.open(ICONS / f"{name}-{size}.png") as picture:
        assert picture.size == (size, size)


def test_a_maskable_icon_keeps_its_drawing_in_the_middle() -> None:
    """Nothing but the ground lies outside the circle of 40 % of the side that no mask cuts."""
    with Image.open(ICONS / "maskable-192.png") as picture:
        grey = picture.convert("L").tobytes()
    dark = [(k % 192, k // 192) for k, value in enumerate(grey) if value < 128]
    assert len(dark) > 500
    assert max((x - 96) ** 2 + (y - 96) ** 2 for x, y in dark) <= (0.4 * 192) ** 2
