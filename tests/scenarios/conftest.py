"""What the stories share: a folder for stores (in memory where there is such a place), a site, a night."""

import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gateway import settings
from gateway.settings import Settings
from tests.cli.house import site_file
from tests.scenarios.floor import HOUR, Night, live, ms
from tests.scenarios.gate import Alarm, Gate, Hand
from tests.scenarios.story import replayed, story

MEMORY = Path("/dev/shm")  # noqa: S108 - the kernel's own place; each test takes a fresh folder in it


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    """A fresh folder, gone afterwards."""
    try:
        made = Path(tempfile.mkdtemp(prefix="malting-", dir=MEMORY))
    except OSError:
        yield tmp_path
        return
    yield made
    shutil.rmtree(made, ignore_errors=True)


@pytest.fixture(scope="session")
def quern_hill(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """The example site, checked."""
    return settings.load(site_file(tmp_path_factory.mktemp("site")), {})


@pytest.fixture
def gates(folder: Path, quern_hill: Settings) -> Iterator[Callable[..., Gate]]:
    """`gates(start_ms)` makes a gateway on a store of its own; all are closed after the test."""
    made: list[Gate] = []

    def make(start_ms: int, site: Settings = quern_hill) -> Gate:
        one = Gate(folder / f"store-{len(made)}", site, Hand(start_ms))
        made.append(one)
        one.open()
        return one

    yield make
    for one in made:
        one.close()


@pytest.fixture(scope="session")
def hot_night() -> Night:
    """Thursday night: bed C warms through 22 and 25 C and is turned at 00:48; nothing else happens."""
    night = live("2026-03-05T20:00:00Z", 6.0, turns=[(4.8, "bed-c")])
    assert night.start_ms == ms("2026-03-05T20:00:00Z")
    return night


@pytest.fixture(scope="session")
def full_night() -> Night:
    """Eight hours with a hot bed, bad air behind closed shutters, and probes that fall silent."""
    silent: list[tuple[float, dict[str, object]]] = [
        (5.0, {"silent": {"probe": f"bed-d-{one}", "for_s": 5000}}) for one in ("low", "mid", "top")
    ]
    orders: list[tuple[float, dict[str, object]]] = [
        (0.5, {"silent": {"probe": "bed-a-mid", "for_s": 7200}}),
        (1.0, {"draught": {"place": "lower", "amount": 0.0}}),
        *silent,
        (6.5, {"draught": {"place": "lower", "amount": 3.0}}),
    ]
    turns = [(3.1, "bed-a"), (3.4, "bed-d"), (3.7, "bed-b"), (4.8, "bed-c")]
    return live("2026-03-05T20:00:00Z", 8.0, turns=turns, orders=orders)


@pytest.fixture(scope="session")
def undisturbed(
    full_night: Night, quern_hill: Settings, tmp_path_factory: pytest.TempPathFactory
) -> list[Alarm]:
    """The alarms of that night over a good link, on a gateway that never stops."""
    gate = Gate(tmp_path_factory.mktemp("undisturbed"), quern_hill, Hand(full_night.start_ms))
    gate.open()
    story(gate, full_night).until(full_night.start_ms + 8 * HOUR)
    found = gate.alarms()
    assert {one.kind for one in found} == {
        "bed_hot", "bed_unwatched", "gas_high", "probe_silent", "turn_overdue",
    }  # fmt: skip
    replayed(gate)
    gate.close()
    return found
