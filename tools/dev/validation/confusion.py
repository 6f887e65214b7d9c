"""What each hand and each sensor says of a strip, against the truth.

python -m evenclay.tools.dev.validation.confusion

The demo's house, in its own weather and at Tunis, on the first eight of the judged grounds, in six
years: unwatered, kept at its targets, and kept 0.8 pF wetter than these, by the truth of each
midnight. Once a week the strips are asked by every hand and sensor. The truth is the mean pF at
0.3-1.0 m: dry and wet are more than 0.4 pF drier and wetter than the target, which is the middle
ground's level less 0.4. Two minutes, and longer the first time, when the grounds settle.
"""

from collections import defaultdict
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from evenclay.controller.ports import DRY, FIRM, WET
from evenclay.sim.calendar import HOURS
from evenclay.sim.ground.feel import classes
from evenclay.sim.ground.plausible import judged, middle
from evenclay.sim.ground.retention import plan_line
from evenclay.sim.house.devices import PROBE
from evenclay.sim.house.hands import ROD, SAMPLE_M, Ints
from evenclay.sim.house.hands import judged as put_into_class
from evenclay.sim.house.house import House, Probe
from evenclay.sim.house.sensors import TENSIOMETER, WHOLE_PPT, ground_temperature_c
from evenclay.sim.house.standing import RELIEF_PF_USUAL, SectionGround, Standing, sides_of, stand
from evenclay.sim.judge.strip import ON_TARGET_PF, WETTEST_TARGET_PF, mean_pf
from evenclay.sim.section import LAYOUT, index_of
from evenclay.sim.section.layout import STRIP
from evenclay.sim.types import Floats
from evenclay.sim.weather.daily import Weather
from evenclay.sim.weather.hourly import Hourly, hourly
from evenclay.sim.weather.record import read
from evenclay.tools.dev.validation.daily import kept
from evenclay.tools.dev.validation.years import tunis
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.property import load

DEMO = Path(__file__).parents[3] / "sim" / "demo"
GROUNDS, YEARS = 8, 6
WETTER_PF = (None, 0.0, 0.8)  # how strips are kept: not at all, at the target, so much wetter
NOTHING = 0  # what a sensor says out of its range
SAID = {"dry": DRY, "firm": FIRM, "wet": WET, "nothing": NOTHING}
BOTH_HANDS = replace(ROD, push_n=200.0)


@dataclass(frozen=True)
class Case:
    """A house in a climate. by_hour: the years lived; climate: what it has settled in."""

    name: str
    house: House
    index: float
    by_hour: Hourly
    climate: Hourly


def cases() -> list[Case]:
    """The demo's house in two climates."""
    house = compile_house(load(DEMO / "property.toml"))
    records: dict[str, Weather] = {
        "demo": read(DEMO / "weather.csv", latitude_deg=house.latitude_deg),
        "Tunis": tunis(),
    }
    found = []
    for name, record in records.items():
        climate = hourly(record, 1)
        hours = min(record.days, round(YEARS * 365.25)) * HOURS
        years = Hourly(climate.rain_mm[:hours], climate.temp_c[:hours], climate.et0_mm[:hours])
        index = index_of(record, record.latitude_deg or house.latitude_deg)
        found.append(Case(name, house, index, years, climate))
    return found


def about(suction_pf: Floats, target_pf: Floats) -> Ints:
    """DRY, FIRM or WET about a target; NOTHING where no suction is known."""
    off = suction_pf - target_pf
    said = np.where(off > ON_TARGET_PF, DRY, np.where(off < -ON_TARGET_PF, WET, FIRM))
    return np.asarray(np.where(np.isnan(off), NOTHING, said))


def compared(found: Ints, wanted: ArrayLike) -> Ints:
    """DRY for a class of a sample below the target's, WET for one above it, else FIRM."""
    off = found - np.asarray(wanted)
    return np.asarray(np.where(off > 0, WET, np.where(off < 0, DRY, FIRM)), dtype=np.int64)


