"""A phone that is woken by the page, in a real browser: the button, the worker, the message, the way on.

Debian's Chromium has no key for a push service, so a subscription cannot be had: there `subscribe` alone is
stood in for, and the message is handed to the worker by the browser's own debugging interface.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest

from tests.browser.lived import Lived
from tests.browser.serving import COOKIE, Serving
from tests.contracts.push_receiver import Browser

pytestmark = pytest.mark.browser
Serve = Callable[[Lived], Serving]
Open = Callable[..., Any]

BUTTON = "Wake this phone for my calls"
ENDPOINT = "https://push.example/send/1"
#: What a push service would give; it keeps what it was asked for.
STAND_IN = """(keys) => {
  const plain = (text) => atob(text.replace(/-/g, "+").replace(/_/g, "/"));
  const raw = (text) => Uint8Array.from(plain(text), (one) => one.charCodeAt(0)).buffer;
  PushManager.prototype.subscribe = async function (wanted) {
    const key = new Uint8Array(wanted.applicationServerKey);
    sessionStorage.asked = JSON.stringify({ visible: wanted.userVisibleOnly, length: key.length,
      key: btoa(String.fromCharCode(...key)).replace(/\\+/g, "-").replace(/\\//g, "_").replace(/=+$/, "") });
    return { endpoint: keys.endpoint, getKey: (name) => raw(keys[name]) };
  };
}"""


def _me(open_as: Open, serving: Serving, *, granted: bool = True) -> Any:
    """The page of one's own settings, in a browser that may show messages or may not."""
    page = open_as(serving, "ben")
    if granted:
        page.context.grant_permissions(["notifications"], origin=serving.url)
    page.goto(serving.url + "/me")
    return page


#: Beside what the browser does: what it was asked to show, once it has said that it is shown. Asked for its
#: list of them, a Chromium without a screen leaves one out now and then.
NOTED = """() => {
  const show = self.registration.showNotification.bind(self.registration);
  self.shown = [];
  self.registration.showNotification = async (title, more) => {
    await show(title, more);
    self.shown.push({ title, body: more.body, tag: more.tag, silent: more.silent,
      stays: more.requireInteraction, way: more.data.way });
  };
}"""
CLICKED = """async (way) => {
  const told = { opened: [], closed: 0 }, click = new ExtendableEvent("notificationclick");
  self.clients.openWindow = async (asked) => { told.opened.push(asked); return null; };
  click.notification = { data: { way }, close: () => { told.closed += 1; } };
  self.dispatchEvent(click);
  return told;
}"""


def _worker(page: Any) -> Any:
    page.evaluate(
        "navigator.serviceWorker.register('/sw.js').then(() => navigator.serviceWorker.ready).then(() => 1)"
    )
    context = page.context
    worker = (
        context.service_workers[0] if context.service_workers else context.wait_for_event("serviceworker")
    )
    worker.evaluate(NOTED)
    return worker


def test_the_button_makes_the_phone_and_a_test_call_is_on_its_way(
    night: Lived, serve: Serve, open_as: Open
) -> None:
    serving = serve(night)
    page = _me(open_as, serving)
    keys = Browser()
    page.evaluate(STAND_IN, {"endpoint": ENDPOINT, "p256dh": keys.p256dh, "auth": keys.auth})
    key = page.locator("#push").get_attribute("data-key")
    with page.expect_navigation():
        page.get_by_role("button", name=BUTTON).tap()
    assert page.url == serving.url + "/me?push=made"
    assert "A test call is on its way" in page.get_by_role("status").inner_text()
    assert page.get_by_role("button", name="Take ben-push-1 away").count() == 1
    asked = json.loads(page.evaluate("sessionStorage.asked"))
    assert asked == {"visible": True, "length": 65, "key": key}, "bound to this gateway's key"
    [line] = [line for line in night.lines() if line.kind == "push"]
    assert (line.body["url"], line.body["p256dh"], line.body["auth"]) == (ENDPOINT, keys.p256dh, keys.auth)
    assert [one.kind for one in night.reader().due_notices() if one.phone == "ben-push-1"] == ["test"]
    scope = page.evaluate("navigator.serviceWorker.getRegistration().then((one) => one.scope)")
    assert scope == serving.url + "/"


def test_a_browser_without_a_push_service_says_so_and_what_it_needs(
    still_night: Lived, serve: Serve, open_as: Open
) -> None:
    # Debian's Chromium, as it is: nothing is stood in for here.
    page = _me(open_as, serve(still_night))
    page.get_by_role("button", name=BUTTON).tap()
    said = page.locator("#push-said", has_text="Not made")
    said.wait_for()
    assert "needs the internet" in said.inner_text()
    assert "private window" in said.inner_text()
    assert page.get_by_role("button", name=BUTTON).is_enabled(), "it can be tried again"
    assert [line for line in still_night.lines() if line.kind == "push"] == []


def test_a_browser_that_may_not_show_messages_says_what_to_do(
    still_night: Lived, serve: Serve, open_as: Open
) -> None:
    page = _me(open_as, serve(still_night), granted=False)
    page.get_by_role("button", name=BUTTON).tap()
    page.locator("#push-said", has_text="Allow it in its settings for this page").wait_for()


def test_without_https_nothing_is_offered(still_night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(still_night)
    page = open_as(serving, "ben")
    # A name of a host, as on the maltings' own network; only 127.0.0.1 counts as encrypted without being so.
    plain = "http://gate.quern.example"
    page.route(
        plain + "/**",
        lambda route: route.fulfill(
            response=route.fetch(
                url=route.request.url.replace(plain, serving.url), headers=route.request.all_headers()
            )
        ),
    )
    page.context.add_cookies([{"name": COOKIE, "value": serving.session("ben"), "url": plain}])
    page.goto(plain + "/me")
    page.locator("#push-said", has_text="This page came without HTTPS").wait_for()
    assert "https address" in page.locator("#push-said").inner_text()
    assert not page.get_by_role("button", name=BUTTON).is_visible()


def _delivered(page: Any, serving: Serving, data: str) -> None:
    """A push message reaches the worker as if a push service had brought it."""
    cdp = page.context.new_cdp_session(page)
    found: list[str] = []
    cdp.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda said: found.extend(one["registrationId"] for one in said["registrations"]),
    )
    cdp.send("ServiceWorker.enable")
    while not found:
        page.wait_for_timeout(20)
    cdp.send(
        "ServiceWorker.deliverPushMessage", {"origin": serving.url, "registrationId": found[-1], "data": data}
    )


def _shown(page: Any, worker: Any, many: int = 1) -> list[dict[str, Any]]:
    """What was shown, once it is so many."""
    shown: list[dict[str, Any]] = []
    for _ in range(250):
        shown = worker.evaluate("self.shown")
        if len(shown) >= many:
            return shown
        page.wait_for_timeout(20)
    raise AssertionError(f"not shown within 5 s; there is {shown}")


def test_a_call_is_shown_and_opens_its_answer_link(still_night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(still_night)
    page = _me(open_as, serving)
    worker = _worker(page)
    link = serving.url + "/a/token"
    call = {
        "type": "call", "notice": 7, "alarm": 412, "priority": "high", "title": "PIECE 14 HOT",
        "text": "Bed C day 4: 22.6 C, limit 22. Check room air, open shutters, turn.", "answer_url": link,
    }  # fmt: skip
    _delivered(page, serving, json.dumps(call))
    [shown] = _shown(page, worker)
    assert (shown["title"], shown["body"], shown["way"]) == (call["title"], call["text"], link)
    assert (shown["tag"], shown["silent"], shown["stays"]) == ("alarm-412", False, True)
    assert worker.evaluate(CLICKED, shown["way"]) == {"opened": [link], "closed": 1}


def test_a_later_call_of_an_alarm_takes_the_place_of_the_one_before(
    still_night: Lived, serve: Serve, open_as: Open
) -> None:
    serving = serve(still_night)
    page = _me(open_as, serving)
    worker = _worker(page)
    for number, silent in ((1, False), (2, True)):
        call = {"notice": number, "alarm": 412, "title": f"CALL {number}", "text": "x", "silent": silent}
        _delivered(page, serving, json.dumps(call))
        _shown(page, worker, number)
    first, second = _shown(page, worker, 2)
    assert first["tag"] == second["tag"] == "alarm-412", "a browser replaces one of the same tag"
    assert (second["silent"], second["stays"]) == (True, False)
    assert second["way"] == "/alarm/412", "without a link the alarm's own page"


@pytest.mark.parametrize(
    "data", ["", "no JSON", "7", "[1]", "[]", "null", '{"answer_url": "javascript:alert(1)"}']
)
def test_what_cannot_be_read_is_still_a_call(
    still_night: Lived, serve: Serve, open_as: Open, data: str
) -> None:
    serving = serve(still_night)
    page = _me(open_as, serving)
    worker = _worker(page)
    _delivered(page, serving, data)
    [shown] = _shown(page, worker)
    assert (shown["title"], shown["body"]) == ("The malting floor calls", "Open the page and look.")
    assert shown["way"] == "/"
