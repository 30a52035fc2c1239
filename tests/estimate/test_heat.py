"""The heat of the beds: near, honest about doubt, silent where too little is known, and stored exactly."""

import json
import math
import time
from collections.abc import Callable
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.core import codec
from gateway.core.estimate.bed_heat import balance as bed_heat
from gateway.core.estimate.bed_heat.ahead import Air, Doubts, carry
from gateway.core.estimate.bed_heat.balance import Bed, Heat, Hung, Limit
from gateway.core.estimate.bed_heat.fit import Figures, Fit, Point, Stretch, fit
from gateway.core.estimate.bed_heat.fit import unseen as untaught
from tests.estimate import heat
from tests.estimate.heat_worlds import MINUTE_MS, START_MS, story

HOUR_MS = 3_600_000
TEN_MS = 10 * MINUTE_MS
Curve = Callable[[float], float]


def played(
    curves: dict[str, Curve],
    hours: float,
    bed: Bed,
    noise_k: float = 0.05,
    every_min: int = 1,
    seed: int = 1,
    room_c: Curve | None = lambda _: 12.0,
    step_c: float = 0.1,
) -> Heat:
    """Thermometers that follow curves (C by hours), with a room at 12 C."""
    rng = Random(seed)
    found = Heat()
    for minute in range(0, int(hours * 60) + 1, every_min):
        at_ms = START_MS + minute * MINUTE_MS
        for name, curve in curves.items():
            value = round((curve(minute / 60.0) + rng.gauss(0.0, noise_k)) / step_c) * step_c
            bed_heat.take(found, "b", name, at_ms, value, at_ms)
        if room_c is not None:
            bed_heat.over(found, "room", at_ms, room_c(minute / 60.0), at_ms)
        if minute % 10 == 0:
            bed_heat.consider(found, bed, at_ms)
    return found


def bed_with(*names: str, turned_ms: int | None = None) -> Bed:
    return Bed("b", tuple(Hung(name, turned_ms) for name in names), "room", START_MS - 72 * HOUR_MS)


def at(hours: float) -> int:
    return START_MS + int(hours * HOUR_MS)


def rising(from_c: float, k_per_h: float) -> Curve:
    return lambda hour: from_c + k_per_h * hour


def test_forecasts_are_near_and_their_bands_hold_on_a_few_unseen_beds() -> None:
    figures = heat.run(beds=20, seed=77)["all"]
    print(json.dumps(figures))  # noqa: T201
    assert figures["2h"]["n"] > 300
    assert figures["4h"]["n"] > 100
    assert figures["2h"]["median_k"] <= 0.3
    assert figures["4h"]["median_k"] <= 0.6
    for hours in ("1h", "2h", "4h"):
        assert 0.82 <= figures[hours]["coverage"] <= 0.98
    assert figures["not_yet_share"] <= 0.15


@pytest.mark.long
def test_forecasts_keep_their_aims_over_many_unseen_beds() -> None:
    figures = heat.run(beds=150, seed=91)
    print(json.dumps(figures))  # noqa: T201
    for kind in ("all", *heat.KINDS):
        assert figures[kind]["2h"]["median_k"] <= 0.3
        assert figures[kind]["4h"]["median_k"] <= 0.6
    for hours in ("1h", "2h", "4h"):
        assert 0.85 <= figures["all"][hours]["coverage"] <= 0.95
    assert figures["all"]["not_yet_share"] <= 0.1
    assert figures["all"]["one_k_more_min"]["coverage"] >= 0.85


