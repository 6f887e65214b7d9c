"""One fortnight written as people's files have it, and read to one table; and files that are wrong.

The layouts are those of the published formats and of what spreadsheets and open weather archives
write; every number is ours.
"""

import codecs
import datetime
import gzip
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from evenclay.sim.weather import record as weather
from evenclay.sim.weather.daily import WeatherError
from tests.unit.test_weather_formats import (
    EPW_HEADER,
    POWER_HEADER,
    dly_line,
    epw_row,
    value,
)

FIRST = datetime.date(2019, 1, 25)
LATITUDE_DEG = 32.4
# Tenths of mm and of degrees C: rain, Tmin, Tmax.
TENTHS = [
    (0, 12, 121),
    (254, 50, 153),
    (10, -11, 96),
    (0, -25, 101),
    (0, 2, 140),
    (3, 44, 162),
    (112, 61, 145),
    (0, 30, 127),
    (0, 18, 133),
    (0, 22, 171),
    (48, 80, 188),
    (5, 71, 160),
    (0, 33, 139),
    (0, 20, 150),
]
Day = tuple[datetime.date, float, float, float]
METRIC: list[Day] = [
    (FIRST + datetime.timedelta(days=i), rain / 10, low / 10, high / 10)
    for i, (rain, low, high) in enumerate(TENTHS)
]


def fahrenheit(celsius: float) -> str:
    return f"{celsius * 9 / 5 + 32:.2f}"


def inches(mm: float) -> str:
    return f"{mm / 25.4:.4f}"


def us(days: Iterable[Day] = METRIC) -> list[tuple[datetime.date, str, str, str]]:
    return [(day, inches(r), fahrenheit(low), fahrenheit(high)) for day, r, low, high in days]


def table(header: str, days: Iterable[Any] = METRIC, date: str = "%Y-%m-%d", by: str = ",") -> str:
    """A header and its rows: date, rain, Tmin, Tmax."""
    rows = [by.join([day.strftime(date), *map(str, values)]) for day, *values in days]
    return "\n".join([header, *rows]) + "\n"


STATION = "USW00013959"
QUOTED = f'"{STATION}","WACO REGIONAL AIRPORT, TX US"'


def summaries(days: Iterable[Any]) -> str:
    """The table that the archive's order form hands out: no unit anywhere."""
    rows = [f'{QUOTED},"{day}","{rain}","{high}","{low}"' for day, rain, low, high in days]
    return "\n".join(['"STATION","NAME","DATE","PRCP","TMAX","TMIN"', *rows]) + "\n"


def access(days: Iterable[Any]) -> str:
    header = (
        '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES",'
        '"SNOW","SNOW_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"'
    )
    rows = [
        f'"{STATION}","{day}","32.4","-97.2","155.4","WACO REGIONAL AIRPORT, TX US","{rain:>5}",'
        f'",,W,2400",,,"{high:>5}",",,W","{low:>5}",",,W"'
        for day, rain, low, high in days
    ]
    return "\n".join([header, *rows]) + "\n"


def of_the_day() -> str:
    """The archive's global summary of the day: inches and Fahrenheit, which no heading says."""
    header = (
        '"STATION","DATE","LATITUDE","NAME","TEMP","TEMP_ATTRIBUTES","MAX","MAX_ATTRIBUTES",'
        '"MIN","MIN_ATTRIBUTES","PRCP","PRCP_ATTRIBUTES","SNDP"'
    )
    rows = [
        f'"72256013959","{day}","32.4","WACO REGIONAL AIRPORT, TX US","  50.1","24",'
        f'"{high:>6}"," ","{low:>6}","*","{"99.99" if day.day == 28 else rain}","G","999.9"'
        for day, rain, low, high in us()
    ]
    return "\n".join([header, *rows]) + "\n"


def in_tenths() -> list[tuple[datetime.date, int, int, int]]:
    return [(day, *row) for (day, *_), row in zip(METRIC, TENTHS, strict=True)]


def by_station(header: str = "") -> str:
    rows = [
        f"{STATION},{day:%Y%m%d},{element},{number},,,W,2400"
        for day, rain, low, high in in_tenths()
        for element, number in (("PRCP", rain), ("TMAX", high), ("TMIN", low))
    ]
    return header + "\n".join(rows) + "\n"


