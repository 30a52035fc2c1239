"""The control socket: one JSON line in, one out, for whoever may read the store's directory."""

from __future__ import annotations

import contextlib
import json
import os
import select
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

NAME = "control.sock"
LONGEST_LINE = 64 * 1024
MOST_CALLERS = 16
TIMEOUT_S = 10.0

Handler = Callable[[dict[str, Any]], dict[str, Any]]


class Control:
    """Listens in the store's directory and answers each line with what `handle` returns.

    Only the holder of the writer's place may open it: a socket left by a killed process is removed.
    """

    def __init__(self, store: Path, handle: Handler, *, timeout_s: float = TIMEOUT_S) -> None:
        self._path = store / NAME
        self._handle = handle
        self._timeout_s = timeout_s
        self._room = threading.BoundedSemaphore(MOST_CALLERS)
        self._stopping = threading.Event()
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
        self._thread = threading.Thread(target=self._listen, name="control", daemon=True)

    def start(self) -> None:
        """Open the socket, for its owner only, and answer in threads of its own."""
        self._path.unlink(missing_ok=True)
        os.fchmod(self._socket.fileno(), 0o600)
        with _address(self._path) as address:
            self._socket.bind(address)
        self._socket.listen(MOST_CALLERS)
        self._thread.start()

    def stop(self) -> None:
        """Close and remove the socket; nobody is answered after this."""
        self._stopping.set()
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._thread.join(self._timeout_s)
        self._path.unlink(missing_ok=True)

    def _listen(self) -> None:
        while not self._stopping.is_set():
            try:
                caller, _ = self._socket.accept()
            except OSError:
                if self._stopping.is_set():
                    return
                continue
            if not self._room.acquire(blocking=False):
                _reply(caller, {"fault": f"more than {MOST_CALLERS} callers at once; try again"})
                caller.close()
                continue
            threading.Thread(target=self._serve, args=(caller,), name="control-caller", daemon=True).start()

    def _serve(self, caller: socket.socket) -> None:
        try:
            with caller:
                caller.settimeout(self._timeout_s)
                _reply(caller, self._answer(caller))
        finally:
            self._room.release()

    def _answer(self, caller: socket.socket) -> dict[str, Any]:
        try:
            request = parse(read_line(caller))
        except (OSError, ValueError) as fault:
            return {"fault": str(fault) or type(fault).__name__}
        # Whoever waited in vain was told that nobody answered, and must not find it kept an hour later.
        return {} if is_gone(caller) else self._handle(request)


def ask(store: Path, request: dict[str, Any], timeout_s: float) -> dict[str, Any]:
    """Put one question to the daemon that holds the store; raises OSError where none answers in time."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC) as call:
        call.settimeout(timeout_s)
        with _address(store / NAME) as address:
            call.connect(address)
        call.sendall(json.dumps(request).encode() + b"\n")
        try:
            return parse(read_line(call))
        except ValueError as fault:
            raise OSError(f"the gateway's answer cannot be read: {fault}") from fault


def answers(store: Path) -> bool:
    """Whether somebody listens there now."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC) as call:
        call.settimeout(1.0)
        try:
            with _address(store / NAME) as address:
                call.connect(address)
        except OSError:
            return False
        return True


def is_gone(caller: socket.socket) -> bool:
    """Whether the other side has closed; one that has only ended its request still listens."""
    poll = select.poll()
    poll.register(caller, 0)
    return any(event & select.POLLHUP for _, event in poll.poll(0))


def read_line(stream: socket.socket) -> bytes:
    """One line without its end; raises ValueError where it is longer than 64 kB or ends too early."""
    taken = bytearray()
    while b"\n" not in taken:
        part = stream.recv(min(8192, LONGEST_LINE + 1 - len(taken)))
        if not part:
            raise ValueError("request: expected one line of JSON with its line end")
        taken += part
        if len(taken) > LONGEST_LINE:
            raise ValueError(f"request: longer than {LONGEST_LINE} bytes")
    return bytes(taken[: taken.index(b"\n")])


def parse(line: bytes) -> dict[str, Any]:
    """The JSON object of a line; raises ValueError for anything else, however deep or odd."""
    try:
        value = json.loads(line, parse_constant=_no_constant)
    except (ValueError, RecursionError) as fault:
        raise ValueError(f"request: expected one line of JSON: {str(fault)[:200]}") from fault
    if not isinstance(value, dict):
        raise ValueError(f"request: expected a JSON object, got {type(value).__name__}")
    return value


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is not a number of JSON")


def _reply(caller: socket.socket, answer: dict[str, Any]) -> None:
    # A caller that went away has nothing to hear; what was asked is committed or refused all the same.
    with contextlib.suppress(OSError):
        caller.settimeout(TIMEOUT_S)
        caller.sendall(json.dumps(answer).encode() + b"\n")


@contextlib.contextmanager
def _address(path: Path) -> Iterator[str]:
    """A name for the socket that fits the 107 bytes a socket's name may have, however deep the store lies."""
    if len(os.fsencode(path)) <= 107:
        yield str(path)
        return
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)
