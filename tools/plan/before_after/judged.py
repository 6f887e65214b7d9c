"""What a change in a property file does: both files on the same weather and the same grounds."""

from collections.abc import Sequence
from concurrent.futures import Executor

import numpy as np

from evenclay.sim.judge.measures import YEAR_DAYS
from evenclay.sim.judge.verdict import UNREST
from evenclay.sim.report.ways import HUB
from evenclay.sim.types import Line
from evenclay.sim.units import UNITS, money
from evenclay.sim.weather.daily import Weather
from evenclay.tools.plan import compare, compare_summary
from evenclay.tools.plan.workers import SweepError, Tell
from evenclay.tools.property.changed import changes
from evenclay.tools.property.property import Property

SCHEMA = 1
NOTABLE_PCT = 1.0  # less unrest or more, in the middle of the grounds: common practice, no source
AGAINST_PCT = 5.0  # by which movement or tilt goes the other way to be told: ours
WORST_OF = 10  # years that a record must have for the worst year of ten to be one of its own
SIDES = ("before", "after")
BROKEN_MARK = " !"  # behind a measure that breaks its limit
SURE = 0.75  # of the grounds that have to agree: common practice, no source


def pairs_of(weather: Line, measure: str) -> list[tuple[float, float]]:
    """A measure before and after on each ground; grounds where it has no meaning are left out."""
    both = [weather[side]["by_ground"][measure] for side in SIDES]
    return [(a, b) for a, b in zip(*both, strict=True) if a is not None and b is not None]


def live(
    files: Sequence[Property],
    records: Sequence[tuple[str, Weather]],
    invented: int,
    grounds: int,
    seed: int,
    executor: Executor,
    tell: Tell,
) -> Line:
    """Let both files live on all weathers and grounds, and put together what is told of them.

    invented: years after each record. Raises: SweepError for files that do not differ, and as
    `compare.jobs_of`.
    """
    before, after = files
    found = changes(before.source.text, after.source.text)
    if not found:
        names = f"{before.source.name} and {after.source.name}"
        raise SweepError(f"PROPERTY: found that {names} say the same, allowed two that differ")
    jobs = [compare.jobs_of(prop, records, invented, seed) for prop in files]
    lived = compare.run([*jobs[0], *jobs[1]], [], grounds, executor, tell, as_it_stands=True)
    parts = (lived[: len(jobs[0])], lived[len(jobs[0]) :])
    told = [compare_summary.summary(part, seed, "") for part in parts]
    return {
        "schema": SCHEMA,
        "seed": seed,
        "grounds": grounds,
        "house": told[1]["house"],
        "files": [prop.source.name for prop in files],
        "same_zones": told[0]["zones"] == told[1]["zones"],
        "changes": [vars(one) for one in found],
        "notes": list(dict.fromkeys([*told[0]["notes"], *told[1]["notes"]])),
        "currency": told[1]["currency"],
        "units": after.site.units,
        "weathers": [_both(*pair) for pair in zip(*[one["weathers"] for one in told], strict=True)],
    }


def _both(before: Line, after: Line) -> Line:
    """What is told of one weather."""
    same = ("weather", "invented", "first_day", "record_days", "years", "moisture_index")
    found: Line = {name: after[name] for name in same}
    return found | {"before": before["ways"][HUB], "after": after["ways"][HUB]}


def verdict_of(found: Line, weather: Line) -> str:
    """Whether the change is for the better, in one sentence."""
    pairs = pairs_of(weather, UNREST)
    if not pairs:
        return (
            "Nothing can be said of this change: the ground hardly moves unwatered, so there is "
            "little for water to calm."
        )
    was, is_now = (
        dict(zip(weather[side]["broken"], weather[side]["sentences"], strict=True))
        for side in SIDES
    )
    mended = [sentence for name, sentence in was.items() if name not in is_now]
    word = _word(pairs, bool(is_now.keys() - was.keys()), bool(mended))
    said = [
        *[
            f"{sentence}, a limit that was {'broken before too' if name in was else 'kept before'}"
            for name, sentence in is_now.items()
        ],
        _unrest(weather, pairs, found["grounds"]),
        *_against(weather, _leans(weather, word)),
        *[f"a limit is kept that was broken, with {sentence}" for sentence in mended],
        _water(found, weather),
    ]
    return f"{word}{_limits(word, len(is_now))}: {'; '.join(said)}."


def _limits(word: str, broken: int) -> str:
    """Whether limits are broken after the change: it stands before all that speaks for it."""
    if not broken:
        return ""
    joint = "but" if word == "Better" else "and"
    return f", {joint} {'a limit is' if broken == 1 else 'limits are'} broken"


