"""Dates of weather files: which layout a file has, and its days."""

import re

import pandas as pd

from evenclay.sim.weather.daily import WeatherError

FIRST_YEAR, LAST_YEAR = 1700, 2299
LAYOUTS = (
    (re.compile(r"\d{4}-\d{1,2}-\d{1,2}([T ].*)?$"), "%Y-%m-%d"),
    (re.compile(r"\d{4}/\d{1,2}/\d{1,2}([T ].*)?$"), "%Y/%m/%d"),
    (re.compile(r"\d{1,2}\.\d{1,2}\.\d{4}([T ].*)?$"), "%d.%m.%Y"),
    (re.compile(r"\d{8}$"), "%Y%m%d"),
    (re.compile(r"\d{4}-\d{3}$"), "%Y-%j"),
    (re.compile(r"\d{1,2}-[A-Za-z]{3}-\d{4}$"), "%d-%b-%Y"),
)
ALLOWED = "dates as 2012-01-31, 2012/01/31, 1/31/2012, 31.01.2012 or 20120131, one layout in a file"
# Day and month in either order: the file must show which, or --dates say it.
EITHER = re.compile(r"(\d{1,2})([/-])(\d{1,2})\2\d{4}([T ].*)?$")
ORDERS = {"mdy": "%m{0}%d{0}%Y", "dmy": "%d{0}%m{0}%Y"}


def dates_of(
    name: str, text: pd.Series, line_numbers: pd.Series, order: str | None = None
) -> pd.Series:
    """Days from their text, all in the layout of the first; order: "mdy", "dmy" or not known."""
    first = text.iloc[0]
    layout = next((layout for pattern, layout in LAYOUTS if pattern.match(first)), None)
    either = EITHER.match(first)
    if layout is None and either:
        order = order or _order(name, text, line_numbers)
        layout = ORDERS[order].format(either[2])
    if layout is None:
        dates, bad = text, pd.Series(True, index=text.index)
    else:
        day_only = text.str.split(r"[T ]", n=1, regex=True).str[0]
        dates = pd.to_datetime(day_only, format=layout, errors="coerce")
        bad = dates.isna() | out_of_years(dates)
    if bad.any():
        raise WeatherError(
            f"{name}, line {line_numbers[bad].iloc[0]}: date {text[bad].iloc[0]!r}; "
            f"allowed are {ALLOWED}"
        )
    return dates


def _order(name: str, text: pd.Series, line_numbers: pd.Series) -> str:
    """Which of day and month comes first: a number above twelve is a day."""
    numbers = text.str.extract(r"^(\d{1,2})[/-](\d{1,2})[/-]")
    first, second = (pd.to_numeric(numbers[i]) for i in (0, 1))
    if (second > 12).any():
        return "mdy"
    if (first > 12).any():
        return "dmy"
    open_to_both = first != second
    if open_to_both.any():
        raise WeatherError(
            f"{name}, line {line_numbers[open_to_both].iloc[0]}: date "
            f"{text[open_to_both].iloc[0]!r} has its month or its day first, and no date of the "
            "file shows which; allowed is to say --dates mdy or --dates dmy"
        )
    return "mdy"


def out_of_years(dates: pd.Series) -> pd.Series:
    """Days outside the years that a weather record can have: a slip of the pen."""
    return pd.Series(~dates.dt.year.between(FIRST_YEAR, LAST_YEAR), index=dates.index)
