"""Weather formats besides the plain table: small files of our own numbers in the published layout.

Sources of the layouts: NOAA NCEI, GHCN-Daily readme; NASA POWER's own header; EnergyPlus Auxiliary
Programs, EPW data dictionary.
"""

import dataclasses
import datetime
import gzip
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from evenclay.sim.weather import et0, hourly
from evenclay.sim.weather import record as weather
from evenclay.sim.weather.daily import WeatherError

DAY = datetime.timedelta(days=1)


def write(tmp_path: Path, rows: list[str], name: str = "weather") -> Path:
    path = tmp_path / name
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def refusal(path: Path, latitude_deg: float | None = None) -> str:
    with pytest.raises(WeatherError) as caught:
        weather.read(path, latitude_deg=latitude_deg)
    message = str(caught.value)
    assert "\n" not in message
    assert str(path) in message
    return message


# GHCN-Daily .dly


def dly_line(element: str, month: str, values: dict[int, str], station: str = "XX000000001") -> str:
    """A month of an element; values are `value` or `value and its three flags` of some days."""
    cells = [values.get(day, "-9999").rjust(5)[:5] for day in range(1, 32)]
    flags = [(values.get(day, "")[5:] or "   ").ljust(3) for day in range(1, 32)]
    pairs = zip(cells, flags, strict=True)
    return f"{station}{month}{element}" + "".join(v + f for v, f in pairs)


def value(number: int, flags: str = "   ") -> str:
    return f"{number:5d}{flags}"


def dly() -> list[str]:
    """February and two days of March 2012."""
    february = range(1, 30)
    return [
        dly_line("TMAX", "201202", {d: value(100 + d, "  Z") for d in february}),
        dly_line("TMIN", "201202", {d: value(-50 + d, "  Z") for d in february}),
        dly_line("PRCP", "201202", {d: value(10 * (d % 3), "T Z") for d in february}),
        dly_line("SNOW", "201202", {d: value(0) for d in february}),
        dly_line("TMAX", "201203", {d: value(140) for d in (1, 2)}),
        dly_line("TMIN", "201203", {d: value(-10) for d in (1, 2)}),
        dly_line("PRCP", "201203", {d: value(7) for d in (1, 2)}),
    ]


def test_dly(tmp_path: Path) -> None:
    assert {len(line) for line in dly()} == {269}
    record = weather.read(write(tmp_path, dly(), "XX000000001.dly"), latitude_deg=40.0)
    assert (record.first_day, record.days) == (datetime.date(2012, 2, 1), 31)
    assert record.last_day == datetime.date(2012, 3, 2)
    assert record.rain_mm[:4].tolist() == [1.0, 2.0, 0.0, 1.0]
    assert record.tmax_c[[0, 28, 29]].tolist() == pytest.approx([10.1, 12.9, 14.0])
    assert record.tmin_c[[0, 28, 29]].tolist() == pytest.approx([-4.9, -2.1, -1.0])
    assert record.notes == ("ET0 estimated by Hargreaves (FAO-56 eq. 52) at 40 degrees",)
    assert record.vapour_kpa is None
    assert record.wind_2m_m_s is None
    assert record.solar_mj_m2 is None
    assert record.hours is None


def test_dly_packed_and_with_its_last_blanks_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "station.dly.gz"
    path.write_bytes(gzip.compress("\n".join(line.rstrip() for line in dly()).encode()))
    assert weather.read(path, latitude_deg=40.0).days == 31


def test_dly_flags_gaps_and_what_is_left_out(tmp_path: Path) -> None:
    rows = dly()
    rows[2] = dly_line(
        "PRCP",
        "201202",
        {d: value(10 if d != 3 else 9999, "   " if d != 3 else " X ") for d in range(1, 30)},
    )
    rows.append(dly_line("MDPR", "201202", {9: value(120)}))
    rows.append(dly_line("AWND", "201202", {d: value(31) for d in range(1, 29)}))
    record = weather.read(write(tmp_path, rows), latitude_deg=40.0, elevation_m=25.0)
    assert record.rain_mm[2] == 0.0
    assert record.wind_2m_m_s is not None
    # FAO-56, annex 2, table 2.9: from 10 m to 2 m by 0.748.
    assert record.wind_2m_m_s[:28].tolist() == pytest.approx([3.1 * 0.748] * 28, rel=1e-3)
    assert np.isnan(record.wind_2m_m_s[28:]).all()
    assert record.notes == (
        "1 readings of several days' rain in one (MDPR): left out",
        "1 values failed the archive's quality checks: dropped",
        "rain: 1 missing days counted as dry",
        "ET0 estimated by Penman-Monteith (FAO-56 eq. 6) from wind and temperature at 40 degrees",
        "humidity not given on 31 days: dew point at Tmin, as FAO-56 chapter 3 has it",
        "wind not given on 3 days: the mean of the world's stations, as FAO-56 chapter 3 has it",
        "radiation not given on 31 days: from the range of temperature, as FAO-56 chapter 3 has it",
    )


