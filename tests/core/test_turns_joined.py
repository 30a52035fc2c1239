"""Turns that probes show and turns that people record, before the judge: one turn, one number, one clock."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gateway.core import engine, views_piece
from gateway.core.board_state import Out
from gateway.core.effects import TurnKnown
from gateway.core.estimate.turn_seen.bed import TurnSeen
from gateway.core.follow import turns
from gateway.core.inputs import (
    Answered,
    Cast,
    ClockStepped,
    CouchBroken,
    Entry,
    Input,
    Loaded,
    SiteChanged,
    Turned,
)
from gateway.core.inputs_journey import Corrected, NotTurned, Ploughed, Upheld, Voided
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.site import Programme, Site
from tests.core.desk import HOUR, MINUTE, START, Desk, minutes, site

#: Two layers a few degrees apart come to one temperature, without being pulled out.
WARM, COOL, MIXED = 19.4, 16.8, 16.2
EARLIER = START - 5 * HOUR


class Floor(Desk):
    """Bed A with two thermometers, a piece on it since this morning, and a turn whenever it is asked for."""

    def __init__(
        self, plan: Site | None = None, cast: bool = True, probes: tuple[str, ...] = ("a1", "a2")
    ) -> None:
        super().__init__(plan or floor_site())
        self.probes, self.now = probes, 0
        self.levels = {"a1": WARM, "a2": COOL}
        if cast:
            self.lay(0, Cast("bed-a", "7", when_ms=EARLIER))

    def until(self, at_min: int) -> None:
        """Readings each minute."""
        while self.now < at_min:
            self.now += 1
            for probe in self.probes:
                # A probe wavers by a hundredth or two; one that never does is taken to be stuck.
                self.read(self.now, probe, self.levels[probe] + (self.now * 7 % 5) / 100)

    def turn(self, at_min: int) -> None:
        """Turned at that minute, and settled after it."""
        self.until(at_min)
        self.levels = {"a1": MIXED, "a2": MIXED - 0.1}
        self.until(at_min + 40)

    def told(self) -> list[TurnKnown]:
        """Each turn as it is known now, by number."""
        last = {one.turn: one for one in self.effects if isinstance(one, TurnKnown)}
        return [last[number] for number in sorted(last)]

    def asked(self) -> list[str]:
        return [row["text"] for row in views_piece.questions(self.state) if row["place"] == "bed-a"]

    def turned(self) -> float | None:
        """When the bed's turn clock began, in minutes; None before the first turn."""
        lying = self.state.pieces.beds["bed-a"]
        return minutes(max(part.turned_ms for part in lying.parts)) if lying.turned else None


def floor_site(**programme: object) -> Site:
    """The desk's site; Bed A's programme changed, a thermometer over the bed."""
    plain = replace(site().programme["plain"], **programme)  # type: ignore[arg-type]
    others = tuple(one for one in site().programmes if one.id != "plain")
    probes = tuple(replace(p, height_cm=3.0 if p.id == "a1" else 9.0) for p in site().probes)
    return site(programmes=(*others, plain), probes=probes)


def trusting(trust: str) -> Site:
    """What restarts Bed A's clock."""
    plain: Programme = site().programme["plain"]
    return floor_site(turning=replace(plain.turning, trust=trust))


def test_a_turn_nobody_recorded_restarts_the_clock_and_is_asked_about() -> None:
    bed = Floor()
    bed.turn(60)
    (one,) = bed.told()
    assert (one.source, one.state, one.by, one.turn) == ("seen", "nobody recorded it", None, 1)
    assert one.fall_k == pytest.approx((WARM + COOL) / 2 - MIXED + 0.05, abs=0.15)
    assert one.spread_before_k == pytest.approx(WARM - COOL, abs=0.1)
    assert one.spread_after_k is not None
    assert one.spread_after_k < 0.3
    assert one.sureness is not None
    assert one.sureness >= 0.5
    began, ended = minutes(one.began_at_ms), minutes(one.ended_at_ms)
    assert began is not None
    assert ended is not None
    assert began <= 61 <= ended + 1
    known = minutes(one.known_at_ms)
    assert known is not None
    assert 60 < known <= 90
    assert bed.turned() == pytest.approx(60.5, abs=3)
    assert bed.asked() == [f"Bed A: turned about {clock(one)}? Nobody recorded it"]


