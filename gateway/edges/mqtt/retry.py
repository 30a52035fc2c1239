"""When to connect again, in which version, and whether somebody else uses our name. Only decides."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import NamedTuple

from paho.mqtt.enums import MQTTProtocolVersion

from gateway.edges.mqtt.link import V5, V311

FIRST_S, LONGEST_S = 1.0, 60.0
#: A connection that lasted this long was a good one: the next wait is short again.
GOOD_S = 30.0
#: MQTT 5 has a word for being thrown out, but mosquitto 2.0.11 does not say it: so many short connections
#: within so long tell it too.
TWIN_TIMES, TWIN_SHORT_S, TWIN_WITHIN_S = 3, 15.0, 60.0
#: This long unchallenged, and the twin is gone.
TWIN_GONE_S = 300.0
#: A version that was accepted before is given up only after so many silent attempts.
PROVEN_TRIES = 10


class End(NamedTuple):
    """How a connection ended. `lasted_s` is None if the broker never let us in; `reached`: TCP came about."""

    at_s: float
    lasted_s: float | None
    reached: bool = True
    taken_over: bool = False
    unsupported: bool = False
    refused: bool = False
    by_us: bool = False


class Retry:
    """Fed with what happened, asked what to do. `draw` gives numbers in [0, 1) for the jitter."""

    def __init__(self, protocol: str, draw: Callable[[], float]) -> None:
        self.version: MQTTProtocolVersion = V311 if protocol == "3.1.1" else V5
        self.twin = False
        self._auto = protocol == "auto"
        self._draw = draw
        self._next_s = FIRST_S
        self._proven: MQTTProtocolVersion | None = None
        self._silent = 0
        self._short: deque[float] = deque(maxlen=TWIN_TIMES)

    def accepted(self) -> None:
        """The broker let us in."""
        self._proven = self.version
        self._silent = 0

    def after(self, end: End) -> float:
        """Seconds to wait before the next attempt."""
        if end.lasted_s is None:
            self._choose_version(end)
        elif end.lasted_s >= GOOD_S:
            self._next_s = FIRST_S
        self._look_for_twin(end)
        if self.twin:
            return LONGEST_S * (1 + self._draw())
        wait_s = self._next_s
        self._next_s = min(LONGEST_S, wait_s * 2)
        return wait_s * (0.5 + self._draw() / 2)

    def calm(self, connected_s: float) -> bool:
        """Whether a twin that was there has been gone long enough; if so it is forgotten."""
        if self.twin and connected_s >= TWIN_GONE_S:
            self.twin = False
            self._short.clear()
            return True
        return False

    def _choose_version(self, end: End) -> None:
        if not self._auto or not end.reached or (end.refused and not end.unsupported):
            return
        self._silent += 1
        if end.unsupported or self._proven != self.version or self._silent >= PROVEN_TRIES:
            self.version = V311 if self.version == V5 else V5
            self._silent = 0
            self._next_s = FIRST_S

    def _look_for_twin(self, end: End) -> None:
        if end.taken_over:
            self.twin = True
        if end.by_us or end.lasted_s is None or end.lasted_s > TWIN_SHORT_S:
            return
        self._short.append(end.at_s)
        if len(self._short) == TWIN_TIMES and end.at_s - self._short[0] <= TWIN_WITHIN_S:
            self.twin = True
