"""What somebody with bad intent would try: forged forms, planted sessions, used links, odd paths."""

from __future__ import annotations

import httpx
import pytest

from gateway.web import slow
from gateway.web.accounts import OPEN, SETUP
from gateway.web.api import ROOT
from gateway.web.guard import MOST_BODY
from gateway.web.secret import csrf
from tests.web.conftest import PASSWORD, SECURE, Site

HOUR_MS = 3_600_000


def _cookie(session: str) -> dict[str, str]:
    return {"cookie": f"malting={session}"}


def _newest(site: Site) -> int:
    return site.lived.place()[0]


@pytest.mark.parametrize("token", ["", "x", "a.b", "é.é", "." * 300])
def test_a_form_without_the_sessions_token_writes_nothing(site: Site, token: str) -> None:
    newest, heads = _newest(site), _cookie(site.session("shift"))
    answer = site.ask("POST", "/do/turned", data={"bed": "bed-c", "csrf": token}, headers=heads)
    assert (answer.status_code, _newest(site)) == (403, newest)


def test_another_sessions_token_does_not_do(site: Site) -> None:
    newest, mine, other = _newest(site), site.session("shift"), site.session("maltster")
    answer = site.ask("POST", "/do/turned", data={"bed": "bed-c", "csrf": csrf(other)}, headers=_cookie(mine))
    assert (answer.status_code, _newest(site)) == (403, newest)


def test_the_sessions_own_token_does(site: Site) -> None:
    newest, mine = _newest(site), site.session("shift")
    answer = site.ask("POST", "/do/turned", data={"bed": "bed-c", "csrf": csrf(mine)}, headers=_cookie(mine))
    assert answer.status_code == 303
    assert _newest(site) > newest


@pytest.mark.parametrize(
    "heads",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "https://elsewhere.example"},
        {"origin": "null"},
        {"origin": "http://quern.example.elsewhere.example"},
    ],
)
def test_a_form_sent_from_elsewhere_is_refused_even_with_the_token(site: Site, heads: dict[str, str]) -> None:
    newest, mine = _newest(site), site.session("shift")
    form = {"bed": "bed-c", "csrf": csrf(mine)}
    answer = site.ask("POST", "/do/turned", data=form, headers=_cookie(mine) | heads)
    assert (answer.status_code, _newest(site)) == (403, newest)
    assert site.ask("POST", "/login", data={"name": "a", "password": "b"}, headers=heads).status_code == 403


def test_json_with_a_cookie_needs_the_token_too(site: Site) -> None:
    newest, mine = _newest(site), site.session("shift")
    answer = site.ask("POST", f"{ROOT}/do/turned", json={"bed": "bed-c"}, headers=_cookie(mine))
    assert (answer.status_code, _newest(site)) == (403, newest)


def test_a_planted_session_is_not_the_one_somebody_logs_into(fresh: Site) -> None:
    fresh.accounts.use(fresh.accounts.link(SETUP), "Ada", PASSWORD)
    planted = fresh.session("viewer")
    answer = fresh.ask("POST", "/login", data={"name": "Ada", "password": PASSWORD}, headers=_cookie(planted))
    assert answer.status_code == 303
    given = answer.cookies["malting"]
    assert given != planted
    assert fresh.accounts.of_session(planted) is None
    account = fresh.accounts.of_session(given)
    assert account is not None
    assert (account.name, account.role) == ("Ada", "maltster")


def test_a_made_up_cookie_is_nobody(site: Site) -> None:
    assert site.ask("GET", "/", headers=_cookie("A" * 43)).headers["location"] == "/login"


def test_a_link_works_once_and_looking_does_not_use_it_up(fresh: Site) -> None:
    fresh.accounts.add("Cleo", "shift")
    link = fresh.accounts.link(OPEN, "Cleo")
    for _ in range(3):
        assert fresh.ask("GET", f"/in/{link}").status_code == 200
    assert fresh.ask("POST", f"/in/{link}").status_code == 303
    assert fresh.ask("POST", f"/in/{link}").status_code == 410
    assert fresh.ask("GET", f"/in/{link}").status_code == 410
    fresh.begin()
    assert fresh.ask("POST", f"/in/{link}").status_code == 410


