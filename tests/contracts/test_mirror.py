"""The mirror against every answer a server can give: nothing lost, nothing kept back, the place right."""

import math
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gateway import mirror
from gateway.core.inputs import Condition, Delivery, SiteChanged, Turned
from gateway.mirror_send import GROW_AFTER, REFUSED_IN_A_ROW
from gateway.ports import Aside, MirrorPlace
from tests.contracts.mirror import SITE, Rig
from tests.contracts.store import BEGAN_MS, alarm, save
from tests.timeseries import FaultProxy

Proxies = Callable[..., FaultProxy]


class Pair:
    """A rig and the proxy it writes to, which takes everything unless ordered otherwise."""

    def __init__(self, directory: Path, proxies: Proxies) -> None:
        self.directory, self.proxy = directory, proxies()
        self.rig = Rig(directory, self.proxy.url)

    def again(self, **named: object) -> Rig:
        """Another process over the same store, the first one gone."""
        self.rig.close()
        self.rig = Rig(self.directory, self.proxy.url, **named)  # type: ignore[arg-type]
        return self.rig

    def done(self) -> None:
        """Everything is written, once for the place; what was written twice is the same."""
        self.rig.settle()
        assert sorted(set(self.proxy.written)) == sorted(self.rig.expected())
        entries = self.rig.reader.entries_after(0, 10**6)
        assert self.rig.state().place.n >= max(e.n for e in entries if not isinstance(e.what, Condition))


@pytest.fixture
def pair(tmp_path: Path, proxies: Proxies) -> Iterator[Pair]:
    """A rig and its proxy."""
    made = Pair(tmp_path / "store", proxies)
    yield made
    made.rig.close()


def test_everything_is_written_once_and_then_there_is_nothing_to_do(pair: Pair) -> None:
    pair.rig.everything()
    pair.rig.settle()
    assert sorted(pair.proxy.written) == sorted(pair.rig.expected())
    assert len(pair.proxy.written) == 200 + 3 + 2 + 2
    assert pair.rig.mirror.turn() == mirror.IDLE_S
    assert len(pair.proxy.seen) == 1
    path, headers = pair.proxy.requests[0]
    assert path == "/api/v2/write?org=quern&bucket=malt&precision=ms"
    assert (headers["Authorization"], headers["Content-Encoding"]) == ("Token a token", "gzip")
    assert headers["Content-Type"] == "text/plain"
    state = pair.rig.state()
    assert (state.written, state.error, state.alarm, pair.rig.said) == (207, None, False, [])


def test_a_backlog_goes_oldest_first_in_pages(pair: Pair) -> None:
    rig = pair.again(batch=500)
    rig.event(SiteChanged(SITE))
    rig.fill(2000)
    change = alarm((9, 0))
    late = alarm((10, 0), number=102)
    save(rig.writer, change, late)
    pair.done()
    assert max(count for _, count in pair.proxy.seen) == 500
    assert len(pair.proxy.written) == 2000 + 2
    times = [int(line.rsplit(" ", 1)[1]) for line in pair.proxy.written if line.startswith("reading")]
    assert times == sorted(times)
    [first] = [k for k, line in enumerate(pair.proxy.written) if "number=101" in line]
    assert first < 120  # its time is that of the first second's readings, not after the whole backlog


def test_too_much_at_once_is_halved_until_it_fits_and_grows_again(pair: Pair) -> None:
    rig = pair.again(batch=400)
    pair.proxy.rule = lambda lines: 413 if len(lines) > 120 else "pass"
    rig.everything(1000)
    pair.done()
    assert [what for what, _ in pair.proxy.seen].count(413) == 2  # 400, 200; then 100 each
    pair.proxy.rule = lambda _: "pass"
    pair.proxy.seen.clear()
    rig.fill(100 * (GROW_AFTER + 4), began=1000)
    pair.done()
    assert max(count for _, count in pair.proxy.seen) == 200
    assert rig.reader.count_aside() == 0


