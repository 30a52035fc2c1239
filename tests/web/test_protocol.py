"""HTTP as any client speaks it (RFC 9110; faults: RFC 9457): methods, bounds, odd bytes, health, ports."""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from gateway.live.people import People
from gateway.live.requests import Requests
from gateway.live.web import Asked, Given
from gateway.web import guard
from gateway.web.api import ROOT
from gateway.web.app import make_app
from gateway.web.bounds import Bounds
from gateway.web.server import Server
from tests.cli.house import site_file, type_in
from tests.web.conftest import Site

WITHIN_S = 10.0
PROBLEM = "application/problem+json"
GOOD = b'{"note": "look at bed C"}'


def bearer(site: Site, role: str = "shift") -> dict[str, str]:
    """What a program sends along."""
    name = f"program {len(site.tokens.listed())}"
    return {"authorization": f"Bearer {site.tokens.add(name, role)}"}


@pytest.mark.parametrize(
    "path", ["/", "/login", "/static/floor.css", "/health/ready", "/metrics", f"{ROOT}/beds"]
)
def test_head_is_get_without_the_body(site: Site, path: str) -> None:
    heads = bearer(site, "viewer")
    get, head = (site.ask(method, path, headers=heads) for method in ("GET", "HEAD"))
    assert (head.status_code, head.headers["content-type"]) == (get.status_code, get.headers["content-type"])
    assert head.status_code == 200
    refused = site.ask("HEAD", f"{ROOT}/beds")
    assert refused.status_code == 401


@pytest.mark.parametrize("method", ["OPTIONS", "PUT", "DELETE", "TRACE", "PATCH", "BREW"])
@pytest.mark.parametrize(
    ("path", "allowed"), [("/", {"GET", "HEAD"}), (f"{ROOT}/beds", {"GET"}), (f"{ROOT}/do/turned", {"POST"})]
)
def test_another_method_is_refused_and_told_which_there_are(
    site: Site, method: str, path: str, allowed: set[str]
) -> None:
    answer = site.ask(method, path, headers=bearer(site))
    assert answer.status_code == 405
    assert set(answer.headers["allow"].split(", ")) == allowed
    if path.startswith(ROOT):
        assert answer.headers["content-type"] == PROBLEM
        assert answer.json() == {"type": "about:blank", "title": "Method Not Allowed", "status": 405}


@pytest.mark.parametrize("path", [f"{ROOT}/nowhere", f"{ROOT}/beds/", f"{ROOT}/do/no-such-verb"])
def test_what_is_not_there_is_a_problem_in_the_interface(site: Site, path: str) -> None:
    content = b"{}" if "/do/" in path else None
    answer = site.ask("POST" if content else "GET", path, headers=bearer(site), content=content)
    assert answer.status_code in (404, 422)
    assert answer.headers["content-type"] == PROBLEM


@pytest.mark.parametrize("size", [2049, 10_000, 15_000])
def test_a_long_question_is_refused(site: Site, size: int) -> None:
    answer = site.ask("GET", f"{ROOT}/alarms?" + "a" * size, headers=bearer(site))
    assert (answer.status_code, answer.headers["content-type"]) == (414, PROBLEM)


BYTES = [
    (b"\xff\xfe{", "application/json"),
    (b'{"bed": "\xff"}', "application/json"),
    (b'{"bed": "\\ud800"}', "application/json"),
    (b"bed=%ff%fe", "application/x-www-form-urlencoded"),
    (b"--x\r\n\xff", "multipart/form-data; boundary=x"),
    (b"--x\r\n\xff", "multipart/form-data"),
    (b"\x1f\x8b\x08\x00", "application/json"),
    (b"{}", "\xff/\xfe"),
]  # fmt: skip


@pytest.mark.parametrize(("body", "kind"), BYTES)
def test_bytes_that_are_no_text_write_nothing(site: Site, body: bytes, kind: str) -> None:
    newest = site.lived.place()[0]
    heads: dict[str, Any] = {"content-type": kind.encode("latin-1")}
    answer = site.ask("POST", f"{ROOT}/do/turned", content=body, headers=bearer(site) | heads)
    assert (answer.status_code, answer.headers["content-type"]) in [(400, PROBLEM), (422, PROBLEM)]
    session = site.session("shift")
    form = site.ask("POST", "/do/turned", content=body, headers=heads | {"cookie": f"malting={session}"})
    assert form.status_code in (400, 403)
    assert site.ask("POST", "/login", content=body, headers=heads).status_code in (400, 403, 429)
    assert site.lived.place()[0] == newest


# Over sockets: what a client library would not send.


@pytest.fixture
def port(site: Site) -> Iterator[int]:
    """The application on the product's own server."""
    yield from served(site)


@pytest.fixture
def hasty_port(site: Site) -> Iterator[int]:
    """The same, where nobody is waited for long."""
    site.begin(Bounds(body_s=0.2))
    yield from served(site)
    site.begin()


def served(site: Site) -> Iterator[int]:
    """The port, as long as it is served."""
    listening = socket.create_server(("127.0.0.1", 0))
    server = Server(site.app, listening)
    server.start()
    yield int(listening.getsockname()[1])
    server.stop()


