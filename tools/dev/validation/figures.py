"""Figures of ours beside published ones, each with its source."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from evenclay.sim.ground import textures
from evenclay.sim.house import hoses, sensors
from evenclay.sim.section import strain_weights
from evenclay.sim.weather import et0
from evenclay.tools.dev.models import bucket, dual_kc
from evenclay.tools.dev.models.christiansen import christiansen_factor
from evenclay.tools.dev.models.granular_matrix import matrix_kpa
from evenclay.tools.dev.models.green_ampt import Front

FAO56 = "Allen et al. 1998, FAO-56"
FAO56_MEMORY = FAO56 + " (figures from memory)"
CHOW = "Chow, Maidment & Mays 1988 (figures from memory)"
CARSEL = "Carsel & Parrish 1988, van Genuchten 1980; computed apart"
HAZEN = "Hazen-Williams, SI form; computed by hand"
CHRISTIANSEN = "Christiansen 1942"
TOPP = "Topp, Davis & Annan 1980; computed by hand"
SHOCK = "Shock, Barnum & Seddigh 1998; computed by hand"
AS2870 = "AS 2870-2011 cl. 2.3 (from memory), closed form by hand"
PSI_KPA = 6.894757


@dataclass(frozen=True)
class Check:
    """A figure of ours beside another's; allowed: the difference that the tests let pass."""

    what: str
    source: str
    other: float
    ours: float
    allowed: float
    unit: str = ""

    @property
    def holds(self) -> bool:
        """Whether the difference is within what is allowed; never for a missing figure."""
        return abs(self.ours - self.other) <= self.allowed


def evapotranspiration() -> Iterator[Check]:
    """Reference evapotranspiration and the dual crop coefficient."""
    yield from air_and_sun()
    ra = float(et0.extraterrestrial_radiation_mj_m2(-20.0, 246))
    yield Check("example 8, radiation outside the atmosphere", FAO56, 32.2, ra, 0.05, "MJ/m2/d")
    daylight = float(et0.daylight_hours(-20.0, 246))
    yield Check("example 9, daylight", FAO56, 11.7, daylight, 0.05, "h")
    vapour = float(et0.vapour_from_humidity_kpa(12.3, 21.5, 63.0, 84.0))
    wind = float(et0.wind_at_2m_m_s(10.0 / 3.6, 10.0))
    ra, daylight = (
        float(et0.extraterrestrial_radiation_mj_m2(50.8, 187)),
        float(et0.daylight_hours(50.8, 187)),
    )
    solar = float(et0.solar_from_sunshine_mj_m2(9.25, daylight, ra))
    clear = et0.clear_sky_mj_m2(ra, 100.0)
    net = float(et0.net_radiation_mj_m2(12.3, 21.5, vapour, solar, clear))
    yield Check("example 18, vapour pressure", FAO56, 1.409, vapour, 5e-4, "kPa")
    yield Check("example 18, wind at 2 m", FAO56, 2.078, wind, 5e-4, "m/s")
    yield Check("example 18, net radiation", FAO56, 13.28, net, 5e-3, "MJ/m2/d")
    daily = et0.penman_monteith_mm(
        12.3,
        21.5,
        50.8,
        187,
        elevation_m=100.0,
        vapour_kpa=vapour,
        wind_2m_m_s=wind,
        solar_mj_m2=solar,
    )
    yield Check("example 18, Penman-Monteith", FAO56, 3.9, float(daily), 0.05, "mm/d")
    lyon = float(et0.hargreaves_mm(14.8, 26.6, 45.0 + 43.0 / 60.0, 196))
    yield Check("example 20, Hargreaves", FAO56, 5.0, lyon, 0.05, "mm/d")
    most = float(dual_kc.kc_max(0.15, 2.0, 45.0, 1.0))
    yield Check("eq. 72, Kc max at the standard climate", FAO56, 1.2, most, 1e-9)
    yield Check("eq. 73, TEW of clay, 0.10 m", FAO56, 25.0, dual_kc.tew_mm(0.36, 0.22), 1e-9, "mm")

    for place, wind, humidity, kc in (("Taipei", 1.3, 75.0, 1.07), ("Mocha", 4.6, 44.0, 1.30)):
        found = float(dual_kc.kcb_adjusted(1.20, wind, humidity, 2.0))
        yield Check(f"example 27, Kc mid of maize at {place}", FAO56_MEMORY, kc, found, 5e-3)
    beans = float(dual_kc.kcb_adjusted(1.10, 2.2, 30.0, 0.4))
    yield Check("example 30, Kcb mid of beans at Kimberly", FAO56_MEMORY, 1.14, beans, 5e-3)
    most = float(dual_kc.kc_max(0.9, 3.0, 20.0, 1.0))
    covered = dual_kc.covered_share(0.9, most, 1.0)
    yield Check("example 32, ground covered by cotton", FAO56_MEMORY, 0.53, covered, 5e-3)
    for example, wetted, ke in (
        ("32, sprinklers", 1.0, 0.40),
        ("33, furrows", 0.3, 0.39),
        ("34, drippers", 0.3 * (1.0 - 2.0 / 3.0 * covered), 0.25),
    ):
        found = float(dual_kc.soil_ke(1.0, 0.9, most, dual_kc.wet_bare_share(covered, wetted)))
        yield Check(f"example {example}: Ke of cotton just wetted", FAO56_MEMORY, ke, found, 5e-3)


