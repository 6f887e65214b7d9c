"""A first table of seasons, from a guess at the climate; `evenclay propose` makes a better one.

The year's rows are the north's, and half a year later south of the equator. Minutes give a part of
what a strip may lose by a rough guess from latitude, since rain gives some and too much does harm.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, inf

from evenclay.sim.calendar import clock
from evenclay.sim.ground.textures import POND_MM, TEXTURES
from evenclay.sim.units import UNITS
from evenclay.tools.property.demand import guessed_et0_mm
from evenclay.tools.property.file.place import COVERS
from evenclay.tools.property.file.quantities import in_unit
from evenclay.tools.property.free_hours import longest_free
from evenclay.tools.property.plan_ranges import CAP_MAX_S
from evenclay.tools.start.questions import SIDES

# Month and day, in the north; the last is the closing. Common practice, no source.
OPENS, LATE_OPENS = (3, 15), (4, 15)
BETWEEN = ((5, 1), (6, 1), (7, 1), (9, 1))
AUTUMN = (10, 1)
CLOSES, EARLY_CLOSES = (11, 1), (10, 15)
COLD_FROM_DEG = 40.0  # of latitude, from where water opens later and closes earlier
GIVEN = 0.75  # of the guessed loss; rain gives some of the rest. Common sense, no source
USUAL_COEFFICIENT = 0.8  # the strip that gets a season's minutes as they are
WIDTH_M = 0.6  # of a strip, as the property file takes it
CAP_MIN, LONGEST_MIN, GAP_MIN = 120, 45, 0.5
CYCLES_MOST = 4
RUN_LEAST_MIN = 4  # so that a hose fills
NIGHT_MIN = (21 * 60, 10 * 60)  # when it begins, and how long it is
WINDOW_LEAST_MIN = 60
LEAVE_ROOM = "hours that leave an hour of the day for water"
AS_IT_IS = "as it is"  # an answer of a file whose zones differ there
assert CAP_MIN * 60 <= CAP_MAX_S


@dataclass(frozen=True)
class Row:
    """A season: month and day, cycles (0: closed), minutes a cycle, hours "HH:MM-HH:MM"."""

    begins: tuple[int, int]
    cycles: int = 0
    minutes: int = 0
    window: str = ""


def share_pct(cover: str) -> int:
    """Percent of a season's minutes for a strip with this cover."""
    coefficient = COVERS.get(cover) or float(cover)
    return min(300, max(10, 5 * round(20 * coefficient / USUAL_COEFFICIENT)))


def flow_l_h_m(answer: str, texts: Mapping[str, str]) -> float:
    """What a hose gives along it, by the answer to "hose-flow". Raises: ValueError in one line."""
    if answer == AS_IT_IS:
        raise ValueError("found hoses that differ, allowed one for all sides: answer hose-flow too")
    volume, _, rest = answer.partition(" in ")
    if not rest:
        return in_unit(answer, "L/h/m")
    time, _, side = rest.rpartition(", ")
    if texts[side] == "none":
        raise ValueError(f"found a bucket test of the {side} side, allowed a side with a hose")
    return in_unit(volume, "L") / in_unit(time, "min") * 60 / in_unit(texts[side], "m")


def wanted_l_min(texts: Mapping[str, str]) -> dict[str, float]:
    """What the hose of each side that has one wants; of a side with several, the longest."""
    flow = flow_l_h_m(texts["hose-flow"], texts)
    sides = [side for side in SIDES if texts.get(side, "none") != "none"]
    lengths = {side: texts.get(f"{side}-longest", texts[side]) for side in sides}
    return {side: flow * in_unit(length, "m") / 60 for side, length in lengths.items()}


def free_window(bans: Sequence[tuple[int, int]]) -> tuple[int, int]:
    """Begin and length [min] of the hours for water: the night, else the longest that is free."""
    if longest_free(bans, *NIGHT_MIN) == NIGHT_MIN:
        return NIGHT_MIN
    begin, length = longest_free(bans, 0)
    return begin, min(length, NIGHT_MIN[1])


