"""Nights that seldom come, and letters twice as large: what the pages say then, and that they can be read."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from gateway.core import views_heat
from gateway.core.wording.parts import NEVER
from gateway.errors import NoAnswer
from gateway.web import turn_page
from gateway.web.pages.say import Say
from tests.browser import rare
from tests.browser.conftest import DESK, account
from tests.browser.lived import Lived
from tests.browser.test_screens import LOOKS, SCREENS, TAGS, Open, Serve
from tests.browser.test_stay_out import page

SMALL = {"width": 320, "height": 640}
#: What makes each of these nights, how long it is, and the pages to look at.
NIGHTS: dict[str, tuple[Any, float, float, tuple[str, ...]]] = {
    "kiln-taken-back": (rare.kiln_taken_back, 24.5, 0.2, ("/", "/kiln", "/alarms", "/alarm/101", "/piece/9")),
    "first-start": (rare.first_start, 0.02, 0.1, ("/", "/alarms", "/air", "/kiln", "/pieces", "/probes",
                                                  "/round", "/bed/bed-a", "/probe/bed-a-low")),
    "nobody-recorded": (rare.nobody_recorded, 3.0, 0.1, ("/", "/bed/bed-a", "/bed/bed-c", "/alarms")),
    "one-bed": (rare.house(rare.site_text({"only": 1}), lambda at: (60.0, 5.0)), 0.3, 0.1,
                ("/", "/kiln", "/round", "/pieces")),
    "twelve-beds": (rare.house(rare.site_text({"lower": 4, "middle": 5, "upper": 3}),
                               lambda at: (20.0 + 9 * at, 1.0 + at)), 0.6, 0.1, ("/", "/alarms", "/round")),
    "long-names": (rare.house(rare.site_text({"lower": 3}, rare.lengthy), lambda at: (60.0, 5.0 + 8 * at)),
                   0.3, 0.2, ("/", "/alarms", "/air", "/bed/lower-2", "/bed/lower-2/write", "/pieces",
                              "/round", "/probes")),
    "all-silent": (None, 1.2, 1.1, ("/", "/alarms", "/air", "/kiln", "/round", "/probes", "/bed/bed-c")),
    "disk-full": (None, 0.3, 0.2, ("/", "/alarms", "/alarm/101")),
    "last-gas-probe": (None, 0.3, 0.4, ("/", "/air", "/alarms")),
}  # fmt: skip


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], Lived]]:
    """Each of these nights, made once where it is asked for."""
    made: dict[str, Lived] = {}

    def find(name: str) -> Lived:
        if name not in made:
            begin, hours, ahead_h, _ = NIGHTS[name]
            made[name] = lived = Lived(tmp_path_factory.mktemp(name), hours, ahead_h, begin=begin)
            if name == "all-silent":
                rare.hush(lived)
                lived.let_pass(60)
            elif name == "disk-full":
                rare.condition(lived, "disk")
            elif name == "last-gas-probe":
                rare.hush(lived, ["/lower-room-co2"])
                lived.let_pass(12)
        return made[name]

    yield find
    for one in made.values():
        one.close()


Nights = Callable[[str], Lived]


def test_a_break_taken_back_says_what_to_do_and_no_next_stage(nights: Nights) -> None:
    text = page(nights("kiln-taken-back"), "/kiln")
    assert "no kiln break after all, malt still wet" in text
    assert "Bring air-on back to the first stage, 45 °C." in text
    assert "back to 45 °C, limit 57 °C" in text
    assert "wanted 52" not in text
    assert "Next by the programme" not in text
    assert "no kiln break after all" in page(nights("kiln-taken-back"), "/")


def test_a_first_start_asks_for_the_pieces_and_promises_nothing(nights: Nights) -> None:
    text = page(nights("first-start"), "/")
    assert "No piece is recorded on these beds." in text
    assert "Nothing wants a shovel" not in text
    assert text.count("Not being watched: no reading from here.") == 4
    assert "put a probe back" not in page(nights("first-start"), "/bed/bed-a")


def test_grain_that_nobody_recorded_is_drawn_ahead_by_the_strictest_limits(nights: Nights) -> None:
    lived = nights("nobody-recorded")
    html, text = turn_page.get(lived, account("cleo"), "/bed/bed-c", {}, "t").html, page(lived, "/bed/bed-c")
    [told] = [row for row in lived.ask(views_heat.forecast) if row["bed"] == "bed-c"]
    assert (told["piece"], told["not_yet"]) == (None, None)
    assert re.search(r'<path class="ahead" d="M[^"]+Z"/><path class="aheadline" d="M', html)
    assert "No piece is recorded here: by the strictest limits, whatever its day." in text
    urgent = next(one for one in told["limits"] if one["name"] == "urgent")
    say = Say(lived.site(), lived.now_ms())
    assert f"25 °C (urgent) by {say.clock(urgent['early'])}–{say.clock(urgent['late'])}" in text
    assert text.count("22 °C (") == 1, "two names for one figure"
    cool = turn_page.get(lived, account("cleo"), "/bed/bed-a", {}, "t").html
    assert 'class="ahead' not in cool
    assert "no piece is recorded here, and it is hardly warmer than the room" in page(lived, "/bed/bed-a")


def test_a_bed_that_calls_stands_above_the_strip_though_it_is_not_the_next_to_turn(nights: Nights) -> None:
    """Where nothing is recorded there is no walk, and the hot bed is the thing to see first."""
    first = page(nights("nobody-recorded"), "/").split("No piece is recorded")[0]
    assert "Hot: Bed C" in first


def test_while_the_disk_is_full_the_floor_says_first_that_it_is_old(nights: Nights) -> None:
    lived = nights("disk-full")
    html = turn_page.get(lived, account("cleo"), "/", {}, "t").html
    first, _, below = html.partition('<p class="next">')
    assert re.search(r"No readings come in since \d\d:\d\d: disk is full", first)
    assert "disk is full" not in below
    assert "The gateway: disk is full" in page(lived, "/alarms")


def test_what_calls_nobody_is_told_in_a_line_for_each_place(nights: Nights) -> None:
    lived = nights("all-silent")
    standing = [one for one in lived.gate.alarms() if one.line.alarm.state != "normal"]
    low = [one for one in standing if one.line.alarm.priority == "low"]
    assert len(standing) > 20
    html = turn_page.get(lived, account("cleo"), "/alarms", {}, "t").html
    listed = html.split('id="listed"')[1].split('id="before"')[0]
    assert listed.count("<li>") == len({(one.place, one.kind) for one in low}) == 7
    for one in low:
        assert f'href="/alarm/{one.line.alarm.number}">{one.probe}' in listed


def test_the_place_nobody_may_be_in_is_the_first_of_the_air(nights: Nights) -> None:
    html = turn_page.get(nights("last-gas-probe"), account("cleo"), "/air", {}, "t").html
    heads = re.findall(r'<section class="air" aria-labelledby="a-([\w-]+)"', html)
    assert heads == ["lower-room", "steep-1", "kiln"]


def test_the_beds_bear_their_numbers_in_the_walk(nights: Nights) -> None:
    html = turn_page.get(nights("twelve-beds"), account("cleo"), "/", {}, "t").html
    strips, walk = html.split('<section class="walk"')
    on_strip = dict(
        re.findall(
            r'<li class="stretch[^>]+id="([\w-]+)">.*?<span class="nth[^"]*">(\d+)<', strips, re.DOTALL
        )
    )
    in_walk = re.findall(r'<li id="walk-([\w-]+)".*?<span class="nth[^"]*" aria-hidden="true">(\d+)<', walk,
                         re.DOTALL)  # fmt: skip
    assert on_strip == dict(in_walk)
    assert [number for _, number in in_walk] == [str(one) for one in range(1, 13)]
    first = in_walk[0][0]
    assert f'href="#walk-{first}"' in strips, "what is next is number 1"
    assert re.search(r"One person does not get to \d+ of these in time", walk)


def test_no_word_that_is_never_said_in_any_of_these_nights(nights: Nights) -> None:
    for name, (_, _, _, paths) in NIGHTS.items():
        for path in paths:
            text = page(nights(name), path)
            assert not NEVER.search(text), (name, path, NEVER.search(text))


@pytest.mark.browser
def test_a_page_that_fails_says_what_to_do_without_it(nights: Nights, serve: Serve, open_as: Open) -> None:
    lived = nights("first-start")
    serving = serve(lived)
    shown = open_as(serving)
    faults = {
        "Something is wrong with the page.": RuntimeError("x"),
        "The store did not answer within 5 s": NoAnswer("the store did not answer within 5 s"),
    }
    for told, fault in faults.items():
        lived.fault = fault
        assert shown.goto(serving.url + "/").status in (500, 503)
        lived.fault = None
        text = shown.locator("main").inner_text()
        assert told in text
        assert "hand thermometer, hand meter, the round sheet on paper" in text
        assert "Traceback" not in text
        shown.get_by_role("link", name="Try the floor again").tap()
        shown.locator(".strip").first.wait_for()


TABLES = ("/alarms", "/bed/bed-c", "/piece/14", "/kiln", "/round")


def _roles(shown: Any) -> list[str]:
    """The roles a screen reader is told, by the browser's own tree."""
    cdp = shown.context.new_cdp_session(shown)
    nodes = cdp.send("Accessibility.getFullAXTree")["nodes"]
    cdp.detach()
    return [one["role"]["value"] for one in nodes if not one["ignored"]]


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 480])
def test_on_a_phone_a_tables_headings_stand_beside_its_values(
    night: Lived, serve: Serve, open_as: Open, width: int
) -> None:
    """And it stays a table to a screen reader: the browser's tree has the roles it has on a desk."""
    night.record("turned", {"bed": "bed-c", "by": "cleo"})
    night.let_pass(45)
    serving = serve(night)
    phone = open_as(serving, viewport={"width": width, "height": 740})
    desk = open_as(serving, viewport=DESK, has_touch=False, is_mobile=False)
    for path in TABLES:
        roles = []
        for shown in (phone, desk):
            shown.goto(serving.url + path)
            for opener in shown.locator("details > summary").all():
                opener.click()
            roles.append(_roles(shown))
        for role in ("table", "row", "columnheader", "rowheader", "cell"):
            fill = desk.locator("td.fill").count() if role == "cell" else 0
            fill = desk.locator("th.fill").count() if role == "columnheader" else fill
            found = [told.count(role) for told in roles]
            assert found[0] == found[1] - fill, (path, role, found)
        assert roles[0].count("table") >= 1, path
        assert phone.evaluate("() => document.documentElement.scrollWidth") <= width, path
        for one in phone.locator(".scroll").all():
            assert one.evaluate("e => e.scrollWidth <= e.clientWidth"), path
        beside = phone.locator(".stack td[data-name]").evaluate_all(
            "all => all.map(e => [getComputedStyle(e, '::before').content, e.dataset.name])"
        )
        assert beside, path
        # Said to the eye alone (`/ ""`): a screen reader has the columns' own headings.
        assert [content for content, _ in beside] == [f'"{name}" / ""' for _, name in beside], path
        plain = desk.locator(".stack td[data-name]").evaluate_all(
            "all => all.map(e => getComputedStyle(e, '::before').content)"
        )
        assert set(plain) == {"none"}, "on a desk the headings stand above"


