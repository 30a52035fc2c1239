"""A bed of growing grain: heat and CO2 over its height, in a few columns along its length.

Each column is a stack of cells. Grain breathes by its age and temperature; heat leaves by
conduction to the air above and the floor below and with the moist air that moves through the
pores; CO2 leaves by diffusion and with the same air. Rootlets mat the bed and close the pores
until it is turned. A turn walks along the bed: where it passes, the column is mixed, thrown
through the air and opened. A ledger counts every joule and gram, so that nothing is lost unseen.
"""

import math
from dataclasses import dataclass
from random import Random
from typing import NamedTuple

from simulators.air import (
    DRY_AIR_KG_PER_M3,
    co2_kg_per_m3,
    co2_ppm,
    saturated_enthalpy_j_per_kg,
)
from simulators.grain import Grain, Lie
from simulators.solve import diffuse


class Surroundings(NamedTuple):
    """What a bed lies in: the room's air above it and the floor below."""

    room_c: float
    room_j_per_kg: float
    room_co2_kg_m3: float
    floor_c: float


@dataclass
class Ledger:
    """What was generated and where it went; heat in J, CO2 in kg."""

    generated: float = 0.0
    to_room: float = 0.0
    to_floor: float = 0.0
    vented: float = 0.0
    stored_at_start: float = 0.0

    def gap(self, stored: float) -> float:
        """What the ledger cannot account for, given what is stored now."""
        out = self.to_room + self.to_floor + self.vented
        return self.stored_at_start + self.generated - out - stored


@dataclass
class Turn:
    """One walk along a bed, from one place to another."""

    from_m: float
    to_m: float
    began_s: float
    ends_s: float

    def passes_s(self, at_m: float) -> float | None:
        """When the turn comes by, or None for a place outside its stretch."""
        if not min(self.from_m, self.to_m) <= at_m <= max(self.from_m, self.to_m):
            return None
        span = self.to_m - self.from_m
        share = (at_m - self.from_m) / span if span else 0.0
        return self.began_s + share * (self.ends_s - self.began_s)


@dataclass
class Column:
    """One stretch of the bed; lists run from the floor upward."""

    at_m: float
    vigour: float
    warm_c: list[float]
    co2: list[float]
    since_turn_h: float


