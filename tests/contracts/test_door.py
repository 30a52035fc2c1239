"""The door over real sockets: GET shows, POST answers, and nothing else is to be had."""

import http.client
import logging
import re
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from gateway.core import links, rows
from gateway.core.effects import AlarmChange, Change
from gateway.edges import door_server
from gateway.edges.clock import real_mono_ms, real_wall_ms
from gateway.edges.door import Door
from gateway.errors import NoAnswer, StoreFault
from gateway.live.keys import load_key

KEY = b"k" * 32
RAISED = Change(1_793_588_000_000, "normal", "unacknowledged", "raise")
HOT = AlarmChange(
    (1, 0), 412, 1, "bed_hot", "bed-c", None, "medium", "high", "unacknowledged", 22.6, "Cel", 22.0,
    1_793_588_000_000, 1_793_588_000_000, None, False, None, None, RAISED,
)  # fmt: skip
WITHIN_S = 10.0


class Ticking:
    """Real time of day; the time that only grows is real too, and can be moved on."""

    def __init__(self) -> None:
        self.ahead_ms = 0

    def wall_ms(self) -> int:
        """Unix ms."""
        return real_wall_ms() + self.ahead_ms

    def mono_ms(self) -> int:
        """As real as it grows, and as far ahead as was told."""
        return real_mono_ms() + self.ahead_ms

    def trusted(self) -> bool:
        """Always."""
        return True


class House:
    """A door, the alarms behind it, and the answers that came through."""

    def __init__(self) -> None:
        self.alarms = {412: (HOT, [RAISED])}
        self.answers: list[tuple[int, str, str]] = []
        self.fault: Exception | None = None
        self.clock = Ticking()
        self.door = Door(
            "127.0.0.1", 0, key=KEY, look=self.look, answer=self.answer, clock=self.clock,
            time_zone="Europe/London", names={"ada": "Ada", "ben": "Ben <script>"}, look_round_s=0.02,
        )  # fmt: skip
        self.door.start()

    def look(self, number: int) -> dict[str, object] | None:
        """The alarm's row as the store would give it, with the words of its last message."""
        if number not in self.alarms:
            return None
        alarm, history = self.alarms[number]
        return {**rows.alarm(alarm, history), "title": "PIECE 14 HOT", "text": "Bed C & <b>day 4</b>"}

    def answer(self, number: int, person: str, word: str) -> str:
        """What a judge makes of it: answered, with a step in the history."""
        if self.fault:
            raise self.fault
        self.answers.append((number, person, word))
        if word != "cant":
            self.change("acknowledged", "answer", person)
        return f"Noted: {word}."

    def change(self, state: str, signal: str, by: str | None = None) -> None:
        """One more step of the alarm."""
        alarm, history = self.alarms[412]
        step = Change(alarm.raised_at_ms + 60_000, alarm.state, state, signal, by)
        cleared_ms = step.at_ms if state == "normal" else None
        self.alarms[412] = (
            replace(alarm, state=state, answered_by=by, cleared_at_ms=cleared_ms, change=step),
            [*history, step],
        )

    def path(self, person: str = "ben", occurrence: int = 1, alarm: int = 412) -> str:
        """A good link's path."""
        until_ms = self.clock.wall_ms() + links.DAY_MS
        return links.PATH + links.make_token(KEY, links.Link(alarm, occurrence, person, until_ms))

    def ask(
        self, method: str, path: str, body: str | None = None, headers: dict[str, str] | None = None
    ) -> tuple[int, str, http.client.HTTPMessage]:
        """(status, body, headers) of one request by the standard library's client."""
        connection = http.client.HTTPConnection("127.0.0.1", self.door.port, timeout=WITHIN_S)
        sort = {"Content-Type": "application/x-www-form-urlencoded"} if body else {}
        connection.request(method, path, body, {**sort, **(headers or {})})
        response = connection.getresponse()
        text = response.read().decode()
        connection.close()
        return response.status, text, response.headers

    def raw(self, *pieces: bytes) -> bytes:
        """What comes back for these bytes, to the end."""
        with socket.create_connection(("127.0.0.1", self.door.port), WITHIN_S) as it:
            for piece in pieces:
                it.sendall(piece)
            read = b""
            while more := it.recv(65536):
                read += more
            return read


@pytest.fixture
def house() -> Iterator[House]:
    """Stopped at the end."""
    it = House()
    yield it
    it.door.stop()