@pytest.mark.browser
@pytest.mark.long
def test_letters_twice_as_large_lose_nothing(still_night: Lived, serve: Serve, open_as: Open) -> None:
    """WCAG 2.2, 1.4.4: text at 200 %; nothing runs off the screen and no button lies over another."""
    serving = serve(still_night)
    shown = open_as(serving, bypass_csp=True)
    for name, path in SCREENS.items():
        shown.goto(serving.url + path)
        shown.add_style_tag(content="html{font-size:200%!important}")
        assert shown.evaluate("() => document.documentElement.scrollWidth") <= 360, name
        boxes = [
            box for one in shown.locator("main button, main .plain, main .do").all()
            if one.is_visible() and (box := one.bounding_box())
        ]  # fmt: skip
        over = [
            (one, other) for at, one in enumerate(boxes) for other in boxes[:at]
            if min(one["x"] + one["width"], other["x"] + other["width"]) - max(one["x"], other["x"]) > 1
            and min(one["y"] + one["height"], other["y"] + other["height"]) - max(one["y"], other["y"]) > 1
        ]  # fmt: skip
        assert not over, (name, over)


@pytest.mark.browser
@pytest.mark.long
@pytest.mark.parametrize("name", NIGHTS)
def test_each_of_these_nights_can_be_read(
    nights: Nights, serve: Serve, open_as: Open, name: str, tmp_path: Path
) -> None:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="need axe-playwright-python"
    ).Axe()
    lived = nights(name)
    serving = serve(lived)
    for look in LOOKS.values():
        shown = open_as(serving, color_scheme=look, viewport=SMALL)
        for path in NIGHTS[name][3]:
            assert shown.goto(serving.url + path).status == 200, path
            assert shown.evaluate("() => document.documentElement.scrollWidth") <= SMALL["width"], path
            result = axe.run(shown, options={"runOnly": {"type": "tag", "values": TAGS}})
            assert result.response["passes"], path
            found = [
                f"{one['id']}: {node['html'][:120]}"
                for one in result.response["violations"] for node in one["nodes"]
            ]  # fmt: skip
            assert not found, (path, found)
