"""The log: few, wide `key=value` lines on standard error; one a judged batch with effects, one an alarm."""

from __future__ import annotations

import logging
import sys
from collections import Counter
from collections.abc import Sequence
from typing import Any

from gateway.core import engine
from gateway.core.effects import EFFECT_KINDS, AlarmChange, Effect
from gateway.core.inputs import Entry
from gateway.core.rows import when

log = logging.getLogger("gateway")


def begin(level: str) -> None:
    """Log to standard error from here on; the service manager keeps it, and knows the time."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(levelname)s %(threadName)s %(message)s"))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level.upper())
    for noisy in ("apscheduler", "urllib3", "paho"):
        logging.getLogger(noisy).setLevel(max(logging.WARNING, root.level))


class LoggedEngine:
    """The engine, saying what it made."""

    new = staticmethod(engine.new)
    dump = staticmethod(engine.dump)
    load = staticmethod(engine.load)
    renumber = staticmethod(engine.renumber)

    def advance(self, state: Any, entries: Sequence[Entry], until_run_ms: int) -> list[Effect]:
        """As `engine.advance`."""
        effects = engine.advance(state, entries, until_run_ms)
        if effects:
            _say(state, entries, effects)
        return effects


def _say(state: Any, entries: Sequence[Entry], effects: list[Effect]) -> None:
    count = Counter(EFFECT_KINDS[type(one)] for one in effects)
    log.info(
        "judged at=%s entries=%d upto=%s alarm_changes=%d notices=%d turns=%d", when(state.at_ms),
        len(entries), entries[-1].n if entries else "-", count["alarm"], count["notice"], count["turn"],
    )  # fmt: skip
    for one in effects:
        if isinstance(one, AlarmChange):
            log.info(
                "alarm at=%s number=%d kind=%s place=%s probe=%s priority=%s level=%s %s->%s signal=%s by=%s "
                "value=%s limit=%s late=%s", when(one.change.at_ms), one.number, one.kind, one.place,
                one.probe, one.priority, one.level, one.change.from_state, one.change.to_state,
                one.change.signal, one.change.by, one.value, one.limit, one.late,
            )  # fmt: skip
