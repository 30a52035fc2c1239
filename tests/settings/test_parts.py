"""Lines of a TOML text, topics, times of day, units: the small parts the site file is checked with."""

import pytest

from gateway.settings import times, topic
from gateway.settings.locate import Lines
from gateway.settings.quantities import QUANTITIES, silent_after_s

TOML = '''\
# [not] a = 1
top = [
    1, # ] not the end
    "]", '[', { x = "#" },
]
"odd key" = """
[fake]
b = 2
""" # after
[site]
id = 'a = b'
dotted.deep = 1

  [[probe]]
  id = "one"
[[probe]] # the second
id = "two\\"["
list = [
[1],
]
last = \'\'\'
[[probe]]\'\'\'

[programme.floor]
[[programme.floor.day]]
day = 0
[[programme.floor.day]]
day = 1
[programme.floor.couch]
high_c = 20
[[programme.other.day]]
day = 7
[probe.more]
x = 1
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 2),
        (("top", 3), 2),
        (("odd key",), 6),
        (("site",), 10),
        (("site", "id"), 11),
        (("site", "dotted"), 12),
        (("site", "dotted", "deep"), 12),
        (("site", "missing"), 10),
        (("probe",), 14),
        (("probe", 0), 14),
        (("probe", 0, "id"), 15),
        (("probe", 1), 16),
        (("probe", 1, "id"), 17),
        (("probe", 1, "list", 0), 18),
        (("probe", 1, "last"), 21),
        (("probe", 1, "missing"), 16),
        (("programme", "floor"), 24),
        (("programme", "floor", "day", 0, "day"), 26),
        (("programme", "floor", "day", 1), 27),
        (("programme", "floor", "day", 1, "day"), 28),
        (("programme", "floor", "couch", "high_c"), 30),
        (("programme", "other", "day", 0, "day"), 32),
        (("probe", 1, "more", "x"), 34),
        (("nothing",), None),
        (("fake",), None),
    ],
)
def test_a_key_is_found_on_its_line(path: tuple[str | int, ...], line: int | None) -> None:
    assert Lines(TOML).find(path) == line


@pytest.mark.parametrize(
    "text", ["", "\n", "]", "= 1", '"', "'''", "[", "[[", "a", "a =", 'a = """', "a = [[["]
)
def test_what_is_no_toml_does_not_upset_the_search(text: str) -> None:
    assert Lines(text).find(("b",)) is None


# MQTT 5.0, section 4.7.1 (its own examples for # and +, from memory).
@pytest.mark.parametrize(
    ("wanted", "name", "same"),
    [
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/#", "sport", True),
        ("#", "a/b", True),
        ("sport/tennis/+", "sport/tennis/player1", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("/+", "/finance", True),
        ("+", "/finance", False),
        ("a/b", "a/b/c", False),
        ("a/b/c", "a/b", False),
    ],
)
def test_filters_match_as_the_standard_says(wanted: str, name: str, same: bool) -> None:
    assert topic.matches(wanted, name) is same


@pytest.mark.parametrize("good", ["#", "+", "a/+/b", "+/tennis/#", "/"])
def test_good_filters(good: str) -> None:
    assert topic.why_not_a_filter(good) is None


@pytest.mark.parametrize("bad", ["", "a#", "a/#/b", "a+", "$share/x/a", "a\x00", "a" * 257])
def test_bad_filters(bad: str) -> None:
    assert (topic.why_not_a_filter(bad) or "").startswith("a topic filter")


@pytest.mark.parametrize("bad", ["", "a/#", "+", "$SYS/x", "a\x00", "a\n", "\ud800", "é" * 129])
def test_bad_topics(bad: str) -> None:
    assert (topic.why_not_a_name(bad) or "").startswith("a topic")


def test_the_gateways_own_topics() -> None:
    own = ["q/gateway", "q/gateway/status", "q/clock", "q/clock/x", "q/sim", "q/sim/command"]
    assert [name for name in [*own, "q/gateways", "q/clocks", "r/clock", "q"] if topic.own("q", name)] == own


@pytest.mark.parametrize(("text", "minute"), [("00:00", 0), ("06:30", 390), ("23:59", 1439), ("24:00", 1440)])
def test_times_of_day(text: str, minute: int) -> None:
    assert times.minutes(text) == minute


@pytest.mark.parametrize("text", ["", "6:30", "24:01", "12:60", "06:30 ", "06:30\n", "٠٦:٣٠", "-1:00"])
def test_what_is_no_time_of_day(text: str) -> None:
    with pytest.raises(ValueError, match="HH:MM"):
        times.minutes(text)


@pytest.mark.parametrize(
    ("value", "days"),
    [
        ("daily", (0, 1, 2, 3, 4, 5, 6)),
        ("mon-fri", (0, 1, 2, 3, 4)),
        ("fri-mon", (0, 4, 5, 6)),
        ("sat", (5,)),
        (["mon", "wed", "mon"], (0, 2)),
        (["mon-tue", "sun"], (0, 1, 6)),
    ],
)
def test_days(value: object, days: tuple[int, ...]) -> None:
    assert times.days(value) == days


@pytest.mark.parametrize("value", [[], "", "monday", "mon-", 3, [3], None, [["mon"]], {"mon": 1}])
def test_what_are_no_days(value: object) -> None:
    with pytest.raises(ValueError, match="daily"):
        times.days(value)


@pytest.mark.parametrize(
    ("stretches", "gap"),
    [
        ([], ("mon 00:00", "sun 24:00")),
        ([(day, 0, 1440) for day in range(7)], None),
        ([(day, 1320, 1320 + 1440) for day in range(7)], None),
        ([(day, 0, 1440) for day in range(6)], ("sun 00:00", "sun 24:00")),
        ([(6, 0, 1440 + 60), *((day, 0, 1440) for day in range(1, 6))], ("mon 01:00", "tue 00:00")),
        ([(day, 0, 1439) for day in range(7)], ("mon 23:59", "tue 00:00")),
    ],
)
def test_the_first_gap_of_a_week(stretches: list[tuple[int, int, int]], gap: tuple[str, str] | None) -> None:
    assert times.first_gap(stretches) == gap


# Scales of hPa and ppm: RFC 8798, table 2; of /100, /1000 and ppb: the registry's later entries.
# 25 C is 298.15 K and 77 F; -40 is the same in C and F.
@pytest.mark.parametrize(
    ("quantity", "unit", "value", "fixed"),
    [
        ("temperature", "Cel", 25.0, 25.0),
        ("temperature", "K", 298.15, 25.0),
        ("temperature", "[degF]", 77.0, 25.0),
        ("temperature", "[degF]", -40.0, -40.0),
        ("humidity", "/", 0.5, 50.0),
        ("humidity", "/100", 50.0, 50.0),
        ("co2", "/", 0.02, 20_000.0),
        ("co2", "/100", 2.0, 20_000.0),
        ("co2", "/1000", 20.0, 20_000.0),
        ("co", "ppb", 30_000.0, 30.0),
        ("pressure_difference", "hPa", 0.12, 12.0),
        ("air_flow", "l/s", 500.0, 0.5),
        ("air_flow", "m3/h", 1800.0, 0.5),
    ],
)
def test_units_become_the_fixed_one(quantity: str, unit: str, value: float, fixed: float) -> None:
    assert QUANTITIES[quantity].units[unit](value) == pytest.approx(fixed, abs=1e-9)


def test_the_fixed_unit_changes_nothing() -> None:
    for quantity in QUANTITIES.values():
        assert quantity.units[quantity.fixed] == (1.0, 0.0)
        assert quantity.plausible[0] < quantity.plausible[1]


# 1800 s for beds and 300 s for gas: common practice, no source.
@pytest.mark.parametrize(
    ("quantity", "place", "every_s", "after_s"),
    [
        ("temperature", "bed", 60.0, 1800.0),
        ("co2", "bed", 60.0, 1800.0),
        ("co2", "room", 60.0, 300.0),
        ("co", "kiln", 60.0, 300.0),
        ("co2", "room", 600.0, 900.0),
        ("temperature", "room", 3600.0, 5400.0),
        ("temperature", "kiln", 60.0, 900.0),
    ],
)
def test_how_long_a_probe_may_be_silent(quantity: str, place: str, every_s: float, after_s: float) -> None:
    assert silent_after_s(quantity, place, every_s) == after_s
