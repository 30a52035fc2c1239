"""The edge to the time-series server against answers no decent server gives; each is over in time."""

import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gateway.edges.clock import WallClock
from gateway.edges.influx import DETAIL_MOST, WHOLE, Influx
from gateway.edges.influx_pool import BODY_MOST
from gateway.errors import SeriesFault

TIMEOUT_S = 0.4
LINES = ["reading,site=quern-hill value=15.5 1700000000000"]
OK = b"HTTP/1.1 204 No Content\r\n\r\n"


class Raw:
    """Accepts connections and lets `speak` do with each what it likes once the request has come."""

    def __init__(self, speak: Callable[[socket.socket, threading.Event], None]) -> None:
        self._speak, self.closing = speak, threading.Event()
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._socket.getsockname()[1])
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def close(self) -> None:
        self.closing.set()
        self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._thread.join(10)

    def _serve(self) -> None:
        while True:
            try:
                caller, _ = self._socket.accept()
            except OSError:
                return
            with caller:
                try:
                    self._speak(caller, self.closing)
                except OSError:
                    continue


@pytest.fixture
def server() -> Iterator[Callable[..., Raw]]:
    """Makes one; gone after the test."""
    made: list[Raw] = []

    def make(speak: Callable[[socket.socket, threading.Event], None]) -> Raw:
        made.append(Raw(speak))
        return made[-1]

    yield make
    for one in made:
        one.close()


def influx(port: int, scheme: str = "http", ca_file: Path | None = None) -> Influx:
    """The edge, to that port."""
    url = f"{scheme}://127.0.0.1:{port}"
    return Influx(url, "quern", "malt", "a token", WallClock(), timeout_s=TIMEOUT_S, ca_file=ca_file)


def refused(edge: Influx) -> SeriesFault:
    """What writing raises."""
    with pytest.raises(SeriesFault) as caught:
        edge.write(LINES)
    edge.close()
    return caught.value


def saying(*parts: bytes) -> Callable[[socket.socket, threading.Event], None]:
    """Reads the request's beginning and says these."""

    def speak(caller: socket.socket, closing: threading.Event) -> None:
        caller.recv(65536)
        for part in parts:
            caller.sendall(part)

    return speak


def dripping(first: bytes) -> Callable[[socket.socket, threading.Event], None]:
    """Says a beginning, then a letter each tenth of a second for as long as it may."""

    def speak(caller: socket.socket, closing: threading.Event) -> None:
        caller.recv(65536)
        caller.sendall(first)
        while not closing.wait(0.1):
            caller.sendall(b"x")

    return speak


@pytest.mark.parametrize("first", [b"HTTP/1.1 204 No", b"HTTP/1.1 204 No Content\r\nX-Slow: "])
def test_an_answer_that_drips_has_an_end(server: Callable[..., Raw], first: bytes) -> None:
    began = time.monotonic()
    fault = refused(influx(server(dripping(first)).port))
    assert (fault.kind, str(fault)) == ("away", f"no answer within {WHOLE * TIMEOUT_S:g} s in all")
    assert time.monotonic() - began < 10 * TIMEOUT_S * WHOLE


def test_a_hand_shake_that_drips_has_an_end(server: Callable[..., Raw]) -> None:
    # The head of a TLS record that announces more than will ever come.
    fault = refused(influx(server(dripping(b"\x16\x03\x03\x40\x00")).port, "https"))
    assert fault.kind in ("away", "refused")  # the library calls a broken hand-shake a refusal of ours


def test_a_refusal_that_drips_is_still_that_refusal(server: Callable[..., Raw]) -> None:
    head = b"HTTP/1.1 400 Bad Request\r\nContent-Length: 100000\r\n\r\nno such field"
    fault = refused(influx(server(dripping(head)).port))
    assert (fault.kind, fault.status) == ("line", 400)
    assert "no such field" in str(fault)


