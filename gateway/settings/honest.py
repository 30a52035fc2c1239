"""When a probe is doubted: the [honest] table of the site file over what is shipped."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from importlib.resources import files

from gateway.core.estimate.honest_state import Figures
from gateway.settings.fault import Sheet
from gateway.settings.forms_honest import HonestForm
from gateway.settings.read import Row, parse, table


@cache
def shipped() -> Figures:
    """The figures of a site that brings none; defaults.toml gives each its grade."""
    data = files("gateway.settings").joinpath("defaults.toml").read_bytes()
    sheet = Sheet()
    found = build(table(sheet, parse(data, "(shipped)"), "honest", HonestForm), Figures())
    if sheet.faults():
        raise AssertionError("\n".join(map(str, sheet.faults())))
    return found


def build(row: Row[HonestForm], base: Figures) -> Figures:
    """The figures of a table over `base`."""
    return replace(base, **{key: value for key, value in row.form.model_dump().items() if value is not None})