def dly() -> str:
    lines = []
    for at, element in enumerate(("PRCP", "TMIN", "TMAX")):
        for month in (1, 2):
            days = zip((day for day, *_ in METRIC), TENTHS, strict=True)
            values = {day.day: value(row[at]) for day, row in days if day.month == month}
            lines.append(dly_line(element, f"2019{month:02}", values, STATION))
    return "\n".join(lines) + "\n"


def power() -> str:
    header = [*POWER_HEADER[:3], "Location: latitude  32.4   longitude -97.2", *POWER_HEADER[4:9]]
    rows = [f"{day.year},{day:%j},{h},{low},{rain}" for day, rain, low, h in METRIC]
    columns = "YEAR,DOY,T2M_MAX,T2M_MIN,PRECTOTCORR"
    return "\n".join([*header, "-END HEADER-", columns, *rows]) + "\n"


def epw() -> str:
    """The coldest hour is the fifth, the warmest the fifteenth, and it rains in the third."""
    rows = []
    for day, rain, low, high in METRIC:
        for hour in range(1, 25):
            temp = {5: low, 15: high}.get(hour, (low + high) / 2)
            rows.append(epw_row(day, hour, temp=temp, rain=rain if hour == 3 else 0.0))
    return "\n".join([*EPW_HEADER, *rows]) + "\n"


def aligned() -> str:
    header = f"{'Date':<12}{'Prcp(mm)':>10}{'Tmin(C)':>10}{'Tmax(C)':>10}"
    return table(header, [(d, *(f"{v:>9}" for v in row)) for d, *row in METRIC], by=" ")


PREAMBLE = """\
Gridded time series, stable
Location:  Lat: 32.4000   Lon: -97.2000   Elev: 510ft
Climate variables: ppt,tmin,tmax
Period: 2019-01-25 - 2019-02-07

"""
OPEN_DATA = """\
latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation
32.4,-97.2,155.0,-21600,America/Chicago,CST

time,precipitation_sum ({0}),temperature_2m_min ({1}),temperature_2m_max ({1}),rain_sum ({0})"""
WITH_RAIN_TWICE = [(*row, row[1]) for row in METRIC]
WITH_COMMAS = [(d, *(str(v).replace(".", ",") for v in row)) for d, *row in METRIC]
TRACES = [(d, "T" if d.day == 30 else r, low, high) for d, r, low, high in us()]
SPLIT = "%Y,%m,%d"
PLAIN = "date,rain,tmin,tmax"

Text = str | bytes
ALIKE: dict[str, tuple[Text, dict[str, str]]] = {
    "plain": (table(PLAIN), {}),
    "order form, us": (summaries(us()), {"units": "us"}),
    "order form, metric": (summaries(METRIC), {}),
    "order form, tenths": (summaries(in_tenths()), {"units": "tenths"}),
    "access": (access(in_tenths()), {}),
    "access, exported in mm": (access(METRIC), {}),
    "access, exported in inches": (access(us()), {"units": "us"}),
    "summary of the day": (of_the_day(), {"units": "us"}),
    "by station": (by_station(), {}),
    "by station with a header": (
        by_station("ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n"),
        {},
    ),
    "dly": (dly(), {}),
    "power": (power(), {}),
    "power without its header": (power().split("-END HEADER-\n")[1], {}),
    "epw": (epw(), {}),
    "units in brackets": (table("Date,Precip (in),Tmin (°F),Tmax (°F)", us()), {}),
    "units behind names": (table("date,rain_in,tmin_f,tmax_f", us()), {}),
    "units behind names win": (table("date,rain_mm,tmin_c,tmax_c"), {"units": "us"}),
    "units in a line": (table("Date,Rain,Low,High\n,inches,deg F,deg F", us()), {}),
    "words": (table("date,Total precipitation,Min. temp.,Max. temp.", us()), {"units": "us"}),
    "one word": (
        table("Date,Precipitation,MinTemperature,MaxTemperature", TRACES),
        {"units": "us"},
    ),
    "month first": (table(PLAIN, date="%m/%d/%Y"), {}),
    "month first, bare": (table(PLAIN, date="%-m/%-d/%Y"), {}),
    "day first": (table(PLAIN, date="%d/%m/%Y"), {}),
    "month by name": (table(PLAIN, date="%d-%b-%Y"), {}),
    "times of day": (table(PLAIN, date="%m/%d/%Y 0:00"), {}),
    "preamble": (PREAMBLE + table("Date,ppt (inches),tmin (degrees F),tmax (degrees F)", us()), {}),
    "open data": (table(OPEN_DATA.format("mm", "°C"), WITH_RAIN_TWICE), {}),
    "open data, us": (
        table(OPEN_DATA.format("inch", "°F"), [(*row, row[1]) for row in us()]),
        {},
    ),
    "utf-16": (table(PLAIN.replace(",", "\t"), by="\t").encode("utf-16"), {}),
    "utf-16, big": (codecs.BOM_UTF16_BE + table(PLAIN).encode("utf-16-be"), {}),
    "utf-16 without its mark": (table(PLAIN).encode("utf-16-le"), {}),
    "utf-8 with its mark": (table(PLAIN).encode("utf-8-sig"), {}),
    "semicolons": (table(PLAIN.replace(",", ";"), WITH_COMMAS, "%d.%m.%Y", ";"), {}),
    "western": (table("date,rain,tmin (°C),tmax (°C)").encode("cp1252"), {}),
    "columns between blanks": (aligned(), {}),
    "packed": (gzip.compress(table(PLAIN).encode()), {}),
    "windows": (table(PLAIN).replace("\n", ",\r\n").encode(), {}),
    "year, month and day": (
        table(
            "Station,Year,Month,Day,Rainfall amount (millimetres),"
            "Minimum temperature (Degree C),Maximum temperature (Degree C)",
            date="094299," + SPLIT,
        ),
        {},
    ),
    "tenths by heading": (table("date,rain (0.1 mm),tmin (0.1 C),tmax (0.1 C)", in_tenths()), {}),
    "cm and kelvin": (
        table(
            "date,rain [cm],tmin [K],tmax [K]",
            [(d, r / 10, low + 273.15, high + 273.15) for d, r, low, high in METRIC],
        ),
        {},
    ),
}


