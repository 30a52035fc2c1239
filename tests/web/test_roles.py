"""Every route, asked by every role, by nobody, and by a token."""

import pytest
from starlette.routing import Route

from gateway.web.api import ROOT
from gateway.web.asking import WRITERS
from tests.web.conftest import ROLES, Site

ANYBODY, LOOK, WRITE = "anybody", "look", "write"
#: The path asked for and who gets in. A route that is not here fails `test_no_route_is_left_out`.
ROUTES: dict[str, tuple[str, str]] = {
    "/login": ("/login", ANYBODY),
    "/in/{secret}": ("/in/nothing", ANYBODY),
    "/static/{name}": ("/static/floor.css", ANYBODY),
    "/sw.js": ("/sw.js", ANYBODY),
    "/health/live": ("/health/live", ANYBODY),
    "/health/ready": ("/health/ready", ANYBODY),
    f"{ROOT}/openapi.json": (f"{ROOT}/openapi.json", ANYBODY),
    "/": ("/", LOOK),
    "/alarms": ("/alarms", LOOK),
    "/air": ("/air", LOOK),
    "/kiln": ("/kiln", LOOK),
    "/pieces": ("/pieces", LOOK),
    "/probes": ("/probes", LOOK),
    "/round": ("/round", LOOK),
    "/note": ("/note", LOOK),
    "/me": ("/me", LOOK),
    "/which": ("/which", LOOK),
    "/metrics": ("/metrics", LOOK),
    "/bed/{name}": ("/bed/bed-c", LOOK),
    "/bed/{name}/write": ("/bed/bed-c/write", LOOK),
    "/piece/{name}": ("/piece/14", LOOK),
    "/probe/{name}": ("/probe/bed-c-mid", LOOK),
    "/alarm/{name}": ("/alarm/101", LOOK),
    **{
        f"{ROOT}/{name}": (f"{ROOT}/{name}", LOOK)
        for name in """alarms notices turns rejected beds probes tonight forecast kiln air pieces
        questions""".split()
    },
}
#: Routes that only take something, or never end; each has tests of its own.
OTHERWISE = {"/do/{word}", "/logout", "/me/push", "/me/push/away", f"{ROOT}/do/{{word}}", "/live"}


def test_no_route_is_left_out(site: Site) -> None:
    there = {route.path for route in site.app.router.routes if isinstance(route, Route)}
    paths = set(site.app.openapi()["paths"]) | there
    assert paths - {"/metrics"} <= set(ROUTES) | OTHERWISE
    assert set(ROUTES) - paths <= {"/metrics"}


@pytest.mark.parametrize("role", [None, *ROLES])
@pytest.mark.parametrize("route", ROUTES)
def test_who_may_look(site: Site, route: str, role: str | None) -> None:
    path, who = ROUTES[route]
    answer = site.as_role(role, "GET", path)
    if who == ANYBODY or role is not None:
        assert answer.status_code in ((410,) if path == "/in/nothing" else (200, 404)), answer.text[:200]
        assert answer.status_code == 200 or path.startswith(("/in/", "/piece/", "/alarm/", "/probe/"))
    else:
        assert answer.status_code in (303, 401)
        assert answer.headers.get("location", "/login") == "/login"
        assert "Bed C" not in answer.text


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize(("word", "needs"), [("hand-over", WRITERS), ("out-of-service", WRITERS[1:])])
def test_who_may_write_by_a_token(site: Site, word: str, needs: tuple[str, ...], role: str) -> None:
    token = site.tokens.add(f"{word} {role}", role)
    body = {"note": "look at bed C"} if word == "hand-over" else {"probe": "bed-c-mid", "why": "in the water"}
    newest = site.lived.place()[0]
    heads = {"authorization": f"Bearer {token}"}
    answer = site.ask("POST", f"{ROOT}/do/{word}", json=body, headers=heads)
    if role in needs:
        assert answer.status_code == 200, answer.text
        assert answer.json()["journal"] > newest
    else:
        assert answer.status_code == 403
        assert answer.headers["content-type"] == "application/problem+json"
        assert site.lived.place()[0] == newest


def test_a_form_of_a_viewer_writes_nothing(site: Site) -> None:
    newest = site.lived.place()[0]
    session = site.session("viewer")
    token = _token(site, session)
    answer = site.ask(
        "POST", "/do/turned", data={"bed": "bed-c", "csrf": token}, headers={"cookie": f"malting={session}"}
    )
    assert answer.status_code == 403
    assert site.lived.place()[0] == newest


def _token(site: Site, session: str) -> str:
    from gateway.web.secret import csrf

    return csrf(session)


def test_a_token_that_was_taken_back_is_nobody(site: Site) -> None:
    token = site.tokens.add("old", "shift")
    heads = {"authorization": f"Bearer {token}"}
    assert site.ask("GET", f"{ROOT}/beds", headers=heads).status_code == 200
    site.tokens.remove("old")
    refused = site.ask("GET", f"{ROOT}/beds", headers=heads)
    assert refused.status_code == 401
    assert refused.json()["status"] == 401


def test_rows_are_the_contracts(site: Site) -> None:
    rows = site.as_role("viewer", "GET", f"{ROOT}/beds").json()
    assert rows["schema"] == 1
    assert {row["bed"] for row in rows["rows"]} >= {"bed-a", "bed-c"}
    assert {"hottest_c", "watched", "due_at"} <= set(rows["rows"][0])
