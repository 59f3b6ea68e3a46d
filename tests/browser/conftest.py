"""Fixtures of tests in a browser.

- `studio_page`: a Chromium page on the served studio, signed in as an owner; the test runs on a
  phone (390 x 844) and on a desktop (1280 x 800). Where its module says what the work is done on
  (`DONE_ON`), it runs there in every run, and on the other in the long one. Addresses may begin
  with "/".
- `visitor_page`: the same before sign-in.
- `resized_page`: signed in as well; the test runs once, as a phone until it sets another size.
- `axe("Heading")`: asserts that the page with this heading has no serious accessibility finding.
- `owner`: the account that is signed in.
- `offline_allowed`: for a test that takes the network away; what then fails is no complaint.

Each test fails by itself when the page asks another origin for anything, when the content
security policy drops something, or when an error is said on the console.
"""

import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.browser.accessibility import serious_findings
from tests.browser.chromium import launch
from tests.studio.web.api.people import person

# Playwright runs a loop in this thread; the tests use the database beside it, not in it.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

SIZES = {"phone": (390, 844), "desktop": (1280, 800)}
#: A form that came back with errors is an answer, not a failure, and a question that a newer one
#: replaced while somebody types is given up on purpose.
EXPECTED = re.compile(
    r"Failed to load resource: the server responded with a status of 4(03|09|22)"
    r"|htmx:(sendAbort|afterRequest)\b"
)
#: What the console says of whatever is asked while the network is away on purpose.
AWAY = re.compile(
    r"Failed to load resource: net::ERR_(INTERNET_DISCONNECTED|NETWORK_CHANGED)|htmx:sendError\b"
)


@dataclass
class Heard:
    """What a page asked for and complained of."""

    origin: str
    may_be_offline: bool = False
    elsewhere: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def listen(self, page: Page) -> None:
        page.on("request", lambda request: self._asked(request.url))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("console", self._said)

    def _asked(self, address: str) -> None:
        parts = urlsplit(address)
        if parts.scheme in ("data", "about", "blob"):
            return
        if f"{parts.scheme}://{parts.netloc}" != self.origin:
            self.elsewhere.append(address)

    def _said(self, message: Any) -> None:
        if message.type != "error" or EXPECTED.match(message.text):
            return
        if not (self.may_be_offline and AWAY.match(message.text)):
            self.complaints.append(message.text)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for the whole run."""
    with sync_playwright() as playwright:
        started = launch(playwright)
        yield started
        started.close()


@pytest.fixture
def offline_allowed() -> None:
    """Ask for it in a test that takes the network away (`page.context.set_offline`)."""


@pytest.fixture
def owner(transactional_db: None) -> Any:
    """The account that `studio_page` is signed in with."""
    return person("owner")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Each size that a page is opened at."""
    if "size" in metafunc.fixturenames:
        done_on = getattr(metafunc.module, "DONE_ON", None)
        sizes = [
            pytest.param(size, marks=[] if done_on in (None, size) else pytest.mark.long)
            for size in SIZES
        ]
        metafunc.parametrize("size", sizes)


@pytest.fixture
def visitor_page(size: str, browser: Browser, live_server: Any) -> Iterator[Page]:
    """A page before sign-in."""
    yield from _opened(browser, live_server.url, SIZES[size])


@pytest.fixture
def studio_page(
    request: pytest.FixtureRequest, size: str, browser: Browser, live_server: Any, owner: Any
) -> Iterator[Page]:
    """A page of somebody who is signed in."""
    away = "offline_allowed" in request.fixturenames
    yield from _opened(browser, live_server.url, SIZES[size], _session(owner), away=away)


@pytest.fixture
def resized_page(browser: Browser, live_server: Any, owner: Any) -> Iterator[Page]:
    """A page of somebody who is signed in, for a test that looks at it at every size."""
    yield from _opened(browser, live_server.url, SIZES["phone"], _session(owner))


def _session(owner: Any) -> str:
    client = Client()
    client.force_login(owner)
    return client.cookies[settings.SESSION_COOKIE_NAME].value


def _opened(
    browser: Browser, origin: str, size: tuple[int, int], session: str = "", *, away: bool = False
) -> Iterator[Page]:
    context = browser.new_context(
        base_url=origin, viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce"
    )
    if session:
        context.add_cookies(
            [{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": origin}]
        )
    heard = Heard(origin, may_be_offline=away)
    page = context.new_page()
    heard.listen(page)
    yield page
    context.close()
    assert not heard.elsewhere, "asked from another origin"
    assert not heard.complaints, "said on the console"


@pytest.fixture
def axe(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Call it with the heading of the page that is to be looked at, and no other one is.

    A click returns while the page before still stands: without the heading that one would be
    looked at, or none.
    """
    used = set(request.fixturenames)
    page = request.getfixturevalue("studio_page" if "studio_page" in used else "visitor_page")

    def look(heading: str) -> None:
        expect(page.locator("h1")).to_have_text(heading)
        page.wait_for_load_state()
        bad = serious_findings(page)
        assert not bad, "\n".join(bad)

    return look