def air_and_sun() -> Iterator[Check]:
    """FAO-56's smaller steps, chapter 3."""
    pressure = et0.pressure_kpa(1800.0)
    yield Check("example 2, air pressure at 1800 m", FAO56_MEMORY, 81.8, pressure, 0.05, "kPa")
    gamma = et0.psychrometric_kpa_c(1800.0)
    yield Check("example 2, psychrometric constant", FAO56_MEMORY, 0.054, gamma, 5e-4, "kPa/C")
    saturated = float(et0.saturation_vapour_kpa([24.5, 15.0]).mean())
    yield Check("example 3, saturated at 24.5 and 15 C", FAO56_MEMORY, 2.39, saturated, 5e-3, "kPa")
    vapour = float(et0.vapour_from_humidity_kpa(18.0, 25.0, 54.0, 82.0))
    yield Check("example 5, vapour pressure", FAO56_MEMORY, 1.70, vapour, 5e-3, "kPa")
    rio = -(22.0 + 54.0 / 60.0)
    ra = float(et0.extraterrestrial_radiation_mj_m2(rio, 135))
    yield Check("example 10, Ra of Rio in May", FAO56_MEMORY, 25.1, ra, 0.05, "MJ/m2/d")
    solar = float(et0.solar_from_sunshine_mj_m2(220.0 / 31.0, et0.daylight_hours(rio, 135), ra))
    yield Check("example 10, solar radiation", FAO56_MEMORY, 14.5, solar, 0.05, "MJ/m2/d")
    net = float(et0.net_radiation_mj_m2(19.1, 25.1, 2.1, solar, et0.clear_sky_mj_m2(ra, 0.0)))
    yield Check("example 12, net radiation", FAO56_MEMORY, 7.6, net, 0.05, "MJ/m2/d")
    wind = float(et0.wind_at_2m_m_s(3.2, 10.0))
    yield Check("example 14, wind at 2 m", FAO56_MEMORY, 2.4, wind, 0.05, "m/s")
    bangkok = 13.0 + 44.0 / 60.0
    ra = float(et0.extraterrestrial_radiation_mj_m2(bangkok, 105))
    solar = float(et0.solar_from_sunshine_mj_m2(8.5, et0.daylight_hours(bangkok, 105), ra))
    net = float(et0.net_radiation_mj_m2(25.6, 34.8, 2.85, solar, et0.clear_sky_mj_m2(ra, 2.0)))
    yield Check("example 17, net radiation", FAO56, 14.33, net, 5e-3, "MJ/m2/d")
    deficit = float(et0.saturation_vapour_kpa([25.6, 34.8]).mean()) - 2.85
    slope, gamma = et0.vapour_slope_kpa_c(30.2), et0.psychrometric_kpa_c(2.0)
    daily = float(et0.combination_mm(net - 0.14, 30.2, 2.0, deficit, slope, gamma))
    yield Check("example 17, Penman-Monteith", FAO56, 5.72, daily, 5e-3, "mm/d")


