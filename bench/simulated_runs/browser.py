"""A run in Chromium that is killed at every step: it comes up where it stood, with the network or without."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, Playwright, expect, sync_playwright
from playwright.sync_api import Error as BrowserError

from simulated_runs.faults import Shop

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
PHONE = {"width": 390, "height": 844}
MOST_STEPS = 40


@dataclass(slots=True)
class Kills:
    """What was done to the browser, and what came of it."""

    online: int = 0
    offline: int = 0
    misplaced: int = 0
    walked: int = 0
    notes: list[str] = field(default_factory=list)


class Phone:
    """One life after the other of the same browser profile."""

    def __init__(self, playwright: Playwright, shop: Shop, number: int, folder: Path) -> None:
        self.playwright, self.shop, self.profile = playwright, shop, folder / f"profile-{number}"
        self.address = f"{shop.address}/jobs/{number}/pairing/"
        self.context: BrowserContext
        self.page: Page

    def wake(self, *, offline: bool) -> str:
        """Start the browser, open the run and return where it stands."""
        self.context = self.playwright.chromium.launch_persistent_context(
            str(self.profile), executable_path=CHROMIUM, args=FLAGS, viewport=PHONE
        )
        name, value = self.shop.cookie.split("=")
        # Kept like that of a login; the browser's own file of cookies is written late.
        cookie = {"name": name, "value": value, "url": self.shop.address, "expires": time.time() + 3600}
        self.context.add_cookies([cookie])
        self.context.set_offline(offline)
        self.page = self.context.pages[0]
        self.page.goto(self.address)
        expect(self.page.locator(".runner.carried[data-at]")).to_be_visible(timeout=15_000)
        # A run that has ended and is sent is not kept any more.
        if not offline and not self.has_ended():
            self.await_worker()
        return self.read_place()

    def has_ended(self) -> bool:
        """Whether the page shows the run's end, and the way on."""
        return self.page.locator(".moves a.button").count() > 0

    def await_worker(self) -> None:
        """Wait until the page is kept for a reload without the network."""
        for _ in range(150):
            if self.page.evaluate("navigator.serviceWorker.controller !== null"):
                return
            self.page.wait_for_timeout(100)
        raise RuntimeError("no service worker has taken the page")

    def read_place(self) -> str:
        """Return the visit, what the run waits for, and what the page says."""
        at = self.page.locator(".runner").get_attribute("data-at")
        return f"{at}: {self.page.locator('[data-stage] h1').first.inner_text()}"

    def press(self) -> str:
        """Take the step at hand as working and return where the run stands then."""
        page, box = self.page, self.page.locator(".runner")
        before = box.get_attribute("data-at") or ""
        if page.locator('[name="sure"]').count():
            page.locator('[name="sure"]').check()
            page.locator('form:has([name="sure"]) button').click()
        elif page.locator('[data-stage] [name="volts"]').count():
            page.locator('[data-stage] [name="volts"]').fill("12.6")
            page.locator('form:has([name="volts"]) button').click()
        else:
            # The first options of a choice ask for one more key for ever.
            page.locator(".moves > form button").last.click()
        expect(box).not_to_have_attribute("data-at", before)
        return self.read_place()

    def kill(self) -> None:
        """End every process of this browser at once; as after a power cut, none holds a file any more."""
        killed = list(self._find_processes())
        for pid in killed:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        while any(is_running(pid) for pid in killed):
            time.sleep(0.01)
        with contextlib.suppress(BrowserError):
            self.context.close()

    def _find_processes(self) -> Iterator[int]:
        for folder in Path("/proc").iterdir():
            if folder.name.isdigit():
                with contextlib.suppress(OSError):
                    words = (folder / "cmdline").read_bytes().split(b"\0")
                    # Each run has a profile of its own, which its processes name.
                    if f"--user-data-dir={self.profile}".encode() in words:
                        yield int(folder.name)


def is_running(pid: int) -> bool:
    """Whether a process has not ended: a dead one that nobody has asked about has let go of its files."""
    try:
        # The state follows the name, which stands in brackets (proc(5)).
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except (FileNotFoundError, ProcessLookupError):
        return False


def carry_under_kills(shop: Shop, number: int, folder: Path, kills: Kills) -> None:
    """Carry a run to its end; after every step the browser is killed, every second time offline."""
    with sync_playwright() as playwright:
        phone = Phone(playwright, shop, number, folder)
        place = phone.wake(offline=False)
        for step in range(MOST_STEPS):
            if phone.has_ended():
                break
            offline = step % 2 == 1
            phone.context.set_offline(offline)
            place = phone.press()
            kills.walked += 1
            phone.kill()
            found = phone.wake(offline=offline)
            kills.offline, kills.online = kills.offline + offline, kills.online + (not offline)
            if found != place:
                kills.misplaced += 1
                kills.notes.append(f"killed at {place}, came up at {found}")
        phone.context.set_offline(False)
        expect(phone.page.locator(".kept-line")).to_have_text("All sent.", timeout=40_000)
        phone.context.close()
