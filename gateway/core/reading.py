"""What was measured, and what was refused: the two things a message can become.

Both are tuples, not dataclasses: they are made once for every message, and a tuple costs a third.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

#: Flags of a reading; they are added together in `Reading.flags`.
OWN_TIME = 1  #: the probe sent the time itself; without it the gateway's time of arrival stands
RETAINED = 2  #: kept by the broker from before; it is old by nature
RANGE_HIGH = 4  #: at or beyond the upper end of the instrument: the truth is at least this
RANGE_LOW = 8  #: at or beyond the lower end of the instrument
CLOCK_UNSURE = 16  #: lies in the future while the gateway's own clock is not trusted


class Reading(NamedTuple):
    """One measurement, in the fixed unit of its quantity, as sent: calibration is applied when judging."""

    probe: str
    measured_at_ms: int
    value: float
    flags: int = 0
    sequence: int | None = None
    battery: float | None = None


class Reason(StrEnum):
    """Why a message, or a part of it, was not taken."""

    UNKNOWN_TOPIC = "unknown_topic"
    TOO_LONG = "too_long"
    NOT_A_NUMBER = "not_a_number"
    NOT_FINITE = "not_finite"
    NOT_JSON = "not_json"
    NO_VALUE = "no_value"
    BAD_TIME = "bad_time"
    NO_OFFSET = "no_offset"
    FUTURE = "future"
    TOO_OLD = "too_old"
    IMPLAUSIBLE = "implausible"
    CONFLICT = "conflict"
    RETAINED_WITHOUT_TIME = "retained_without_time"
    EMPTY = "empty"


class Rejected(NamedTuple):
    """A message kept aside: the topic, the first 256 bytes, why, and what was expected."""

    topic: str
    payload: bytes
    reason: Reason
    detail: str
    probe: str | None = None
