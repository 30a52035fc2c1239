"""Pages as HTML: the templates, and what every one of them is given."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from gateway.core.wording.screen import REASONS, battery
from gateway.web.asking import may_record
from gateway.web.given import Account
from gateway.web.pages.alarms import how, listed, words
from gateway.web.pages.say import Say, lasting, share, span, times

#: The pages in the order in which they are offered.
DOORS = (
    ("/", "Floor"),
    ("/alarms", "Alarms"),
    ("/air", "Air"),
    ("/kiln", "Kiln"),
    ("/pieces", "Pieces"),
    ("/probes", "Probes"),
    ("/round", "Round sheet"),
    ("/note", "Hand-over"),
)
STATIC = resources.files("gateway.web") / "static"
#: What is served from beside the pages, and as what.
TYPES = {
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("gateway.web", "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(since=span, share=share, static=static, doors=DOORS, alarm_words=words, alarm_how=how)
    made.globals.update(times=times, reasons=REASONS, battery=battery, lasting=lasting, listed=listed)
    made.tests["longer"] = lambda rows: len(rows) > 1
    made.filters["upfirst"] = lambda text: text[:1].upper() + text[1:]
    made.filters["person_of"] = lambda who, say: say.person(who)
    return made


@cache
def static(name: str) -> str:
    """A file's address, which changes with what is in it: it may be kept for ever."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:10]
    return f"/static/{name}?v={digest}"


@cache
def files() -> frozenset[str]:
    """The names of the files beside the pages."""
    return frozenset(one.name for one in STATIC.iterdir() if one.is_file())


def html(template: str, me: Account, say: Say, *, bare: bool, token: str, **shown: Any) -> str:
    """One page for one reader; with `bare` only what stands between header and footer."""
    return (
        _environment()
        .get_template(template)
        .render(
            me=me,
            say=say,
            token=token,
            may_write=me.role != "viewer",
            may=lambda word: may_record(me, word),
            layout="bare.html" if bare else "base.html",
            **shown,
        )
    )