def test_an_endless_refusal_is_read_no_further_than_needed(server: Callable[..., Raw]) -> None:
    sent: list[int] = []

    def speak(caller: socket.socket, closing: threading.Event) -> None:
        caller.recv(65536)
        caller.sendall(b"HTTP/1.1 422 Unprocessable\r\nContent-Type: application/json\r\n\r\n")
        for _ in range(10_000):
            sent.append(caller.send(b'{"message": ' + b"y" * 65536))

    fault = refused(influx(server(speak).port))
    assert (fault.kind, fault.status) == ("line", 422)
    assert len(str(fault)) <= DETAIL_MOST
    assert sum(sent) < 1000 * BODY_MOST


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b'{"code":"invalid","message":"partial write: x dropped=1"}', "partial write: x dropped=1"),
        (b"\xff\xfe\x1b[2Jgarbage", "garbage"),
        (b"", "Bad Request"),
        (b'{"message": {"deep": 1}}', "deep"),
        (b"[" * 10_000, "[["),
    ],
)
def test_whatever_a_refusal_says_is_one_printable_line(
    server: Callable[..., Raw], body: bytes, said: str
) -> None:
    head = f"HTTP/1.1 400 Bad Request\r\nContent-Length: {len(body)}\r\n\r\n".encode()
    fault = refused(influx(server(saying(head + body)).port))
    assert fault.kind == "line"
    assert said in str(fault)
    assert str(fault).isprintable()


@pytest.mark.parametrize(
    "answer",
    [b"", b"HTTP/1.1", b"HTTP/1.1 20", b"SSH-2.0-x\r\n\r\n", b"HTTP/1.1 99 Low\r\n\r\n", b"\x00" * 70_000],
)
def test_what_is_no_answer_is_a_server_away(server: Callable[..., Raw], answer: bytes) -> None:
    assert refused(influx(server(saying(answer)).port)).kind == "away"


def test_it_can_be_interrupted(server: Callable[..., Raw]) -> None:
    began = threading.Event()

    def speak(caller: socket.socket, closing: threading.Event) -> None:
        caller.recv(65536)
        began.set()
        closing.wait(30)

    port = server(speak).port
    edge = Influx(f"http://127.0.0.1:{port}", "q", "m", "t", WallClock(), timeout_s=60)
    faults: list[SeriesFault] = []

    def write() -> None:
        with pytest.raises(SeriesFault) as caught:
            edge.write(LINES)
        faults.append(caught.value)

    thread = threading.Thread(target=write)
    thread.start()
    assert began.wait(10)
    edge.interrupt()
    thread.join(10)
    assert [fault.kind for fault in faults] == ["away"]


def test_a_kept_connection_the_server_closed_meanwhile_is_opened_anew(server: Callable[..., Raw]) -> None:
    edge = influx(server(saying(OK)).port)
    for _ in range(3):
        edge.write(LINES)
    edge.close()


def test_nothing_to_write_is_not_sent() -> None:
    influx(1).write([])


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    """A certificate for 127.0.0.1 that vouches for itself, with its key beside it."""
    words = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2".split()
    words += ["-keyout", str(tmp_path / "key.pem"), "-out", str(tmp_path / "cert.pem")]
    words += ["-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run(words, check=True, capture_output=True)
    return tmp_path / "cert.pem"


def secure(certificate: Path) -> Callable[[socket.socket, threading.Event], None]:
    """Speaks TLS with that certificate and says 204."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, certificate.with_name("key.pem"))

    def speak(caller: socket.socket, closing: threading.Event) -> None:
        with context.wrap_socket(caller, server_side=True) as safe:
            saying(OK)(safe, closing)
            # A close with some of the request unread would take the answer with it.
            safe.settimeout(1.0)
            while safe.recv(65536):
                pass

    return speak


def test_a_certificate_is_checked_against_the_one_named(
    server: Callable[..., Raw], certificate: Path
) -> None:
    port = server(secure(certificate)).port
    known = influx(port, "https", certificate)
    known.write(LINES)
    known.close()
    fault = refused(influx(port, "https"))
    assert fault.kind == "refused"
    assert "certificate" in str(fault).lower()