def step_of(page: str) -> str:
    """The hidden field of the form on a page."""
    found = re.search(r'name="step" value="(\d+)"', page)
    assert found
    return found.group(1)


def test_get_shows_and_never_acts(house: House) -> None:
    status, page, headers = house.ask("GET", house.path())
    assert status == 200
    assert house.answers == []
    for words in ("PIECE 14 HOT", "412", "Nobody has answered.", "22.6 °C, limit 22 °C", "Going", "Heard"):
        assert words in page
    assert re.findall(r'name="answer" value="(\w+)"', page) == ["going", "heard", "cant"]
    assert "Bed C &amp; &lt;b&gt;day 4&lt;/b&gt;" in page
    assert "<script" not in page
    assert "Ben <script>" in unescape(page)
    assert headers["Cache-Control"] == "no-store"
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert "Server" not in headers


def test_head_is_get_without_the_page(house: House) -> None:
    status, page, headers = house.ask("HEAD", house.path())
    assert (status, page) == (200, "")
    assert int(headers["Content-Length"]) > 1000
    assert house.answers == []


@pytest.mark.parametrize("word", ["going", "heard", "cant"])
def test_post_answers_as_the_link_s_person(house: House, word: str) -> None:
    status, page, _ = house.ask("POST", house.path(), f"answer={word}")
    assert (status, house.answers) == (200, [(412, "ben", word)])
    assert f"Noted: {word}." in page
    assert "<button" not in page, "nobody shall press twice to be sure"
    assert ("Nobody has answered." in page) == (word == "cant"), "as it stands after the answer"


def test_the_log_says_who_answered_and_never_the_link(house: House, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    path = house.path()
    house.ask("GET", path)
    house.ask("POST", path, "answer=going")
    house.ask("GET", path + "x")
    assert "alarm 412 answered by link: going by ben" in caplog.text
    assert path.removeprefix(links.PATH)[:20] not in caplog.text


def test_what_was_answered_is_shown_in_words(house: House) -> None:
    house.answer(412, "ada", "going")
    assert "Ada answered." in house.ask("GET", house.path())[1]
    house.change("returned_unacknowledged", "clear")
    assert "It went off by itself; nobody has answered." in house.ask("GET", house.path())[1]
    house.change("normal", "answer", "ada")
    page = house.ask("GET", house.path())[1]
    assert "There is nothing left to answer." in page
    assert "<button" not in page


def test_a_form_acts_once_however_often_it_is_sent(house: House) -> None:
    path = house.path()
    form = f"answer=going&step={step_of(house.ask('GET', path)[1])}"
    for _ in range(3):
        assert house.ask("POST", path, form)[0] == 200
    assert house.answers == [(412, "ben", "going")]
    house.change("unacknowledged", "realarm")
    _, page, _ = house.ask("POST", path, form)
    assert "You have answered already" in page
    assert len(house.answers) == 1, "the old form does not answer the new call"
    house.ask("POST", path, f"answer=going&step={step_of(page)}")
    assert len(house.answers) == 2, "the page that came with it does"


def test_somebody_else_s_step_does_not_use_up_a_form(house: House) -> None:
    path = house.path()
    form = f"answer=going&step={step_of(house.ask('GET', path)[1])}"
    house.change("unacknowledged", "cant", "ada")
    house.ask("POST", path, form)
    assert house.answers == [(412, "ben", "going")]


def test_an_answer_to_what_is_over_is_not_noted(house: House) -> None:
    house.change("normal", "clear")
    status, page, _ = house.ask("POST", house.path(), "answer=going")
    assert (status, house.answers) == (200, [])
    assert "Nothing was noted: it is over." in page


def test_an_answer_that_is_not_committed_is_said_to_be_none(house: House) -> None:
    house.fault = NoAnswer("the writer is busy")
    status, page, _ = house.ask("POST", house.path(), "answer=going")
    assert status == 503
    assert "NOT NOTED" in page
    assert "<button" in page


def test_a_fault_of_ours_says_nothing_of_the_inside(house: House) -> None:
    house.fault = RuntimeError("secret inside")
    status, page, headers = house.ask("POST", house.path(), "answer=going")
    assert (status, page) == (500, "Internal Server Error\n")
    assert headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    "body", ["", "answer=", "answer=run", "Answer=going", "a=1&b=2&c=3&d=4&e=5&answer=going"]
)
def test_a_form_without_a_known_answer_is_not_noted(house: House, body: str) -> None:
    assert house.ask("POST", house.path(), body)[0] == 400
    assert house.answers == []