DLY_FAULTS: list[tuple[Callable[[list[str]], list[str]], str]] = [
    (lambda rows: [*rows, rows[0]], "line 8: TMAX of 20120201 appears twice"),
    (lambda rows: rows[:3] + rows[5:], "line 1: date '20120230'"),
    (lambda rows: [row for row in rows if "PRCP" not in row], "no usable PRCP values"),
    (lambda rows: [rows[3]], "no daily rows found"),
    (lambda rows: [rows[3], rows[3]], "no usable PRCP values"),
    (lambda rows: [rows[0], rows[1][:200]], "line 2: 200 characters, beginning 'XX00000000120120"),
    (lambda rows: [*rows, "by hand"], "line 8: 7 characters, beginning 'by hand'"),
    (lambda rows: [rows[0].replace("  101", " 1x01"), *rows[1:]], "line 1: value '1x01'"),
    (lambda rows: [rows[0].replace("  101", "-2000"), *rows[1:]], "Tmax below Tmin"),
    (lambda rows: [*rows, dly_line("TMAX", "201204", {1: value(9)}, "XX2")], "line 8:"),
    (
        lambda rows: [*rows, dly_line("TMAX", "201204", {1: value(9)}, "XX000000002")],
        "stations found: 2; allowed is one",
    ),
    (
        lambda rows: [*rows, dly_line("PRCP", "201205", {1: value(0)})],
        "missing for 59 days, 2012-03-03 to 2012-04-30",
    ),
]


@pytest.mark.parametrize(("change", "message"), DLY_FAULTS)
def test_dly_faults(tmp_path: Path, change: Callable[[list[str]], list[str]], message: str) -> None:
    rows = change(dly())
    if message == "line 1: date '20120230'":
        rows[0] = dly_line("TMAX", "201202", {30: value(5)})
    if message.startswith("missing for"):
        rows += [dly_line(e, "201205", {1: value(50)}) for e in ("TMAX", "TMIN")]
    path = write(tmp_path, rows)
    if message == "Tmax below Tmin":  # a fault that is mended
        assert any(note.startswith(message) for note in weather.read(path, latitude_deg=1.0).notes)
    else:
        assert message in refusal(path, 40.0)


# NASA POWER


POWER_HEADER = """\
-BEGIN HEADER-
NASA/POWER Source Native Resolution Daily Data
Dates (month/day/year): 06/01/2019 through 06/10/2019 in LST
Location: latitude  36.8000   longitude 10.1800
elevation from MERRA-2: Average for 0.5 x 0.625 degree lat/lon region = 69.07 meters
The value for missing source data that cannot be computed or is outside of the range: -999
parameter(s):
T2M_MAX               MERRA-2 Temperature at 2 Meters Maximum (C)
PRECTOTCORR           MERRA-2 Precipitation Corrected (mm/day)
RH2M                  MERRA-2 Relative Humidity at 2 Meters (%)
WS2M                  MERRA-2 Wind Speed at 2 Meters (m/s)
ALLSKY_SFC_SW_DWN     CERES SYN1deg All Sky Surface Shortwave Downward Irradiance (MJ/m^2/day)
-END HEADER-""".splitlines()
POWER_COLUMNS = "YEAR,MO,DY,T2M_MAX,T2M_MIN,PRECTOTCORR,RH2M,WS2M,ALLSKY_SFC_SW_DWN"


def power(count: int = 10) -> list[str]:
    rows = [
        f"2019,6,{d},{28 + d / 10},{17 + d / 10},{d % 4},{60 + d},2.5,27.4"
        for d in range(1, count + 1)
    ]
    return [*POWER_HEADER, POWER_COLUMNS, *rows]