@pytest.mark.parametrize("status", [400, 422])
def test_one_line_that_is_refused_is_found_and_kept_aside(pair: Pair, status: int) -> None:
    bad = "c-mid"
    pair.rig.event(SiteChanged(SITE))
    pair.rig.fill(1001)
    lines = pair.rig.expected()
    culprit = next(line for line in lines[617:] if bad in line)
    pair.proxy.rule = lambda lines: status if culprit in lines else "pass"
    pair.rig.settle()
    assert sorted(pair.proxy.written) == sorted(set(lines) - {culprit})
    [aside] = pair.rig.reader.aside(10)
    assert (aside.line, aside.reason) == (culprit, f"status {status}: unable to parse the line")
    assert len(pair.proxy.seen) <= 2 * math.ceil(math.log2(1001)) + 1
    assert pair.rig.state().written == 1000
    assert pair.rig.said == []


def test_lines_kept_aside_are_sent_again_when_asked(pair: Pair) -> None:
    pair.rig.everything(60)
    first, second = [line for line in pair.rig.expected() if "c-top" in line][:2]
    pair.proxy.rule = lambda lines: 400 if {first, second} & set(lines) else "pass"
    pair.rig.settle()
    assert [one.line for one in pair.rig.reader.aside(10)] == [first, second]
    with pair.rig.writer.atomic():
        assert pair.rig.writer.resend_mirror() == 2
    pair.proxy.body = b"still no"
    pair.proxy.rule = lambda lines: 400 if second in lines else "pass"
    pair.rig.settle()
    assert first in pair.proxy.written
    [left] = pair.rig.reader.aside(10)
    assert (left.line, left.reason, left.again) == (second, "status 400: still no", False)
    assert pair.rig.mirror.turn() == mirror.IDLE_S


@pytest.mark.parametrize("status", [429, 503])
def test_a_server_that_asks_to_wait_is_left_alone_for_so_long(pair: Pair, status: int) -> None:
    pair.rig.everything()
    pair.proxy.headers = {"Retry-After": "77"}
    pair.proxy.orders = [status, status]
    assert pair.rig.mirror.turn() == 77.0
    assert pair.rig.mirror.turn() == 77.0
    assert pair.rig.state().place == MirrorPlace()
    pair.done()
    assert pair.rig.said == []


def test_a_retry_after_may_be_a_date_or_nonsense(pair: Pair) -> None:
    pair.rig.everything()
    pair.proxy.orders = [429, 429]
    # The rig's clock stands at 2023-11-14T22:14:00Z.
    pair.proxy.headers = {"Retry-After": "Tue, 14 Nov 2023 22:14:30 GMT"}
    assert pair.rig.mirror.turn() == 30.0
    pair.proxy.headers = {"Retry-After": "soon"}
    assert pair.rig.mirror.turn() == mirror.AWAY_S[1]
    pair.done()


@pytest.mark.parametrize("status", [401, 403, 404, 405, 302, 200, 202])
def test_a_server_that_does_not_know_us_is_an_alarm_and_loses_nothing(pair: Pair, status: int) -> None:
    pair.rig.everything()
    pair.proxy.rule = lambda _: status
    pair.proxy.headers = {"Location": "/elsewhere"} if status == 302 else {}
    assert pair.rig.mirror.turn() == mirror.REFUSED_S
    assert pair.rig.mirror.turn() == mirror.REFUSED_S
    [said] = pair.rig.said
    assert (said.name, said.on, said.detail[:10]) == ("mirror", True, f"status {status}")
    state = pair.rig.state()
    assert (state.place, state.alarm, state.error) == (MirrorPlace(), True, said.detail)
    # Whoever starts the gateway again finds the alarm as it stands.
    rig = pair.again()
    pair.proxy.rule = lambda _: "pass"
    pair.done()
    assert [(one.name, one.on) for one in rig.said] == [("mirror", False)]
    assert rig.state().alarm is False


@pytest.mark.parametrize("order", ["cut", "lost", "half", "stall", 500, 502, 504, 408])
def test_an_answer_that_does_not_come_means_once_more(pair: Pair, order: str | int) -> None:
    pair.rig.everything()
    pair.proxy.orders = [order, order, order]
    waits = [pair.rig.mirror.turn() for _ in range(3)]
    assert waits == list(mirror.AWAY_S[:3])
    assert pair.rig.state().place == MirrorPlace()
    pair.done()
    assert pair.rig.said == []
    assert pair.rig.state().error is not None