def table(texts: Mapping[str, str], latitude: float, texture: str) -> list[Row]:
    """The rows of the year for answers, the opening first."""
    et0_mm = guessed_et0_mm(latitude)
    half = 6 if latitude < 0 else 0
    cold = abs(latitude) >= COLD_FROM_DEG
    begins = [LATE_OPENS if cold else OPENS, *BETWEEN, *([] if cold else [AUTUMN])]
    closes = EARLY_CLOSES if cold else CLOSES
    ends = [*begins[1:], closes]
    rows = []
    for (month, day), (end, end_day) in zip(begins, ends, strict=True):
        months = range(month, end + (end_day > 1))
        demand_mm = sum(et0_mm[(each - 1 + half) % 12] for each in months) / len(months)
        rows.append(_row(((month - 1 + half) % 12 + 1, day), demand_mm, texts, texture))
    return [*rows, Row(((closes[0] - 1 + half) % 12 + 1, closes[1]))]


def _row(begins: tuple[int, int], demand_mm: float, texts: Mapping[str, str], texture: str) -> Row:
    """A row that gives a part of the demand, within caps, window and what the clay takes."""
    flow = flow_l_h_m(texts["hose-flow"], texts)
    shares = [share_pct(texts[f"{side}-cover"]) / 100 for side in wanted_l_min(texts)]
    bans = _minutes_of(texts["banned-hours"])
    begin, length = free_window(bans)
    day_min = 60 * GIVEN * USUAL_COEFFICIENT * demand_mm * WIDTH_M / flow
    day_min = min(day_min, CAP_MIN / max(shares))
    over_mm_h = flow / WIDTH_M - TEXTURES[texture].ks_mm_h
    taken_min = 60 * POND_MM / over_mm_h if over_mm_h > 0 else inf
    cycles = ceil(day_min * max(shares) / min(taken_min, LONGEST_MIN))
    cycles = max(1, min(cycles, CYCLES_MOST, length // 120))
    fits_min = (length / cycles - GAP_MIN * len(shares)) / sum(shares)
    rested_min = 1440 if cycles == 1 else length / cycles - 30  # the property file's rest
    minutes = min(day_min / cycles, fits_min, rested_min / max(shares), 60 / max(shares))
    least = max(RUN_LEAST_MIN, ceil(1 / min(shares)))
    last = clock(begin + length)
    return Row(begins, cycles, max(least, int(minutes)), f"{clock(begin)}-{last}")


def leaves_room(hours: str) -> bool:
    """Whether the banned hours of an answer leave a window; a file may ban all of them."""
    return free_window(_minutes_of(hours))[1] >= WINDOW_LEAST_MIN


def _minutes_of(hours: str) -> list[tuple[int, int]]:
    """Banned hours of an answer, as minutes of the day."""
    if hours == "none":
        return []
    found = []
    for part in hours.split(", "):
        first, last = [int(clock[:2]) * 60 + int(clock[3:]) for clock in part.split("-")]
        found.append((first, last))
    return found


def in_words(rows: Sequence[Row], units: str, texts: Mapping[str, str]) -> str:
    """The most that a day of the table gives, for whoever reads what was assumed."""
    most = max(rows, key=lambda row: row.cycles * row.minutes)
    shares = {side: share_pct(texts[f"{side}-cover"]) / 100 for side in wanted_l_min(texts)}
    a_minute = sum(flow * shares[side] for side, flow in wanted_l_min(texts).items())
    minutes = most.minutes * max(shares.values())
    litres = a_minute * most.cycles * most.minutes
    shown = UNITS[units]
    times = "once" if most.cycles == 1 else f"{most.cycles} times"
    return (
        f"The table of seasons: a guess from latitude, at most {minutes:.3g} minutes a zone "
        f"{times} a day, about {shown.shown(litres, 'volume')}; put a better one in its place with "
        "`evenclay propose`."
    )
