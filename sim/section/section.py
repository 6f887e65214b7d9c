"""A house's ground in cross-section, all zones side by side, stepped by the hour."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from evenclay.sim.section import arrays, kernel
from evenclay.sim.section.clay import Clay, clay_of
from evenclay.sim.section.ground import Ground, Zone
from evenclay.sim.section.layout import PLACES, STRIP, STRIP_M
from evenclay.sim.section.shape import places_of, rooms_of
from evenclay.sim.types import Floats

EVERY_H = 6  # between steps of all but the surface
CRACKS_OPEN_PF, CRACKS_WHOLE_PF = 3.3, 4.2  # an assumption


class Days(NamedTuple):
    """What days came to.

    pf: daily mean, (days, zones, PLACES, layers), single precision. water: (days, zones) of DAY,
    depths over the strip.
    """

    pf: NDArray[np.float32]
    water: "NDArray[np.void]"


class Hours(NamedTuple):
    """Hours of weather and water, to be lived through piece by piece.

    rain_m, et0_m: of each hour on open ground [m], (hours,). water_m, water_s: given over each
    strip [m], and the seconds that it takes from the hour's beginning on; (hours, zones). What is
    written into an hour before it is lived counts.
    """

    rain_m: Floats
    et0_m: Floats
    water_m: Floats
    water_s: Floats


@dataclass(frozen=True)
class Snapshot:
    """The water of a section at one moment, to be put back into one of the same shape."""

    water: Floats
    pond_rain: Floats
    pond_water: Floats
    dried: Floats


class Section:
    """All zones of a house, from each yard to the middle of the house, 6 m deep.

    ground: the clay. zones: the sides. start_pf: of all ground at the start. bottom_pf: suction
    held below the last layer; None: nothing is held, and water falls out of the last layer by its
    own weight. closed: nothing passes below at all.
    every_h: hours between steps of all but the surface, a divisor of 24. parts: that an hour of the
    surface is stepped in. Others than the usual show what steps matter.
    """

    def __init__(
        self,
        ground: Ground,
        zones: Sequence[Zone],
        *,
        start_pf: float = 3.2,
        bottom_pf: float | None = None,
        closed: bool = False,
        every_h: int = EVERY_H,
        parts: int = 1,
    ) -> None:
        self.ground, self.zones, self.layout = ground, tuple(zones), ground.layout
        self._every_h, self._parts = every_h, parts
        textures = list(dict.fromkeys(zone.texture for zone in zones))
        self._clays = [clay_of(texture, ground) for texture in textures]
        self._clay_of = [textures.index(zone.texture) for zone in zones]
        self._rooms = rooms_of(ground, self.zones, self._clays, self._clay_of)
        self._shape, self._state, _ = kernel.parts_of(self._rooms)
        for z, zone in enumerate(zones):
            self._describe(z, zone)
        self._of_day = 0
        self._place = places_of(self.layout)
        self._shares_of = [shares.copy() for shares in self._place.T]  # of each place, (columns,)
        self._strip_weights = self.layout.mean(*STRIP_M)
        self._end_below(bottom_pf, closed)
        self.set_pf(start_pf)

    def _describe(self, z: int, zone: Zone) -> None:
        clay = self._clays[self._clay_of[z]]
        one = self._rooms.zone[z]
        one["strip_coefficient"], one["strip_exposure"] = zone.coefficient, zone.exposure
        one["strip_transpired"] = zone.cover.transpired_share
        one["yard_coefficient"], one["yard_exposure"] = zone.yard_coefficient, zone.yard_exposure
        one["yard_transpired"] = zone.yard_cover.transpired_share
        one["cracks"] = float(zone.texture.cracks)
        one["cracks_open"] = float(clay.content(np.array(CRACKS_OPEN_PF)))
        one["cracks_whole"] = float(clay.content(np.array(CRACKS_WHOLE_PF)))

    def _end_below(self, bottom_pf: float | None, closed: bool) -> None:
        for z, clay in enumerate(self._clay_of):
            one = self._rooms.zone[z]
            one["bottom_held"] = 0.0 if bottom_pf is None else 1.0
            one["bottom_falls"] = 0.0 if closed else 1.0
            if bottom_pf is not None:
                one["bottom_phi"] = self._clays[clay].potential(bottom_pf)

    def hold_surface(self, yard_pf: Sequence[float], strip_pf: Sequence[float]) -> None:
        """Hold suctions at the surfaces of yards and strips from now on, one for each zone.

        For checks against closed forms: weather then does nothing of its own to the surface, but
        falls and evaporates as ever; give none.
        """
        for z, clay in enumerate(self._clay_of):
            one = self._rooms.zone[z]
            one["surface_held"] = 1.0
            one["yard_phi"] = self._clays[clay].potential(yard_pf[z])
            one["strip_phi"] = self._clays[clay].potential(strip_pf[z])

    def set_pf(self, pf: float | Floats) -> None:
        """Bring the ground to a suction, nothing standing on it; the books begin anew.

        pf: one for all, or an array that broadcasts to (zones, columns, layers).
        """
        count = len(self.zones)
        wanted = np.broadcast_to(
            np.asarray(pf, dtype=np.float64), (count, self.layout.columns, self.layout.layers)
        )
        for z in range(count):
            clay = self._clays[self._clay_of[z]]
            self._state.water[:, z::count] = clay.content(wanted[z]).T
        self._state.pond_rain[:] = self._state.pond_water[:] = self._state.dried[:] = 0.0
        self._begin_books()

    def _begin_books(self) -> None:
        self._state.demand[:] = 0.0
        self._state.worst[:] = 0.0
        self._state.idle[:] = 0.0
        self._state.expected[:] = self._held_m2()
        self._state.moving[:] = self._shape.above > 0
        self._state.pf_sum[:] = 0.0

    def live(
        self,
        rain_mm: Floats,
        et0_mm: Floats,
        water_mm: Floats | None = None,
        water_s: Floats | None = None,
    ) -> Days:
        """Live through hours of weather and water, and say what their days came to.

        rain_mm, et0_mm: of each hour on open ground. water_mm, water_s: given over each strip, and
        the seconds that it takes from the hour's beginning on, an hour without; (hours, zones). The
        hours begin at a midnight, or where the last ones ended; a day not over has no pF.
        """
        hours = self.hours(rain_mm, et0_mm)
        if water_mm is not None:
            hours.water_m[:] = np.asarray(water_mm) / 1000.0
        if water_s is not None:
            hours.water_s[:] = water_s
        days = self.room(-(-(self._of_day + len(rain_mm)) // arrays.HOURS))
        self.go_on(hours, 0, len(rain_mm), days, self._of_day)
        return days

    def hours(self, rain_mm: Floats, et0_mm: Floats) -> Hours:
        """Hours of weather in which no water is given yet, each taking an hour if it is."""
        shape = (len(rain_mm), len(self.zones))
        return Hours(
            np.asarray(rain_mm, dtype=np.float64) / 1000.0,
            np.asarray(et0_mm, dtype=np.float64) / 1000.0,
            np.zeros(shape),
            np.full(shape, 3600.0),
        )

    def go_on(self, hours: Hours, from_h: int, to_h: int, days: Days, of_day: int = 0) -> bool:
        """Live through some of the hours, in their order, and write into their days.

        days: of all the hours. of_day: the hour of the day at which the first of all begins.
        Returns whether water is still on the move at the surface.
        """
        moving = kernel.live(
            self._rooms,
            from_h,
            to_h,
            of_day,
            hours.rain_m,
            hours.et0_m,
            hours.water_m,
            hours.water_s,
            self._every_h,
            self._parts,
            self._place,
            days.pf,
            days.water,
        )
        self._of_day = (of_day + to_h) % arrays.HOURS
        return bool(moving)

    def changes(self, hours: Hours) -> list[int]:
        """For each hour the first one from it on that changes the ground if no water is given.

        That is one with rain, or one that ends with a step of all. While water moves at the
        surface, every hour does. Hours that begin at a midnight only.
        """
        count = len(hours.rain_m)
        step = (np.arange(count) + 1) % self._every_h == 0
        at = np.where((hours.rain_m > 0.0) | step, np.arange(count), count)
        first: list[int] = np.minimum.accumulate(at[::-1])[::-1].tolist()
        return [*first, count]

    def room(self, days: int) -> Days:
        """Room for what days come to, none of them lived yet."""
        shape = (days, len(self.zones), len(PLACES), self.layout.layers)
        water = np.zeros((max(days, 1), len(self.zones)), arrays.DAY)
        return Days(np.zeros(shape, np.float32), water)

    def pf(self) -> Floats:
        """pF now, (zones, columns, layers)."""
        count = len(self.zones)
        found = np.empty((count, self.layout.columns, self.layout.layers))
        for z in range(count):
            clay = self._clays[self._clay_of[z]]
            found[z] = clay.pf(self._state.water[:, z::count]).T
        return found

    def place_pf(self, place: int, weights: Floats) -> Floats:
        """pF of a place now, a weighted sum over the layers, (zones,).

        For a depth: `layout.at(depth_m)`; for a mean: `layout.mean(from_m, to_m)`.
        """
        shape = self._shape
        found = kernel.mean_pf(
            shape.zones,
            shape.steps,
            shape.tables,
            shape.table,
            shape.low,
            shape.per_step,
            self._state.water,
            self._shares_of[place],
            weights,
        )
        return np.asarray(found)

    def profile_pf(self, place: int) -> Floats:
        """pF of the layers of a place now, (zones, layers)."""
        return np.asarray(np.einsum("zcl,c->zl", self.pf(), self._place[:, place]))

    def clay(self, zone: int) -> Clay:
        """How the clay of a zone holds water."""
        return self._clays[self._clay_of[zone]]

    def strip_pf(self) -> Floats:
        """Mean pF of each strip at 0.3-1.0 m now, (zones,)."""
        return self.place_pf(STRIP, self._strip_weights)

    def content(self, place: int, weights: Floats) -> Floats:
        """Water content of a place now [m3/m3], weighted as in `place_pf`, (zones,)."""
        columns = self._shares_of[place]
        found = kernel.mean_content(len(self.zones), self._state.water, columns, weights)
        return np.asarray(found)

    def snapshot(self) -> Snapshot:
        """The water now."""
        state = self._state
        return Snapshot(
            state.water.copy(),
            state.pond_rain.copy(),
            state.pond_water.copy(),
            state.dried.copy(),
        )

    def put_back(self, then: Snapshot) -> None:
        """Bring the water to what it was; the books begin anew."""
        self._state.water[:] = then.water
        self._state.pond_rain[:], self._state.pond_water[:] = then.pond_rain, then.pond_water
        self._state.dried[:] = then.dried
        self._begin_books()

    def _held_m2(self) -> Floats:
        count = len(self.zones)
        state, shape = self._state, self._shape
        column = state.pond_rain + state.pond_water + shape.thick @ state.water
        return np.asarray((column * shape.width).reshape(-1, count).sum(axis=0))

    @property
    def mass_balance_error_mm(self) -> float:
        """Largest difference so far between water held and the books, over the strip [mm]."""
        widths = np.array([zone.width_m for zone in self.zones])
        return float(np.max(1000.0 * self._state.worst / widths))
