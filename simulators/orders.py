"""What a person may tell the simulated floor: small JSON objects, each with one verb.

{"turn": "bed-c"}                       turn a bed, from end to end
{"turn": {"place": "bed-c", "from_m": 24, "to_m": 30}}
{"draught": 0.5}                        every kiln's draught: 0 shut, 1 as usual, up to 3
{"draught": {"place": "floor-1", "amount": 2}}   a kiln's draught, or the shutters of a floor
{"damp": "kiln-1"}                      damp the fire right down
{"damp": {"place": "kiln-1", "amount": 0.4}}     0 damped, 1 as the programme wants
{"light": "kiln-1"}   {"relight": "kiln-1"}      light a fire, or again: the programme goes on where it was
{"kiln-turn": true}   {"kiln-turn": "kiln-1"}    turn the load in the kiln
{"fire": "out"}  {"fire": "wild"}  {"fire": "load"}   the fire fails; burns far too hot; the load catches
{"fire": {"place": "kiln-1", "how": "out"}}
{"door": "open"}  {"fan": "on"}  {"door": {"place": "floor-1", "how": "shut"}}   of every floor, or of one
{"hook": "c1"}   {"back": "c1"}         a probe taken out and left on its hook; put back
{"stuck": {"probe": "c1", "for_s": 3600}}   {"silent": {"probe": "c1", "for_s": 3600}}
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass

MAX_BYTES = 1024
HOWS = {"fire": ("out", "wild", "load"), "door": ("open", "shut"), "fan": ("on", "off")}
KILN_VERBS = ("light", "relight", "kiln-turn")
VERBS = ("turn", "draught", "damp", *KILN_VERBS, *HOWS, "hook", "back", "stuck", "silent")
DEFAULT_AMOUNT = {"draught": 1.0, "damp": 0.0}
HIGHEST_AMOUNT = {"draught": 3.0, "damp": 1.0}


class BadOrder(ValueError):
    """An order that cannot be understood; the text says what was expected."""


@dataclass(frozen=True)
class Order:
    """One order. `target` is a place or a probe, None for every one that fits."""

    verb: str
    target: str | None
    amount: float = 0.0
    from_m: float | None = None
    to_m: float | None = None
    for_s: float = 3600.0
    how: str = ""


def read_payload(payload: bytes) -> Order:
    """The order in a message; raises BadOrder."""
    if len(payload) > MAX_BYTES:
        raise BadOrder(f"{len(payload)} bytes: expected at most {MAX_BYTES}")
    try:
        order = json.loads(payload)
    except (ValueError, RecursionError):
        raise BadOrder("expected a JSON object") from None
    return read_order(order)


def read_order(order: object) -> Order:
    """The order in a parsed object; raises BadOrder."""
    if not isinstance(order, Mapping) or len(order) != 1:
        raise BadOrder('expected an object with one verb, such as {"turn": "bed-c"}')
    verb, said = next(iter(order.items()))
    if verb not in VERBS:
        raise BadOrder(f"verb {str(verb)[:40]!r}: expected one of {', '.join(VERBS)}")
    if verb in HOWS:
        return _in_a_way(verb, said)
    if verb in KILN_VERBS and said is True:
        return Order(verb, None)
    if isinstance(said, str):
        return Order(verb, said[:200], DEFAULT_AMOUNT.get(verb, 0.0))
    if isinstance(said, Mapping):
        return _full(verb, said)
    if verb in HIGHEST_AMOUNT:
        return Order(verb, None, _number(verb, "amount", said, HIGHEST_AMOUNT[verb]))
    raise BadOrder(f"{verb}: expected a name")


def _in_a_way(verb: str, said: object) -> Order:
    how, target = said, None
    if isinstance(said, Mapping):
        how, target = said.get("how"), said.get("place")
        if not isinstance(target, str):
            raise BadOrder(f"{verb}: expected a place by name")
    if not isinstance(how, str) or how not in HOWS[verb]:
        raise BadOrder(f"{verb}: {str(how)[:40]!r}: expected one of {', '.join(HOWS[verb])}")
    return Order(verb, None if target is None else target[:200], how=how)


def _full(verb: str, said: Mapping[str, object]) -> Order:
    target = said.get("place", said.get("probe"))
    if not isinstance(target, str):
        raise BadOrder(f"{verb}: expected a place or a probe by name")
    amount = DEFAULT_AMOUNT.get(verb, 0.0)
    if "amount" in said and verb in HIGHEST_AMOUNT:
        amount = _number(verb, "amount", said["amount"], HIGHEST_AMOUNT[verb])
    ends = [
        None if said.get(key) is None else _number(verb, key, said[key], 1000.0) for key in ("from_m", "to_m")
    ]
    for_s = _number(verb, "for_s", said.get("for_s", 3600.0), 604_800.0)
    return Order(verb, target[:200], amount, ends[0], ends[1], for_s)


def _number(verb: str, key: str, value: object, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= high:
        raise BadOrder(f"{verb}: {key} = {str(value)[:40]!r}: expected a number from 0 to {high:g}")
    return float(value)
