"""Word to the service manager, read from a socket of our own; and the timer, which only wakes."""

import os
import socket
import threading
from pathlib import Path

import pytest

from gateway.edges.notify import Notify
from gateway.edges.timer import Timer


def test_the_manager_hears_ready_alive_and_stopping(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(10)
        notify = Notify({"NOTIFY_SOCKET": str(tmp_path / "notify")})
        notify.ready("watching 4 beds")
        notify.alive("all loops turn")
        notify.stopping()
        assert manager.recv(1000) == b"READY=1\nSTATUS=watching 4 beds"
        assert manager.recv(1000) == b"WATCHDOG=1\nSTATUS=all loops turn"
        assert manager.recv(1000) == b"STOPPING=1"


def test_a_name_in_the_abstract_space_begins_with_a_zero_byte() -> None:
    name = f"notify-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0" + name)
        manager.settimeout(10)
        Notify({"NOTIFY_SOCKET": "@" + name}).stopping()
        assert manager.recv(1000) == b"STOPPING=1"


def test_no_manager_or_a_dead_one_is_no_fault(tmp_path: Path) -> None:
    Notify({}).ready("alone")
    Notify({"NOTIFY_SOCKET": str(tmp_path / "nobody")}).ready("alone")


@pytest.mark.parametrize(
    ("environ", "expected"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "30000000"}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": str(os.getpid())}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
    ],
)
def test_the_watchdogs_time_is_read_from_the_environment(
    environ: dict[str, str], expected: float | None
) -> None:
    assert Notify(environ).watchdog_s == expected


def test_the_timer_wakes_again_and_again_and_stops() -> None:
    woken = threading.Semaphore(0)
    timer = Timer(woken.release, every_s=0.05)
    timer.start()
    assert all(woken.acquire(timeout=10) for _ in range(3))
    timer.stop()
    while woken.acquire(blocking=False):
        pass
    assert not woken.acquire(timeout=0.3)
