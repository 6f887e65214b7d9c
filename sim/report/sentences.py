"""What a replay found, in sentences."""

from typing import Any

from evenclay.sim.report.year import Year


def result_sentences(year: Year) -> list[str]:
    """What the replay found, in a sentence or two, whichever way it went."""
    policies, volume = year.summary["policies"], year.units.word("volume")
    hub, calendar, none = policies["hub"], policies["calendar"], policies["none"]
    used, bare = [year.units.number(way["litres"], "volume") for way in (hub, calendar)]
    if not year.counted:
        return [
            f"The hub used {used} {volume}; the bare calendar used {bare}. The unwatered soil "
            "never dried out of its band here, so no day counts as season."
        ]
    said = (
        f"The hub used {used} {volume} and kept the clay in band on "
        f"{hub['days_in_band']:,} of {year.counted:,} season days, all zones taken together; the "
        f"bare calendar used {bare} {volume} and kept it there on "
        f"{calendar['days_in_band']:,}; unwatered it would have been there on "
        f"{none['days_in_band']:,}."
    )
    return [
        said,
        _verdict(hub, calendar, "the bare calendar"),
        _verdict(hub, policies["calendar_checked"], "the calendar checked by hand each week"),
        f"Too dry were {hub['days_dry']:,} days with the hub and {calendar['days_dry']:,} with the "
        f"bare calendar; too wet, {hub['days_wet']:,} and {calendar['days_wet']:,}.",
        *_too_little(calendar),
    ]


def _too_little(calendar: dict[str, Any]) -> list[str]:
    """Where the table itself gives too little, say what holding back can and cannot do."""
    if calendar["days_dry"] <= calendar["days_wet"]:
        return []
    return [
        "The table alone leaves the clay too dry more often than too wet: there, holding back "
        "can only cost days in band, and only a trim or a probe can add any."
    ]


def _verdict(hub: dict[str, Any], other: dict[str, Any], name: str) -> str:
    """Hub against another way of watering: water and days, with the worse named as such."""
    days = hub["days_in_band"] - other["days_in_band"]
    many = f"{abs(days):,} {'day' if abs(days) == 1 else 'days'}"
    kept = (
        f"{many} more in band" if days > 0 else f"{many} fewer in band" if days else "as many days"
    )
    if not other["litres"]:
        return f"Against {name}: {kept}."
    part = hub["litres"] / other["litres"] - 1.0
    percent = f"{abs(part) * 100:.0f}\N{NO-BREAK SPACE}%"
    same = percent.startswith("0\N{NO-BREAK SPACE}")
    water = f"{percent} less water" if part < 0 else f"{percent} more water"
    if same:
        water = "the same water"
    saved = not same and part < 0
    if days < 0 and not saved:
        return f"Here the hub did worse than {name}: {water}, {kept}."
    if days < 0:
        return f"Against {name} that is {water}, but the hub did worse on moisture: {kept}."
    if part > 0 and not same:
        return f"Against {name} that is {kept}, at the price of {water}."
    return f"Against {name} that is {water} and {kept}."
