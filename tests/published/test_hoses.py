"""Hose hydraulics against printed formulas and figures, and a library's Darcy-Weisbach friction.

Sources: Hazen-Williams in its SI form (metres, m3/s), and in its US form (psi, ft, gal/min, in);
Christiansen 1942, University of California Bulletin 670. Laterals marked "computed" come from a
separate calculation with the same formulas. 10 psi = 68.95 kPa.
"""

from dataclasses import replace

import fluids
import numpy as np
import pytest

from evenclay.sim.house import hoses
from evenclay.sim.house.hoses import Hose, Spigot
from evenclay.tools.dev.models.christiansen import christiansen_factor

PSI_KPA = 6.894757
GPM_L_H = 227.1247
FT_M, IN_MM = 0.3048, 25.4

HALF_INCH = Hose(length_m=30.0, flow_l_h_m=7.45, rated_kpa=10 * PSI_KPA)


# flow [L/h], length [m], diameter [mm], C, head lost [m]: computed by hand from the SI formula; the
# first also stands in public test suites as 1.459, and by EPANET's constants it is 1.462.
FRICTION = [
    (36_000.0, 100.0, 100.0, 150.0, 1.460),
    (900.0, 30.0, 15.875, 140.0, 4.196),
    (360.0, 30.0, 12.7, 140.0, 2.280),
]


@pytest.mark.parametrize(("flow", "length", "diameter", "c", "head_m"), FRICTION)
def test_hazen_williams(
    flow: float, length: float, diameter: float, c: float, head_m: float
) -> None:
    ours = hoses.friction_m(flow, length, diameter, c)
    assert ours == pytest.approx(head_m, abs=1e-3)
    speed_kg_s = flow / 3.6e6 * hoses.WATER_KG_M3
    by_darcy = fluids.one_phase_dP(
        speed_kg_s,
        rho=hoses.WATER_KG_M3,
        mu=1.002e-3,
        D=diameter / 1000,
        roughness=1.5e-6,
        L=length,
    )
    # Hazen-Williams is a fit: it and Darcy-Weisbach in a smooth pipe differ by up to 5 % here.
    assert ours * hoses.KPA_PER_M * 1000 == pytest.approx(by_darcy, rel=0.06)


# The US form, 4.52 L Q^1.852 / (C^1.852 d^4.8704), in psi.
US_FRICTION = [(100.0, 10.0, 150.0, 1.049, 2.376), (100.0, 5.0, 140.0, 0.625, 9.314)]


@pytest.mark.parametrize(("feet", "gpm", "c", "inches", "psi"), US_FRICTION)
def test_hazen_williams_in_us_units(
    feet: float, gpm: float, c: float, inches: float, psi: float
) -> None:
    head_m = hoses.friction_m(gpm * GPM_L_H, feet * FT_M, inches * IN_MM, c)
    assert head_m * hoses.KPA_PER_M / PSI_KPA == pytest.approx(psi, rel=3e-3)


# Christiansen 1942, m = 1.852 and m = 2, by number of outlets.
CHRISTIANSEN = {
    1: (1.0, 1.0),
    2: (0.639, 0.625),
    3: (0.534, 0.519),
    4: (0.485, 0.469),
    5: (0.457, 0.440),
    6: (0.438, 0.421),
    8: (0.416, 0.398),
    10: (0.402, 0.385),
    15: (0.385, 0.367),
    20: (0.376, 0.359),
    30: (0.368, 0.350),
    50: (0.361, 0.343),
    100: (0.356, 0.338),
}


@pytest.mark.parametrize("outlets", CHRISTIANSEN)
def test_christiansen(outlets: int) -> None:
    ours = (christiansen_factor(outlets), christiansen_factor(outlets, 2.0))
    assert ours == pytest.approx(CHRISTIANSEN[outlets], abs=6e-4)
    exact = sum(i**1.852 for i in range(1, outlets + 1)) / outlets**2.852
    assert ours[0] == pytest.approx(exact, rel=1e-3)
    assert christiansen_factor(10**6) == pytest.approx(1 / 2.852, abs=1e-5)