def test_bytes_that_are_no_form_are_not_noted(house: House) -> None:
    head = f"POST {house.path()} HTTP/1.1\r\nHost: a\r\nContent-Length: 4\r\n\r\n".encode()
    assert house.raw(head, b"\xff\x00\xfe\x80").startswith(b"HTTP/1.1 400 ")
    assert house.answers == []


def test_bad_links_are_refused(house: House) -> None:
    good = house.path()
    changed = good[:-1] + ("A" if good[-1] != "A" else "B")
    other_key = links.PATH + links.make_token(b"x" * 32, links.Link(412, 1, "ben", 2**41))
    for path in (changed, good[:-5], good + "A", other_key, links.PATH + "x", links.PATH):
        for method, body in (("GET", None), ("POST", "answer=going")):
            status, page, _ = house.ask(method, path, body)
            assert status == 404, path
            assert "PIECE 14" not in page
    assert house.answers == []


def test_a_link_ends_with_its_day_and_with_its_occurrence(house: House) -> None:
    path = house.path()
    for other in (house.path(occurrence=2), house.path(alarm=999)):
        assert house.ask("POST", other, "answer=going")[0] == 410
    house.clock.ahead_ms = links.DAY_MS - 5000
    assert house.ask("GET", path)[0] == 200
    house.clock.ahead_ms = links.DAY_MS + 1000
    status, page, _ = house.ask("POST", path, "answer=going")
    assert status == 410
    assert "too old" in page
    assert house.answers == []


@pytest.mark.parametrize(
    "path",
    ["/", "/a", "/a/", "/a/../a/x", "/../../etc/passwd", "/a/%2e%2e/x", "//a/x", "/health", "/favicon.ico",
     "http://elsewhere/a/x", "*", "/a/" + "x" * 500],
)  # fmt: skip
def test_other_paths_lead_nowhere(house: House, path: str) -> None:
    status, page, _ = house.ask("GET", path)
    assert status == 404
    assert "etc" not in page


def test_what_comes_after_a_question_mark_is_ignored(house: House) -> None:
    assert house.ask("GET", house.path() + "?utm=x&answer=going")[0] == 200
    assert house.answers == []


def test_alive(house: House) -> None:
    assert house.ask("GET", "/health/live")[:2] == (200, "alive\n")


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "CONNECT", "get", "X-Y"])
def test_other_methods_are_refused(house: House, method: str) -> None:
    assert house.ask(method, house.path())[0] in (400, 405, 501)
    assert house.answers == []


def test_a_form_from_another_site_is_refused(house: House) -> None:
    cross = {"Sec-Fetch-Site": "cross-site"}
    assert house.ask("POST", house.path(), "answer=going", cross)[0] == 403
    assert house.answers == []
    assert house.ask("POST", house.path(), "answer=going", {"Sec-Fetch-Site": "same-origin"})[0] == 200


