"""The dates of calibration and bump test: kept as they are written, refused where they are none."""

from pathlib import Path

import pytest

from gateway import settings
from tests.scenarios.floor import CONFIG


def lay_out(folder: Path, more: str) -> Path:
    """The example site with `more` at its end, in a folder of its own."""
    for one in CONFIG.parent.glob("*.toml"):
        (folder / one.name).write_text(one.read_text())
    site = folder / CONFIG.name
    site.write_text(f"{CONFIG.read_text()}\n{more}")
    return site


def _with(tmp_path: Path, line: str) -> Path:
    site = lay_out(tmp_path, "")
    text = site.read_text()
    site.write_text(text.replace('id = "lower-room-co2"\n', f'id = "lower-room-co2"\n{line}\n'))
    return site


def test_dates_are_kept(tmp_path: Path) -> None:
    site = _with(tmp_path, 'calibrated = "2026-02-01"\nbump_tested = "2026-03-04"')
    probe = settings.load(site, {}, with_secrets=False).site.probe["lower-room-co2"]
    assert (probe.calibrated, probe.bump_tested) == ("2026-02-01", "2026-03-04")


@pytest.mark.parametrize("bad", ["2026-02-30", "yesterday", "01.02.2026"])
def test_what_is_no_date_is_refused(tmp_path: Path, bad: str) -> None:
    with pytest.raises(settings.SiteFault, match=r"calibrated.*expected a date"):
        settings.load(_with(tmp_path, f'calibrated = "{bad}"'), {}, with_secrets=False)


def test_how_often_without_the_last_time_is_warned_of(tmp_path: Path) -> None:
    site = _with(tmp_path, "calibrate_every_days = 90\nbump_every_days = 0")
    found = settings.load(site, {}, with_secrets=False)
    assert ["calibrate_every_days" in str(one) for one in found.warnings] == [True]
    assert found.site.probe["lower-room-co2"].calibrate_every_days == 90.0
    assert found.site.probe["lower-room-co2"].bump_every_days == 0.0


@pytest.mark.parametrize(("said", "warned"), [("true", True), ("false", False)])
def test_a_gas_probe_that_sets_its_own_zero_is_warned_of(tmp_path: Path, said: str, warned: bool) -> None:
    site = _with(tmp_path, f"self_baseline = {said}")
    found = settings.load(site, {}, with_secrets=False)
    assert ["self_baseline" in str(one) for one in found.warnings].count(True) == warned
