"""Every other form of the pages does what it says, in a real browser over a real gateway."""

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


def _press(page: Any, target: Any) -> None:
    with page.expect_navigation():
        target.click()
    assert page.get_by_role("heading", name="Not written down").count() == 0, page.locator(
        "main"
    ).inner_text()


def test_quiet_with_an_end_and_a_reason_and_its_end(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    page = open_as(serving)
    number = next(one.line.alarm.number for one in night.gate.alarms() if one.kind == "bed_unwatched")
    page.goto(f"{serving.url}/alarm/{number}")
    page.get_by_text("Keep it quiet for a while").click()
    page.get_by_label("For how long").select_option("1h")
    page.get_by_label("Why").fill("probes are being moved")
    _press(page, page.get_by_role("button", name="Quiet", exact=True))
    assert "quiet until 00:00" in page.locator("main").inner_text()
    page.get_by_text("Keep it quiet for a while").click()
    _press(page, page.get_by_role("button", name="End the quiet now"))
    assert "quiet until" not in page.locator("main").inner_text()


def test_a_probe_out_of_service_and_back(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    page = open_as(serving, "ada")
    page.goto(f"{serving.url}/probe/bed-a-mid")
    page.get_by_text("Put it out of service").click()
    page.get_by_label("Why").fill("cable cut")
    _press(page, page.get_by_role("button", name="Out of service"))
    assert "Out of service: cable cut" in page.locator("main").inner_text()
    _press(page, page.get_by_role("button", name="Back in service"))
    assert "cable cut" not in page.locator("main").inner_text()


def test_checking_in_and_out(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    page = open_as(serving)
    page.goto(f"{serving.url}/air")
    page.get_by_text("Check in", exact=True).first.click()
    page.get_by_label("Where").select_option(label="Lower floor")
    _press(page, page.get_by_role("button", name="Check in"))
    assert "Cleo, Lower floor" in page.locator("section", has_text="Who is in").first.inner_text()
    night.let_pass(35)
    page.reload()
    assert "missed: a second person is called" in page.locator("main").inner_text()
    _press(page, page.get_by_role("button", name="Cleo is out"))
    assert "Nobody is checked in." in page.locator("main").inner_text()


def test_a_note_is_handed_over_and_read(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    ben, cleo = open_as(serving, "ben"), open_as(serving, "cleo")
    ben.goto(f"{serving.url}/note")
    ben.get_by_label("For whoever comes next").fill("Bed C was turned late.\nLook at it first.")
    _press(ben, ben.get_by_role("button", name="Leave it"))
    cleo.reload()
    assert (
        "Left for you by Ben\nBed C was turned late. Look at it first." in cleo.locator("main").inner_text()
    )
    cleo.goto(f"{serving.url}/note")
    _press(cleo, cleo.get_by_role("button", name=re.compile("^I have read it")))
    assert "Read by Cleo." in cleo.locator("main").inner_text()
    cleo.goto(serving.url)
    assert "Left for you" not in cleo.locator("main").inner_text()


def test_the_round_sheet_is_typed_back_with_its_real_times(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    page = open_as(serving)
    page.goto(f"{serving.url}/round")
    lines = page.locator("fieldset")
    for at, (bed, what, when, c) in enumerate(
        [
            ("Bed A", "turned", "21:10", ""),
            ("Bed D", "temperature by hand", "22:40", "17,8"),
            ("Bed B", "ploughed", "22:50", ""),
        ]
    ):
        line = lines.nth(at)
        line.get_by_label("Bed").select_option(label=bed)
        line.get_by_label("What").select_option(label=what)
        line.get_by_label("When").fill(when)
        line.get_by_label("Reading").fill(c)
    _press(page, page.get_by_role("button", name="Write these down"))
    kept = night.ask(
        lambda state: [(r.word, r.body.get("bed"), r.when_ms, r.body.get("c")) for r in state.pieces.records]
    )
    now = night.now_ms()
    assert ("turned", "bed-a", now - 110 * 60_000, None) in kept
    assert ("hand", "bed-d", now - 20 * 60_000, 17.8) in kept
    assert ("ploughed", "bed-b", now - 10 * 60_000, None) in kept


def test_a_line_that_cannot_be_is_named_and_the_others_are_kept(
    night: Lived, serve: Serve, open_as: Open
) -> None:
    serving = serve(night)
    page = open_as(serving)
    page.goto(f"{serving.url}/round")
    lines = page.locator("fieldset")
    for at, bed in enumerate(("Bed A", "Bed B")):
        lines.nth(at).get_by_label("Bed").select_option(label=bed)
        lines.nth(at).get_by_label("What").select_option(label="temperature by hand")
    lines.nth(0).get_by_label("Reading").fill("16.2")
    lines.nth(1).get_by_label("Reading").fill("")
    with page.expect_navigation():
        page.get_by_role("button", name="Write these down").click()
    assert page.get_by_role("alert").all_inner_texts() == ["Line 2: hand: c missing"]
    assert [one["c"] for one in night.ask(_by_hand)] == [16.4, 16.2]


def _by_hand(state: Any) -> list[dict[str, Any]]:
    from gateway.core import views_piece

    found = [hand for piece in views_piece.pieces(state) for hand in piece["by_hand"]]
    return sorted(found, key=lambda hand: hand["at"])


def test_the_kiln_and_the_steep(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    page = open_as(serving)
    page.goto(f"{serving.url}/kiln")
    _press(page, page.get_by_role("button", name="Damped"))
    assert "damped, Cleo" in page.locator(".story").inner_text()
    page.goto(serving.url)
    _press(page, page.get_by_role("button", name="Drained"))
    stands = night.ask(lambda state: [one.kind for one in state.pieces.now.steeps["steep-1"].stands])
    assert stands == ["wet", "dry"]


def test_an_entry_is_put_right_on_the_pieces_page(night: Lived, serve: Serve, open_as: Open) -> None:
    serving = serve(night)
    page = open_as(serving, "ada")
    page.goto(f"{serving.url}/piece/14")
    line = page.locator(".story li", has_text="turned, Ada").last
    line.get_by_text("Put right").click()
    line.get_by_label("It really was at").fill("2026-03-05T10:30")
    line.get_by_label("Why", exact=True).fill("wrong hour written down")
    _press(page, line.get_by_role("button", name="Correct the time"))
    turned_ms = night.ask(lambda state: state.pieces.beds["bed-c"].parts[0].turned_ms)
    assert night.now_ms() - turned_ms == 12.5 * 3_600_000
