"""A phone made on the page and taken away, by every role: what is kept, who is called, what is refused."""

from typing import Any

import httpx
import pytest

from gateway.web.secret import csrf
from tests.contracts.push_receiver import Browser
from tests.web.conftest import ROLES, SECURE, Site

URL = "https://push.example/send/1"


def sent(n: int = 1) -> dict[str, str]:
    """What the page's form sends of a browser."""
    browser = Browser()
    return {"endpoint": f"{URL}{n}", "p256dh": browser.p256dh, "auth": browser.auth}


def session_of(site: Site, role: str, person: str | None) -> str:
    """A session of an account of that role, for that person of the site file."""
    session = site.session(role)
    site.accounts.change(role, person=person)
    return session


def post(site: Site, session: str | None, path: str, data: dict[str, str], **more: Any) -> httpx.Response:
    """The form, with its token."""
    heads = {"cookie": f"malting={session}"} if session else {}
    return site.ask("POST", path, data={"csrf": csrf(session or "")} | data, headers=heads, **more)


def phones(site: Site) -> list[str]:
    """The phones of the judge's site that were made on the page."""
    return [phone.id for phone in site.lived.ask(lambda state: state.site).phones if phone.kind == "webpush"]


@pytest.mark.parametrize("role", ROLES)
def test_who_may_make_a_phone_and_take_it_away(fresh: Site, role: str) -> None:
    session = session_of(fresh, role, "ben")
    before = len(fresh.lived.reader().notices(100))
    answer = post(fresh, session, "/me/push", sent())
    if role == "viewer":
        assert answer.status_code == 403
        assert (phones(fresh), len(fresh.lived.reader().notices(100))) == ([], before)
        assert post(fresh, session, "/me/push/away", {"phone": "ben-push-1"}).status_code == 403
        return
    assert (answer.status_code, answer.headers["location"]) == (303, "/me?push=made")
    assert phones(fresh) == ["ben-push-1"]
    rung = [line.notice for line in fresh.lived.reader().notices(100) if line.notice.phone == "ben-push-1"]
    assert [one.kind for one in rung] == ["test"], "it is proved at once"
    page = fresh.ask("GET", "/me?push=made", headers={"cookie": f"malting={session}"})
    assert "A test call is on its way" in page.text
    assert "Take ben-push-1 away" in page.text
    assert f'data-key="{fresh.pushes.key()}"' in page.text
    assert URL not in page.text
    assert sent()["auth"] not in page.text
    fresh.begin()
    assert fresh.pushes.listed("ben") == [("ben-push-1", True)], "after a start, too"
    session = fresh.session(role)
    assert post(fresh, session, "/me/push/away", {"phone": "ben-push-1"}).status_code == 303
    assert phones(fresh) == []
    assert post(fresh, session, "/me/push/away", {"phone": "ben-push-1"}).status_code == 422


def test_nobody_and_a_token_make_none(fresh: Site) -> None:
    assert post(fresh, None, "/me/push", sent()).status_code == 403
    token = fresh.tokens.add("recorder", "maltster")
    heads = {"authorization": f"Bearer {token}"}
    assert fresh.ask("POST", "/me/push", data=sent(), headers=heads).status_code == 403
    session = session_of(fresh, "shift", "ben")
    assert post(fresh, session, "/me/push", sent() | {"csrf": "other"}).status_code == 403
    assert phones(fresh) == []


def test_an_account_that_is_nobody_of_the_house_makes_none(fresh: Site) -> None:
    for person in (None, "left-last-year"):
        session = session_of(fresh, "maltster", person)
        answer = post(fresh, session, "/me/push", sent())
        assert (answer.status_code, "stands for nobody" in answer.text) == (422, True)
        page = fresh.ask("GET", "/me", headers={"cookie": f"malting={session}"})
        assert 'id="push"' not in page.text
    assert phones(fresh) == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"endpoint": "http://push.example/x"},
        {"endpoint": "https://192.0.2.1/x"},
        {"endpoint": ""},
        {"p256dh": "AAAA"},
        {"auth": "AAAA"},
        {"auth": "\x00"},
    ],
)
def test_what_no_browser_sends_is_refused(fresh: Site, wrong: dict[str, str]) -> None:
    session = session_of(fresh, "shift", "ben")
    answer = post(fresh, session, "/me/push", sent() | wrong)
    assert 400 <= answer.status_code < 500, answer.text
    assert phones(fresh) == []


def test_a_phone_is_taken_away_by_its_owner_or_the_maltster(fresh: Site) -> None:
    post(fresh, session_of(fresh, "shift", "ben"), "/me/push", sent())
    other = session_of(fresh, "maintenance", "ada")
    assert post(fresh, other, "/me/push/away", {"phone": "ben-push-1"}).status_code == 422
    assert phones(fresh) == ["ben-push-1"]
    assert "ben-push-1" not in fresh.ask("GET", "/me", headers={"cookie": f"malting={other}"}).text
    maltster = session_of(fresh, "maltster", None)
    assert "Take ben-push-1 away" in fresh.ask("GET", "/me", headers={"cookie": f"malting={maltster}"}).text
    assert post(fresh, maltster, "/me/push/away", {"phone": "ben-push-1"}).status_code == 303
    assert phones(fresh) == []


def test_a_phone_that_is_gone_is_told_to_maintenance_until_it_is_taken_away(fresh: Site) -> None:
    session = session_of(fresh, "shift", "ben")
    post(fresh, session, "/me/push", sent())
    [due] = [one for one in fresh.lived.reader().due_notices() if one.phone == "ben-push-1"]
    fresh.lived.went(fresh.pushes, due.number, due.phone, "gone", 410)
    standing = [line.alarm.kind for line in fresh.lived.reader().alarms(False)]
    assert "gateway_phone" in standing
    page = fresh.ask("GET", "/me", headers={"cookie": f"malting={session}"})
    assert "ben-push-1: gone" in page.text
    post(fresh, session, "/me/push/away", {"phone": "ben-push-1"})
    down = fresh.lived.ask(lambda state: ("phone" in state.conditions, dict(state.failing)))
    assert down == (False, {}), "what is not there any more need not be reached"


def test_the_worker_shows_a_call_and_the_page_says_that_it_needs_https(fresh: Site) -> None:
    assert 'addEventListener("push"' in fresh.ask("GET", "/sw.js").text
    session = session_of(fresh, "shift", "ben")
    page = fresh.ask("GET", "/me", headers={"cookie": f"malting={session}"}, base=SECURE.replace("s:", ":"))
    assert "This needs HTTPS" in page.text
