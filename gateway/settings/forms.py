"""The tables of the site file, as they are written: types, bounds and defaults of single keys.

What depends on more than one key is looked at in `checks`. A validator says in its ValueError what it
expected; values stay as they were written.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from gateway.settings import times
from gateway.settings.values import (
    ClientId,
    Filters,
    Id,
    Line,
    Listen,
    Name,
    Pair,
    Pointer,
    Root,
    Topic,
    Url,
)  # fmt: skip

Number = Annotated[float, Field(ge=-1e9, le=1e9)]
Above0 = Annotated[float, Field(gt=0, le=1e9)]
AtLeast0 = Annotated[float, Field(ge=0, le=1e9)]
Hours = Annotated[float, Field(gt=0, le=2400)]
Seconds = Annotated[float, Field(gt=0, le=7 * 86400)]
#: 0: never.
EveryDays = Annotated[float, Field(ge=0, le=3650)]
File = Annotated[str, Field(min_length=1, max_length=1000)]


def _clock(text: str) -> str:
    times.minutes(text)
    return text


def _days(value: Any) -> Any:
    times.days(value)
    return value


def _to_ring(text: str) -> str:
    if not 2 <= len(text) <= 12 or not set(text) <= set("0123456789+ "):
        raise ValueError('a number to ring, such as "112"')
    return text


def _date(text: str) -> str:
    try:
        date.fromisoformat(text)
    except ValueError:
        raise ValueError('a date "2026-03-05"') from None
    return text


Clock = Annotated[str, AfterValidator(_clock)]
DayWritten = Annotated[str, Field(max_length=10), AfterValidator(_date)]
Days = Annotated[Any, AfterValidator(_days)]


class Form(BaseModel):
    """A table. `BLANK` stands in for required keys that are missing or wrong; the rest is looked at."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False, frozen=True)
    BLANK: ClassVar[dict[str, Any]] = {}


class SiteForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"id": "", "time_zone": ""}
    id: Id
    name: Name | None = None
    time_zone: Annotated[str, Field(max_length=100, description='a time zone such as "Europe/London"')]
    programme_files: Annotated[list[File], Field(max_length=20)] = []
    kiln_physics_file: File | None = None


class BrokerForm(Form):
    host: Annotated[str, Field(min_length=1, max_length=253)] = "127.0.0.1"
    port: Annotated[int, Field(ge=1, le=65535)] | None = None
    client_id: ClientId | None = None
    root: Root | None = None
    subscribe: Filters | None = None
    protocol: Literal["auto", "5", "3.1.1"] = "auto"
    username: Line | None = None
    password_file: File | None = None
    tls: bool | None = None
    tls_ca_file: File | None = None
    tls_cert_file: File | None = None
    tls_key_file: File | None = None


class LinksForm(Form):
    listen: Listen = "127.0.0.1:8470"
    public_url: Url | None = None


class SeriesForm(Form):
    """The site's time-series server; without the table nothing is mirrored."""

    BLANK: ClassVar[dict[str, Any]] = {"url": "", "org": "", "bucket": "", "token_file": ""}
    url: Url
    org: Annotated[Line, Field(min_length=1, description="the server's name for the organisation")]
    bucket: Annotated[Line, Field(min_length=1, description="where to write")]
    token_file: Annotated[File, Field(description="a file with the token that may write there")]
    tls_ca_file: File | None = None
    every_s: Annotated[float, Field(ge=0.1, le=3600)] = 10.0
    batch: Annotated[int, Field(ge=1, le=20000)] = 5000
    timeout_s: Annotated[float, Field(ge=0.1, le=600)] = 30.0
    alarm_after_s: Annotated[float, Field(ge=60, le=7 * 86400)] = 3600.0
    newest_days: Annotated[float, Field(gt=0, le=36500)] | None = None


class StoreForm(Form):
    """What stays in the store, and how long."""

    keep_raw_days: Annotated[float, Field(ge=14, le=36500)] = 90.0


class FloorForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"id": "", "length_m": 1e9}
    id: Id
    length_m: Annotated[float, Field(gt=0, le=1000, description="its length in metres")]
    volume_m3: Above0 | None = None
    pieces: Literal["stay", "walk", "moved"] = "stay"
    walk_m: Annotated[float, Field(ge=0, le=100, description="metres at each turn")] = 0.0


class PlaceForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"id": "", "kind": ""}
    id: Id
    kind: Literal["steep", "bed", "room", "pit", "furnace", "plenum", "kiln", "outdoors"]
    name: Name | None = None
    floor: str | None = None
    from_m: AtLeast0 | None = None
    to_m: Above0 | None = None
    volume_m3: Above0 | None = None
    programme: str | None = None
    co2_high_ppm: Above0 | None = None
    co2_leave_ppm: Above0 | None = None
    co_leave_ppm: Above0 | None = None
    co_evacuate_ppm: Above0 | None = None
    full_t: Annotated[float, Field(gt=0, le=1000, description="tonnes of barley")] | None = None


class AirForm(Form):
    """Instant levels of gas, and whose limits hold; defaults are core Air's and the shipped files'."""

    jurisdiction: Id | None = None
    limits_file: File | None = None
    shut_room_file: File | None = None
    co2_no_entry_ppm: Above0 | None = None
    co2_leave_ppm: Above0 | None = None
    co2_deadband_ppm: AtLeast0 | None = None
    co_leave_ppm: Above0 | None = None
    co_evacuate_ppm: Above0 | None = None
    co_deadband_ppm: AtLeast0 | None = None
    on_delay_s: Annotated[float, Field(ge=0, le=300)] | None = None
    off_delay_s: Annotated[float, Field(ge=60, le=86400)] | None = None
    emergency: Annotated[str, AfterValidator(_to_ring)] | None = None
    out_after_min: Annotated[float, Field(gt=0, le=720)] | None = None
    safety_officer: Name | None = None
    why: Line | None = None


class GasLimitForm(Form):
    """The site's own limit of a substance, in ppm."""

    BLANK: ClassVar[dict[str, Any]] = {"substance": ""}
    substance: Literal["co2", "co", "so2", "no2"]
    mean_8_h: Above0 | None = None
    mean_15_min: Above0 | None = None
    ceiling: Above0 | None = None
    danger: Above0 | None = None


class ProbeForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"id": "", "place": "", "quantity": ""}
    id: Id
    place: Annotated[str, Field(description="the id of the place where it hangs")]
    quantity: Literal["temperature", "humidity", "co2", "co", "pressure_difference", "air_flow"]
    unit: str | None = None
    height_cm: Annotated[float, Field(ge=-1000, le=10000)] | None = None
    at_m: AtLeast0 | None = None
    role: Literal["air_on", "grain", "air_off"] | None = None
    topic: Topic | None = None
    payload: Literal["number", "json"] = "json"
    every_s: Annotated[float, Field(gt=0, le=86400)] = 60.0
    range: Pair | None = None
    plausible: Pair | None = None
    offset: Number = 0.0
    gain: Annotated[float, Field(gt=0, le=1e6)] = 1.0
    value: Pointer = "/v"
    time: Pointer = "/t"
    sequence: Pointer = "/n"
    battery: Pointer = "/b"
    battery_unit: Literal["%EL", "V", "mV"] | None = None
    silent_after_s: Seconds | None = None
    calibrated: DayWritten | None = None
    bump_tested: DayWritten | None = None
    self_baseline: bool | None = None
    calibrate_every_days: EveryDays | None = None
    bump_every_days: EveryDays | None = None


class PersonForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"id": ""}
    id: Id
    name: Name | None = None
    role: Name = "maltster"


class PhoneForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"person": "", "kind": "", "url": "", "secret_file": ""}
    person: Annotated[str, Field(description="the id of a person")]
    kind: Literal["webhook"]
    url: Url
    secret_file: Annotated[File, Field(description="a file with the secret its messages are signed with")]


class ShiftForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"people": [], "from": "", "to": ""}
    people: Annotated[list[str], Field(min_length=1, max_length=50, description="a list of people's ids")]
    days: Days = "daily"
    from_: Annotated[Clock, Field(alias="from", description='a time of day "HH:MM"')]
    to: Annotated[Clock, Field(description='a time of day "HH:MM"')]


class CalloutForm(Form):
    """Defaults are core Callout's."""

    high_repeat_s: Seconds | None = None
    high_next_s: Seconds | None = None
    medium_repeat_s: Seconds | None = None
    going_hold_s: Seconds | None = None
    heard_hold_s: Seconds | None = None
    morning: Clock | None = None
    night_from: Clock | None = None
    night_to: Clock | None = None
    evening: Clock | None = None
    forecast: Clock | None = None


