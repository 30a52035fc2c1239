"""Which clock a run lives by, as asked for on the command line."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from gateway.core import moment
from gateway.edges.clock import ScaledClock, TopicClock, WallClock
from gateway.errors import SettingsFault
from gateway.ports import Clock

_SCALED = ("--speed", "--epoch", "--started")


class ClockChoice(NamedTuple):
    """`kind` is wall, scaled or topic; `speed`, `epoch_ms` and `started_ms` are the scaled clock's."""

    kind: str
    speed: float = 1.0
    epoch_ms: int = 0
    started_ms: int = 0
    always_trusted: bool = False

    @classmethod
    def of(
        cls, kind: str, speed: float | None, epoch: str | None, started: str | None, *, always_trusted: bool
    ) -> ClockChoice:
        """The choice, checked; raises SettingsFault naming the option."""
        given = dict(zip(_SCALED, (speed, epoch, started), strict=True))
        if kind != "scaled":
            odd = [name for name, value in given.items() if value is not None]
            if odd:
                raise SettingsFault(f"{', '.join(odd)}: only with --clock scaled")
            return cls(kind, always_trusted=always_trusted)
        missing = [name for name, value in given.items() if value is None]
        if missing:
            raise SettingsFault(f"--clock scaled: {', '.join(missing)} missing")
        choice = cls(kind, float(speed or 0), _moment("--epoch", epoch), _moment("--started", started))
        choice.make(None)
        return choice

    def make(self, resumed_ms: int | None) -> tuple[Clock, Callable[[int, int], bool] | None]:
        """The clock, and what sets it where messages do. `resumed_ms`: where a store in use stands."""
        if self.kind == "topic":
            topic = TopicClock(resumed_ms)
            return topic, topic.set_ms
        if self.kind == "scaled":
            try:
                return ScaledClock(self.speed, self.epoch_ms, self.started_ms), None
            except ValueError as fault:
                raise SettingsFault(f"--{fault}") from fault
        return WallClock(always_trusted=self.always_trusted), None


def _moment(option: str, text: str | None) -> int:
    try:
        return moment.parse(text or "")
    except ValueError as fault:
        raise SettingsFault(f"{option}: {fault}") from fault
