"""The time-series server in the site file: none by default, its token read, its faults named."""

from pathlib import Path

import pytest

from gateway.settings import SeriesSettings, Settings, check, load
from tests.settings.sites import SITE, write

SERIES = """
[series]
url = "https://series.example:8086/"
org = "quern-hill"
bucket = "malt"
token_file = "secrets/series.token"
"""
TOKEN = "kX3_a-made-up-token=="


def written(folder: Path, series: str, token: str = TOKEN + "\n") -> Path:
    """A site file with that table, and the token's file."""
    path = write(folder, SITE + series)
    file = folder / "secrets" / "series.token"
    file.parent.mkdir(exist_ok=True)
    file.touch(0o600)
    file.write_text(token)
    return path


def loaded(folder: Path, series: str) -> Settings:
    """The settings with that table."""
    return load(written(folder, series), {})


def test_without_the_table_nothing_is_mirrored(tmp_path: Path) -> None:
    assert loaded(tmp_path, "").series is None


def test_the_table_names_the_server_and_its_token_is_read(tmp_path: Path) -> None:
    settings = loaded(tmp_path, SERIES)
    assert settings.series == SeriesSettings("https://series.example:8086", "quern-hill", "malt", TOKEN)
    assert settings.warnings == ()


def test_the_token_is_shown_to_nobody(tmp_path: Path) -> None:
    assert TOKEN not in repr(loaded(tmp_path, SERIES))


def test_what_may_be_said_besides(tmp_path: Path) -> None:
    (tmp_path / "ca.pem").write_text("-----BEGIN CERTIFICATE-----\n")
    more = "every_s = 60\nbatch = 100\ntimeout_s = 5\nalarm_after_s = 600\nnewest_days = 30\n"
    series = loaded(tmp_path, SERIES + more + 'tls_ca_file = "ca.pem"\n').series
    assert series is not None
    assert (series.batch, series.timeout_s, series.alarm_after_s, series.newest_days) == (100, 5, 600, 30)
    assert series.every_s == 60
    assert series.tls_ca_file == tmp_path / "ca.pem"


@pytest.mark.parametrize(
    ("old", "new", "key", "expected"),
    [
        ('bucket = "malt"\n', "", "series.bucket", "where to write"),
        ('"malt"', '""', "series.bucket", ""),
        ("https://", "ftp://", "series.url", "http"),
        ("//series", "//ada:word@series", "series.url", "an address alone"),
        ("8086/", "8086/?bucket=x", "series.url", "an address alone"),
        ("series.token", "none.token", "series.token_file", "a file that can be read"),
        ("[series]", "[series]\nbatch = 0", "series.batch", ""),
        ("[series]", "[series]\nretention = 3", "series.retention", ""),
    ],
)
def test_each_fault_is_named(tmp_path: Path, old: str, new: str, key: str, expected: str) -> None:
    faults, _ = check(written(tmp_path, SERIES.replace(old, new)), {})
    assert [fault.key for fault in faults] == [key]
    assert expected in faults[0].expected


@pytest.mark.parametrize("token", ["two words\n", "two\nlines\n", "ümlaut\n"])
def test_a_token_no_header_can_carry_is_named(tmp_path: Path, token: str) -> None:
    [fault] = check(written(tmp_path, SERIES, token), {})[0]
    assert fault.key == "series.token_file"
    assert "one line with the token" in fault.expected


def test_a_token_in_the_clear_is_warned_of(tmp_path: Path) -> None:
    _, warnings = check(written(tmp_path, SERIES.replace("https", "http")), {})
    assert [(one.key, one.expected[:5]) for one in warnings] == [("series.url", "https")]
    _, warnings = check(written(tmp_path, SERIES.replace("https://series.example", "http://127.0.0.1")), {})
    assert warnings == []
