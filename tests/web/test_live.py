"""What open pages are told as it happens, over real sockets: server-sent events, HTML Living Standard 9.2."""

from __future__ import annotations

import asyncio
import http.client
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from typing import Any

import pytest

from gateway.web.bounds import USUAL, Bounds
from gateway.web.secret import csrf
from gateway.web.server import Server
from tests.web.conftest import Site

WITHIN_S = 10.0
HOUR_MS = 3_600_000


class Page:
    """One open page that listens, on a connection of its own."""

    def __init__(self, port: int, **heads: str) -> None:
        self._line = http.client.HTTPConnection("127.0.0.1", port, timeout=WITHIN_S)
        self._line.request("GET", "/live", headers={k.replace("_", "-"): v for k, v in heads.items()})
        self.answer = self._line.getresponse()

    def block(self) -> list[str]:
        """The lines of the next event or comment; none once the stream has ended."""
        found: list[str] = []
        while line := self.answer.readline().decode().rstrip("\n"):
            found.append(line)
        return found

    def event(self) -> dict[str, str]:
        """The next event's fields; comments are passed over. Empty once the stream has ended."""
        while block := self.block():
            fields = dict(line.split(": ", 1) for line in block if not line.startswith(":"))
            if "event" in fields:
                return fields
        return {}

    def close(self) -> None:
        """Go away."""
        self.answer.close()
        self._line.close()


class House:
    """The application on the product's own server."""

    def __init__(self, site: Site, bounds: Bounds = USUAL, **more: Any) -> None:
        self.site = site
        site.begin(bounds)
        self._socket = socket.create_server(("127.0.0.1", 0))
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
        self.port: int = self._socket.getsockname()[1]
        self.server = Server(site.app, self._socket, **more)
        self.server.start()
        self.pulse = site.app.state.pulse
        self._pages: list[Page] = []
        self._tick = threading.Event()

    def page(self, role: str | None = "viewer", session: str = "", **heads: str) -> Page:
        """An open page of that role."""
        if role:
            heads["cookie"] = f"malting={session or self.site.session(role)}"
        made = Page(self.port, **heads)
        self._pages.append(made)
        return made

    def listening(self, role: str = "viewer", session: str = "", **heads: str) -> Page:
        """One that has begun to listen."""
        page = self.page(role, session, **heads)
        assert page.block() == ["retry: 3000"]
        return page

    def until(self, done: Callable[[], bool]) -> None:
        """Wait for it."""
        end = time.monotonic() + WITHIN_S
        while not done():
            assert time.monotonic() < end, "it did not come"
            self._tick.wait(0.02)

    def close(self) -> None:
        """End; the server first, so that it is seen to let pages go."""
        self.server.stop()
        for page in self._pages:
            page.close()


@pytest.fixture
def house(site: Site) -> Iterator[House]:
    """Stopped at the end."""
    it = House(site)
    yield it
    it.close()


@pytest.fixture
def brisk(site: Site) -> Iterator[House]:
    """The same, whose quiet lines beat fast."""
    it = House(site, Bounds(beat_s=0.1))
    yield it
    it.close()


def write_down(site: Site, note: str = "look at bed C") -> int:
    """Something is recorded, as from anywhere."""
    return site.lived.record("hand-over", {"note": note, "by": "ben"})


def test_nobody_listens_without_a_way_in(house: House) -> None:
    for page in (
        house.page(None),
        house.page(None, cookie="malting=made-up"),
        house.page(None, authorization="Bearer x"),
    ):
        assert page.answer.status == 401
        assert b"changed" not in page.answer.read()
    assert house.pulse.listeners == 0


def test_every_role_and_a_token_may(house: House) -> None:
    token = house.site.tokens.add("screen", "viewer")
    for page in (
        house.page("viewer"),
        house.page("safety"),
        house.page(None, authorization=f"Bearer {token}"),
    ):
        assert page.answer.status == 200
        assert page.answer.getheader("content-type") == "text/event-stream; charset=utf-8"
        assert page.answer.getheader("cache-control") == "no-store"
    house.site.tokens.remove("screen")


def test_news_comes_within_a_second_to_every_page(house: House) -> None:
    pages = [house.listening(), house.listening("shift", accept_encoding="gzip, br")]
    began = time.monotonic()
    number = write_down(house.site)
    for page in pages:
        said = page.event()
        assert said["event"] == "changed"
        assert json.loads(said["data"])["journal"] >= number
        assert page.answer.getheader("content-encoding") is None, "what is packed is held back"
    assert time.monotonic() - began < 1.0


def test_what_the_ticks_alone_bring_is_news_too(house: House) -> None:
    page = house.listening()
    house.site.lived.let_pass(45)  # nothing comes any more: silence is found by ticks
    assert page.event()["event"] == "changed"


def test_readings_alone_are_told_now_and_then(fresh: Site) -> None:
    house, lived = House(fresh, Bounds(beat_s=1.2, readings_s=5.0)), fresh.lived
    page = house.listening()
    alone = False
    while not alone:
        news, place = lived.news(), lived.place()
        lived.let_pass(0.2)
        alone = lived.news() == news and lived.place() != place
    while page.block() != [": still here"]:
        pass
    assert house.pulse.place < lived.place(), "not at once"
    assert page.event()["event"] == "changed"
    house.close()


def test_a_quiet_line_is_kept_alive(brisk: House) -> None:
    page = brisk.listening()
    assert [page.block() for _ in range(3)] == [[": still here"]] * 3


