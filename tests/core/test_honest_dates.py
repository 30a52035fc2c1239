"""Calibration and bump test by the dates in the site file: due to the day, by local time, and over again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from gateway.core import engine
from gateway.core.follow import honest_dates
from gateway.core.inputs import PutOutOfService, SiteChanged
from gateway.core.site import Site
from tests.core.desk import Desk, site, temperature
from tests.core.test_honest import _begun, _ended, _row

KIND = "probe_calibration_due"
DAY_MIN = 1440


def _site(**dates: object) -> Site:
    """The small site; its gas probe `air` has these dates. It is the evening of 2026-03-02 there."""
    small = site()
    return replace(
        small,
        probes=tuple(replace(one, **dates) if one.id == "air" else one for one in small.probes),  # type: ignore[arg-type]
    )


def test_a_gas_probe_is_due_on_the_day_and_not_before() -> None:
    desk = Desk(_site(calibrated="2025-09-04", bump_tested="2026-02-27"))
    assert _row(desk, "air")["calibration_due"] == "2026-03-03"
    assert _row(desk, "air")["bump_due"] == "2026-03-29"
    desk.wait(239)
    assert _begun(desk, KIND) == []
    # Four hours from 20:00 to midnight; a look at least each hour, and five minutes for the grid of looks.
    desk.wait(240 + 65)
    assert _begun(desk, KIND) == ["air"]
    (raised,) = desk.alarms(KIND)
    assert raised.priority == "low"
    assert _row(desk, "air")["why"] == "calibration due 2026-03-03"
    assert _row(desk, "air")["state"] == "silent", "what is due is no doubt about what it says"


def test_nobody_is_rung_and_the_morning_list_has_it() -> None:
    desk = Desk(_site(bump_tested="2026-01-01"))
    for minute in range(1, DAY_MIN, 4):
        desk.read(minute, "air", 500.0 + minute % 3)
    [text] = [one.text for one in desk.notices() if "air" in one.text]
    assert text.startswith("MORNING LIST")
    assert "PROBE air WANTS A CHECK" in text


def test_a_new_date_in_the_site_file_ends_it() -> None:
    desk = Desk(_site(bump_tested="2026-01-01"))
    desk.wait(10)
    assert _begun(desk, KIND) == ["air"]
    desk.lay(11, SiteChanged(_site(bump_tested="2026-03-02")))
    desk.wait(20)
    assert _ended(desk, KIND) == ["air"]
    assert _row(desk, "air")["why"] is None


def test_out_of_service_ends_it() -> None:
    desk = Desk(_site(bump_tested="2026-01-01"))
    desk.wait(10)
    desk.lay(11, PutOutOfService("air"))
    desk.wait(90)
    assert _ended(desk, KIND) == ["air"]


@pytest.mark.parametrize(
    ("dates", "expected"),
    [
        ({}, (None, None)),
        ({"calibrated": "2026-01-01"}, (date(2026, 6, 30), None)),
        ({"calibrated": "2026-01-01", "calibrate_every_days": 10.0}, (date(2026, 1, 11), None)),
        ({"calibrated": "2026-01-01", "calibrate_every_days": 0.0}, (None, None)),
        ({"bump_tested": "2026-01-31"}, (None, date(2026, 3, 2))),
        ({"bump_tested": "9999-12-31"}, (None, None)),
    ],
)
def test_the_day_is_counted_from_the_last_time(
    dates: dict[str, object], expected: tuple[date | None, date | None]
) -> None:
    made = _site(**dates)
    assert honest_dates.due(made, made.probe["air"]) == expected


def test_a_thermometer_is_never_due_unless_its_row_says_so() -> None:
    made = site()
    warm = replace(temperature("t", "bed-a"), calibrated="2020-01-01", bump_tested="2020-01-01")
    assert honest_dates.due(made, warm) == (None, None)
    yearly = replace(warm, calibrate_every_days=365.0)
    assert honest_dates.due(made, yearly) == (date(2020, 12, 31), None)


def test_a_restart_says_nothing_again() -> None:
    desk = Desk(_site(bump_tested="2026-01-01"))
    desk.wait(10)
    desk.state = engine.load(engine.dump(desk.state))
    desk.wait(10 * 60)
    assert _begun(desk, KIND) == ["air"]
    assert _row(desk, "air")["why"] == "bump due 2026-01-31"