def test_a_steady_rise_is_carried_on_and_reaches_its_limits() -> None:
    bed = bed_with("p")
    found = played({"p": rising(15.0, 0.6)}, 4.0, bed)
    limits = (Limit("turn_at", lambda _: 18.4), Limit("high", lambda _: 99.0), Limit("past", lambda _: 16.0))
    said = bed_heat.forecast(found, bed, at(4.0), limits, (at(6.0), at(3.0), at(40.0)))
    assert said.not_yet is None
    assert said.rate_k_per_h == pytest.approx(0.6, abs=0.1)
    assert [point.at_ms - at(4.0) for point in said.points] == [i * HOUR_MS // 2 for i in range(1, 25)]
    [moment] = said.moments
    assert moment.at_ms == at(6.0)
    assert moment.value_c == pytest.approx(18.6, abs=0.25)
    turn_at, high, past = said.limits
    assert turn_at.early_ms is not None
    assert turn_at.at_ms is not None
    assert abs(turn_at.at_ms - at(3.4 / 0.6)) < 30 * MINUTE_MS
    assert turn_at.early_ms < turn_at.at_ms
    assert turn_at.late_ms is None or turn_at.late_ms > turn_at.at_ms
    assert high.at_ms is None
    assert past.at_ms == at(4.0)


@pytest.mark.parametrize(("k_per_h", "every_min", "step_c"), [(0.9, 1, 0.1), (0.6, 1, 0.5), (0.9, 5, 0.1)])
def test_a_steady_rise_is_carried_on_with_no_thermometer_in_the_room(
    k_per_h: float, every_min: int, step_c: float
) -> None:
    """A bed that follows a straight line has shown what its room does to it, however warm that room is."""
    bed = Bed("b", (Hung("p", START_MS - 24 * HOUR_MS),), "room", START_MS - 48 * HOUR_MS)
    rise = {"p": rising(19.0, k_per_h)}
    for hours in (1.5, 2.5, 3.5, 4.5, 5.5):
        blind = played(rise, hours, bed, 0.0, every_min, room_c=None, step_c=step_c)
        told = bed_heat.forecast(blind, bed, at(hours), moments=(at(hours + 2.0),))
        assert told.not_yet is None, hours
        [moment] = told.moments
        assert moment.low_c < 19.0 + k_per_h * (hours + 2.0) < moment.high_c
        widths = [point.high_c - point.low_c for point in told.points[:8]]
        assert widths == sorted(widths)
        seeing = played(rise, hours, bed, 0.0, every_min, step_c=step_c)
        [sure] = bed_heat.forecast(seeing, bed, at(hours), moments=(at(hours + 2.0),)).moments
        assert moment.high_c - moment.low_c > sure.high_c - sure.low_c


@pytest.mark.parametrize("hours", [0.5, 1.0, 2.0, 4.0])
def test_an_untold_room_is_in_doubt_but_for_what_the_fit_took_up_of_it(hours: float) -> None:
    points = [Point(n / 6, 16.0 + 0.6 * n / 6, 12.0, 0.1, told=False) for n in range(int(hours * 6) + 1)]
    found = fit(Stretch(points, 48.0, 24.0), untaught(Figures()), Figures())

    def more_k(one: Fit) -> float:
        """By how much less is known two hours on than if the room were what is taken for it, K."""
        doubts, off = Doubts(0.1, 0.1, 0.0), [Air(12.0, 0.0, 0.5, untold_k) for untold_k in (3.0, 0.0)]
        untold, told = (carry(one, Figures(), air, doubts, 2.0)[-1].sd_k for air in off)
        return untold - told

    assert 0.0 < more_k(found) < 0.05, "a straight line has shown what that room does"
    assert more_k(found._replace(by_room=[0.0] * 4)) > 0.2, "had it not, it would be in doubt"


def test_with_no_thermometer_in_the_room_too_little_still_says_nothing() -> None:
    bed = Bed("b", (Hung("p", START_MS),), "room", START_MS - 48 * HOUR_MS)
    for hours in (0.3, 0.6, 0.8):
        blind = played({"p": rising(19.0, 0.9)}, hours, bed, room_c=None)
        assert bed_heat.forecast(blind, bed, at(hours)).not_yet is not None


@pytest.mark.long
def test_bands_hold_over_unseen_beds_with_no_thermometer_in_the_room() -> None:
    figures = heat.run(beds=30, seed=5, room_told=False)
    print(json.dumps(figures))  # noqa: T201
    for hours in ("1h", "2h", "4h"):
        assert 0.85 <= figures["all"][hours]["coverage"] <= 0.96
        for kind in heat.KINDS:
            assert figures[kind][hours]["coverage"] >= 0.8
    assert figures["all"]["not_yet_share"] <= 0.05


def test_a_turn_long_past_is_no_reason_where_hearing_began_lately() -> None:
    late = Bed("b", (Hung("p", START_MS - 9 * HOUR_MS),), "room", START_MS - 48 * HOUR_MS)
    why = bed_heat.forecast(played({"p": rising(16.0, 0.5)}, 0.4, late), late, at(1.0 / 3.0)).not_yet
    assert why == "turned 9 h 20 ago: heard for 20 min only since then"
    lately = Bed("b", (Hung("p", START_MS),), "room", START_MS - 48 * HOUR_MS)
    why = bed_heat.forecast(played({"p": rising(16.0, 0.5)}, 0.6, lately), lately, at(0.5)).not_yet
    assert why == "turned 30 min ago: too few readings since"


def test_bands_grow_with_the_hours_and_lie_round_the_middle() -> None:
    bed = bed_with("p")
    said = bed_heat.forecast(played({"p": rising(15.0, 0.4)}, 3.0, bed), bed, at(3.0))
    widths = [point.high_c - point.low_c for point in said.points]
    assert widths == sorted(widths)
    assert all(point.low_c < point.value_c < point.high_c for point in said.points)


def test_a_limit_that_ramps_with_the_day_is_met_where_the_two_lines_cross() -> None:
    bed = bed_with("p")
    found = played({"p": rising(15.0, 0.6)}, 4.0, bed)
    ramp = Limit("turn_at", lambda at_ms: 17.7 + 0.3 * (at_ms - at(4.0)) / HOUR_MS)
    [reach] = bed_heat.forecast(found, bed, at(4.0), (ramp,)).limits
    assert reach.at_ms is not None
    assert reach.limit_c == pytest.approx(ramp.at(reach.at_ms), abs=0.02)
    [flat] = bed_heat.forecast(found, bed, at(4.0), (Limit("turn_at", lambda _: 17.7),)).limits
    assert flat.at_ms is not None
    assert reach.at_ms > flat.at_ms


def test_the_hottest_to_come_is_forecast_not_the_hottest_now_nor_the_mean() -> None:
    bed = bed_with("now", "soon", "cold")
    curves = {"now": rising(17.0, 0.05), "soon": rising(14.5, 0.7), "cold": rising(13.0, 0.1)}
    said = bed_heat.forecast(played(curves, 3.0, bed), bed, at(3.0), moments=(at(5.0),))
    assert said.probe == "now"
    assert said.moments[0].value_c == pytest.approx(18.0, abs=0.3)


def test_a_probe_that_is_not_among_the_good_is_not_forecast() -> None:
    everyone, good = bed_with("bad", "good"), bed_with("good")
    found = played({"bad": rising(20.0, 1.0), "good": rising(15.0, 0.3)}, 3.0, everyone)
    said = bed_heat.forecast(found, good, at(3.0), moments=(at(5.0),))
    assert said.probe == "good"
    assert said.moments[0].value_c < 17.0


def no_number(said: bed_heat.Forecast, word: str) -> None:
    assert said.not_yet is not None
    assert word in said.not_yet
    assert (said.rate_k_per_h, said.probe, said.points, said.moments, said.limits) == (None, None, (), (), ())


def test_too_little_gives_a_reason_and_no_number() -> None:
    bed = bed_with("p")
    limits = (Limit("high", lambda _: 22.0),)
    no_number(bed_heat.forecast(Heat(), bed, at(1.0), limits), "no thermometer")
    for minutes in (0, 5, 20, 30):
        found = played({"p": rising(15.0, 0.5)}, minutes / 60.0, bed)
        no_number(bed_heat.forecast(found, bed, at(minutes / 60.0), limits, (at(6.0),)), "too few")
    found = played({"p": rising(15.0, 0.5)}, 3.0, bed)
    assert bed_heat.forecast(found, bed, at(3.0)).not_yet is None
    no_number(bed_heat.forecast(found, bed, at(3.7), limits), "no thermometer")
    turned = bed_with("p", turned_ms=at(2.6))
    no_number(bed_heat.forecast(found, turned, at(3.0), limits), "turned 24 min ago")


def test_a_thermometer_that_wavers_too_much_gives_no_number() -> None:
    bed = bed_with("p")
    found = played({"p": rising(15.0, 0.5)}, 0.9, bed, noise_k=1.2, every_min=5)
    said = bed_heat.forecast(found, bed, at(0.9))
    assert said.not_yet is not None or said.points[3].high_c - said.points[3].low_c > 1.5


def test_a_thermometer_that_speaks_each_half_hour_is_given_time() -> None:
    bed = bed_with("p")
    found = played({"p": rising(15.0, 0.5)}, 5.0, bed, every_min=30)
    said = bed_heat.forecast(found, bed, at(5.6), moments=(at(7.0),))
    assert said.moments[0].value_c == pytest.approx(18.5, abs=0.4)


def test_a_turn_nobody_told_of_is_seen_by_the_leap_and_the_forecast_begins_anew() -> None:
    bed = bed_with("p")
    fell: Curve = lambda hour: 15.0 + 0.6 * hour - (2.5 if hour >= 4.0 else 0.0)  # noqa: E731
    no_number(bed_heat.forecast(played({"p": fell}, 4.5, bed), bed, at(4.5)), "leapt")
    said = bed_heat.forecast(played({"p": fell}, 5.5, bed), bed, at(5.5), moments=(at(7.5),))
    assert said.moments[0].value_c == pytest.approx(17.0, abs=0.4)


def test_a_hotter_thermometer_that_cannot_be_reckoned_with_holds_the_forecast_up() -> None:
    bed = bed_with("p", "new")
    found = played({"p": rising(15.0, 0.3)}, 3.0, bed)
    for minute in range(170, 181):
        bed_heat.take(found, "b", "new", START_MS + minute * MINUTE_MS, 18.5, at(3.0))
    no_number(bed_heat.forecast(found, bed, at(3.0)), "too few")
    for minute in range(170, 181):
        bed_heat.take(found, "b", "new", START_MS + minute * MINUTE_MS, 12.0, at(3.0))
    cooler = played({"p": rising(15.0, 0.3)}, 3.0, bed)
    bed_heat.take(cooler, "b", "new", at(3.0), 14.0, at(3.0))
    assert bed_heat.forecast(cooler, bed, at(3.0)).not_yet is None


def test_a_burst_a_sentinel_and_a_reading_of_the_future_change_little() -> None:
    bed = bed_with("p")
    clean, spoilt = (played({"p": rising(15.0, 0.5)}, 4.0, bed) for _ in range(2))
    for value in (-9999.0, math.nan, math.inf, 85.0, 40.0):
        bed_heat.take(spoilt, "b", "p", at(3.5), value, at(4.0))
    bed_heat.take(spoilt, "b", "p", at(400.0), 17.0, at(4.0))
    one, other = (bed_heat.forecast(found, bed, at(4.0), moments=(at(6.0),)) for found in (clean, spoilt))
    assert one.moments[0].value_c == pytest.approx(other.moments[0].value_c, abs=0.05)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(("p", "q", "room")),
            st.integers(0, 40 * 60) | st.integers(-(2**40), 2**40),
            st.floats(allow_nan=True, allow_infinity=True) | st.floats(-25.0, 65.0),
        ),
        max_size=150,
    ),
    st.integers(0, 40 * 60) | st.none(),
)
def test_whatever_the_thermometers_say_a_forecast_is_finite_or_none(
    said: list[tuple[str, int, float]], turned: int | None
) -> None:
    bed = bed_with("p", "q", turned_ms=None if turned is None else START_MS + turned * MINUTE_MS)
    found = Heat()
    for i, (probe, minute, value) in enumerate(said):
        now_ms = START_MS + i * 12 * MINUTE_MS
        if probe == "room":
            bed_heat.over(found, "room", START_MS + minute * MINUTE_MS, value, now_ms)
        else:
            bed_heat.take(found, "b", probe, START_MS + minute * MINUTE_MS, value, now_ms)
        bed_heat.consider(found, bed, now_ms)
    now_ms = START_MS + len(said) * 12 * MINUTE_MS
    told = bed_heat.forecast(found, bed, now_ms, (Limit("high", lambda _: 22.0),), (now_ms + HOUR_MS,))
    for point in (*told.points, *told.moments):
        assert all(math.isfinite(value) for value in (point.value_c, point.low_c, point.high_c))
        assert point.low_c <= point.value_c <= point.high_c