def test_a_run_that_emits_evenly_loses_christiansens_share() -> None:
    even = replace(HALF_INCH, exponent=0.0)
    found = hoses.run(even, 100.0)
    assert found.flow_l_h == pytest.approx(30 * 7.45)
    whole = hoses.friction_m(found.flow_l_h, 30.0, 12.7) * hoses.KPA_PER_M
    # Without a stretch before the first outlet: 1 / (m + 1), the limit of many outlets.
    assert found.start_kpa - found.end_kpa == pytest.approx(whole / 2.852, rel=1e-3)


# inside diameter, flow at the rating, length, end pressure over that at the start: computed,
# inlet 10 psi, C 140, porous wall.
LATERALS = [
    (12.7, 7.45, 30.0, 0.956),
    (12.7, 7.45, 60.0, 0.773),
    (12.7, 7.45, 90.0, 0.561),
    (15.9, 7.45, 30.0, 0.985),
    (15.9, 7.45, 60.0, 0.903),
    (15.9, 7.45, 90.0, 0.764),
    (12.7, 12.42, 30.0, 0.898),
    (12.7, 12.42, 60.0, 0.603),
]


@pytest.mark.parametrize(("diameter", "flow", "length", "ratio"), LATERALS)
def test_laterals(diameter: float, flow: float, length: float, ratio: float) -> None:
    hose = Hose(length, flow, 10 * PSI_KPA, diameter_mm=diameter)
    found = hoses.run(hose, 10 * PSI_KPA)
    assert found.start_kpa == pytest.approx(10 * PSI_KPA)
    assert found.end_kpa / found.start_kpa == pytest.approx(ratio, abs=3e-3)
    assert found.end_to_start == pytest.approx(ratio, abs=0.012)  # a porous wall: linear
    assert found.flow_l_h == pytest.approx(found.emission_l_h_m.mean() * length)
    finer = hoses.run(hose, 10 * PSI_KPA, pieces=400)
    assert found.flow_l_h == pytest.approx(finer.flow_l_h, rel=2e-3)


def test_the_usual_hose_gives_216_l_h() -> None:
    assert hoses.run(HALF_INCH, 10 * PSI_KPA).flow_l_h == pytest.approx(216.0, abs=0.5)


@pytest.mark.parametrize("length", [30.0, 60.0])
def test_a_lateral_by_the_librarys_friction(length: float) -> None:
    hose = replace(HALF_INCH, length_m=length)
    ours = hoses.run(hose, 10 * PSI_KPA)
    # From our end pressure back to the start, piece by piece, by Darcy-Weisbach.
    pressure, flow, step = ours.end_kpa, 0.0, length / 300
    for _ in range(300):
        out = hose.emission_l_h_m(pressure) * step
        mass = (flow + out / 2) / 3.6e6 * hoses.WATER_KG_M3
        pressure += (
            fluids.one_phase_dP(
                mass, rho=hoses.WATER_KG_M3, mu=1.002e-3, D=0.0127, roughness=1.5e-6, L=step
            )
            / 1000
        )
        flow += out
    # In its last metres the flow is laminar, which Hazen-Williams does not know.
    assert pressure == pytest.approx(ours.start_kpa, rel=0.02)
    assert flow == pytest.approx(ours.flow_l_h, rel=0.02)


def test_orifice() -> None:
    # Torricelli with a discharge coefficient of 0.6: a 1.0 mm hole passes 19.95 L/h at 69 kPa, and
    # one of 0.5 mm 4.99 L/h.
    assert hoses.hole_loss_kpa(19.95, 1.0) == pytest.approx(69.0, rel=5e-3)
    assert hoses.hole_loss_kpa(4.99, 0.5) == pytest.approx(69.0, rel=5e-3)
    assert hoses.hole_loss_kpa(500.0, None) == 0.0


def test_a_metre_of_rise_takes_about_10_kpa() -> None:
    uphill = hoses.run(replace(HALF_INCH, rise_m=1.0, flow_l_h_m=0.01), 70.0)
    assert uphill.start_kpa - uphill.end_kpa == pytest.approx(10.0, abs=0.25)
    level = hoses.run(HALF_INCH, 70.0)
    up, down = (hoses.run(replace(HALF_INCH, rise_m=m), 70.0) for m in (1.0, -1.0))
    assert up.flow_l_h < level.flow_l_h < down.flow_l_h
    assert up.end_to_start < level.end_to_start < down.end_to_start
    assert down.end_to_start > 1.0 > down.evenness
    # At 70 kPa no water rises 9 m: the far part stays dry, and nothing flows backwards.
    too_high = hoses.run(replace(HALF_INCH, rise_m=9.0), 70.0)
    assert too_high.emission_l_h_m[-1] == 0.0 < too_high.emission_l_h_m[0]