def water_in_soil() -> Iterator[Check]:
    """Retention, conductivity, infiltration and the daily balance."""
    total = bucket.taw_mm(0.35, 0.23, 0.8)
    yield Check("example 36, tomato on silty clay, TAW", FAO56, 96.0, total, 0.5, "mm")
    depletion = 55.0
    for _ in range(10):
        ks = bucket.stress_ks(depletion, 160.0, 0.4)
        depletion = bucket.depletion(depletion, 0.0, ks * 6.0, 160.0)
    yield Check("example 37, Ks of day 10", FAO56, 0.62, ks, 5e-3)
    yield Check("example 37, depletion after day 10", FAO56, 104.5, depletion, 0.05, "mm")
    clay = textures.TEXTURES["clay"]
    for kpa, content in ((10, 0.3652), (33, 0.3466), (100, 0.3242), (1500, 0.2703)):
        found = float(clay.water_content(kpa * textures.CM_PER_KPA))
        yield Check(f"water content of clay at {kpa} kPa", CARSEL, content, found, 5.1e-5)
    for kpa, cm_d in ((10, 1.962e-2), (100, 2.749e-4)):
        found = float(clay.relative_conductivity(kpa * textures.CM_PER_KPA)) * clay.ks_mm_h * 2.4
        yield Check(f"conductivity of clay at {kpa} kPa", CARSEL, cm_d, found, 2e-3 * cm_d, "cm/d")
    loam = Front(conductivity=0.65, suction=16.7, deficit=0.7 * 0.486)
    yield Check("example 4.3.1, infiltrated in 1 h", CHOW, 3.17, loam.ponded(1.0), 5e-3, "cm")
    yield Check("example 4.3.1, rate", CHOW, 1.81, loam.rate(loam.ponded(1.0)), 0.01, "cm/h")
    yield Check("example 4.4.1, ponding at 1 cm/h", CHOW, 10.5, loam.ponding_time_h(1.0), 0.1, "h")
    yield Check("example 4.4.1, ponding at 5 cm/h", CHOW, 0.17, loam.ponding_time_h(5.0), 5e-3, "h")
    infiltrated = loam.infiltrated(5.0, 1.0)
    yield Check("example 4.4.2, infiltrated in 1 h", CHOW, 3.02, infiltrated, 5e-3, "cm")
    yield Check("example 4.4.2, rate", CHOW, 1.87, loam.rate(infiltrated), 5e-3, "cm/h")


def movement() -> Iterator[Check]:
    """The sum of strain as a movement in millimetres, which is computed here and nowhere else."""
    for hs_m, cracked, mm in ((2.3, 0.75, 57.33), (1.8, 0.5, 51.41), (1.5, 0.75, 37.69)):
        edges_m = np.union1d(np.linspace(0.0, hs_m, 2001), [cracked * hs_m])
        change_pf = 1.2 * (1.0 - (edges_m[:-1] + edges_m[1:]) / 2.0 / hs_m)
        weights = strain_weights(edges_m, cracked * hs_m)
        found = float(10.0 * 4.0 * np.sum(weights * change_pf))
        what = f"even clay of 4 %/pF, Hs {hs_m} m, cracked {cracked} of it"
        yield Check(what, AS2870, mm, found, 0.01, "mm")


def pipes() -> Iterator[Check]:
    """Friction and laterals."""
    for flow, length, bore, c, head_m in (
        (36_000.0, 100.0, 100.0, 150.0, 1.460),
        (900.0, 30.0, 15.875, 140.0, 4.196),
        (360.0, 30.0, 12.7, 140.0, 2.280),
    ):
        what = f"{length:.0f} m of {bore:g} mm, C {c:.0f}, {flow / 60:.0f} L/min"
        found = hoses.friction_m(flow, length, bore, c)
        yield Check(what, HAZEN, head_m, found, 1e-3, "m")
    for outlets, factor in ((1, 1.0), (2, 0.639), (5, 0.457), (20, 0.376), (100, 0.356)):
        found = christiansen_factor(outlets)
        what = f"{outlets} even outlets" if outlets > 1 else "one outlet"
        yield Check(what, CHRISTIANSEN, factor, found, 6e-4)
    for length, ratio in ((30.0, 0.956), (60.0, 0.773)):
        hose = hoses.Hose(length, 7.45, 10 * PSI_KPA)
        run = hoses.run(hose, hose.rated_kpa)
        what = f"{length:.0f} m of porous hose at 10 psi, pressure at end over start"
        yield Check(what, "both formulas; computed apart", ratio, run.end_kpa / run.start_kpa, 3e-3)


def probes() -> Iterator[Check]:
    """Soil sensors."""
    for permittivity, content in ((5.0, 0.07979), (20.0, 0.34540), (40.0, 0.51020)):
        found = float(sensors.vwc_from_permittivity(permittivity))
        yield Check(f"water content at permittivity {permittivity:g}", TOPP, content, found, 1e-5)
    for kohm, kpa in ((1.0, 10.42), (5.0, 30.44), (15.0, 92.58)):
        found = float(matrix_kpa(kohm, 24.0))
        yield Check(f"granular matrix, {kohm:g} kohm, 24 C", SHOCK, kpa, found, 6e-3, "kPa")
