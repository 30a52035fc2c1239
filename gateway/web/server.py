"""The HTTP server: uvicorn with h11 on one loop, in a thread of its own, bounded in every direction."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol

#: Connections at once; of them pages that stay open take one each.
MOST_CONNECTIONS = 250
MOST_HEAD = 16 * 1024
FIRST_WORD_S, KEEP_S, STOP_S = 15.0, 30, 3
#: What was sent and is not taken for so long ends the connection: a phone out of reach, a reader that stalls.
UNTAKEN_S = 60.0


class _Bounded(H11Protocol):
    """Whoever says nothing whole for a while is let go: the first request must come in time, too."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as uvicorn has it
        """A new connection."""
        super().connection_made(transport)
        self._first = self.loop.call_later(FIRST_WORD_S, self._look)

    def _look(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.close()

    def connection_lost(self, exc: Exception | None) -> None:
        """It is over."""
        self._first.cancel()
        super().connection_lost(exc)


class _Quiet(uvicorn.Server):
    """The gateway's own handlers are for signals; this server has none."""

    def install_signal_handlers(self) -> None:
        """Nothing."""

    def capture_signals(self) -> Any:
        """Nothing, either."""
        from contextlib import nullcontext

        return nullcontext()


class Server:
    """Serves an application on a socket that listens already."""

    def __init__(
        self, app: FastAPI, listening: socket.socket, *,
        cert: Path | None = None, key: Path | None = None, trusted: Sequence[str] = (),
        untaken_s: float = UNTAKEN_S,
    ) -> None:  # fmt: skip
        self._app, self._socket = app, listening
        # Accepted connections inherit it. It counts while the other side's window is shut, too: tcp(7).
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, round(untaken_s * 1000))
        self._server = _Quiet(
            uvicorn.Config(
                app,
                loop="asyncio",
                http=_Bounded,
                ws="none",
                lifespan="off",
                interface="asgi3",
                log_config=None,
                log_level="warning",
                access_log=False,
                server_header=False,
                proxy_headers=bool(trusted),
                forwarded_allow_ips=list(trusted),
                limit_concurrency=MOST_CONNECTIONS,
                timeout_keep_alive=KEEP_S,
                timeout_graceful_shutdown=STOP_S,
                h11_max_incomplete_event_size=MOST_HEAD,
                ssl_certfile=cert,
                ssl_keyfile=key,
            )
        )
        self._thread = threading.Thread(target=self._run, name="web", daemon=True)
        self._loop: asyncio.AbstractEventLoop | None = None

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def _run(self) -> None:
        async def serve() -> None:
            self._loop = asyncio.get_running_loop()
            await self._server.serve(sockets=[self._socket])

        asyncio.run(serve())

    def stop(self) -> None:
        """Let open pages go, end what is under way, at most for a few seconds."""
        if self._loop is not None and self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._app.state.pulse.stop)
        self._server.should_exit = True
        self._thread.join(STOP_S + 2.0)
        self._socket.close()