def test_who_lost_the_connection_is_told_what_it_missed(brisk: House) -> None:
    house = brisk
    first = house.listening()
    write_down(house.site)
    last = first.event()["id"]
    same = house.listening(last_event_id=last)
    assert same.block() == [": still here"], "it has missed nothing"
    first.close()
    same.close()
    house.until(lambda: house.pulse.listeners == 0)
    write_down(house.site)
    assert house.listening(last_event_id=last).event()["event"] == "changed"
    assert house.listening(last_event_id="é" * 500).event()["event"] == "changed", (
        "of another start, or made up"
    )


def test_it_ends_with_the_session(house: House) -> None:
    session = house.site.session("shift")
    mine, same, other = (
        house.listening("shift", session),
        house.listening("shift", session),
        house.listening(),
    )
    began = time.monotonic()
    form = {"csrf": csrf(session)}
    house.site.ask("POST", "/logout", data=form, headers={"cookie": f"malting={session}"})
    assert mine.event() == same.event() == {}
    assert time.monotonic() - began < 1.5
    write_down(house.site)
    assert other.event()["event"] == "changed", "another's goes on"


def test_it_ends_with_the_account_the_token_and_the_time(brisk: House) -> None:
    house, site = brisk, brisk.site
    site.accounts.add("Guest", "viewer")
    gone = house.listening("viewer", site.accounts.use(site.accounts.link("open", "Guest")))
    site.accounts.remove("Guest")
    assert gone.event() == {}
    token = site.tokens.add("screen", "viewer")
    page = house.page(None, authorization=f"Bearer {token}")
    site.tokens.remove("screen")
    assert page.event() == {}
    late = house.listening()
    site.real_ms += 13 * HOUR_MS
    assert late.event() == {}, "listening does not keep a session from ending idle"


def test_a_server_that_stops_lets_them_go_at_once(site: Site) -> None:
    house = House(site)
    pages = [house.listening() for _ in range(5)]
    began = time.monotonic()
    house.close()
    assert time.monotonic() - began < 2.0
    assert [page.event() for page in pages] == [{}] * 5
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", house.port), 1)


def test_one_browser_opens_so_many_and_leaves_room_for_others(house: House) -> None:
    session = house.site.session("shift")
    mine = [house.listening("shift", session) for _ in range(USUAL.of_one)]
    more = house.page("shift", session)
    assert (more.answer.status, more.answer.getheader("retry-after")) == (503, "30")
    house.listening("maltster")
    mine[0].close()
    house.until(lambda: house.pulse.listeners == USUAL.of_one)
    house.listening("shift", session)


def test_so_many_listen_in_all(site: Site) -> None:
    house = House(site, Bounds(listeners=3))
    pages = [house.listening() for _ in range(3)]
    assert house.page("maltster").answer.status == 503
    assert house.site.as_role("viewer", "GET", "/").status_code == 200, "pages are served all the same"
    pages[0].close()
    house.until(lambda: house.pulse.listeners == 2)
    house.listening()
    house.close()


def test_asking_for_the_head_opens_nothing(house: House) -> None:
    line = http.client.HTTPConnection("127.0.0.1", house.port, timeout=WITHIN_S)
    with closing(line):
        line.request("HEAD", "/live", headers={"cookie": f"malting={house.site.session('viewer')}"})
        answer = line.getresponse()
        assert (answer.status, answer.read()) == (200, b"")
        line.request("HEAD", "/health/live")
        assert line.getresponse().status == 200, "and the connection goes on"
    assert house.pulse.listeners == 0


def stalled(house: House) -> socket.socket:
    """Somebody who listens and reads nothing of it."""
    line = socket.socket()
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
    line.settimeout(WITHIN_S)
    line.connect(("127.0.0.1", house.port))
    cookie = f"malting={house.site.session('viewer')}"
    line.sendall(f"GET /live HTTP/1.1\r\nHost: quern.example\r\nCookie: {cookie}\r\n\r\n".encode())
    house.until(lambda: bool(house.pulse.listeners))
    return line


def much_news(house: House, times: int) -> None:
    """So many changes, each told before the next."""
    loop, pulse = house.server._loop, house.pulse
    assert loop is not None

    async def go() -> None:
        for n in range(times):
            pulse.place = (n, n)
            pulse._wake()
            for _ in range(3):
                await asyncio.sleep(0)

    asyncio.run_coroutine_threadsafe(go(), loop).result(60)


def waiting(house: House) -> list[int]:
    """Bytes that wait in memory for each connection."""
    return [one.transport.get_write_buffer_size() for one in house.server._server.server_state.connections]


def test_one_that_reads_nothing_holds_no_memory_and_nobody_up(house: House) -> None:
    with closing(stalled(house)) as slow:
        much_news(house, 20_000)
        held = waiting(house)
        assert 30_000 < max(held) < 80_000, f"of some 1.5 MB: {held}"
        quick = house.listening()
        began = time.monotonic()
        write_down(house.site)
        assert quick.event()["event"] == "changed"
        assert time.monotonic() - began < 1.5
        taken = b""
        while house.pulse.mark.encode() not in taken[-400:]:
            taken += slow.recv(65536)
    assert taken.count(b"event: changed") < 10_000, "what lies between is not made up for"


def test_one_that_goes_on_reading_nothing_is_let_go(site: Site) -> None:
    house = House(site, untaken_s=1.0)
    with closing(stalled(house)):
        much_news(house, 5_000)
        house.until(lambda: house.pulse.listeners == 0)
        assert waiting(house) == []
    house.close()
