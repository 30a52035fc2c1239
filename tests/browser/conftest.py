"""A browser (Debian's Chromium, driven by playwright), a lived night, and the pages between them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from gateway.web.given import Account
from tests.browser.lived import Lived
from tests.browser.serving import COOKIE, PEOPLE, Serving
from tests.conftest import CHROMIUM

FLAGS = (
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync"
).split()
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 900}


def account(name: str) -> Account:
    """Somebody who asks for a page without a browser."""
    return Account(name, PEOPLE[name], name if name in ("ada", "ben", "cleo") else None, name == "fay")


@pytest.fixture(scope="package")
def chromium() -> Iterator[Any]:
    """One browser for all tests here; each test has a fresh profile in it.

    Not for the whole run: while playwright is up, its event loop counts as running in this thread, and no
    test elsewhere could run one of its own.
    """
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def night(tmp_path: Path) -> Iterator[Lived]:
    """A night of one's own, to write into."""
    lived = Lived(tmp_path / "night")
    yield lived
    lived.close()


@pytest.fixture(scope="session")
def still_night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lived]:
    """A night that is only looked at."""
    lived = Lived(tmp_path_factory.mktemp("still"))
    yield lived
    lived.close()


@pytest.fixture
def serve() -> Iterator[Callable[[Lived], Serving]]:
    """Serve the pages over a night."""
    made: list[Serving] = []

    def begin(lived: Lived) -> Serving:
        made.append(Serving(lived))
        return made[-1]

    yield begin
    for one in made:
        one.close()


@pytest.fixture
def open_as(chromium: Any) -> Iterator[Callable[..., Any]]:
    """`open_as(serving, "cleo")`: a page of a fresh profile, on a phone unless said otherwise."""
    made: list[Any] = []

    def begin(serving: Serving, who: str = "cleo", **more: Any) -> Any:
        phone = {"viewport": PHONE, "has_touch": True, "is_mobile": True} | more
        context = chromium.new_context(**phone)
        context.set_default_timeout(10_000)
        context.add_cookies([{"name": COOKIE, "value": serving.session(who), "url": serving.url}])
        made.append(context)
        page = context.new_page()
        page.goto(serving.url + "/")
        return page

    yield begin
    for one in made:
        one.close()