def save(tmp_path: Path, text: Text) -> Path:
    path = tmp_path / "weather"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize("layout", ALIKE)
def test_the_same_fortnight_in_every_layout(tmp_path: Path, layout: str) -> None:
    text, options = ALIKE[layout]
    record = weather.read(save(tmp_path, text), latitude_deg=LATITUDE_DEG, **options)  # type: ignore[arg-type]
    assert (record.first_day, record.days) == (FIRST, len(METRIC))
    expected = np.array([row[1:] for row in METRIC])
    if layout == "one word":
        expected[5, 0] = 0.0  # a trace
    found = np.column_stack([record.rain_mm, record.tmin_c, record.tmax_c])
    np.testing.assert_allclose(found, expected, atol=0.006)
    assert record.cautions == (
        "only 14 days of weather: less than a year shows neither the seasons nor how the ground "
        "comes back after them",
    )


def test_there_are_enough_layouts() -> None:
    assert len(ALIKE) >= 20
    assert len({text for text, _ in ALIKE.values()}) >= 30


def test_a_day_written_in_two_ways_appears_twice(tmp_path: Path) -> None:
    rows = access(in_tenths()).splitlines()
    again = rows[2].replace(f'"{METRIC[1][0]}"', f'"{METRIC[1][0]}T00:00"')
    assert again != rows[2]
    path = save(tmp_path, "\n".join([*rows, again]) + "\n")
    wanted = rf"line {len(rows) + 1}: PRCP of {METRIC[1][0]}T00:00 appears twice; allowed is one"
    with pytest.raises(WeatherError, match=wanted):
        weather.read(path)


def test_flags_of_the_access_file(tmp_path: Path) -> None:
    rows = access(in_tenths()).splitlines()
    rows[2] = rows[2].replace('"  254",",,W,2400"', '"  254",",X,W,2400"')
    rows[4] = rows[4].replace('"  101",",,W"', ',",,W"')
    record = weather.read(save(tmp_path, "\n".join(rows)), latitude_deg=LATITUDE_DEG)
    assert record.rain_mm[1] == 0.0
    assert record.notes[:3] == (
        "1 values failed the archive's quality checks: dropped",
        "rain: 1 missing days counted as dry",
        "tmax: 1 missing days interpolated",
    )
    assert weather.read(save(tmp_path, access(in_tenths()))).latitude_deg == 32.4


def test_a_files_own_latitude(tmp_path: Path) -> None:
    open_data = save(tmp_path, table(OPEN_DATA.format("mm", "°C"), WITH_RAIN_TWICE))
    assert weather.read(open_data).latitude_deg == 32.4
    assert weather.read(open_data, latitude_deg=36.0).cautions[0] == (
        "the file is of latitude 32.4, the house of 36, which is used"
    )


