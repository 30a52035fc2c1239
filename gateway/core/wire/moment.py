"""A probe's own time, as a number (Unix) or as text (RFC 3339), to Unix milliseconds."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime, timedelta
from typing import Any

from gateway.core.reading import Reason
from gateway.core.wire.refusal import Refusal

#: From here up a number counts milliseconds (contract C3); as seconds it would be the year 5138.
MILLISECONDS_FROM = 1e11
#: 10000-01-01: a time from here on is no time, whatever the gateway's clock says.
END_MS = 253_402_300_800_000

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MS = timedelta(milliseconds=1)
# RFC 3339 §5.6; T and Z may be small, and a blank may stand for T.
_TEXT = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d{1,12}))?"
    r"(?:([Zz])|([+-])(\d\d):(\d\d))?\Z",
    re.ASCII,
)
EXPECTED = "expected Unix seconds, or RFC 3339 with an offset"


def moment_ms(value: Any) -> int:
    """Unix ms of a time as a probe sends it; parts of a millisecond are rounded (numbers) or cut (text).

    Raises Refusal: BAD_TIME, or NO_OFFSET for a text that does not say which zone it is in.
    """
    if type(value) is int or type(value) is float:
        return _number(value)
    if type(value) is str:
        return _text(value)
    raise Refusal(Reason.BAD_TIME, f"got a {type(value).__name__}; {EXPECTED}")


def _number(value: float) -> int:
    if not abs(value) < END_MS:
        raise Refusal(Reason.BAD_TIME, f"got {_short(value)}; {EXPECTED}")
    ms = value if value >= MILLISECONDS_FROM else value * 1000
    if type(ms) is int:
        return ms
    return math.floor(ms + 0.5)


def _text(value: str) -> int:
    found = _TEXT.match(value)
    if found is None:
        raise Refusal(Reason.BAD_TIME, f"got {_short(value)}; {EXPECTED}")
    *clock, part, zulu, sign, hours, minutes = found.groups()
    if zulu is None and sign is None:
        raise Refusal(Reason.NO_OFFSET, f"got {_short(value)}; add Z or an offset such as +01:00")
    year, month, day, hour, minute, second = map(int, clock)
    # A leap second is the last of its minute; the calendar here has none and counts it into the next.
    leap = second == 60
    try:
        when = datetime(year, month, day, hour, minute, 59 if leap else second, tzinfo=UTC)
    except ValueError as fault:
        raise Refusal(Reason.BAD_TIME, f"got {_short(value)}: {fault}; {EXPECTED}") from None
    ms = (when - _EPOCH) // _MS + int(f"{part or '':0<3}"[:3]) + 1000 * leap
    return ms - _offset_ms(value, sign, hours, minutes)


def _offset_ms(text: str, sign: str | None, hours: str | None, minutes: str | None) -> int:
    if sign is None or hours is None or minutes is None:
        return 0
    if int(hours) > 23 or int(minutes) > 59:
        raise Refusal(Reason.BAD_TIME, f"got {_short(text)}: no such offset; {EXPECTED}")
    ms = (int(hours) * 60 + int(minutes)) * 60_000
    return -ms if sign == "-" else ms


def _short(value: float | str) -> str:
    if type(value) is int and abs(value) > END_MS:
        return "a number too large"
    return repr(value)[:60]
