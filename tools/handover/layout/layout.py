"""The layout of a house: its runs, each with its zone, and every piece that is laid, by a label."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from evenclay.tools.handover.layout.ground import Gap, Ground, grounds_of
from evenclay.tools.handover.layout.search import Cost, Run, best_runs, sleeve_work_m
from evenclay.tools.property.conflicts import name_mistakes
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.outline.line import SAME_M, Ring
from evenclay.tools.property.outline.walls import Shape
from evenclay.tools.property.plan_ranges import NAME_BYTES
from evenclay.tools.property.property import Property


@dataclass(frozen=True)
class Piece:
    """Hose, feed or link along the ring, from one place to another. label: such as "H1"."""

    label: str
    ring: int
    begins_m: float
    ends_m: float
    away_m: float = 0.0  # of a feed: from the spigot to the ring

    @property
    def length_m(self) -> float:
        return self.ends_m - self.begins_m + self.away_m


@dataclass(frozen=True)
class Tee:
    label: str
    ring: int
    place_m: float


@dataclass(frozen=True)
class Sleeve:
    """A sleeve under paving. zones: whose feeds and links lie in it."""

    label: str
    ring: int
    gap: Gap
    zones: tuple[str, ...]

    @property
    def pipes(self) -> int:
        """How many pipes lie in it."""
        return len(self.zones)

    @property
    def length_m(self) -> float:
        return self.gap.sleeve_m


@dataclass(frozen=True)
class Laid:
    """A run with the zone that it is, and its pieces. new: the file has no such zone yet."""

    zone: str
    like: str  # the zone whose kind of hose it has
    new: bool
    side: str
    walls: tuple[int, ...]
    ring: int
    run: Run
    hoses: tuple[Piece, ...]
    links: tuple[Piece, ...]
    feed: Piece
    tee: Tee | None


@dataclass(frozen=True)
class Layout:
    """A layout. unserved: why, by the wall's number. idle: zones of the file without a hose."""

    prop: Property
    shape: Shape
    rings: dict[int, Ring]
    laid: tuple[Laid, ...]
    sleeves: tuple[Sleeve, ...]
    unserved: dict[int, str]
    idle: tuple[str, ...]

    @property
    def cost(self) -> Cost:
        pipe_m = sum([piece.length_m for laid in self.laid for piece in (laid.feed, *laid.links)])
        return Cost(
            len(self.unserved),
            pipe_m + sleeve_work_m([sleeve.gap for sleeve in self.sleeves]),
            len(self.laid),
            sum([laid.tee is not None for laid in self.laid]),
        )


def lay_out(prop: Property, *, kept: bool = False) -> Layout:
    """The layout of least cost.

    kept: each side keeps the supplies that its zones have in the file.
    Raises: PropertyError for a property without an outline, or with names that do not fit.
    """
    if prop.outline is None:
        allowed = (
            "a table [outline] with the house's corners or sides, its spigots and its paving; "
            "`evenclay start FILE --outline ...` writes one"
        )
        raise prop.source.error([Mistake(("outline",), "no outline", allowed)])
    mistakes = list(name_mistakes(prop))
    if mistakes:
        raise prop.source.error(mistakes)
    shape = prop.outline.shape
    grounds = grounds_of(prop, shape, kept=kept)
    found = [(ground, best_runs(ground)) for ground in grounds]
    placed = [
        (ground, place, run)
        for ground, runs in found
        for place in sorted(runs)
        for run in runs[place]
    ]
    names = _names(prop, [(ground.strips[place].side, run.supply) for ground, place, run in placed])
    labels = dict.fromkeys("HLFT", 0)
    laid = []
    for (ground, place, run), (name, new) in zip(placed, names, strict=True):
        laid.append(_laid(ground, place, run, name, new, labels))
    used = {one.zone for one in laid}
    return Layout(
        prop,
        shape,
        {ground.ring.number: ground.ring for ground in grounds},
        tuple(laid),
        tuple(_sleeves(grounds, laid)),
        _unserved(shape, grounds),
        tuple([name for name in prop.zones if name not in used]),
    )