def test_a_room_that_swings_widens_the_band() -> None:
    bed = bed_with("p")
    still, swings = (played({"p": rising(15.0, 0.3)}, 4.0, bed) for _ in range(2))
    swings.rooms.clear()
    for minute in range(0, 241, 5):
        now_ms = START_MS + minute * MINUTE_MS
        bed_heat.over(swings, "room", now_ms, 12.0 + 3.0 * math.sin(minute / 20.0), now_ms)
    one, other = (
        bed_heat.forecast(found, bed, at(4.0), moments=(at(8.0),)).moments[0] for found in (still, swings)
    )
    assert other.high_c - other.low_c > one.high_c - one.low_c + 0.2


def test_asking_changes_nothing_and_a_restart_anywhere_changes_nothing() -> None:
    told = story(2, hours=16.0)
    whole = [said for _, said in heat.forecasts(told)]
    again = [said for _, said in _restarted(told)]
    assert len(whole) > 20
    assert again == whole
    assert sum(said.not_yet is None for said in whole) > 10


def _restarted(told: heat.BedStory) -> list[tuple[int, bed_heat.Forecast]]:
    """The story stored and restored every ten minutes, with a forecast asked for in vain between."""
    found, i, out = Heat(), 0, []
    for at_ms in range(START_MS, START_MS + len(told.air_c) * MINUTE_MS, TEN_MS):
        while i < len(told.heard) and told.heard[i].at_ms <= at_ms:
            one = told.heard[i]
            i += 1
            if one.probe:
                bed_heat.take(found, "b", one.probe, one.measured_ms, one.value, one.at_ms)
            else:
                bed_heat.over(found, "room", one.measured_ms, one.value, one.at_ms)
        bed = heat.bed_of(told, at_ms)
        bed_heat.forecast(found, bed, at_ms)
        bed_heat.consider(found, bed, at_ms)
        found = codec.restore(Heat, json.loads(json.dumps(codec.plain(found))))
        if (at_ms - START_MS) % (3 * TEN_MS) == 0:
            moments = tuple(at_ms + h * HOUR_MS for h in heat.HORIZONS_H)
            limits = [Limit("one more", heat._warmer(told, at_ms))]
            out.append((at_ms, bed_heat.forecast(found, bed, at_ms, limits, moments)))
    return out


