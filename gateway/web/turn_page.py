"""From an address to a page, and from a form to what is written down: everything but HTTP itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple
from urllib.parse import quote, unquote, urlsplit

from gateway.errors import GatewayError
from gateway.web import desk, desk_bed, desk_house, paper, taken
from gateway.web.desk import Desk, NotHere, Shown
from gateway.web.given import Account, Given

#: Pages without and with one name in their address.
PAGES: dict[str, Callable[[Desk], Shown]] = {
    "/": desk.home,
    "/alarms": desk.alarm_list,
    "/pieces": desk_bed.pieces,
    "/probes": desk_house.probe_list,
    "/which": desk_house.which,
    "/kiln": desk_house.kilns,
    "/air": desk_house.air,
    "/round": desk_house.round_sheet,
    "/note": desk_house.note,
}
_ONE: dict[str, Callable[[Desk, str], Shown]] = {
    "bed": desk_bed.one_bed,
    "write": desk_bed.write,
    "piece": desk_bed.one_piece,
    "probe": desk_house.one_probe,
    "alarm": lambda asked, name: desk.one_alarm(asked, _number(name)),
}


class Reply(NamedTuple):
    """What goes back: a page, or with `location` the address to go to."""

    status: int
    html: str = ""
    location: str = ""
    now_ms: int = 0
    clock: str = ""


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise NotHere("There is no such alarm.")
    return int(text)


def get(
    given: Given, me: Account, path: str, query: Mapping[str, str], token: str, *, part: bool = False
) -> Reply:
    """The page at an address, as one person sees it; with `part` without header and footer."""
    asked = Desk(given, me, query)
    try:
        template, shown = _look(asked, path)
        status = 200
    except NotHere as gone:
        template, shown = "fault.html", {"here": "", "title": "Not here", "faults": [str(gone)], "back": "/"}
        status = 404
    return _printed(asked, template, shown, token, part, status, path)


def _look(asked: Desk, path: str) -> Shown:
    if path in PAGES:
        return PAGES[path](asked)
    parts = [unquote(part) for part in path.strip("/").split("/")]
    if len(parts) == 2 and parts[0] in _ONE and parts[0] != "write":
        return _ONE[parts[0]](asked, parts[1])
    if len(parts) == 3 and (parts[0], parts[2]) == ("bed", "write"):
        return _ONE["write"](asked, parts[1])
    raise NotHere("There is no such page.")


def _printed(
    asked: Desk, template: str, shown: desk.Row, token: str, part: bool, status: int, path: str
) -> Reply:
    say = asked.say()
    html = paper.html(
        template, asked.me, say, bare=part, token=token, path=path, **desk.common(asked), **shown
    )
    return Reply(status, html, now_ms=say.now_ms, clock=say.clock(say.now_ms))


def post(given: Given, me: Account, word: str, form: Mapping[str, str], token: str) -> Reply:
    """Write down what a form says, and where to go then; what cannot be is said on a page of its own."""
    back = back_to(form.get("back", "/"))
    number, faults = 0, []
    if me.role == "viewer":
        faults.append("You may look and not write. Ask whoever keeps the accounts.")
    else:
        try:
            if word == "round":
                number, faults = taken.round_lines(given, me, form)
            else:
                number = taken.verb(given, me, word, form)
        except ValueError as fault:
            faults.append(str(fault))
        except GatewayError as fault:
            faults += [str(fault), "Note it on paper with its time, and write it down later."]
    if faults:
        shown = {"here": "", "title": "Not written down", "faults": faults, "back": back}
        return _printed(Desk(given, me), "fault.html", shown, token, False, 422, back)
    if word in ("void", "round"):
        return Reply(303, location=back)
    return Reply(303, location=f"{back}{'&' if '?' in back else '?'}done={number}")


def back_to(asked: str) -> str:
    """Where to go back to: a path of ours and nothing else."""
    parts = urlsplit(asked)
    if (
        parts.scheme
        or parts.netloc
        or not asked.startswith("/")
        or asked.startswith(("//", "/\\"))
        or len(asked) > 300
    ):
        return "/"
    return quote(parts.path, safe="/%+-._~") or "/"
