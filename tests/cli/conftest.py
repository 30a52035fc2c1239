"""What the tests of the command line share: one site and one night, made once, never written to."""

import shutil
from pathlib import Path

import pytest

from tests.cli.house import short_night, site_file, site_of


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site file that can be used."""
    return site_file(tmp_path_factory.mktemp("site"))


@pytest.fixture(scope="session")
def night(tmp_path_factory: pytest.TempPathFactory, site: Path) -> Path:
    """A store to read from."""
    return short_night(tmp_path_factory.mktemp("night") / "store", site_of(site))


@pytest.fixture
def store(night: Path, tmp_path: Path) -> Path:
    """A copy of that store to write to."""
    return Path(shutil.copytree(night, tmp_path / "store"))
