"""What whoever began a file is told: what was assumed, what to measure, and what to type next."""

import datetime
from collections.abc import Iterator, Sequence, Set
from pathlib import Path

from evenclay.sim.units import UNITS
from evenclay.tools.property.changed import SEASONS, differing
from evenclay.tools.property.file.place import Zone
from evenclay.tools.property.file.wording import shown
from evenclay.tools.property.property import Property
from evenclay.tools.start import clay, seasons
from evenclay.tools.start.answers import bucket_of, found_place, outline_of, sides_of_one_hose
from evenclay.tools.start.questions import SIDES
from evenclay.tools.start.reading import Texts

STOP = (
    "Stop. A house that moves now, over a leaking pipe or beside an underpinning, must not be "
    "watered before an engineer has looked at it: water can make it worse. Nothing was written."
)
TEST_MIN = 10


def before(key: str, texts: Texts) -> Iterator[str]:
    """What to know before a question."""
    if key == "elevation":
        yield _height(texts)


def after(key: str, texts: Texts) -> Iterator[str]:
    """What was made of an answer."""
    if key == "where" and "," not in texts["where"]:
        yield _where(texts)
    if key == "clay":
        yield clay.said(texts["clay"]).capitalize() + "."


def _where(texts: Texts) -> str:
    place = found_place(texts["where"])
    return (
        f"The place: {place.called or 'without a name'}, latitude {place.latitude:g}, "
        f"longitude {place.longitude:g}."
    )


def _height(texts: Texts) -> str:
    """Where a place's height comes from."""
    place, units = found_place(texts["where"]), UNITS[texts["units"]]
    away = units.shown(place.distance_km, "far")
    if place.elevation_m is None:
        return f"The nearest airport, {place.airport}, is {away} away: too far to take its height."
    return (
        f"The height above the sea is that of the nearest airport, {place.airport}, {away} away: "
        f"{units.shown(place.elevation_m, 'height')}."
    )


def assumed(
    texts: Texts, keys: Set[str], fresh: Set[str], rows: Sequence[seasons.Row]
) -> Iterator[str]:
    """What nobody said, a sentence each.

    keys: the questions that nobody answered. fresh: those whose answers are new to the file.
    """
    units = UNITS[texts["units"]]
    if "name" in keys:
        yield f"The name of the house: {texts['name']}."
    if "elevation" in keys:
        yield _height(texts)
    if "timezone" in keys:
        yield f"The time zone: {texts['timezone']}."
    if "foundation" in keys:
        yield f"What the house stands on: a {texts['foundation']}."
    if "built" in keys:
        yield "The house is ten years old or more, and has settled."
    elif "built" in fresh and texts["built"].endswith("-07"):
        yield f"Its slab was poured in {texts['built']}: mend [site] poured if you know better."
    if "clay" in fresh:
        yield clay.said(texts["clay"]).capitalize() + "."
    yield from _of_strips(texts, keys, fresh)
    if rows:
        width, slab = [Zone.model_fields[name].default for name in ("width", "slab_distance")]
        yield (
            f"Each hose lies {units.shown(slab, 'near')} from the wall and wets a strip "
            f"{units.shown(width, 'near')} wide."
        )
        yield seasons.in_words(rows, texts["units"], texts)


def _of_strips(texts: Texts, keys: Set[str], fresh: Set[str]) -> Iterator[str]:
    """What nobody said of the sides and their hoses."""
    with_hose = [side for side in SIDES if texts[side] != "none"]
    copied = [side for side in with_hose if side in keys]
    if copied and outline_of(texts) is not None:
        yield f"Its hose is as long as the outline has it, less paving: {', '.join(copied)}."
    elif copied:
        yield f"As long as the side across: {' and '.join(copied)}."
    bare = [side for side in with_hose if f"{side}-cover" in keys]
    if bare:
        yield f"The ground is bare along: {', '.join(bare)}."
    outline = {"outline", "first-side", "paving"}
    for side in [side for side in with_hose if f"{side}-longest" in texts and fresh & outline]:
        yield (
            f"The hoses of the {side} side are as long as they were, since it has several zones; "
            "`evenclay layout --fix` finds their lengths."
        )
    if "hose-flow" in keys:
        yield f"The hose: {texts['hose']}, giving {texts['hose-flow']}, as many labels have it."
    if "hose-pressure" in keys:
        yield f"The hose gives that at {texts['hose-pressure']}."


