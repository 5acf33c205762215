"""Real Chromium against a live server: sign-in, sizes, accessibility, and an eye on the console.

Every test fails that leaves an error in the console, a violation of the content security policy, a
server error or a request to another host behind it.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlparse

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import ConsoleMessage, Page, expect

PHONE = {"width": 390, "height": 844}
TABLET = {"width": 820, "height": 1180}
DESK = {"width": 1280, "height": 900}
SIZES = {"phone": PHONE, "tablet": TABLET, "desk": DESK}
expect.set_options(timeout=15_000)  # ms; two browsers and two studios share a small machine
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def pytest_collection_modifyitems(items):
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


def chromium() -> str:
    """The path of Chromium: CHROMIUM, or the first found under its usual names."""
    for name in [os.environ.get("CHROMIUM", ""), "chromium", "chromium-browser", "google-chrome"]:
        if name and (found := shutil.which(name)):
            return found
    pytest.fail("Browser tests need Chromium: `make test` installs it, or set CHROMIUM to its path.")


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    flags = ["--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        flags.append("--no-sandbox")
    return browser_type_launch_args | {"executable_path": chromium(), "args": [*flags, "--no-first-run"]}


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args):
    return browser_context_args | {"viewport": TABLET, "locale": "en-GB", "timezone_id": "Europe/London"}


class Watch:
    """What went wrong in a page so far. `expect(pattern)` lets one kind of complaint pass."""

    def __init__(self, page: Page, origin: str) -> None:
        self.complaints: list[str] = []
        self.expected: list[str] = [
            r"status of 422",  # a form answered with what to correct
            r"htmx:(afterRequest|sendAbort)",  # a look that was given up for a newer one; errors say sendError besides
        ]
        self.origin = urlparse(origin).netloc
        page.on("console", self.hear)
        page.on("pageerror", lambda error: self.note(f"script: {error}"))
        page.on("response", lambda answer: answer.status >= 500 and self.note(f"{answer.status}: {answer.url}"))
        page.on("request", lambda request: self.see(request.url))

    def hear(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.note(f"console: {message.text} ({message.location.get('url', '')})")

    def see(self, url: str) -> None:
        parsed = urlparse(url)
        if parsed.scheme not in {"data", "blob", "about"} and parsed.netloc != self.origin:
            self.note(f"another host: {url}")

    def note(self, complaint: str) -> None:
        if not any(re.search(pattern, complaint) for pattern in self.expected):
            self.complaints.append(complaint)

    def expect(self, pattern: str) -> None:
        self.expected.append(pattern)


@pytest.fixture(autouse=True)
def watch(page: Page, live_server):
    """Fails the test at its end if the page complained. Policy violations come as console errors."""
    watching = Watch(page, live_server.url)
    yield watching
    assert watching.complaints == []


@pytest.fixture
def sign_in(page: Page, live_server, client_of) -> Callable[..., Page]:
    """`sign_in(teacher)` puts a signed-in teacher into the browser without passing the sign-in page."""

    def with_session(teacher, size=TABLET) -> Page:
        session = client_of(teacher).cookies[settings.SESSION_COOKIE_NAME].value
        page.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
        page.set_viewport_size(size)
        return page

    return with_session


@pytest.fixture
def address(live_server) -> Callable[[str], str]:
    """The whole address of a path on the live server."""
    return lambda path: live_server.url + path


def arrived(page: Page) -> None:
    """Wait until the page a click led to is whole: right after it commits, a document has no root yet."""
    page.wait_for_load_state("load")
    page.locator("body").wait_for(state="attached")


def eventually(holds: Callable[[], object], page: Page, seconds: float = 10) -> None:
    """Wait for what no locator tells, for instance that the studio has stored something."""
    for _ in range(int(seconds * 20)):
        if holds():
            return
        page.wait_for_timeout(50)
    assert holds()


@pytest.fixture
def check_axe(page: Page) -> Callable[[], None]:
    """Fail with a readable list when axe finds something against WCAG 2.2 A or AA on the page as it is."""

    def check() -> None:
        arrived(page)
        found = Axe().run(page, options={"runOnly": {"type": "tag", "values": AXE_TAGS}}).response["violations"]
        assert [f"{each['id']}: {each['help']}: {node['html'][:160]}" for each in found for node in each["nodes"]] == []

    return check


@pytest.fixture
def check_width(page: Page) -> Callable[[], None]:
    """Fail when the page is wider than the screen."""

    def check() -> None:
        arrived(page)
        over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over <= 0, f"the page is {over} px wider than the screen"

    return check
