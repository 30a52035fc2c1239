"""The only clock: the machine's, a scaled one for demonstrations, and one that is set by messages."""

from __future__ import annotations

import ctypes
import threading
import time
from collections.abc import Callable
from pathlib import Path

#: systemd's time service leaves this mark once the clock was set from the network since the machine started.
SYNCHRONIZED = Path("/run/systemd/timesync/synchronized")
_TIME_ERROR = 5  # adjtimex(2): the kernel has not been told that the clock is right
_TIMEX_ROOM = 512  # struct timex is about 200 bytes; the call writes no more than that

#: A new store of the topic clock begins here (2001-09-09T01:46:40Z): running times exceed journal numbers.
TOPIC_BEGIN_MS = 10**12


def real_wall_ms() -> int:
    """Unix ms by the machine's clock, whatever clock the gateway lives by (links, signatures, back-off)."""
    return time.time_ns() // 1_000_000


def real_mono_ms() -> int:
    """Milliseconds that only grow, at real speed."""
    return time.monotonic_ns() // 1_000_000


def real_mono_s() -> float:
    """Seconds that only grow, at real speed."""
    return time.monotonic()


def kernel_says_set() -> bool:
    """Whether any time service has told the kernel that the clock is right (Linux; False where unknown)."""
    try:
        result = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.create_string_buffer(_TIMEX_ROOM))
    except (OSError, AttributeError):
        return False
    return 0 <= int(result) < _TIME_ERROR


class WallClock:
    """The machine's clock. `always_trusted` is for machines that keep good time with no time service."""

    def __init__(self, *, always_trusted: bool = False, mark: Path = SYNCHRONIZED) -> None:
        self._always = always_trusted
        self._mark = mark
        self._set = False

    def wall_ms(self) -> int:
        """Unix ms."""
        return real_wall_ms()

    def mono_ms(self) -> int:
        """Milliseconds that only grow."""
        return real_mono_ms()

    def trusted(self) -> bool:
        """Set from outside since the machine started; once so, it stays so."""
        self._set = self._set or self._always or self._mark.exists() or kernel_says_set()
        return self._set


class ScaledClock:
    """`epoch_ms` + speed x (wall - `started_ms`): a simulator given the same three computes the same time."""

    def __init__(
        self,
        speed: float,
        epoch_ms: int,
        started_ms: int,
        wall: Callable[[], int] = real_wall_ms,
        mono: Callable[[], int] = real_mono_ms,
    ) -> None:
        if not 0 < speed <= 100_000:
            raise ValueError(f"speed: {speed} is not above 0 and at most 100000")
        self._speed = speed
        self._epoch_ms = epoch_ms
        self._started_ms = started_ms
        self._wall = wall
        self._mono = mono

    def wall_ms(self) -> int:
        """Simulated Unix ms."""
        return self._epoch_ms + round(self._speed * (self._wall() - self._started_ms))

    def mono_ms(self) -> int:
        """Simulated milliseconds that only grow."""
        return round(self._speed * self._mono())

    def trusted(self) -> bool:
        """Always: it is what it is defined to be."""
        return True


_GRID_MS = 10_000
#: All time that passes is lived through, call by call: so much of it at once is a wrong message, not time.
MOST_AT_ONCE_MS = 366 * 24 * 3_600_000


class TopicClock:
    """Time is what clock messages say, and nothing passes between them; a backward message is refused, and
    so is one that is more than a year further than the last.

    A new store's first message sets the calendar without letting time pass; on a store that was in use
    (`resumed_ms`) the clock goes on from where it stood, because its messages waited at the broker.
    """

    def __init__(self, resumed_ms: int | None = None) -> None:
        self._lock = threading.Lock()
        self._wall_ms = resumed_ms or TOPIC_BEGIN_MS
        self._mono_ms = 0
        self._set = bool(resumed_ms)
        self.backward = 0

    def set_ms(self, at_ms: int, most_ms: int = MOST_AT_ONCE_MS) -> bool:
        """Take one clock message, going there by `most_ms` at most: told again it goes on. False where it
        would go backwards (counted) or further than a year."""
        with self._lock:
            if self._set and not 0 <= at_ms - self._wall_ms <= MOST_AT_ONCE_MS:
                self.backward += at_ms < self._wall_ms
                return False
            if self._set:
                at_ms = min(at_ms, self._wall_ms + most_ms)
            # The first message lets no time pass but what puts the ticks on the whole 10 s of its calendar.
            self._mono_ms += at_ms - self._wall_ms if self._set else at_ms % _GRID_MS
            self._wall_ms = at_ms
            self._set = True
            return True

    def wall_ms(self) -> int:
        """Unix ms of the newest clock message."""
        with self._lock:
            return self._wall_ms

    def mono_ms(self) -> int:
        """Milliseconds of clock messages since the process started."""
        with self._lock:
            return self._mono_ms

    def trusted(self) -> bool:
        """Once a message has set it."""
        with self._lock:
            return self._set