def test_emitters_even_out_what_a_porous_wall_does_not() -> None:
    found = [
        hoses.run(replace(HALF_INCH, length_m=60.0, exponent=x), 10 * PSI_KPA).evenness
        for x in (hoses.EXPONENTS[kind] for kind in ("porous", "emitter"))
    ]
    assert found[0] < 0.8 < 0.85 < found[1]


def test_longest_run() -> None:
    # 30 m of half-inch hose keep 90 %, 60 m do not.
    longest = hoses.longest_run_m(HALF_INCH, 10 * PSI_KPA)
    assert 30.0 < longest < 60.0
    kept, more = [
        hoses.run(replace(HALF_INCH, length_m=length_m), 10 * PSI_KPA).evenness
        for length_m in (longest, longest + 0.1)
    ]
    assert kept >= 0.9 > more
    wider = hoses.longest_run_m(replace(HALF_INCH, diameter_mm=15.9), 10 * PSI_KPA)
    assert wider > 1.3 * longest
    assert hoses.longest_run_m(HALF_INCH, 10 * PSI_KPA, least=0.77) == pytest.approx(60.0, abs=2.0)
    drop = Hose(1.0, 0.001, 70.0)
    assert hoses.longest_run_m(drop, 70.0) == hoses.LONGEST_M


# 40 psi lost along a plain hose of 50 or 100 ft: L/min by Hazen-Williams, computed.
PLAIN_HOSE = [
    (15.24, 0.500, 33.6),
    (15.24, 0.625, 60.4),
    (15.24, 0.750, 97.6),
    (30.48, 0.500, 23.1),
    (30.48, 0.625, 41.5),
    (30.48, 0.750, 67.1),
]


@pytest.mark.parametrize(("length_m", "inches", "l_min"), PLAIN_HOSE)
def test_what_a_plain_hose_passes(length_m: float, inches: float, l_min: float) -> None:
    unlimited = Spigot(40 * PSI_KPA, 1e6, lead_m=length_m, lead_mm=inches * IN_MM)
    assert hoses.most_flow_l_h(unlimited, 0.0) / 60 == pytest.approx(l_min, rel=5e-3)


TYPICAL = Spigot(still_kpa=350.0, open_l_min=25.0, lead_m=15.0, splitter_mm=8.0)


def test_spigot() -> None:
    assert TYPICAL.pressure_kpa(0.0) == 350.0
    bare = replace(TYPICAL, lead_m=0.0, splitter_mm=None)
    assert bare.pressure_kpa(25.0 * 60) == pytest.approx(0.0)
    assert hoses.most_flow_l_h(bare, 0.0) == pytest.approx(1500.0)
    with_parts = hoses.most_flow_l_h(TYPICAL, 70.0)
    assert 0.0 < with_parts < hoses.most_flow_l_h(bare, 70.0) < 1500.0
    assert TYPICAL.pressure_kpa(with_parts) == pytest.approx(70.0)
    assert hoses.most_flow_l_h(TYPICAL, 400.0) == 0.0


def test_fed_hose_agrees_with_its_spigot() -> None:
    regulated = replace(TYPICAL, regulator_kpa=80.0)
    found = hoses.fed(HALF_INCH, regulated)
    assert found.start_kpa == pytest.approx(80.0, abs=1e-3)
    weak = Spigot(still_kpa=80.0, open_l_min=4.0)
    found = hoses.fed(HALF_INCH, weak)
    assert found.start_kpa == pytest.approx(weak.pressure_kpa(found.flow_l_h), abs=1e-3)
    assert found.start_kpa < 60.0
    # Two on one splitter: each gets less.
    both = hoses.fed(replace(HALF_INCH, length_m=60.0), weak)
    assert both.start_kpa < found.start_kpa