def changes(before: Property | None, text: str) -> Iterator[str]:
    """What differs between a file as it was and its new text, a key each, as the file has it.

    before: None where the file is new, of which nothing is told.
    """
    if before is None:
        return
    found = differing(before.source.text, text)
    # What was there before comes first.
    for key, values in sorted(found.items(), key=lambda item: item[1][0] is None):
        if not key.startswith(SEASONS):
            was, now = ["nothing" if value is None else shown(value) for value in values]
            yield f"{key}: it was {was}, and is {now}."
    if any(key.startswith(SEASONS) for key in found):
        yield "seasons: a new table."
    if not found:
        yield "nothing."


def hoses(texts: Texts, before: Property | None, after: Property) -> Iterator[str]:
    """What each hose gives that is not as the file had it, or that a bucket test tells.

    before: the file as it was; None: it is new.
    """
    units, test = UNITS[after.site.units], bucket_of(texts["hose-flow"])
    like = f"as the tested hose of the {test[2]} side" if test else "by its label"
    for name, zone in after.zones.items():
        was = before.zones.get(name) if before else None
        if was.hose != zone.hose if was else test:
            gives = units.shown(zone.flow_l_h / zone.length, "emission")
            yield f"{name}: {gives}, {'by its own bucket test' if zone.hose.bucket else like}."


def measures(texts: Texts, path: Path) -> Iterator[str]:
    """What to measure with a bucket and a watch, and how to enter it."""
    units = UNITS[texts["units"]]
    us = units.name == "us"
    bucket, by = ("5 gal", 300) if us else ("10 L", 600)
    if texts["spigot-flow"] == "unknown":
        yield (
            f"Each spigot, behind its regulator and without the hose: fill {bucket} and count the "
            f"seconds; {by} divided by them is its flow in {units.unit('supply flow')}. Of the "
            f'weakest, say: evenclay start {path} --spigot-flow "{bucket} in SECONDS s"'
        )
    sides = sides_of_one_hose(texts)
    hose = [texts[key] for key in ("hose", "hose-flow", "hose-pressure")]
    if sides and bucket_of(texts["hose-flow"]) is None and seasons.AS_IT_IS not in hose:
        side, flow = sides[0], seasons.wanted_l_min(texts)[sides[0]]
        gives = units.shown(flow * TEST_MIN, "volume", ".2g")
        unit = units.unit("volume")
        yield (
            f"The hose of the {side} side ({texts[side]}): lay all of it into a tub for {TEST_MIN} "
            f"minutes; by its label it gives {gives}. Say: evenclay start {path} --hose-flow "
            f'"AMOUNT {unit} in {TEST_MIN} min, {side}"'
        )
    yield (
        f"The fall of the ground over the first {units.shown(3.048, 'distance', '.2g')} from the "
        "wall, where downspouts end, and trees: write them into [site]."
    )


def next_steps(texts: Texts, path: Path) -> Sequence[str]:
    """What to type next, from here to a plan."""
    weather = path.with_name("weather.csv")
    return (
        f"evenclay check {path}",
        *([] if outline_of(texts) is None else [f"evenclay layout {path}"]),
        f"evenclay weather {path}",
        *planning(path, weather),
    )


def planning(path: Path, weather: Path) -> Sequence[str]:
    """What to type once there is weather: a plan, and the last whole year under it."""
    year = datetime.date.today().year - 1
    plan, out = path.with_name("plan"), path.with_name("out")
    return (
        f"evenclay propose {path} --weather {weather} --out {plan}",
        f"evenclay replay {plan / 'property.toml'} --weather {weather} --out {out} "
        f"--from {year}-01-01 --to {year}-12-31",
    )