def test_a_clock_that_is_set_moves_what_is_kept() -> None:
    bed = bed_with("p")
    found = played({"p": rising(15.0, 0.5)}, 4.0, bed)
    before = bed_heat.forecast(found, bed, at(4.0))
    bed_heat.stepped(found, -2 * HOUR_MS)
    after = bed_heat.forecast(found, bed, at(2.0))
    assert after.rate_k_per_h == pytest.approx(before.rate_k_per_h, abs=0.02)


def _saw(from_c: float) -> Curve:
    return lambda hour: from_c + 0.4 * (hour % 8.0)


def test_six_thermometers_over_two_days_fit_into_the_state_a_bed_may_take() -> None:
    bed = bed_with(*"abcdef")
    saws = {name: _saw(14.0 + 0.1 * k) for k, name in enumerate("abcdef")}
    found = played(saws, 48.0, bed)
    size = len(json.dumps(codec.plain(found.beds["b"]), separators=(",", ":")))
    print(f"state of a bed with six thermometers: {size} bytes")  # noqa: T201
    assert size <= 10_000


@pytest.mark.long
def test_a_reading_costs_little() -> None:
    bed = bed_with(*"abcdef")
    found = played({name: rising(15.0, 0.3) for name in "abcdef"}, 8.0, bed)
    taking, considering = _costs(found, bed)
    print(f"take {taking:.2f} us, consider {considering:.2f} us a reading")  # noqa: T201
    assert taking <= 10.0
    assert considering <= 80.0


