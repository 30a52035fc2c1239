"""Accounts, sessions and one-time links: who somebody is, and for how long.

All of it is held in memory and written through to the store, so that asking who somebody is costs nothing.
What is secret is kept as a digest only: passwords by argon2id (19 MiB, 2 passes, 1 lane: the first choice
of the OWASP Password Storage Cheat Sheet), one at a time, everything random by SHA-256.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from gateway.web.given import ROLES, Account
from gateway.web.keep import Keep
from gateway.web.secret import digest
from gateway.web.slow import Slow

#: NIST SP 800-63B and ASVS 5.0 6.2.1: at least eight, fifteen advised; no rule of composition.
FEWEST, MOST = 10, 128
LINK_MS = 24 * 3_600_000
MOST_ACCOUNTS, MOST_SESSIONS = 200, 1000
LOOKS = ("auto", "light", "dark")
#: What a link does when it is used: makes the first account, sets a password, or logs in.
SETUP, PASSWORD, OPEN = "setup", "password", "open"


class NotSo(ValueError):
    """What was asked cannot be, in words for the person; `wait_s` where it is a matter of time."""

    def __init__(self, words: str, wait_s: int = 0) -> None:
        super().__init__(words)
        self.wait_s = wait_s


@dataclass(slots=True)
class Session:
    """Somebody's way in, since when, and when it was last used."""

    name: str
    began_ms: int
    seen_ms: int
    kept_ms: int


@dataclass(frozen=True, slots=True)
class Link:
    """A one-time link: what for, whose, and until when."""

    purpose: str
    name: str
    ends_ms: int


