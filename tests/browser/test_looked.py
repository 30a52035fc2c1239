"""What was found by looking at every page as somebody does at three in the morning, and by day with a tool in
the hand: the urgent first, no word cut, no time without its day."""

from __future__ import annotations

import dataclasses
import html
import re
from pathlib import Path
from typing import Any

import pytest

from gateway.web import desk, turn_page
from gateway.web.pages import alarms, floor
from gateway.web.pages.say import Say
from tests.browser import rare
from tests.browser.conftest import PHONE, account
from tests.browser.lived import Lived
from tests.browser.test_screens import Open, Serve
from tests.browser.test_stay_out import page


def _html(lived: Lived, path: str) -> str:
    return turn_page.get(lived, account("cleo"), path, {}, "t").html


def _pieces(lived: Lived) -> list[str]:
    told = _html(lived, "/pieces").split('<ul class="plainlist">')[1].split("</ul>")[0]
    return [" ".join(html.unescape(re.sub("<[^>]*>", " ", one)).split()) for one in told.split("<li")[1:]]


def test_pieces_that_call_somebody_are_marked_and_stand_first(still_night: Lived) -> None:
    rows = _pieces(still_night)
    names = [re.search(r"(?:Piece|Lot) [\w-]+", one)[0] for one in rows]  # type: ignore[index]
    assert names == ["Piece 11", "Piece 14", "Lot 24-117", "Piece 13", "Piece 15"], "the rest by their way"
    assert "not being watched high call; nobody has answered yet" in rows[0]
    assert "hot medium call; nobody has answered yet" in rows[1]
    assert "Bed C: 19.7 to 24.1 °C" in rows[1].replace("\u00a0", " ")
    assert not any("call" in one for one in rows[2:])
    marked = re.findall(r'<li class="calls (\w+)">', _html(still_night, "/pieces"))
    assert marked == ["high", "medium"]


def test_a_hot_bed_without_a_recorded_piece_is_marked_among_them(tmp_path: Path) -> None:
    lived = Lived(tmp_path / "night", 3.0, 0.1, begin=rare.nobody_recorded)
    idle = page(lived, "/pieces").split("Beds without a recorded piece")[1]
    lived.close()
    assert idle.strip().startswith("Bed C: hot medium call")


def test_what_calls_nobody_at_a_bed_is_one_line_and_each_can_be_reached(still_night: Lived) -> None:
    told = _html(still_night, "/bed/bed-d")
    above, below = told.split("<figure>", 1)
    [line] = re.findall(r'<p class="alarm[^"]*"><a href="#listed">.*?</p>', above)
    assert "on the list, 4 of them: bed-d-" in line
    for one in still_night.gate.alarms():
        if one.kind == "probe_silent":
            assert f'href="/alarm/{one.line.alarm.number}">{one.probe}' in below
    assert "not being watched" in above.split('href="#listed"')[0], "the urgent stays above it"


@pytest.mark.browser
def test_a_beds_drawing_begins_on_the_first_screen_of_a_phone(
    still_night: Lived, serve: Serve, open_as: Open
) -> None:
    serving = serve(still_night)
    shown = open_as(serving)
    for bed in ("bed-a", "bed-c", "bed-d"):
        shown.goto(f"{serving.url}/bed/{bed}")
        top = shown.locator("svg.chart").first.bounding_box()["y"]
        assert top < PHONE["height"] - 60, (bed, top)


def test_what_went_off_by_itself_comes_after_what_still_is_so(still_night: Lived) -> None:
    """In the list of alarms and at a place; and above the floor nobody is told that it is so now."""
    lines = [
        one._replace(alarm=dataclasses.replace(one.alarm, state="returned_unacknowledged"))
        if one.alarm.kind == "bed_unwatched" else one
        for one in still_night.reader().alarms(True, 100)
    ]  # fmt: skip
    kinds = [one["kind"] for one in alarms.stands(lines, []) if one["priority"] != "low"]
    assert kinds == ["bed_hot", "turn_overdue", "bed_unwatched"]
    rows: list[dict[str, Any]] = [
        {"kind": "bed_unwatched", "level": "high", "priority": "high", "raised_at": 1,
         "state": "returned_unacknowledged"},
        {"kind": "bed_hot", "level": "high", "priority": "medium", "raised_at": 2, "state": "unacknowledged"},
    ]  # fmt: skip
    assert [one["kind"] for one in sorted(rows, key=floor.urgency)] == ["bed_hot", "bed_unwatched"]
    beds = [{"bed": "bed-d", "out": False, "alarms": rows}]
    assert [one["kind"] for one in floor.besides(beds, "bed-a")] == ["bed_hot"]
    assert [one["kind"] for one in floor.besides(beds, "bed-d")] == []


