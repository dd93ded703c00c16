"""A real browser for tests: Debian's Chromium driven by Playwright against a live server."""

import os
import shutil

import pytest
from django.db import connections
from playwright.sync_api import Browser, BrowserContext, sync_playwright

from tests import factories

CHROMIUM = shutil.which("chromium")
# Without these, Chromium looks up its maker's hosts at every start.
QUIET = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="session")
def browser(django_db_setup, django_db_blocker) -> Browser:
    """One browser a process. Playwright keeps a loop running, so Django's async guard must be told.

    Under a running loop Django keeps a second connection: it is closed here, before the test database is dropped.
    """
    if CHROMIUM is None:
        pytest.skip("needs Chromium (Debian: apt-get install chromium)")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()
        with django_db_blocker.unblock():
            connections.close_all()
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture
def open_as(browser, live_server):
    """`open_as(user)` gives a signed-in page, phone-wide with `phone=True`; complaints of the page fail the test."""
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def open_page(user, *, phone: bool = False):
        size = {"width": 390, "height": 844} if phone else {"width": 1280, "height": 900}
        context = browser.new_context(viewport=size, base_url=live_server.url.replace("127.0.0.1", "localhost"))
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
        page.goto("/sign-in/")
        page.fill("[name=username]", user.username)
        page.fill("[name=password]", factories.PASSWORD)
        page.click("main button[type=submit]")
        page.wait_for_url(lambda url: "/sign-in/" not in url)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [text for text in complaints if "422" not in text] == []
