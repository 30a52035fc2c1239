"""What the web is given by whoever starts it, and who is asking: all that its routes know of the gateway."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from gateway.core.site import Site
from gateway.core.state import State
from gateway.ports import Reader

Seen = TypeVar("Seen")

#: What each role may do; every role may look. Who answers an alarm needs no role beyond `shift`.
ROLES = ("viewer", "shift", "maltster", "maintenance", "safety")


class Given(Protocol):
    """The running gateway, as the web sees it. Any thread may call it."""

    def site(self) -> Site:
        """The site file in force."""

    def now_ms(self) -> int:
        """Unix ms by the gateway's clock: what pages show and events are stamped with."""

    def real_ms(self) -> int:
        """Unix ms by real time: sessions, links and cookies end by it."""

    def ask(self, view: Callable[[State], Seen]) -> Seen:
        """What a pure view makes of the judge's state as it is now; raises NoAnswer. The view keeps nothing
        of the state and takes a few milliseconds at most."""

    def reader(self) -> Reader:
        """The reading side of the store."""

    def record(self, word: str, body: dict[str, Any]) -> int:
        """Record one of contract C6's verbs; its journal number once committed.

        Raises ValueError in plain words where it cannot be, NoAnswer where nothing took it in time.
        """

    def facts(self) -> dict[str, Any]:
        """What the threads say of themselves, as for `health`."""


class Phones(Protocol):
    """The phones that were made on the page."""

    def key(self) -> str:
        """What a browser binds its subscription to: the gateway's public key."""

    def listed(self, person: str | None) -> list[tuple[str, bool]]:
        """That person's (None: everybody's), and whether each can still be reached."""

    def add(self, person: str, url: str, p256dh: str, auth: str) -> str:
        """Another phone of that person, called from now on; its id. Raises ValueError, NoAnswer."""

    def drop(self, key: str, person: str | None) -> bool:
        """Take one away; whether it was there and that person's (None: anybody's). Raises NoAnswer."""


class Running(Given, Protocol):
    """What the application needs besides what its pages need."""

    def place(self) -> tuple[int, int]:
        """The newest journal numbers committed and judged: it changes when something did. At once."""

    def news(self) -> int:
        """A number that grows whenever something else than readings was kept. At once."""


@dataclass(frozen=True, slots=True)
class Account:
    """Somebody who is logged in (or a token). `person` is an id of the site file, where they are one."""

    name: str
    role: str
    person: str | None = None
    fahrenheit: bool = False
    look: str = "auto"

    @property
    def by(self) -> str:
        """Under what name they write: the person's id, else the account's own name."""
        return self.person or self.name

    def may(self, *roles: str) -> bool:
        """Whether the role is one of these."""
        return self.role in roles
