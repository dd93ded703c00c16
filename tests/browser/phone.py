"""A browser profile as a phone has one: it survives its browser, opens without network, and can be killed."""

import contextlib
import os
import signal
import sqlite3
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page

from config.served import Served
from tests.browser.conftest import CHROMIUM, QUIET

PATIENCE_MS = 30_000


def rows(served: Served, query: str, *values) -> list[tuple]:
    connection = sqlite3.connect(f"file:{served.database}?mode=ro", uri=True, timeout=20)
    try:
        return connection.execute(query, values).fetchall()
    finally:
        connection.close()


class Phone:
    """A browser profile that survives its browser. `open` starts it, also without network."""

    def __init__(self, browser: Browser, served: Served, folder: Path, session: str):
        self.chromium, self.served, self.folder, self.session = browser.browser_type, served, folder, session
        self.context: BrowserContext | None = None
        self.page: Page | None = None
        self.complaints: list[str] = []

    def open(self, *, offline: bool = False, path: str = "/field/"):
        self.context = self.chromium.launch_persistent_context(
            str(self.folder),
            executable_path=CHROMIUM,
            args=QUIET,
            viewport={"width": 390, "height": 844},
            has_touch=True,
            offline=offline,
        )
        self.context.set_default_timeout(PATIENCE_MS)
        self.sign_in()
        self.page = self.context.pages[0] if self.context.pages else self.context.new_page()
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", self.hear)
        self.page.goto(self.served.url + path)
        self.page.wait_for_selector("h1")
        return self.page

    def hear(self, message) -> None:
        expected = ("ERR_INTERNET_DISCONNECTED", "status of 4", "ERR_NETWORK_CHANGED")
        if message.type == "error" and not any(words in message.text for words in expected):
            self.complaints.append(message.text)

    def sign_in(self) -> None:
        self.context.add_cookies([{"name": "sessionid", "value": self.session, "url": self.served.url}])

    def take_along(self):
        """Open with signal, store the day, and wait until the worker answers for the page."""
        page = self.open()
        page.wait_for_selector("text=The day is on this phone")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.wait_for_function("() => navigator.serviceWorker.controller !== null")
        return page

    def close(self) -> None:
        if self.context is not None:
            self.context.close()
            self.context = None

    def kill(self) -> None:
        """The battery is flat: kill -9 for this browser's own processes."""
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit() and str(self.folder).encode() in _command(entry):
                os.kill(int(entry.name), signal.SIGKILL)
        with contextlib.suppress(Exception):  # it is dead; any way of saying so is fine
            self.context.close()
        self.context = None


def _command(entry: Path) -> bytes:
    try:
        return (entry / "cmdline").read_bytes()
    except OSError:
        return b""
