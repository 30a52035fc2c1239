"""The table of the site file about when a probe is doubted; what is left out is as shipped."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from gateway.settings.forms import EveryDays, Form, Hours

Times = Annotated[float, Field(ge=1, le=100)]
Kelvin = Annotated[float, Field(gt=0, le=50)]


class HonestForm(Form):
    """When a probe is doubted."""

    still_times: Times | None = None
    still_times_seen: Times | None = None
    still_least_h: Hours | None = None
    still_seen_h: Hours | None = None
    still_new_h: Hours | None = None
    back_within_min: Annotated[float, Field(gt=0, le=600)] | None = None
    air_k: Kelvin | None = None
    hand_k: Kelvin | None = None
    outdoor_ppm: Annotated[float, Field(ge=250, le=1000)] | None = None
    co2_accuracy_ppm: Annotated[float, Field(ge=0, le=200)] | None = None
    noise_times: Times | None = None
    jump_k: Kelvin | None = None
    jump_rh: Annotated[float, Field(gt=0, le=100)] | None = None
    bias_k: Kelvin | None = None
    gas_calibrate_days: EveryDays | None = None
    gas_bump_days: EveryDays | None = None
