"""Evenness: spreads and places by name."""

from gateway.core.estimate.evenness import Lie, Spot, evenness

LIE = Lie(10.0, 22.0, 15.0)


def test_six_thermometers_tell_the_spread_over_height_and_along() -> None:
    spots = [
        Spot("a", 16.0, 3.0, 12.0), Spot("b", 18.5, 8.0, 12.0), Spot("c", 17.0, 13.0, 12.0),
        Spot("d", 15.0, 3.0, 21.0), Spot("e", 19.5, 8.0, 21.0), Spot("f", 16.5, 13.0, 21.0),
    ]  # fmt: skip
    found = evenness(spots, LIE)
    assert found is not None
    assert (found.spread_k, found.over_height_k, found.along_k) == (4.5, 4.5, 1.0)
    assert (found.coldest.spot.probe, found.coldest.words) == ("d", "bottom, kiln end")
    assert (found.hottest.spot.probe, found.hottest.words) == ("e", "middle, kiln end")


def test_heights_of_different_places_are_not_one_profile() -> None:
    found = evenness([Spot("a", 16.0, 3.0, 12.0), Spot("b", 18.0, 12.0, 21.0)], LIE)
    assert found is not None
    assert (found.spread_k, found.over_height_k, found.along_k) == (2.0, None, None)


def test_heights_with_no_place_told_hang_in_one() -> None:
    found = evenness([Spot("a", 16.0, 3.0), Spot("b", 18.0, 12.0)], LIE)
    assert found is not None
    assert (found.over_height_k, found.along_k) == (2.0, None)
    assert (found.coldest.words, found.hottest.words) == ("bottom", "top")


def test_one_thermometer_tells_no_spread_and_none_nothing() -> None:
    found = evenness([Spot("a", 16.0)])
    assert found is not None
    assert (found.spread_k, found.over_height_k, found.along_k) == (None, None, None)
    assert found.hottest.words == "at a"
    assert evenness([]) is None


def test_without_a_recorded_depth_heights_are_named_by_the_probes_themselves() -> None:
    found = evenness([Spot("a", 16.0, 3.0, 12.0), Spot("b", 18.0, 12.0, 12.0)], Lie(10.0, 22.0))
    assert found is not None
    assert (found.coldest.words, found.hottest.words) == ("bottom, steep end", "top, steep end")


def test_neighbours_in_a_long_row_are_not_chained_into_one_place() -> None:
    spots = [Spot(f"p{i}", 16.0 + i, 5.0 + 2.0 * i, 12.0 + 0.9 * i) for i in range(4)]
    found = evenness(spots, LIE)
    assert found is not None
    assert found.over_height_k == 1.0