def test_a_link_ends(fresh: Site) -> None:
    link = fresh.accounts.first_link()
    fresh.real_ms += 24 * HOUR_MS + 1
    assert fresh.ask("POST", f"/in/{link}", data={"name": "A", "password": PASSWORD}).status_code == 410
    assert fresh.accounts.listed() == []


def test_a_second_set_up_link_ends_the_first_and_there_is_none_once_there_is_an_account(
    fresh: Site,
) -> None:
    first, second = fresh.accounts.first_link(), fresh.accounts.first_link()
    assert fresh.ask("GET", f"/in/{first}").status_code == 410
    weak = fresh.ask("POST", f"/in/{second}", data={"name": "Ada", "password": "short"})
    assert weak.status_code == 422
    assert fresh.ask("POST", f"/in/{second}", data={"name": "Ada", "password": PASSWORD}).status_code == 303
    assert fresh.accounts.first_link() is None


def test_failures_to_log_in_slow_down(fresh: Site) -> None:
    fresh.accounts.use(fresh.accounts.link(SETUP), "Ada", PASSWORD)
    said = [_login(fresh, "Ada", f"wrong {i}").status_code for i in range(7)]
    assert said == [403] * 5 + [429] * 2
    slowed = _login(fresh, "Ada", PASSWORD)
    assert slowed.status_code == 429
    fresh.real_ms += int(slowed.headers["retry-after"]) * 1000
    assert _login(fresh, "Ada", PASSWORD).status_code == 303


def _slowed(site: Site) -> list[dict[str, int]]:
    return [line.body for line in site.lived.lines() if line.kind == "slow"]


def test_a_restart_does_not_forget_who_failed(fresh: Site) -> None:
    fresh.accounts.use(fresh.accounts.link(SETUP), "Ada", PASSWORD)
    for i in range(4):
        _login(fresh, "Ada", f"wrong {i}")
    assert _slowed(fresh) == [], "a slip or two is nobody's business"
    _login(fresh, "Ada", "wrong")
    assert [body["count"] for body in _slowed(fresh)] == [5, 5], "the name, and where it came from"
    waits = _login(fresh, "Ada", PASSWORD).headers["retry-after"]
    fresh.begin()
    slowed = _login(fresh, "Ada", PASSWORD)
    assert (slowed.status_code, slowed.headers["retry-after"]) == (429, waits)
    fresh.real_ms += int(waits) * 1000
    assert _login(fresh, "Ada", "wrong").status_code == 403, "it goes on counting, and the wait grows"
    fresh.begin()
    assert int(_login(fresh, "Ada", PASSWORD).headers["retry-after"]) > int(waits)
    fresh.real_ms += 30_000
    assert _login(fresh, "Ada", PASSWORD).status_code == 303
    assert len(_slowed(fresh)) == 1, "where it came from is still slowed, the name is not"
    fresh.real_ms += HOUR_MS + 1
    fresh.accounts.flush()
    assert _slowed(fresh) == []


def test_what_was_typed_as_a_name_is_not_in_the_store(fresh: Site) -> None:
    for _ in range(6):
        _login(fresh, PASSWORD, "typed into the wrong field")
    kept = repr([line for line in fresh.lived.lines() if line.kind == "slow"])
    assert PASSWORD not in kept
    assert "192.0.2.7" not in kept


def test_a_flood_of_names_fills_neither_memory_nor_store(fresh: Site) -> None:
    held = slow.Slow(fresh.lived, lambda: fresh.real_ms, most=60, most_kept=20)
    for n in range(30):
        for _ in range(5):
            held.failed(f"name {n}", "192.0.2.9")
    assert len(_slowed(fresh)) == 20
    assert held.wait_s("name 0", "x") > 0, "in memory it is slowed all the same"
    again = slow.Slow(fresh.lived, lambda: fresh.real_ms, fresh.lived.lines())
    assert again.wait_s("name 29", "x") > 0
    assert again.wait_s("x", "192.0.2.9") == 900
    for n in range(60):
        held.failed("", f"peer {n}")
    assert held.wait_s("name 29", "x") == 0, "the oldest go first"
    assert len(held._failed) == 60
    assert len(_slowed(fresh)) == 1, "of them only the name that has to wait"


