"""A night at Quern Hill: heat builds, the right person is called at the right minute, somebody goes, it ends.

What is expected is worked out here from the messages and from the truth, not by the gateway's own code.
Limits, delays and steps of a call are those of the example's files (common practice, no source).
"""

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

from gateway.core.inputs import Answered
from tests.scenarios.floor import HOUR, MINUTE, Night, held_from, ms, sent_by
from tests.scenarios.gate import Gate
from tests.scenarios.story import STEP_MS, calls, only, replayed, replayed_as_inputs, show, signals
from tests.scenarios.story import story as tell

HIGH_C, URGENT_C, HOLD_MS, OFF_MS, DEADBAND_K = 22.0, 25.0, 10 * MINUTE, 10 * MINUTE, 0.5
PROBES = ("bed-c-low", "bed-c-mid", "bed-c-top")
#: How late the journal's stamp may be: the step of the story and a probe's clock, which is about 1 s off.
LATE_MS = STEP_MS + 5000


def _first_held(night: Night, limit: float) -> int:
    """When the first probe of bed C has been at or over a limit for ten minutes, by what it sent."""
    held = [
        held_from(sent_by(night.messages, f"quern-hill/bed-c/{probe}"), limit, HOLD_MS) for probe in PROBES
    ]
    return min(at_ms for at_ms in held if at_ms is not None)


def _truly_over(night: Night, limit: float) -> int:
    return min(at_ms for probe in PROBES for at_ms, value in night.true_c(probe) if value >= limit)


def test_the_call_comes_at_the_right_minute_to_the_right_people_and_ends(
    hot_night: Night, gates: Callable[..., Gate], tmp_path: Path
) -> None:
    gate = gates(hot_night.start_ms)
    story = tell(gate, hot_night)
    rung_ms, end_ms = _first_held(hot_night, HIGH_C), hot_night.start_ms + 6 * HOUR
    worse_ms = _first_held(hot_night, URGENT_C)
    answer_ms = worse_ms + 13 * MINUTE
    story.do(
        answer_ms,
        lambda gate: gate.record(
            Answered(only(gate, "bed_hot", "bed-c").line.alarm.number, "going", by="cleo")
        ),
    )
    story.until(end_ms)

    hot = only(gate, "bed_hot", "bed-c")
    assert rung_ms <= hot.raised_ms <= rung_ms + LATE_MS
    # Against the truth: off by noise, bias and rounding (0.15 K together) at 0.8 K an hour, and the lag.
    assert abs(hot.raised_ms - (_truly_over(hot_night, HIGH_C) + HOLD_MS)) < 12 * MINUTE
    assert signals(hot) == ["raise", "rise", "answer", "clear"]
    rise = hot.line.history[1]
    assert worse_ms <= rise.at_ms <= worse_ms + LATE_MS
    _high_was_called(gate, hot.raised_ms, rise.at_ms)
    _urgent_was_called(gate, rise.at_ms, answer_ms)
    _it_ended(hot_night, gate)
    compared = replayed(gate)
    show(
        f"alarms {len(gate.alarms())}, effects live = replay {compared}, "
        f"as inputs {replayed_as_inputs(gate, tmp_path)}"
    )


def _high_was_called(gate: Gate, raised_ms: int, until_ms: int) -> None:
    """Medium: the one on shift (Ben to 22:00, then Cleo and not Ben), again each 15 min."""
    rung = [one for one in calls(gate, "bed_hot", "bed-c") if one.at_ms < until_ms]
    times = sorted({one.at_ms for one in rung})
    assert times[0] == raised_ms
    assert all(0 <= b - a - 15 * MINUTE < 20_000 for a, b in pairwise(times))
    assert until_ms - times[-1] <= 15 * MINUTE
    change_ms = ms("2026-03-05T22:00:00Z")
    assert {one.person for one in rung if one.at_ms < change_ms} == {"ben"}
    assert {one.person for one in rung if one.at_ms >= change_ms} == {"cleo"}
    assert rung[0].kind == "call"
    assert {one.kind for one in rung[1:] if one.person == "ben"} == {"repeat"}
    assert rung[0].text.startswith("PIECE 14 HOT. Bed C day 3: 22.")
    assert "Last turned 09:00" in rung[0].text