def test_a_server_away_for_long_is_an_alarm_until_it_is_back(pair: Pair) -> None:
    pair.rig.everything()
    pair.proxy.rule = lambda _: 500
    for _ in range(9):
        pair.rig.pass_s(pair.rig.mirror.turn())
    assert pair.rig.said == []
    pair.rig.pass_s(600)
    pair.rig.mirror.turn()
    assert [(one.name, one.on) for one in pair.rig.said] == [("mirror", True)]
    pair.proxy.rule = lambda _: "pass"
    pair.done()
    assert [one.on for one in pair.rig.said] == [True, False]


def test_a_server_that_takes_no_line_at_all_costs_none(pair: Pair) -> None:
    """A field of another type, a bucket that keeps a week: that is the server's, not one line's fault."""
    pair.rig.everything(400)
    pair.proxy.rule = lambda _: 422
    assert pair.rig.mirror.turn() == mirror.REFUSED_S
    assert f"{REFUSED_IN_A_ROW} lines refused one after another" in pair.rig.said[0].detail
    assert pair.rig.reader.count_aside() == 0
    before = len(pair.proxy.seen)
    assert pair.rig.mirror.turn() == mirror.REFUSED_S
    assert len(pair.proxy.seen) - before < 15  # it does not try fifty again
    pair.proxy.rule = lambda _: "pass"
    pair.done()


def test_more_lines_aside_than_can_be_looked_at_stop_the_mirror(pair: Pair) -> None:
    pair.rig.everything()
    pair.rig.settle()
    aside = [Aside(BEGAN_MS, f"reading value={k} 1", "no") for k in range(mirror.ASIDE_MOST)]
    pair.rig.keep(pair.rig.state(), aside, ())
    pair.rig.fill(8, began=5000)
    culprit = pair.rig.expected()[210]
    pair.proxy.rule = lambda lines: 400 if culprit in lines else "pass"
    place = pair.rig.state().place
    assert pair.rig.mirror.turn() == mirror.REFUSED_S
    assert pair.rig.said[-1].on
    assert pair.rig.state().place == place
    pair.rig.keep(pair.rig.state(), (), [one.number for one in pair.rig.reader.aside(10)])
    pair.rig.settle()
    assert pair.rig.reader.count_aside() == mirror.ASIDE_MOST - 10 + 1


def test_what_was_written_before_the_place_was_kept_is_written_again_alike(pair: Pair) -> None:
    pair.rig.everything()
    pair.rig.mirror.turn()
    rig = pair.again()
    rig.fill(50, began=900)
    rig.broken = True
    assert rig.mirror.turn() == mirror.IDLE_S  # the store's trouble, not the server's
    once = list(pair.proxy.written)
    assert len(once) == 207 + 50
    pair.again()
    pair.done()
    assert sorted(pair.proxy.written[257:]) == sorted(once[207:])


def test_another_server_gets_the_whole_history(pair: Pair, tmp_path: Path) -> None:
    pair.rig.everything()
    culprit = pair.rig.expected()[3]
    pair.proxy.rule = lambda lines: 400 if culprit in lines else "pass"
    pair.rig.settle()
    pair.proxy.written.clear()
    pair.proxy.rule = lambda _: "pass"
    rig = pair.again(bucket="barley")
    pair.done()
    assert (rig.state().written, rig.reader.count_aside()) == (207, 0)
    assert pair.proxy.requests[-1][0] == "/api/v2/write?org=quern&bucket=barley&precision=ms"


def test_what_is_not_mirrored_is_passed_over_and_that_is_kept(pair: Pair) -> None:
    rig = pair.rig
    rig.everything()
    rig.settle()
    n = rig.event(Delivery(1, "ada-1", "delivered", 200))
    assert rig.mirror.turn() == mirror.IDLE_S
    assert rig.state().place.n < n
    rig.pass_s(mirror.SKIP_MS / 1000)
    assert rig.mirror.turn() == mirror.IDLE_S
    assert rig.state().place.n == n
    rig.event(Delivery(2, "ada-1", "delivered", 200))
    rig.mirror.turn()
    assert rig.state().place.n == n
    rig.pass_s(mirror.SKIP_MS / 1000)
    assert rig.mirror.turn() == mirror.IDLE_S
    assert rig.state().place.n == n + 1
    assert len(pair.proxy.seen) == 1


