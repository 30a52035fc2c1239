"""What people ask from outside: the control socket's requests and the door's looks and answers."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from gateway.core import rows
from gateway.core.inputs import Answered
from gateway.core.site import Site
from gateway.errors import GatewayError, SettingsFault
from gateway.live.requests import Requests
from gateway.live.store import checked
from gateway.ports import Clock, Reader

log = logging.getLogger(__name__)

_NOTICES = 300
_ALARMS = 10_000
#: Shorter than a command waits (5 s), so that it hears whether its entry was kept.
ANSWER_S = 4.0


class People:
    """Answers from what is committed; hands what is asked to the writer's thread. Any thread may call it."""

    def __init__(
        self,
        site: Site,
        reader: Reader,
        requests: Requests,
        clock: Clock,
        clock_is_set: Callable[[], bool] = lambda: True,
    ) -> None:
        self._site, self._reader, self._requests, self._clock = site, reader, requests, clock
        self._clock_is_set = clock_is_set

    def control(self, request: dict[str, Any]) -> dict[str, Any]:
        """One request of the control socket: {"journal": n} or {"fault": …}; `again`: it may be retried."""
        kind = request.pop("kind", None)
        try:
            if not isinstance(kind, str):
                raise SettingsFault("kind: expected the word of what happened, such as turned")
            if not self._clock_is_set() and request.get("when_ms") is None:
                return {"fault": "no clock message has come yet: say when it was with --at", "again": True}
            event = checked(kind, request, self._clock.wall_ms(), self._reader, self._site)
            return {"journal": self._requests.record(event, ANSWER_S)}
        except SettingsFault as fault:
            return {"fault": str(fault)}
        except GatewayError as fault:
            return {"fault": str(fault), "again": True}
        except Exception as fault:
            log.exception("a request of kind %s failed", str(kind)[:40])
            return {"fault": f"the gateway failed: {fault!r}"[:500], "again": True}

    def site_is(self, site: Site) -> None:
        """From now on this site file holds."""
        self._site = site

    def site(self) -> Site:
        """The site file that holds."""
        return self._site

    def look(self, alarm: int) -> dict[str, Any] | None:
        """The row of an alarm with the words of its newest message; None where there is none."""
        found = next((one for one in self._reader.alarms(True, _ALARMS) if one.alarm.number == alarm), None)
        if found is None:
            return None
        row = rows.alarm(found.alarm, found.history)
        for line in self._reader.notices(_NOTICES):
            if line.notice.alarm == alarm:
                return row | {"title": line.notice.title, "text": line.notice.text}
        return row

    def answer(self, alarm: int, person: str, word: str) -> str:
        """Record an answer; what to tell the person once it is committed."""
        self._requests.record(Answered(alarm, word, by=person))
        callout = self._site.callout
        if word == "all-out":
            return "Noted: all out. The call ends once the reading is down; until then stay out."
        if word == "cant":
            return "Noted: you can't. The next person is being called."
        hold_s = callout.going_hold_s if word == "going" else callout.heard_hold_s
        said = "you are going" if word == "going" else "you have heard it"
        return f"Noted: {said}. No more calls for {hold_s / 60:.0f} minutes, unless it gets worse."
