"""A phone behind its browser's push service: the RFCs' own examples, real sockets, a browser's keys."""

import json
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric import ec

from gateway.core.effects import Notice
from gateway.core.inputs import Delivery
from gateway.core.site import Person, Site
from gateway.deliver import Deliver, linker
from gateway.edges.clock import WallClock
from gateway.edges.phone.push import KEEP_S, Push, checked
from gateway.edges.phone.sealed import PLAIN_MOST, coded, sealed
from gateway.edges.phone.vapid import GOOD_S, Vapid, unb64
from gateway.errors import DeliveryFault, StoreFault
from gateway.live.keys import load_vapid
from gateway.live.push import MOST_A_PERSON, Pushes
from gateway.ports import WebLine
from simulators.phone import Reply
from tests.contracts.kept import WITHIN_S, Kept
from tests.contracts.push_receiver import Browser, Receiver
from tests.contracts.test_phone import LINK, NOTE, raw_server

CLOCK = WallClock(always_trusted=True)
SITE = Site(
    "quern-hill", "Quern Hill", "UTC", people=(Person("ada", "Ada", "shift"), Person("ben", "Ben", "shift"))
)


def vapid() -> Vapid:
    """With a fresh key."""
    return Vapid(ec.generate_private_key(ec.SECP256R1()), "https://gate.example")


def private(text: str) -> ec.EllipticCurvePrivateKey:
    """The key of an example."""
    return ec.derive_private_key(int.from_bytes(unb64(text), "big"), ec.SECP256R1())


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    """A push service with one browser behind it."""
    it = Receiver()
    yield it
    it.stop()


def way(receiver: Receiver, url: str | None = None, **times: float) -> Push:
    """The way to it, with the product's own times where none are given."""
    browser = receiver.browser
    return Push(
        checked(url or receiver.url, browser.p256dh, browser.auth, local=True), vapid(), CLOCK, **times
    )


def test_the_example_of_rfc_8188() -> None:
    # RFC 8188 section 3.1.
    made = coded(b"I am the walrus", unb64("yqdlZ-tYemfogSmv7Ws5PQ"), unb64("I1BsxtFttlv3u_Oo94xnmw"), b"")
    assert made == unb64("I1BsxtFttlv3u_Oo94xnmwAAEAAA-NAVub2qFgBEuQKRapoZu-IxkIva3MEB1PD-ly8Thjg")


def test_the_example_of_rfc_8291() -> None:
    # RFC 8291 section 5 and appendix A.
    browser = unb64("BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4")
    auth = unb64("BTBZMqHH6r4Tts7J_aSIgg")
    plain = b"When I grow up, I want to be a watermelon"
    made = sealed(
        plain,
        browser,
        auth,
        own=private("yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw"),
        salt=unb64("DGv6ra1nlYgDCS1FRnbzlw"),
    )
    assert made == unb64(
        "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8w"
        "EqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
    )
    # And the stand-in opens it with the browser's key of that example.
    assert Browser(private("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"), auth).open(made) == plain


def test_no_two_messages_look_alike_and_no_other_browser_reads_them() -> None:
    one, other = Browser(), Browser()
    key, auth = unb64(one.p256dh), unb64(one.auth)
    first, second = sealed(b"hot", key, auth), sealed(b"hot", key, auth)
    assert first[:86] != second[:86], "salt and key are fresh"
    assert one.open(first) == one.open(second) == b"hot"
    with pytest.raises(InvalidTag):
        other.open(first)
    with pytest.raises(InvalidTag):
        one.open(first[:-1] + bytes([first[-1] ^ 1]))


def test_a_message_arrives_whole_and_says_who_sent_it(receiver: Receiver) -> None:
    own, browser = vapid(), receiver.browser
    to = checked(receiver.url, browser.p256dh, browser.auth, local=True)
    before_s = CLOCK.wall_ms() // 1000
    assert Push(to, own, CLOCK).send("ben-push-1", NOTE, LINK) == 201
    got = receiver.received.get(timeout=5)
    assert (got.message["title"], got.message["text"]) == (NOTE.title, NOTE.text)
    assert (got.message["answer_url"], got.message["notice"]) == (LINK, 7031)
    assert (got.claims["aud"], got.claims["sub"]) == (receiver.origin, "https://gate.example")
    assert before_s + GOOD_S <= got.claims["exp"] <= before_s + 86_400, "RFC 8292: a day at most"
    assert got.key == own.public
    sent = {name: got.headers[name] for name in ("ttl", "urgency", "topic", "content-encoding")}
    assert sent == {
        "ttl": str(KEEP_S),
        "urgency": "high",
        "topic": "alarm-412",
        "content-encoding": "aes128gcm",
    }


