"""
What the browser tests share: a server in a process of its own, a real Chromium, a technician at the phone.

The technician does what the page asks: safety steps, readings as an example call has them, waits; a probe for
which there is no reading is left out.
"""

from __future__ import annotations

import re
import signal
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, Playwright, expect

from humclick.jobs.call_file import read_call
from humclick.jobs.event_tables import table_of
from humclick.jobs.events import MachineRead, ReadingTaken
from humclick.web.store import Store

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    *("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"),
    *("--disable-component-update", "--disable-sync"),
]
#: A short example call.
EXAMPLE = "rattling-starter"
PHONE, DESK = (360, 740), (1280, 800)
#: A start of Python on a busy machine. [ms]
SLOW = 60_000


class Server:
    """A server on a folder, that can be stopped and started again at the same address."""

    def __init__(self, folder: Path, *arguments: str, static: Path | None = None) -> None:
        self.folder = folder
        self.static = static
        self.arguments = arguments
        self.port = 0
        self._process: subprocess.Popen[str] | None = None
        self.start()

    @property
    def address(self) -> str:
        """Where it is, without a slash at the end."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def stopped(self) -> bool:
        """Whether it does not run now."""
        return self._process is None

    def start(self) -> None:
        """Start, and wait until it answers."""
        code = "import sys; from humclick.cli.main import main; main(sys.argv[1:])"
        if self.static is not None:
            code = (
                f"import pathlib, humclick.web.app as a; a._STATIC = pathlib.Path({str(self.static)!r}); "
                + code
            )
        given = ["serve", "--port", str(self.port), "--folder", str(self.folder), *self.arguments]
        command = [sys.executable, "-c", code, *given]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
        assert self._process.stdout is not None
        said = self._process.stdout.readline()
        found = re.search(r":(\d+)$", said.strip())
        assert found is not None, said
        self.port = int(found[1])

    def stop(self) -> None:
        """Stop it, as when the power goes."""
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            if self._process.stdout is not None:
                self._process.stdout.close()
            self._process = None


def begun(server: Server, example: str = EXAMPLE) -> str:
    """A call as far as complaint and machine, on the server already; its address comes back."""
    kinds = ("opened", "machine", "meter", "complaint")
    events = read_call(ROOT / "examples" / example / "call.toml")
    tables = [table_of(event) for event in events if event.kind in kinds]
    Store.at(server.folder).append("begun-1", tables)
    return "/call/begun-1"


@contextmanager
def browser(
    play: Playwright,
    profile: Path,
    size: tuple[int, int] = PHONE,
    *,
    bypass_csp: bool = False,
    dark: bool = False,
    executable: Path = CHROMIUM,
    arguments: tuple[str, ...] = (),
    permissions: tuple[str, ...] = (),
) -> Iterator[BrowserContext]:
    """A Chromium with a profile of its own; what it stores outlives it."""
    context = play.chromium.launch_persistent_context(
        profile,
        executable_path=executable,
        args=[*ARGUMENTS, *arguments],
        permissions=list(permissions),
        viewport={"width": size[0], "height": size[1]},
        bypass_csp=bypass_csp,
        color_scheme="dark" if dark else "light",
    )
    try:
        yield context
    finally:
        context.close()


def ready(page: Page) -> None:
    """Wait until Python answers inside the browser."""
    page.wait_for_selector("html[data-ready=phone]", state="attached", timeout=SLOW)


def kept_offline(page: Page) -> None:
    """Wait until every file is on the device and the calls have come."""
    ready(page)
    page.wait_for_selector("html[data-offline=ready]", state="attached", timeout=SLOW)
    page.wait_for_selector("html[data-server=reached]", state="attached", timeout=SLOW)


def all_sent(page: Page) -> None:
    """Wait until the server has every event and every photo."""
    page.wait_for_selector("html[data-server=reached][data-waiting='0']", state="attached", timeout=90_000)


@contextmanager
def next_screen(page: Page) -> Iterator[None]:
    """Do something that shows another screen, and wait for it."""
    before = int(page.locator("html").get_attribute("data-shown") or 0)
    yield
    page.wait_for_selector(f"html[data-shown='{before + 1}']", state="attached", timeout=SLOW)


@dataclass
class Technician:
    """
    One who works through a call as an example has it.

    Attributes
    ----------
    page : Page
        The phone.
    example : str
        Name of the example whose readings are taken.
    pause : float
        Between what stands on the page, or is typed, and the tap that sends it. [s]
    left_out : bool
        Whether the last step left a probe out, for want of a reading.
    """

    page: Page
    example: str = EXAMPLE
    pause: float = 0.0
    left_out: bool = False
    machine: MachineRead | None = None
    complaint: str = ""
    _readings: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        for event in read_call(ROOT / "examples" / self.example / "call.toml"):
            if isinstance(event, ReadingTaken):
                self._readings[event.probe].append(event.value)
            elif isinstance(event, MachineRead):
                self.machine = event
            elif event.kind == "complaint":
                self.complaint = event.heard  # type: ignore[attr-defined]

    def opens(self) -> str:
        """Begin a new call: complaint, then the arrangement from the list. The call's address comes back."""
        page = self.page
        with next_screen(page):
            page.get_by_role("link", name=re.compile("New call|Nueva")).first.click()
        with next_screen(page):
            page.locator(f"button[name=heard][value={self.complaint}]").click()
        found = re.search(r"/call/[^/?]+", page.url)
        assert found is not None, page.url
        if "/identify" not in page.url:
            with next_screen(page):
                page.locator(f"a[href='{found[0]}/identify']").first.click()
        with next_screen(page):
            page.locator("a[href$='list=1']").click()
        assert self.machine is not None
        form = page.locator("form.candidate").filter(
            has=page.locator(f"input[name=arrangement][value='{self.machine.arrangement}']")
        )
        with next_screen(page):
            form.locator("button").click()
        self._reads_the_plate()
        return found[0]

    def _reads_the_plate(self) -> None:
        page, plate = self.page, self.machine
        assert plate is not None
        page.locator("#volts").fill(f"{plate.volts:g}")
        page.locator(f"input[name=hertz][value='{plate.hertz:g}']").check()
        if plate.locked_rotor_amps is not None:
            page.locator("#locked_rotor_amps").fill(f"{plate.locked_rotor_amps:g}")
        protector = page.locator(f"input[name=protector][value='{plate.protector}']")
        if plate.protector and protector.count():
            protector.check()
        with next_screen(page):
            page.locator("form[action$='/plate'] button.main").click()

    def kind(self) -> str:
        """What the call screen asks for now."""
        classes = self.page.locator("main .call").get_attribute("class") or ""
        found = re.search(r"kind-(\w+)", classes)
        assert found is not None, classes
        return found[1]

    def does_one(self) -> str:
        """One step as asked; what it was comes back."""
        page, kind, self.left_out = self.page, self.kind(), False
        with next_screen(page):
            if kind == "gate":
                page.locator("form[action$='/gate'] button").click()
            elif kind == "wait":
                minutes = page.locator("#minutes")
                minutes.fill(minutes.get_attribute("data-advised") or "")
                page.locator("form[action$='/wait'] button").last.click()
            elif kind == "probe":
                self._reads(page.locator("form.entry input[name=probe]").get_attribute("value") or "")
            else:
                raise AssertionError(f"nothing to do at {kind}")
        assert page.locator("main [aria-invalid=true]").count() == 0, page.locator("main").inner_text()
        return kind

    def _reads(self, probe: str) -> None:
        page, form = self.page, self.page.locator("form.entry")
        values = self._readings.get(probe)
        if not values:
            self.left_out = True
            page.wait_for_timeout(1000 * self.pause)
            page.locator("details:has(form[action$='/skip']) summary").click()
            page.locator("form[action$='/skip'] button").last.click()
            return
        value = values.pop(0) if len(values) > 1 else values[0]
        if page.locator("#value").count():
            page.locator("#value").fill(value)
            page.wait_for_timeout(1000 * self.pause)
            form.locator("button.enter").click()
        else:
            page.wait_for_timeout(1000 * self.pause)
            form.locator(f"button[name=value][value='{value}']").click()

    def works_to_the_verdict(self) -> list[str]:
        """Go on until there is a verdict; the steps come back."""
        done: list[str] = []
        while self.kind() in ("gate", "wait", "probe"):
            assert len(done) < 60, done
            done.append(self.does_one())
        assert self.kind() == "verdict"
        return done

    def decides(self) -> None:
        """Follow the verdict, and read the sheet."""
        page = self.page
        with next_screen(page):
            page.locator("form[action$='/decide'] button.main").click()
        with next_screen(page):
            page.locator("main a[href$='/sheet']").first.click()
        expect(page.locator("main h1").first).to_be_visible()