def test_an_alarm_that_is_over_asks_nothing_of_anybody(night: Lived) -> None:
    number = next(one.line.alarm.number for one in night.gate.alarms() if one.kind == "bed_hot")
    before = page(night, f"/alarm/{number}")
    assert "say it when you answer" in before
    assert "What to do:" in before
    night.let_pass(90)
    night.record("answer", {"alarm": number, "answer": "heard", "by": "cleo"})
    [line] = [one for one in night.reader().alarms(True, 100) if one.alarm.number == number]
    assert line.alarm.state == "normal", "turned at 23:06, it has cooled"
    after = page(night, f"/alarm/{number}")
    assert "say it when you answer" not in after
    assert "What to do:" not in after
    assert "Check room air before going in" in after, "on its sheet"


def test_a_call_whose_messages_are_not_looked_up_is_not_said_to_have_called_nobody(
    still_night: Lived, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only the newest messages are looked up for a page.

    The bound is made small here, since thousands of messages would take the night of half a year.
    """
    lines = still_night.reader().alarms(True, 100)
    monkeypatch.setattr(desk, "MANY", len(lines))
    numbers = {one.alarm.kind: one.alarm.number for one in lines}
    hot, silent = (page(still_night, f"/alarm/{numbers[kind]}") for kind in ("bed_hot", "probe_silent"))
    assert "Nobody: it stands in the list." in silent
    assert "Nobody: it stands in the list." not in hot
    assert "so long ago that newer messages took its place" in hot


def test_a_probe_says_its_value_in_one_unit_and_where_it_hangs(still_night: Lived) -> None:
    grain = page(still_night, "/probe/bed-c-co2")
    assert re.search(r"1\.7\s%", grain)
    assert "The last day, %;" in grain
    assert "ppm" not in grain
    assert "The last day, ppm;" in page(still_night, "/probe/lower-room-co2")
    kiln = page(still_night, "/probe/kiln-air-on").replace("\u00a0", " ")
    assert "50 cm under the floor" in kiln
    assert "-50" not in kiln
    hot = page(still_night, "/probe/bed-c-mid")
    assert "Bed C: hot medium call; nobody has answered yet" in hot
    assert "Bed D: not heard since 20:59" in page(still_night, "/probes")


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 360])
@pytest.mark.parametrize("large", [False, True])
def test_a_probes_figure_is_not_cut(
    still_night: Lived, serve: Serve, open_as: Open, width: int, large: bool
) -> None:
    serving = serve(still_night)
    shown = open_as(serving, viewport={"width": width, "height": 740}, bypass_csp=True)
    for probe in ("lower-room-co2", "bed-c-mid", "kiln-humidity", "bed-d-mid"):
        shown.goto(f"{serving.url}/probe/{probe}")
        if large:
            shown.add_style_tag(content="html{font-size:200%!important}")
        # Each piece of its text lies on one line.
        lines = shown.locator(".big").evaluate(
            """big => [...big.childNodes].map(one => {
              const range = document.createRange(); range.selectNodeContents(one);
              return new Set([...range.getClientRects()].map(box => Math.round(box.top))).size;
            })"""
        )
        assert set(lines) == {1}, (probe, lines)


def test_a_drawing_of_more_than_a_day_says_which_day(still_night: Lived) -> None:
    week = turn_page.get(still_night, account("cleo"), "/bed/bed-c", {"span": "week"}, "t").html
    assert re.findall(r'dy="2.8em">08:00</text><text class="soft" [^>]*dy="4em">(\w+)<', week)[:4] == [
        "Mon", "Tue", "Wed", "Thu",
    ]  # fmt: skip
    day = _html(still_night, "/bed/bed-c")
    assert 'dy="4em"' not in day
    assert Say(still_night.site(), still_night.now_ms()).weekday(still_night.now_ms()) == "Thu"


@pytest.mark.browser
def test_the_ways_stay_on_one_row_though_many_wait(still_night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(still_night)
    shown = open_as(serving)
    for path in ("/", "/alarms"):
        shown.goto(serving.url + path)
        tops = shown.evaluate(
            """() => { document.querySelector(".count").firstChild.data = " 27";
            return [...document.querySelectorAll("header nav a")].filter(one => one.getClientRects().length)
              .map(one => one.getBoundingClientRect().top); }"""
        )
        assert len(tops) == 5
        assert len(set(tops)) == 1, (path, tops)


def test_where_nobody_watches_the_thermometers_reading_is_the_first_thing_to_write(
    still_night: Lived,
) -> None:
    assert "<details open><summary>Temperature by hand" in _html(still_night, "/bed/bed-d/write")
    assert "<details><summary>Temperature by hand" in _html(still_night, "/bed/bed-c/write")


@pytest.mark.browser
def test_ones_settings_are_in_words(still_night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(still_night)
    shown = open_as(serving)
    shown.goto(f"{serving.url}/me")
    assert shown.get_by_label("Screen").locator("option").all_inner_texts() == [
        "as this device is set", "daylight", "night",
    ]  # fmt: skip
    text = shown.locator("main").inner_text()
    assert "Calls for you go to the phone that the site file has for Cleo." in text
    assert "auto" not in text
    look = open_as(serving, "vic")
    look.goto(f"{serving.url}/me")
    assert "Nobody is called by this account" in look.locator("main").inner_text()