def _names(prop: Property, runs: Sequence[tuple[str, str]]) -> list[tuple[str, bool]]:
    """A zone's name for each run, and whether it is new; a zone keeps its spigot where it can."""
    found: dict[int, tuple[str, bool]] = {}
    taken = set(prop.zones)
    for side in dict.fromkeys([side for side, _ in runs]):
        left = [n for n, run in enumerate(runs) if run[0] == side]
        zones = [name for name, zone in prop.zones.items() if zone.side == side]
        for same in (True, False):
            for name in list(zones):
                fits = [n for n in left if not same or runs[n][1] == prop.zones[name].supply]
                if fits:
                    found[fits[0]] = (name, False)
                    left.remove(fits[0])
                    zones.remove(name)
        base = next((name for name, zone in prop.zones.items() if zone.side == side), side)
        for n in left:
            found[n] = (_unused(base, taken), True)
            taken.add(found[n][0])
    return [found[n] for n in range(len(runs))]


def _unused(base: str, taken: set[str]) -> str:
    """A name of a zone that nobody has: the base itself, or with a number."""
    number, name = 2, base
    while name in taken:
        tail = f" {number}"
        name, number = base[: NAME_BYTES - len(tail)] + tail, number + 1
    return name


def _laid(
    ground: Ground, place: int, run: Run, name: str, new: bool, labels: dict[str, int]
) -> Laid:
    strip, ring = ground.strips[place], ground.ring.number

    def label(letter: str) -> str:
        labels[letter] += 1
        return f"{letter}{labels[letter]}"

    hoses, links = [], []
    for index, (begins_m, ends_m) in enumerate(run.cells):
        if index and begins_m - run.cells[index - 1][1] > SAME_M:
            links.append(Piece(label("L"), ring, run.cells[index - 1][1], begins_m))
        inside = begins_m + SAME_M < run.fed_m < ends_m - SAME_M
        for low_m, high_m in (
            [(begins_m, run.fed_m), (run.fed_m, ends_m)] if inside else [(begins_m, ends_m)]
        ):
            hoses.append(Piece(label("H"), ring, low_m, high_m))
    tap = next(tap for tap in ground.taps if tap.supply == run.supply)
    along_m = run.feed_m - tap.away_m
    begins_m = tap.place_m if run.way > 0 else tap.place_m - along_m
    feed = Piece(label("F"), ring, begins_m, begins_m + along_m, tap.away_m)
    tee = Tee(label("T"), ring, run.fed_m) if run.tee else None
    walls = tuple(strip.walls)
    return Laid(
        name, strip.zone, new, strip.side, walls, ring, run, tuple(hoses), tuple(links), feed, tee
    )


def _sleeves(grounds: Sequence[Ground], laid: Sequence[Laid]) -> Iterator[Sleeve]:
    """A sleeve for each paving that is crossed."""
    number = 0
    for ground in grounds:
        ring = ground.ring.number
        for place, gap in enumerate(ground.gaps):
            zones = [one.zone for one in laid if one.ring == ring and place in one.run.crosses]
            if zones:
                number += 1
                yield Sleeve(f"S{number}", ring, gap, tuple(zones))


def _unserved(shape: Shape, grounds: Sequence[Ground]) -> dict[int, str]:
    """Walls along which nothing is watered, and why."""
    found = {wall.number: "it has no room for a hose so far from the wall" for wall in shape.walls}
    for ground in grounds:
        for strip in ground.strips:
            for wall in strip.walls:
                edges = ground.ring.of_wall(wall)
                wet = bool(strip.limits) and any(
                    min(ends_m, edge.ends_m + turn_m) - max(begins_m, edge.begins_m + turn_m) > 0.01
                    for edge in edges
                    for begins_m, ends_m in strip.cells
                    for turn_m in (0.0, ground.ring.length_m)
                )
                if wet:
                    found.pop(wall, None)
                elif wall in found:
                    found[wall] = (
                        strip.why or "it is paved, or has too little open ground for a hose"
                    )
    return found
