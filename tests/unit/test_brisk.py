"""The compiled hub beside the real one: near enough that a plan found with it is worth a replay.

Its probes are other pieces than the real hub's, another one every year; here all pieces are alike.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest

from evenclay.sim.house.columns import Columns, dry_of
from evenclay.sim.house.devices import PROBE, Devices
from evenclay.sim.house.house import House
from evenclay.sim.judge import brisk
from evenclay.sim.judge.brisk import Brisk, Outcome
from evenclay.sim.judge.policies import policies
from evenclay.sim.judge.score import judge
from evenclay.sim.replay.life import Lived, live
from evenclay.sim.replay.span import sky_of, span_of
from evenclay.sim.weather.record import Weather, read
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.demand import mean_et0_mm
from evenclay.tools.property.property import load

DEMO = Path(__file__).parents[2] / "sim" / "demo"
YEARS = 2


@cache
def demo() -> tuple[House, Weather]:
    prop = load(DEMO / "property.toml")
    weather = read(DEMO / "weather.csv", latitude_deg=prop.site.latitude)
    prop = prop.model_copy(update={"trim": prop.trim.model_copy(update={"auto": "off"})})
    house = compile_house(prop, mean_et0_mm(weather, prop.site.latitude))
    return house, replace(weather.span(weather.first_day, weather.first_day.replace(year=2018)))


@pytest.mark.parametrize("name", ["calendar", "hub"])
def test_it_waters_and_dries_as_the_real_hub_does(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Water within 4 %, the band's pF within 0.12 in the root of the mean square, every zone.

    Single borderline checks fall to the other side; over years that evens out, in two it shows.
    """
    alike = replace(PROBE, pieces_ppt=0.0)
    monkeypatch.setattr(brisk, "PROBE", alike)
    defaults = Devices.__init__.__kwdefaults__
    assert defaults is not None
    monkeypatch.setitem(defaults, "probe", alike)
    house, weather = demo()
    span = span_of(weather)
    (policy,) = [policy for policy in policies(house) if policy.name == name]
    assert policy.plan is not None
    sky, by_hour = sky_of(house, span, 1)
    lived: Lived[Columns] = live(
        Columns(house.strips, dry_of(house.strips, by_hour), sky.start_s), policy, sky, seed=1
    )
    real = judge(lived, by_hour.rain_mm, 0, span.first_day)
    found: Outcome = Brisk(house, span, 1).outcome(policy.plan, policy.owner is not None)
    area_m2 = np.array([strip.area_m2 for strip in house.strips])
    real_mm = real.days.litres.sum(axis=0) / area_m2
    np.testing.assert_allclose(found.mm.sum(axis=0), real_mm, rtol=0.04)
    off_pf = np.sqrt(np.mean((found.pf - real.days.pf) ** 2, axis=0))
    assert off_pf.max() < 0.12
    assert np.mean(found.state == real.state) > 0.9


def test_pieces_of_a_probe_are_shared_out_evenly_among_the_years() -> None:
    """Offsets of 7 years: the middles of sevenths of a normal distribution, 5 ppt wide. The first
    year's piece serves a spin-up, the last one's two days left over."""
    house, _ = demo()
    earth_c = np.full(8 * brisk.YEAR_H + 48, PROBE.calibrated_c)
    _, added = brisk._shown(house.strips[0].texture, earth_c, brisk.YEAR_H, 0, 1)
    assert len(added) == len(earth_c)
    of_years = added[brisk.YEAR_H : -48].reshape(7, -1)
    around = (
        added[: brisk.YEAR_H].mean() - of_years[0].mean(),
        added[-48:].mean() - of_years[-1].mean(),
    )
    assert around == pytest.approx((0.0, 0.0), abs=1.2)
    years_ppt = np.sort(of_years.mean(axis=1))
    expected = [5.0 * NormalDist().inv_cdf((i + 0.5) / 7) for i in range(7)]
    assert years_ppt == pytest.approx(expected, abs=1.2)  # noise, and thermometers


def test_the_need_holds_the_band() -> None:
    house, weather = demo()
    given, band_pf = Brisk(house, span_of(weather), 1).held(2.9, 12)
    assert np.all(given >= 0.0)
    settled = band_pf[60:]
    assert np.mean(settled > 3.3) == 0.0
    dry_days = given[60:] > 0.0
    assert np.abs(settled[dry_days] - 2.9).mean() < 0.1
