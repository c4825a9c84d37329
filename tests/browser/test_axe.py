"""Every page can be used by everybody: an automatic check of its roles, names, contrast and targets."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from playwright.sync_api import BrowserContext, Page, Playwright

from tests.browser.bench import DESK, PHONE, ROOT, Server, browser
from tests.sample import sampled
from tests.web.test_api import clamp_log

AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"
CALL = "/call/example-"
#: Every page, and the call screen in each of its states.
PAGES = [
    *("/", "/new", "/settings", "/about-offline"),
    *(f"{CALL}just-begun", f"{CALL}just-begun/identify", f"{CALL}just-begun/identify?list=1"),
    *(f"{CALL}broken-starter", f"{CALL}inverter-driven", f"{CALL}only-had-to-wait", f"{CALL}two-faults"),
    *(f"{CALL}just-begun/{rest}" for rest in ("plate", "pins", "probes", "record", "photos", "recordings")),
    f"{CALL}weak-run-capacitor/recordings",
    *(f"{CALL}broken-starter/{rest}" for rest in ("why", "sheet", "record")),
    *(f"{CALL}just-begun?probe=pins.C-R", f"{CALL}just-begun?probe=pins.C-R&taken=1"),
    *(f"{CALL}just-begun/whatif?probe=pins.C-R", "/nothing-here"),
]

pytestmark = pytest.mark.skipif(not AXE.is_file(), reason="axe-core is not installed: npm ci")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server with the invented shop's calls."""
    made = Server(tmp_path_factory.mktemp("shop"))
    log = {"recording": ("start.csv", clamp_log(), "text/csv")}
    answer = httpx.post(f"{made.address}{CALL}weak-run-capacitor/recordings", files=log, timeout=60)
    assert answer.status_code == 303, answer.text
    yield made
    made.stop()


@pytest.fixture(scope="module", params=["light phone", "dark desk"])
def context(
    request: pytest.FixtureRequest, play: Playwright, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[BrowserContext]:
    """A phone in the light, a desk in the dark; pages as the server sends them."""
    dark = request.param == "dark desk"
    size = DESK if dark else PHONE
    with browser(play, tmp_path_factory.mktemp("profile"), size, bypass_csp=True, dark=dark) as made:
        made.route("**/app.js", lambda route: route.abort())
        yield made


def found_by_axe(page: Page) -> list[dict[str, Any]]:
    """What is wrong, by rules of WCAG 2.2 A, AA and AAA's contrast and target size."""
    page.add_script_tag(path=AXE)
    found: list[dict[str, Any]] = page.evaluate(
        """async () => (await axe.run(document, {
            runOnly: { type: "tag", values: [
                "wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] },
            rules: { "color-contrast-enhanced": { enabled: true } },
        })).violations.map(({ id, impact, help, nodes }) => ({
            id, impact, help, where: nodes.slice(0, 3).map(node => `${node.target} ${node.failureSummary}`),
        }))"""
    )
    return found


@pytest.mark.parametrize("path", sampled(PAGES, PAGES[::3]))
def test_a_page_can_be_used_by_everybody(context: BrowserContext, shop: Server, path: str) -> None:
    """Nothing serious is found, text has a contrast of 7:1, and nothing is wider than the screen."""
    page = context.new_page()
    try:
        page.goto(shop.address + path)
        wrong = [each for each in found_by_axe(page) if each["impact"] in ("serious", "critical")]
        assert wrong == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    finally:
        page.close()


@pytest.mark.parametrize(
    "path", ["/", "/new", f"{CALL}just-begun?probe=pins.C-R&taken=1", f"{CALL}just-begun"]
)
def test_targets_are_large_enough_for_gloves(context: BrowserContext, shop: Server, path: str) -> None:
    """Every button, field and link that stands by itself is 48 pixels high at least."""
    page = context.new_page()
    try:
        page.goto(shop.address + path)
        small = page.evaluate(
            """() => [...document.querySelectorAll(
                "main button, main a.button, main a.tile, main input:not([type=hidden]), main select,"
                + "main summary, header a")]
                .filter(each => each.checkVisibility() && !each.classList.contains("unseen")
                    && each.tabIndex >= 0)
                .map(each => [each.outerHTML.slice(0, 80),
                    (each.closest("label") ?? each).getBoundingClientRect().height])
                .filter(([, height]) => height < 47.5)"""
        )
        assert small == []
    finally:
        page.close()
