"""A turn recorded and a turn seen, joined or kept apart."""

from dataclasses import replace

from gateway.core.estimate.turn_seen.detect import TurnSeen
from gateway.core.estimate.turn_seen.merge import Merged, Recorded, merge

HOUR = 3_600_000
NOON = 1_764_000_000_000
SEEN = TurnSeen(
    "bed-a",
    7,
    "turned",
    "seen",
    NOON,
    NOON + HOUR // 2,
    NOON + HOUR // 2,
    0.0,
    10.0,
    0.8,
    1.5,
    2.0,
    0.2,
    ("p",),
)


def test_one_turn_told_twice_is_one() -> None:
    for when in (NOON - HOUR, NOON + HOUR // 4, NOON + HOUR):
        assert merge([Recorded(1, when)], [SEEN], NOON + 9 * HOUR) == [Merged("both", "kept", 1, 7)]


def test_the_probes_did_not_show_it_only_once_they_could_have() -> None:
    early, late = NOON + HOUR // 2, NOON + 2 * HOUR
    assert merge([Recorded(1, NOON)], [], early) == [Merged("recorded", "waiting", 1, None)]
    assert merge([Recorded(1, NOON)], [], late) == [Merged("recorded", "probes did not show it", 1, None)]
    assert merge([Recorded(1, NOON)], [], late, watched=False) == [Merged("recorded", "kept", 1, None)]


def test_one_that_nobody_recorded_asks() -> None:
    assert merge([], [SEEN], NOON) == [Merged("seen", "nobody recorded it", None, 7)]
    unsure = replace(SEEN, kind="perhaps", sureness=0.4)
    assert merge([], [unsure], NOON) == [Merged("seen", "perhaps", None, 7)]


def test_withdrawn_ones_and_ploughings_are_no_turns() -> None:
    assert merge([], [replace(SEEN, state="withdrawn"), replace(SEEN, kind="ploughed")], NOON) == []


def test_the_other_half_of_the_bed_is_another_turn() -> None:
    half = replace(SEEN, to_m=5.0)
    merged = merge([Recorded(1, NOON, 6.0, 10.0)], [half], NOON + 9 * HOUR)
    assert [one.source for one in merged] == ["recorded", "seen"]
    assert merge([Recorded(1, NOON, 10.0, 4.0)], [half], NOON + 9 * HOUR) == [Merged("both", "kept", 1, 7)]


def test_each_is_joined_once_and_to_the_nearest() -> None:
    later = replace(SEEN, turn=8, began_ms=NOON + 2 * HOUR, ended_ms=NOON + 2 * HOUR)
    recorded = [Recorded(1, NOON + 2 * HOUR), Recorded(2, NOON + HOUR)]
    merged = merge(recorded, [SEEN, later], NOON + 9 * HOUR)
    assert merged == [Merged("both", "kept", 1, 8), Merged("both", "kept", 2, 7)]
    assert merge(recorded, [later], NOON + 9 * HOUR)[1].state == "probes did not show it"