def raw(port: int, *pieces: bytes) -> tuple[int, str]:
    """Status and whole answer for these bytes, sent as one: what comes after the other side has refused and
    closed would reset the line, and the answer with it (RFC 9112, 9.6)."""
    with closing(socket.create_connection(("127.0.0.1", port), WITHIN_S)) as line:
        line.sendall(b"".join(pieces))
        taken = b""
        while part := line.recv(65536):
            taken += part
    found = re.match(rb"HTTP/1\.1 (\d{3}) ", taken)
    return int(found[1]) if found else 0, taken.decode("latin-1")


def post(site: Site, *heads: str, path: str = f"{ROOT}/do/hand-over") -> bytes:
    """The head of a request that would record something."""
    [(name, value)] = bearer(site).items()
    lines = [f"POST {path} HTTP/1.1", "Host: quern.example", f"{name}: {value}", "Connection: close", *heads]
    return ("\r\n".join(lines) + "\r\n\r\n").encode()


def test_a_body_that_is_longer_than_said_or_unsaid_is_cut_off(site: Site, port: int) -> None:
    newest = site.lived.place()[0]
    status, said = raw(port, post(site, f"Content-Length: {guard.MOST_BODY + 1}"), b"{")
    assert (status, "64 kB" in said) == (413, True)
    chunk = b"8000\r\n" + b" " * 0x8000 + b"\r\n"
    # One byte too many and no more, as in `raw`.
    status, said = raw(port, post(site, "Transfer-Encoding: chunked"), chunk, chunk, b"1\r\n \r\n")
    assert (status, PROBLEM in said) == (413, True)
    assert site.lived.place()[0] == newest
    status, said = raw(
        port, post(site, "Content-Type: application/json", f"Content-Length: {len(GOOD)}"), GOOD
    )
    assert (status, "journal" in said) == (200, True), "and the next is served"


def test_a_body_that_drips_or_never_comes_is_ended(site: Site, hasty_port: int) -> None:
    newest = site.lived.place()[0]
    for sent in (b"", GOOD[:5]):
        status, said = raw(
            hasty_port, post(site, "Content-Type: application/json", f"Content-Length: {len(GOOD)}"), sent
        )
        assert (status, PROBLEM in said, "too slowly" in said) == (408, True, True)
    form = "Content-Type: application/x-www-form-urlencoded"
    status, said = raw(hasty_port, post(site, form, "Content-Length: 9", path="/login"), b"name=")
    assert (status, PROBLEM in said) == (408, False)
    assert site.lived.place()[0] == newest


@pytest.mark.parametrize(
    "sent",
    [
        b"GET /" + b"x" * 40_000,
        b"GET / HTTP/1.1\r\nHost: a\r\nX: " + b"x" * 40_000,
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        b"GET /\xff\xfe HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nConnection: close\r\nTransfer-Encoding: chunked, x\r\n\r\n0\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: -1\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    ],
)
def test_what_is_no_request_gets_a_plain_refusal(port: int, sent: bytes) -> None:
    status, said = raw(port, sent)
    assert 400 <= status < 500, said[:200]
    assert "Traceback" not in said
    assert raw(port, b"GET /health/live HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")[0] == 200


# What a watchdog asks.


def health(site: Site, given: Given) -> dict[str, int]:
    """Status by what was asked."""
    site.app = make_app(given, site.accounts, site.tokens, site.pushes)
    return {word: site.ask("GET", f"/health/{word}").status_code for word in ("live", "ready")}


def test_ready_is_who_judges_and_alive_is_who_answers(fresh: Site) -> None:
    assert [fresh.ask("GET", f"/health/{word}").text for word in ("live", "ready")] == ["alive\n", "ready\n"]
    lived, still = fresh.lived, list[str]()
    requests = Requests(lambda: None)
    clock, reader = lived.gate.hand.clock, lived.reader()
    people = People(lived.site(), reader, requests, clock)
    pipeline = lived.gate.pipeline
    given = Given(Asked(pipeline, requests, people, clock, lambda: {"still": still}, fresh.pushes), reader)
    requests.close()  # as while it stops
    assert health(fresh, given) == {"live": 200, "ready": 503}
    pages = fresh.as_role("viewer", "GET", f"{ROOT}/beds")
    assert (pages.status_code, pages.headers["content-type"]) == (503, PROBLEM)
    assert "stopping" in pages.json()["title"]


def test_a_loop_that_stands_still_is_not_ready(fresh: Site) -> None:
    fresh.lived.still = ["deliver"]
    answer = fresh.ask("GET", "/health/ready")
    assert (answer.status_code, answer.text) == (503, "not ready\n")
    assert fresh.ask("GET", "/health/live").status_code == 200


@pytest.mark.parametrize("where", ["taken", "192.0.2.7:8480"])
def test_an_address_that_cannot_be_had_is_said_in_words(tmp_path: Path, where: str) -> None:
    site = site_file(tmp_path)
    with closing(socket.create_server(("127.0.0.1", 0))) as other:
        listen = f"127.0.0.1:{other.getsockname()[1]}" if where == "taken" else where
        text = re.sub(r'(\[web\][^\[]*?listen = )"[^"]*"', rf'\1"{listen}"', site.read_text(), count=1)
        if where != "taken":
            text = text.replace("[web]", "[web]\nplain_http_can_be_read_by_others = true", 1)
        assert listen in text
        site.write_text(text)
        said = type_in("--site", site, "--store", tmp_path / "store", "run")
    assert said.code == 2
    why = "another program listens there already" if where == "taken" else "this machine has no such address"
    assert f"web.listen = {listen}: {why}; expected" in said.err
    assert "Traceback" not in said.err
