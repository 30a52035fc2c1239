"""What the pages say where nobody may go in: gas on the floor, somebody inside, all out too early, a fire."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.core import views
from gateway.core.wording.parts import NEVER
from gateway.web import turn_page
from gateway.web.pages.say import Say
from tests.browser.conftest import account
from tests.browser.lived import Lived
from tests.browser.rare import hush, swap
from tests.browser.test_screens import LOOKS, TAGS, Open, Serve


@pytest.fixture(scope="module")
def gas(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lived]:
    """CO2 on the floor goes up to 18,000 ppm while Ben is in there."""
    lived = Lived(tmp_path_factory.mktemp("gas"), hours=0.3, ahead_h=0.9)
    lived.record("check-in", {"person": "ben", "place": "lower-room", "for": "20min", "by": "ben"})
    swap(lived, ["/lower-room-co2"], lambda hours: min(18_000.0, 2_000.0 + 40_000.0 * hours))
    lived.let_pass(50)
    yield lived
    lived.close()


def page(lived: Lived, path: str, who: str = "cleo") -> str:
    """The page's words."""
    told = turn_page.get(lived, account(who), path, {}, "token")
    assert told.status == 200
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", told.html.split("<main", 1)[1])).split())


def _number(lived: Lived, kind: str) -> int:
    return next(one.line.alarm.number for one in lived.gate.alarms() if one.kind == kind)


def test_the_floor_says_stay_out_who_is_inside_and_nowhere_to_start(gas: Lived) -> None:
    text = page(gas, "/")
    assert "Stay out: Lower floor" in text
    assert re.search(r"CO2 18,000 ppm by lower-room-co2 at \d\d:\d\d, limit 15,000;", text)
    assert "Do not go in, even to help." in text
    assert "Ben is in there , checked in 20:18" in text
    assert ": missed. Ring them from outside; no answer: ring 112." in text
    assert not re.search(r"[Ss]tart (now|by)", text)
    assert "Next: Steep 1: drain by 03:00" in text, "what can be done goes before what nobody may go in to do"
    assert text.count("Not now: stay out") == 4
    rows = gas.ask(views.tonight)
    assert {row["entry"] for row in rows if row["what"] == "turn"} == {"leave"}
    assert not NEVER.search(text)


def test_an_alarm_of_a_bed_in_there_sends_nobody_in(gas: Lived) -> None:
    text = page(gas, f"/alarm/{_number(gas, 'bed_hot')}")
    assert "Not now: stay out, air it from outside. Air: CO2 18,000 ppm: stay out." in text
    assert (
        "What to do now: stay out, air it from outside. Once a hand meter lets you in: Check room air" in text
    )
    assert "Bed C, day 3, piece 14: not now: stay out, air it from outside" in page(gas, "/bed/bed-c")


def test_the_round_sheet_sends_nobody_in_and_the_air_says_first_where_not(gas: Lived) -> None:
    sheet = page(gas, "/round")
    beds, todo = sheet.split("To do, in order")
    assert beds.count("not now: stay out") == 4
    assert todo.count("not now, stay out: turn piece") == 4
    assert "now: turn piece" not in todo
    assert page(gas, "/air").split("No permit")[0].endswith("Lower floor: leave at once, stay out ")


def test_a_reading_is_told_with_the_time_it_was_of(gas: Lived) -> None:
    """It began at 5,000 ppm and got worse at 15,000: the reading shown is not that of its beginning."""
    [line] = [one.line for one in gas.gate.alarms() if one.kind == "gas_high"]
    assert [step.signal for step in line.history] == ["raise", "rise"]
    at = Say(gas.site(), gas.now_ms()).clock(line.history[-1].at_ms)
    assert at != Say(gas.site(), gas.now_ms()).clock(line.alarm.raised_at_ms)
    assert re.search(rf"; 1[5-8],\d{{3}} ppm at {at}, limit 15,000 ppm", page(gas, "/alarms"))
    assert f"Reading at {at} 1" in page(gas, f"/alarm/{line.alarm.number}")


def test_a_bed_not_being_watched_in_there_sends_nobody_in_with_a_thermometer(tmp_path: Path) -> None:
    lived = Lived(tmp_path / "unwatched", hours=0.3, ahead_h=0.8)
    try:
        swap(lived, ["/lower-room-co2"], lambda hours: 18_000.0)
        hush(lived, [f"/bed-d-{one}" for one in ("low", "mid", "top", "co2")])
        lived.let_pass(40)
        for path in ("/", "/bed/bed-d"):
            text = page(lived, path)
            assert "Not being watched. Not now: stay out" in text, path
            assert "Take a hand thermometer" not in text, path
        before = page(lived, "/").split("Lower floor 40")[0]
        assert "Not being watched: Bed D not now: stay out" in before
    finally:
        lived.close()


