"""A phone behind a web address, over real sockets: what is sent, and what each kind of answer comes to."""

import base64
import json
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

import pytest

from gateway.edges.clock import WallClock
from gateway.edges.phone import KINDS, Webhook, messenger, sign
from gateway.errors import DeliveryFault
from gateway.ports import DueNotice
from simulators.phone import Phone, Reply, is_good, screen, secret_bytes

CLOCK = WallClock(always_trusted=True)
SECRET = b"0123456789abcdefghijklmnop"
NOTE = DueNotice(
    number=7031,
    alarm=412,
    occurrence=3,
    person="ben",
    phone="ben-1",
    kind="call",
    priority="medium",
    place="bed-c",
    title="Piece 14 hot",
    text="PIECE 14 HOT. Bed C day 4: 22.6 C, limit 22. Reply 412 GO or 412 CANT",
    silent=False,
    at_ms=1_793_588_120_250,
    attempts=0,
)
LINK = "http://gate.example/a/token"
WITHIN_S = 10.0


@pytest.fixture
def phone() -> Iterator[Phone]:
    """A phone that knows the secret."""
    it = Phone(secret=SECRET).start()
    yield it
    it.stop()


def way(url: str, **times: float) -> Webhook:
    """The way to a phone, with the product's own times where none are given."""
    return Webhook(url, SECRET, CLOCK, **times)


@contextmanager
def raw_server(*pieces: bytes, pause_s: float = 0.0) -> Iterator[str]:
    """A server that takes one connection after another and says these bytes, with pauses, then hangs on."""
    ended = threading.Event()
    listener = socket.create_server(("127.0.0.1", 0))
    listener.settimeout(0.1)

    def serve() -> None:
        while not ended.is_set():
            try:
                connection, _ = listener.accept()
            except TimeoutError:
                continue
            with connection, suppress(OSError):  # the other side may hang up at any time
                connection.recv(65536)
                for piece in pieces:
                    ended.wait(pause_s)
                    connection.sendall(piece)
                ended.wait()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}/"
    finally:
        ended.set()
        thread.join()
        listener.close()


