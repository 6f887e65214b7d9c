"""Reading weather files: both formats, every repair and every refusal."""

import datetime
import gzip
from pathlib import Path

import numpy as np
import pytest

from evenclay.sim.weather import record as weather
from evenclay.sim.weather.daily import WeatherError

PLAIN = "date,rain,tmin,tmax,et0\n"


def days_of(first: str, count: int) -> list[datetime.date]:
    start = datetime.date.fromisoformat(first)
    return [start + datetime.timedelta(days=i) for i in range(count)]


def plain(count: int = 5, without: tuple[int, ...] = ()) -> str:
    rows = [
        f"{day},{i}.5,{i},{i + 10},{i / 10}\n"
        for i, day in enumerate(days_of("2020-02-27", count))
        if i not in without
    ]
    return PLAIN + "".join(rows)


def write(tmp_path: Path, text: str, name: str = "weather.csv") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_plain_file(tmp_path: Path) -> None:
    record = weather.read(write(tmp_path, plain()))
    assert record.first_day == datetime.date(2020, 2, 27)
    assert record.last_day == datetime.date(2020, 3, 2)
    assert record.days == 5
    assert record.rain_mm.tolist() == [0.5, 1.5, 2.5, 3.5, 4.5]
    assert record.tmin_c.tolist() == [0, 1, 2, 3, 4]
    assert record.tmax_c.tolist() == [10, 11, 12, 13, 14]
    assert record.et0_mm.tolist() == pytest.approx([0.0, 0.1, 0.2, 0.3, 0.4])
    assert record.notes == ()


HEADERS = [
    "Date;Precipitation (mm);T_min [°C];T_max [°C];ETo",
    "day,PRCP,TMIN,TMAX,ET0",
    "DATE\tprecip_mm\ttemp_min_c\ttemp_max_c\teto_mm",
    "datetime rain_mm_d min_temp max_temp et_ref",
    '"date","rainfall","tn","tx","ref_et"',
]


@pytest.mark.parametrize("header", HEADERS)
def test_common_names_and_separators(tmp_path: Path, header: str) -> None:
    separator = next((sign for sign in ";,\t" if sign in header), " ")
    rows = [separator.join(["2020-01-0" + str(i), "1.5", "-2", "8", "0.7"]) for i in (1, 2)]
    record = weather.read(write(tmp_path, "\n".join([header, *rows]) + "\n"))
    assert record.rain_mm.tolist() == [1.5, 1.5]
    assert record.tmin_c.tolist() == [-2.0, -2.0]
    assert record.tmax_c.tolist() == [8.0, 8.0]
    assert record.et0_mm.tolist() == [0.7, 0.7]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("2020-01-31", "2020-02-01"),
        ("2020-01-31T00:00:00", "2020-02-01T00:00:00"),
        ("2020/1/31", "2020/2/1"),
        ("31.01.2020", "01.02.2020"),
        ("20200131", "20200201"),
    ],
)
def test_date_layouts(tmp_path: Path, first: str, second: str) -> None:
    text = f"{PLAIN}{first},0,1,2,1\n{second},0,1,2,1\n"
    record = weather.read(write(tmp_path, text))
    assert (record.first_day, record.days) == (datetime.date(2020, 1, 31), 2)


def test_year_month_day_columns_between_blanks(tmp_path: Path) -> None:
    text = (
        "Day Month Year Tmin(C) Tmax(C) Prcp(mm) Et0(mm)\n28 2 2019 1 9 0.5 2\n1 3 2019 2 9 0 2\n"
    )
    record = weather.read(write(tmp_path, text, "climate.txt"))
    assert (record.first_day, record.days) == (datetime.date(2019, 2, 28), 2)
    assert record.rain_mm.tolist() == [0.5, 0.0]


def test_decimal_comma_behind_semicolons(tmp_path: Path) -> None:
    text = "date;rain;tmin;tmax;et0\n01.05.2020;1,5;-0,5;9,25;2,0\n02.05.2020;0;1;9;2\n"
    record = weather.read(write(tmp_path, text))
    assert (record.rain_mm[0], record.tmin_c[0], record.tmax_c[0]) == (1.5, -0.5, 9.25)