def test_a_clock_that_went_back_shuts_nobody_out(fresh: Site) -> None:
    held = slow.Slow(fresh.lived, lambda: fresh.real_ms)
    for _ in range(40):
        held.failed("Ada", "192.0.2.9")
    fresh.real_ms -= 400 * 24 * HOUR_MS
    again = slow.Slow(fresh.lived, lambda: fresh.real_ms, fresh.lived.lines())
    assert again.wait_s("Ada", "x") == 30
    fresh.real_ms += 30_000
    assert again.wait_s("Ada", "x") == 0


def test_a_name_that_is_none_is_answered_as_a_wrong_password(fresh: Site) -> None:
    fresh.accounts.use(fresh.accounts.link(SETUP), "Ada", PASSWORD)
    assert _login(fresh, "Ada", "wrong").text == _login(fresh, "Nobody", "wrong").text


def _login(site: Site, name: str, password: str) -> httpx.Response:
    return site.ask("POST", "/login", data={"name": name, "password": password})


def test_sessions_end_idle_and_in_the_end(fresh: Site) -> None:
    session = fresh.session("shift")
    fresh.real_ms += 12 * HOUR_MS - 1
    assert fresh.accounts.of_session(session) is not None
    fresh.real_ms += 12 * HOUR_MS + 1
    assert fresh.accounts.of_session(session) is None
    busy = fresh.session("shift")
    for _ in range(15):
        fresh.real_ms += 11 * HOUR_MS
        assert fresh.accounts.of_session(busy) is not None
    fresh.real_ms += 4 * HOUR_MS
    assert fresh.accounts.of_session(busy) is None


def test_sessions_and_accounts_outlive_a_restart_and_secrets_are_not_in_the_store(fresh: Site) -> None:
    link = fresh.accounts.link(SETUP)
    session = fresh.accounts.use(link, "Ada", PASSWORD)
    token = fresh.tokens.add("screen", "viewer")
    kept = repr(fresh.lived.lines())
    assert all(secret not in kept for secret in (link, session, token, PASSWORD))
    assert "$argon2id$v=19$m=19456,t=2,p=1$" in kept
    fresh.begin()
    assert fresh.accounts.of_session(session) is not None
    assert fresh.tokens.of(token) is not None


def test_logging_out_ends_the_session_here(fresh: Site) -> None:
    session = fresh.session("shift")
    fresh.ask("POST", "/logout", data={"csrf": csrf(session)}, headers=_cookie(session))
    assert fresh.accounts.of_session(session) is None


def test_a_new_password_ends_the_other_sessions(fresh: Site) -> None:
    first = fresh.accounts.use(fresh.accounts.link(SETUP), "Ada", PASSWORD)
    second = fresh.accounts.login("Ada", PASSWORD, "x")
    form = {"old": PASSWORD, "new": "otter wind barley", "csrf": csrf(second)}
    assert fresh.ask("POST", "/me", data=form, headers=_cookie(second)).status_code == 303
    assert fresh.accounts.of_session(first) is None
    assert fresh.accounts.of_session(second) is not None


def test_under_tls_the_cookie_is_the_hosts_and_the_browser_told_to_stay_there(fresh: Site) -> None:
    fresh.accounts.add("Cleo", "shift")
    answer = fresh.ask("POST", f"/in/{fresh.accounts.link(OPEN, 'Cleo')}", base=SECURE)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-malting=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=lax"} <= set(cookie.split("; "))
    assert "Domain" not in cookie
    assert answer.headers["strict-transport-security"] == "max-age=31536000"


