"""The mirror's token before somebody who looks at it: Debian's vmauth in front of victoria-metrics.

victoria-metrics itself takes any token. vmauth lets pass who has the one it was given; to another it answers
400, which is what a server says to a line it cannot read.
"""

import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import HOST, free_port, listening
from tests.contracts.mirror import Rig, samples_of
from tests.timeseries import START_S, SeriesServer

RIGHT = "the right token"


@pytest.fixture
def guarded(tmp_path: Path, series_server: SeriesServer) -> Iterator[str]:
    """The address of a vmauth that asks for the right token."""
    program = shutil.which("vmauth")
    if program is None:
        pytest.skip("needs vmauth (apt-get install victoria-metrics)")
    users = tmp_path / "users.yml"
    users.write_text(f'users:\n- bearer_token: "{RIGHT}"\n  url_prefix: "{series_server.url}/"\n')
    port = free_port()
    with (tmp_path / "vmauth.log").open("wb") as log:
        process = subprocess.Popen(
            [program, f"-auth.config={users}", f"-httpListenAddr={HOST}:{port}"], stdout=log, stderr=log
        )
    try:
        until_s = time.monotonic() + START_S
        while not listening(port):
            assert process.poll() is None, (tmp_path / "vmauth.log").read_text()
            assert time.monotonic() < until_s
        yield f"http://{HOST}:{port}"
    finally:
        process.terminate()
        process.wait()


def test_with_a_wrong_token_nothing_goes_and_nothing_is_lost(
    tmp_path: Path, guarded: str, series_server: SeriesServer
) -> None:
    rig = Rig(tmp_path / "store", guarded, token="not it")
    rig.everything(600)
    for _ in range(40):
        rig.pass_s(rig.mirror.turn())
    assert [(one.name, one.on) for one in rig.said] == [("mirror", True)]
    assert list(rig.reader.aside(10)) == [], "no line is at fault"
    assert series_server.samples() == []
    rig.close()

    rig = Rig(tmp_path / "store", guarded, token=RIGHT)
    rig.settle()
    found = series_server.samples()
    assert len(found) == len(set(found))
    assert set(found) == samples_of(rig.expected())
    assert list(rig.reader.aside(10)) == []
    rig.close()