def _urgent_was_called(gate: Gate, rise_ms: int, answer_ms: int) -> None:
    """High: at once, again each 5 min, one more person each 10 min, until somebody answers."""
    later = [one for one in calls(gate, "bed_hot", "bed-c") if rise_ms <= one.at_ms and one.kind != "over"]
    # A repeat of the lower level may have been due in the very same round.
    rung = [one for one in later if (one.at_ms, one.kind) != (rise_ms, "repeat")]
    times = sorted({one.at_ms for one in rung})
    assert times[0] == rise_ms
    assert [round((at_ms - rise_ms) / MINUTE) for at_ms in times] == [0, 5, 10]
    assert {one.person for one in rung if one.at_ms == times[0]} == {"ben", "cleo"}
    assert {one.person for one in rung if one.at_ms == times[2]} == {"ben", "cleo", "ada"}
    assert all(one.at_ms <= answer_ms for one in rung)
    assert all(one.text.startswith("PIECE 14 VERY HOT. Bed C day") for one in rung)
    assert all(len(one.text) <= 160 for one in rung)


def _it_ended(night: Night, gate: Gate) -> None:
    """When each probe has stood half a kelvin below for ten minutes; the word of it wakes nobody at night."""
    hot = only(gate, "bed_hot", "bed-c")
    cleared_ms = hot.line.history[-1].at_ms
    below = [
        held_from(
            [(at_ms, -value) for at_ms, value in sent_by(night.messages, f"quern-hill/bed-c/{probe}")
             if at_ms > hot.line.history[1].at_ms],
            DEADBAND_K - HIGH_C, OFF_MS,
        )
        for probe in PROBES
    ]  # fmt: skip
    assert all(below)
    expected_ms = max(at_ms for at_ms in below if at_ms)
    assert expected_ms <= cleared_ms <= expected_ms + LATE_MS
    over = [one for one in calls(gate, "bed_hot", "bed-c") if one.kind == "over"]
    assert {one.person for one in over} == {"ben", "cleo", "ada"}
    assert {one.at_ms for one in over} == {cleared_ms}
    assert all(one.silent for one in over)
    overdue = [one for one in gate.alarms() if (one.kind, one.place) == ("turn_overdue", "bed-c")]
    assert overdue[-1].raised_ms == ms("2026-03-05T21:00:00Z")
    assert signals(overdue[-1]) == ["raise", "answer", "clear"]


def test_an_answer_holds_the_calls_and_then_they_go_on(
    gates: Callable[..., Gate], tmp_path: Path, hot_night: Night
) -> None:
    """`going` holds for 45 min; nothing changed, so everybody is called again, and the next person too."""
    gate = gates(hot_night.start_ms)
    story = tell(gate, hot_night)
    rung_ms = _first_held(hot_night, HIGH_C)
    answer_ms = rung_ms + 20 * MINUTE
    story.do(
        answer_ms,
        lambda gate: gate.record(
            Answered(only(gate, "bed_hot", "bed-c").line.alarm.number, "going", by="ben")
        ),
    )
    story.until(answer_ms + 90 * MINUTE)
    hot = only(gate, "bed_hot", "bed-c")
    assert signals(hot) == ["raise", "answer", "realarm"]
    answered, again = hot.line.history[1:]
    assert 0 <= again.at_ms - answered.at_ms - 45 * MINUTE <= 10_000
    rung = [one for one in calls(gate, "bed_hot", "bed-c") if one.at_ms > answered.at_ms]
    assert min(one.at_ms for one in rung) == again.at_ms
    assert {one.person for one in rung if one.at_ms == again.at_ms} == {"ben", "cleo"}
    replayed(gate)
