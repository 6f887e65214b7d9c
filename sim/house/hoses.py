"""Water along a soaker hose: friction, emission by pressure, what a spigot can feed.

A hose is cut into short pieces. Each emits by its pressure, q = k p^x (x 1 for a porous wall, 0.5
for plain emitters), and loses pressure to friction by Hazen-Williams and to height. The pressure at
the far end is sought that makes the pressure at the start the one it is fed with.
Steady flow; the hose's wall is the same all along it.
"""

import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from evenclay.sim.types import Floats

KPA_PER_M = 9.80665  # of water
FLOW_POWER = 1.852  # of Hazen-Williams
C_HOSE = 140.0  # Hazen-Williams: from memory, new plastic 150
ORIFICE = 0.6  # discharge coefficient of a sharp hole, from memory
WATER_KG_M3 = 998.2
M3_S_PER_L_H = 1.0 / 3_600_000.0
EXPONENTS = {"porous": 1.0, "emitter": 0.5}
PIECES = 100  # of a run; 400 change the flow by less than 0.1 %
EVEN_ENOUGH = 0.9  # end to start: common practice, no source
EXACT, STEPS_MOST = 4e-16, 60  # of a search: how near it comes, and when it stops at the latest
BEYOND_KPA = 1e6  # no hose is fed so; here a search has gone too far
LONGEST_M = 300.0  # where the search for a longest run stops
# Pores close with use, fast at first, and then settle. The shape: Water Supply 22(1):220, 2022
# (buried porous pipe); the figures are an assumption.
CLOGGED_FLOOR, CLOGGING_YEARS = 0.6, 1.5


@dataclass(frozen=True)
class Hose:
    """A run of soaker hose. flow_l_h_m: emission per metre at rated_kpa. rise_m: of its end above
    its start, evenly along it. diameter_mm: inside."""

    length_m: float
    flow_l_h_m: float
    rated_kpa: float
    exponent: float = 1.0
    diameter_mm: float = 12.7
    rise_m: float = 0.0
    c: float = C_HOSE

    def emission_l_h_m(self, pressure_kpa: float) -> float:
        """Emission per metre at a pressure; none at or below 0."""
        if pressure_kpa <= 0.0:
            return 0.0
        return self.flow_l_h_m * float((pressure_kpa / self.rated_kpa) ** self.exponent)

    @property
    def volume_l(self) -> float:
        """Water the hose holds."""
        return float(np.pi / 4.0 * (self.diameter_mm / 1000.0) ** 2 * self.length_m * 1000.0)


@dataclass(frozen=True)
class Run:
    """A hose in steady flow: pressures at its ends, its whole flow, emission of each piece."""

    start_kpa: float
    end_kpa: float
    flow_l_h: float
    emission_l_h_m: Floats

    @property
    def end_to_start(self) -> float:
        """Emission at the end over that at the start; above 1 where the hose falls."""
        return float(self.emission_l_h_m[-1] / max(self.emission_l_h_m[0], 1e-12))

    @property
    def evenness(self) -> float:
        """Least emission over the most, 0..1."""
        return float(self.emission_l_h_m.min() / max(self.emission_l_h_m.max(), 1e-12))


def friction_m(flow_l_h: float, length_m: float, diameter_mm: float, c: float = C_HOSE) -> float:
    """Head lost [m of water] by Hazen-Williams in a pipe without outlets.

    Source: the formula in SI, 10.67 L Q^1.852 / (C^1.852 d^4.8704) with m and m3/s.
    """
    flow = flow_l_h * M3_S_PER_L_H
    return float(10.67 * length_m * (flow / c) ** FLOW_POWER / (diameter_mm / 1000.0) ** 4.8704)