class Bed:
    """A bed between two places on its floor. Steps by the time it is given; reads no clock."""

    def __init__(
        self,
        from_m: float,
        to_m: float,
        barley_t: float,
        grain: Grain,
        lie: Lie,
        rng: Random,
    ) -> None:
        self.from_m, self.to_m = from_m, to_m
        self.grain, self.lie = grain, lie
        self.barley_t = barley_t
        dm_kg = barley_t * 880.0
        self.area_m2 = dm_kg / lie.dm_kg_per_m3 / lie.depth_m
        self.age_h = 0.0
        self.turn: Turn | None = None
        self.heat, self.co2 = Ledger(), Ledger()
        self._rate = grain.mean_mg_per_kg_h() / grain.shape_mean()
        width = (to_m - from_m) / lie.columns
        self.columns = [
            Column(
                from_m + (i + 0.5) * width,
                max(0.5, 1.0 + rng.gauss(0.0, lie.unevenness)),
                [grain.reference_c] * lie.cells,
                [0.0] * lie.cells,
                0.0,
            )
            for i in range(lie.columns)
        ]
        self._weights = [0.4 + 1.2 * (i + 0.5) / lie.cells for i in range(lie.cells)]

    def lay(self, age_h: float, centre_c: float, since_turn_h: float, around: Surroundings) -> None:
        """Begin: an age, a temperature at the heart, and the time since it was last turned.

        The profile bows as a bed of that time does; the CO2 is what this bed settles to.
        """
        self.age_h = age_h
        bow_k = min(4.0, 0.45 * since_turn_h)
        cells = self.lie.cells
        for column in self.columns:
            heights = [2.0 * (i + 0.5) / cells - 1.0 for i in range(cells)]
            column.warm_c = [centre_c - bow_k * h * h for h in heights]
            column.since_turn_h = since_turn_h
            column.co2 = [around.room_co2_kg_m3] * cells
            column.co2 = self._breathe(column, 1e9, around)[0]
        self.open_ledgers()

    def shift(self, by_k: float) -> None:
        """Make the whole bed warmer, before it starts."""
        for column in self.columns:
            column.warm_c = [value + by_k for value in column.warm_c]
        self.open_ledgers()

    def open_ledgers(self) -> None:
        """Begin counting from what is stored now."""
        self.heat = Ledger(stored_at_start=self.heat_stored_j())
        self.co2 = Ledger(stored_at_start=self.co2_stored_kg())

    def step(self, dt_s: float, around: Surroundings) -> float:
        """Let `dt_s` pass; returns the kg of CO2 given to the room."""
        before_kg = self.co2.to_room + self.co2.vented
        for column in self.columns:
            self._step_column(column, dt_s, around)
            column.since_turn_h += dt_s / 3600.0
        self.age_h += dt_s / 3600.0
        return self.co2.to_room + self.co2.vented - before_kg

    def begin_turn(self, from_m: float, to_m: float, now_s: float) -> Turn:
        """Start a turn of a stretch; the time it takes follows its length."""
        share = abs(to_m - from_m) / (self.to_m - self.from_m)
        self.turn = Turn(from_m, to_m, now_s, now_s + share * self.lie.turn_s)
        return self.turn

    def walk(self, since_s: float, now_s: float, around: Surroundings) -> float:
        """Turn the columns that the walk came by after `since_s`; returns kg of CO2 let out."""
        if self.turn is None:
            return 0.0
        before_kg = self.co2.vented
        for column in self.columns:
            passes_s = self.turn.passes_s(column.at_m)
            if passes_s is not None and since_s < passes_s <= now_s:
                self._throw(column, around)
        if now_s >= self.turn.ends_s:
            self.turn = None
        return self.co2.vented - before_kg

    def warm_at(self, at_m: float, height_m: float) -> float:
        """Temperature in the grain at a place, C."""
        return self._between(self._nearest(at_m).warm_c, height_m)

    def co2_ppm_at(self, at_m: float, height_m: float) -> float:
        """CO2 in the pores at a place, ppm by volume."""
        kg_m3 = self._between(self._nearest(at_m).co2, height_m)
        return co2_ppm(kg_m3, self.warm_at(at_m, height_m))

    def temperatures(self) -> list[float]:
        """Every cell's temperature, C."""
        return [value for column in self.columns for value in column.warm_c]

    def heat_stored_j(self) -> float:
        """Heat in the bed above 0 C."""
        return sum(self.temperatures()) * self._cell_j_per_m2_k() * self._column_m2()

    def co2_stored_kg(self) -> float:
        """CO2 in the pores."""
        total = sum(value for column in self.columns for value in column.co2)
        return total * self.lie.porosity * self._cell_m() * self._column_m2()

    def _cell_m(self) -> float:
        return self.lie.depth_m / self.lie.cells

    def _column_m2(self) -> float:
        return self.area_m2 / self.lie.columns

    def _cell_j_per_m2_k(self) -> float:
        return self.grain.heat_capacity_j_per_kg_k * self.lie.dm_kg_per_m3 * self._cell_m()

    def _nearest(self, at_m: float) -> Column:
        return min(self.columns, key=lambda column: abs(column.at_m - at_m))

    def _between(self, values: list[float], height_m: float) -> float:
        place = min(max(height_m / self._cell_m() - 0.5, 0.0), len(values) - 1.0)
        i = min(int(place), len(values) - 2)
        return values[i] + (place - i) * (values[i + 1] - values[i])

    def _air_changes_per_h(self, column: Column) -> float:
        lie = self.lie
        closing = math.exp(-column.since_turn_h / lie.matting_h)
        return lie.matted_per_h + (lie.open_per_h - lie.matted_per_h) * closing

    def _co2_source(self, column: Column) -> list[float]:
        """kg of CO2 per m2 and second, cell by cell."""
        rate = self._rate * self.grain.relative(self.age_h) * column.vigour
        scale = rate * self.lie.dm_kg_per_m3 * self._cell_m() * 1e-6 / 3600.0
        return [scale * self.grain.warmth(value) for value in column.warm_c]

    def _breathe(self, column: Column, dt_s: float, around: Surroundings) -> tuple[list[float], float, float]:
        """New CO2, and what was generated and given to the room, kg per m2."""
        lie, cell_m = self.lie, self._cell_m()
        source = self._co2_source(column)
        air = self._air_changes_per_h(column) / 3600.0 * lie.porosity * cell_m
        g = lie.diffusivity_m2_s / cell_m
        stepped = diffuse(
            column.co2,
            lie.porosity * cell_m / dt_s,
            g,
            (0.0, 0.0),
            (2.0 * g, around.room_co2_kg_m3),
            source,
            [air * weight for weight in self._weights],
        )
        gone = (stepped.out_above + stepped.out_through) * dt_s
        return stepped.values, sum(source) * dt_s, gone

    def _warm(
        self, column: Column, generated_j: list[float], dt_s: float, around: Surroundings
    ) -> tuple[list[float], float, float]:
        """New temperatures, and what went to the room and to the floor, J per m2."""
        lie, cell_m = self.lie, self._cell_m()
        air = self._air_changes_per_h(column) / 3600.0 * lie.porosity * cell_m * DRY_AIR_KG_PER_M3
        aired = [
            air * weight * (saturated_enthalpy_j_per_kg(value) - around.room_j_per_kg)
            for value, weight in zip(column.warm_c, self._weights, strict=True)
        ]
        g = lie.conductivity_w_mk / cell_m
        stepped = diffuse(
            column.warm_c,
            self._cell_j_per_m2_k() / dt_s,
            g,
            (_in_row(lie.base_w_m2_k, 2.0 * g), around.floor_c),
            (_in_row(lie.top_w_m2_k, 2.0 * g), around.room_c),
            [made / dt_s - lost for made, lost in zip(generated_j, aired, strict=True)],
            [0.0] * lie.cells,
        )
        to_room = (stepped.out_above + sum(aired)) * dt_s
        return stepped.values, to_room, stepped.out_below * dt_s

    def _step_column(self, column: Column, dt_s: float, around: Surroundings) -> None:
        area = self._column_m2()
        joules = self.grain.heat_j_per_mg * 1e6 * dt_s
        generated_j = [made * joules for made in self._co2_source(column)]
        new_co2, made_kg, gone_kg = self._breathe(column, dt_s, around)
        column.warm_c, to_room, to_floor = self._warm(column, generated_j, dt_s, around)
        column.co2 = new_co2
        self.co2.generated += made_kg * area
        self.co2.to_room += gone_kg * area
        self.heat.generated += sum(generated_j) * area
        self.heat.to_room += to_room * area
        self.heat.to_floor += to_floor * area

    def _throw(self, column: Column, around: Surroundings) -> None:
        """Mix a column, cool it by its way through the air, and let its CO2 out."""
        lie, area = self.lie, self._column_m2()
        mixed_c = sum(column.warm_c) / lie.cells
        cooled_c = mixed_c - lie.turn_cools_share * (mixed_c - around.room_c)
        self.heat.vented += (mixed_c - cooled_c) * lie.cells * self._cell_j_per_m2_k() * area
        mixed = sum(column.co2) / lie.cells
        left = around.room_co2_kg_m3 + lie.turn_keeps_co2 * (mixed - around.room_co2_kg_m3)
        self.co2.vented += (mixed - left) * lie.cells * lie.porosity * self._cell_m() * area
        column.warm_c = [cooled_c] * lie.cells
        column.co2 = [left] * lie.cells
        column.since_turn_h = 0.0


def _in_row(first: float, second: float) -> float:
    """Two conductances one behind the other."""
    return first * second / (first + second) if first and second else 0.0


def still_air(room_c: float, co2_share_ppm: float, room_j_per_kg: float) -> Surroundings:
    """Surroundings whose floor is as warm as the room."""
    return Surroundings(room_c, room_j_per_kg, co2_kg_per_m3(co2_share_ppm, room_c), room_c)
