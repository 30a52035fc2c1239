"""Without the gateway the last state is shown with its age, never as if it were now."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.browser.lived import Lived
from tests.browser.serving import Serving

pytestmark = pytest.mark.browser


def test_the_kept_page_says_how_old_it_is(
    still_night: Lived, serve: Callable[[Lived], Serving], open_as: Callable[..., Any]
) -> None:
    serving = serve(still_night)
    page = open_as(serving)
    page.evaluate("navigator.serviceWorker.ready.then(() => 1)")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.reload()
    assert page.locator("#old").inner_text() == ""
    serving.close()

    page.reload()
    assert page.locator("html").get_attribute("data-old") is not None
    assert re.match(
        r"Not live: this is how it stood at 23:00, .*ago\.|Not live: .* now\.",
        page.locator("#old").inner_text(),
    )
    assert "Piece 14" in page.locator("#bed-c").inner_text(), "the last state is there"
    page.locator("#bed-c").get_by_role("button", name=re.compile("^Turned")).tap()
    page.get_by_role("heading", name="Not written down").wait_for()
    page.goto(serving.url + "/kiln")
    assert "not kept on this device" in page.locator("body").inner_text()


def test_an_open_page_says_that_it_is_not_live_any_more(
    still_night: Lived, serve: Callable[[Lived], Serving], open_as: Callable[..., Any]
) -> None:
    serving = serve(still_night)
    page = open_as(serving)
    page.clock.install()
    page.reload()
    page.clock.run_for(6_000)
    assert page.locator("#old").inner_text() == ""
    serving.close()
    page.clock.run_for(180_000)
    page.locator("#old", has_text="Not live").wait_for()
    assert "Not live: this is how it stood at 23:00, " in page.locator("#old").inner_text()


def test_what_the_browser_really_loads(
    still_night: Lived, serve: Callable[[Lived], Serving], open_as: Callable[..., Any]
) -> None:
    """Bytes as the browser counts them, with headers; the second time only the page itself."""
    serving = serve(still_night)
    page = open_as(serving)
    total = (
        "() => performance.getEntriesByType('resource').concat(performance.getEntriesByType('navigation'))"
        ".reduce((sum, one) => sum + one.transferSize, 0)"
    )
    first = page.evaluate(total)
    page.evaluate("navigator.serviceWorker.ready.then(() => 1)")
    page.evaluate("performance.clearResourceTimings()")
    with page.expect_response(lambda answer: answer.request.headers.get("x-part") == "1"):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_function(
        "() => performance.getEntriesByType('resource').some(one => one.transferSize > 500)"
    )
    later = page.evaluate(
        "() => performance.getEntriesByType('resource').reduce((sum, one) => sum + one.transferSize, 0)"
    )
    print({"first": first, "later": later})  # noqa: T201 - the figure is what the test is run for
    assert 5_000 < first <= 60_000
    assert 500 < later <= 10_000
