"""One small site with its credentials for all tests that only read them, and brokers as on a board."""

from collections.abc import Callable, Iterator

import pytest

from tests.deploy.board import BoardBroker, Site, make_site


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Two probes and the gateway, with passwords and certificates."""
    return make_site(tmp_path_factory.mktemp("site"), certificates=True)


@pytest.fixture
def board_brokers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., BoardBroker]]:
    """`board_brokers(site, certificates=False)` starts one; all are gone after the test."""
    made: list[BoardBroker] = []

    def make(site: Site, *, certificates: bool = False) -> BoardBroker:
        one = BoardBroker(
            tmp_path_factory.mktemp("board-broker"), site.credentials, certificates=certificates
        )
        made.append(one)
        one.start()
        return one

    yield make
    for one in made:
        one.discard()
