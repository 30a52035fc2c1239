"""Where a drawing's letters stand: as large as the text beside it, however large that is, none over another.

Lengths are in letters: the size of the reader's own text (rem). A drawing is so many of them high; how many
it is wide only the reader's device knows. So each time below it is given the widths of the page at which
there is room for it, and the style shows it there (`.c9` and its neighbours in floor.css).
"""

from __future__ import annotations

from collections.abc import Sequence

#: A drawing's units down to a letter.
UNITS = 16.0
#: From one line of letters to the next.
LINE = 1.2
#: The widest time below a drawing ("168 h", "23:00") in a wide face, and what is left free beside it.
_TIME, _FREE = 2.9, 0.6
#: What floor.css leaves beside a drawing: left of it, left of it where the figures are long, right of it, and
#: right of it where the page is wide.
_LEFT, _FAR_LEFT, _RIGHT, _WIDE_RIGHT = 2.6, 4.4, 0.5, 4.4
#: Widths of a page's middle at each of which other times may be shown, and the first that is a wide page.
WIDTHS = (6, 9, 12, 15, 18, 22, 26, 30, 36, 44, 56)
_WIDE = 30
#: Each, each second, … time is written: parts of a day or days, so that those left are round ones.
_EVERY = (1, 2, 3, 4, 6, 8, 12, 16)
#: A figure's signs in a wide face, and how long a figure has room in the usual place on the left.
_DIGIT, _SIGNS, _LONG = 0.64, {".": 0.32, "-": 0.37}, 2.25


def far(texts: Sequence[str]) -> bool:
    """Whether a value axis has figures too long for the usual place."""
    return any(sum(_SIGNS.get(sign, _DIGIT) for sign in text) > _LONG + 1e-9 for text in texts)


def wanted(height: float) -> int:
    """Into how many parts at most a value axis so many units high is marked."""
    return min(6, int(height / UNITS / LINE))


def shown_at(at: Sequence[float], turns: Sequence[int], is_far: bool) -> list[list[int]]:
    """At which of `WIDTHS`, up to the next, each time is written: as many as have room, evenly apart.

    `at` are shares of the drawing's width, evenly apart, `turns` their numbers on the axis: round ones stay.
    """
    found: list[list[int]] = [[] for _ in at]
    apart = at[1] - at[0] if len(at) > 1 else 1.0
    for width in WIDTHS:
        right = _RIGHT if width < _WIDE else _WIDE_RIGHT
        room = width - right - (_FAR_LEFT if is_far else _LEFT)
        inside = [n for n, x in enumerate(at) if (1.0 - x) * room + right >= _TIME / 2]
        every = next((one for one in _EVERY if one * apart * room >= _TIME + _FREE), _EVERY[-1])
        sets = [[n for n in inside if turns[n] % every == left] for left in range(every)]
        for n in sets[0] if len(sets[0]) > 1 else max(sets, key=len):
            found[n].append(width)
    return found


def spread(at: Sequence[float], bottom: float) -> list[float]:
    """Where names of lines at these heights stand (units down, in the order given): each by its own line, or
    so far from it that no name lies over another; none below the bottom."""
    order = sorted(range(len(at)), key=lambda n: at[n])
    places, upto = [at[n] for n in order], -LINE * UNITS
    for n, place in enumerate(places):
        places[n] = upto = max(place, upto + LINE * UNITS)
    upto = bottom + LINE * UNITS
    for n in reversed(range(len(places))):
        places[n] = upto = min(places[n], upto - LINE * UNITS)
    return [round(places[order.index(n)], 1) for n in range(len(at))]