def clock(one: TurnKnown) -> str:
    """The middle of a turn as the desk's people read it (UTC)."""
    at_min = ((one.began_at_ms + one.ended_at_ms) // 2 - START) // MINUTE
    return f"{20 + at_min // 60:02d}:{at_min % 60:02d}"


@pytest.mark.parametrize("when", [-30, 0, 20])
def test_a_turn_recorded_afterwards_is_the_same_turn(when: int) -> None:
    bed = Floor()
    bed.turn(60)
    bed.lay(100, Turned("bed-a", by="ada", when_ms=START + (60 + when) * MINUTE))
    (one,) = bed.told()
    assert (one.turn, one.source, one.state, one.by) == (1, "both", "kept", "ada")
    assert one.fall_k is not None
    assert one.sureness is not None
    assert bed.turned() == 60 + when
    assert bed.asked() == []


def test_a_turn_recorded_before_the_probes_tell_of_it_is_the_same_turn() -> None:
    bed = Floor()
    bed.until(55)
    bed.lay(55, Turned("bed-a", by="ada"))
    assert [one.source for one in bed.told()] == ["recorded"]
    bed.turn(60)
    (one,) = bed.told()
    assert (one.turn, one.source, one.by) == (1, "both", "ada")
    assert one.known_at_ms == START + 55 * MINUTE
    assert bed.turned() == 55


def test_a_recorded_turn_that_the_probes_do_not_show_is_kept_and_asked_about() -> None:
    bed = Floor()
    bed.until(60)
    bed.lay(60, Turned("bed-a", by="ada"))
    bed.until(115)
    assert [one.state for one in bed.told()] == ["kept"]
    bed.until(126)
    (one,) = bed.told()
    assert (one.source, one.state) == ("recorded", "probes did not show it")
    assert bed.turned() == 60
    assert bed.asked() == ["Bed A: turned at 21:00, as recorded; probes did not show it"]
    entry = next(row["entry"] for row in views_piece.questions(bed.state) if row["place"] == "bed-a")
    bed.lay(130, Upheld(entry, why="one row only"))
    assert [one.state for one in bed.told()] == ["kept"]
    assert bed.asked() == []


def test_one_height_cannot_deny_a_recorded_turn() -> None:
    bed = Floor(probes=("a1",))
    bed.until(60)
    bed.lay(60, Turned("bed-a", by="ada"))
    bed.until(240)
    assert [one.state for one in bed.told()] == ["kept"]
    assert bed.asked() == []


def test_grain_as_warm_everywhere_as_the_room_cannot_show_a_turn() -> None:
    bed = Floor()
    bed.levels = {"a1": 14.2, "a2": 14.0}
    bed.until(60)
    bed.lay(60, Turned("bed-a", by="ada"))
    bed.until(300)
    assert [one.state for one in bed.told()] == ["kept"]
    assert bed.asked() == []


def test_one_probe_alone_says_perhaps_asks_and_leaves_the_clock_alone() -> None:
    bed = Floor(probes=("a1",))
    bed.turn(60)
    (one,) = bed.told()
    assert (one.source, one.state) == ("seen", "perhaps")
    assert one.spread_before_k is None
    assert one.spread_after_k is None
    assert bed.turned() is None
    assert bed.asked() == [
        f"Bed A: perhaps turned about {clock(one)}? Only one probe shows it, which may have been pulled out"
    ]
    assert not bed.notices()


@pytest.mark.parametrize(
    ("trust", "probes", "moves"),
    [("recorded", ("a1", "a2"), False), ("sure", ("a1", "a2"), True), ("perhaps", ("a1",), True)],
)
def test_the_programme_says_what_restarts_the_clock(trust: str, probes: tuple[str, ...], moves: bool) -> None:
    bed = Floor(trusting(trust), probes=probes)
    bed.turn(60)
    assert len(bed.told()) == 1
    assert len(bed.asked()) == 1
    assert (bed.turned() is not None) == moves


def test_no_is_an_answer_too() -> None:
    bed = Floor()
    bed.turn(60)
    row = next(row for row in views_piece.questions(bed.state) if row["perhaps"])
    bed.lay(101, NotTurned("bed-a", turn=row["turn"], by="ada", why="probes were out"))
    assert [one.state for one in bed.told()] == ["void"]
    assert bed.turned() is None
    assert bed.asked() == []
    # Whoever did turn it says so all the same.
    bed.lay(102, Turned("bed-a", by="ben", when_ms=row["at"]))
    assert [(one.turn, one.source, one.state) for one in bed.told()] == [(1, "both", "kept")]


def test_an_entry_taken_back_or_corrected_leaves_what_the_probes_saw() -> None:
    bed = Floor()
    bed.turn(60)
    bed.lay(100, Turned("bed-a", by="ada", when_ms=START + 70 * MINUTE))
    entry = bed.n
    bed.lay(101, Voided(entry, why="another bed"))
    assert [(one.turn, one.source, one.state) for one in bed.told()] == [(1, "seen", "nobody recorded it")]
    assert bed.turned() == pytest.approx(60.5, abs=3)
    assert len(bed.asked()) == 1
    bed.lay(102, Voided(bed.n, why="it was this bed"))
    assert [(one.turn, one.source) for one in bed.told()] == [(1, "both")]
    bed.lay(103, Corrected(entry, bed="bed-b"))
    assert [(one.turn, one.bed, one.source) for one in bed.told()] == [
        (1, "bed-a", "seen"),
        (2, "bed-b", "recorded"),
    ]
    bed.lay(104, Corrected(entry, bed="bed-a"))
    assert [(one.turn, one.source, one.state) for one in bed.told()] == [
        (1, "both", "kept"), (2, "recorded", "withdrawn"),
    ]  # fmt: skip


def test_the_same_turn_told_better_moves_the_clock_with_it_and_one_taken_back_leaves_nothing() -> None:
    bed = Floor()
    bed.turn(60)
    before = bed.turned()
    (one,) = bed.state.turns_seen.seen["bed-a"]
    seen = one.seen
    later = replace(seen, began_ms=seen.began_ms + 6 * MINUTE, ended_ms=seen.ended_ms + 6 * MINUTE)
    learn(bed, later)
    assert before is not None
    assert bed.turned() == before + 6
    assert len(bed.told()) == 1
    learn(bed, replace(later, state="withdrawn", sureness=0.0))
    assert [(known.turn, known.state) for known in bed.told()] == [(1, "withdrawn")]
    assert bed.turned() is None
    assert bed.asked() == []
    assert not any(record.n < 0 for record in bed.state.pieces.records)


def learn(bed: Floor, seen: TurnSeen) -> None:
    """What the probes tell now."""
    out = Out(10_000 + len(bed.effects))
    turns.learn(bed.state, [seen], out)
    bed.effects += out.effects


def test_what_breaks_a_couch_is_asked_about_and_breaks_none() -> None:
    bed = Floor(site(places=tuple(replace(p, programme="floor") for p in floor_site().places)))
    bed.turn(60)
    lying = bed.state.pieces.beds["bed-a"]
    assert lying.couch_ends_ms is not None
    assert not lying.turned
    assert len(bed.asked()) == 1
    assert bed.asked()[0].startswith("Bed A: couch broken about")
    bed.lay(100, CouchBroken("bed-a", when_ms=START + 55 * MINUTE))
    assert bed.asked() == []
    assert [(one.source, one.state) for one in bed.told()] == [("seen", "kept")]


def test_a_recorded_ploughing_explains_what_the_probes_saw() -> None:
    bed = Floor()
    bed.turn(60)
    bed.lay(100, Ploughed("bed-a", when_ms=START + 62 * MINUTE))
    assert bed.turned() is None
    assert bed.asked() == []
    assert [one.state for one in bed.told()] == ["void"]


def test_a_cast_told_late_explains_what_the_probes_took_for_a_turn() -> None:
    bed = Floor(floor_site())
    bed.turn(60)
    assert bed.turned() is not None
    bed.lay(100, Cast("bed-a", "8", when_ms=START + 50 * MINUTE))
    assert [one.state for one in bed.told()] == ["void"]
    assert bed.turned() is None
    assert bed.asked() == ["Bed A: piece 8 cast where piece 7 lies; is that gone?"]


def test_an_entry_of_long_ago_forgets_nothing_of_now() -> None:
    bed = Floor(cast=False)
    bed.until(50)
    bed.lay(50, Cast("bed-a", "7", when_ms=EARLIER))
    assert len(bed.state.turns_seen.turns.beds["bed-a"].rings["a1"].values) == 50
    bed.lay(50, Loaded("bed-a"))
    assert "bed-a" not in bed.state.turns_seen.turns.beds


def test_another_trust_holds_at_once() -> None:
    bed = Floor(trusting("recorded"))
    bed.turn(60)
    assert bed.turned() is None
    bed.lay(101, SiteChanged(trusting("sure")))
    assert bed.turned() == pytest.approx(60.5, abs=3)
    bed.lay(102, SiteChanged(trusting("recorded")))
    assert bed.turned() is None


def test_halves_recorded_one_after_another_are_borne_out_by_one_walk() -> None:
    bed = Floor()
    bed.turn(60)
    bed.lay(100, Turned("bed-a", from_m=0.0, to_m=5.0, when_ms=START + 55 * MINUTE))
    bed.lay(100, Turned("bed-a", from_m=5.0, to_m=10.0, when_ms=START + 75 * MINUTE))
    bed.until(240)
    assert sorted((one.source, one.state) for one in bed.told()) == [("both", "kept"), ("recorded", "kept")]
    assert bed.asked() == []


def test_a_bed_recorded_empty_tells_of_no_turns_and_other_grain_begins_afresh() -> None:
    bed = Floor()
    bed.until(50)
    bed.lay(50, Loaded("bed-a"))
    assert "bed-a" not in bed.state.turns_seen.turns.beds
    bed.turn(100)
    assert bed.told() == []
    bed.lay(141, Cast("bed-a", "8"))
    assert [text for text in bed.asked() if "Count them" not in text] == []


def test_a_bed_without_a_recorded_piece_is_asked_about_and_has_no_clock() -> None:
    bed = Floor(cast=False)
    bed.turn(60)
    assert [(one.source, one.state) for one in bed.told()] == [("seen", "nobody recorded it")]
    assert any(text.startswith("Bed A: turned about") for text in bed.asked())


def test_a_seen_turn_ends_an_overdue_one_by_the_clock_and_answers_no_heat() -> None:
    hot = {"a1": 24.4, "a2": 22.9}
    bed = Floor(floor_site(on_delay_s=60.0))
    bed.lay(0, Turned("bed-a", when_ms=START - 4 * HOUR))
    bed.levels = dict(hot)
    bed.until(490)
    assert [one.state for one in bed.alarms("turn_overdue")][-1:] == ["unacknowledged"]
    bed.levels = {"a1": 22.5, "a2": 22.4}
    bed.until(540)
    seen = bed.told()[-1]
    assert seen.source == "seen"
    assert bed.alarms("turn_overdue")[-1].cleared_at_ms is not None
    assert bed.state.overdue == []
    standing = [one for one in bed.state.board.standing.values() if one.finding.subject.kind == "bed_hot"]
    assert len(standing) == 1
    assert standing[0].answered_by is None
    assert all(one.change.signal != "answer" for one in bed.alarms("bed_hot"))


def test_an_old_turn_told_late_holds_no_call() -> None:
    bed = Floor(floor_site(on_delay_s=60.0))
    bed.levels = {"a1": 23.4, "a2": 23.3}
    bed.until(300)
    bed.lay(300, Turned("bed-a", when_ms=START + 60 * MINUTE, by="ada"))
    (alarm,) = [one for one in bed.state.board.standing.values() if one.finding.subject.kind == "bed_hot"]
    assert alarm.answered_by is None
    bed.lay(301, Turned("bed-a", when_ms=START + 290 * MINUTE, by="ada"))
    assert alarm.answered_by == "ada"


@pytest.mark.parametrize("by_ms", [-HOUR, 2 * HOUR, -40 * MINUTE])
def test_a_clock_that_is_set_makes_no_turn_and_loses_none(by_ms: int) -> None:
    """Probes without a time of their own: what they said moves with the clock."""
    bed = Floor()
    for minute in range(1, 201):
        offset_ms = by_ms if minute >= 70 else 0
        found: list[Input] = [ClockStepped(by_ms)] if minute == 70 else []
        at_ms, levels = START + minute * MINUTE, (WARM, COOL) if minute < 100 else (MIXED, MIXED - 0.1)
        for probe, level in zip(("a1", "a2"), levels, strict=True):
            found.append(Reading(probe, at_ms + offset_ms, level + (minute * 7 % 5) / 100, 0))
        for what in found:
            bed.n += 1
            bed.effects += engine.advance(bed.state, [Entry(bed.n, at_ms + offset_ms, at_ms, what)], at_ms)
    (one,) = bed.told()
    assert one.source == "seen"
    assert minutes((one.began_at_ms + one.ended_at_ms) // 2 - by_ms) == pytest.approx(100, abs=3)


def test_a_restart_at_any_moment_changes_nothing() -> None:
    def play(restart: int) -> list[object]:
        bed = Floor()
        for minute in range(5, 130, 5):
            bed.turn(minute) if minute == 60 else bed.until(minute)
            if restart and minute % restart == 0:
                bed.state = engine.load(engine.dump(bed.state))
            if minute == 110:
                bed.lay(110, Turned("bed-a", when_ms=START + 66 * MINUTE, by="ada"))
        return list(bed.effects)

    straight = play(0)
    assert [one.source for one in straight if isinstance(one, TurnKnown)][-1] == "both"
    assert play(5) == straight
    assert play(15) == straight


def test_a_new_site_file_forgets_beds_that_are_gone() -> None:
    bed = Floor()
    bed.turn(60)
    places = tuple(place for place in bed.site.places if place.id != "bed-a")
    probes = tuple(probe for probe in bed.site.probes if probe.place != "bed-a")
    bed.lay(101, SiteChanged(replace(bed.site, places=places, probes=probes)))
    assert bed.state.turns_seen.seen == {}
    assert bed.asked() == []
    bed.lay(102, SiteChanged(bed.site))
    assert bed.state.turns_seen.turns.beds == {}
    bed.until(110)
    assert "bed-a" in bed.state.turns_seen.turns.beds


def test_the_probes_own_time_counts() -> None:
    """A backlog after an outage: the turn is put where it was measured, known when it came."""
    bed = Floor()
    bed.until(40)
    late = 300
    for minute in range(41, 121):
        levels = (WARM, COOL) if minute < 60 else (MIXED, MIXED - 0.1)
        for probe, level in zip(("a1", "a2"), levels, strict=True):
            at_ms = START + minute * MINUTE
            bed.lay(late, Reading(probe, at_ms, level + (minute * 7 % 5) / 100, OWN_TIME))
    (one,) = bed.told()
    assert minutes((one.began_at_ms + one.ended_at_ms) // 2) == pytest.approx(60, abs=3)
    assert minutes(one.known_at_ms) == late


def test_a_coarse_probe_in_steady_grain_is_not_taken_for_a_stuck_one() -> None:
    """Tenths of a degree, and the same ones for an hour; then its lag, step by step, tells that it lives."""
    bed = Floor()

    def until(at_min: int) -> None:
        while bed.now < at_min:
            bed.now += 1
            for probe, level in bed.levels.items():
                gone = 0.0 if bed.now <= 70 else (bed.now - 70) / 2.0
                bed.read(bed.now, probe, round(14.2 + (level - 14.2) * 0.5**gone, 1))

    until(120)
    assert [(one.source, one.state) for one in bed.told()] == [("seen", "nobody recorded it")]


def test_probes_that_were_stuck_and_come_back_elsewhere_tell_of_no_turn_then() -> None:
    """One and the same value for an hour, then another at once: what happened, happened at no known time."""
    bed = Floor()
    for minute in range(1, 131):
        for probe, level in (("a1", WARM), ("a2", COOL)):
            bed.read(minute, probe, round(level if minute <= 70 else MIXED, 1))
    assert bed.told() == []


@pytest.mark.parametrize("turned", [True, False])
def test_whoever_went_and_turned_is_not_called_again_at_once(turned: bool) -> None:
    """An answer holds for 45 min; a turn in that time has the bed looked at again before anybody is woken."""
    bed = Floor(floor_site(on_delay_s=60.0))
    bed.lay(0, Turned("bed-a", when_ms=START - 2 * HOUR))
    bed.levels = {"a1": 24.4, "a2": 22.9}
    bed.until(60)
    (alarm,) = [one for one in bed.state.board.standing.values() if one.finding.subject.kind == "bed_hot"]
    bed.lay(60, Answered(alarm.number, "going", by="ada"))
    bed.until(85)
    if turned:
        bed.levels = {"a1": 22.6, "a2": 22.5}
    bed.until(170)
    calls = [
        minutes(one.at_ms)
        for one in bed.notices()
        if one.at_ms > START + 60 * MINUTE and one.alarm == alarm.number
    ]
    assert calls
    if turned:
        # Still over its limit three quarters of an hour after the turn: that is somebody's business again.
        assert calls[0] == pytest.approx(135, abs=5)
    else:
        assert calls[0] == pytest.approx(105, abs=1)
