"""A phone behind a web address: one signed POST for each attempt (contract C10, Standard Webhooks).

What comes back is not trusted: no redirect is followed, nothing is kept for the next time, of a refusal no
more than 4 kB is read, and an attempt as a whole has an end, however slowly the other side drips.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import socket
import threading
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import requests
from requests.adapters import HTTPAdapter

from gateway.core.outbox import retry_after_s
from gateway.edges.phone import sign
from gateway.errors import DeliveryFault
from gateway.ports import Clock, DueNotice

CONNECT_S, READ_S, WHOLE_S = 5.0, 15.0, 25.0
BODY_MOST = 4096
DETAIL_MOST = 160
_OURS = (requests.RequestException, http.client.HTTPException, OSError, ValueError)


def body(notice: DueNotice, answer_url: str | None) -> bytes:
    """The message as compact JSON: the fields of contract C10, and `silent`: show it, but wake nobody."""
    at = datetime.fromtimestamp(notice.at_ms / 1000, UTC).isoformat(timespec="milliseconds")
    message = {
        "type": notice.kind,
        "notice": notice.number,
        "alarm": notice.alarm,
        "priority": notice.priority,
        "place": notice.place,
        "title": notice.title,
        "text": notice.text,
        "answer_url": answer_url,
        "silent": notice.silent,
        "at": at.replace("+00:00", "Z"),
    }
    return json.dumps(message, ensure_ascii=False, separators=(",", ":")).encode()


class _Watched(HTTPAdapter):
    """Keeps a second handle of each connection's socket, by which another thread can end it.

    requests bounds each read, not their sum; and the handle is taken before TLS begins, so that a hand-shake
    that drips is bounded too.
    """

    def __init__(self) -> None:
        super().__init__()
        self._handles: list[socket.socket] = []
        self.was_cut = False

    def get_connection_with_tls_context(self, *args: Any, **named: Any) -> Any:
        pool: Any = super().get_connection_with_tls_context(*args, **named)
        kind = pool.ConnectionCls

        def connection(*args: Any, **named: Any) -> Any:
            made = kind(*args, **named)
            plain = made._new_conn

            def new() -> Any:
                opened = plain()
                self._handles.append(opened.dup())
                if self.was_cut:
                    self.cut()
                return opened

            made._new_conn = new
            return made

        pool.ConnectionCls = connection
        return pool

    def cut(self) -> None:
        """End what is under way, and what would begin."""
        self.was_cut = True
        for handle in self._handles:
            with contextlib.suppress(OSError):
                handle.shutdown(socket.SHUT_RDWR)

    def drop_handles(self) -> None:
        """Give the second handles back."""
        while self._handles:
            self._handles.pop().close()


class Webhook:
    """One phone. Not for two threads at once: whoever delivers has one attempt a phone under way."""

    #: What the other side says when it will never take a message again.
    GONE: tuple[int, ...] = (410,)

    def __init__(
        self,
        url: str,
        secret: bytes,
        clock: Clock,
        *,
        connect_s: float = CONNECT_S,
        read_s: float = READ_S,
        whole_s: float = WHOLE_S,
    ) -> None:
        self._url, self._secret, self._clock = url, secret, clock
        self._times, self._whole_s = (connect_s, read_s), whole_s

    def send(self, phone: str, notice: DueNotice, answer_url: str | None) -> int:
        """Hand the notice over; returns the status, 200 to 299. Raises DeliveryFault for anything else."""
        content, own = self._made(notice, answer_url, self._clock.wall_ms() // 1000)
        headers = {
            "user-agent": "malting-gateway",
            "accept-encoding": "identity",
            "connection": "close",
            **own,
        }
        watched = _Watched()
        late = threading.Timer(self._whole_s, watched.cut)
        late.daemon = True
        late.start()
        cut = f"no answer within {self._whole_s:g} s in all"
        try:
            with _session(watched) as session:
                status = self._post(session, content, headers)
        except _OURS as fault:
            raise DeliveryFault(cut if watched.was_cut else self._say(fault)) from fault
        finally:
            late.cancel()
            watched.drop_handles()
        if watched.was_cut:
            # What was cut off may read like a whole answer: a status line and no headers.
            raise DeliveryFault(cut)
        return status

    def _made(self, notice: DueNotice, answer_url: str | None, now_s: int) -> tuple[bytes, dict[str, str]]:
        content = body(notice, answer_url)
        signed = sign.headers(self._secret, str(notice.number), now_s, content)
        return content, {"content-type": "application/json", **signed}

    def _post(self, session: requests.Session, content: bytes, headers: Mapping[str, str]) -> int:
        with session.post(
            self._url,
            data=content,
            headers=headers,
            timeout=self._times,
            allow_redirects=False,
            stream=True,
        ) as response:
            if 200 <= response.status_code < 300:
                return response.status_code
            raise self._refusal(response)

    def _refusal(self, response: requests.Response) -> DeliveryFault:
        status = response.status_code
        asked = response.headers.get("Retry-After", "")
        said = "it points elsewhere; not followed" if 300 <= status < 400 else _said(response)
        return DeliveryFault(
            f"status {status}" + (f": {said}" if said else ""),
            status=status,
            retry_after_s=retry_after_s(asked, self._clock.wall_ms()),
            gone=status in self.GONE,
        )

    def _say(self, fault: BaseException) -> str:
        """What went wrong, without the address: it may hold a secret."""
        if isinstance(fault, requests.ConnectTimeout):
            return f"no connection within {self._times[0]:g} s"
        if isinstance(fault, requests.Timeout):
            return f"no answer within {self._times[1]:g} s"
        seen: BaseException | None = fault
        while seen is not None:
            if isinstance(seen, OSError) and seen.strerror:
                return f"no connection: {seen.strerror}"[:DETAIL_MOST]
            seen = seen.__cause__ or seen.__context__
        return f"no connection: {type(fault).__name__}"


class _Session(requests.Session):
    def get_redirect_target(self, resp: requests.Response) -> None:
        """Nowhere: to find out where it would lead the base reads the body to its end, however long."""


def _session(adapter: HTTPAdapter) -> requests.Session:
    """A fresh session that takes nothing from the environment and leaves nothing behind."""
    session = _Session()
    session.trust_env = False
    session.mount("http://", adapter)
    session.mount("https://", adapter)
    return session


def _said(response: requests.Response) -> str:
    """The beginning of what a refusal says, printable and short; empty where it cannot be read."""
    if response.headers.get("Content-Encoding", "identity") != "identity":
        return ""
    read = b""
    with contextlib.suppress(*_OURS):
        for piece in response.iter_content(1024):
            read += piece
            if len(read) >= BODY_MOST:
                break
    text = read[:BODY_MOST].decode("utf-8", "replace")
    return "".join(one if one.isprintable() else " " for one in text)[:DETAIL_MOST].strip()
