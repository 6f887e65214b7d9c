"""What a sweep found: a row for each variant, as a table for people too."""

from collections.abc import Sequence
from pathlib import Path

import polars as pl
from rich.table import Table

from evenclay.sim.units import UNITS
from evenclay.tools.plan.sweep import Sweep

PERCENTS = (
    "in_band_pct",
    "worst_zone_pct",
    "year_in_20_pct",
    "worst_year_pct",
    "dry_pct",
    "wet_pct",
)


def summary(years: pl.DataFrame, paths: Sequence[str]) -> pl.DataFrame:
    """One row for each variant: how its ground was kept, in percent, and what that took.

    Season days count, without those that rain alone made wet or that were declared re-wetting.
    `in_band_pct`: of all zones and years; `worst_zone_pct`: of its worst zone over all years;
    `year_in_20_pct`: of all zones in a year that one in twenty falls below; `worst_year_pct`.
    """
    judged = pl.col("season_days") - pl.col("days_rain_wet")
    frame = years.with_columns(judged.alias("judged"))
    keys = ["variant", "property", *paths]
    house_year = ["weather", "seed", "year"]

    def share(column: str) -> pl.Expr:
        return (100 * pl.col(column).sum() / pl.col("judged").sum()).fill_nan(None)

    by_year = frame.group_by([*keys, *house_year], maintain_order=True).agg(
        share("days_in_band").alias("in_band_pct"),
        pl.col("litres").sum(),
        pl.col("unevenness_pf").first(),
    )
    by_zone = frame.group_by([*keys, "zone"], maintain_order=True).agg(
        share("days_in_band").alias("in_band_pct")
    )
    whole = frame.group_by(keys, maintain_order=True).agg(
        share("days_in_band").alias("in_band_pct"),
        share("days_dry").alias("dry_pct"),
        share("days_wet").alias("wet_pct"),
    )
    yearly = by_year.group_by(keys, maintain_order=True).agg(
        pl.len().alias("years"),
        pl.col("in_band_pct").quantile(0.05, "linear").alias("year_in_20_pct"),
        pl.col("in_band_pct").min().alias("worst_year_pct"),
        pl.col("litres").mean().alias("litres_a_year"),
        pl.col("litres").std().alias("litres_deviation"),
        pl.col("unevenness_pf").median().alias("unevenness_pf"),
    )
    zones = by_zone.group_by(keys, maintain_order=True).agg(
        pl.col("in_band_pct").min().alias("worst_zone_pct")
    )
    return whole.join(zones, on=keys).join(yearly, on=keys, maintain_order="left")


def table_of(rows: pl.DataFrame, paths: Sequence[str], units: str) -> Table:
    """The summary for people. units: "metric" or "us"."""
    shown = UNITS[units]
    files = ["property"] if rows["property"].n_unique() > 1 else []
    keys = [path.rpartition(".")[2] for path in paths]
    table = Table(title="Percent of season days in band", title_justify="left")
    for name in (*files, *(keys if len(set(keys)) == len(keys) else paths)):
        table.add_column(name, overflow="fold", min_width=min(len(name), 12))
    for heading in ("years", "all", "worst zone", "1 year in 20", "worst year", "dry", "wet"):
        table.add_column(heading, justify="right")
    table.add_column(f"{shown.word('volume')} a year", justify="right")
    table.add_column("uneven, pF", justify="right")
    for row in rows.to_dicts():
        percents = [row[name] for name in PERCENTS]
        table.add_row(
            *(Path(row[name]).stem for name in files),
            *(str(row[path]) for path in paths),
            f"{row['years']:,}",
            *("-" if percent is None else f"{percent:.1f}" for percent in percents),
            shown.number(row["litres_a_year"], "volume"),
            "-" if row["unevenness_pf"] is None else f"{row['unevenness_pf']:.2f}",
        )
    return table


def notes(sweep: Sweep) -> list[str]:
    """What to know of the figures."""
    found = ["Season days: without those wet by rain alone or of declared re-wetting."]
    found.append("1 year in 20 is worse than its column; dry and wet are percent as well.")
    if sweep.years:
        found.append(
            "Invented years: droughts of years, wet years and great storms come out too rare."
        )
    return found