def test_line_of_units_comments_and_blank_lines(tmp_path: Path) -> None:
    text = "# station 7\n\ndate,rain,tmin,tmax,et0\n[-],mm,C,C,mm\n2020-01-01,1,2,3,1\n\n"
    record = weather.read(write(tmp_path, text + "2020-01-02,1,2,3,1\n"))
    assert record.days == 2
    assert record.notes == ("line 4 holds units, not a day",)


def test_other_names_are_mapped(tmp_path: Path) -> None:
    text = "when,P_mm,cold,hot,et0\n2020-01-01,1,2,3,1\n2020-01-02,4,2,3,1\n"
    path = write(tmp_path, text)
    names = {"date": "when", "rain": "P_mm", "tmin": "cold", "tmax": "hot"}
    assert weather.read(path, columns=names).rain_mm.tolist() == [1.0, 4.0]
    with pytest.raises(WeatherError, match=r"line 1: no column for rain, tmin, tmax.*P_mm"):
        weather.read(path)
    with pytest.raises(WeatherError, match=r"line 1: no column 'P'; found when, P_mm"):
        weather.read(path, columns={"rain": "P"})
    with pytest.raises(WeatherError, match=r"'snow': allowed are date, year"):
        weather.read(path, columns={"snow": "P_mm"})


