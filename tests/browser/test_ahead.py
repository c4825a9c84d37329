"""What a real browser has worked out before it is asked for."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Playwright, expect

from tests.browser.bench import PHONE, SLOW, Server, begun, browser, kept_offline, next_screen

#: Keeps what is asked of Python.
_LISTEN = """
window.asked = [];
const post = Worker.prototype.postMessage;
Worker.prototype.postMessage = function (message, ...rest) {
  if (message.what === "answer") asked.push(JSON.parse(message.given));
  return post.call(this, message, ...rest);
};
"""


def test_the_first_call_of_the_list_is_worked_out_before_it_is_tapped(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """The page of the call on top is asked for while the list stands; a tap shows it; nothing is kept."""
    path = begun(server)
    with browser(play, tmp_path / "profile", PHONE) as context:
        context.add_init_script(_LISTEN)
        page = context.new_page()
        page.goto(server.address)
        kept_offline(page)
        server.stop()
        page.reload()
        page.wait_for_function(
            "path => asked.some(each => each.prepare && each.method === 'GET' && each.path === path)",
            arg=path,
            timeout=SLOW,
        )
        with next_screen(page):
            page.locator(f"main a[href='{path}']").click()
        expect(page.locator("main .call")).to_be_visible()
        assert page.evaluate("asked.filter(each => each.prepare && each.method === 'GET').length") == 1
        expect(page.locator("html")).to_have_attribute("data-waiting", "0")
