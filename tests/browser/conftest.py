"""A real server of the demo shop and a real browser."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
# Without the last four Chromium tries to reach the outside at every start; as root it has no sandbox.
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
DESKTOP, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
STARTED_MS = 120_000


class DemoServer:
    """`bittern demo` in a folder of its own; can be killed without warning and started again."""

    def __init__(self, folder: Path, **settings: str) -> None:
        self.folder = folder
        self.settings = settings
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.accounts: dict[str, str] = {}
        self.process: subprocess.Popen[str] | None = None

    @property
    def address(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        words = [
            sys.executable,
            "-m",
            "bittern",
            "demo",
            "--port",
            str(self.port),
            "--data",
            str(self.folder),
        ]
        environment = {key: value for key, value in os.environ.items() if not key.startswith("BITTERN_")}
        environment |= self.settings
        # The server outlives what it prints, so its output goes to a file: a full pipe would stop it.
        with (self.folder.parent / "server.log").open("a", encoding="utf-8") as log:
            self.process = subprocess.Popen(
                words, stdout=subprocess.PIPE, stderr=log, text=True, env=environment, start_new_session=True
            )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.match(r"\s+(\S+)\s+(\S+)\s+(owner|technician|counter)\b", line):
                self.accounts.setdefault(found[1], found[2])
            if "Ctrl-C" in line:
                return
        raise AssertionError((self.folder.parent / "server.log").read_text(encoding="utf-8"))

    def kill(self) -> None:
        """End every process of the server at once, as a power cut would."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()

    def stop(self) -> None:
        assert self.process is not None
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGTERM)
            try:
                self.process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                self.kill()
        if self.process.stdout is not None:
            self.process.stdout.close()


@pytest.fixture(scope="session")
def server() -> Iterator[DemoServer]:
    with tempfile.TemporaryDirectory(prefix="bittern-browser-") as folder:
        running = DemoServer(Path(folder) / "data")
        running.folder.mkdir()
        running.start()
        yield running
        running.stop()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield running
        running.close()


class Visitor:
    """Somebody at the bench: a page, logged in; script errors and refused content fail the test."""

    def __init__(self, browser: Browser, server: DemoServer, login: str, size: dict[str, int]) -> None:
        self.server = server
        self.context: BrowserContext = browser.new_context(viewport=size, base_url=server.address)
        self.context.set_default_timeout(30_000)
        self.page: Page = self.context.new_page()
        self.complaints: list[str] = []
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", self._hear)
        self.login = login
        self.page.goto("/login/")
        self.page.get_by_label("Login name").fill(login)
        self.page.get_by_label("Password", exact=True).fill(server.accounts[login])
        self.page.get_by_role("button", name="Log in").click()
        expect(self.page.get_by_role("heading", name="Today")).to_be_visible()

    def _hear(self, message: object) -> None:
        # A form with a mistake is answered with 422, which the browser's console reports: that is meant.
        text = getattr(message, "text", "")
        if getattr(message, "type", "") == "error" and "422" not in text:
            self.complaints.append(text)

    def send(self, act: str, *, button: str | None = None) -> None:
        """Press the button of the form for ``act`` and wait for the answer."""
        form = self.page.locator(f'form[data-act="{act}"]').locator("visible=true").first
        target = (
            form.get_by_role("button", name=button, exact=True) if button else form.locator("button").first
        )
        with self.page.expect_navigation():
            target.click()


@pytest.fixture
def visit(browser: Browser, server: DemoServer) -> Iterator[object]:
    visitors: list[Visitor] = []

    def enter(login: str = "tobin", size: dict[str, int] = DESKTOP) -> Visitor:
        visitors.append(Visitor(browser, server, login, size))
        return visitors[-1]

    yield enter
    for visitor in visitors:
        visitor.context.close()
        assert visitor.complaints == []