def _word(pairs: Sequence[tuple[float, float]], breaks: bool, mends: bool) -> str:
    """Better, worse, or neither. A limit counts before unrest does."""
    if breaks != mends:
        return "Worse" if breaks else "Better"
    change = np.array([after - before for before, after in pairs])
    middle = float(np.median(change))
    if middle <= -NOTABLE_PCT and np.mean(change < 0.0) >= SURE:
        return "Better"
    if middle >= NOTABLE_PCT and np.mean(change > 0.0) >= SURE:
        return "Worse"
    return "No clear difference"


def _unrest(weather: Line, pairs: Sequence[tuple[float, float]], grounds: int) -> str:
    before, after = (f"{weather[side][UNREST]['p50']:.0f}" for side in SIDES)
    moves = f"stays {after}" if before == after else f"goes from {before} to {after}"
    text = f"unrest {moves}, where leaving the house alone is 100"
    less = sum(after < before for before, after in pairs)
    if len(pairs) == 1:
        return text
    what = "grounds" if len(pairs) <= grounds else "lives"
    return f"{text}, and is less on {less} of {len(pairs)} {what}"


def _leans(weather: Line, word: str) -> float:
    """Which way what is told first has gone: below 0 for the better, 0 for neither.

    That is unrest where it has moved, since its sentence stands before; else the verdict.
    """
    before, after = (weather[side][UNREST]["p50"] for side in SIDES)
    if word not in ("Better", "Worse"):
        return 0.0
    if abs(after - before) >= NOTABLE_PCT:
        return float(after - before)
    return 1.0 if word == "Worse" else -1.0


def _against(weather: Line, leans: float) -> list[str]:
    """Movement and tilt, where they go the other way than `leans`, by the grounds' medians."""
    found = []
    for name in ("movement", "tilt"):
        before, after = ((weather[side].get(f"{name}_pct") or {}).get("p50") for side in SIDES)
        if before is None or after is None:
            continue
        if leans * (after - before) < 0.0 and abs(after - before) >= AGAINST_PCT:
            found.append(f"but {name} goes from {before:.0f} to {after:.0f}")
    return found


def _water(found: Line, weather: Line) -> str:
    """How much more or less water, and money, a year, in the middle of the grounds."""

    def more(name: str) -> float:
        before, after = (weather[side][name]["p50"] for side in SIDES)
        return float(after - before)

    litres = more("litres_a_year")
    water = UNITS[found["units"]].shown(abs(litres), "volume")
    if not any(digit in water for digit in "123456789"):
        return "the water stays the same"
    priced = all("money_a_year" in weather[side] for side in SIDES)
    costs = f" ({money(abs(more('money_a_year')), found['currency'])})" if priced else ""
    return f"it takes {water}{costs} {'more' if litres > 0 else 'less'} a year"


def rows(found: Line, weather: Line) -> list[tuple[str, str, str]]:
    """The measures before and after: what, and two texts, with a mark where a limit is broken."""
    shown = UNITS[found["units"]]

    def row(words: str, key: str, limit: str = "", times: float = 1.0) -> tuple[str, str, str]:
        before, after = (
            _text(weather[side].get(key), times, key == UNREST)
            + BROKEN_MARK * (limit in weather[side]["broken"])
            for side in SIDES
        )
        return words, before, after

    water = f"{shown.word('volume').capitalize()} a year"
    # Fewer years, lived again and again, are all much alike: their worst is the mean once more.
    has_ten = round(weather["record_days"] / YEAR_DAYS) >= WORST_OF <= weather["years"]
    found_rows = [
        row("Unrest", UNREST, UNREST),
        *([row("Unrest in the worst year of ten", "unrest_worst_year_pct")] if has_ten else []),
        row("Movement, %", "movement_pct"),
        row("Tilt, %", "tilt_pct", "tilt_added_pct"),
        row("Shift, %", "shift_pct"),
        row("Excursion, %", "excursion_pct", "excursion_pct"),
        row("Soaked days a year", "days_soaked", "days_soaked"),
        row("Days on target a year", "days_on_target"),
        row(water, "litres_a_year", times=shown.of(1.0, "volume")),
    ]
    if found["currency"]:
        found_rows.append(row(f"{found['currency']} a year", "money_a_year"))
    return found_rows


def _text(over: Line | None, times: float, whole: bool) -> str:
    """The middle of the grounds. whole: with the tenth and the ninetieth of a hundred of them."""
    if over is None or over["p50"] is None:
        return "–"
    low, middle, high = (f"{round(times * over[share]) + 0:,}" for share in ("p10", "p50", "p90"))
    return f"{middle} ({low} to {high})" if whole and low != high else middle
