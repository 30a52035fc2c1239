"""The words: each kind as the trade says it, and for any value short, sendable, and free of certain words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gateway.core.alarm import State
from gateway.core.finding import Finding, Subject
from gateway.core.site import Person, Place, Probe, Site
from gateway.core.wording import alarm as wording
from gateway.core.wording import gsm
from gateway.core.wording.calls import CALLS
from gateway.core.wording.parts import NEVER, Part, fit
from gateway.core.wording.screen import STATES, WRONG
from tests.core.board_floor import COLD, GAS, HIGH, NIGHT_MS, OVERDUE, SITE, URGENT, over

HOUR = 3_600_000
KINDS = (*CALLS, "gas_unknown", "probe_stuck", "gateway_odd", "odd")
# Written a second time from the trade's list of words that are never said to people.
FORBIDDEN = """safe clear all-clear cleared ok resolved critical anomaly threshold offline node unacknowledged
predicted optimal journal mirror settled replay""".split()


def _call(finding: Finding, at_ms: int = NIGHT_MS) -> str:
    return wording.call(finding, SITE, at_ms, 412, 88).text


def test_a_hot_bed() -> None:
    hot = replace(HIGH, next_limit=25.0, next_at_ms=NIGHT_MS + 3 * HOUR + 20 * 60_000)
    hot = replace(hot, last_turned_ms=NIGHT_MS - 5 * HOUR - 5 * 60_000)
    assert _call(hot) == (
        "PIECE 14 HOT. Bed C day 4: 22.6 C, limit 22, up 0.9 an hour, 25 by 05:20. Last turned 20:55. "
        "Check room air, open shutters, turn. Reply 412 GO or 412 CANT (88)"
    )
    assert wording.call(hot, SITE, NIGHT_MS, 412, 88).title == "PIECE 14 HOT, Bed C"


def test_no_cast_recorded_is_said() -> None:
    assert _call(replace(HIGH, piece=None, day=None, detail="no cast recorded", last_turned_ms=None)) == (
        "BED C HOT, no cast recorded: 22.6 C, limit 22, up 0.9 an hour. Check room air, open shutters, turn. "
        "Reply 412 GO or 412 CANT (88)"
    )
    assert _call(replace(HIGH, piece=None)).startswith("BED C HOT day 4: 22.6 C")


def test_the_other_calls() -> None:
    assert _call(URGENT).startswith("PIECE 14 VERY HOT. Bed C day 4: 25.6 C, limit 25, up 0.9 an hour.")
    assert _call(replace(COLD, limit=12.0, trend_per_h=-0.31)).startswith(
        "PIECE 14 COLD. Bed A day 4: 9.0 C, lowest 12, down 0.3 an hour. Last turned 22:00. Close shutters"
    )
    late = replace(OVERDUE, piece="11", day=3, value=17.2, trend_per_h=0.3)
    late = replace(late, last_turned_ms=NIGHT_MS - 7 * HOUR, wanted_by_ms=NIGHT_MS - HOUR)
    assert _call(late, NIGHT_MS + 40 * 60_000) == (
        "TURN OVERDUE piece 11, Bed C day 3. Last turned 19:00, wanted by 01:00, now 02:40. 17.2 C, "
        "up 0.3 an hour. Air the room, then turn. Reply 412 GO or CANT (88)"
    )
    blind = Finding(
        Subject("bed_unwatched", "bed-c"), True, "high", "unwatched", 1, 17.8, "Cel",
        since_ms=NIGHT_MS - 20 * 60_000, trend_per_h=0.4, detail="1 silent, 1 out of service",
    )  # fmt: skip
    assert _call(blind) == (
        "BED C NOT BEING WATCHED since 01:40: 1 silent, 1 out of service. Last 17.8 C and rising. "
        "Take hand thermometer, put probe back. Reply 412 GO or 412 CANT (88)"
    )
    unseen = replace(
        blind, level="unwatched_hot", value=21.6, trend_per_h=0.8, detail="silent", hottest_probe="c-low",
        next_limit=22.0, next_at_ms=NIGHT_MS + 5 * 60_000,
    )  # fmt: skip
    assert _call(unseen, NIGHT_MS + 20 * 60_000) == (
        "BED C NOT BEING WATCHED where hottest since 01:40: c-low silent. Last 21.6 C, 22 by 02:05. "
        "Take hand thermometer, record it. Reply 412 GO or 412 CANT (88)"
    )
    wide = replace(unseen, hottest_probe="c" * 30, detail="out of service")
    site = _site("A bed of a long name", "Ada")
    said = wording.call(wide, site, NIGHT_MS, 99_999, 99_999).text
    assert len(said) <= 160
    for kept in (
        f"{'c' * 16} out of service",
        "21.6 C, 22 by",
        "Take hand thermometer, record it. Reply 99999",
    ):
        assert kept in said
    wide = replace(wide, air="Air unknown, hand meter only")
    said = wording.call(wide, site, NIGHT_MS, 99_999, 99_999).text
    assert said == (
        f"BED-C NOT BEING WATCHED where hot: {'c' * 16}. 22 by 07:50. Air unknown, hand meter only. "
        "Take hand thermometer, record it. Reply 99999 GO or CANT (99999)"
    )
    kiln = Finding(
        Subject("kiln_hot", "kiln"), True, "high", "high", 1, 48.0, "Cel", 45.0, piece="9", detail="7 h in"
    )
    assert _call(kiln) == (
        "KILN TOO HOT. Piece 9, 7 h in: 48.0 C, limit 45. Damp fire, keep draught on. Stay off kiln floor. "
        "Reply 412 GO or 412 CANT (88)"
    )
    silent = Finding(Subject("probe_silent", "bed-c", "c-1"), True, "low", "silent", since_ms=NIGHT_MS - HOUR)
    assert _call(silent).startswith("PROBE c-1 SILENT, Bed C since 01:00. Look at battery and cable")
    broker = Finding(Subject("gateway_broker"), True, "medium", "on", since_ms=NIGHT_MS - HOUR)
    assert _call(broker).startswith("GATEWAY HEARS NO PROBES since 01:00. Go round with hand thermometer")


def test_gas_sends_nobody_in_and_is_no_certified_alarm() -> None:
    assert _call(GAS) == (
        "STAY OUT FLOOR 1. CO2 18,000 ppm. Do not go in, even to help. Who is inside? "
        "Ring 112 if no answer. Air it from outside. Not a certified gas alarm. 412 (88)"
    )
    rising = _call(replace(GAS, trend_per_h=900.0))
    assert rising.startswith(
        "STAY OUT FLOOR 1. CO2 18,000 ppm rising, limit 5,000. Do not go in, even to help."
    )
    assert " GO" not in rising


def test_all_must_come_out_whatever_else_there_is_room_for() -> None:
    leave = replace(GAS, level="evacuate")
    assert "All out of the building. Ring 112" in _call(leave)
    site = _site("A bed of a long name", "Ada")
    long = replace(leave, subject=GAS.subject._replace(place="place"))
    said = wording.call(long, site, NIGHT_MS, 72_101, 433_000).text
    assert said.startswith("STAY OUT A BED OF A LONG NAME. CO2 18,000 ppm")
    assert "even to help. All out. Ring 112 if no answer." in said
    assert said.endswith("Not a certified gas alarm. 72101 (433000)")


def test_gas_that_is_down_says_for_how_long_at_least() -> None:
    down = replace(over(GAS), value=3900.0, measured_at_ms=NIGHT_MS + 7 * 60_000)
    said = wording.over(down, SITE, NIGHT_MS + 9 * 60_000, 412, 89, cleared_at_ms=NIGHT_MS)
    # 5 min of off-delay, and 7 min from there to the newest reading: not the 9 to the message.
    assert said.text.startswith("FLOOR 1 READING DOWN: CO2 3,900 ppm, below 5,000 for 12 min. Who is inside?")
    assert "Not a certified gas alarm" in said.text
    unknown = wording.over(replace(down, value=None), SITE, NIGHT_MS, 412, 89, NIGHT_MS)
    assert unknown.text.startswith("FLOOR 1 NO GAS READING: air unknown, hand meter only.")


def test_a_bed_is_cooler_only_if_it_is() -> None:
    cooler = wording.over(over(HIGH, 21.3), SITE, NIGHT_MS, 412, 89)
    assert cooler == ("BED C COOLER", "BED C COOLER: 21.3 C, limit 22. Piece 14. Call 412 is over. (89)")
    moved = wording.over(over(HIGH, 22.6), SITE, NIGHT_MS, 412, 89)
    assert moved.text.startswith("BED C HEAT CALL OVER: other grain, or none, lies there now.")
    warmer = wording.over(over(replace(COLD, limit=12.0), 12.6), SITE, NIGHT_MS, 412, 89)
    assert warmer.title == "BED A WARMER"


def test_times_are_the_sites_own_and_far_ones_have_their_day() -> None:
    july = NIGHT_MS + 120 * 24 * HOUR
    assert "Last turned 01:00." in _call(replace(HIGH, last_turned_ms=july - 2 * HOUR), july)
    assert "Last turned Thu 22:00." in _call(replace(HIGH, last_turned_ms=july - 29 * HOUR), july)


@pytest.mark.parametrize("ms", [-1, -(2**46), 2**47, 2**60])
def test_a_time_that_cannot_be_is_not_told(ms: int) -> None:
    assert "Last turned" not in _call(replace(HIGH, last_turned_ms=ms))


def test_a_next_limit_in_the_past_or_a_day_ahead_is_not_promised() -> None:
    for ahead in (-HOUR, 25 * HOUR):
        assert " by " not in _call(replace(HIGH, next_limit=25.0, next_at_ms=NIGHT_MS + ahead))


def test_parts_go_by_their_order_and_come_back_where_there_is_room() -> None:
    parts = [Part("a" * 100), Part("b" * 50, 5), Part("c" * 20, 9), Part("d" * 30, 7), Part("e", 0)]
    assert fit(parts, [], 200) == "a" * 100 + "b" * 50 + "d" * 30 + "e"
    assert fit(parts, [], 125) == "a" * 100 + "c" * 20 + "e"
    assert fit([Part("x" * 10)], [Part(" answer at length", 9, " short")], 20) == "x" * 10 + " short"


def test_how_to_answer_is_never_cut() -> None:
    assert fit([Part("turn it " * 3)], [Part(" 412 GO"), Part(" (88)")], 20) == "turn it 412 GO (88)"


@given(st.text(max_size=80))
def test_a_forbidden_word_in_a_detail_is_left_out(text: str) -> None:
    said = _call(replace(HIGH, piece=None, day=None, detail=f"broker offline {text}"))
    assert "offline" not in said


NUMBERS = st.one_of(st.none(), st.floats(allow_nan=True, allow_infinity=True), st.floats(-50, 200_000))
TIMES = st.one_of(st.none(), st.integers(NIGHT_MS - 40 * 24 * HOUR, NIGHT_MS + 40 * 24 * HOUR), st.integers())
NAMES = st.one_of(st.none(), st.text(max_size=40))
FINDINGS = st.builds(
    Finding,
    subject=st.builds(Subject, st.sampled_from(KINDS), st.sampled_from([None, "place"]), NAMES),
    on=st.booleans(),
    priority=st.sampled_from(["low", "medium", "high", "highest"]),
    level=st.sampled_from(["high", "urgent", "low", "overdue", "leave", "evacuate", "unwatched_hot"]),
    rank=st.integers(0, 3),
    value=NUMBERS,
    unit=st.sampled_from([None, "Cel", "ppm", "%RH"]),
    limit=NUMBERS,
    measured_at_ms=TIMES,
    since_ms=TIMES,
    trend_per_h=NUMBERS,
    next_limit=NUMBERS,
    next_at_ms=TIMES,
    hottest_probe=NAMES,
    piece=NAMES,
    day=st.one_of(st.none(), st.integers(-5, 10**6)),
    last_turned_ms=TIMES,
    wanted_by_ms=TIMES,
    detail=st.text(max_size=100),
    inside=st.sampled_from([(), ("ada",), ("ada", "ben"), ("zoe", "ada", "ben")]),
    room_c=st.sampled_from([None, None, 20.5, -3.5]),
    air=st.sampled_from(["", "CO2 6,200 ppm: stay out", "Air unknown, hand meter only",
                         "CO2 812 ppm, shut 5,000 in 30 min"]),
)  # fmt: skip


def _site(place: str, person: str) -> Site:
    probe = Probe("p", "place", "co", "ppm", "t", 60.0)
    return Site(
        "q", place, "Asia/Kathmandu", places=(Place("place", "bed", place),), probes=(probe,),
        people=(Person("ada", person, "maltster"),),
    )  # fmt: skip


def _hold(said: wording.Words) -> None:
    cost, title = gsm.septets(said.text), gsm.septets(said.title)
    assert cost is not None
    assert title is not None
    assert 0 < cost <= 160
    assert 0 < title <= 40
    lower = f" {said.title} {said.text} ".lower()
    for word in FORBIDDEN:
        assert not any(f"{before}{word}{after}" in lower for before in ' ."(' for after in " .,:;)"), word


@given(FINDINGS, st.text(max_size=60), st.integers(101, 9_999_999), st.integers(1, 999_999_999))
def test_any_message_is_short_sendable_and_well_spoken(
    finding: Finding, name: str, alarm: int, notice: int
) -> None:
    names = (name, finding.piece, finding.subject.probe, finding.hottest_probe)
    assume(not any(NEVER.search(gsm.sendable(one or "")) for one in names))
    site = _site(name, name)
    call = wording.call(finding, site, NIGHT_MS, alarm, notice)
    _hold(call)
    assert call.text.endswith(f" ({notice})")
    assert str(alarm) in call.text
    for cleared in (None, NIGHT_MS - HOUR):
        ended = wording.over(finding, site, NIGHT_MS, alarm, notice, cleared)
        _hold(ended)
        assert ended.text.endswith(f" ({notice})")
    _hold(wording.test(site, "ada", notice))


ACTIONS = {
    "bed_hot": "Check room air, open shutters, turn.",
    "bed_unwatched": "Take hand thermometer, put probe back.",
    "kiln_hot": "Damp fire, keep draught on. Stay off kiln floor.",
    "turn_overdue": "Air the room, then turn.",
    "gas_high": "Do not go in, even to help.",
}


@pytest.mark.parametrize("kind", ACTIONS)
@given(finding=FINDINGS, name=st.text("ABCDEFGHIJ ", min_size=1, max_size=60))
def test_value_limit_and_what_to_do_first_are_never_given_up(kind: str, finding: Finding, name: str) -> None:
    subject, warm = Subject(kind, "place"), kind == "bed_hot" and finding.room_c is not None
    found = replace(finding, subject=subject, value=23.4, limit=21.5, unit="Cel", air="")
    said = wording.call(found, _site(name, name), NIGHT_MS, 99_999, 9_999_999).text
    action = f"Check room air, open shutters, thin it: room {finding.room_c} C." if warm else ACTIONS[kind]
    if kind == "bed_unwatched" and finding.level == "unwatched_hot":
        action = "Take hand thermometer, record it."
    assert action in said
    assert "23.4 C" in said
    assert ", limit 21.5" in said or kind not in ("bed_hot", "kiln_hot")


@pytest.mark.parametrize("kind", ["bed_hot", "bed_unwatched", "turn_overdue"])
@given(finding=FINDINGS, name=st.text("ABCDEFGHIJ ", min_size=1, max_size=10))
def test_that_nobody_watches_the_air_is_said_where_somebody_is_sent(
    kind: str, finding: Finding, name: str
) -> None:
    air = "No gas watch, hand meter"
    found = replace(
        finding, subject=Subject(kind, "place"), value=23.4, limit=21.5, unit="Cel", air=air, piece="14"
    )
    said = wording.call(found, _site(name, name), NIGHT_MS, 412, 99).text
    assert "No gas watch" in said
    assert "23.4 C" in said


@given(st.lists(FINDINGS, max_size=30), st.integers(1, 999_999_999))
def test_any_morning_list_is_short_and_says_how_many(findings: list[Finding], notice: int) -> None:
    names = [one for found in findings for one in (found.piece, found.subject.probe, found.hottest_probe)]
    assume(not any(NEVER.search(gsm.sendable(one or "")) for one in names))
    lines = [wording.Line(101 + at, found, at % 4) for at, found in enumerate(findings)]
    said = wording.morning(lines, _site("Bed C", "Ada"), NIGHT_MS, notice)
    _hold(said)
    assert f"MORNING LIST, {len(lines)} to look at" in said.text


def test_the_morning_list_names_the_gravest_first() -> None:
    lines = [wording.Line(101, COLD, 0), wording.Line(102, URGENT, 2)]
    assert wording.morning(lines, SITE, NIGHT_MS, 9).text == (
        "MORNING LIST, 2 to look at: 102 PIECE 14 VERY HOT, Bed C; 101 PIECE 14 COLD, Bed A. (9)"
    )


def test_every_state_has_words_and_none_of_them_is_the_standards() -> None:
    assert set(STATES) == {state.value for state in State}
    for said in STATES.values():
        assert not NEVER.search(said)
        assert "acknowledged" not in said
    assert STATES["returned_unacknowledged"] == "went off by itself, nobody answered"
    for latched in ("latched_unacknowledged", "latched_acknowledged"):
        assert STATES[latched].startswith("reading down, "), "gas never goes off by itself"


def test_what_is_wrong_has_short_words_and_only_of_kinds_that_are() -> None:
    assert set(WRONG) <= set(CALLS)
    assert not any(NEVER.search(said) for said in WRONG.values())


def test_every_kind_has_a_sheet_with_every_line_filled() -> None:
    assert set(wording.SHEETS) == set(CALLS)
    for kind in CALLS:
        assert all(line.strip() for line in wording.sheet(kind))
        assert not any(NEVER.search(line) for line in wording.sheet(kind))
