"""The letters a message may have: the GSM 7-bit default alphabet and its extension table (3GPP TS 23.038).

A message of 160 septets goes as one; a letter of the extension table costs two. The tables are from memory,
held against the published vectors in the tests.
"""

from __future__ import annotations

import unicodedata

MOST = 160
BASIC = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENDED = "\f^{}\\[~]|€"
_COST = dict.fromkeys(BASIC, 1) | dict.fromkeys(EXTENDED, 2)
_INSTEAD = {
    "ł": "l", "Ł": "L", "đ": "d", "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "œ": "oe", "Œ": "OE",
    "ı": "i", "µ": "u", "μ": "u", "–": "-", "—": "-", "−": "-", "’": "'", "‘": "'", "`": "'", "´": "'",
    "“": '"', "”": '"', "„": '"', "«": '"', "»": '"', "…": "...", "×": "x", "°": "", "²": "2", "³": "3",
}  # fmt: skip


def septets(text: str) -> int | None:
    """What a text costs in septets; None if a letter of it cannot be sent."""
    total = 0
    for letter in text:
        cost = _COST.get(letter)
        if cost is None:
            return None
        total += cost
    return total


def sendable(text: str) -> str:
    """The text with every letter sendable: accents taken off, look-alikes put in, the rest left out.

    Every run of white space, line ends too, becomes one blank.
    """
    return " ".join("".join(_letter(letter) for letter in " ".join(text.split())).split())


def _letter(letter: str) -> str:
    if letter in _COST:
        return letter if letter.isprintable() else ""
    if letter in _INSTEAD:
        return _INSTEAD[letter]
    bare = unicodedata.normalize("NFKD", letter)
    return "".join(_INSTEAD.get(one, one if one in _COST and one.isprintable() else "") for one in bare)


def clip(text: str, most: int) -> str:
    """The longest beginning of a sendable text that costs at most so many septets."""
    total = 0
    for at, letter in enumerate(text):
        total += _COST[letter]
        if total > most:
            return text[:at].rstrip()
    return text


def name(text: str, most: int) -> str:
    """A name from the site file as a message may carry it; "?" if nothing of it is left."""
    return clip(sendable(text).strip(), most) or "?"
