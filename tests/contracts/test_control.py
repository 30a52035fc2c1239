"""The control socket: one line in, one out, for its owner only; hostile callers get a fault and no more."""

import json
import socket
import stat
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gateway.edges.control import LONGEST_LINE, MOST_CALLERS, NAME, Control, ask, is_gone

SOON_S = 10.0


def _echo(request: dict[str, Any]) -> dict[str, Any]:
    return {"journal": 7, "asked": request}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Path]:
    control = Control(tmp_path, _echo, timeout_s=1.0)
    control.start()
    yield tmp_path
    control.stop()


def _raw(store: Path, sent: bytes) -> dict[str, Any]:
    """What is answered to these bytes, by a caller that then says no more."""
    with socket.socket(socket.AF_UNIX) as call:
        call.settimeout(SOON_S)
        call.connect(str(store / NAME))
        call.sendall(sent)
        call.shutdown(socket.SHUT_WR)
        return json.loads(call.makefile("rb").readline())


def test_a_question_is_answered(store: Path) -> None:
    asked = {"kind": "cast", "bed": "bed-c", "why": "Gerste – naß"}
    assert ask(store, asked, SOON_S) == {"journal": 7, "asked": asked}


def test_the_socket_is_its_owners_alone(store: Path) -> None:
    assert stat.S_IMODE((store / NAME).stat().st_mode) == 0o600


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"\n",
        b"no line end",
        b"not json\n",
        b"[1,2]\n",
        b"null\n",
        b'{"v":NaN}\n',
        b'{"v":-Infinity}\n',
        b"\xff\xfe\x00\n",
        b"[" * 60_000 + b"\n",
        b'{"n":' + b"9" * 60_000 + b"}\n",
        b'{"a":"' + b"x" * (LONGEST_LINE + 10) + b'"}\n',
    ],
)
def test_hostile_lines_get_a_fault_and_the_socket_goes_on(store: Path, sent: bytes) -> None:
    answer = _raw(store, sent)
    assert list(answer) == ["fault"]
    assert answer["fault"]
    assert "journal" in ask(store, {"kind": "cast"}, SOON_S)


def test_a_caller_that_says_nothing_is_dropped_in_time(store: Path) -> None:
    with socket.socket(socket.AF_UNIX) as call:
        call.settimeout(SOON_S)
        call.connect(str(store / NAME))
        assert "fault" in json.loads(call.makefile("rb").readline())


def test_callers_at_once_are_bounded(tmp_path: Path) -> None:
    release = threading.Event()

    def slow(request: dict[str, Any]) -> dict[str, Any]:
        release.wait(SOON_S)
        return {"journal": 1}

    control = Control(tmp_path, slow)
    control.start()
    calls = [socket.socket(socket.AF_UNIX) for _ in range(MOST_CALLERS)]
    try:
        for call in calls:
            call.settimeout(SOON_S)
            call.connect(str(tmp_path / NAME))
            call.sendall(b"{}\n")
        refused = ask(tmp_path, {"kind": "cast"}, SOON_S)
        assert "callers" in refused["fault"]
        release.set()
        assert [json.loads(call.makefile("rb").readline()) for call in calls] == [{"journal": 1}] * len(calls)
    finally:
        release.set()
        for call in calls:
            call.close()
        control.stop()


def test_nobody_there_is_an_oserror(tmp_path: Path) -> None:
    with pytest.raises(OSError, match=r"No such file|Connection refused"):
        ask(tmp_path, {"kind": "cast"}, 1.0)


def test_a_socket_left_by_a_killed_process_is_replaced(tmp_path: Path) -> None:
    dead = socket.socket(socket.AF_UNIX)
    dead.bind(str(tmp_path / NAME))
    dead.close()
    control = Control(tmp_path, _echo)
    control.start()
    assert ask(tmp_path, {}, SOON_S)["journal"] == 7
    control.stop()
    assert not (tmp_path / NAME).exists()


def test_a_store_may_lie_deeper_than_a_sockets_name_is_long(tmp_path: Path) -> None:
    deep = tmp_path / ("d" * 60) / ("e" * 60)
    deep.mkdir(parents=True)
    control = Control(deep, _echo)
    control.start()
    assert ask(deep, {"kind": "cast"}, SOON_S)["journal"] == 7
    control.stop()


def test_who_has_closed_is_gone_and_who_has_only_ended_the_request_is_not() -> None:
    here, there = socket.socketpair(socket.AF_UNIX)
    with here, there:
        there.sendall(b"{}\n")
        assert not is_gone(here)
        there.shutdown(socket.SHUT_WR)
        assert not is_gone(here)
        there.close()
        assert is_gone(here)
