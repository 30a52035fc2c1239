"""The judge as a whole: what a night's inputs come to, and that nothing but them decides."""

from __future__ import annotations

import random

import pytest

from gateway.core import engine, views
from gateway.core.inputs import (
    Answered,
    Cast,
    ClockStepped,
    Condition,
    CouchBroken,
    Delivery,
    Entry,
    Event,
    KilnWorked,
    Loaded,
    Moved,
    NotedAt,
    PutInService,
    PutOutOfService,
    Refused,
    Resumed,
    SiteChanged,
    Started,
    Turned,
)
from gateway.core.inputs_air import CheckedIn, CheckedOut
from gateway.core.inputs_journey import (
    Corrected,
    HandRead,
    Joined,
    Ordered,
    Ploughed,
    Split,
    Steeped,
    Stood,
    Thinned,
    Upheld,
    Voided,
    Withering,
)
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME, Reading
from tests.core.desk import HOUR, MINUTE, START, Desk, minutes, site


def signals(desk: Desk, kind: str) -> list[tuple[float | None, str, str]]:
    return [(minutes(c.change.at_ms), c.change.signal, c.level) for c in desk.alarms(kind)]


def watched(desk: Desk, start: int, end: int, **values: float) -> None:
    """One reading a minute of each named probe, all beds kept alive."""
    for minute in range(start, end):
        for probe, value in values.items():
            desk.read(minute, probe, value)


def test_a_bed_over_its_limit_for_the_on_delay_calls_the_person_on_shift() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 20, a1=22.3, a2=20.0)

    assert signals(desk, "bed_hot") == [(11.0, "raise", "high")]
    call = desk.notices()[0]
    assert (call.person, call.kind, call.priority) == ("ada", "call", "medium")
    assert call.text.startswith("PIECE 14 HOT. Bed A")


def test_one_reading_stamped_ahead_does_not_hide_what_its_probe_says_next() -> None:
    """With a clock on the topic a reading may come before its time. This one's never came: it was wrong."""
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 5, a1=16.0, a2=16.0)
    desk.read(5, "a1", 17.0, measured_min=155)
    assert desk.alarms("probe_clock") == []
    watched(desk, 6, 25, a1=22.5, a2=16.0)

    assert signals(desk, "bed_hot") == [(16.0, "raise", "high")]
    assert signals(desk, "probe_clock")[0][1] == "raise"
    watched(desk, 25, 60, a1=20.0, a2=16.0)
    assert signals(desk, "bed_hot")[-1][1] == "clear"


def test_readings_that_come_before_their_clock_message_keep_their_order() -> None:
    """An hour's readings at once, one of them late, and then the hour."""
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    for minute in (*range(1, 50), *range(52, 60), 3, 50):
        desk.read(1, "a1", 16.0 + minute / 60.0, measured_min=minute)
    desk.wait(60)
    desk.read(60, "a1", 17.0, measured_min=60)

    assert desk.state.window("a1").measured_ms == START + 60 * MINUTE
    assert desk.alarms("probe_clock") == []
    (row,) = [row for row in views.probes(desk.state) if row["probe"] == "a1"]
    assert row["value"] == 17.0
    assert desk.state.window("a1").trend_per_h() == pytest.approx(1.0, abs=0.1)


def test_urgent_is_a_high_alarm_that_calls_afresh_through_an_answer() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 15, a1=22.3)
    number = desk.alarms("bed_hot")[0].number
    desk.lay(15, Answered(number, "going", "ada"))
    watched(desk, 16, 30, a1=25.2)

    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise", "answer", "rise"]
    assert desk.alarms("bed_hot")[-1].priority == "high"
    assert desk.notices()[-1].kind == "call"


def test_it_ends_only_when_measured_cool_for_the_off_delay() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 15, a1=22.3)
    desk.lay(15, Turned("bed-a", by="ada"))
    watched(desk, 16, 40, a1=21.0)

    assert signals(desk, "bed_hot") == [
        (11.0, "raise", "high"),
        (15.0, "answer", "high"),
        (26.0, "clear", "high"),
    ]


def test_the_hottest_probe_decides_and_a_silent_hot_one_is_not_outvoted() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 15, a1=22.3, a2=19.0)
    watched(desk, 15, 90, a2=19.0)

    assert signals(desk, "bed_hot")[0][1] == "raise"
    assert desk.alarms("bed_hot")[-1].cleared_at_ms is None


def test_without_a_recorded_cast_the_strict_limits_hold_and_the_message_says_so() -> None:
    desk = Desk()
    watched(desk, 1, 15, b1=22.3)

    assert signals(desk, "bed_hot") == [(11.0, "raise", "high")]
    assert "no cast recorded" in desk.notices()[0].text


