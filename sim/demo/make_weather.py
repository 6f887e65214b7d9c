"""Invent the weather of the demo property: python sim/demo/make_weather.py

A made-up place: hot dry summers with a few storms, mild wet winters with a few frosts. No station
was read; every number below is ours. The same seed gives the same file, byte for byte: the chances
come from Python's own generator, whose `random()` is the same in every version.
"""

import csv
import datetime
import math
import random
from pathlib import Path

SEED = 20
FIRST_DAY = datetime.date(2017, 1, 1)
LAST_DAY = datetime.date(2022, 12, 31)  # a climate to know, a year to settle, one to look at

# By month, January first: chance of rain after a dry and after a wet day, mean rain of a wet day.
RAIN_AFTER_DRY = (0.22, 0.22, 0.20, 0.17, 0.12, 0.05, 0.03, 0.04, 0.07, 0.13, 0.19, 0.23)
RAIN_AFTER_WET = (0.55, 0.54, 0.50, 0.44, 0.36, 0.22, 0.16, 0.20, 0.28, 0.40, 0.50, 0.56)
WET_DAY_MM = (8.0, 7.5, 7.5, 8.0, 9.0, 12.0, 16.0, 14.0, 11.0, 10.0, 9.0, 8.0)

MEAN_C, SWING_C, WARMEST_DAY = 19.5, 9.0, 205  # of the daily mean over the year
HALF_RANGE_DRY_C, HALF_RANGE_WET_C = 6.6, 4.0  # half of maximum minus minimum
SPELL_C, SPELL_KEPT = 2.9, 0.72  # warm and cold spells: spread, and what a day keeps of the last
SPELL_WINTER = 1.2  # winters are more changeable than summers


def rows() -> list[tuple[str, str, str, str]]:
    """Return date, rain, minimum and maximum for each day, as text with one decimal."""
    chance = random.Random(SEED)
    found = []
    wet = False
    spell_c = 0.0
    for number in range((LAST_DAY - FIRST_DAY).days + 1):
        day = FIRST_DAY + datetime.timedelta(days=number)
        month = day.month - 1
        wet = chance.random() < (RAIN_AFTER_WET if wet else RAIN_AFTER_DRY)[month]
        # Exponential amounts: mostly little, now and then a storm.
        rain_mm = max(0.3, -WET_DAY_MM[month] * math.log(1.0 - chance.random())) if wet else 0.0
        season = math.cos(2 * math.pi * (day.timetuple().tm_yday - WARMEST_DAY) / 365.25)
        # The sum of twelve chances is near enough to a normal one.
        shock = sum([chance.random() for _ in range(12)]) - 6.0
        spell_c = SPELL_KEPT * spell_c + math.sqrt(1 - SPELL_KEPT**2) * SPELL_C * shock
        mean_c = MEAN_C + SWING_C * season + spell_c * (1 + (SPELL_WINTER - 1) * (1 - season) / 2)
        half_c = (HALF_RANGE_WET_C if wet else HALF_RANGE_DRY_C) * (0.9 + 0.2 * chance.random())
        found.append(
            (
                day.isoformat(),
                f"{rain_mm:.1f}",
                f"{mean_c - half_c - (1.0 if wet else 0.0):.1f}",
                f"{mean_c + half_c - (1.0 if wet else 0.0):.1f}",
            )
        )
    return found


def main() -> None:
    """Write weather.csv beside this file."""
    with open(Path(__file__).with_name("weather.csv"), "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("date", "rain_mm", "tmin_c", "tmax_c"))
        writer.writerows(rows())


if __name__ == "__main__":
    main()
