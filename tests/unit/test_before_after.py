"""Two files of one house as before and after: what changed in the file, and what that does."""

import json
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from evenclay.sim.judge.verdict import UNREST
from evenclay.tools.cli.commands import app
from evenclay.tools.plan import compare as comparing
from evenclay.tools.plan import workers
from evenclay.tools.plan.before_after import judged, page
from evenclay.tools.property.changed import NOTHING, RECKONED, changes
from tests.unit.test_units import here, house, own_units_only, run, shorter, words

DEMO = (Path(__file__).parents[2] / "sim" / "demo" / "property.toml").read_text("utf-8")


def told(before: str, after: str) -> dict[str, tuple[str, str]]:
    return {one.key: (one.before, one.after) for one in changes(before, after)}


def test_comments_spaces_and_order_are_no_change() -> None:
    lines = DEMO.replace("\n[zones.west]", "\n# mine\n[zones.west]").replace("  #", " #")
    assert lines != DEMO and not changes(DEMO, lines)
    zone = 'supply = "back"\nside = "west"\n'
    turned = DEMO.replace(zone, 'side = "west"\nsupply = "back"\n')
    assert turned != DEMO and not changes(DEMO, turned)


def test_what_changed_is_named_as_an_owner_reads_it() -> None:
    after = DEMO.replace("length = 22 ", 'length = "80 ft" ').replace("minutes = 17", "minutes = 9")
    after = after.replace('cover = "mulched"', "").replace("target_pf = 3.55", "target_pf = 3.5")
    after = after.replace('side = "north", distance = 2.0', 'side = "north", distance = 3')
    season = '[[seasons]]\nfrom = "08-01"\ncycles = 2\nminutes = 9\nwindow = "22:00-08:00"\n\n'
    after = after.replace('[[seasons]]\nfrom = "03-15"', season + '[[seasons]]\nfrom = "03-15"')
    assert told(DEMO, after) == {
        "zones.west.length": ("22", "80 ft"),
        "zones.north.cover": ("mulched", NOTHING),
        "zones.north.ground.target_pf": ("3.55", "3.5"),
        "seasons from 07-01: minutes": ("17", "9"),
        "seasons from 08-01: cycles": (NOTHING, "2"),
        "seasons from 08-01: minutes": (NOTHING, "9"),
        "seasons from 08-01: window": (NOTHING, "22:00-08:00"),
        "site.downspouts[1].distance": ("2.0", "3"),
    }


PAVING = st.lists(st.tuples(st.integers(1, 2), st.integers(6, 7), st.integers(8, 9)), max_size=3)


@given(PAVING, PAVING)
def test_paving_that_differs_is_told(
    before: list[tuple[int, int, int]], after: list[tuple[int, int, int]]
) -> None:
    """Also where several begin at the same distance."""

    def text(parts: list[tuple[int, int, int]]) -> str:
        row = "[[outline.paving]]\nside = {}\nfrom = {}\nto = {}\n"
        return "".join(row.format(*part) for part in parts)

    found = told(text(before), text(after))
    differ = {
        f"outline.paving[{number}].{key}": (str(was), str(now))
        for number, pair in enumerate(zip(before, after, strict=False), 1)
        for key, was, now in zip(("side", "from", "to"), *pair, strict=True)
        if was != now
    }
    longer, both = max(before, after, key=len), min(len(before), len(after))
    for number, part in enumerate(longer[both:], both + 1):
        for key, value in zip(("side", "from", "to"), part, strict=True):
            sides = (str(value), NOTHING) if longer is before else (NOTHING, str(value))
            differ[f"outline.paving[{number}].{key}"] = sides
    assert found == differ


def test_numbers_of_the_hub_are_told_as_one() -> None:
    after = DEMO.replace("level_pf = 3", "level_pf = 4")
    assert told(DEMO, after) == {RECKONED: ("4 numbers", "others")}
    without = "\n".join(line for line in DEMO.splitlines() if not line.startswith("ground = "))
    assert told(DEMO, without) == {RECKONED: ("36 numbers", NOTHING)}