def test_latin_1_file(tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_bytes(
        "date,rain,tmin (°C),tmax (°C),et0\n".encode("latin-1") + b"2020-01-01,1,2,3,1\n"
    )
    assert weather.read(path).days == 1


def test_short_gaps_are_filled_and_said(tmp_path: Path) -> None:
    text = plain(12, without=(2, 3)).replace("2020-03-04,6.5,6,16", "2020-03-04,,NA,-9999")
    record = weather.read(write(tmp_path, text))
    assert record.days == 12
    assert record.tmin_c.tolist() == pytest.approx(list(range(12)))
    assert record.tmax_c.tolist() == pytest.approx(list(range(10, 22)))
    assert record.rain_mm[[2, 3, 6]].tolist() == [0.0, 0.0, 0.0]
    assert record.notes == (
        "rain: 3 missing days counted as dry",
        "tmin: 3 missing days interpolated",
        "tmax: 3 missing days interpolated",
        "et0: 2 missing days interpolated",
    )


@pytest.mark.parametrize("gap", [7, 8])
def test_a_week_is_the_longest_gap(tmp_path: Path, gap: int) -> None:
    path = write(tmp_path, plain(20, without=tuple(range(5, 5 + gap))))
    if gap == 7:
        assert weather.read(path).days == 20
    else:
        with pytest.raises(WeatherError, match="rain missing for 8 days, 2020-03-03 to 2020-03-10"):
            weather.read(path)
        part = weather.read(path, last_day=datetime.date(2020, 3, 2))
        assert part.days == 5
        part = weather.read(path, first_day=datetime.date(2020, 3, 11))
        assert part.first_day == datetime.date(2020, 3, 11)


def test_days_at_the_ends_without_values_are_left_out(tmp_path: Path) -> None:
    text = f"{PLAIN}2020-01-01,1,,,1\n2020-01-02,1,2,3,1\n2020-01-03,1,2,3,1\n2020-01-04,,2,3,1\n"
    record = weather.read(write(tmp_path, text))
    assert (record.first_day, record.days) == (datetime.date(2020, 1, 2), 2)
    assert record.notes == ("2 days before the first or after the last whole day: left out",)


def test_trace_of_rain_is_none(tmp_path: Path) -> None:
    assert weather.read(write(tmp_path, f"{PLAIN}2020-01-01,T,2,3,1\n")).rain_mm.tolist() == [0.0]


def test_hargreaves_where_there_is_no_et0(tmp_path: Path) -> None:
    path = write(tmp_path, "date,rain,tmin,tmax\n2015-07-15,0,24,36\n")
    record = weather.read(path, latitude_deg=32.78)
    assert record.et0_mm[0] == pytest.approx(6.32447, abs=2e-5)  # FAO-56 eq. 52, computed
    assert record.latitude_deg == 32.78
    assert "Hargreaves" in record.notes[0]
    with pytest.raises(WeatherError, match="needs the latitude"):
        weather.read(path)
    with pytest.raises(WeatherError, match="allowed are -90 to 90"):
        weather.read(path, latitude_deg=91.0)


def test_et0_column_without_a_value_is_none(tmp_path: Path) -> None:
    path = write(tmp_path, f"{PLAIN}2015-07-15,0,24,36,\n")
    assert weather.read(path, latitude_deg=32.78).et0_mm[0] == pytest.approx(6.32447, abs=2e-5)


def test_span(tmp_path: Path) -> None:
    record = weather.read(write(tmp_path, plain()))
    first, last = datetime.date(2020, 2, 28), datetime.date(2020, 3, 1)
    part = record.span(first, last)
    assert (part.first_day, part.last_day, part.days) == (first, last, 3)
    assert part.rain_mm.tolist() == [1.5, 2.5, 3.5]
    with pytest.raises(WeatherError, match="covers 2020-02-27 to 2020-03-02"):
        record.span(first, datetime.date(2020, 3, 3))
    with pytest.raises(WeatherError, match="first day, 2020-03-01, is after the last, 2020-02-28"):
        record.span(last, first)


ROW = "2020-01-01,1,2,3,1\n"
BAD_ROWS = [
    (f"{ROW}2020-01-02,1,9,3,1\n", "line 3: Tmax 3 deg C is below Tmin 9 deg C; allowed is"),
    (f"{ROW}2020-01-02,-1,2,3,1\n", "line 3: rain -1 mm on 2020-01-02; allowed are 0 to 2000"),
    (f"{ROW}2020-01-02,2001,2,3,1\n", "line 3: rain 2001 mm on 2020-01-02"),
    (f"{ROW}2020-01-02,1,-91,3,1\n", "line 3: tmin -91 deg C on 2020-01-02; allowed are -90 to 60"),
    (f"{ROW}2020-01-02,1,2,61,1\n", "line 3: tmax 61 deg C on 2020-01-02; allowed are -90 to 60"),
    (f"{ROW}2020-01-02,1,2,3,-1\n", "line 3: et0 -1 mm on 2020-01-02; allowed are 0 to 40"),
    (f"{ROW}2020-01-02,wet,2,3,1\n", "line 3: rain 'wet'; allowed is a number"),
    (f"{ROW}2020-01-02,inf,2,3,1\n", "line 3: rain 'inf'; allowed is a number"),
    (f"{ROW}{ROW}", "line 3: 2020-01-01 appears twice; allowed is each day once, in order"),
    (f"{ROW}2019-12-31,1,2,3,1\n", "line 3: 2019-12-31 follows 2020-01-01; allowed is each day"),
    (f"{ROW}2020-02-30,1,2,3,1\n", "line 3: date '2020-02-30'; allowed are dates as 2012-01-31"),
    (f"{ROW}02/01/2020,1,2,3,1\n", "line 3: date '02/01/2020'; allowed are dates"),
    ("01/02/2020,1,2,3,1\n", "line 2: date '01/02/2020' has its month or its day first"),
    (f"{ROW}2020-01-02,1,2,3\n", "line 3: 4 columns found; the header has 5"),
    ("2020-01-01,,,,\n", "no day has all of rain, tmin, tmax"),
]


@pytest.mark.parametrize(("rows", "message"), BAD_ROWS)
def test_bad_rows(tmp_path: Path, rows: str, message: str) -> None:
    path = write(tmp_path, PLAIN + rows)
    with pytest.raises(WeatherError) as caught:
        weather.read(path)
    assert message in str(caught.value)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_bad_files(tmp_path: Path) -> None:
    with pytest.raises(WeatherError, match="cannot be read"):
        weather.read(tmp_path / "absent.csv")
    with pytest.raises(WeatherError, match="no daily rows found"):
        weather.read(write(tmp_path, ""))
    with pytest.raises(WeatherError, match="no daily rows found"):
        weather.read(write(tmp_path, PLAIN))
    with pytest.raises(WeatherError, match="two rain columns: rain, prcp"):
        weather.read(write(tmp_path, "date,rain,prcp,tmin,tmax\n2020-01-01,1,1,2,3\n"))
    with pytest.raises(WeatherError, match="no column for date"):
        weather.read(write(tmp_path, "rain,tmin,tmax\n1,2,3\n"))
    path = write(tmp_path, plain())
    with pytest.raises(WeatherError, match="covers 2020-02-27 to 2020-03-02, not 2019-01-01"):
        weather.read(path, first_day=datetime.date(2019, 1, 1))


def ghcn(count: int = 4, station: str = "US1FLSL0019") -> list[str]:
    rows = []
    for i, day in enumerate(days_of("2012-12-30", count)):
        stamp = day.strftime("%Y%m%d")
        rows += [
            f"{station},{stamp},PRCP,{i * 15},,,N,0700",
            f"{station},{stamp},TMAX,{100 + i},,,N,",
            f"{station},{stamp},TMIN,{i - 12},,,N,",
            f"{station},{stamp},SNOW,0,,,N,",
        ]
    return rows


def test_ghcn_daily(tmp_path: Path) -> None:
    rows = sorted(ghcn(), key=lambda row: row.split(",")[2])  # as the archive may: by element
    record = weather.read(write(tmp_path, "\n".join(rows), "station"), latitude_deg=40.0)
    assert (record.first_day, record.days) == (datetime.date(2012, 12, 30), 4)
    assert record.rain_mm.tolist() == pytest.approx([0.0, 1.5, 3.0, 4.5])
    assert record.tmax_c.tolist() == pytest.approx([10.0, 10.1, 10.2, 10.3])
    assert record.tmin_c.tolist() == pytest.approx([-1.2, -1.1, -1.0, -0.9])
    assert np.all(record.et0_mm > 0.0)


def test_compressed_file(tmp_path: Path) -> None:
    path = tmp_path / "station.csv.gz"
    packed = gzip.compress("\n".join(ghcn()).encode())
    path.write_bytes(packed)
    assert weather.read(path, latitude_deg=40.0).days == 4
    for damaged in (packed[:40], packed[:20] + b"\x00" * 40):
        path.write_bytes(damaged)
        with pytest.raises(WeatherError, match="a damaged gzip file"):
            weather.read(path, latitude_deg=40.0)


def test_ghcn_drops_what_its_archive_flags(tmp_path: Path) -> None:
    rows = ghcn(5)
    rows[4] = "US1FLSL0019,20121231,PRCP,99999,,X,N,0700"
    rows[9] = "US1FLSL0019,20130101,TMAX,-500,,,N,"  # below Tmin, but not flagged
    del rows[12]  # the rain of 2 January 2013
    record = weather.read(write(tmp_path, "\n".join(rows)), latitude_deg=40.0)
    assert record.days == 5
    assert record.rain_mm[[1, 3]].tolist() == [0.0, 0.0]
    assert record.tmax_c[2] == pytest.approx(10.2)
    assert record.notes[:4] == (
        "1 values failed the archive's quality checks: dropped",
        "Tmax below Tmin on 1 days: both dropped",
        "rain: 2 missing days counted as dry",
        "tmin: 1 missing days interpolated",
    )


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda rows: [*rows, rows[0]], r"line 17: PRCP of 20121230 appears twice"),
        (lambda rows: [row for row in rows if "PRCP" not in row], "no usable PRCP values"),
        (lambda rows: [*rows[:-4], rows[-4].replace("45", "4x")], "line 13: value '4x'"),
        (lambda rows: [rows[0].replace("1230", "1330"), *rows[1:]], "line 1: date '20121330'"),
        (lambda rows: [rows[0].replace("PRCP,0", "PRCP,-5"), *rows[1:]], "line 1: rain -0.5 mm"),
        (lambda rows: rows + ghcn(station="USW00094728"), "stations found: 2; allowed is one"),
    ],
)
def test_ghcn_errors(tmp_path: Path, change, message: str) -> None:  # type: ignore[no-untyped-def]
    path = write(tmp_path, "\n".join(change(ghcn())))
    with pytest.raises(WeatherError, match=message):
        weather.read(path, latitude_deg=40.0)
