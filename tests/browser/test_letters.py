"""Letters in drawings: they grow with the reader's, none lies over another, none leaves the picture."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.web import paper
from gateway.web.pages import letters
from tests.browser.conftest import FLAGS
from tests.browser.lived import Lived
from tests.browser.serving import COOKIE, Serving
from tests.browser.test_screens import SCREENS
from tests.conftest import CHROMIUM

Serve = Callable[[Lived], Serving]
#: Every page with a drawing, also of figures that are long.
DRAWN = (
    "/bed/bed-c", "/bed/bed-c?span=week", "/bed/bed-c?span=shift", "/bed/bed-c?span=turned", "/bed/bed-a",
    "/piece/14", "/kiln", "/probe/bed-c-mid", "/probe/lower-room-co2",
)  # fmt: skip
SIZES = {"small": (320, 640), "phone": (360, 740), "middle": (640, 800), "desk": (1280, 900)}
#: The browser's own letter, in pixels, as somebody sets it in its settings.
USUAL, LARGE = 16, 32
_TEXTS = """() => [...document.querySelectorAll("figure svg.chart[role=img]")].map(chart => {
  const box = one => { const b = one.getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom]; };
  const shown = [...chart.querySelectorAll("text")].filter(one => one.getClientRects().length);
  return {
    figure: box(chart.closest("figure")), plot: box(chart),
    texts: shown.map(one => ({
      text: one.textContent, px: parseFloat(getComputedStyle(one).fontSize), box: box(one),
      kind: ["axis", "hr", "lvname"].find(kind => one.closest("." + kind)),
    })),
  };
})"""


@pytest.fixture(scope="module", params=[USUAL, LARGE])
def letter(chromium: Any, request: pytest.FixtureRequest) -> Iterator[tuple[int, Any]]:
    """A browser whose reader has set letters of that size."""
    more = f"--blink-settings=defaultFontSize={request.param}"
    made = chromium.browser_type.launch(executable_path=str(CHROMIUM), args=[*FLAGS, more])
    yield request.param, made
    made.close()


def _over(one: list[float], other: list[float]) -> bool:
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return across > 0.5 and down > 0.5


@pytest.mark.browser
@pytest.mark.long
@pytest.mark.parametrize("size", SIZES)
def test_letters_in_drawings_are_as_large_as_the_text_and_stand_free(
    still_night: Lived, serve: Serve, letter: tuple[int, Any], size: str
) -> None:
    px, browser = letter
    serving, (width, height) = serve(still_night), SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height})
    context.add_cookies([{"name": COOKIE, "value": serving.session("cleo"), "url": serving.url}])
    page = context.new_page()
    for path in DRAWN:
        page.goto(serving.url + path)
        body = page.evaluate("() => parseFloat(getComputedStyle(document.body).fontSize)")
        assert body == px, "the page goes by the browser's own letter"
        charts = page.evaluate(_TEXTS)
        assert charts, path
        for chart in charts:
            texts, (left, top, right, bottom) = chart["texts"], chart["figure"]
            where = (path, width, px)
            assert {one["px"] for one in texts} == {px}, where
            kinds = [one["kind"] for one in texts]
            assert kinds.count("axis") >= 2, where
            assert kinds.count("hr") >= 2, (where, "a time in hours and by the clock")
            for at, one in enumerate(texts):
                x, y, to_x, to_y = one["box"]
                within = left - 0.5 <= x < to_x <= right + 0.5 and top - 0.5 <= y < to_y <= bottom + 0.5
                assert within, (where, one, chart["figure"])
                over = [other["text"] for other in texts[:at] if _over(one["box"], other["box"])]
                assert not over, (where, one["text"], over)
            # What is drawn keeps two fifths of the width, however large the letters beside it are.
            assert chart["plot"][2] - chart["plot"][0] > 0.4 * (right - left), where
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width, path
    context.close()


_SHARE = st.floats(0.0, 1.0)


@pytest.mark.browser
@pytest.mark.long
def test_on_the_smallest_phone_no_screen_runs_off_by_its_readers_letters(
    still_night: Lived, serve: Serve, letter: tuple[int, Any]
) -> None:
    """By the browser's own setting, which lengths in a style's conditions go by, too. In the head the hour
    stands beside the name or below it; one's own settings have no hour."""
    serving, (width, height) = serve(still_night), SIZES["small"]
    context = letter[1].new_context(viewport={"width": width, "height": height})
    context.add_cookies([{"name": COOKIE, "value": serving.session("cleo"), "url": serving.url}])
    page = context.new_page()
    boxes = """() => [...document.querySelectorAll(".house a, .hour")].map(one => {
      const range = document.createRange(); range.selectNodeContents(one);
      const b = range.getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom];
    })"""
    for name, path in SCREENS.items():
        page.goto(serving.url + path)
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width, name
        head = page.evaluate(boxes)
        assert len(head) == 2 or name == "me"
        assert len(head) < 2 or not _over(*head), name
    context.close()