@pytest.mark.parametrize("path", ["/", "/login", "/static/floor.css", "/nowhere", f"{ROOT}/beds"])
def test_each_answer_says_what_a_browser_may_do(site: Site, path: str) -> None:
    heads = site.ask("GET", path).headers
    assert "unsafe-inline" not in heads["content-security-policy"]
    assert "default-src 'none'" in heads["content-security-policy"]
    assert heads["referrer-policy"] == "no-referrer"
    assert heads["x-content-type-options"] == "nosniff"
    assert "server" not in heads


PATHS = [
    "/static/../given.py", "/static/%2e%2e/given.py", "/static/..%2fgiven.py", "/static/%00",
    "//elsewhere.example", "/bed/..%2f..%2fetc%2fpasswd", "/bed/%0d%0aset-cookie:%20a=b",
    "/alarm/99999999999999999999", "/alarm/-1", "/bed/%ff%fe", "/probe/<script>alert(1)</script>",
    "/piece/%F0%9F%8C%BE", "/in/%0d%0a", "/in/" + "a" * 500, "/?done=%0d%0a",
    "/?done=99999999999999999999999", "/bed/bed-c?span=%00", "/alarms?q=%27%22%3E%3Cscript%3E",
]  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
def test_odd_paths_break_nothing_and_lead_nowhere(site: Site, path: str) -> None:
    answer = site.as_role("shift", "GET", path)
    assert answer.status_code < 500, answer.text
    assert "set-cookie" not in answer.headers
    assert "<script>alert" not in answer.text
    assert "root:" not in answer.text
    assert "class Given" not in answer.text
    assert not answer.headers.get("location", "/").startswith(("http", "//"))


@pytest.mark.parametrize(
    "back",
    ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "/a\r\nset-cookie: b=c"],
)
def test_the_way_back_stays_here(site: Site, back: str) -> None:
    mine = site.session("shift")
    form = {"bed": "bed-c", "back": back, "csrf": csrf(mine)}
    answer = site.ask("POST", "/do/turned", data=form, headers=_cookie(mine))
    assert answer.headers["location"].startswith("/")
    assert not answer.headers["location"].startswith(("//", "/\\"))
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("host", ["elsewhere.example", "a b", "quern.example:99999", ""])
def test_a_made_up_host_gets_nobody_anywhere(site: Site, host: str) -> None:
    answer = site.ask("GET", "/", headers={"host": host})
    assert answer.status_code in (303, 400)
    assert answer.headers.get("location", "/login") == "/login"


def test_too_much_is_refused(site: Site) -> None:
    mine = site.session("shift")
    long = site.ask("POST", "/do/turned", content=b"a" * (MOST_BODY + 1), headers=_cookie(mine))
    assert long.status_code == 413
    fields = "&".join(f"a{i}=b" for i in range(400))
    heads = _cookie(mine) | {"content-type": "application/x-www-form-urlencoded"}
    assert site.ask("POST", "/do/turned", content=fields, headers=heads).status_code in (400, 403)
    assert site.ask("GET", "/?" + "a" * 3000).status_code == 414
    assert site.ask("POST", "/login", content=b"", headers={"content-length": "x"}).status_code in (400, 413)


BODIES = [
    b"", b"{", b"[]", b'"a"', b"[" * 5000, b'{"bed": {"a": 1}}', b'{"bed": "\\u0000"}',
    b'{"kind": "site"}', b'{"bed": 1e999}',
]  # fmt: skip


@pytest.mark.parametrize("body", BODIES)
def test_odd_bodies_are_answered_in_words(site: Site, body: bytes) -> None:
    token = site.tokens.add(f"t{abs(hash(body))}", "shift")
    heads = {"authorization": f"Bearer {token}", "content-type": "application/json"}
    answer = site.ask("POST", f"{ROOT}/do/turned", content=body, headers=heads)
    assert answer.status_code in (400, 422), answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["status"] == answer.status_code
    site.tokens.remove(f"t{abs(hash(body))}")
