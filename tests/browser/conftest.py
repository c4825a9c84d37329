"""A real Chromium, or a plain word why there is none."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Playwright, sync_playwright

from humclick.web.offline.build import BuildFailed, build
from tests.browser.bench import CHROMIUM, ROOT, Server


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip what needs a browser where there is none."""
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents and not CHROMIUM.exists():
            item.add_marker(pytest.mark.skip(reason=f"no Chromium at {CHROMIUM}"))


@pytest.fixture(scope="session", autouse=True)
def built() -> None:
    """The browser's engine, made of the sources as they are; what is made already is left as it is."""
    try:
        build(ROOT)
    except BuildFailed as error:
        pytest.skip(f"the part that runs in the browser cannot be made here: {error}")


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
