"""Whatever is done to a weather file, reading it gives whole weather or one clear line."""

import datetime
import tempfile
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from evenclay.sim.weather import hourly
from evenclay.sim.weather import record as weather
from evenclay.sim.weather.daily import WeatherError
from tests.unit.test_weather_alike import ALIKE
from tests.unit.test_weather_formats import dly, epw, power

PLAIN = ["date,rain,tmin,tmax,rh,wind_2m"] + [
    f"2020-01-{d:02},{d % 3},2,{9 + d},70,2" for d in range(1, 12)
]
GHCN = [
    f"XX000000001,201201{d:02},{element},{value},,,N,"
    for d in range(1, 9)
    for element, value in (("PRCP", 5), ("TMAX", 90), ("TMIN", -20))
]
FILES = [dly(), power(), epw(4), PLAIN, GHCN]
FILES += [
    text.splitlines()
    for name, (text, _) in ALIKE.items()
    if isinstance(text, str) and name not in ("dly", "power", "epw")
]
CELLS = ["", "-9999", "1e999", "nan", "-", "x", "99999999", "-1", "0", "é", "2012-02-30", '"', "T"]
CELLS += ["1/2/2019", "date", "rain", "tmin (F)", "latitude", ";", "\t", "STATION", "°F", "\0"]

lines = st.integers(0, 400)
edits = st.one_of(
    st.tuples(st.just("drop"), lines, st.just("")),
    st.tuples(st.just("repeat"), lines, st.just("")),
    st.tuples(st.just("swap"), lines, st.just("")),
    st.tuples(st.just("cell"), lines, st.tuples(st.integers(0, 40), st.sampled_from(CELLS))),
    st.tuples(st.just("cut"), lines, st.integers(0, 280)),
    st.tuples(st.just("put"), lines, st.tuples(st.integers(0, 280), st.sampled_from(CELLS))),
)


def edited(rows: list[str], what: str, at: int, how: object) -> list[str]:
    rows = list(rows)
    i = at % len(rows)
    if what == "drop" and len(rows) > 1:
        del rows[i]
    elif what == "repeat":
        rows.insert(i, rows[i])
    elif what == "swap":
        rows[i], rows[-1] = rows[-1], rows[i]
    elif what == "cut" and isinstance(how, int):
        rows[i] = rows[i][:how]
    elif isinstance(how, tuple):
        place, text = how
        if what == "cell":
            cells = rows[i].split(",")
            cells[place % len(cells)] = text
            rows[i] = ",".join(cells)
        else:
            rows[i] = rows[i][:place] + text + rows[i][place + len(text) :]
    return rows


@given(st.sampled_from(FILES), st.lists(edits, min_size=1, max_size=4))
def test_whole_weather_or_one_line(rows: list[str], changes: list[tuple[str, int, object]]) -> None:
    for what, at, how in changes:
        rows = edited(rows, what, at, how)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "weather"
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
        try:
            record = weather.read(path, latitude_deg=40.0)
        except WeatherError as error:
            refused = str(error)
        else:
            refused = ""
    if refused:
        assert refused.startswith(str(path))
        assert "\n" not in refused
        return
    assert not any("\n" in line for line in (*record.notes, *record.cautions))
    assert record.days >= 1
    assert isinstance(record.first_day, datetime.date)
    for values in (record.rain_mm, record.tmin_c, record.tmax_c, record.et0_mm):
        assert values.shape == (record.days,)
        assert np.all(np.isfinite(values))
    assert np.all(record.tmax_c >= record.tmin_c)
    assert np.all((record.et0_mm >= 0.0) & (record.rain_mm >= 0.0))
    hours = hourly.hourly(record, seed=1)
    for values in (hours.rain_mm, hours.temp_c, hours.et0_mm):
        assert values.shape == (24 * record.days,)
        assert np.all(np.isfinite(values))