def test_power(tmp_path: Path) -> None:
    record = weather.read(write(tmp_path, power(), "power.csv"))
    assert (record.first_day, record.days) == (datetime.date(2019, 6, 1), 10)
    assert record.latitude_deg == 36.8
    assert record.rain_mm[:4].tolist() == [1.0, 2.0, 3.0, 0.0]
    assert record.notes == (
        "NASA POWER: estimates for a grid cell, not a gauge; a storm may be missed",
        "ET0 estimated by Penman-Monteith (FAO-56 eq. 6) from humidity, wind, radiation and "
        "temperature at 36.8 degrees",
    )
    ours = et0.penman_monteith_mm(
        17.1,
        28.1,
        36.8,
        152,
        elevation_m=69.07,
        vapour_kpa=et0.vapour_from_humidity_kpa(17.1, 28.1, 61.0, 61.0),
        wind_2m_m_s=2.5,
        solar_mj_m2=27.4,
    )
    assert record.et0_mm[0] == pytest.approx(float(ours))
    assert 4.0 < record.et0_mm.mean() < 8.0


def test_power_by_day_of_the_year_units_and_missing_values(tmp_path: Path) -> None:
    rows = [row.replace("YEAR,MO,DY", "YEAR,DOY").replace("2019,6,", "2019,15") for row in power(8)]
    rows[2] = rows[2].replace("LST", "UTC")
    rows[3] = "location: Latitude 36.8 Longitude 10.18"
    rows[11] = rows[11].replace("MJ/m^2/day", "kW-hr/m^2/day")
    rows = [row.replace(",27.4", ",7.5") for row in rows]
    rows[-3] = rows[-3].replace(",2.5,", ",-999,")
    rows[-4] = rows[-4].replace(",1,", ",-999,")
    record = weather.read(write(tmp_path, rows), latitude_deg=40.0)
    assert record.first_day == datetime.date(2019, 5, 31)  # day 151
    assert record.solar_mj_m2 is not None
    assert record.solar_mj_m2.tolist() == pytest.approx([27.0] * 8)
    assert record.notes[1:3] == (
        "days are counted in UTC, not in local time",
        "rain: 1 missing days counted as dry",
    )
    assert record.cautions[0] == "the file is of latitude 36.8, the house of 40, which is used"
    assert (
        record.notes[-1]
        == "wind not given on 1 days: the mean of the world's stations, as FAO-56 chapter 3 has it"
    )


def test_power_radiation_without_a_unit_is_not_used(tmp_path: Path) -> None:
    rows = power()
    rows[11] = "ALLSKY_SFC_SW_DWN     All Sky Surface Shortwave Downward Irradiance (lux)"
    record = weather.read(write(tmp_path, rows))
    assert record.solar_mj_m2 is None
    assert record.notes[1] == "radiation not used: its unit in the header is lux"


POWER_FAULTS: list[tuple[str, str, str]] = [
    ("-END HEADER-", "end of header", "no -END HEADER- followed by columns"),
    ("Daily Data", "Hourly Data", "Hourly Data']; allowed are daily files"),
    ("T2M_MIN", "T2M", "line 14: columns YEAR, MO, DY, T2M_MAX, T2M, "),
    ("YEAR,MO,DY", "YEAR,MONTH,DY", "no columns YEAR, MO, DY or YEAR, DOY"),
    ("2019,6,3,", "2019,6,31,", "line 17: YEAR-MO-DY '2019-6-31'; allowed is a calendar day"),
    ("2019,6,3,", "2019,6,2,", "line 17: 2019-06-02 appears twice"),
    ("28.3,17.3", "17.0,17.3", "line 17: Tmax 17 deg C is below Tmin 17.3 deg C"),
    ("28.3,17.3", "98.3,17.3", "line 17: tmax 98.3 deg C on 2019-06-03; allowed are -90 to 60"),
    ("28.3,17.3", "warm,17.3", "line 17: T2M_MAX 'warm'; allowed is a number"),
    ("28.3,17.3", "28.3", "line 17: 8 columns found; the header has 9"),
]


@pytest.mark.parametrize(("old", "new", "message"), POWER_FAULTS)
def test_power_faults(tmp_path: Path, old: str, new: str, message: str) -> None:
    rows = [row.replace(old, new) if old in row else row for row in power()]
    assert message in refusal(write(tmp_path, rows))


# EPW


