"""Recipes for the steep: the [recipe.NAME] tables, and the one of a site that brings none."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

from gateway.core.site import Recipe, RecipeStand
from gateway.settings.fault import Sheet, Spot
from gateway.settings.forms import RecipeForm, StandForm
from gateway.settings.read import parse, row, rows
from gateway.settings.values import is_id

MOST_STANDS = 20
SHIPPED = "(shipped)"


@cache
def shipped() -> tuple[Recipe, ...]:
    """The recipe of a site that brings none."""
    data = files("gateway.settings").joinpath("defaults.toml").read_bytes()
    document = parse(data, SHIPPED)
    sheet = Sheet()
    found = read_recipes(sheet, document.spot / "recipe", document.data["recipe"])
    if sheet.faults():
        raise AssertionError("\n".join(map(str, sheet.faults())))
    return found


def read_recipes(sheet: Sheet, spot: Spot, value: Any) -> tuple[Recipe, ...]:
    """The [recipe.NAME] tables of one file, in its order; `spot` is that of `recipe`."""
    if not isinstance(value, dict):
        sheet.fault(spot, value, "tables [recipe.NAME]")
        return ()
    found = []
    for key, item in value.items():
        if not is_id(key):
            sheet.fault(spot / key, key, "a recipe's name of 1 to 40 of a-z, 0-9 and -")
        elif not isinstance(item, dict):
            sheet.fault(spot / key, item, "a table")
        else:
            found.append(_recipe(sheet, spot / key, key, item))
    return tuple(found)


def _recipe(sheet: Sheet, spot: Spot, key: str, item: dict[str, Any]) -> Recipe:
    own = row(sheet, spot, {name: part for name, part in item.items() if name != "stands"}, RecipeForm)
    there = rows(sheet, spot / "stands", item.get("stands"), StandForm)
    stands = tuple(RecipeStand(one.form.kind, one.form.hours, one.form.water_c) for one in there)
    if not stands or len(stands) > MOST_STANDS:
        sheet.fault(spot / "stands", len(stands), f"1 to {MOST_STANDS} stands {{kind, hours, water_c}}")
    elif there[0].whole and stands[0].kind != "wet":
        sheet.fault(there[0].spot / "kind", stands[0].kind, '"wet" for the first stand')
    for before, after in pairwise(there):
        if before.whole and after.whole and before.form.kind == after.form.kind:
            sheet.fault(after.spot / "kind", after.form.kind, "wet and dry stands in turn")
    for one in there:
        if one.whole and one.form.kind == "dry" and one.form.water_c is not None:
            sheet.fault(one.spot / "water_c", one.form.water_c, "no water in a dry stand")
    minutes = own.form.overdue_after_min
    return Recipe(key, stands) if minutes is None else Recipe(key, stands, minutes)
