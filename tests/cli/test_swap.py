"""Another instrument in a probe's place: the site file, the gateway that runs, what the next shift reads."""

from __future__ import annotations

import difflib
import re
import shlex
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from gateway import settings
from gateway.cli.words import parser
from gateway.errors import SettingsFault
from gateway.live import swap as live_swap
from gateway.settings.swap import swapped
from gateway.web.pages import probes
from tests.cli.house import site_file, type_in
from tests.cli.test_daemon import House, house, phone  # noqa: F401 - fixtures

CONFIG = Path(__file__).resolve().parents[2] / "config" / "quern-hill.toml"
TEXT = CONFIG.read_text()
PROBES = [row["id"] for row in tomllib.loads(TEXT)["probe"]]
NEW = "quern-hill/spare/3"


def lines_apart(before: str, after: str) -> list[str]:
    """The lines that were put in or taken out."""
    found = difflib.unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm="")
    return [line for line in list(found)[2:] if not line.startswith("@@")]


@pytest.mark.parametrize("probe", PROBES)
def test_one_line_changes_and_the_file_is_still_good(probe: str) -> None:
    row = next(row for row in tomllib.loads(TEXT)["probe"] if row["id"] == probe)
    asked = {key: row[key] for key in ("offset", "gain", "calibrated", "bump_tested") if key in row}
    fresh, before = swapped(TEXT, probe, {"topic": NEW, **asked})
    assert before == row
    apart = lines_apart(TEXT, fresh)
    assert apart == [f'+topic = "{NEW}"'] if "topic" not in row else len(apart) == 2
    assert settings.check_text(fresh)[0] == settings.check_text(TEXT)[0]
    site = {one["id"]: one for one in tomllib.loads(fresh)["probe"]}
    assert site[probe] == row | {"topic": NEW}


WRITTEN = """# our maltings
[[probe]]
id = "a" # the first
place = "bed"
topic = 'old/a' # was "old/x" once
offset = -0.3

  [[probe]]
  id = "b"
  place = "bed"
"""


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_comments_order_indents_and_line_ends_are_kept(ends: str) -> None:
    text = WRITTEN.replace("\n", ends)
    fresh, _ = swapped(text, "a", {"topic": 'new/"a"#\\', "offset": 0.25})
    fresh, _ = swapped(fresh, "b", {"topic": "new/b"})
    wanted = WRITTEN.replace("'old/a' #", '"new/\\"a\\"#\\\\" #').replace("-0.3", "0.25")
    wanted = wanted.replace('  id = "b"\n', '  id = "b"\n  topic = "new/b"\n')
    assert fresh == wanted.replace("\n", ends)


def test_the_old_instruments_calibration_is_not_taken_for_the_new_ones() -> None:
    with pytest.raises(SettingsFault, match=r"offset = -0\.3 was the old instrument's; say .* --offset"):
        swapped(WRITTEN, "a", {"topic": "new/a"})


@pytest.mark.parametrize(
    "text", ['probe = [{id = "a", place = "bed"}]\n', '[[probe]]\nid = "a"\ntopic = """\nx"""\n']
)
def test_what_cannot_be_done_line_by_line_is_told_to_be_done_by_hand(text: str) -> None:
    with pytest.raises(SettingsFault, match=r'by hand:\ntopic = "new/a"'):
        swapped(text, "a", {"topic": "new/a"})


def test_a_probe_that_is_none_is_told_the_nearest_name() -> None:
    with pytest.raises(SettingsFault, match="bed-c-mid"):
        swapped(TEXT, "bed-c-mit", {"topic": NEW})


def swap(site: Path, store: Path, *words: str, probe: str = "bed-c-mid", topic: str = NEW) -> tuple[int, str]:
    """Type it; the exit code and all that was said."""
    given = [
        "--site",
        site,
        "--store",
        store,
        "swap",
        probe,
        "--topic",
        topic,
        "--by",
        "ben",
        "--why",
        "cable cut",
    ]
    said = type_in(*given, *words)
    return said.code, said.out + said.err


def left(folder: Path) -> list[str]:
    """Half-written files beside the site file."""
    return [one.name for one in folder.iterdir() if one.name.endswith(".new")]