EPW_HEADER = """\
LOCATION,Marl Hollow,-,XXX,invented,000000,32.40,-97.00,-6.0,180.0
DESIGN CONDITIONS,0
TYPICAL/EXTREME PERIODS,0
GROUND TEMPERATURES,0
HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0
COMMENTS 1,our own numbers
COMMENTS 2,
DATA PERIODS,1,1,Data,Sunday,1/1,12/31""".splitlines()


def epw_row(day: datetime.date, hour: int, **fields: object) -> str:
    """One hour: 15 degrees and 5 up or down, a fine sun, rain at three in the morning."""
    temp = 15.0 - 5.0 * np.cos(2 * np.pi * (hour - 3) / 24)
    sun = max(0.0, 700.0 * np.sin(np.pi * (hour - 6.5) / 12)) if 6 < hour < 19 else 0.0
    cells: list[object] = [day.year, day.month, day.day, hour, 60, "?9?9", f"{temp:.2f}", 8.0, 63]
    cells += [99000, 0, 0, 300, f"{sun:.1f}", 0, 0, 0, 0, 0, 0, 180, 3.0]
    cells += [5, 5, 20, 77777, 9, 999999999, 0, 0, 0, 88, 0, 2.0 if hour == 3 else 0.0, 1]
    names = {"temp": 6, "dew": 7, "rh": 8, "solar": 13, "wind": 21, "rain": 33}
    for name, given in fields.items():
        cells[names[name]] = given
    return ",".join(str(cell) for cell in cells)


def epw(count: int = 12, **fields: object) -> list[str]:
    days = [datetime.date(2011, 2, 24) + i * DAY for i in range(count)]
    return EPW_HEADER + [epw_row(day, hour, **fields) for day in days for hour in range(1, 25)]


def test_epw(tmp_path: Path) -> None:
    rows = epw()
    assert len(rows[8].split(",")) == 35
    record = weather.read(write(tmp_path, rows, "hollow.epw"))
    assert (record.first_day, record.days) == (datetime.date(2011, 2, 24), 12)
    assert record.latitude_deg == 32.4
    assert record.rain_mm.tolist() == [2.0] * 12
    assert (record.tmin_c[0], record.tmax_c[0]) == (10.0, 20.0)
    assert record.vapour_kpa is not None
    assert record.vapour_kpa[0] == pytest.approx(float(et0.saturation_vapour_kpa(8.0)))
    assert record.wind_2m_m_s is not None
    assert record.wind_2m_m_s[0] == pytest.approx(3.0 * 0.748, rel=1e-3)
    assert record.notes == (
        "EPW: most are a typical year, not a real one; dated 2011 here",
        "ET0 estimated by Penman-Monteith (FAO-56 eq. 6) from humidity, wind, radiation and "
        "temperature at 32.4 degrees",
    )
    assert 1.0 < record.et0_mm[0] < 6.0


def test_hours_of_an_epw_are_used_as_hours(tmp_path: Path) -> None:
    rows = epw()
    # The last day without rain, the one before without one hour of radiation.
    rows[-24:] = [row.replace(",2.0,1", ",0.0,1") for row in rows[-24:]]
    last_but_one = datetime.date(2011, 3, 6)
    rows[-37] = epw_row(last_but_one, 12, solar=9999)
    record = weather.read(write(tmp_path, rows))
    hours = hourly.hourly(record, seed=1)
    rain, temp, et = (v.reshape(-1, 24) for v in (hours.rain_mm, hours.temp_c, hours.et0_mm))
    assert np.all(rain[:-1, 2] == 2.0)
    assert rain.sum() == pytest.approx(2.0 * 11)
    assert temp[0, 2] == 10.0
    assert temp[0, 14] == 20.0
    assert et.sum(axis=1).tolist() == pytest.approx(record.et0_mm.tolist())
    assert record.hours is not None
    by_sun = record.hours.solar_mj_m2[0] / record.hours.solar_mj_m2[0].sum()
    np.testing.assert_allclose(et[0] / et[0].sum(), by_sun)
    # Without its radiation whole, a day follows the sun's height and its ET0 the temperatures.
    assert record.solar_mj_m2 is not None
    assert np.isnan(record.solar_mj_m2[-2])
    assert "radiation not given on 1 days: from the range of temperature" in record.notes[-1]
    assert et[-2, 0] == 0.0 < et[-2, 12]
    part = record.span(datetime.date(2011, 2, 26), datetime.date(2011, 2, 27))
    assert part.hours is not None
    assert part.hours.temp_c.shape == (2, 24)
    twice = record.picked(datetime.date(2011, 2, 22), [0, 1, *range(12)])
    assert len(hourly.hourly(twice, 1).temp_c) == 14 * 24


