"""The state table: every cell of state x signal, and the flags over it."""

from itertools import chain, combinations

import pytest

from gateway.core import alarm
from gateway.core.alarm import Flag, Outcome, Signal, State, move

N, U, A, R, LU, LA = State
X = Outcome.REFUSED
Expected = State | Outcome | tuple[State, str] | None

# Written a second time, from ISA-18.2 / IEC 62682 as the OPC UA alarm model quotes them (Part 9, 4.8, 5.8.2,
# 5.8.17, B.1.5; the core moves from memory) and from two choices of ours: RISE ends a shelf, and LAPSE.
# (state, "!") is announced, None is no change.
CELLS: dict[Signal, list[Expected]] = {
    Signal.RAISE: [(U, "!"), None, None, (U, "!"), (U, "!"), (U, "!")],
    Signal.CLEAR: [None, R, N, None, None, None],
    Signal.LATCH: [None, LU, LA, None, None, None],
    Signal.ANSWER: [X, A, None, N, LA, None],
    Signal.RESET: [None, X, X, None, X, N],
    Signal.REALARM: [None, (U, "!"), (U, "!"), None, None, None],
    Signal.RISE: [(U, "!")] * 6,
    Signal.LAPSE: [None, None, None, N, None, None],
}
SETS = {Signal.SHELVE: Flag.SHELVED, Signal.SUPPRESS: Flag.SUPPRESSED, Signal.REMOVE: Flag.OUT_OF_SERVICE}
LIFTS = {
    Signal.UNSHELVE: Flag.SHELVED,
    Signal.UNSUPPRESS: Flag.SUPPRESSED,
    Signal.RESTORE: Flag.OUT_OF_SERVICE,
}
REENTRY: list[Expected] = [None, (U, "!"), (U, "!"), N, (LU, "!"), None]
SUBSETS = [
    frozenset(some) for some in chain.from_iterable(combinations(Flag, size) for size in range(len(Flag) + 1))
]


def _expect(cell: Expected, state: State) -> tuple[State, Outcome, bool]:
    if cell is None or cell is X:
        return state, Outcome.NO_CHANGE if cell is None else X, False
    if isinstance(cell, tuple):
        return cell[0], Outcome.MOVED, True
    assert isinstance(cell, State)
    return cell, Outcome.MOVED, False


def test_the_table_has_every_cell() -> None:
    assert set(alarm.TABLE) == set(Signal)
    assert all(set(row.cells) == set(State) for row in alarm.TABLE.values())
    assert set(CELLS) | set(SETS) | set(LIFTS) == set(Signal)


@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("signal", CELLS)
def test_a_signal_moves_the_state(signal: Signal, state: State) -> None:
    to, outcome, announces = _expect(CELLS[signal][list(State).index(state)], state)
    assert move(state, frozenset(), signal) == (to, frozenset(), outcome, announces)


@pytest.mark.parametrize("flags", SUBSETS[1:])
@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("signal", CELLS)
def test_below_a_flag_the_state_moves_and_nothing_is_announced(
    signal: Signal, state: State, flags: frozenset[Flag]
) -> None:
    plain = move(state, frozenset(), signal)
    after = flags - {Flag.SHELVED} if signal is Signal.RISE else flags
    below = move(state, flags, signal)
    assert (below.state, below.flags) == (plain.state, after)
    assert below.announces == (plain.announces and not after)


@pytest.mark.parametrize("flags", SUBSETS)
@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("signal", SETS)
def test_a_flag_is_set_over_any_state(signal: Signal, state: State, flags: frozenset[Flag]) -> None:
    done = move(state, flags, signal)
    assert (done.state, done.flags, done.announces) == (state, flags | {SETS[signal]}, False)
    assert done.outcome is (Outcome.NO_CHANGE if SETS[signal] in flags else Outcome.MOVED)


@pytest.mark.parametrize("flags", SUBSETS)
@pytest.mark.parametrize("state", State)
@pytest.mark.parametrize("signal", LIFTS)
def test_where_the_last_flag_goes_the_alarm_re_enters(
    signal: Signal, state: State, flags: frozenset[Flag]
) -> None:
    done = move(state, flags, signal)
    assert done.flags == flags - {LIFTS[signal]}
    if flags == {LIFTS[signal]}:
        to, _, announces = _expect(REENTRY[list(State).index(state)], state)
        assert (done.state, done.announces) == (to, announces)
    else:
        assert (done.state, done.announces) == (state, False)
    assert done.outcome is (Outcome.MOVED if LIFTS[signal] in flags else Outcome.NO_CHANGE)


def test_a_refused_signal_leaves_everything_as_it_was() -> None:
    for state in State:
        for signal in Signal:
            done = move(state, frozenset({Flag.SUPPRESSED}), signal)
            if done.outcome is Outcome.REFUSED:
                assert (done.state, done.flags) == (state, {Flag.SUPPRESSED})


def test_a_latched_alarm_is_left_by_answer_and_then_reset_only() -> None:
    for signal in set(Signal) - {Signal.RAISE, Signal.RISE}:
        assert move(LU, frozenset(), signal).state in (LU, LA)
        assert move(LA, frozenset(), signal).state is (N if signal is Signal.RESET else LA)


def test_the_condition_can_be_read_off_the_state() -> None:
    assert [state for state in State if alarm.is_true(state)] == [U, A]
    assert [state for state in State if alarm.wants_answer(state)] == [U, LU]


def test_the_table_for_people_has_a_line_for_each_signal() -> None:
    lines = alarm.markdown().splitlines()
    assert [line.split("|")[1].strip() for line in lines[2:]] == [signal.value for signal in Signal]
    assert lines[2].split("|")[3].strip() == "unacknowledged!"
    assert lines[6].count("refused") == 3