def test_a_restrictor_left_in_starves_the_hose() -> None:
    regulated = replace(TYPICAL, regulator_kpa=80.0)
    free = hoses.fed(HALF_INCH, regulated).flow_l_h
    with_washer = [
        hoses.fed(HALF_INCH, replace(regulated, restrictor_mm=mm)).flow_l_h
        for mm in (1.0, 2.0, 15.0)
    ]
    assert with_washer == sorted(with_washer)
    assert with_washer[0] < 0.1 * free
    assert with_washer[1] < 0.4 * free
    assert with_washer[2] == pytest.approx(free, rel=0.01)
    # Behind a restrictor alone, which is what it is made for, mains pressure does little harm.
    assert hoses.fed(HALF_INCH, replace(TYPICAL, restrictor_mm=1.5)).start_kpa < 80.0


def test_a_hose_holds_water_and_drains_by_its_slope() -> None:
    # 30 m of 12.7 mm: pi/4 x 0.0127^2 x 30 = 3.80 L.
    assert HALF_INCH.volume_l == pytest.approx(3.80, abs=0.005)
    # On flat ground it stays full for hours; with half a metre of fall it drains in under one.
    assert HALF_INCH.volume_l / hoses.drain_l_h(HALF_INCH) > 4.0
    sloping = replace(HALF_INCH, rise_m=-0.5)
    assert sloping.volume_l / hoses.drain_l_h(sloping) < 1.0


def test_clogging_and_a_bucket_test_that_finds_it() -> None:
    years = [hoses.aged(HALF_INCH, y).flow_l_h_m for y in (0.0, 1.0, 3.0, 20.0)]
    assert years[0] == 7.45
    assert years == sorted(years, reverse=True)
    assert years[-1] == pytest.approx(7.45 * hoses.CLOGGED_FLOOR, rel=1e-3)
    old = hoses.aged(HALF_INCH, 3.0)
    litres = hoses.run(old, 75.0).flow_l_h / 12  # five minutes of it
    found = hoses.calibrated(HALF_INCH, litres, 5.0, 75.0)
    assert found.flow_l_h_m == pytest.approx(old.flow_l_h_m, rel=1e-5)
    for litres, minutes, kpa in ((0.0, 5.0, 70.0), (5.0, 0.0, 70.0), (5.0, 5.0, -1.0)):
        with pytest.raises(ValueError, match="above 0"):
            hoses.calibrated(HALF_INCH, litres, minutes, kpa)
    with pytest.raises(ValueError, match="60000 L/h is more than the hose passes at 70 kPa"):
        hoses.calibrated(HALF_INCH, 1000.0, 1.0, 70.0)


@pytest.mark.parametrize("exponent", [0.5, 1.0])
@pytest.mark.parametrize("rise_m", [-30.0, -3.0, 0.0, 3.0, 30.0])
@pytest.mark.parametrize("length_m", [0.0, 0.01, 30.0, 400.0])
def test_any_run_holds_its_start_pressure(exponent: float, rise_m: float, length_m: float) -> None:
    for start_kpa in (5.0, 60.0, 400.0):
        hose = replace(HALF_INCH, length_m=length_m, exponent=exponent, rise_m=rise_m)
        found = hoses.run(hose, start_kpa)
        assert found.start_kpa == pytest.approx(start_kpa, rel=1e-3)
        assert np.all(found.emission_l_h_m >= 0.0)
        assert 0.0 <= found.evenness <= 1.0
        assert (found.flow_l_h > 0.0) == (length_m > 0.0)
        if start_kpa < rise_m * hoses.KPA_PER_M:  # higher than the pressure lifts water
            assert found.emission_l_h_m[-1] == 0.0


@pytest.mark.parametrize("rise_m", [-2.0, 0.0, 10.0, 50.0])
@pytest.mark.parametrize("open_l_min", [0.5, 20.0, 60.0])
@pytest.mark.parametrize("length_m", [1.0, 30.0])
def test_hose_and_spigot_agree_on_pressure_and_flow(
    rise_m: float, open_l_min: float, length_m: float
) -> None:
    spigot = Spigot(still_kpa=350.0, open_l_min=open_l_min)
    found = hoses.fed(replace(HALF_INCH, length_m=length_m, rise_m=rise_m), spigot)
    assert found.start_kpa == pytest.approx(spigot.pressure_kpa(found.flow_l_h), abs=1e-3)
    # A falling hose is taken as airtight at its start, and may suck at a weak spigot.
    assert 0.0 < found.flow_l_h <= 60.0 * open_l_min * (1.0 if rise_m >= 0.0 else 1.01)