def test_other_units_beside(tmp_path: Path) -> None:
    header = "date,rain,tmin,tmax,wind_10m (mph),shortwave_radiation_sum (MJ/m²),dewpoint (°F)"
    rows = [(*row, 10, 12.5, 41) for row in METRIC]
    record = weather.read(save(tmp_path, table(header, rows)), latitude_deg=LATITUDE_DEG)
    assert record.wind_2m_m_s is not None and record.solar_mj_m2 is not None
    assert record.wind_2m_m_s[0] == pytest.approx(4.4704 * 0.748, rel=1e-3)
    assert record.solar_mj_m2[0] == 12.5
    assert record.vapour_kpa is not None
    assert record.vapour_kpa[0] == pytest.approx(0.872, abs=5e-4)  # FAO-56, eq. 11, at 5 C


SHORT = [(datetime.date(2019, 1, d), *row[1:]) for d, row in zip((1, 2, 3), METRIC, strict=False)]


@pytest.mark.parametrize(
    ("order", "first"), [("mdy", datetime.date(2019, 1, 1)), ("dmy", datetime.date(2019, 1, 1))]
)
def test_dates_that_show_no_order(tmp_path: Path, order: str, first: datetime.date) -> None:
    path = save(tmp_path, table(PLAIN, SHORT, "%m/%d/%Y" if order == "mdy" else "%d/%m/%Y"))
    asked = "has its month or its day first, and no date of the file shows which; allowed is to"
    with pytest.raises(WeatherError, match=asked):
        weather.read(path, latitude_deg=LATITUDE_DEG)
    record = weather.read(path, latitude_deg=LATITUDE_DEG, date_order=order)
    assert (record.first_day, record.days) == (first, 3)


def two_stations() -> str:
    rows = summaries(METRIC).splitlines()
    return "\n".join([*rows, rows[-1].replace(STATION, "USC00419419")]) + "\n"


def gap() -> str:
    days = [row for row in METRIC if row[0].day not in range(28, 32)]
    return table(PLAIN, [row for row in days if row[0].day not in range(1, 6)])


def hourly() -> str:
    rows = [(day, *row) for day, *row in METRIC for _ in range(24)]
    return table(PLAIN, rows, "%Y-%m-%dT00:00")