def test_all_out_pressed_too_early_is_seen_and_ends_nothing(gas: Lived) -> None:
    number = _number(gas, "gas_high")
    before = page(gas, f"/alarm/{number}")
    assert "Keep it quiet" not in before, "gas cannot be made quiet"
    done = turn_page.post(
        gas, account("cleo"), "answer", {"alarm": str(number), "answer": "all-out"}, "token"
    )
    assert done.status == 303
    for path in ("/", f"/alarm/{number}"):
        text = page(gas, path)
        assert re.search(
            r"“All out” was said at \d\d:\d\d by Cleo. The reading is not down: stay out", text
        ), path
    assert "nobody has answered yet" in page(gas, f"/alarm/{number}")
    assert "“all out” said, reading not down yet by Cleo" in page(gas, f"/alarm/{number}")


def test_who_was_told_is_a_line_for_each_call_and_one_for_its_repeats(gas: Lived) -> None:
    text = page(gas, f"/alarm/{_number(gas, 'gas_high')}")
    calls = re.findall(
        r"\d\d:\d\d ((?:Again )?(?:\w+, ){3}\w+(?:, \d+ times until \d\d:\d\d)?): reached", text
    )
    assert len(calls) >= 3, "called, again, called for the higher level"
    assert any("times until" in one for one in calls)
    assert text.count("STAY OUT LOWER FLOOR") <= len(calls)


def test_a_fire_in_the_kiln_comes_before_any_shovel(tmp_path: Path) -> None:
    lived = Lived(tmp_path / "fire", hours=0.1, ahead_h=0.8)
    try:
        lived.record("kiln", {"kiln": "kiln", "what": "drawn", "by": "ben"})
        swap(lived, ["/kiln-air-on"], lambda hours: 45.0 + 60.0 * hours)
        lived.let_pass(45)
        for path in ("/", "/kiln"):
            assert "Fire in Kiln? Ring the fire service" in page(lived, path), path
            assert "Do not open, do not enter." in page(lived, path), path
        assert "No shovel now: the fire first." in page(lived, "/")
        assert "Next by the programme" not in page(lived, "/kiln")
    finally:
        lived.close()


def test_air_that_nobody_measures_sends_nobody_in_without_a_hand_meter(tmp_path: Path) -> None:
    lived = Lived(tmp_path / "unknown", hours=0.2, ahead_h=0.1)
    try:
        lived.record("out-of-service", {"probe": "lower-room-co2", "why": "sent away", "by": "ben"})
        text = page(lived, "/")
        assert re.search(r"Next: piece 14, Bed C start (now|by \d\d:\d\d), hand meter first", text)
        assert "Air not known in Lower floor: hand meter before you go in." in text
        assert "Air: Air" not in text
        assert "at least 0 ppm" not in page(lived, "/air")
    finally:
        lived.close()


def test_a_couch_is_broken_and_not_turned(tmp_path: Path) -> None:
    lived = Lived(tmp_path / "couch", hours=0.2, ahead_h=0.1)
    try:
        lived.record("loaded", {"bed": "bed-a", "kiln": "kiln", "by": "ben"})
        lived.record("cast", {"bed": "bed-a", "piece": "16", "by": "ben"})
        shown = turn_page.get(lived, account("cleo"), "/", {}, "token").html
        bed = shown.split('id="bed-a"')[1].split('id="bed-b"')[0]
        assert 'action="/do/couch-broken"' in bed
        assert 'action="/do/turned"' not in bed
        assert "turn at" not in bed, "a couch is meant to warm"
        done = turn_page.post(lived, account("cleo"), "couch-broken", {"bed": "bed-a"}, "token")
        assert done.status == 303
        bed = turn_page.get(lived, account("cleo"), "/", {}, "token").html.split('id="bed-a"')[1]
        assert 'action="/do/turned"' in bed.split('id="bed-b"')[0]
    finally:
        lived.close()


@pytest.mark.browser
@pytest.mark.long
@pytest.mark.parametrize("look", LOOKS)
def test_axe_finds_nothing_where_gas_stands(gas: Lived, serve: Serve, open_as: Open, look: str) -> None:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="need axe-playwright-python"
    ).Axe()
    serving = serve(gas)
    page = open_as(serving, color_scheme=LOOKS[look], viewport={"width": 320, "height": 640})
    for path in ("/", "/air", "/alarms", f"/alarm/{_number(gas, 'gas_high')}"):
        page.goto(serving.url + path)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 320, path
        small = [
            one.inner_text()
            for one in page.locator(".keepout a, .alarm a, button, .plain").all()
            if one.is_visible() and (one.bounding_box() or {"height": 0})["height"] < 47.9
        ]
        assert not small, (path, small)
        result = axe.run(page, options={"runOnly": {"type": "tag", "values": TAGS}})
        assert result.response["passes"], path
        found = [
            f"{one['id']}: {node['html'][:120]}"
            for one in result.response["violations"]
            for node in one["nodes"]
        ]
        assert not found, (path, found)
    page.goto(serving.url + "/")
    assert page.locator(".keepout").bounding_box()["y"] < 160, "what keeps people out is seen first"