def test_a_silent_one_is_not_urgent_and_a_test_call_takes_no_others_place(receiver: Receiver) -> None:
    way(receiver).send("ben-push-1", NOTE._replace(silent=True, alarm=None), None)
    got = receiver.received.get(timeout=5)
    assert got.headers["urgency"] == "low"
    assert "topic" not in got.headers


@pytest.mark.parametrize("text", ["x" * 9000, "ü°" * 4000, '"\\' * 4000, "\x00" * 4000])
def test_a_long_text_is_cut_to_what_a_push_service_takes(receiver: Receiver, text: str) -> None:
    way(receiver).send("ben-push-1", NOTE._replace(text=text), LINK)
    got = receiver.received.get(timeout=5)
    assert got.message["text"].endswith(" …")
    assert len(got.message["text"]) > 400
    assert int(got.headers["content-length"]) <= 4096
    assert len(json.dumps(got.message, ensure_ascii=False, separators=(",", ":")).encode()) <= PLAIN_MOST


@pytest.mark.parametrize(
    ("reply", "gone", "asked_s"),
    [
        (Reply(404), True, None),
        (Reply(410), True, None),
        (Reply(400), False, None),
        (Reply(403), False, None),
        (Reply(413), False, None),
        (Reply(429, headers=(("Retry-After", "77"),)), False, 77.0),
        (Reply(500), False, None),
        (Reply(302, headers=(("Location", "/elsewhere"),)), False, None),
    ],
)
def test_a_refusal_says_what_to_do_next(
    receiver: Receiver, reply: Reply, gone: bool, asked_s: float | None
) -> None:
    receiver.replies.append(reply)
    with pytest.raises(DeliveryFault) as told:
        way(receiver).send("ben-push-1", NOTE, LINK)
    assert (told.value.status, told.value.gone, told.value.retry_after_s) == (reply.status, gone, asked_s)
    assert "hidden-part" not in str(told.value)
    receiver.received.get(timeout=5)
    assert receiver.received.empty(), "asked once, and nowhere else"


def test_one_that_says_nothing_or_drips_is_given_up(receiver: Receiver) -> None:
    with raw_server() as url, pytest.raises(DeliveryFault, match=r"no answer within 0\.3 s$"):
        way(receiver, url, read_s=0.3).send("ben-push-1", NOTE, LINK)
    drips = [b"HTTP/1.1 ", *[bytes([one]) for one in b"201 Made" * 200]]
    with (
        raw_server(*drips, pause_s=0.05) as url,
        pytest.raises(DeliveryFault, match=r"no answer within 0\.5 s in all"),
    ):
        way(receiver, url, read_s=0.3, whole_s=0.5).send("ben-push-1", NOTE, LINK)
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    with pytest.raises(DeliveryFault, match="Connection refused"):
        way(receiver, f"http://127.0.0.1:{port}/").send("ben-push-1", NOTE, LINK)


@pytest.mark.parametrize(
    "url",
    [
        *"""http://push.example/x https://127.0.0.1/x https://[::1]/x https://localhost/x https://board.local/x
        https://10.0.0.1/x https://me@push.example/x ftp://push.example/ https:///x
        https://push.example:99999/ https://pūsh.example/ nonsense""".split(),
        "",
        "https://a b.example/",
        "https://push.example/" + "x" * 1000,
        "https://push.example/\x00",
    ],
)
def test_an_address_that_is_no_push_service_is_refused(url: str) -> None:
    with pytest.raises(ValueError, match="endpoint"):
        checked(url, Browser().p256dh, Browser().auth)


@pytest.mark.parametrize("key", ["", "AAAA", "ü", "B" * 87, "BA" + "A" * 85, "=" * 50, "B" * 100_000])
def test_keys_that_are_none_are_refused(key: str) -> None:
    url = "https://push.example/x"
    with pytest.raises(ValueError, match=r"p256dh|point|base64|curve"):
        checked(url, key, Browser().auth)
    with pytest.raises(ValueError, match=r"auth"):
        checked(url, Browser().p256dh, key)
    assert checked(url, Browser().p256dh, Browser().auth).url == url


def test_the_key_beside_the_store_is_made_once_for_its_owner_only(tmp_path: Path) -> None:
    first = load_vapid(tmp_path)
    assert load_vapid(tmp_path).public == first.public
    file = tmp_path / "push.key"
    assert file.stat().st_mode & 0o777 == 0o600
    file.chmod(0o644)
    with pytest.raises(StoreFault, match="mode 600"):
        load_vapid(tmp_path)
    file.chmod(0o600)
    file.write_bytes(b"nonsense")
    with pytest.raises(StoreFault, match="no private key"):
        load_vapid(tmp_path)