def test_the_couch_has_its_own_limit_until_it_is_broken() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-b", "14"))
    watched(desk, 1, 30, b1=23.0)
    assert signals(desk, "bed_hot") == []

    desk.lay(30, CouchBroken("bed-b"))
    watched(desk, 31, 50, b1=23.0)
    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise"]


def test_an_empty_bed_is_not_judged_and_loading_ends_its_alarms() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 15, a1=22.3)
    desk.lay(16, Loaded("bed-a", "kiln"))
    watched(desk, 17, 60, a1=30.0)
    desk.wait(13 * 60)

    # Nobody answered while it stood: the morning list names it, and with that it lapses.
    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise", "clear", "lapse"]
    assert desk.alarms("turn_overdue") == []
    assert desk.alarms("bed_unwatched") == []


def test_old_readings_leave_a_late_alarm_and_call_nobody() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    for minute in range(1, 30):
        desk.read(120, "a1", 23.0, measured_min=minute)
    desk.read(121, "a1", 18.0, measured_min=121)

    late = desk.alarms("bed_hot")
    assert late
    assert all(change.late for change in late)
    assert {notice.alarm for notice in desk.notices()}.isdisjoint({change.number for change in late})


def test_a_reading_with_a_doubtful_clock_is_judged_at_its_arrival() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    for minute in range(1, 15):
        desk.lay(minute, Reading("a1", START + 10 * 365 * 24 * HOUR + minute, 22.5, OWN_TIME | CLOCK_UNSURE))

    assert signals(desk, "bed_hot") == [(11.0, "raise", "high")]


def test_due_and_overdue_count_from_the_oldest_turned_part() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    desk.lay(10, Turned("bed-a", 0.0, 5.0, by="ada"))
    row = views.beds(desk.state)[0]
    desk.wait(12 * 60 - 1)
    before = signals(desk, "turn_overdue")
    desk.wait(12 * 60 + 1)

    assert minutes(row["due_at"]) == 8 * 60
    assert "kiln-end half not done" in row["why"]
    assert before == []
    assert signals(desk, "turn_overdue") == [(12.0 * 60, "raise", "overdue")]

    desk.lay(12 * 60 + 5, Turned("bed-a", 5.0, 10.0, by="ada"))
    assert [signal for _, signal, _ in signals(desk, "turn_overdue")][-1] == "clear"


def test_a_piece_recorded_late_leaves_time_to_record_its_turns_too() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14", when_ms=START - 50 * HOUR))
    desk.wait(29)
    assert signals(desk, "turn_overdue") == []

    desk.wait(31)
    assert signals(desk, "turn_overdue") == [(30.0, "raise", "overdue")]


def test_a_bed_whose_probes_are_all_gone_is_not_being_watched() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 20, a1=16.0, a2=16.0)
    desk.lay(20, PutOutOfService("a2", "broken"))
    desk.wait(48)
    assert signals(desk, "bed_unwatched") == []

    desk.wait(50)
    assert signals(desk, "bed_unwatched") == [(49.0, "raise", "unwatched")]
    assert desk.notices()[0].priority == "high"

    desk.lay(60, PutInService("a2"))
    desk.read(61, "a2", 16.0)
    assert [signal for _, signal, _ in signals(desk, "bed_unwatched")] == ["raise", "clear"]


def test_silence_is_found_by_time_alone_and_ends_with_the_next_reading() -> None:
    desk = Desk()
    desk.read(1, "air", 600.0)
    desk.wait(7)
    desk.read(8, "air", 600.0)

    mine = [c for c in desk.alarms("probe_silent") if c.probe == "air"]
    assert [(minutes(c.change.at_ms), c.change.signal) for c in mine] == [(6.0, "raise"), (8.0, "clear")]


def test_no_silence_while_the_broker_is_lost_nor_until_an_allowance_after() -> None:
    desk = Desk()
    desk.read(1, "air", 600.0)
    desk.lay(2, Condition("broker", True, "no connection"))
    desk.wait(100)
    desk.lay(100, Condition("broker", False))
    desk.wait(104)
    assert [c for c in desk.alarms("probe_silent") if c.probe == "air"] == []
    assert [signal for _, signal, _ in signals(desk, "gateway_broker")] == ["raise", "clear"]

    desk.wait(106)
    assert [c.probe for c in desk.alarms("probe_silent") if c.probe == "air"] == ["air"]


def test_a_gap_makes_no_silence_and_each_unanswered_alarm_calls_once() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 15, a1=25.4, a2=16.0, b1=16.0, air=600.0, k1=20.0)
    sent = len(desk.notices())
    run = desk.state.run_ms
    desk.n += 1
    at_ms = START + 6 * HOUR
    made = engine.advance(desk.state, [Entry(desk.n, at_ms, run, Resumed(at_ms - run))], run)
    desk.effects += made

    assert len(desk.notices()) == sent + 1
    assert desk.alarms("probe_silent") == []


