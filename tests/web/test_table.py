"""The page's table of the site file: what it refuses, and what it takes."""

import pytest

from gateway.settings.load import check_text

HEAD = '[site]\nid = "quern-hill"\ntime_zone = "Europe/London"\n[web]\n'


def _faults(table: str) -> list[str]:
    return [str(one) for one in check_text(HEAD + table)[0] if "web" in str(one)]


@pytest.mark.parametrize(
    "table",
    [
        'listen = "0.0.0.0:8480"',
        'listen = "192.0.2.7:8480"',
        'listen = "0.0.0.0:8480"\nplain_http_can_be_read_by_others = false',
        'cert_file = "page.pem"',
        'trusted_proxies = ["elsewhere"]',
        "idle_h = 0",
        "port = 1",
    ],
)
def test_what_it_refuses(table: str) -> None:
    assert len(_faults(table)) == 1


@pytest.mark.parametrize(
    "table",
    [
        "",
        'listen = "127.0.0.1:8480"',
        'listen = "[::1]:8480"',
        'listen = "0.0.0.0:8480"\nplain_http_can_be_read_by_others = true',
        'listen = "0.0.0.0:8480"\ntrusted_proxies = ["192.0.2.1"]',
        'listen = "0.0.0.0:8480"\ncert_file = "page.pem"\nkey_file = "page.key"',
    ],
)
def test_what_it_takes(table: str) -> None:
    assert _faults(table) == []
