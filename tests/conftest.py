"""What every test run shares: which tests are left out here, and how many of each."""

import importlib.util
import shutil
from collections import Counter
from pathlib import Path

import pytest

from tests.broker import broker, brokers, mosquitto_path
from tests.timeseries import proxies, series_server, server_path

__all__ = ["broker", "brokers", "proxies", "series_server"]

ROOT = Path(__file__).resolve().parent.parent
CHROMIUM = Path("/usr/bin/chromium")
DATA = ROOT.parent / "shared" / "data"

_left_out: Counter[str] = Counter()


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--long` adds the slow tests."""
    parser.addoption("--long", action="store_true", help="run the tests marked `long` too")


def pytest_configure(config: pytest.Config) -> None:
    """The mark of the browser's tests."""
    config.addinivalue_line("markers", "browser: needs chromium and playwright; left out and counted")


def browser_found() -> bool:
    """Whether there is a browser, and what drives it."""
    return CHROMIUM.exists() and importlib.util.find_spec("playwright") is not None


def _reason(item: pytest.Item, config: pytest.Config) -> str | None:
    """Why this test cannot or shall not run here; None if it runs."""
    if item.get_closest_marker("long") and not config.getoption("--long"):
        return "long (add --long)"
    if item.get_closest_marker("broker") and not mosquitto_path():
        return "need mosquitto (apt-get install mosquitto mosquitto-clients)"
    if item.get_closest_marker("series") and not server_path():
        return "need victoria-metrics (apt-get install victoria-metrics)"
    if item.get_closest_marker("systemd") and not shutil.which("systemd-analyze"):
        return "need systemd-analyze (apt-get install systemd)"
    if item.get_closest_marker("browser") and not browser_found():
        return "need chromium and playwright (apt-get install chromium; pip install playwright)"
    if item.get_closest_marker("data") and not DATA.is_dir():
        return "need the recorded series, which are not beside this clone"
    return None


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Slow ones are deselected, impossible ones skipped; both are counted."""
    chosen: list[pytest.Item] = []
    dropped: list[pytest.Item] = []
    for item in items:
        if {"broker", "brokers"} & set(getattr(item, "fixturenames", ())):
            item.add_marker("broker")
        if "series_server" in getattr(item, "fixturenames", ()):
            item.add_marker("series")
        reason = _reason(item, config)
        if reason:
            _left_out[reason] += 1
        if reason and reason.startswith("long"):
            dropped.append(item)
            continue
        if reason:
            item.add_marker(pytest.mark.skip(reason=reason))
        chosen.append(item)
    if dropped:
        config.hook.pytest_deselected(items=dropped)
        items[:] = chosen


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say what was left out, even if it is nothing."""
    parts = ", ".join(f"{count} {reason}" for reason, count in sorted(_left_out.items()))
    terminalreporter.write_line(f"left out: {parts or 'nothing'}")