def test_rain_taken_from_elsewhere_wins_over_the_hours_of_an_epw(tmp_path: Path) -> None:
    record = dataclasses.replace(
        weather.read(write(tmp_path, epw(rain=0.0))), rain_mm=np.full(12, 6.0)
    )
    rain = hourly.hourly(record, seed=1).rain_mm.reshape(-1, 24)
    assert rain.sum(axis=1).tolist() == pytest.approx([6.0] * 12)


@pytest.mark.parametrize("rain", [0.0, 999, ""])
def test_epw_without_rain_says_so(tmp_path: Path, rain: object) -> None:
    record = weather.read(write(tmp_path, epw(30, rain=rain)))
    assert record.rain_mm.sum() == 0.0
    assert any("no rain on any of its 30 days" in line for line in record.cautions)


def test_old_epw_that_ends_before_the_rain(tmp_path: Path) -> None:
    rows = EPW_HEADER + [",".join(row.split(",")[:32]) for row in epw(30)[8:]]
    record = weather.read(write(tmp_path, rows))
    assert record.notes[1] == "rain: 720 missing hours counted as dry"
    assert any("no rain on any of its 30 days" in line for line in record.cautions)


def test_epw_of_months_from_several_years_is_no_real_year(tmp_path: Path) -> None:
    rows = [row.replace("2011,3,", "1998,3,") for row in epw()]
    record = weather.read(write(tmp_path, rows))
    assert record.first_day == datetime.date(2001, 2, 24)
    assert record.notes[0] == (
        "EPW: no real year: its months come from 2 years (1998 to 2011); dated 2001 here"
    )


def test_epw_with_a_leap_day_of_one_year_in_another(tmp_path: Path) -> None:
    days = [(2008, 2, 28), (2008, 2, 29), (2005, 3, 1)]
    rows = [epw_row(datetime.date(*day), hour) for day in days for hour in range(1, 25)]
    record = weather.read(write(tmp_path, EPW_HEADER + rows))
    assert record.first_day == datetime.date(2004, 2, 28)


def test_epw_short_gap_of_temperature(tmp_path: Path) -> None:
    rows = epw()
    for at in range(20, 26):
        rows[8 + at] = rows[8 + at].replace(rows[8 + at].split(",")[6], "99.9", 1)
    record = weather.read(write(tmp_path, rows))
    assert record.notes[1] == "temperature: 6 missing hours interpolated"
    rows[8 + 26] = rows[8 + 26].replace(rows[8 + 26].split(",")[6], "99.9", 1)
    assert "line 35: temperature missing; allowed are gaps of 6 hours" in refusal(
        write(tmp_path, rows)
    )


def test_humidity_stands_in_for_a_missing_dew_point(tmp_path: Path) -> None:
    record = weather.read(write(tmp_path, epw(dew=99.9, rh=50)))
    assert record.vapour_kpa is not None
    temp = np.array([15.0 - 5.0 * np.cos(2 * np.pi * (hour - 3) / 24) for hour in range(1, 25)])
    mean = float(et0.saturation_vapour_kpa(temp).mean()) / 2
    assert record.vapour_kpa[0] == pytest.approx(mean, rel=1e-3)


EPW_FAULTS: list[tuple[Callable[[list[str]], list[str]], str]] = [
    (lambda rows: ["LOCATION,nowhere", *rows[1:]], "line 1: 'LOCATION,nowhere'; allowed is a LOC"),
    (lambda rows: [rows[0].replace("32.40", "132.4"), *rows[1:]], "allowed is a LOCATION line"),
    (lambda rows: rows[:7], "no DATA PERIODS line"),
    (lambda rows: rows[:8], "no hours found"),
    (lambda rows: [*rows[:7], "DATA PERIODS,1,4,Data", *rows[8:]], "line 8: 'DATA PERIODS,1,4,"),
    (lambda rows: rows[:-1], "line 295: hour 23; allowed are hours 1 to 24"),
    (lambda rows: rows[:20] + rows[21:], "line 21: hour 14; allowed are hours 1 to 24"),
    (lambda rows: rows[:32] + rows[56:], "its days are not one after another"),
    (lambda rows: [*rows[:9], "2011,2,24,2", *rows[10:]], "line 10: 4 fields; allowed are 35"),
    (lambda rows: [*rows[:9], rows[9].replace(",8.0,", ",dew,"), *rows[10:]], "line 10: could not"),
    (
        lambda rows: [*rows[:9], rows[9].replace(",3.0,", ",-3,"), *rows[10:]],
        "line 10: field 22 is",
    ),
]