def run(hose: Hose, start_kpa: float, pieces: int = PIECES) -> Run:
    """Let water into a hose at a pressure [kPa] and see what comes out along it."""
    low = min(0.0, -KPA_PER_M * hose.rise_m)  # nothing comes out: below any start
    high = max(start_kpa, start_kpa - KPA_PER_M * hose.rise_m)
    end_kpa = _root(lambda kpa: _upstream(hose, kpa, pieces)[0] - start_kpa, low, high)
    found_kpa, emission = _upstream(hose, end_kpa, pieces)
    flow_l_h = float(emission.sum()) * hose.length_m / pieces
    return Run(found_kpa, end_kpa, flow_l_h, emission)


def _upstream(hose: Hose, end_kpa: float, pieces: int) -> tuple[float, Floats]:
    """From the end to the start: the pressure there, and the emission of each piece."""
    step_m = hose.length_m / pieces
    rise_kpa = KPA_PER_M * hose.rise_m / pieces
    pressure, flow = end_kpa, 0.0
    emission = [0.0] * pieces  # plain numbers: one by one, an array is slower
    for piece in range(pieces - 1, -1, -1):
        # Emission at the piece's middle, half of which passes its middle.
        emission[piece] = hose.emission_l_h_m(pressure + rise_kpa / 2.0)
        out = emission[piece] * step_m
        lost = friction_m(flow + out / 2.0, step_m, hose.diameter_mm, hose.c)
        pressure += rise_kpa + KPA_PER_M * lost
        flow += out
        if pressure > BEYOND_KPA:
            break
    return pressure, np.array(emission)


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function is 0, or the nearer bound.

    A dozen looks at the function, where halving took sixty. Not scipy's, whose import alone takes
    longer than all that `check` has to solve.
    Source: Ridders 1979, IEEE Trans. Circuits Syst. 26(11):979-980.
    """
    at_low, at_high = rising(low), rising(high)
    if at_low >= 0.0 or at_high <= 0.0:
        return low if at_low >= 0.0 else high
    found = low
    for _ in range(STEPS_MOST):
        before, middle = found, (low + high) / 2.0
        at_middle = rising(middle)
        straight = math.sqrt(at_middle**2 - at_low * at_high)
        found = middle - (middle - low) * at_middle / straight
        at_found = rising(found)
        if abs(found - before) <= EXACT * abs(found) or at_found == 0.0:
            break
        for at, value in ((middle, at_middle), (found, at_found)):
            if value < 0.0 and at > low:
                low, at_low = at, value
            elif value >= 0.0 and at < high:
                high, at_high = at, value
    return found


def longest_run_m(hose: Hose, start_kpa: float, least: float = EVEN_ENOUGH) -> float:
    """Longest run whose evenness is at least `least`, the slope kept, in whole tenths of a metre;
    LONGEST_M where any is."""

    def uneven(tenths: int) -> bool:
        length_m = tenths / 10
        rise_m = hose.rise_m * length_m / hose.length_m
        return run(replace(hose, length_m=length_m, rise_m=rise_m), start_kpa).evenness < least

    return bisect_left(range(1, int(10 * LONGEST_M) + 1), True, key=uneven) / 10


@dataclass(frozen=True)
class Spigot:
    """What feeds the hoses.

    still_kpa: pressure with nothing running. open_l_min: what runs into a bucket with the spigot
    wide open. lead_m, lead_mm: plain hose between spigot and soaker. splitter_mm: bore of the
    splitter's way. regulator_kpa: what a regulator behind them holds. restrictor_mm: hole of a
    washer-type flow restrictor at the soaker's inlet. None: not there.
    """

    still_kpa: float
    open_l_min: float
    lead_m: float = 0.0
    lead_mm: float = 15.9
    splitter_mm: float | None = None
    regulator_kpa: float | None = None
    restrictor_mm: float | None = None

    def pressure_kpa(self, flow_l_h: float) -> float:
        """Pressure at the soaker's inlet while so much flows; below 0: it cannot flow.

        House piping and spigot together lose pressure with the square of the flow.
        """
        kpa = self.still_kpa * (1.0 - (flow_l_h / 60.0 / self.open_l_min) ** 2)
        kpa -= hole_loss_kpa(flow_l_h, self.splitter_mm)
        kpa -= KPA_PER_M * friction_m(flow_l_h, self.lead_m, self.lead_mm)
        if self.regulator_kpa is not None:
            kpa = min(kpa, self.regulator_kpa)
        return kpa - hole_loss_kpa(flow_l_h, self.restrictor_mm)


def hole_loss_kpa(flow_l_h: float, bore_mm: float | None) -> float:
    """Pressure lost in a sharp-edged hole; none where there is no hole (None)."""
    if bore_mm is None:
        return 0.0
    area_m2 = np.pi / 4.0 * (bore_mm / 1000.0) ** 2
    speed_m_s = flow_l_h * M3_S_PER_L_H / (ORIFICE * area_m2)
    return float(WATER_KG_M3 * speed_m_s**2 / 2.0 / 1000.0)


def most_flow_l_h(spigot: Spigot, inlet_kpa: float) -> float:
    """Most flow the spigot gives while the inlet still has so much pressure [kPa]; 0 if none."""
    if spigot.pressure_kpa(0.0) < inlet_kpa:
        return 0.0
    most = 60.0 * spigot.open_l_min
    return _root(lambda flow: inlet_kpa - spigot.pressure_kpa(flow), 0.0, most)


def fed(hose: Hose, spigot: Spigot) -> Run:
    """A hose on a spigot: the pressure at which both agree on the flow."""

    def over(end_kpa: float) -> float:
        start_kpa, emission = _upstream(hose, end_kpa, PIECES)
        return start_kpa - spigot.pressure_kpa(float(emission.mean()) * hose.length_m)

    still_kpa = spigot.pressure_kpa(0.0)
    rise_kpa = KPA_PER_M * hose.rise_m
    end_kpa = _root(over, min(0.0, -rise_kpa), max(still_kpa, still_kpa - rise_kpa))
    found_kpa, emission = _upstream(hose, end_kpa, PIECES)
    return Run(found_kpa, end_kpa, float(emission.mean()) * hose.length_m, emission)


def drain_l_h(hose: Hose) -> float:
    """What soaks out of a full hose once shut, by the head of its slope and its own height."""
    head_kpa = KPA_PER_M * (abs(hose.rise_m) / 2.0 + hose.diameter_mm / 2000.0)
    return hose.emission_l_h_m(head_kpa) * hose.length_m


def left_open(years: float, floor: float = CLOGGED_FLOOR) -> float:
    """Share of a new hose's flow that its pores still pass; floor: what is left at last."""
    return floor + (1.0 - floor) * math.exp(-years / CLOGGING_YEARS)


def aged(hose: Hose, years: float, floor: float = CLOGGED_FLOOR) -> Hose:
    """The hose after years of use, its pores partly closed."""
    return replace(hose, flow_l_h_m=hose.flow_l_h_m * left_open(years, floor))


def calibrated(hose: Hose, litres: float, minutes: float, start_kpa: float) -> Hose:
    """The hose with the flow of a bucket test: so many litres in so many minutes, all of it, at a
    pressure at its start. Raises: ValueError where they are not above 0, or are more than the hose
    could pass."""
    if not (litres > 0.0 and minutes > 0.0 and start_kpa > 0.0):
        raise ValueError("a bucket test needs litres, minutes and pressure above 0")
    wanted = litres / minutes * 60.0

    def over(flow_l_h_m: float) -> float:
        return run(replace(hose, flow_l_h_m=flow_l_h_m), start_kpa).flow_l_h - wanted

    most = 100.0 * wanted / hose.length_m
    if over(most) < 0.0:
        raise ValueError(f"{wanted:.0f} L/h is more than the hose passes at {start_kpa:g} kPa")
    return replace(hose, flow_l_h_m=_root(over, 0.0, most))