@pytest.mark.parametrize(
    ("words", "more", "says"),
    [
        ({"topic": "quern-hill/bed-c/bed-c-low"}, [], "topic"),
        ({"topic": "quern-hill/#"}, [], "topic"),
        ({"topic": "quern-hill/spare\x07"}, [], "topic"),
        ({"topic": NEW}, ["--gain", "0"], "gain"),
        ({"topic": NEW}, ["--offset", "nan"], "offset"),
        ({"topic": NEW}, ["--calibrated", "yesterday"], "calibrated"),
        ({"topic": NEW}, ["--value", "v"], "value"),
        ({"probe": "bed-x"}, [], "bed-x"),
    ],
)
def test_what_could_not_be_used_is_not_put_in_place(
    tmp_path: Path, words: dict[str, str], more: list[str], says: str
) -> None:
    site, store = site_file(tmp_path / "site"), tmp_path / "store"
    store.mkdir()
    before = site.read_bytes()
    code, said = swap(site, store, *more, **words)
    assert (code, site.read_bytes(), left(site.parent)) == (2, before, [])
    assert says in said
    assert "site.toml.new" not in said, "nobody has heard of that file"


def test_without_a_gateway_the_file_changes_and_keeps_its_mode(tmp_path: Path) -> None:
    site, store = site_file(tmp_path / "site"), tmp_path / "store"
    assert swap(site, store)[0] == 2, "a store that is not there is a slip of the pen"
    store.mkdir()
    site.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(site)
    code, said = swap(link, store)
    assert code == 0, said
    assert "no gateway runs on this store" in said
    assert site.stat().st_mode & 0o777 == 0o640
    assert link.is_symlink()
    assert settings.load(site, {}).site.probe["bed-c-mid"].topic == NEW
    again = swap(site, store, topic="quern-hill/bed-c/bed-c-mid")
    assert f"before: {NEW}" in again[1], "the way back is told"


def test_what_somebody_else_changed_meanwhile_is_not_lost(tmp_path: Path) -> None:
    site = site_file(tmp_path)
    was = site.read_bytes()
    theirs = was + b"# a word of Ben's\n"
    site.write_bytes(theirs)
    with pytest.raises(SettingsFault, match="somebody else has just changed it"):
        live_swap._put(site, was, was, {})
    assert (site.read_bytes(), left(site.parent)) == (theirs, [])


@pytest.mark.broker
def test_the_new_instrument_is_the_same_probe_to_the_gateway_that_runs(house: House) -> None:  # noqa: F811
    house.start("--clock", "topic")
    at_ms = 1_730_779_200_000  # 2024-11-05T04:00:00Z
    house.publish("bed-c/bed-c-mid", {"v": 15.5, "t": at_ms / 1000})
    house.barrier(at_ms + 10_000)
    code, said = swap(house.site, house.store)
    assert code == 0, said
    assert re.search(r"in force from journal entry \d+", said)
    house.publish("spare/3", {"v": 16.25, "t": at_ms / 1000 + 60})
    house.publish("bed-c/bed-c-mid", {"v": 99.0, "t": at_ms / 1000 + 61})
    house.barrier(at_ms + 70_000)
    rows = {row["probe"]: row for row in house.read("probes")["rows"]}
    assert (rows["bed-c-mid"]["value"], rows["bed-c-mid"]["place"]) == (16.25, "bed-c")
    notes = house.read("hand-over")["rows"]
    assert any("bed-c-mid was swapped" in str(one) and "cable cut" in str(one) for one in notes)


@pytest.mark.broker
def test_what_the_gateway_does_not_take_is_put_back(house: House) -> None:  # noqa: F811
    house.start("--clock", "topic")
    mine = house.site.read_text().replace('id = "quern-hill"', 'id = "elsewhere"', 1)
    house.site.write_text(mine)
    code, said = swap(house.site, house.store)
    assert (code, house.site.read_text(), left(house.site.parent)) == (2, mine, [])
    assert "does not take it" in said
    assert "belongs to 'quern-hill'" in said


def test_what_the_page_tells_to_type_is_a_command() -> None:
    site = settings.load(CONFIG, {}, with_secrets=False).site
    worn = replace(site.probes[0], offset=0.2, gain=1.1, calibrated="2025-11-05", bump_tested="2025-11-05")
    for probe in (*site.probes, worn):
        program, *words = shlex.split(probes.swap(probe).replace(" X", " 0.5"))
        asked = parser().parse_args(words)
        assert (program, asked.command, asked.probe) == ("malting-gateway", "swap", probe.id)
        assert (asked.offset is None) == (probe.offset == 0)
    asked = parser().parse_args(shlex.split(probes.swap(worn).replace(" X", " 0.5"))[1:])
    assert (asked.offset, asked.gain, asked.calibrated, asked.bump_tested) == (0.5, 0.5, "DAY", "DAY")
