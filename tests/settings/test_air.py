"""The air's part of the site file: lower as one likes, higher with a name and a reason; shipped figures."""

from pathlib import Path

import pytest

from gateway.core.estimate.shut_room import RoomSettings
from gateway.core.science.exposure_limits import limit_of
from gateway.settings import air, load
from gateway.settings.forms_air import RoomForm
from tests.settings.sites import SITE, faults_of, write

CONFIG = Path(__file__).resolve().parents[2] / "config"
SIGNED = 'safety_officer = "Edith Marsh"\nwhy = "a written reason"\n'


def _with(tables: str) -> str:
    return SITE + tables


def test_the_shipped_files_are_those_of_the_example_and_hold_the_cores_figures() -> None:
    for name in (air.LIMITS_FILE, air.ROOM_FILE):
        assert Path(air.__file__).with_name(name).read_text() == (CONFIG / name).read_text()
    assert air.shipped_room() == RoomSettings()
    assert set(RoomForm.model_fields) == set(RoomSettings.__dataclass_fields__)
    # Common practice for CO2, worked out from EH40's 20 and 100 for CO.
    assert air.shipped().instant == {
        ("co2", "hand_meter"): 5000.0, ("co2", "leave"): 15000.0, ("co", "leave"): 20.0,
        ("co", "evacuate"): 100.0,
    }  # fmt: skip


def test_the_example_has_the_law_of_its_country() -> None:
    site = load(CONFIG / "quern-hill.toml", {}, with_secrets=False).site
    co2, co = (limit_of(site.air.limits, "uk", one) for one in ("co2", "co"))
    assert co2 is not None
    assert co is not None
    assert (co2.mean_8_h, co2.mean_15_min, co.mean_8_h, co.mean_15_min) == (5000, 15000, 20, 100)
    assert "EH40" in co2.source
    assert site.place["bed-a"].full_t == 8.0


def test_without_a_jurisdiction_the_lowest_of_all_hold(tmp_path: Path) -> None:
    site = load(write(tmp_path, SITE), {}).site
    co = limit_of(site.air.limits, "", "co")
    assert co is not None
    assert (co.mean_8_h, co.mean_15_min, co.ceiling, co.danger) == (20, 100, 200, 1200)


@pytest.mark.parametrize(
    ("tables", "key", "value"),
    [
        ("[air]\nco2_no_entry_ppm = 8000\n", "air.co2_no_entry_ppm", "8000.0"),
        ("[air]\nco2_leave_ppm = 20000\n", "air.co2_leave_ppm", "20000.0"),
        ("[air]\nco_leave_ppm = 35\n", "air.co_leave_ppm", "35.0"),
        ("[air]\nco_evacuate_ppm = 101\n", "air.co_evacuate_ppm", "101.0"),
        (
            '[air]\njurisdiction = "uk"\n[[gas_limit]]\nsubstance = "co"\nmean_8_h = 30\n',
            "gas_limit[0].mean_8_h",
            "30.0",
        ),
        ('[air]\nco2_leave_ppm = 20000\nwhy = "nobody signed"\n', "air.co2_leave_ppm", "20000.0"),
        ('[air]\nco2_leave_ppm = 20000\nsafety_officer = "Edith Marsh"\n', "air.co2_leave_ppm", "20000.0"),
    ],
)  # fmt: skip
def test_a_higher_limit_takes_a_reason_and_a_name(tmp_path: Path, tables: str, key: str, value: str) -> None:
    [fault] = faults_of(tmp_path, _with(tables))
    assert (fault.key, fault.value) == (key, value)
    assert "safety_officer" in fault.expected
    if "why" not in tables and "officer" not in tables:
        signed = tables.replace("[air]\n", f"[air]\n{SIGNED}")
        assert load(write(tmp_path, _with(signed)), {}).site.air.safety_officer == "Edith Marsh"


def test_lower_ones_need_nobody(tmp_path: Path) -> None:
    tables = '[air]\njurisdiction = "us-niosh"\nco2_no_entry_ppm = 4000\nco_leave_ppm = 10\n'
    tables += '[[gas_limit]]\nsubstance = "co2"\nmean_8_h = 3000\n'
    site = load(write(tmp_path, _with(tables)), {}).site
    limit = limit_of(site.air.limits, "us-niosh", "co2")
    assert limit is not None
    assert (limit.mean_8_h, limit.mean_15_min, limit.danger) == (3000, 30000, 40000)
    assert (site.air.high_ppm, site.air.co_leave_ppm) == (4000.0, 10.0)


def test_a_places_own_level_is_held_to_the_same(tmp_path: Path) -> None:
    raised = SITE.replace('kind = "room"', 'kind = "room"\nco2_leave_ppm = 16000')
    [fault] = faults_of(tmp_path, raised)
    assert fault.key == "place[2].co2_leave_ppm"
    assert load(write(tmp_path, f"{raised}[air]\n{SIGNED}"), {}).site.place
    lower = SITE.replace('kind = "room"', 'kind = "room"\nco2_high_ppm = 3000')
    assert 3000.0 in [place.co2_high_ppm for place in load(write(tmp_path, lower), {}).site.places]


def test_a_list_of_its_own_is_held_to_the_shipped_one(tmp_path: Path) -> None:
    text = (CONFIG / air.LIMITS_FILE).read_text()
    (tmp_path / "own.toml").write_text(text.replace("mean_8_h = 20\n", "mean_8_h = 25\n", 1))
    [fault] = faults_of(tmp_path, _with('[air]\nlimits_file = "own.toml"\n'))
    assert (fault.key, fault.value) == ("air.limits_file", "uk co mean_8_h 25")
    (tmp_path / "own.toml").write_text(text.replace('jurisdiction = "eu"', 'jurisdiction = "elsewhere"'))
    tables = '[air]\nlimits_file = "own.toml"\njurisdiction = "elsewhere"\n'
    site = load(write(tmp_path, _with(tables)), {}).site
    assert limit_of(site.air.limits, "elsewhere", "co2") is not None


@pytest.mark.parametrize(
    ("tables", "key", "expected"),
    [
        ('[air]\njurisdiction = "mars"\n', "air.jurisdiction", "one of uk, us-osha, us-niosh, eu"),
        ("[air]\nco2_leave_ppm = 5000\n", "air.co2_leave_ppm", "more than co2_no_entry_ppm"),
        ('[air]\nemergency = "shout"\n', "air.emergency", "a number to ring"),
        ("[air]\noff_delay_s = 5\n", "air.off_delay_s", "60"),
        ('[air]\nlimits_file = "none.toml"\n', "air.limits_file", "no such file"),
        ('[[gas_limit]]\nsubstance = "tea"\n', "gas_limit[0].substance", "co2"),
    ],
)
def test_faults_name_the_key_and_what_was_expected(
    tmp_path: Path, tables: str, key: str, expected: str
) -> None:
    [fault] = faults_of(tmp_path, _with(tables))
    assert fault.key == key
    assert expected in fault.expected
