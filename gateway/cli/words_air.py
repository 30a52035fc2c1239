"""The words for the air people breathe: what is known of it, who goes in, who is out again."""

from __future__ import annotations

from gateway.cli.word import PEOPLE, Word, argument, read, write

_PERSON = argument("person", metavar="PERSON", help="who: a name or an id of the site file")

AIR: dict[str, Word] = {
    "air": read(
        "what is known of the air in each place, and who is inside",
        "One row a place and gas: what was measured, means as if somebody had stood there, minutes to each "
        "level, airing. Never a permit; not a certified gas alarm. Exit 1 if a place is to be left or "
        "stayed out of, or its probes are not heard.",
        "malting-gateway air",
    ),
    "check-in": write(
        "somebody goes in: for a round, or an entry",
        "Who is not checked out in time is missed: a second person is called.",
        "malting-gateway check-in ben lower-room --for 45min",
        _PERSON, argument("place", metavar="PLACE", help="the place's id or name"),
        argument("--for", dest="for", metavar="SPAN", help="out again within 2h, 45min, 1h30min; the site's "
                  "out_after_min if left out"),
        PEOPLE,
    ),
    "check-out": write(
        "somebody is out again", "Ends the call for whoever was missed.",
        "malting-gateway check-out ben", _PERSON, PEOPLE,
    ),
}  # fmt: skip
