"""What somebody does to the kilns and to the air of the floors."""

from collections.abc import Iterable, Mapping

from simulators.floor import Floor
from simulators.kiln import TURN_S, Kiln
from simulators.orders import KILN_VERBS, Order

KILN_ORDERS = (*KILN_VERBS, "damp", "fire")
AIR_ORDERS = ("door", "fan")
CATCHES_KG_S_T = 5e-5
"""How much of a load burns when it catches, kg/s per tonne: it grows by itself; ours."""


def to_kilns(order: Order, kilns: Mapping[str, Kiln]) -> str | None:
    """Carry out an order for one kiln or all; None if it was done, else why not."""
    if order.target is not None and order.target not in kilns:
        return f"{order.verb}: {order.target!r} is no kiln: expected one of {', '.join(kilns) or 'none'}"
    for name, kiln in kilns.items():
        if order.target in (None, name):
            _to_kiln(order, kiln)
    return None


def to_floors(order: Order, floors: Mapping[str, Floor], floor_of: Mapping[str, Floor]) -> str | None:
    """Open or shut doors, start or stop fans, of one floor or all; None if it was done, else why not."""
    one = floors.get(order.target or "-") or floor_of.get(order.target or "-")
    if order.target is not None and one is None:
        return f"{order.verb}: {order.target!r} is no floor: expected one of {', '.join(floors) or 'none'}"
    chosen: Iterable[Floor] = floors.values() if one is None else [one]
    for floor in chosen:
        if order.verb == "door":
            floor.room.door_open = order.how == "open"
        else:
            floor.room.fan_on = order.how == "on"
    return None


def _to_kiln(order: Order, kiln: Kiln) -> None:
    if order.verb in ("light", "relight"):
        kiln.light()
    elif order.verb == "kiln-turn":
        kiln.turn_left_s = TURN_S
    elif order.verb == "draught":
        kiln.draught = order.amount
    elif order.verb == "damp":
        kiln.fire = order.amount
    elif order.how == "load":
        kiln.burning_kg_s = max(kiln.burning_kg_s, CATCHES_KG_S_T * kiln.barley_t)
    else:
        kiln.fuel, kiln.wild = order.how != "out", order.how == "wild"