@given(st.integers(0, 40), st.integers(1, 10), st.floats(0.0, 0.1), st.floats(0.05, 0.3), st.booleans())
def test_times_that_are_shown_have_room_at_every_width(
    first: int, count: int, start: float, step: float, far: bool
) -> None:
    at = [start + n * step for n in range(count) if start + n * step <= 1.0]
    shown_at = letters.shown_at(at, [first + n for n in range(len(at))], far)
    for width, least in zip(letters.WIDTHS, (*letters.WIDTHS[1:], 200), strict=True):
        for page in (width, least - 0.1):
            right, left = 4.4 if page >= 30 else 0.5, 4.4 if far else 2.6
            room = page - right - left
            shown = [x * room for x, widths in zip(at, shown_at, strict=True) if width in widths]
            apart = [b - a for a, b in pairwise(shown)]
            assert all(one >= 3.5 - 1e-9 and one == pytest.approx(apart[0]) for one in apart)
            assert all(x + 1.45 <= room + right + 1e-9 for x in shown)
            # On the smallest phone with letters twice as large there is a time; on a desk all are there.
            assert shown or page < 9
            assert len(shown) == len(at) or page < 56 or step < 0.09


@given(st.lists(st.floats(0.0, 230.0), max_size=6))
def test_names_of_levels_never_lie_over_each_other(at: list[float]) -> None:
    found = letters.spread(at, 230.0)
    assert len(found) == len(at)
    stood = sorted(found)
    assert all(b - a >= 19.2 - 0.11 for a, b in pairwise(stood))
    assert all(-0.1 <= one <= 230.1 for one in found)
    order = sorted(range(len(at)), key=lambda n: at[n])
    assert [found[n] for n in order] == stood, "the hotter level's name stays the upper one"
    if all(abs(a - b) > 19.3 for n, a in enumerate(at) for b in at[:n]):
        assert found == pytest.approx(at, abs=0.06), "where there is room each stands at its own line"


def test_the_style_shows_a_time_at_the_widths_that_it_is_given() -> None:
    """The numbers stand twice, since a style cannot reckon: here and in the style."""
    style = (Path(str(paper.STATIC)) / "floor.css").read_text()
    told = dict(
        re.findall(
            r"@container \(min-width:(\d+)em\)\{(?:\.hr\{display:none\})?\.c(\d+)\{display:inline\}\}", style
        )
    )
    assert told == {str(width): str(width) for width in letters.WIDTHS}
    beside = re.findall(r"--([lr]):([\d.]+)rem", style)
    assert beside == [("l", "2.6"), ("r", ".5"), ("l", "4.4"), ("r", "4.4")]
    assert (letters._LEFT, letters._RIGHT, letters._FAR_LEFT, letters._WIDE_RIGHT) == (2.6, 0.5, 4.4, 4.4)


@pytest.mark.parametrize(
    ("texts", "far"),
    [(["10", "17.5"], False), (["-2.5", "0"], False), (["0", "1000"], True), (["-12.5"], True), ([], False)],
)
def test_long_figures_have_more_room(texts: list[str], far: bool) -> None:
    assert letters.far(texts) is far
