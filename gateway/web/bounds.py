"""How long, and of how many, the page bears with: figures of ours, one place for all of them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bounds:
    """`body_s`: the longest wait for the next part of a body.

    Of open pages: `each_s`, how often it is looked whether there is news, which is told at once;
    `readings_s`, how often readings alone are told, as a page that is open costs one page each time;
    `beat_s`, how long a line is quiet. `listeners` in all, `of_one` browser or program: HTTP/1.1 browsers
    open six connections to a host.
    """

    body_s: float = 10.0
    each_s: float = 0.5
    readings_s: float = 10.0
    beat_s: float = 15.0
    listeners: int = 100
    of_one: int = 8


USUAL = Bounds()
