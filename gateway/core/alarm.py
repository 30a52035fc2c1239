"""The states of an alarm and the table that moves it, and nothing else.

Two rules: every move of every alarm stands in the grid below; this file knows neither beds nor phones.

Theory of operation, after ISA-18.2 / IEC 62682. An alarm is a condition that wants an answer. *Normal*: the
condition is false. *Unacknowledged*: true, and nobody has answered. *Acknowledged*: true and answered.
*Returned*: false again, and nobody answered while it held. A latching alarm does not return by itself: it
goes to one of the two *latched* states and waits there for a reset, which must not come before the answer.
Whether the condition is true can therefore be read off the state.

Guards are turned into signals before the table is asked: a latching kind whose condition ends sends LATCH
where another sends CLEAR; a level above the one standing sends RISE where the same level sends RAISE.

Three flags lie over the states: *shelved* (a person, for a time), *suppressed* (by the plant's logic), *out
of service* (taken out by hand). The state goes on being judged below them, but nothing is announced while
any is set. Where the last flag goes, the alarm re-enters: true becomes unacknowledged and is announced as
if new, false becomes normal. A latched alarm stays latched through it: a shelf is no way round a reset.
RISE takes the alarm off the shelf: what was put aside was the lower level.
"""

from __future__ import annotations

from enum import Enum, StrEnum
from typing import NamedTuple


class State(StrEnum):
    """Where an alarm stands; the values are those of the record and of JSON."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned_unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched_unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched_acknowledged"


class Flag(StrEnum):
    """What keeps an alarm from being announced, over any state."""

    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out_of_service"


class Signal(StrEnum):
    """What can happen to an alarm."""

    RAISE = "raise"
    CLEAR = "clear"
    LATCH = "latch"
    ANSWER = "answer"
    RESET = "reset"
    REALARM = "realarm"
    RISE = "rise"
    LAPSE = "lapse"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SUPPRESS = "suppress"
    UNSUPPRESS = "unsuppress"
    REMOVE = "remove"
    RESTORE = "restore"


class Outcome(Enum):
    """What the table says to a signal."""

    MOVED = "moved"
    NO_CHANGE = "no change"
    REFUSED = "refused"


class Cell(NamedTuple):
    """One cell: the new state (None where it stays), and whether it is announced."""

    outcome: Outcome
    to: State | None
    announces: bool


class Row(NamedTuple):
    """One signal: the flag it sets or takes away, and its cell for each state."""

    sets: Flag | None
    lifts: Flag | None
    cells: dict[State, Cell]


class Move(NamedTuple):
    """The answer to a signal: state and flags as they are now, what was said, whether to announce."""

    state: State
    flags: frozenset[Flag]
    outcome: Outcome
    announces: bool


# U A R N LU LA: the new state; "!" announces; "=" no change; "x" refused. A row that lifts a flag holds
# only where that flag was the last one; RISE holds always.
_GRID = """
signal      flag             normal  unack  acked  returned  latched-unack  latched-acked
raise       .                U!      =      =      U!        U!             U!
clear       .                =       R      N      =         =              =
latch       .                =       LU     LA     =         =              =
answer      .                x       A      =      N         LA             =
reset       .                =       x      x      =         x              N
realarm     .                =       U!     U!     =         =              =
rise        -shelved         U!      U!     U!     U!        U!             U!
lapse       .                =       =      =      N         =              =
shelve      +shelved         =       =      =      =         =              =
unshelve    -shelved         =       U!     U!     N         LU!            =
suppress    +suppressed      =       =      =      =         =              =
unsuppress  -suppressed      =       U!     U!     N         LU!            =
remove      +out_of_service  =       =      =      =         =              =
restore     -out_of_service  =       U!     U!     N         LU!            =
"""
_LETTERS = dict(zip(("N", "U", "A", "R", "LU", "LA"), State, strict=True))


def _cell(word: str) -> Cell:
    if word == "=":
        return Cell(Outcome.NO_CHANGE, None, announces=False)
    if word == "x":
        return Cell(Outcome.REFUSED, None, announces=False)
    return Cell(Outcome.MOVED, _LETTERS[word.rstrip("!")], announces=word.endswith("!"))


def _row(flag: str, words: list[str]) -> Row:
    named = None if flag == "." else Flag(flag[1:])
    cells = dict(zip(State, map(_cell, words), strict=True))
    return Row(named if flag[0] == "+" else None, named if flag[0] == "-" else None, cells)


def _read(grid: str) -> dict[Signal, Row]:
    lines = [line.split() for line in grid.strip().splitlines()[1:]]
    return {Signal(name): _row(flag, words) for name, flag, *words in lines}


#: Every cell of signal x state.
TABLE: dict[Signal, Row] = _read(_GRID)


def is_true(state: State) -> bool:
    """Whether the condition holds in this state."""
    return state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)


def wants_answer(state: State) -> bool:
    """Whether the alarm is announced again and again in this state until somebody answers."""
    return state in (State.UNACKNOWLEDGED, State.LATCHED_UNACKNOWLEDGED)


def move(state: State, flags: frozenset[Flag], signal: Signal) -> Move:
    """Where a signal takes an alarm; state and flags come back unchanged where it does nothing."""
    row = TABLE[signal]
    cell = row.cells[state]
    after = (flags | {row.sets}) if row.sets else flags - {row.lifts}
    reenters_not = row.lifts is not None and signal is not Signal.RISE and (after == flags or after)
    if cell.to is None or reenters_not:
        outcome = Outcome.MOVED if after != flags else Outcome.NO_CHANGE
        return Move(state, after, cell.outcome if cell.outcome is Outcome.REFUSED else outcome, False)
    return Move(cell.to, after, cell.outcome, cell.announces and not after)


def markdown() -> str:
    """The table as people read it: a signal a line, a state a column, `!` where it is announced."""
    head = ["signal", "flag", *(state.value for state in State)]
    lines = ["| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |"]
    for signal, row in TABLE.items():
        flag = f"sets {row.sets}" if row.sets else f"lifts {row.lifts}" if row.lifts else ""
        lines.append("| " + " | ".join([signal, flag, *(_say(cell) for cell in row.cells.values())]) + " |")
    return "\n".join(lines) + "\n"


def _say(cell: Cell) -> str:
    return cell.outcome.value if cell.to is None else cell.to.value + ("!" if cell.announces else "")
