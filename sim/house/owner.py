"""The owner who checks by hand: when he goes out, and what he reports of strips."""

from collections.abc import Callable

from numpy.random import Generator

from evenclay.controller.agenda import Agenda
from evenclay.controller.civil import FIRST_WEEKDAY
from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import Plan, RowPart
from evenclay.controller.ports import DRY, FIRM, SAMPLE_MOST, WET
from evenclay.sim.house.house import Check, Owner, Report
from evenclay.sim.house.site import Sky

Felt = Callable[[Check, Generator], list[Report]]

CHECK_RAIN_UM = 1000  # after more than this in a day the owner waits for tomorrow
CHECK_BEFORE_MIN = 30  # the check is done so long before the day's first cycle, or earlier
# A sampler begins at once, whatever the season: by the first eight samples the hub learns what it
# thinks wrongly of a strip for good, and a third of the weeks is missed.
EARLY_DAYS = 84


def check_times(owner: Owner, plan: Plan, sky: Sky, end_s: int) -> list[int]:
    """When the owner checks: weekly, put off by a day after rain.

    In the open season, and with a sampler in the first weeks of the hub's life as well.
    """
    agenda = Agenda(plan)
    time = agenda.time
    day = time.local_s(sky.start_s) // DAY_S
    last_day = time.local_s(end_s - 1) // DAY_S
    early_day = day + (EARLY_DAYS if samples(owner) else 0)
    times = []
    due = False
    while day <= last_day:
        row = agenda.row_of(day)
        goes_out = row.cycles > 0 or day < early_day
        due = goes_out and (due or (day + FIRST_WEEKDAY) % 7 == owner.weekday)
        if due:
            at_s = time.wall_s(day * DAY_S + 60 * check_min(owner, row))
            since_s = max(at_s - DAY_S, sky.start_s)
            dry_day = sky.fallen_um(at_s) - sky.fallen_um(since_s) <= CHECK_RAIN_UM
            if dry_day and sky.start_s <= at_s < end_s:
                times.append(at_s)
                due = False
        day += 1
    return times


def samples(owner: Owner) -> bool:
    """Whether the owner takes samples when he checks."""
    return owner.checks and owner.check != "blade"


def check_min(owner: Owner, row: RowPart) -> int:
    """Minute of the day at which the owner checks."""
    if not row.cycles:
        return 60 * owner.hour
    return min(60 * owner.hour, max(row.start_min_of(0) - CHECK_BEFORE_MIN, 0))


def reports(owner: Owner, felt: Felt, random: Generator) -> list[Report] | None:
    """What the owner reports of each strip this week; None in a week he misses.

    felt: gives what his hands find in each strip.
    """
    if 100.0 * random.random() < owner.misses_pct:
        return None
    return [
        _beside(report, random) if 100.0 * random.random() < owner.misjudges_pct else report
        for report in felt(owner.check, random)
    ]


def _beside(report: Report, random: Generator) -> Report:
    """A report one step wrong: firm for dry and wet, either of the two for firm; a class beside."""
    blade, sample = report
    if blade is not None:
        blade = int(random.choice((DRY, WET))) if blade == FIRM else FIRM
    if sample is not None:
        others = [other for other in (sample - 1, sample + 1) if 0 <= other <= SAMPLE_MOST]
        sample = int(random.choice(others))
    return Report(blade, sample)
