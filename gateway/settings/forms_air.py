"""The tables of the files about air: limits by jurisdiction, instant levels, a shut room's figures."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from gateway.settings.forms import Above0, AtLeast0, Form
from gateway.settings.values import Id, Line

Share = Annotated[float, Field(gt=0, le=1)]


class LimitForm(Form):
    """One substance's limits in one jurisdiction."""

    BLANK: ClassVar[dict[str, Any]] = {"jurisdiction": "", "substance": "", "grade": "C", "source": ""}
    jurisdiction: Id
    substance: Literal["co2", "co", "so2", "no2"]
    unit: Literal["ppm"] = "ppm"
    grade: Annotated[Literal["A", "B", "C", "D", "o"], Field(description="how sure it is")]
    source: Line
    mean_8_h: Above0 | None = None
    mean_15_min: Above0 | None = None
    ceiling: Above0 | None = None
    danger: Above0 | None = None


class InstantForm(Form):
    """What the trade goes by at once, whatever the law's means say."""

    BLANK: ClassVar[dict[str, Any]] = {"substance": ""}
    substance: Literal["co2", "co"]
    unit: Literal["ppm"] = "ppm"
    hand_meter: Above0 | None = None
    leave: Above0 | None = None
    evacuate: Above0 | None = None


class RoomForm(Form):
    """How fast CO2 gathers, and how it is aired out; defaults are core RoomSettings'."""

    outdoor_ppm: Above0 | None = None
    co2_m3_h_t: Above0 | None = None
    peak_share: Annotated[float, Field(ge=1, le=5)] | None = None
    noise_ppm: AtLeast0 | None = None
    sure_share: Share | None = None
    airing_per_h: Above0 | None = None
    airing_share: Share | None = None