class House(Kept):
    """A real store, phones that were made on the page, and what delivers to them."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.vapid = load_vapid(folder)
        self.adopted = 0
        self.pushes = self.new()

    def new(self) -> Pushes:
        """As after a start."""
        self.pushes = Pushes(self.reader.web_lines(), self, self.vapid, CLOCK, local=True)
        self.pushes.join(self.adopt)
        return self.pushes

    def adopt(self) -> None:
        """Count."""
        self.adopted += 1

    def put(self, kind: str, key: str, ends_ms: int | None, body: dict[str, Any]) -> None:
        """As `Keep`."""
        with self.turn, self.writer.atomic():
            self.writer.put_web(kind, key, ends_ms, body)

    def drop(self, kind: str, key: str) -> bool:
        """As `Keep`."""
        with self.turn, self.writer.atomic():
            return self.writer.drop_web(kind, key)

    def phones(self) -> list[str]:
        """The ids of the judge's site."""
        return [phone.id for phone in self.pushes.merged(SITE).phones]

    def lines(self) -> list[WebLine]:
        """What is kept of phones."""
        return [line for line in self.reader.web_lines() if line.kind == "push"]


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """Closed at the end."""
    it = House(tmp_path)
    yield it
    it.close()


def made(house: House, receiver: Receiver, person: str = "ben", path: str = "") -> str:
    """A phone made on the page."""
    browser = receiver.browser
    return house.pushes.add(person, receiver.url + path, browser.p256dh, browser.auth)


def test_a_phone_is_its_owners_before_and_after_a_start(house: House, receiver: Receiver) -> None:
    assert made(house, receiver) == "ben-push-1"
    assert made(house, receiver) == "ben-push-1", "the same browser once more is the same phone"
    assert made(house, receiver, path="2") == "ben-push-2"
    before = house.pushes.merged(SITE)
    assert [(one.id, one.person, one.kind) for one in before.phones] == [
        ("ben-push-1", "ben", "webpush"),
        ("ben-push-2", "ben", "webpush"),
    ]
    assert house.new().merged(SITE) == before
    assert house.pushes.merged(Site("quern-hill", "Quern Hill", "UTC")).phones == (), (
        "nobody's phone is nobody's"
    )
    assert house.adopted == 3


def test_a_phone_that_changes_hands_rings_for_its_new_owner_only(house: House, receiver: Receiver) -> None:
    made(house, receiver)
    assert made(house, receiver, "ada") == "ada-push-1"
    assert house.phones() == ["ada-push-1"]
    assert [line.key for line in house.lines()] == ["ada-push-1"]


def test_nobody_has_more_phones_than_hands(house: House, receiver: Receiver) -> None:
    for n in range(MOST_A_PERSON):
        made(house, receiver, path=str(n))
    with pytest.raises(ValueError, match="Take one away first"):
        made(house, receiver, path="more")
    assert not house.pushes.drop("ben-push-2", "ada"), "not hers"
    assert house.pushes.drop("ben-push-2", "ben")
    assert made(house, receiver, path="more") == "ben-push-2"


def test_a_phone_that_is_gone_loses_its_address_and_is_made_anew(house: House, receiver: Receiver) -> None:
    made(house, receiver)
    receiver.replies.append(Reply(410))
    deliver = Deliver(
        house.pushes.ways(),
        due=house.reader.due_notices,
        record=house.pushes.noting(house.record),
        link=linker("https://gate.example", b"k" * 32, CLOCK),
        clock=CLOCK,
        jitter=lambda: 0.0,
    )
    note = Notice((1, 1), 1, None, 1, "ben", "ben-push-1", "test", "low", "", "TEST", "TEST", False, 5)
    house.save(note)
    deliver.start()
    try:
        house.until(lambda: house.events)
    finally:
        assert deliver.stop(WITHIN_S)
    [said] = house.events
    assert isinstance(said, Delivery)
    assert (said.phone, said.outcome, said.status) == ("ben-push-1", "gone", 410)
    [line] = house.lines()
    assert set(line.body) == {"person", "made_ms"}, "neither address nor keys are kept"
    assert house.phones() == ["ben-push-1"], "its owner is still called, and maintenance told"
    for pushes in (house.pushes, house.new()):
        assert pushes.listed("ben") == [("ben-push-1", False)]
        with pytest.raises(DeliveryFault, match="set it up anew") as told:
            pushes.ways()["ben-push-1"].send("ben-push-1", NOTE, None)
        assert told.value.gone
    assert made(house, receiver, path="new") == "ben-push-1", "made anew it takes its own place again"
    assert house.pushes.ways()["ben-push-1"].send("ben-push-1", NOTE, None) == 201
