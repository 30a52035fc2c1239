"""What the week's counting calls a call in time: no alarm that stood, no probe that said nothing."""

from typing import Any

import pytest

from gateway.core.effects import AlarmChange, Change, Effect, Notice
from gateway.core.moment import rfc3339
from tests.scenarios.floor import MINUTE, ms
from tests.scenarios.week import START, Week
from tests.scenarios.week_sums import sums

T0 = ms(START)
BED, PROBE = "bed-c", "bed-c-low"


def _change(
    minute: int, signal: str, cleared: int | None = None, kind: str = "bed_hot", level: str = "high"
) -> tuple[int, Effect]:
    at_ms = T0 + minute * MINUTE
    ended = None if cleared is None else T0 + cleared * MINUTE
    change = Change(at_ms, "", "", signal)
    return at_ms, AlarmChange(
        (at_ms, 0), 400, 1, kind, BED, None, "medium", level, "", 22.0, "Cel", 22.0, at_ms, at_ms,
        ended, False, None, None, change,
    )  # fmt: skip


def _call(minute: int, kind: str = "call") -> tuple[int, Effect]:
    at_ms = T0 + minute * MINUTE
    return at_ms, Notice((at_ms, 1), 7, 400, 1, "ada", "ada-1", kind, "medium", BED, "", "", False, at_ms)


def _week(
    effects: list[tuple[int, Effect]], reads_low_k: float = 0.0, silent: tuple[int, int] = (0, 0)
) -> Week:
    """Twelve hours; from the second on an hour and a half over the limit, at one probe."""
    week = Week(T0, T0 + 720 * MINUTE)
    for minute in range(1, 720):
        at, true_c = rfc3339(T0 + minute * MINUTE), 22.2 if 120 <= minute < 210 else 20.0
        said: dict[str, Any] = {"kind": "temperature", "at": at, "place": BED, "probe": PROBE}
        week.truth.append(said | {"value_c": true_c, "in_place": True})
        if not silent[0] <= minute < silent[1]:
            row = {"at": at, "kind": "reading", "probe": PROBE, "measured_at": at}
            week.inputs.append(row | {"value": round(true_c - reads_low_k, 1)})
    week.effects = effects
    return week


def _counted(week: Week) -> tuple[int, int, int, int]:
    found = sums(week)
    assert found.highs == 1
    return found.highs_called, found.highs_stood, len(found.missed), len(found.failed)


def test_a_phone_that_rings_within_half_an_hour_is_a_call_in_time() -> None:
    assert _counted(_week([_change(131, "raise"), _call(131)])) == (1, 0, 0, 0)


def test_an_alarm_without_a_ring_is_no_call() -> None:
    assert _counted(_week([_change(131, "raise")])) == (0, 0, 1, 1)
    assert _counted(_week([_change(10, "raise")])) == (0, 0, 1, 1)


def test_an_alarm_that_stood_and_was_answered_is_counted_by_itself() -> None:
    assert _counted(_week([_change(10, "raise"), _call(10), _change(20, "answer")])) == (0, 1, 0, 0)


def test_an_alarm_that_ended_long_before_is_no_call_though_the_morning_list_names_it_later() -> None:
    earlier = [_change(10, "raise"), _call(10), _change(40, "clear", 40), _change(300, "lapse", 40)]
    assert _counted(_week(earlier)) == (0, 0, 1, 1)


def test_a_bed_called_as_not_being_watched_is_counted_by_itself_and_only_where_nothing_was_heard() -> None:
    told = [_change(130, "raise", kind="bed_unwatched", level="unwatched_hot"), _call(130)]
    unheard, heard = sums(_week(told, silent=(110, 170))), sums(_week(told))
    assert (unheard.highs_called, unheard.highs_blind, len(unheard.missed)) == (0, 1, 0)
    assert (unheard.unseen_alarms, unheard.needless_unseen) == (1, [])
    assert (heard.highs_blind, len(heard.missed), len(heard.failed)) == (0, 1, 1)
    early = [_change(40, "raise", kind="bed_unwatched", level="unwatched_hot"), _call(40)]
    found = sums(_week(early, silent=(30, 170)))
    assert (found.highs_blind, len(found.missed), found.needless_unseen) == (0, 1, ["bed-c at 0.7 h"])


def test_heat_that_was_heard_and_called_nobody_is_the_gateways_fault() -> None:
    week = _week([])
    assert _counted(week) == (0, 0, 1, 1)
    assert (
        "nobody was rung; 31 readings heard in 30 min, at most 22.2 C, 24 min on end over it"
        in sums(week).missed[0]
    )


@pytest.mark.parametrize(
    ("reads_low_k", "silent", "said"),
    [
        (0.3, (0, 0), "31 readings heard in 30 min, at most 21.9 C, 0 min on end over it"),
        (0.0, (125, 170), "5 readings heard in 30 min, at most 22.2 C, 4 min on end over it"),
        (0.0, (110, 170), "0 readings heard in 30 min, 0 min on end over it"),
    ],
)
def test_a_probe_that_reads_low_or_says_nothing_makes_a_miss_and_is_named_as_its_cause(
    reads_low_k: float, silent: tuple[int, int], said: str
) -> None:
    week = _week([_change(171, "raise"), _call(171)], reads_low_k, silent)
    assert _counted(week) == (0, 0, 1, 0)
    found = sums(week).missed[0]
    assert "rung 51 min after it began" in found
    assert said in found


def test_the_on_delay_must_be_full_in_what_was_heard_before_the_gateway_is_blamed() -> None:
    assert _counted(_week([], silent=(131, 215))) == (0, 0, 1, 1)
    assert _counted(_week([], silent=(130, 215))) == (0, 0, 1, 0)