def _costs(found: Heat, bed: Bed) -> tuple[float, float]:
    """Microseconds of a reading taken, and of considering spread over the readings, the best of four."""
    taking, considering = [], []
    for hour in range(8, 12):
        takes = considers = 0.0
        for at_ms in range(at(hour), at(hour + 1), MINUTE_MS):
            began = time.perf_counter()
            for name in "abcdef":
                bed_heat.take(found, "b", name, at_ms, 18.0, at_ms)
            taken = time.perf_counter()
            if at_ms % TEN_MS == 0:
                bed_heat.consider(found, bed, at_ms)
            takes += taken - began
            considers += time.perf_counter() - taken
        taking.append(takes / 360.0 * 1e6)
        considering.append(considers / 360.0 * 1e6)
    return min(taking), min(considering)


def test_another_piece_starts_from_nothing() -> None:
    bed = bed_with("p")
    found = played({"p": rising(15.0, 0.5)}, 3.0, bed)
    bed_heat.forget(found, "b")
    no_number(bed_heat.forecast(found, bed, at(3.0)), "no thermometer")


def test_what_one_stretch_teaches_makes_the_next_ones_forecast_better() -> None:
    """A bed with a strong pull: a stretch of eight hours shows it, and the next one starts from that."""

    def pulled(hour: float) -> float:
        since = hour % 8.0
        return 17.0 - 3.0 * math.exp(-0.3 * since)

    turned: list[Any] = [bed_with("p"), bed_with("p", turned_ms=at(8.0))]
    taught = played({"p": pulled}, 7.9, turned[0])
    fresh = Heat()
    rng = Random(3)
    for minute in range(480, 571):
        value = round(pulled(minute / 60.0) + rng.gauss(0.0, 0.1), 1)
        for found in (taught, fresh):
            now_ms = START_MS + minute * MINUTE_MS
            bed_heat.take(found, "b", "p", now_ms, value, now_ms)
            bed_heat.over(found, "room", now_ms, 12.0, now_ms)
            if minute % 10 == 0:
                bed_heat.consider(found, turned[1], now_ms)
    true_c = pulled(13.5)
    off = [
        abs(bed_heat.forecast(found, turned[1], at(9.5), moments=(at(13.5),)).moments[0].value_c - true_c)
        for found in (taught, fresh)
    ]
    assert off[0] < off[1]
    assert off[0] <= 0.4