def test_the_kiln_is_held_to_its_stage_and_without_a_fire_to_the_cap() -> None:
    desk = Desk()
    watched(desk, 1, 10, k1=60.0)
    assert signals(desk, "kiln_hot") == []

    desk.lay(10, KilnWorked("lit"))
    watched(desk, 11, 15, k1=51.0)
    assert signals(desk, "kiln_hot") == [(13.0, "raise", "high")]
    assert desk.alarms("kiln_hot")[0].limit == 50.0


def test_room_air_over_its_level_calls_everyone() -> None:
    desk = Desk()
    watched(desk, 1, 4, air=6000.0)

    assert signals(desk, "gas_high") == [(2.0, "raise", "no_entry")]
    assert {n.person for n in desk.notices()} == {"ada", "ben"}
    assert all("Not a certified gas alarm" in n.text for n in desk.notices())


def test_two_values_for_one_time_are_a_finding_about_the_probes_clock() -> None:
    desk = Desk()
    desk.lay(1, Refused("qh/bed-a/a1", "a1", "conflict", 1))
    desk.wait(6 * 60 + 2)

    assert [(c.probe, c.change.signal) for c in desk.alarms("probe_clock")] == [
        ("a1", "raise"),
        ("a1", "clear"),
    ]


def test_a_phone_that_fails_three_times_is_an_alarm_of_the_gateway() -> None:
    desk = Desk()
    for attempt in range(3):
        desk.lay(attempt, Delivery(attempt, "ada-1", "failed", 503))
    desk.lay(5, Delivery(9, "ada-1", "delivered", 204))

    assert [signal for _, signal, _ in signals(desk, "gateway_phone")] == ["raise", "clear"]


def test_alarms_of_probes_and_places_that_leave_the_site_end() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 15, a1=22.3)
    whole = site()
    less = site(
        places=tuple(p for p in whole.places if p.id != "bed-a"),
        probes=tuple(p for p in whole.probes if p.place != "bed-a"),
    )
    desk.lay(16, SiteChanged(less))
    desk.wait(20)

    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise", "clear"]


def _of_pieces(rng: random.Random, n: int, at_ms: int) -> list[Event]:
    """What people may record of pieces, some of it late, some of it nonsense."""
    bed, late_ms = rng.choice(["bed-a", "bed-b"]), at_ms - rng.randrange(10 * HOUR)
    return [
        Steeped("steep", "lot-7", piece=rng.choice([None, "40"])),
        Stood("steep", rng.choice(["wet", "dry"]), when_ms=rng.choice([None, late_ms])),
        Cast(bed, when_ms=late_ms),
        CouchBroken(bed),
        Turned(bed, when_ms=late_ms),
        Turned(bed, onto_from_m=2.0, onto_to_m=14.0),
        Ploughed(bed),
        Thinned(bed, 10.0),
        Withering(bed),
        HandRead(bed, 17.0, at_m=4.0),
        Moved(bed, "bed-b", from_m=0.0, to_m=5.0),
        Split("bed-a", 0.0, 5.0, "9"),
        Joined("9", "40"),
        Loaded(bed),
        KilnWorked(rng.choice(["lit", "drawn", "stripped", "to-store"])),
        Ordered(bed, at_ms + rng.randrange(20 * HOUR), why="warm"),
        Corrected(rng.randrange(1, n + 1), bed="bed-b", when_ms=late_ms),
        Voided(rng.randrange(1, n + 1), why="wrong"),
        Upheld(rng.randrange(1, n + 1)),
        ClockStepped(rng.choice([-2 * HOUR, HOUR])),
        Resumed(rng.choice([0, 3 * HOUR])),
        NotedAt(at_ms + rng.randrange(-HOUR, 5 * HOUR)),
        Started("again"),
    ]


def _random_inputs(seed: int, count: int) -> list[Entry]:
    rng = random.Random(seed)
    entries = [Entry(1, START, START, Started("test")), Entry(2, START, START, SiteChanged(site()))]
    at_ms, n = START, 2
    for _ in range(count):
        at_ms += rng.choice([0, 1000, 20_000, 60_000, 600_000])
        n += 1
        chance = rng.random()
        if chance < 0.9:
            probe = rng.choice(["a1", "a2", "b1", "air", "k1"])
            value = rng.uniform(15, 27) if probe != "air" else rng.uniform(400, 7000)
            entries.append(
                Entry(n, at_ms, at_ms, Reading(probe, at_ms - rng.randrange(0, 400_000), value, OWN_TIME))
            )
        else:
            happenings: list[Event] = [
                Cast("bed-a"),
                Turned("bed-a", by="ada"),
                Turned("bed-a", 0.0, 4.0),
                Answered(rng.randrange(101, 110), rng.choice(["going", "heard", "cant"]), "ada"),
                PutOutOfService("a1"),
                PutInService("a1"),
                PutOutOfService("air"),
                PutInService("air"),
                CheckedIn(person=rng.choice(["ada", "ben"]), place="room", for_s=rng.choice([None, 300.0])),
                CheckedOut(person=rng.choice(["ada", "ben"])),
                Condition("broker", rng.random() < 0.5),
                Delivery(rng.randrange(1, 20), "ada-1", rng.choice(["delivered", "failed"])),
                *_of_pieces(rng, n, at_ms),
            ]
            entries.append(Entry(n, at_ms, at_ms, rng.choice(happenings)))
    return entries


