"""What a sweep found: a row for each variant, as a table for people too."""

from collections.abc import Sequence
from pathlib import Path

import polars as pl
from rich.table import Table

from evenclay.sim.units import UNITS
from evenclay.tools.plan.sweep import Sweep

LIFE = ("weather", "seed", "ground", "life")
SHOWN = {  # columns of the summary, and their headings
    "unrest_pct": "unrest",
    "unrest_p90_pct": "9 in 10",
    "worst_zone_pct": "worst zone",
    "tilt_added_p50_pct": "tilt added",
    "excursion_p50_pct": "excursion",
    "days_soaked_p50": "soaked days",
    "days_on_target": "on target",
}


def summary(years: pl.DataFrame, paths: Sequence[str]) -> pl.DataFrame:
    """One row for each variant: what became of its ground, and what that took.

    `unrest_pct`: of all years together; `unrest_p90_pct`: that nine lives of ten stay below;
    `worst_zone_pct`: movement of its worst zone over all years, percent of the same unwatered.
    `tilt_added_p50_pct`, `excursion_p50_pct`, `days_soaked_p50`: medians of the lives, which have
    limits. `days_on_target`, `litres_a_year`, `alarms_a_year`: means of the years, the first of the
    zones too.
    """
    keys = ["variant", "property", *paths]
    by_year = years.group_by([*keys, *LIFE, "year"], maintain_order=True).agg(
        pl.col("movement_pf_m", "movement_unwatered_pf_m", "days_on_target").mean(),
        pl.col("tilt_pf_m", "tilt_unwatered_pf_m", "house_alarms").first(),
        pl.col("litres", "alarms").sum(),
    )
    watered = pl.col("movement_pf_m") + pl.col("tilt_pf_m")
    unwatered = pl.col("movement_unwatered_pf_m") + pl.col("tilt_unwatered_pf_m")
    whole = by_year.group_by(keys, maintain_order=True).agg(
        pl.len().alias("years"),
        _percent(watered, unwatered).alias("unrest_pct"),
        pl.col("days_on_target").mean(),
        pl.col("litres").mean().alias("litres_a_year"),
        pl.col("litres").std().alias("litres_deviation"),
        (pl.col("alarms") + pl.col("house_alarms")).mean().alias("alarms_a_year"),
    )
    lives = years.unique([*keys, *LIFE], keep="first", maintain_order=True)
    by_life = lives.group_by(keys, maintain_order=True).agg(
        pl.len().alias("lives"),
        pl.col("life_unrest_pct").quantile(0.9, "linear").alias("unrest_p90_pct"),
        pl.col("life_tilt_added_pct").median().alias("tilt_added_p50_pct"),
        pl.col("life_excursion_pct").median().alias("excursion_p50_pct"),
        pl.col("life_days_soaked").median().alias("days_soaked_p50"),
    )
    movement = _percent(pl.col("movement_pf_m"), pl.col("movement_unwatered_pf_m"))
    by_zone = years.group_by([*keys, "zone"], maintain_order=True).agg(movement.alias("zone_pct"))
    zones = by_zone.group_by(keys, maintain_order=True).agg(
        pl.col("zone_pct").max().alias("worst_zone_pct")
    )
    joined = whole.join(by_life, on=keys, maintain_order="left")
    return joined.join(zones, on=keys, maintain_order="left")


def _percent(part: pl.Expr, whole: pl.Expr) -> pl.Expr:
    """Percent of sums; null where the whole is nothing."""
    return pl.when(whole.sum() > 0.0).then(100.0 * part.sum() / whole.sum())


def table_of(rows: pl.DataFrame, paths: Sequence[str], units: str) -> Table:
    """The summary for people. units: "metric" or "us"."""
    shown = UNITS[units]
    files = ["property"] if rows["property"].n_unique() > 1 else []
    keys = [path.rpartition(".")[2] for path in paths]
    table = Table(title="The hub, in percent of leaving the ground alone", title_justify="left")
    for name in (*files, *(keys if len(set(keys)) == len(keys) else paths)):
        table.add_column(name, overflow="fold", min_width=min(len(name), 12))
    for heading in ("years", *SHOWN.values(), f"{shown.word('volume')} a year", "alarms a year"):
        table.add_column(heading, justify="right")
    for row in rows.to_dicts():
        table.add_row(
            *(Path(row[name]).stem for name in files),
            *(str(row[path]) for path in paths),
            f"{row['years']:,}",
            *("-" if row[name] is None else f"{row[name]:.0f}" for name in SHOWN),
            shown.number(row["litres_a_year"], "volume"),
            f"{row['alarms_a_year']:.1f}",
        )
    return table


def notes(sweep: Sweep) -> list[str]:
    """What to know of the figures."""
    found = [
        "Of ten lives, of at most 25 years each, nine have less unrest than 9 in 10 says.",
        "Worst zone is movement. Soaked days and days on target are days a year.",
    ]
    if sweep.grounds:
        found.append(f"Every life was lived on {sweep.grounds} plausible grounds.")
    else:
        found.append(
            "Nobody knows this clay: these figures are of the middle one of the plausible grounds, "
            "and --grounds 8 shows how much hangs on it."
        )
    if sweep.years:
        found.append(
            "Invented years: droughts of years, wet years and great storms come out too rare."
        )
    return found