BREAKS = [
    (b"GET /a/x\r\nX: y HTTP/1.1\r\n\r\n", b""),
    (b"GET /a/\r\n\r\nX-Injected: 1 HTTP/1.1\r\n\r\n", b""),
    (b"GET /%0d%0aX-Injected:%201 HTTP/1.1\r\nHost: a\r\n\r\n", b"404"),
    (b"GET /\x00\xff HTTP/1.1\r\n\r\n", b"404"),
    (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", b""),
    (b"GET / HTTP/9.9\r\n\r\n", b"505"),
    (b"GET / HTTP/x\r\n\r\n", b"400"),
    (b"POST /a/x HTTP/1.1\r\n\r\n", b"411"),
    (b"POST /a/x HTTP/1.1\r\nContent-Length: -1\r\n\r\n", b"411"),
    (b"POST /a/x HTTP/1.1\r\nContent-Length: 99999999999999999999\r\n\r\n", b"413"),
    (b"POST /a/x HTTP/1.1\r\nContent-Length: 1025\r\n\r\n", b"413"),
    (b"POST /a/x HTTP/1.1\r\nTransfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n", b"411"),
    (b"GET /" + b"x" * 20_000 + b" HTTP/1.1\r\n\r\n", b"431"),
    (b"GET / HTTP/1.1\r\nX: " + b"x" * 20_000 + b"\r\n\r\n", b"431"),
    (b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 2000 + b"\r\n", b"431"),
    (b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 101 + b"\r\n", b"431"),
]


@pytest.mark.parametrize(("sent", "status"), BREAKS)
def test_broken_requests_get_a_plain_refusal(house: House, sent: bytes, status: bytes) -> None:
    try:
        said = house.raw(sent)
    except ConnectionResetError:  # it hung up with some of ours unread
        said = b""
    head = said.split(b"\r\n\r\n")[0]
    assert b"X-Injected" not in head
    if status and said:
        assert head.startswith(b"HTTP/1.1 " + status)
    assert house.ask("GET", "/health/live")[0] == 200
    assert house.answers == []


def held(house: House, count: int) -> list[socket.socket]:
    """Connections that begin a request and do not end it."""
    made = [socket.create_connection(("127.0.0.1", house.door.port), WITHIN_S) for _ in range(count)]
    for one in made:
        one.sendall(b"GET /health/live HTTP/1.1\r\nX: ")
    return made


def test_slow_ones_do_not_keep_others_out(house: House) -> None:
    slow = held(house, door_server.PLACES + 10)
    began = time.monotonic()
    for _ in range(3):
        assert house.ask("GET", house.path())[0] == 200
    assert time.monotonic() - began < 3.0
    names = [thread.name for thread in threading.enumerate()]
    assert len([name for name in names if "process_request_thread" in name]) <= door_server.PLACES
    for one in slow:
        one.close()


def test_a_request_that_drips_is_ended_as_a_whole(house: House) -> None:
    [slow] = held(house, 1)
    slow.sendall(b"y")
    house.clock.ahead_ms = door_server.WHOLE_MS
    assert slow.recv(100) == b"", "hung up"
    slow.close()


def test_an_answer_under_way_keeps_its_place(house: House) -> None:
    inside, go = threading.Event(), threading.Event()
    plain = house.answer

    def slowly(number: int, person: str, word: str) -> str:
        inside.set()
        assert go.wait(WITHIN_S)
        return plain(number, person, word)

    other = Door(
        "127.0.0.1", 0, key=KEY, look=house.look, answer=slowly, clock=house.clock,
        time_zone="Europe/London", names={}, look_round_s=0.02,
    )  # fmt: skip
    house.door.stop()
    house.door = other
    other.start()
    pages: list[int] = []
    path = house.path()
    thread = threading.Thread(target=lambda: pages.append(house.ask("POST", path, "answer=going")[0]))
    thread.start()
    assert inside.wait(WITHIN_S)
    house.clock.ahead_ms = door_server.WHOLE_MS * 2
    slow = held(house, door_server.PLACES + 2)
    assert house.ask("GET", "/health/live")[0] == 200
    go.set()
    thread.join(WITHIN_S)
    assert pages == [200]
    assert house.answers == [(412, "ben", "going")]
    for one in slow:
        one.close()


def test_gas_says_stay_out_first(house: House) -> None:
    alarm, history = house.alarms[412]
    house.alarms[412] = (
        replace(alarm, kind="gas_co2", priority="highest", value=18000.0, unit="ppm"),
        history,
    )
    _, page, _ = house.ask("GET", house.path())
    assert page.index("Stay out. Do not go in, even to help.") < page.index("<button")
    assert "Not a certified gas alarm" in page
    assert re.findall(r'name="answer" value="(\w+)"', page) == ["heard", "going", "cant"]
    house.change("normal", "reset", "ada")
    page = house.ask("GET", house.path())[1]
    assert "does not say that the air is good" in page
    for never in ("all-clear", "all clear", "resolved", "safe", "OK"):
        assert never not in page


def test_the_key_is_made_once_for_its_owner_only(tmp_path: Path) -> None:
    key = load_key(tmp_path)
    assert len(key) == 32
    assert load_key(tmp_path) == key
    file = tmp_path / "link.key"
    assert file.stat().st_mode & 0o777 == 0o600
    assert [one.name for one in tmp_path.iterdir()] == ["link.key"]
    (tmp_path / "other").mkdir()
    assert load_key(tmp_path / "other") != key


def test_a_key_that_is_not_one_is_named(tmp_path: Path) -> None:
    file = tmp_path / "link.key"
    file.write_bytes(b"short")
    file.chmod(0o600)
    with pytest.raises(StoreFault, match=r"link\.key: 5 bytes, expected 32"):
        load_key(tmp_path)
    file.write_bytes(b"k" * 32)
    file.chmod(0o644)
    with pytest.raises(StoreFault, match="expected mode 600"):
        load_key(tmp_path)
    with pytest.raises(StoreFault, match="No such file"):
        load_key(tmp_path / "nowhere")
