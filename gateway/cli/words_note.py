"""The words for a hand-over from one shift to the next."""

from __future__ import annotations

from gateway.cli.word import JSON, PEOPLE, Word, argument, whole, write

NOTE: dict[str, Word] = {
    "hand-over": write(
        "leave a note for whoever comes next; without words, the notes that were left",
        "At most 1,000 characters; the page shows it until it is read. Alone it shows the newest 30 "
        "and who has read each.",
        'malting-gateway hand-over "Bed C turned late, look at it first" --by Ben',
        argument("note", metavar="WORDS", nargs="?", help="what the next one must know; left out, it shows"),
        PEOPLE, JSON,
    ),
    "hand-over-read": write(
        "say that a hand-over note was read", "By whom, and when.",
        "malting-gateway hand-over-read 8812 --by Cleo",
        argument("entry", type=whole, metavar="N", help="the note's journal number"), PEOPLE,
    ),
}  # fmt: skip
