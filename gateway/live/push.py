"""Phones made on the page: kept in the store, judged as the site's own, reached through push services."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from gateway.core.inputs import Delivery, Event
from gateway.core.site import Phone, Site
from gateway.edges.phone.push import Gone, Push, checked
from gateway.edges.phone.vapid import Vapid
from gateway.errors import GatewayError
from gateway.ports import Clock, Messenger, WebLine

log = logging.getLogger(__name__)

KIND = "webpush"
_LINE = "push"
MOST_A_PERSON, MOST = 4, 100


class Keep(Protocol):
    """Where they are kept, as `gateway.web.keep.Keep`."""

    def put(self, kind: str, key: str, ends_ms: int | None, body: dict[str, Any]) -> None:
        """Keep a line."""

    def drop(self, kind: str, key: str) -> bool:
        """Forget a line."""


class Pushes:
    """`gateway.web.given.Phones`; any thread may call it. `turn` is held while they or the site change."""

    def __init__(
        self, lines: list[WebLine], keep: Keep, vapid: Vapid, clock: Clock, *, local: bool = False
    ) -> None:
        self._keep, self._vapid, self._clock, self._local = keep, vapid, clock, local
        self._lines = {line.key: line.body for line in lines if line.kind == _LINE}
        self._adopt: Callable[[], object] = lambda: None
        self.turn = threading.RLock()

    def join(self, adopt: Callable[[], object]) -> None:
        """What makes a change hold: the ways to phones, and the judge's site."""
        self._adopt = adopt

    def merged(self, site: Site) -> Site:
        """The site with the phones of those who are in it."""
        people, taken = {who.id for who in site.people}, {phone.id for phone in site.phones}
        with self.turn:
            lines = sorted(self._lines.items())
        more = [Phone(key, body["person"], KIND) for key, body in lines if key not in taken]
        return replace(site, phones=(*site.phones, *(one for one in more if one.person in people)))

    def ways(self) -> dict[str, Messenger]:
        """The way to each."""
        with self.turn:
            return {key: self._way(body) for key, body in self._lines.items()}

    def _way(self, body: dict[str, Any]) -> Messenger:
        if not body.get("url"):
            return Gone()
        to = checked(body["url"], body["p256dh"], body["auth"], local=self._local)
        return Push(to, self._vapid, self._clock)

    def key(self) -> str:
        """As `given.Phones.key`."""
        return self._vapid.public

    def listed(self, person: str | None) -> list[tuple[str, bool]]:
        """As `given.Phones.listed`."""
        with self.turn:
            lines = sorted(self._lines.items())
        return [(key, bool(body.get("url"))) for key, body in lines if person in (None, body["person"])]

    def add(self, person: str, url: str, p256dh: str, auth: str) -> str:
        """As `given.Phones.add`."""
        checked(url, p256dh, auth, local=self._local)
        body = {
            "person": person,
            "url": url,
            "p256dh": p256dh,
            "auth": auth,
            "made_ms": self._clock.wall_ms(),
        }
        with self.turn:
            own = {key: one for key, one in self._lines.items() if one["person"] == person}
            again = [key for key, one in own.items() if one.get("url") == url]
            lost = [key for key, one in own.items() if not one.get("url")]
            key = next(iter(again + lost), None) or self._fresh(person, own)
            # A telephone that changes hands rings for its new owner only.
            others = [
                one
                for one, held in self._lines.items()
                if held.get("url") == url and held["person"] != person
            ]
            self._keep.put(_LINE, key, None, body)
            self._lines[key] = body
            for one in others:
                self._forget(one)
            self._adopt()
        log.info("phone %s was made on the page", key)
        return key

    def _fresh(self, person: str, own: dict[str, Any]) -> str:
        if len(own) >= MOST_A_PERSON or len(self._lines) >= MOST:
            raise ValueError(f"There are {len(own)} phones of yours already. Take one away first.")
        return next(key for n in range(1, MOST + 2) if (key := f"{person}-push-{n}") not in self._lines)

    def _forget(self, key: str) -> None:
        self._keep.drop(_LINE, key)
        self._lines.pop(key, None)

    def drop(self, key: str, person: str | None) -> bool:
        """As `given.Phones.drop`."""
        with self.turn:
            body = self._lines.get(key)
            if body is None or person not in (None, body["person"]):
                return False
            self._forget(key)
            self._adopt()
        log.info("phone %s was taken away on the page", key)
        return True

    def noting(self, record: Callable[[Event], int]) -> Callable[[Event], int]:
        """`record`, and a phone that is gone for good loses its address and keys once that is committed."""

        def noted(event: Event) -> int:
            number = record(event)
            if isinstance(event, Delivery) and event.outcome == "gone":
                self._gone(event.phone)
            return number

        return noted

    def _gone(self, key: str) -> None:
        # Its name stays, so that who is called knows of it, and maintenance hears until somebody sees to it.
        with self.turn:
            body = self._lines.get(key)
            if body is None or not body.get("url"):
                return
            self._lines[key] = fresh = {"person": body["person"], "made_ms": body["made_ms"]}
        try:
            self._keep.put(_LINE, key, None, fresh)
        except GatewayError as fault:
            # After a restart it is tried once more, and is gone again.
            log.warning("that phone %s is gone could not be kept: %s", key, fault)