def test_the_signature_of_the_published_vector() -> None:
    # Standard Webhooks, github.com/standard-webhooks/standard-webhooks at b2fa7b8, tests of the libraries.
    secret = base64.b64decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
    made = sign.signature(secret, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
    assert made == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
    with pytest.raises(ValueError, match="full stop"):
        sign.signature(secret, "1.2", 1, b"")


def test_the_stand_in_checks_the_same_vector() -> None:
    secret = secret_bytes(b"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw\n")
    headers = {
        "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
        "webhook-timestamp": "1614265330",
        "webhook-signature": "v1,AAAA v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    }
    body = b'{"test": 2432232314}'
    assert is_good(secret, headers, body, 1614265330 + 299)
    assert not is_good(secret, headers, body, 1614265330 + 301)
    assert not is_good(secret, headers, body + b" ", 1614265330)
    assert not is_good(secret, {**headers, "webhook-timestamp": "x"}, body, 1614265330)


def test_a_message_is_sent_signed_with_exactly_the_agreed_fields(phone: Phone) -> None:
    assert way(phone.url).send("ben-1", NOTE, LINK) == 204
    got = phone.received.get(timeout=5)
    assert (got.id, got.signature, got.status) == ("7031", "good", 204)
    assert json.loads(got.raw) == {
        "type": "call",
        "notice": 7031,
        "alarm": 412,
        "priority": "medium",
        "place": "bed-c",
        "title": NOTE.title,
        "text": NOTE.text,
        "answer_url": LINK,
        "silent": False,
        "at": "2026-11-02T02:55:20.250Z",
    }
    assert b": " not in got.raw.replace(b"4: 22", b""), "compact"


def test_the_number_stays_at_every_attempt(phone: Phone) -> None:
    phone.replies.append(Reply(500))
    with pytest.raises(DeliveryFault):
        way(phone.url).send("ben-1", NOTE, LINK)
    way(phone.url).send("ben-1", NOTE, LINK)
    first, second = phone.received.get(timeout=5), phone.received.get(timeout=5)
    assert (first.id, second.id) == ("7031", "7031")
    assert (first.status, second.status) == (500, 204)
    assert first.raw == second.raw


REFUSALS = [
    (Reply(410), True, None),
    (Reply(500), False, None),
    (Reply(400), False, None),
    (Reply(429, headers=(("Retry-After", "77"),)), False, 77.0),
    (Reply(503, headers=(("Retry-After", "Sun, 06 Nov 1994 08:49:37 GMT"),)), False, 0.0),
    (Reply(503, headers=(("Retry-After", "whenever"),)), False, None),
]


@pytest.mark.parametrize(("reply", "gone", "asked_s"), REFUSALS)
def test_a_refusal_says_what_to_do_next(
    phone: Phone, reply: Reply, gone: bool, asked_s: float | None
) -> None:
    phone.replies.append(reply)
    with pytest.raises(DeliveryFault) as told:
        way(phone.url).send("ben-1", NOTE, LINK)
    assert (told.value.status, told.value.gone, told.value.retry_after_s) == (reply.status, gone, asked_s)


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_not_followed(phone: Phone, status: int) -> None:
    phone.replies.append(Reply(status, headers=(("Location", phone.url + "elsewhere"),)))
    with pytest.raises(DeliveryFault, match="not followed") as told:
        way(phone.url).send("ben-1", NOTE, LINK)
    assert told.value.status == status
    phone.received.get(timeout=5)
    assert phone.received.empty(), "asked once, and nowhere else"


def test_an_endless_body_of_a_redirect_is_not_read() -> None:
    head = b"HTTP/1.1 302 Found\r\nLocation: /elsewhere\r\n\r\n"
    with (
        raw_server(head, *[b"x"] * 1000, pause_s=0.05) as url,
        pytest.raises(DeliveryFault, match="status 302: it points elsewhere; not followed"),
    ):
        way(url, whole_s=WITHIN_S).send("ben-1", NOTE, LINK)


def test_of_a_long_refusal_little_is_read_and_little_kept(phone: Phone) -> None:
    phone.replies.append(Reply(500, body=b"\x1b[31mno \x00room " + b"x" * 5_000_000))
    with pytest.raises(DeliveryFault) as told:
        way(phone.url).send("ben-1", NOTE, LINK)
    text = str(told.value)
    assert text.startswith("status 500")
    assert len(text) < 200
    assert text.isprintable()


def test_an_endless_refusal_ends() -> None:
    head = b"HTTP/1.1 500 No\r\nContent-Type: text/plain\r\n\r\n"
    with (
        raw_server(head, *[b"x"] * 1000, pause_s=0.05) as url,
        pytest.raises(DeliveryFault, match="status 500"),
    ):
        way(url, whole_s=0.5).send("ben-1", NOTE, LINK)


def test_a_phone_that_says_nothing_is_given_up() -> None:
    with raw_server() as url, pytest.raises(DeliveryFault, match=r"no answer within 0\.3 s$") as told:
        way(url, read_s=0.3).send("ben-1", NOTE, LINK)
    assert (told.value.status, told.value.gone) == (None, False)


def test_a_phone_that_drips_is_given_up_as_a_whole() -> None:
    drips = [b"HTTP/1.1 ", *[bytes([one]) for one in b"200 OK" * 200]]
    with (
        raw_server(*drips, pause_s=0.05) as url,
        pytest.raises(DeliveryFault, match=r"no answer within 0\.5 s in all"),
    ):
        way(url, read_s=0.3, whole_s=0.5).send("ben-1", NOTE, LINK)


def test_a_hand_shake_that_drips_is_given_up_as_a_whole() -> None:
    with (
        raw_server(*[b"\x16\x03\x03\x40\x00", *[b"\x02"] * 1000], pause_s=0.05) as url,
        pytest.raises(DeliveryFault, match=r"no answer within 0\.5 s in all"),
    ):
        way(url.replace("http:", "https:"), connect_s=5.0, whole_s=0.5).send("ben-1", NOTE, LINK)


@pytest.mark.parametrize("said", [b"", b"\x00\xff" * 100, b"HTTP/1.1 abc\r\n\r\n", b"SSH-2.0-x\r\n"])
def test_what_is_no_http_is_a_delivery_fault(said: bytes) -> None:
    with raw_server(said) as url, pytest.raises(DeliveryFault) as told:
        way(url, read_s=0.3, whole_s=1.0).send("ben-1", NOTE, LINK)
    assert told.value.status is None


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_nobody_there_is_said_without_the_address(scheme: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    with pytest.raises(DeliveryFault, match="Connection refused") as told:
        way(f"{scheme}://127.0.0.1:{port}/hidden-part").send("ben-1", NOTE, LINK)
    assert "hidden-part" not in str(told.value)


def test_a_server_without_a_true_certificate_is_not_told(phone: Phone) -> None:
    with pytest.raises(DeliveryFault, match="no connection"):
        way(phone.url.replace("http:", "https:")).send("ben-1", NOTE, LINK)
    assert phone.received.empty()


@pytest.mark.parametrize(
    "url", ["http://", "ftp://a/", "http://[::1", "nonsense", "http://a b/", "http://é.\x00/"]
)
def test_an_address_that_is_none_is_a_delivery_fault(url: str) -> None:
    with pytest.raises(DeliveryFault):
        way(url).send("ben-1", NOTE, LINK)


def test_the_register() -> None:
    assert isinstance(messenger("webhook", "http://a.example/", SECRET, CLOCK), KINDS["webhook"])  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="'pigeon' is not one of webhook"):
        messenger("pigeon", "http://a.example/", SECRET, CLOCK)
    with pytest.raises(ValueError, match="empty"):
        messenger("webhook", "http://a.example/", b"", CLOCK)


def test_the_lock_screen_is_a_box_that_nothing_breaks() -> None:
    message: dict[str, Any] = {
        "type": "call",
        "priority": "medium",
        "title": "Piece 14 hot",
        "text": "Bed C: 22.6 C.\x1b[2J\nReply 412 GO",
        "answer_url": LINK,
        "at": "2026-11-02T02:55:20.250Z",
    }
    lines = screen(message).splitlines()
    assert lines[0].startswith("┌")
    assert any("PIECE 14 HOT" in line for line in lines)
    assert lines[-1] == f"  answer: {LINK}"
    assert len({len(line) for line in lines[:-1]}) == 1
    assert "\x1b" not in "".join(lines)
    assert screen({}).splitlines()[1].startswith("│ --:--")
