"""A real Chromium, or a plain word why there is none."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Playwright, sync_playwright

from humclick.web.offline.build import BUILT, engine_version
from tests.browser.bench import CHROMIUM, Server


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip what needs a browser where there is none, or where the runtime was not built."""
    here = Path(__file__).parent
    reason = ""
    if not CHROMIUM.exists():
        reason = f"no Chromium at {CHROMIUM}"
    elif not (BUILT / "built.json").is_file():
        reason = "the browser's runtime is not built: python -m humclick.web.offline.build"
    for item in items:
        if reason and here in item.path.parents:
            item.add_marker(pytest.mark.skip(reason=reason))


@pytest.fixture(scope="session")
def play() -> Iterator[Playwright]:
    """Playwright, once."""
    with sync_playwright() as found:
        yield found


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """A server on an empty folder of its own."""
    made = Server(tmp_path / "shop", "--empty")
    yield made
    made.stop()


@pytest.fixture(scope="session")
def fresh_build() -> bool:
    """Whether the engine in the build is made of the sources as they are."""
    return f'"engine": "{engine_version()}"' in (BUILT / "built.json").read_text("utf-8")
