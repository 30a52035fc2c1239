"""A night done by thumbs on a phone of 360 x 740: the pages over a real gateway, in a real browser."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.browser.lived import Lived
from tests.browser.serving import Serving

pytestmark = pytest.mark.browser
Serve = Callable[[Lived], Serving]
Open = Callable[..., Any]


def _tap(page: Any, target: Any) -> None:
    """Tap it; what is used on the floor is at least 48 pixels high and wide."""
    box = target.bounding_box()
    assert box is not None
    assert min(box["height"], box["width"]) >= 48, (target.inner_text(), box)
    with page.expect_navigation():
        target.tap()


def _alarm(night: Lived, kind: str, place: str) -> Any:
    return [one for one in night.gate.alarms() if (one.kind, one.place) == (kind, place)][-1].line.alarm


def test_hot_bed_answered_turned_and_over(night: Lived, serve: Serve, open_as: Open) -> None:
    page = open_as(serve(night))
    assert "Next:" in page.locator(".next").first.inner_text()
    assert "piece 14, Bed C" in page.locator(".next").first.inner_text()
    assert page.locator(".next").first.bounding_box()["y"] < 200, "what needs a shovel next stands at the top"

    _tap(page, page.get_by_role("link", name=re.compile("^Alarms")).first)
    hot = page.locator("li", has=page.get_by_role("link", name="Bed C: hot"))
    assert "nobody has answered yet" in hot.inner_text()
    _tap(page, hot.get_by_role("button", name="Going"))
    assert (
        "answered by Cleo" in page.locator("li", has=page.get_by_role("link", name="Bed C: hot")).inner_text()
    )
    assert _alarm(night, "bed_hot", "bed-c").answered_by == "cleo"

    _tap(page, page.get_by_role("link", name="Floor").first)
    _tap(page, page.locator("#bed-c").get_by_role("button", name=re.compile("^Turned")))
    assert "Written down: Bed C: turned." in page.locator(".done").inner_text()
    assert "0 min" in page.locator("#bed-c .since").inner_text()
    assert "Cleo" in page.locator("#bed-c .since").inner_text()

    night.let_pass(120)
    page.reload()
    assert "hot" not in page.locator("#bed-c").inner_text()
    assert _alarm(night, "bed_hot", "bed-c").state == "normal"
    _tap(page, page.get_by_role("link", name=re.compile("^Alarms")).first)
    before = page.locator("table tr", has=page.get_by_role("link", name="Bed C: hot")).first
    assert "Cleo" in before.inner_text()


def test_what_was_tapped_can_be_taken_back_for_a_minute(night: Lived, serve: Serve, open_as: Open) -> None:
    page = open_as(serve(night))
    before = page.locator("#bed-a .since").inner_text()
    _tap(page, page.locator("#bed-a").get_by_role("button", name=re.compile("^Turned")))
    assert "0 min" in page.locator("#bed-a .since").inner_text()
    _tap(page, page.get_by_role("button", name="Undo"))
    assert page.locator("#bed-a .since").inner_text() == before
    assert page.locator(".done").count() == 0

    _tap(page, page.locator("#bed-a").get_by_role("button", name=re.compile("^Turned")))
    assert page.locator(".done").count() == 1
    night.let_pass(1.5)
    page.reload()
    assert page.locator(".done").count() == 0


def test_a_part_earlier_by_somebody_else(night: Lived, serve: Serve, open_as: Open) -> None:
    page = open_as(serve(night))
    _tap(page, page.locator("#bed-a").get_by_role("link", name=re.compile("^A part")))
    form = page.locator("form", has=page.get_by_role("button", name="Turned"))
    form.get_by_label("When").fill("22:15")
    form.get_by_label("Who").select_option("ben")
    form.get_by_label("From metre").fill("0")
    form.get_by_label("To metre").fill("4,5")
    _tap(page, form.get_by_role("button", name="Turned"))
    assert page.locator("#bed-a .grain").count() == 2
    parts = night.ask(lambda state: [(p.from_m, p.to_m, p.by) for p in state.pieces.beds["bed-a"].parts])
    assert parts == [(0.0, 4.5, "ben"), (4.5, 10.0, "ada")]


def test_what_cannot_be_is_said_in_plain_words(night: Lived, serve: Serve, open_as: Open) -> None:
    page = open_as(serve(night))
    page.goto(page.url + "bed/bed-a/write")
    page.get_by_text("Temperature by hand").tap()
    page.get_by_label("Reading").fill("warm")
    _tap(page, page.locator("form", has=page.get_by_label("Reading")).get_by_role("button"))
    assert page.get_by_role("alert").inner_text() == "Reading: 'warm' is no number"
    page.get_by_role("link", name="Back").tap()
    page.wait_for_url(re.compile(r"/$"))


def test_two_people_at_once(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    cleo, ben = open_as(serving, "cleo"), open_as(serving, "ben")
    _tap(cleo, cleo.locator("#bed-c").get_by_role("button", name=re.compile("^Turned")))
    ben.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    ben.locator("#bed-c .since", has_text="Cleo").wait_for()
    # Both turn the same bed down: two entries, the later one counts, nothing is lost.
    _tap(ben, ben.locator("#bed-c").get_by_role("button", name=re.compile("^Turned")))
    assert "Ben" in ben.locator("#bed-c .since").inner_text()
    who = night.ask(
        lambda state: [one.body.get("by") for one in state.pieces.records if one.word == "turned"]
    )
    assert who[-2:] == ["cleo", "ben"]

    number = _alarm(night, "bed_unwatched", "bed-d").number
    for page in (cleo, ben):
        page.goto(f"{serving.url}/alarm/{number}")
    _tap(cleo, cleo.get_by_role("button", name=re.compile("^Going")))
    _tap(ben, ben.get_by_role("button", name="Heard"))
    assert "answered by Cleo" in ben.locator("main").inner_text(), "the first who goes stays named"


def test_who_may_only_look_has_no_buttons_and_cannot_write(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    page = open_as(serving, "vic")
    assert page.locator("main button").count() == 0
    page.goto(serving.url + "/me")
    token = page.locator("input[name=csrf]").first.input_value()
    answer = page.request.post(serving.url + "/do/turned", form={"bed": "bed-c", "csrf": token})
    assert answer.status == 403
    assert "may not write that down" in answer.text()


def test_it_works_without_scripts(night: Lived, serve: Serve, open_as: Open) -> None:
    page = open_as(serve(night), java_script_enabled=False)
    page.locator("#bed-c").get_by_role("button", name=re.compile("^Turned")).tap()
    page.wait_for_url(re.compile("done="))
    assert "0 min" in page.locator("#bed-c .since").inner_text()


def test_degrees_fahrenheit_for_who_reads_them(still_night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(still_night)
    celsius = open_as(serving, "cleo").locator("#bed-c .warm b").inner_text()
    fahrenheit = open_as(serving, "fay").locator("#bed-c .warm b").inner_text()
    low, high = (float(one) for one in re.findall(r"[\d.]+", celsius))
    assert [float(one) for one in re.findall(r"[\d.]+", fahrenheit)] == pytest.approx(
        [low * 1.8 + 32, high * 1.8 + 32], abs=0.11
    )
    page = open_as(serving, "fay")
    assert " °C" not in page.locator("main").inner_text()


def test_what_people_type_is_shown_and_never_run(night: Lived, serve: Serve, open_as: Open) -> None:
    bad = "<img src=x onerror=alert(1)>"
    night.record("hand-over", {"note": bad, "by": "ben"})
    night.record("cast", {"bed": "bed-b", "piece": "<script>alert(2)</script>", "by": bad})
    page = open_as(serve(night))
    said: list[str] = []
    page.on("dialog", lambda dialog: said.append(dialog.message))
    for path in ("", "note", "pieces", "bed/bed-b", "piece/%3Cscript%3Ealert(2)%3C%2Fscript%3E", "round"):
        page.goto(
            re.sub(r"/[^/]*$", "/", page.url.split("/", 3)[0] + "//" + page.url.split("/")[2] + "/") + path
        )
        assert page.locator("main img, main script").count() == 0, path
    assert said == []


def test_a_turn_nobody_wrote_down_is_asked_about_and_said_yes_to(
    night: Lived, serve: Serve, open_as: Open
) -> None:
    """Bed C is truly turned at 23:06 and nobody says so; the probes show it."""
    page = open_as(serve(night))
    assert page.locator(".asks", has_text="Bed C").count() == 0
    night.let_pass(150)
    page.reload()
    asked = page.locator(".asks li", has_text=re.compile("Bed C: turned about .*23:[0-5]"))
    text = asked.inner_text()
    _tap(page, asked.get_by_role("button", name=re.compile("^Yes")))
    assert page.locator(".asks li", has_text=text.splitlines()[0]).count() == 0
    told = night.ask(lambda state: [one for one in state.pieces.records if one.word == "turned"][-1])
    assert told.body["bed"] == "bed-c"
    true_ms = night.story.gate.hand.wall - 150 * 60_000 + 6 * 60_000
    assert abs(told.when_ms - true_ms) < 45 * 60_000
    assert told.body["by"] == "cleo"