REFUSED: dict[str, tuple[Text, str]] = {
    "hours": (hourly(), "2019-01-25 appears 24 times; allowed is each day once"),
    "stations": (
        two_stations(),
        f"stations found: 2, such as USC00419419 and {STATION}; allowed is one",
    ),
    "stations, access": (
        access(in_tenths()).replace(STATION, "USC00419419", 1),
        "stations found: 2; allowed is one",
    ),
    "workbook": (b"PK\x03\x04" + b"\0" * 40, "a zip archive or a workbook; allowed is text"),
    "old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a workbook; allowed is text"),
    "pdf": (b"%PDF-1.7\n1 0 obj\n", "a PDF; allowed is text"),
    "page": ("<!DOCTYPE html>\n<html>\n", "a web page; allowed is text"),
    "json": ('{"daily": {"time": []}}\n', "JSON; allowed is text in rows"),
    "utf-16 cut short": (table(PLAIN).encode("utf-16")[:-1], "a damaged UTF-16 file"),
    "two orders": (
        table(PLAIN, METRIC[:7], "%m/%d/%Y") + table("", METRIC[7:], "%d/%m/%Y").lstrip(),
        "line 9: 2019-01-02 follows 2019-01-31",
    ),
    "years of two digits": (table(PLAIN, date="%m/%d/%y"), "date '01/25/19'; allowed are dates as"),
    "months": (table(PLAIN, date="%Y-%m"), "date '2019-01'; allowed are dates as"),
    "fahrenheit": (
        table(PLAIN, [(d, r, f"{low + 40:g}", f"{h + 60:g}") for d, r, low, h in METRIC]),
        "line 2: tmax 72.1 deg C on 2019-01-25; allowed are -90 to 60 deg C: it looks like "
        "Fahrenheit, which --units us reads",
    ),
    "tenths": (
        summaries(in_tenths()),
        "line 8: tmin 61 deg C on 2019-01-31; allowed are -90 to 60 deg C: it looks like tenths",
    ),
    "tenths of warm days": (
        table(PLAIN, [(d, r, low + 150, h + 200) for d, r, low, h in in_tenths()]),
        "it looks like tenths of degrees, which --units tenths reads",
    ),
    "a slip in fahrenheit": (
        table("date,rain_in,tmin_f,tmax_f", us()).replace(",53.78", ",537.8"),
        "line 2: tmax 537.8 deg F on 2019-01-25; allowed are -130 to 140 deg F",
    ),
    "rain in degrees": (
        table("date,rain (°C),tmin,tmax"),
        "line 1: the rain column is headed 'rain (°C)', in °C; allowed are mm, cm, in",
    ),
    "two rains": (
        table("date,rain,tmin,tmax,precip", WITH_RAIN_TWICE),
        "two rain columns: rain, precip; allowed is one, or --column rain=NAME to choose",
    ),
    "one heading twice": (
        table("date,date,rain,tmin,tmax", [(d, d, *row) for d, *row in METRIC]),
        "two columns headed 'date'; allowed is one",
    ),
    "no rain": (table("date,snow,tmin,tmax"), "no column for rain; found date, snow, tmin, tmax"),
    "no header": (table(PLAIN).split("\n", 1)[1], "no column for rain, tmin, tmax, date"),
    "only a preamble": (PREAMBLE, "no column for rain, date; found Climate variables: ppt"),
    "header alone": (PREAMBLE + PLAIN + "\n", "no daily rows found"),
    "total below": (table(PLAIN) + "Total,43.2,,\n", "line 16: date 'Total'; allowed are dates"),
    "crossed": (
        table("date,rain,tmax_f,tmin_f", us()),
        "line 2: Tmax 34.16 deg F is below Tmin 53.78 deg F",
    ),
    "gap": (
        gap(),
        "rain missing for 9 days, 2019-01-28 to 2019-02-05; allowed are gaps of 7 days: fill them "
        "from a station nearby, or keep the rows of one stretch alone, such as 2019-01-25 to "
        "2019-01-27, the longest (replay takes its days by --from and --to)",
    ),
}


@pytest.mark.parametrize("fault", REFUSED)
def test_a_wrong_file_is_one_line(tmp_path: Path, fault: str) -> None:
    text, message = REFUSED[fault]
    path = save(tmp_path, text)
    with pytest.raises(WeatherError) as caught:
        weather.read(path, latitude_deg=LATITUDE_DEG)
    assert message in str(caught.value)
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)


def test_a_word_that_is_no_unit_is_a_caution(tmp_path: Path) -> None:
    path = save(tmp_path, table("date,rain (gauge 2),tmin,tmax"))
    assert weather.read(path, latitude_deg=LATITUDE_DEG).cautions[0] == (
        "'gauge 2' of the heading 'rain (gauge 2)' is no unit that is known: "
        "read as --units metric has it"
    )


@pytest.mark.parametrize(
    ("wanted", "used"),
    [
        ((datetime.date(2019, 1, 26), None), (FIRST, datetime.date(2019, 1, 27))),
        ((None, datetime.date(2019, 2, 6)), (datetime.date(2019, 2, 6), datetime.date(2019, 2, 7))),
    ],
)
def test_days_on_one_side_of_a_long_gap(
    tmp_path: Path, wanted: Any, used: tuple[datetime.date, datetime.date]
) -> None:
    path = save(tmp_path, gap())
    first, last = wanted
    record = weather.read(path, latitude_deg=LATITUDE_DEG, first_day=first, last_day=last)
    assert (record.first_day, record.last_day) == used
    assert record.notes[0] == (
        "rain missing for 9 days, 2019-01-28 to 2019-02-05: the days from "
        f"{used[0]} to {used[1]} are used"
    )


def test_days_beside_a_long_gap_are_whole(tmp_path: Path) -> None:
    rows: list[Any] = [
        (day, "" if 3 <= i <= 10 else rain, "" if i in (2, 11) else low, high)
        for i, (day, rain, low, high) in enumerate(METRIC)
    ]
    path = save(tmp_path, table(PLAIN, rows))
    record = weather.read(path, latitude_deg=LATITUDE_DEG, last_day=datetime.date(2019, 2, 7))
    assert (record.first_day, record.days) == (datetime.date(2019, 2, 6), 2)
    assert np.all(np.isfinite(record.tmin_c))