@pytest.mark.parametrize("seed", range(12))
def test_batches_and_a_restart_at_any_moment_change_nothing(seed: int) -> None:
    """The same entries, judged in one go, or in pieces with the state stored and restored between them."""
    entries = _random_inputs(seed, 600)
    end = entries[-1].run_ms + HOUR
    whole = engine.advance(engine.new(), entries, end)

    rng, state, made, index = random.Random(seed + 1000), engine.new(), [], 0
    while index < len(entries):
        step = rng.randrange(1, 40)
        part = entries[index : index + step]
        made += engine.advance(state, part, part[-1].run_ms)
        index += step
        if rng.random() < 0.3:
            dumped = engine.dump(state)
            state = engine.load(dumped)
            assert engine.dump(state) == dumped
    made += engine.advance(state, [], end)

    assert made == whole
    assert len({effect.cause for effect in whole}) == len(whole)
    assert whole


@pytest.mark.parametrize("seed", range(6))
def test_skipping_ticks_that_are_not_due_changes_nothing(seed: int) -> None:
    entries = _random_inputs(seed, 400)
    end = entries[-1].run_ms + 3 * HOUR
    whole = engine.advance(engine.new(), entries, end)

    state, made = engine.new(), []
    for entry, after in zip(entries, [*entries[1:], None], strict=True):
        made += engine.advance(state, [entry], entry.run_ms)
        stop = after.run_ms if after else end
        moment = entry.run_ms
        while moment < stop:
            state.due_run_ms = 0
            moment = min(moment + 10_000, stop)
            if after is None or moment < stop:
                made += engine.advance(state, [], moment)
    assert made == whole


@pytest.mark.parametrize(
    ("name", "kind"), [("session", "gateway_session_lost"), ("dropped", "gateway_dropped")]
)
def test_what_has_happened_at_the_broker_is_an_alarm_until_it_has_not_for_half_an_hour(
    name: str, kind: str
) -> None:
    desk = Desk()
    for minute in (1, 20, 45):
        desk.lay(minute, Condition(name, True, "12 messages"))
    desk.wait(74)
    assert [signal for _, signal, _ in signals(desk, kind)] == ["raise"]
    desk.wait(76)
    assert [signal for _, signal, _ in signals(desk, kind)] == ["raise", "clear"]
    assert {change.priority for change in desk.alarms(kind)} == {"medium"}


def test_a_state_of_another_version_is_refused() -> None:
    with pytest.raises(ValueError, match="not a state"):
        engine.load(b'{"nonsense": 1}')


def test_minutes_reads_a_moment() -> None:
    assert minutes(START + MINUTE) == 1.0


def test_when_the_hold_ends_a_falling_bed_is_looked_at_again_and_a_standing_one_calls() -> None:
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    watched(desk, 1, 15, a1=23.9)
    number = desk.alarms("bed_hot")[0].number
    desk.lay(15, Answered(number, "going", "ada"))
    for minute in range(15, 70):
        desk.read(minute, "a1", 23.9 - (minute - 15) / 60)
    falling = [signal for _, signal, _ in signals(desk, "bed_hot")]
    for minute in range(70, 140):
        desk.read(minute, "a1", 23.0)

    assert falling == ["raise", "answer"]
    assert [signal for _, signal, _ in signals(desk, "bed_hot")] == ["raise", "answer", "realarm"]


def test_a_probe_whose_clock_is_slow_watches_nothing_and_that_is_said() -> None:
    """Its readings are too old to call anybody, so the bed is not being watched, however often it speaks."""
    desk = Desk()
    desk.lay(0, Cast("bed-a", "14"))
    for minute in range(1, 60):
        desk.read(minute, "a1", 25.5, measured_min=minute - 20)
    silent = [c for c in desk.alarms("probe_silent") if c.probe == "a1"]
    row = next(row for row in views.probes(desk.state) if row["probe"] == "a1")

    assert [c.change.signal for c in silent] == ["raise"]
    assert [signal for _, signal, _ in signals(desk, "bed_unwatched")] == ["raise"]
    assert row["why"] == "it speaks, but 20 min late: its clock or its link"

    desk.read(60, "a1", 18.0)
    assert [signal for _, signal, _ in signals(desk, "bed_unwatched")] == ["raise", "clear"]
