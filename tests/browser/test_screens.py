"""Every screen in both looks: WCAG by axe-core, no sideways scrolling at 320 px, and pictures to look at.

MALTING_SHOTS names a folder that the pictures are left in; else they lie in pytest's own.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gateway.core.wording.parts import NEVER
from tests.browser.conftest import DESK, PHONE
from tests.browser.lived import Lived
from tests.browser.serving import Serving

pytestmark = [pytest.mark.browser, pytest.mark.long]
Serve = Callable[[Lived], Serving]
Open = Callable[..., Any]
SCREENS = {
    "floor": "/", "alarms": "/alarms", "alarm": "/alarm/101", "bed": "/bed/bed-c",
    "bed-week": "/bed/bed-c?span=week",
    "write": "/bed/bed-c/write", "pieces": "/pieces", "piece": "/piece/14", "kiln": "/kiln", "air": "/air",
    "alarm-silent": "/alarm/107", "bed-silent": "/bed/bed-d", "write-silent": "/bed/bed-d/write",
    "probes": "/probes", "which": "/which", "probe": "/probe/bed-c-mid", "round": "/round", "note": "/note",
    "probe-gas": "/probe/lower-room-co2", "probe-grain": "/probe/bed-c-co2",
    "probe-silent": "/probe/bed-d-mid",
    "not-here": "/bed/nowhere", "me": "/me",
}  # fmt: skip
LOOKS = {"light": "light", "night": "dark"}
#: WCAG 2.0 to 2.2, A and AA, and axe-core's own best practices.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
#: What is smaller than a thumb needs: 48 px for what is pressed at night, 44 px for any other link.
_SMALL = """() => [...document.querySelectorAll(
    "a:not(.skip), button, summary, select, input:not([type=hidden])")]
  .filter(one => one.getClientRects().length).map(one => {
    const box = one.getBoundingClientRect(), pressed = one.matches(":not(a), .plain, .do, nav a");
    return [one.outerHTML.slice(0, 80), box.width, box.height, pressed ? 47.9 : 43.9];
  }).filter(one => Math.min(one[1], one[2]) < one[3])"""
_STATES = re.compile(r"unacknowledged|acknowledged|returned_|latched|shelved|suppressed", re.IGNORECASE)


@pytest.mark.parametrize("look", LOOKS)
def test_no_violation_that_axe_finds(still_night: Lived, serve: Serve, open_as: Open, look: str) -> None:
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="need axe-playwright-python"
    ).Axe()
    serving = serve(still_night)
    page = open_as(serving, color_scheme=LOOKS[look])
    found: list[str] = []
    for name, path in SCREENS.items():
        page.goto(serving.url + path)
        for opener in page.locator("details > summary").all():
            opener.click()
        result = axe.run(page, options={"runOnly": {"type": "tag", "values": TAGS}})
        found += [
            f"{name}: {one['id']}: {node['html'][:120]} {node['failureSummary'][:200]}"
            for one in result.response["violations"] for node in one["nodes"]
        ]  # fmt: skip
        assert result.response["passes"], f"{name}: axe looked at nothing"
    assert not found, "\n".join([f"{len(found)} violations", *found[:20]])


def test_no_sideways_scrolling_on_the_smallest_screen(
    still_night: Lived, serve: Serve, open_as: Open
) -> None:
    serving = serve(still_night)
    page = open_as(serving, viewport={"width": 320, "height": 640})
    for name, path in SCREENS.items():
        page.goto(serving.url + path)
        wide = page.evaluate("() => document.documentElement.scrollWidth")
        assert wide <= 320, (name, wide)


def test_what_is_used_on_the_floor_is_large_enough_for_a_thumb(
    still_night: Lived, serve: Serve, open_as: Open
) -> None:
    serving = serve(still_night)
    page = open_as(serving)
    small: list[Any] = []
    for name, path in SCREENS.items():
        page.goto(serving.url + path)
        small += [(name, *one) for one in page.evaluate(_SMALL)]
    assert not small, "\n".join(map(str, small))


def test_no_word_that_is_never_said_to_people(still_night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(still_night)
    page = open_as(serving)
    for name, path in SCREENS.items():
        page.goto(serving.url + path)
        text = page.locator("body").inner_text() + page.title()
        assert not NEVER.search(text), (name, NEVER.search(text))
        assert not _STATES.search(text), (name, _STATES.search(text))


def test_keyboard_alone_turns_a_bed(night: Lived, serve: Serve, open_as: Open) -> None:
    page = open_as(serve(night), viewport=DESK, has_touch=False, is_mobile=False)
    for _ in range(60):
        page.keyboard.press("Tab")
        at = page.evaluate(
            "() => document.activeElement.closest('#bed-c') && document.activeElement.textContent || ''"
        )
        if at.startswith("Turned"):
            break
    outline = page.evaluate("() => getComputedStyle(document.activeElement).outlineWidth")
    assert outline == "3px", "where the keyboard is can be seen"
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert "Written down: Bed C" in page.locator(".done").inner_text()


def test_pictures_of_every_screen(still_night: Lived, serve: Serve, open_as: Open, tmp_path: Path) -> None:
    folder = Path(os.environ.get("MALTING_SHOTS") or tmp_path)
    folder.mkdir(parents=True, exist_ok=True)
    serving = serve(still_night)
    for look, scheme in LOOKS.items():
        for size in (PHONE, DESK):
            page = open_as(serving, viewport=size, color_scheme=scheme, has_touch=False, is_mobile=False)
            for name, path in SCREENS.items():
                page.goto(serving.url + path)
                page.screenshot(path=folder / f"{name}-{size['width']}-{look}.png", full_page=True)
    assert len(list(folder.glob("*.png"))) >= 4 * len(SCREENS)


def test_the_round_sheet_and_the_story_print_on_a4(still_night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(still_night)
    page = open_as(serving)
    for path, most in (("/round", 1), ("/piece/14", 2)):
        page.goto(serving.url + path)
        paper = page.pdf(format="A4", margin=dict.fromkeys(("top", "bottom", "left", "right"), "12mm"))
        pages = len(re.findall(rb"/Type\s*/Page[^s]", paper))
        assert 1 <= pages <= most, (path, pages)