def test_events_of_one_millisecond_on_two_sides_of_a_restart_are_both_kept(pair: Pair) -> None:
    pair.rig.event(Turned("bed-c", by="ben"))
    pair.rig.settle()
    rig = pair.again()
    rig.event(Turned("bed-c", by="ada"))
    pair.done()
    assert len({line.rsplit(" ", 1)[1] for line in pair.proxy.written}) == 2


def test_without_a_server_the_last_ones_alarm_does_not_stand(pair: Pair) -> None:
    rig = pair.rig
    mirror.stand_down(rig.reader, rig.keep, rig.record)
    rig.everything()
    pair.proxy.rule = lambda _: 401
    rig.mirror.turn()
    mirror.stand_down(rig.reader, rig.keep, rig.record)
    mirror.stand_down(rig.reader, rig.keep, rig.record)
    assert [one.on for one in rig.said] == [True, False]


def test_a_server_that_stalls_holds_neither_intake_nor_the_log_of_the_store(pair: Pair) -> None:
    """The mirror waits for an answer in its own thread, with no transaction open."""
    rig = pair.rig
    rig.everything()
    asked = threading.Event()

    def stall(_: list[str]) -> str:
        asked.set()
        return "stall"

    pair.proxy.rule = stall
    stop = threading.Event()
    thread = threading.Thread(target=rig.mirror.run, args=(stop,))
    thread.start()
    assert asked.wait(10)
    sizes = []
    for k in range(5):
        rig.fill(4000, began=10_000 * (k + 1))
        rig.writer.checkpoint()
        sizes.append(rig.reader.sizes().log)
    assert sizes[-1] < 2 * sizes[0]  # each round begins the log anew
    stop.set()
    pair.proxy.rule = lambda _: "pass"
    thread.join(10)
    assert not thread.is_alive()
    pair.again()
    pair.done()


def test_told_to_stop_it_stops_between_two_requests(pair: Pair) -> None:
    rig = pair.again(batch=10)
    rig.everything()
    stop = threading.Event()

    def last(_: list[str]) -> str:
        if len(pair.proxy.seen) == 4:
            stop.set()
        return "pass"

    pair.proxy.rule = last
    rig.mirror.run(stop)
    assert len(pair.proxy.seen) == 5
    pair.again()
    pair.done()


def test_conditions_are_the_only_thing_the_mirror_records(pair: Pair) -> None:
    pair.rig.everything()
    pair.proxy.orders = [401]
    pair.rig.mirror.turn()
    pair.rig.settle()
    assert all(isinstance(one, Condition) for one in pair.rig.said)
    assert [one.on for one in pair.rig.said] == [True, False]


def test_a_server_that_keeps_a_day_is_written_no_older_lines(pair: Pair) -> None:
    rig = pair.again(newest_days=1.0)
    rig.everything(40)
    rig.fill(40, began=90_000)
    rig.settle()
    old = [
        line for line in rig.expected() if int(line.rsplit(" ", 1)[1]) < BEGAN_MS + 90_009_000 - 86_400_000
    ]
    assert len(old) >= 40
    assert sorted(pair.proxy.written) == sorted(set(rig.expected()) - set(old))
    assert len(pair.proxy.written) == 40


def test_a_bad_link_does_not_make_a_page_begin_anew_for_ever(pair: Pair) -> None:
    """Every second request fails while the lines at fault are looked for."""
    pair.rig.everything(1000)
    bad = set(pair.rig.expected()[100:1000:300])
    answered = iter(range(10**6))

    def rule(lines: list[str]) -> int | str:
        if next(answered) % 2:
            return 500
        return 400 if bad & set(lines) else "pass"

    pair.proxy.rule = rule
    pair.rig.settle()
    assert sorted(pair.proxy.written) == sorted(set(pair.rig.expected()) - bad)  # each once
    assert {one.line for one in pair.rig.reader.aside(10)} == bad
    assert len(pair.proxy.seen) < 2 * len(bad) * (2 * math.ceil(math.log2(1007)) + 1)
    assert pair.rig.said == []