def asked(case: Case, standing: Standing, target_pf: Floats, seed: int) -> dict[str, Ints]:
    """What each says once a week of every strip, and `truth`, (weeks, zones)."""
    found: dict[str, list[Ints]] = defaultdict(list)
    section, random = standing.settled.section, np.random.default_rng(seed)
    for wetter_pf in WETTER_PF:
        section.put_back(standing.start)
        wanted = None if wetter_pf is None else target_pf - wetter_pf
        days, _ = kept(section, case.by_hour.rain_mm, case.by_hour.et0_mm, wanted)
        weeks = days.pf[5::7, :, STRIP].astype(np.float64)
        found["truth"].append(about(mean_pf(weeks, LAYOUT.edges_m), target_pf))
        at_pf = weeks @ LAYOUT.at(SAMPLE_M)
        for zone, strip in enumerate(standing.strips):
            clay, one_pf = section.clay(zone), weeks[:, zone]
            rod = ROD.found(one_pf, clay)
            felt = put_into_class(classes(at_pf[:, zone], strip.texture), random)
            sample = compared(felt, classes(target_pf[zone], strip.texture))
            worse = np.where((rod == DRY) | (sample == DRY), DRY, FIRM)
            said = {
                "rod, one hand": rod,
                "rod, both hands": BOTH_HANDS.found(one_pf, clay),
                "sample": sample,
                "rod and sample": np.where((rod == WET) | (sample == WET), WET, worse),
                "capacitive sensor": about(
                    shown(case, standing, True, zone, at_pf), target_pf[zone]
                ),
                "granular matrix": about(
                    shown(case, standing, "suction", zone, at_pf), target_pf[zone]
                ),
                "tensiometer": about(TENSIOMETER.shows_pf(at_pf[:, zone]), target_pf[zone]),
            }
            for name, codes in said.items():
                found[name].append(codes[:, None])
    zones = len(standing.strips)
    for name in [name for name in found if name != "truth"]:
        each = found[name]
        found[name] = [
            np.concatenate(each[first : first + zones], axis=1)
            for first in range(0, len(each), zones)
        ]
    return {name: np.concatenate(each) for name, each in found.items()}


def shown(case: Case, standing: Standing, probe: Probe, zone: int, at_pf: Floats) -> Floats:
    """What the hub takes the suction for by a sensor in a zone, NaN for nothing, (weeks,)."""
    strips = tuple(replace(strip, probe=probe) for strip in standing.strips)
    start, section = standing.start, standing.settled.section
    ground = SectionGround(replace(standing, strips=strips), case.by_hour, 0)
    section.put_back(start)
    earth_c = ground_temperature_c(case.by_hour.temp_c)
    curve_ppt, added_ppt = ground.sensor(zone, PROBE, earth_c, 1)
    true_ppt = 1000.0 * section.clay(zone).content(at_pf[:, zone])
    noon = np.array(added_ppt)[5 * HOURS + 12 :: 7 * HOURS][: len(true_ppt)]
    ppt = np.round(np.interp(true_ppt, WHOLE_PPT, curve_ppt) + noon)
    return plan_line(standing.strips[zone].texture).pf(ppt)


def pooled(case: Case, grounds: int = GROUNDS) -> dict[str, Ints]:
    """What was said on all the grounds, `truth` among it, each in the same order."""
    sides = sides_of(case.house)
    half = middle(sides, case.index, case.house.footing_m)
    level_pf = stand(case.house, half, case.climate).level_pf
    target_pf = np.maximum(level_pf - RELIEF_PF_USUAL, WETTEST_TARGET_PF)
    every = defaultdict(list)
    for seed, ground in enumerate(judged(sides, case.index, case.house.footing_m, grounds)):
        said = asked(case, stand(case.house, ground, case.climate), target_pf, seed)
        for name, codes in said.items():
            every[name].append(codes.ravel())
    return {name: np.concatenate(codes) for name, codes in every.items()}


def rows(case: Case, grounds: int = GROUNDS) -> list[list[str]]:
    """Of each hand and sensor: what it says in percent, of strips truly dry, firm and wet."""
    said = pooled(case, grounds)
    truth = said.pop("truth")
    found = []
    for name, codes in said.items():
        cells = [case.name, name]
        right = []
        for true in (DRY, FIRM, WET):
            of = codes[truth == true]
            cells.append(" / ".join(f"{100.0 * np.mean(of == code):.0f}" for code in SAID.values()))
            right.append(float(np.mean(of == true)))
        found.append([*cells, f"{100.0 * np.mean(right):.0f}"])
    return found


def table(grounds: int = GROUNDS) -> list[str]:
    """The rows as a Markdown table."""
    says = " / ".join(SAID)
    lines = [
        f"| where | asked | truly dry: it says {says} | truly firm | truly wet | right |",
        "|---|---|---|---|---|---|",
    ]
    for case in cases():
        lines += [f"| {' | '.join(row)} |" for row in rows(case, grounds)]
    return lines


if __name__ == "__main__":
    print("\n".join(table()))