class Accounts:
    """Any thread may call it."""

    def __init__(
        self, keep: Keep, real_ms: Callable[[], int], *, idle_h: float = 12.0, longest_h: float = 168.0
    ) -> None:
        self._keep, self._real_ms = keep, real_ms
        self._idle_ms, self._longest_ms = round(idle_h * 3_600_000), round(longest_h * 3_600_000)
        self._hasher = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
        self._nobody = self._hasher.hash(secrets.token_urlsafe(16))
        self._turn, self._one_hash = threading.RLock(), threading.Lock()
        self._accounts: dict[str, dict[str, Any]] = {}
        self._sessions: dict[str, Session] = {}
        self._links: dict[str, Link] = {}
        self.ended = 0  #: how many sessions were ended since the start
        self._read()

    def _read(self) -> None:
        lines = self._keep.lines()
        self._slow = Slow(self._keep, self._real_ms, lines)
        for kind, key, ends_ms, body in lines:
            if ends_ms is not None and ends_ms <= self._real_ms():
                continue
            if kind == "account":
                self._accounts[key] = body
            elif kind == "link":
                self._links[key] = Link(body["purpose"], body["name"], ends_ms or 0)
            elif kind == "session":
                seen_ms = body["seen_ms"]
                self._sessions[key] = Session(body["name"], body["began_ms"], seen_ms, seen_ms)

    # Who is asking

    def of_session(self, session: str | None) -> Account | None:
        """Whose session it is; None where it has ended. Using it keeps it from ending idle."""
        with self._turn:
            held = self._sessions.get(digest(session)) if session else None
            if held is None or self._over(held):
                return None
            held.seen_ms = self._real_ms()
            return self._account(held.name)

    def lasts(self, session: str) -> bool:
        """Whether a session still holds; asking does not prolong it."""
        with self._turn:
            held = self._sessions.get(digest(session))
            return held is not None and not self._over(held)

    def _over(self, held: Session) -> bool:
        now_ms = self._real_ms()
        idle = now_ms - held.seen_ms > self._idle_ms
        return idle or now_ms - held.began_ms > self._longest_ms or held.name not in self._accounts

    def _account(self, name: str) -> Account | None:
        body = self._accounts.get(name)
        if body is None:
            return None
        return Account(name, body["role"], body["person"], body["fahrenheit"], body["look"])

    # Ways in and out

    def login(self, name: str, password: str, peer: str) -> str:
        """A new session; raises NotSo. Failures slow down whoever fails, and that name a little."""
        name = " ".join(name[:80].split())
        self._slow_down(name, peer)
        body = self._accounts.get(name)
        kept = (body or {}).get("secret") or self._nobody
        good = self._matches(kept, password) and bool(body and body.get("secret"))
        if not good:
            self._slow.failed(name, peer)
            raise NotSo("The name and the password do not belong together.")
        self._slow.went_well(name)
        return self._begin(name)

    def _slow_down(self, name: str, peer: str) -> None:
        wait_s = self._slow.wait_s(name, peer)
        if wait_s:
            raise NotSo(f"Too many tries. Try again in {wait_s} s.", wait_s)

    def _matches(self, kept: str, password: str) -> bool:
        with self._one_hash:
            try:
                return self._hasher.verify(kept, password[:MOST])
            except (VerificationError, InvalidHashError):
                return False

    def _begin(self, name: str) -> str:
        session, now_ms = secrets.token_urlsafe(32), self._real_ms()
        with self._turn:
            self._sweep()
            if len(self._sessions) >= MOST_SESSIONS:
                oldest = min(self._sessions, key=lambda key: self._sessions[key].seen_ms)
                self._end(oldest)
            self._sessions[digest(session)] = held = Session(name, now_ms, now_ms, now_ms)
        self._write_session(digest(session), held)
        return session

    def _write_session(self, key: str, held: Session) -> None:
        ends_ms = min(held.seen_ms + self._idle_ms, held.began_ms + self._longest_ms)
        body = {"name": held.name, "began_ms": held.began_ms, "seen_ms": held.seen_ms}
        self._keep.put("session", key, ends_ms, body)

    def logout(self, session: str) -> None:
        """End a session."""
        self._end(digest(session))

    def _end(self, key: str) -> None:
        with self._turn:
            there = self._sessions.pop(key, None)
            self.ended += there is not None
        if there:
            self._keep.drop("session", key)

    def end_all(self, name: str, but: str | None = None) -> int:
        """End an account's sessions, except perhaps one; how many."""
        spared = digest(but) if but else None
        with self._turn:
            keys = [key for key, held in self._sessions.items() if held.name == name and key != spared]
        for key in keys:
            self._end(key)
        return len(keys)

    def flush(self) -> None:
        """Keep when sessions were last used, and forget what has ended; now and then."""
        self._slow.sweep()
        with self._turn:
            self._sweep()
            late = [(key, replace(one)) for key, one in self._sessions.items() if one.seen_ms != one.kept_ms]
            for key, _ in late:
                self._sessions[key].kept_ms = self._sessions[key].seen_ms
        for key, held in late:
            self._write_session(key, held)

    def _sweep(self) -> None:
        now_ms = self._real_ms()
        for key in [key for key, held in self._sessions.items() if self._over(held)]:
            self._end(key)
        for key in [key for key, link in self._links.items() if link.ends_ms <= now_ms]:
            self._links.pop(key)
            self._keep.drop("link", key)

    # Links

    def first_link(self) -> str | None:
        """A set-up link, where there is no account yet; an older one stops working."""
        with self._turn:
            if any(body.get("secret") for body in self._accounts.values()):
                return None
            for key in [key for key, link in self._links.items() if link.purpose == SETUP]:
                self._links.pop(key)
                self._keep.drop("link", key)
        return self.link(SETUP)

    def link(self, purpose: str, name: str = "", lasts_ms: int = LINK_MS) -> str:
        """A one-time link's secret; raises NotSo for an account that is not there."""
        if purpose != SETUP and name not in self._accounts:
            raise NotSo(f"There is no account {name!r}.")
        secret, ends_ms = secrets.token_urlsafe(24), self._real_ms() + lasts_ms
        key = digest(secret)
        self._keep.put("link", key, ends_ms, {"purpose": purpose, "name": name})
        with self._turn:
            self._links[key] = Link(purpose, name, ends_ms)
        return secret

    def look(self, secret: str) -> Link | None:
        """What a link is for; looking does not use it up."""
        with self._turn:
            link = self._links.get(digest(secret))
            return link if link and link.ends_ms > self._real_ms() else None

    def use(self, secret: str, name: str = "", password: str = "") -> str:
        """Do what a link is for, once; a new session. Raises NotSo, and then the link still works unless it
        was used or has ended."""
        link = self.look(secret)
        if link is None:
            raise NotSo("This link was used already, or its time is over. Ask for a new one.")
        name = checked_name(name) if link.purpose == SETUP else link.name
        hashed = None if link.purpose == OPEN else self._hashed(password)
        self._spend(secret)
        if link.purpose == SETUP:
            self._put(name, _fresh("maltster", None) | {"secret": hashed})
        elif hashed is not None:
            self._put(name, self._accounts[name] | {"secret": hashed})
            self.end_all(name)
        return self._begin(name)

    def _spend(self, secret: str) -> None:
        key = digest(secret)
        with self._turn:
            there = self._links.pop(key, None)
        if there is None or not self._keep.drop("link", key):
            raise NotSo("This link was used already. Ask for a new one.")

    def _hashed(self, password: str) -> str:
        if not FEWEST <= len(password) <= MOST:
            raise NotSo(f"A password has {FEWEST} to {MOST} characters; a few words in a row are good.")
        if len(set(password)) < 5 or password.lower() in _KNOWN:
            raise NotSo("That password is guessed at once. Take a few words that do not belong together.")
        with self._one_hash:
            return self._hasher.hash(password)

    # Accounts

    def add(self, name: str, role: str, person: str | None = None) -> None:
        """A new account, without a password until a link sets one. Raises NotSo."""
        name = checked_name(name)
        if role not in ROLES:
            raise NotSo(f"The role is one of {', '.join(ROLES)}, not {role!r}.")
        with self._turn:
            if name in self._accounts:
                raise NotSo(f"There is an account {name!r} already.")
            if len(self._accounts) >= MOST_ACCOUNTS:
                raise NotSo(f"There are {MOST_ACCOUNTS} accounts already.")
            self._put(name, _fresh(role, person))

    def change(self, name: str, **changes: Any) -> None:
        """Change an account's role, person, fahrenheit or look. Raises NotSo."""
        with self._turn:
            if name not in self._accounts:
                raise NotSo(f"There is no account {name!r}.")
            if changes.get("role", ROLES[0]) not in ROLES or changes.get("look", LOOKS[0]) not in LOOKS:
                raise NotSo("There is no such role or look.")
            self._put(name, self._accounts[name] | changes)

    def set_password(self, name: str, old: str, new: str, session: str, peer: str) -> None:
        """A new password for whoever knows the old one; other sessions end. Raises NotSo."""
        self._slow_down(name, peer)
        kept = self._accounts.get(name, {}).get("secret")
        if kept and not self._matches(kept, old):
            self._slow.failed(name, peer)
            raise NotSo("That is not the old password.")
        self._put(name, self._accounts[name] | {"secret": self._hashed(new)})
        self.end_all(name, but=session)

    def remove(self, name: str) -> None:
        """Remove an account with its sessions and links. Raises NotSo."""
        with self._turn:
            if self._accounts.pop(name, None) is None:
                raise NotSo(f"There is no account {name!r}.")
            keys = [key for key, link in self._links.items() if link.name == name]
            for key in keys:
                self._links.pop(key)
        self._keep.drop("account", name)
        for key in keys:
            self._keep.drop("link", key)
        self.end_all(name)

    def _put(self, name: str, body: dict[str, Any]) -> None:
        self._keep.put("account", name, None, body)
        with self._turn:
            self._accounts[name] = body

    def listed(self) -> list[Account]:
        """All accounts, by name."""
        with self._turn:
            found = [self._account(name) for name in sorted(self._accounts)]
        return [one for one in found if one is not None]


def _fresh(role: str, person: str | None) -> dict[str, Any]:
    return {"role": role, "person": person, "fahrenheit": False, "look": "auto", "secret": None}


def checked_name(name: str) -> str:
    """The name as it is kept; raises NotSo."""
    name = " ".join(name.split())
    if not 1 <= len(name) <= 40 or not all(one.isalnum() or one in " -_." for one in name):
        raise NotSo("A name has up to 40 letters, figures, blanks, dots and dashes.")
    return name


#: Long passwords that every list of guesses has, from memory; their length keeps the others out.
_KNOWN = frozenset(
    """1234567890 0123456789 12345678910 password12 password123 passwordpassword qwertyuiop qwerty12345
    qwertyuiop123 1q2w3e4r5t 1q2w3e4r5t6y letmein123 iloveyou123 administrator changeme123 welcome123
    adminadmin password1234 abcdefghij abcd1234567 maltinghouse maltmaltmalt floormalting""".split()
)