class ProgrammeForm(Form):
    """Without the rows and the couch, which are looked at one by one."""

    deadband_k: Annotated[float, Field(ge=0, le=20)] | None = None
    on_delay_s: Annotated[float, Field(ge=0, le=86400)] | None = None
    off_delay_s: Annotated[float, Field(ge=0, le=86400)] | None = None
    strict_high_c: Number | None = None
    strict_urgent_c: Number | None = None
    cap_c: Number | None = None
    rise_k: Annotated[float, Field(gt=0, le=20)] | None = None
    spread_k: Annotated[float, Field(gt=0, le=20)] | None = None
    co2_turn_ppm: Annotated[float, Field(ge=1000, le=1e6)] | None = None
    rounds: Annotated[list[Clock], Field(max_length=24)] | None = None
    turn_takes_min: Annotated[float, Field(gt=0, le=600)] | None = None
    plough_h: Annotated[float, Field(ge=0, le=48)] | None = None
    mat_h: Hours | None = None
    withering_due_h: Hours | None = None
    withering_overdue_h: Hours | None = None
    base_c: Annotated[float, Field(ge=-10, le=20)] | None = None
    trust: Literal["recorded", "sure", "perhaps"] | None = None
    room_near_k: Annotated[float, Field(ge=0, le=10)] | None = None


Points = Annotated[list[list[AtLeast0]], Field(min_length=1, max_length=50)]
Three = Annotated[list[AtLeast0], Field(min_length=3, max_length=3)]


class HeatForm(Form):
    """What is expected of a bed's heat balance."""

    q10: Annotated[float, Field(ge=1, le=5)] | None = None
    reference_c: Annotated[float, Field(ge=0, le=40)] | None = None
    tired_c: Annotated[float, Field(ge=10, le=50)] | None = None
    growth: Points | None = None
    usual: Three | None = None
    usual_sd: Three | None = None
    change_sd: Three | None = None
    least_pull: Annotated[float, Field(gt=0, le=10)] | None = None
    loose_h: Annotated[float, Field(gt=0, le=48)] | None = None
    room_c: Annotated[float, Field(ge=-20, le=40)] | None = None
    room_sd_k: Annotated[float, Field(gt=0, le=20)] | None = None
    room_stray_k: Annotated[float, Field(gt=0, le=20)] | None = None


class BreathingForm(Form):
    """What is expected of grain that breathes."""

    dry_kg_per_m3: Annotated[float, Field(ge=100, le=1000)] | None = None
    dry_kg_per_t: Annotated[float, Field(ge=500, le=1000)] | None = None
    heat_j_per_dry_kg_k: Annotated[float, Field(ge=1000, le=20000)] | None = None
    porosity: Annotated[float, Field(gt=0, lt=1)] | None = None
    free_m2_s: Annotated[float, Field(gt=0, le=1e-3)] | None = None
    settle_h: Annotated[float, Field(ge=0, le=48)] | None = None
    least_over_ppm: Annotated[float, Field(ge=0, le=100000)] | None = None
    most_carried: Annotated[float, Field(gt=0, lt=1)] | None = None
    high_times: Annotated[float, Field(ge=1, le=10)] | None = None


class RecipeForm(Form):
    """Without its stands, which are looked at one by one."""

    overdue_after_min: Annotated[float, Field(ge=0, le=1440)] | None = None


class StandForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"kind": "", "hours": 1.0}
    kind: Literal["wet", "dry"]
    hours: Annotated[float, Field(gt=0, le=120, description="how long it stands")]
    water_c: Annotated[float, Field(ge=0, le=40, description="the water's temperature")] | None = None


class DayForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"day": -1.0}
    day: Annotated[float, Field(ge=0, le=60, description="days since casting")]
    aim_c: Number | None = None
    turn_at_c: Number | None = None
    high_c: Number | None = None
    urgent_c: Number | None = None
    low_c: Number | None = None
    due_h: Hours | None = None
    overdue_h: Hours | None = None


class CouchForm(Form):
    high_c: Number | None = None
    urgent_c: Number | None = None
    low_c: Number | None = None
    max_h: Hours | None = None


class StageForm(Form):
    BLANK: ClassVar[dict[str, Any]] = {"name": "", "from_h": -1.0, "target_c": 0.0, "limit_c": 0.0}
    name: Name
    from_h: Annotated[float, Field(ge=0, le=2400, description="hours since the fire was lit")]
    target_c: Annotated[Number, Field(description="the air-on temperature wanted")]
    limit_c: Annotated[Number, Field(description="the air-on temperature not to be passed")]
    after: Literal["hours", "break", "dry"] = "hours"
    dry_wb: Annotated[float, Field(gt=0, lt=0.5, description="a share of the whole")] | None = None
    ramp_k_per_h: Annotated[float, Field(gt=0, le=100)] = 10.0
