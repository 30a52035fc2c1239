"""The words for a hand-over from one shift to the next."""

from __future__ import annotations

from gateway.cli_word import PEOPLE, Word, argument, write

NOTE: dict[str, Word] = {
    "hand-over": write(
        "leave a note for whoever comes next",
        "At most 1,000 characters; the page shows it until it is read.",
        'malting-gateway hand-over "Bed C turned late, look at it first" --by Ben',
        argument("note", metavar="WORDS", help="what the next one must know"), PEOPLE,
    ),
    "hand-over-read": write(
        "say that a hand-over note was read", "By whom, and when.",
        "malting-gateway hand-over-read 8812 --by Cleo",
        argument("entry", type=int, metavar="N", help="the note's journal number"), PEOPLE,
    ),
}  # fmt: skip