def weather_of(before: list[float], after: list[float], **more: Any) -> dict[str, Any]:
    """One weather of `before_after.json`: unrest on each ground, and what `more` says of a side."""

    def side(values: list[float], litres: float, broken: list[str]) -> dict[str, Any]:
        low, middle, high = sorted(values)[0], sorted(values)[len(values) // 2], max(values)
        return {
            UNREST: {"p10": low, "p50": middle, "p90": high},
            "litres_a_year": {"p10": litres, "p50": litres, "p90": litres},
            "by_ground": {UNREST: values},
            "broken": broken,
            "sentences": [f"{name} of 99" for name in broken],
            "cautious": False,
        }

    return {
        "weather": "town.csv",
        "invented": False,
        "record_days": 2192,
        "years": 25,
        "before": side(before, 1000.0, more.get("was", [])),
        "after": side(after, more.get("litres", 1000.0), more.get("is_now", [])),
    }


FOUND: Mapping[str, Any] = {"grounds": 4, "units": "metric", "currency": None}


def found_of() -> dict[str, Any]:
    """All of a `before_after.json` on sixteen grounds, invented."""
    before = [60.0 + 3 * number for number in range(16)]
    after = [value - 12 + value % 7 for value in before]
    weather = weather_of(before, after, litres=900.0, is_now=["days_soaked"])
    for side in judged.SIDES:
        for key in ("unrest_worst_year_pct", "movement_pct", "tilt_pct", "excursion_pct"):
            weather[side][key] = weather[side][UNREST]
        weather[side]["money_a_year"] = {"p10": 1.0, "p50": 2.0, "p90": 3.0}
    changed = DEMO.replace("length = 22 ", 'length = "80 ft" ').replace(
        "minutes = 17", "minutes = 9"
    )
    return {
        "house": "A house with a long name, at a place with a longer one",
        "files": ["a/property.toml", "b/property.toml"],
        "grounds": 16,
        "units": "us",
        "currency": "$",
        "same_zones": False,
        "changes": [vars(one) for one in changes(DEMO, changed)],
        "notes": ["A note."],
        "weathers": [weather],
    }


def test_tilt_that_goes_the_other_way_is_told() -> None:
    weather = weather_of([60.0, 61.0, 62.0, 63.0], [50.0, 51.0, 52.0, 53.0])
    for side, tilt in zip(judged.SIDES, (76.0, 95.0), strict=True):
        weather[side]["tilt_pct"] = {"p10": tilt, "p50": tilt, "p90": tilt}
        weather[side]["movement_pct"] = {"p10": None, "p50": None, "p90": None}
    verdict = judged.verdict_of(dict(FOUND), weather)
    assert verdict.startswith("Better") and "; but tilt goes from 76 to 95;" in verdict
    weather["before"], weather["after"] = weather["after"], weather["before"]
    weather["before"]["by_ground"], weather["after"]["by_ground"] = (
        {UNREST: [50.0, 51.0]},
        {UNREST: [60.0, 61.0]},
    )
    verdict = judged.verdict_of(dict(FOUND), weather)
    assert verdict.startswith("Worse") and "; but tilt goes from 95 to 76;" in verdict
    weather["after"]["tilt_pct"]["p50"] = 91.0
    assert "tilt" not in judged.verdict_of(dict(FOUND), weather)


def test_but_stands_only_before_what_goes_another_way_than_what_is_said_before_it() -> None:
    """Unrest falls, and a limit breaks: the verdict is worse, and less tilt is no "but" of it."""
    weather = weather_of([86.0] * 4, [83.0] * 4, is_now=["days_soaked"])
    for tilts, told in (((93.0, 77.0), False), ((77.0, 93.0), True)):
        for side, tilt in zip(judged.SIDES, tilts, strict=True):
            weather[side]["tilt_pct"] = {"p10": tilt, "p50": tilt, "p90": tilt}
        verdict = judged.verdict_of(dict(FOUND), weather)
        assert verdict.startswith("Worse, and a limit is broken") and "86 to 83" in verdict
        assert ("but tilt goes from 77 to 93" in verdict) == told == ("but" in verdict)
    weather = weather_of([86.0] * 4, [86.0] * 4, was=["days_soaked"])
    for side, tilt in zip(judged.SIDES, (77.0, 93.0), strict=True):
        weather[side]["tilt_pct"] = {"p10": tilt, "p50": tilt, "p90": tilt}
    verdict = judged.verdict_of(dict(FOUND), weather)
    assert verdict.startswith("Better") and "but tilt goes from 77 to 93" in verdict


@pytest.mark.parametrize(("days", "years", "shown"), [(9131, 25, 1), (730, 25, 0), (3652, 9, 0)])
def test_a_worst_year_of_ten_takes_ten_years_of_weather(days: int, years: int, shown: int) -> None:
    found = found_of()
    (weather,) = found["weathers"]
    weather["record_days"], weather["years"] = days, years
    assert sum("worst year" in what for what, *_ in judged.rows(found, weather)) == shown


@pytest.mark.parametrize(("grounds", "few"), [(2, True), (16, False)])
def test_few_grounds_are_not_told_as_tenths(grounds: int, few: bool) -> None:
    text = page.page_of(found_of() | {"grounds": grounds})
    assert ("range of the few grounds" in text) == few == ("eight of ten grounds" not in text)


def test_what_breaks_a_limit_is_marked_on_its_side_and_a_record_lived_again_is_named() -> None:
    found = found_of()
    (weather,) = found["weathers"]
    weather["before"]["broken"], weather["after"]["broken"] = ["tilt_added_pct"], ["days_soaked"]
    weather["before"]["days_soaked"] = weather["after"]["days_soaked"] = weather["before"][UNREST]
    marked = {
        what: [text.endswith("!") for text in both] for what, *both in judged.rows(found, weather)
    }
    assert marked.pop("Tilt, %") == [True, False]
    assert marked.pop("Soaked days a year") == [False, True]
    assert not any(map(any, marked.values()))
    again = "town.csv: 6 years, lived again and again: 25 years, 16 plausible grounds"
    assert page.period_of(found, weather) == again
    weather["record_days"] = 9000
    assert page.period_of(found, weather).startswith("town.csv: 24.6 years, some lived twice: 25 ")
    weather["record_days"] = 9900
    assert page.period_of(found, weather) == "town.csv: 25 years, 16 plausible grounds"


unrests = st.lists(st.floats(10, 190), min_size=4, max_size=4)


@given(unrests, unrests)
def test_better_one_way_is_worse_the_other(before: list[float], after: list[float]) -> None:
    said, turned = [
        judged.verdict_of(dict(FOUND), weather_of(*pair)).partition(":")[0]
        for pair in ((before, after), (after, before))
    ]
    opposite = {"Better": "Worse", "Worse": "Better", "No clear difference": "No clear difference"}
    assert turned == opposite[said]
    if said == "Better":
        assert sum(b < a for a, b in zip(before, after, strict=True)) >= 3


def test_verdicts() -> None:
    calm, restless = [70.0, 71.0, 72.0, 73.0], [80.0, 81.0, 82.0, 83.0]
    said = judged.verdict_of(dict(FOUND), weather_of(restless, calm, litres=1800.0))
    assert said == (
        "Better: unrest goes from 82 to 72, where leaving the house alone is 100, and is less on "
        "4 of 4 grounds; it takes 800 L more a year."
    )
    soaks = weather_of(restless, calm, is_now=["days_soaked"], litres=1000.2)
    assert judged.verdict_of(dict(FOUND), soaks) == (
        "Worse, and a limit is broken: days_soaked of 99, a limit that was kept before; unrest "
        "goes from 82 to 72, where leaving the house alone is 100, and is less on 4 of 4 grounds; "
        "the water stays the same."
    )
    twice = weather_of(restless, calm, was=["tilt_pct", UNREST], is_now=[UNREST, "tilt_pct"])
    assert judged.verdict_of(dict(FOUND), twice).startswith(
        f"Better, but limits are broken: {UNREST} of 99, a limit that was broken before too; tilt_"
    )
    still_soaked = weather_of(calm, calm, was=["days_soaked"], is_now=["days_soaked"])
    said = judged.verdict_of(dict(FOUND), still_soaked)
    assert said.startswith("No clear difference, and a limit is broken: ")
    mends = weather_of(calm, restless, was=["days_soaked"])
    assert judged.verdict_of(dict(FOUND), mends).startswith("Better: unrest goes from 72 to 82")
    same = judged.verdict_of(dict(FOUND), weather_of(calm, [x + 0.2 for x in calm]))
    assert same.startswith("No clear difference: unrest stays 72, where")
    still = weather_of(calm, calm)
    still["after"]["by_ground"][UNREST] = [None] * 4
    assert "hardly moves unwatered" in judged.verdict_of(dict(FOUND), still)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_command(units: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "processes", here)
    monkeypatch.setattr(comparing, "jobs_of", partial(comparing.jobs_of, years=2))
    before = house(tmp_path, units)
    after = tmp_path / "after.toml"
    text = before.read_text("utf-8").replace("minutes = 14", "minutes = 10")
    after.write_text(text.replace('name = "Either', 'name = "New <b> Either'), "utf-8")
    out = tmp_path / "out"
    args = ("--weather", str(shorter(tmp_path, 2)), "--grounds", "2", "--out", str(out))
    status, text = run("compare", str(before), str(after), *args)
    assert status == 0, text
    own_units_only(text, units, 60)
    html = (out / "before_after.html").read_text("utf-8")
    own_units_only(words(html), units, 150)
    assert "New &lt;b&gt; Either" in html and html.count("<svg") == 1
    found = json.loads((out / "before_after.json").read_text("utf-8"))
    keys = [change["key"] for change in found["changes"]]
    assert keys == ["site.name", *[f"seasons from {day} 1: minutes" for day in ("April", "June")]]
    (weather,) = found["weathers"]
    verdict = judged.verdict_of(found, weather)
    assert verdict in " ".join(text.split()) and verdict.partition(": ")[2] in words(html)
    assert len(judged.pairs_of(weather, UNREST)) == 2
    litres = [weather[side]["litres_a_year"]["p50"] for side in judged.SIDES]
    assert litres[1] < litres[0]  # fewer minutes in a file that does not reckon
    assert page.page_of(found) == html
    status, text = run("compare", str(before), str(before), *args)
    assert status == 2


@pytest.mark.parametrize(
    ("files", "more", "said"),
    [
        ("aa", (), "say the same, allowed two that differ"),
        ("aba", (), "found 3 property files, allowed one, or two"),
        ("ab", ("--plan", "b.toml"), "allowed beside one"),
    ],
)
def test_nonsense_is_one_line(
    files: str, more: tuple[str, ...], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(workers, "processes", here)
    for name in "ab":
        Path(f"{name}.toml").write_text(DEMO.replace("Cotter", name), "utf-8")
    weather = ("--weather", str(shorter(tmp_path, 2)), "--out", "out", *more)
    result = CliRunner().invoke(app, ["compare", *[f"{name}.toml" for name in files], *weather])
    assert (result.exit_code, result.stdout, result.stderr.count("\n")) == (2, "", 1)
    assert said in result.stderr
    assert not Path("out").exists()
