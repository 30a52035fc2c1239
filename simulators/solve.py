"""One implicit step of a conducting, storing, generating stack of equal cells.

Backward Euler on finite volumes: each flux is computed once, from the new values, and taken
from one cell and given to its neighbour, so what goes in, out and into store balances to
rounding whatever the step.
"""

from typing import NamedTuple


class Stepped(NamedTuple):
    """The new values, and what left the stack meanwhile, each per unit of area and time."""

    values: list[float]
    out_below: float
    out_above: float
    out_through: float


def diffuse(
    values: list[float],
    storage: float,
    conductance: float,
    below: tuple[float, float],
    above: tuple[float, float],
    source: list[float],
    exchange: list[float],
) -> Stepped:
    """Step the stack (first cell lowest) once.

    `storage` is a cell's capacity divided by the time step; `conductance` couples neighbours;
    `below` and `above` are (conductance, outside value); `source` is added to each cell;
    `exchange` couples each cell straight to the value above. A conductance of 0 is a seal.
    """
    count = len(values)
    last = count - 1
    g_below, v_below = below
    g_above, v_above = above
    ratio = [0.0] * count
    new = [0.0] * count
    previous_ratio = previous = 0.0
    for i in range(count):
        diagonal = storage + exchange[i]
        right = storage * values[i] + source[i] + exchange[i] * v_above
        if i:
            diagonal += conductance * (1.0 - previous_ratio)
            right += conductance * previous
        else:
            diagonal += g_below
            right += g_below * v_below
        if i == last:
            diagonal += g_above
            right += g_above * v_above
        else:
            diagonal += conductance
            previous_ratio = ratio[i] = conductance / diagonal
        previous = new[i] = right / diagonal
    for i in range(last - 1, -1, -1):
        new[i] += ratio[i] * new[i + 1]
    through = 0.0
    for value, rate in zip(new, exchange, strict=True):
        through += rate * (value - v_above)
    return Stepped(new, g_below * (new[0] - v_below), g_above * (new[last] - v_above), through)
