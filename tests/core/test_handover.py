"""A note left for the next shift is kept, shown newest first, and marked by whoever has read it."""

import pytest

from gateway.core import asked, engine, views_note
from gateway.core.inputs import Entry
from gateway.core.inputs_note import HandedOver, HandoverRead
from gateway.core.site import Site

NOW_MS = 1_772_744_400_000


def _told(*events: object) -> engine.State:
    state = engine.new()
    state.site = Site("s", "S", "UTC")
    entries = [Entry(n, NOW_MS + n, n, event) for n, event in enumerate(events, 1)]  # type: ignore[arg-type]
    engine.advance(state, entries, len(entries))
    return state


def test_a_note_is_shown_until_and_after_it_is_read() -> None:
    state = _told(
        HandedOver(note="Bed C turned late", by="ben"), HandedOver(note="Steep 1 drains slowly", by="ben"),
        HandoverRead(entry=1, by="cleo"), HandoverRead(entry=1, by="cleo"), HandoverRead(entry=99, by="cleo"),
    )  # fmt: skip
    rows = views_note.notes(state)
    assert [row["text"] for row in rows] == ["Steep 1 drains slowly", "Bed C turned late"]
    assert [row["read_by"] for row in rows] == [[], ["cleo"]]
    assert engine.load(engine.dump(state)).notes == state.notes


def test_only_the_newest_are_kept_in_view() -> None:
    state = _told(*(HandedOver(note=f"note {n}") for n in range(40)))
    assert [row["text"] for row in views_note.notes(state)] == [f"note {n}" for n in range(39, 9, -1)]


def test_a_note_may_be_longer_than_a_reason_and_not_endless() -> None:
    made = asked.read("hand-over", {"note": "x" * 1000, "by": "ben"}, NOW_MS, "UTC")
    assert made == HandedOver(note="x" * 1000, by="ben")
    with pytest.raises(ValueError, match=r"note: .*expected 1 to 1000 printable characters"):
        asked.read("hand-over", {"note": "x" * 1001}, NOW_MS, "UTC")
