"""A file of the kiln's physics: what is wrong in it is named with its file, line, key and value."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway import settings
from gateway.settings import check
from gateway.settings.kiln import shipped
from tests.settings.sites import SITE, line_of, write

CONFIG = Path(__file__).resolve().parents[2] / "config"
LINE = 'time_zone = "Europe/London"\n'


def faults(folder: Path, text: str) -> list[str]:
    """Each fault of a site whose kiln has this file."""
    (folder / "kiln.toml").write_text(text)
    found, _ = check(write(folder, SITE.replace(LINE, f'{LINE}kiln_physics_file = "kiln.toml"\n')), {})
    assert all(one.blocks for one in found)
    return [str(one) for one in found]


def test_a_file_of_few_figures_is_good_and_the_rest_is_shipped(tmp_path: Path) -> None:
    assert faults(tmp_path, "[kiln_watch]\ndepth_cm = 50\n") == []
    assert faults(tmp_path, "") == []


@pytest.mark.parametrize(
    ("text", "key", "expected"),
    [
        ("[kiln_watch]\ndepht_cm = 50\n", 'kiln_watch.depht_cm = "depht_cm"', "one of depth_cm, barley_t"),
        ("[kiln_wotch]\ndepth_cm = 50\n", 'kiln_wotch = "kiln_wotch"', "one of the tables isotherm"),
        ('[kiln_watch]\ndepth_cm = "deep"\n', 'kiln_watch.depth_cm = "deep"', "a number from 0 to 1,000,000"),
        ("[kiln_watch]\ndepth_cm = true\n", "kiln_watch.depth_cm = true", "a number from 0 to 1,000,000"),
        ("[kiln_watch]\ndepth_cm = -1\n", "kiln_watch.depth_cm = -1", "a number from 0 to 1,000,000"),
        ("[kiln_watch]\ndepth_cm = nan\n", "kiln_watch.depth_cm = nan", "a number from 0 to 1,000,000"),
        ("[kiln_watch]\ndepth_cm = inf\n", "kiln_watch.depth_cm = inf", "a number from 0 to 1,000,000"),
        ("[kiln_watch]\ndepth_cm = [3]\n", "kiln_watch.depth_cm = [3]", "a number from 0 to 1,000,000"),
        ("[moisture]\nlayers = 0\n", "moisture.layers = 0", "a whole number from 1 to 50"),
        ("[moisture]\nlayers = 10.5\n", "moisture.layers = 10.5", "a whole number from 1 to 50"),
        ("[moisture]\nlayers = 1000000\n", "moisture.layers = 1000000", "a whole number from 1 to 50"),
        ("moisture = 3\n", "moisture = 3", "a table"),
    ],
)
def test_a_figure_that_is_none_is_named(tmp_path: Path, text: str, key: str, expected: str) -> None:
    (said,) = faults(tmp_path, text)
    line = line_of(text, text.split("\n")[-2])
    if text.startswith("[kiln_wotch"):
        line = 1
    assert said.startswith(f"{tmp_path / 'kiln.toml'}:{line}: {key}: expected {expected}"), said


@pytest.mark.parametrize(
    "limits",
    [
        "[[0.2, 50], [0.3, 45], [0.0, 75]]",
        "[[0.3, 45], [0.3, 50], [0.0, 75]]",
        "[[0.3, 45], [0.2, 50]]",
        "[[0.3, 45], [0.0]]",
        '[["wet", 45], [0.0, 75]]',
        "[[1.3, 45], [0.0, 75]]",
        "[[0.3, nan], [0.0, 75]]",
        "[]",
        "45",
        "[0.3, 45]",
    ],
)
def test_limits_that_do_not_go_from_wet_to_dry_are_refused(tmp_path: Path, limits: str) -> None:
    (said,) = faults(tmp_path, f"[kiln_watch]\nwet_limits = {limits}\n")
    assert said.startswith(f"{tmp_path / 'kiln.toml'}:2: kiln_watch.wet_limits = "), said
    assert said.endswith("expected pairs [moisture as a share, C], the wettest first, the last at 0")


def test_what_is_no_toml_and_what_is_not_there_are_told_as_such(tmp_path: Path) -> None:
    (said,) = faults(tmp_path, "[kiln_watch\n")
    assert said.startswith(f"{tmp_path / 'kiln.toml'}:1: ")
    (tmp_path / "kiln.toml").unlink()
    found, _ = check(write(tmp_path, SITE.replace(LINE, f'{LINE}kiln_physics_file = "kiln.toml"\n')), {})
    assert [one.key for one in found] == ["site.kiln_physics_file"]


def test_grain_is_held_against_the_wettest_limit_that_it_reaches() -> None:
    watch = shipped().kiln_watch
    assert [watch.wet_limit_c(wet) for wet in (0.44, 0.30, 0.29, 0.15, 0.09, 0.04)] == [
        45,
        45,
        50,
        62,
        75,
        110,
    ]


def test_a_hotter_programme_is_a_file_of_its_own_chosen_by_name(tmp_path: Path) -> None:
    """The shipped example of one: the site's kiln names it, and the example's own stays as it is."""
    text = (CONFIG / "quern-hill.toml").read_text()
    text = text.replace(
        'programme_files = ["floor-programme.toml", "kiln-programme.toml"]',
        'programme_files = ["floor-programme.toml", "kiln-programme.toml", "kiln-pale-programme.toml"]',
    ).replace('programme = "kiln"', 'programme = "kiln-pale"')
    for name in ("floor-programme.toml", "kiln-programme.toml", "kiln-pale-programme.toml"):
        (tmp_path / name).write_text((CONFIG / name).read_text())
    (tmp_path / "site.toml").write_text(text)
    site = settings.load(tmp_path / "site.toml", {}, with_secrets=False).site
    hot = site.programme[site.place["kiln"].programme or ""]
    assert [stage.after for stage in hot.stages] == ["hours", "break", "dry"]
    assert hot.stages[-1].dry_wb == 0.08
    example = settings.load(CONFIG / "quern-hill.toml", {}, with_secrets=False).site.programme["kiln"]
    assert max(stage.limit_c for stage in example.stages) < max(stage.limit_c for stage in hot.stages)