@pytest.mark.parametrize(("change", "message"), EPW_FAULTS)
def test_epw_faults(tmp_path: Path, change: Callable[[list[str]], list[str]], message: str) -> None:
    assert message in refusal(write(tmp_path, change(epw())))


# More columns in a plain table


def test_plain_table_with_humidity_wind_and_radiation(tmp_path: Path) -> None:
    header = "date,rain,tmin,tmax,RH_min (%),RH_max (%),wind_2m_m_s,Rs (MJ/m2/d)"
    rows = [header, "2015-07-06,0,12.3,21.5,63,84,2.078,22.07", "2015-07-07,0,12.3,21.5,,,,"]
    record = weather.read(write(tmp_path, rows), latitude_deg=50.8, elevation_m=100.0)
    assert record.et0_mm[0] == pytest.approx(3.88, abs=0.005)  # FAO-56, example 18
    filled = float(et0.penman_monteith_mm(12.3, 21.5, 50.8, 188, elevation_m=100.0))
    assert record.et0_mm[1] == pytest.approx(filled)
    assert record.notes[1:] == (
        "humidity not given on 1 days: dew point at Tmin, as FAO-56 chapter 3 has it",
        "wind not given on 1 days: the mean of the world's stations, as FAO-56 chapter 3 has it",
        "radiation not given on 1 days: from the range of temperature, as FAO-56 chapter 3 has it",
    )


@pytest.mark.parametrize(
    ("columns", "cells", "kpa"),
    [
        ("dew", "9", 1.1481),
        ("rh", "60", 1.1985),
        ("dew,rh_min,rh_max", "9,63,84", 1.1481),
        ("rh,rh_min,rh_max", "60,63,84", 1.4086),
        ("dew,rh", ",60", 1.1985),
    ],
)
def test_the_best_measure_of_humidity_wins(
    tmp_path: Path, columns: str, cells: str, kpa: float
) -> None:
    rows = [f"date,rain,tmin,tmax,{columns}", f"2015-07-06,0,12.3,21.5,{cells}"]
    vapour = weather.read(write(tmp_path, rows), latitude_deg=50.8).vapour_kpa
    assert vapour is not None
    assert vapour[0] == pytest.approx(kpa, abs=2e-4)


def test_columns_whose_unit_or_height_is_not_said_are_not_used(tmp_path: Path) -> None:
    rows = ["date,rain,tmin,tmax,wind,radiation", "2015-07-06,0,12,21,9,310"]
    path = write(tmp_path, rows)
    record = weather.read(path, latitude_deg=50.8)
    assert record.wind_2m_m_s is None
    assert record.solar_mj_m2 is None
    assert "Hargreaves" in record.notes[0]
    named = weather.read(path, latitude_deg=50.8, columns={"wind_10m": "wind"})
    assert "Penman-Monteith" in named.notes[0]
    with pytest.raises(WeatherError, match="line 2: solar 310 MJ/m2 on 2015-07-06; allowed are 0"):
        weather.read(path, latitude_deg=50.8, columns={"solar": "radiation"})
    with pytest.raises(WeatherError, match="elevation 99999: allowed are -500 to 9000 m"):
        weather.read(path, latitude_deg=50.8, elevation_m=99999)


def test_humidity_as_a_fraction_is_refused(tmp_path: Path) -> None:
    rows = ["date,rain,tmin,tmax,rh", "2015-07-06,0,12,21,0.6"]
    assert "rh is never above 0.6; allowed is humidity in percent" in refusal(
        write(tmp_path, rows), 50.8
    )


def test_the_files_own_et0_wins(tmp_path: Path) -> None:
    rows = ["date,rain,tmin,tmax,et0,rh", "2015-07-06,0,12,21,4.2,60"]
    record = weather.read(write(tmp_path, rows), latitude_deg=50.8)
    assert record.et0_mm.tolist() == [4.2]
    assert record.vapour_kpa is not None
    assert record.notes == ()
