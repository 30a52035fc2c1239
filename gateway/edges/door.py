"""The door: where an answer link opens. GET shows the alarm, POST answers it; nothing else is here.

A link lets one person answer one occurrence of one alarm until it expires. Each form that was shown acts
once: it says which steps of the alarm its reader had seen, and sent again after its own answer it changes
nothing.
"""

from __future__ import annotations

import logging
import re
import threading
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import parse_qs

from gateway.core import links
from gateway.edges import door_page as page
from gateway.edges.door_server import Answer, Request, Server
from gateway.errors import GatewayError
from gateway.ports import Clock

log = logging.getLogger(__name__)

Row = Mapping[str, Any]
_PATH = re.compile(re.escape(links.PATH) + rf"([A-Za-z0-9_-]{{1,{links.TOKEN_MOST}}})", re.ASCII)
_HTML = "text/html; charset=utf-8"
_SAFE = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": (
        f"default-src 'none'; style-src '{page.STYLE_HASH}'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Robots-Tag": "noindex",
}


class Door:
    """Listens from the start of its life; serves between `start` and `stop`, in threads of its own.

    `look` gives an alarm's row (contract C8's fields of `alarms`; `title` and `text` where known), or None.
    `answer` records an answer and returns, once it is committed, what to tell the person; it raises
    GatewayError where it is not. Both are called from several threads. `clock` is the real one.
    Connections that take too long are ended each `look_round_s`, and so is the door when it is to stop.
    Raises OSError where the address cannot be had; port 0 takes a free one.
    """

    def __init__(
        self,
        host: str,
        port: int,
        *,
        key: bytes,
        look: Callable[[int], Row | None],
        answer: Callable[[int, str, str], str],
        clock: Clock,
        time_zone: str,
        names: Mapping[str, str],
        look_round_s: float = 0.5,
    ) -> None:
        self._key, self._look, self._answer, self._clock = key, look, answer, clock
        self._time_zone, self._names = time_zone, dict(names)
        self._server = Server(host, port, self.respond, clock.mono_ms, _SAFE)
        self.port = int(self._server.server_address[1])
        self._thread = threading.Thread(
            target=self._server.serve_forever,
            kwargs={"poll_interval": look_round_s},
            name="door",
            daemon=True,
        )

    def site_is(self, time_zone: str, names: Mapping[str, str]) -> None:
        """From now on pages show these names, and times of this zone."""
        self._time_zone, self._names = time_zone, dict(names)

    def start(self) -> None:
        """Begin to serve."""
        self._thread.start()

    def stop(self) -> None:
        """Let nobody in any more; answers under way end by themselves."""
        if self._thread.is_alive():
            self._server.shutdown()
            self._thread.join()
        self._server.server_close()

    def respond(self, request: Request) -> Answer:
        """The answer to a whole request."""
        if request.path == "/health/live" and request.method in ("GET", "HEAD"):
            return Answer(200, "text/plain; charset=utf-8", b"alive\n")
        found = _PATH.fullmatch(request.path)
        if not found:
            return _plain(404, "Nothing here", "Open the link in the message as it was sent to you.")
        link = links.verify_token(self._key, found.group(1), self._clock.wall_ms())
        if link is links.Bad.EXPIRED:
            return _plain(410, "This link is too old", "Answer by the newest message, or by telephone.")
        if isinstance(link, links.Bad):
            return _plain(404, "This link is not right", "Open it as it was sent; a part may be missing.")
        row = self._look(link.alarm)
        if row is None or row["occurrence"] != link.occurrence:
            return _plain(
                410, "This alarm is over", "The link belongs to an earlier time. Use the newest message."
            )
        if request.method == "POST":
            return self._act(request, link, row)
        return self._shown(row, link, request.path)

    def _view(self) -> page.View:
        return page.View(self._names, self._time_zone, self._clock.wall_ms())

    def _shown(self, row: Row, link: links.Link, path: str, note: str = "", status: int = 200) -> Answer:
        return Answer(status, _HTML, page.alarm_page(row, link.person, path, self._view(), note))

    def _act(self, request: Request, link: links.Link, row: Row) -> Answer:
        if request.headers.get("sec-fetch-site") == "cross-site":
            return _plain(403, "Not from here", "Answer on the page that the link opens.")
        form = _form(request.body)
        word = form.get("answer", "")
        if word not in page.words_for(row):
            return self._shown(row, link, request.path, "Nothing was noted: press one of the buttons.", 400)
        if page.is_over(row):
            return self._shown(row, link, request.path, "Nothing was noted: it is over.")
        if _was_used(row, link.person, form.get("step", "")):
            return self._shown(
                row, link, request.path, "You have answered already; this is how it stands now."
            )
        try:
            said = self._answer(link.alarm, link.person, word)
        except GatewayError as fault:
            log.warning("the answer of %s to %d could not be noted: %s", link.person, link.alarm, fault)
            text = "NOT NOTED: the gateway could not write it down. Press again, or ring somebody."
            return self._shown(row, link, request.path, text, 503)
        log.info("alarm %d answered by link: %s by %s", link.alarm, word, link.person)
        now = self._look(link.alarm)
        row = now if now and now["occurrence"] == link.occurrence else row
        return Answer(200, _HTML, page.done_page(row, said, request.path, self._view()))


def _plain(status: int, title: str, text: str) -> Answer:
    return Answer(status, _HTML, page.plain_page(title, text))


def _form(body: bytes) -> dict[str, str]:
    """The fields of a form, the first of each name; empty for anything that is no form."""
    try:
        fields = parse_qs(body.decode("ascii"), max_num_fields=4)
    except ValueError:
        return {}
    return {name: values[0] for name, values in fields.items()}


def _was_used(row: Row, person: str, step: str) -> bool:
    """Whether this person has answered since the form was shown; a form without its step is always fresh."""
    if not (step.isascii() and step.isdigit() and len(step) <= 6):
        return False
    return any(one["by"] == person for one in row["history"][int(step) :])
