"""The drawing of a layout, to scale: one figure that gives SVG and PNG.

A zone is told by its name, by its colour and by its pattern. Texts are 9 points high, and none
covers another: a scale at which they would is given up for a smaller one.
"""

import io
from collections.abc import Iterator
from functools import cache
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Polygon as Patch
from matplotlib.textpath import TextPath
from shapely import LineString, MultiPolygon, Polygon, box
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from evenclay.sim.report.pictures.drawing import STYLE, WIDE, ZONE_COLOURS, Paper, svg_of
from evenclay.sim.units import UNITS, Units
from evenclay.tools.handover.layout.labels import Label, Placed, Point, place
from evenclay.tools.handover.layout.layout import Laid, Layout
from evenclay.tools.handover.layout.marks import everything, marks_of, outward
from evenclay.tools.property.file.wording import called

MM_PER_IN = 25.4
TEXT_PT = 9.0  # the least height of any text
LINE_EM = 1.17  # the height of a line of text, with room below for a g
PATTERNS = ("///", "\\\\\\", "xx", "...", "--", "||", "oo", "++")
# How many times smaller than the house; as drawings of each system of units have it.
SCALES = {
    "metric": (25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 1500, 2000),
    "us": (24, 48, 60, 96, 120, 180, 240, 300, 360, 480, 600, 720, 960, 1200, 1800, 2400),
}
# For a house that has no room at any of these: up to the largest that a file may have.
SMALLER = {
    "metric": (2500, 3000, 4000, 5000, 7500, 10000, 15000, 20000, 30000),
    "us": (3000, 3600, 4800, 6000, 7200, 9600, 12000, 18000, 24000, 36000),
}
BARS = {
    "metric": ("m", (1, 2, 5, 10, 20, 50, 100, 200, 500)),
    "us": ("ft", (4, 5, 10, 20, 50, 100, 200, 500, 1000)),
}
LOOK: dict[Any, Any] = {**STYLE, "hatch.linewidth": 1.1}  # so that patterns stay plain in grey
FOOT_MM = 11.0  # below the drawing, for scale and north
EDGE_MM = 2.0
LANE_MM = 1.7
STRIP_MM = 3.0  # a strip is drawn so wide at least where hoses have no names, for its pattern
REACHES_MM = (
    14.0,
    28.0,
    70.0,
)  # how far a name may stand from what it names: near, or where it must
PNG_DPI = 160
INK, SOFT, PAVED, FLOOR = "#000000", "#555555", "#cfcfcf", "#f2f2f2"


def look(number: int) -> tuple[str, str]:
    """The colour and the pattern of a zone by its place."""
    return ZONE_COLOURS[number % len(ZONE_COLOURS)], PATTERNS[number % len(PATTERNS)]


def darker(colour: str) -> str:
    """A colour whose lines are plain in grey, too."""
    red, green, blue = [round(0.6 * part) for part in bytes.fromhex(colour[1:])]
    return f"#{red:02x}{green:02x}{blue:02x}"


class Sheet:
    """A figure of so many millimetres with a house on it. names: hoses, feeds, tees and sleeves are
    named, besides the zones. `unnamed`: the keys of labels for which there was no room."""

    def __init__(self, layout: Layout, wide_mm: float, high_mm: float, names: bool) -> None:
        self.layout, self.units = layout, UNITS[layout.prop.site.units]
        self.wide_mm, self.high_mm, self.names = wide_mm, high_mm, names
        zones = list(layout.prop.zones)
        zones += [laid.zone for laid in layout.laid if laid.new]
        self.looks = {name: look(number) for number, name in enumerate(zones)}
        self.unnamed: tuple[str, ...] = ()
        scales = SCALES[self.units.name]
        if not self._holds(scales[-1]):
            # The first that holds it: at a smaller one its names stand no better.
            scales = tuple(filter(self._holds, SMALLER[self.units.name]))[:1]
        sizes = [(reach, scale) for reach in REACHES_MM for scale in scales]
        size = next((size for size in sizes if self._fits(*size)), None)
        if size is None:
            # A crowded house: hoses and feeds go without names, or all does.
            for kinds in (("zone", "spigot", "dry"), ()):
                left = [label for label in _labels(self) if label.key.split("-")[0] not in kinds]
                self.unnamed = tuple([label.key for label in left])
                size = next((size for size in sizes if self._fits(*size)), None)
                if size is not None:
                    break
        assert size is not None, "the smallest scale holds the largest house that a file may have"
        full_mm, used_mm = self.high_mm, self._used_mm()
        self.high_mm = min(full_mm, used_mm)
        if not self._fits(*size):  # what is left below is cut off, unless it is needed
            self.high_mm = full_mm
            self._fits(*size)

    def _used_mm(self) -> float:
        """The height of paper that house and names take."""
        heights = [y for shape in self._obstacles() for y in (shape.bounds[1], shape.bounds[3])]
        house = [y for y in heights if y > FOOT_MM]
        for placed in self.placed:
            half_mm = placed.label.high_mm / 2 + 1
            house += [placed.middle[1] - half_mm, placed.middle[1] + half_mm]
        return max(house) - min(house) + FOOT_MM + 2 * EDGE_MM

    def _holds(self, scale: int) -> bool:
        """Take a scale, unless the house has no room at it."""
        self.scale = scale
        per_mm = scale / 1000  # metres of the house
        wide_m = 0.0 if self.names else STRIP_MM * per_mm
        self.marks = marks_of(self.layout, LANE_MM * per_mm, 0.9 * per_mm, wide_m)
        shapes = [*everything(self.marks), self.layout.shape.polygon]
        bounds = [shape.bounds for shape in shapes]
        low_x, low_y = min(b[0] for b in bounds), min(b[1] for b in bounds)
        high_x, high_y = max(b[2] for b in bounds), max(b[3] for b in bounds)
        room_mm = (self.wide_mm - 2 * EDGE_MM, self.high_mm - 2 * EDGE_MM - FOOT_MM)
        if (high_x - low_x) / per_mm > room_mm[0] or (high_y - low_y) / per_mm > room_mm[1]:
            return False
        self._move = (
            1 / per_mm,
            self.wide_mm / 2 - (low_x + high_x) / 2 / per_mm,
            FOOT_MM + (self.high_mm - FOOT_MM) / 2 - (low_y + high_y) / 2 / per_mm,
        )
        return True

    def _fits(self, reach_mm: float, scale: int) -> bool:
        """Take a scale, unless the house, or a name near what it names, has no room at it."""
        if not self._holds(scale):
            return False
        self._foot = _foot(self)
        paper_mm = (self.wide_mm, self.high_mm)
        labels = [label for label in _labels(self) if label.key not in self.unnamed]
        placed = place(labels, list(self._obstacles()), paper_mm, reach_mm)
        if placed is None:
            return False
        self.placed: list[Placed] = placed
        return True

    def mm(self, shape: BaseGeometry) -> BaseGeometry:
        """A shape of the house in millimetres of the sheet."""
        by, x, y = self._move
        return affine_transform(shape, [by, 0, 0, by, x, y])

    def at(self, point: Point) -> Point:
        by, x, y = self._move
        return by * point[0] + x, by * point[1] + y

    def _obstacles(self) -> Iterator[BaseGeometry]:
        """What no name may cover, in millimetres."""
        marks = self.marks
        polygon = self.layout.shape.polygon
        for ring in (polygon.exterior, *polygon.interiors):
            yield self.mm(ring).buffer(0.4)
        for line in (*marks.hoses.values(), *marks.links.values(), *marks.feeds.values()):
            yield self.mm(line).buffer(0.3)
        for paved in marks.paving:
            yield self.mm(paved.exterior).buffer(0.2)
        for area in (*marks.sleeves.values(), *marks.strips.values()):
            yield self.mm(area)
        for spigot in marks.spigots.values():
            x, y = self.at(spigot)
            yield box(x - 1.6, y - 1.6, x + 1.6, y + 1.6)
        for tee in marks.tees.values():
            x, y = self.at(tee)
            yield box(x - 1.0, y - 1.0, x + 1.0, y + 1.0)
        yield box(0, 0, self.wide_mm, FOOT_MM - 1)


@cache
def text_mm(text: str, bold: bool = False) -> tuple[float, float]:
    """The width and height of a text's box."""
    font = FontProperties(weight="bold" if bold else "normal")
    with mpl.rc_context(LOOK):
        box_pt = TextPath((0, 0), text, size=TEXT_PT, prop=font).get_extents()
    return float(box_pt.width) / 72 * MM_PER_IN, LINE_EM * TEXT_PT / 72 * MM_PER_IN


def _label(key: str, text: str, at: Point, toward: Point | None, bold: bool = False) -> Label:
    return Label(key, text, at, toward, *text_mm(text, bold), bold)


def _labels(sheet: Sheet) -> Iterator[Label]:
    """What is named, the important first."""
    layout, units, marks = sheet.layout, sheet.units, sheet.marks
    for name, spot in marks.spigots.items():
        wall = layout.shape.spigots[name].wall
        dx, dy = outward(layout, wall)
        yield _label(f"spigot-{name}", called(name), sheet.at(spot), (-dx, -dy))
    for laid in layout.laid:
        longest = max(laid.hoses, key=lambda piece: piece.length_m)
        middle = _middle(marks.hoses[longest.label])
        inward = _inward(layout, laid)
        yield _label(f"zone-{laid.zone}", laid.zone, sheet.at(middle), inward, bold=True)
    for number in layout.unserved:
        dry, (dx, dy) = layout.shape.wall(number), outward(layout, number)
        at = sheet.at(dry.at(dry.length_m / 2))
        yield _label(f"dry-{number}", f"side {number} dry" if sheet.names else "dry", at, (dx, dy))
    if not sheet.names:
        return
    for laid in layout.laid:
        away = outward(layout, laid.walls[0])
        for piece in laid.hoses:
            text = f"{piece.label}: {units.shown(piece.length_m, 'distance')}"
            at = sheet.at(_middle(marks.hoses[piece.label]))
            yield _label(f"hose-{piece.label}", text, at, _inward(layout, laid))
        text = f"{laid.feed.label}: {units.shown(laid.feed.length_m, 'distance')}"
        at = sheet.at(_last(marks.feeds[laid.feed.label]))
        yield _label(f"feed-{laid.feed.label}", text, at, away)
        if laid.tee:
            yield _label(
                f"tee-{laid.tee.label}", laid.tee.label, sheet.at(marks.tees[laid.tee.label]), away
            )
        for piece in laid.links:
            at = sheet.at(_middle(marks.links[piece.label]))
            text = f"{piece.label}: {units.shown(piece.length_m, 'distance')}"
            yield _label(f"link-{piece.label}", text, at, _inward(layout, laid))
    for sleeve in layout.sleeves:
        text = f"{sleeve.label}: {units.shown(sleeve.length_m, 'distance')}"
        centre = marks.sleeves[sleeve.label].centroid
        yield _label(f"sleeve-{sleeve.label}", text, sheet.at((centre.x, centre.y)), None)


def _middle(line: LineString) -> Point:
    point = line.interpolate(0.5, normalized=True)
    return point.x, point.y


def _last(feed: LineString) -> Point:
    """The middle of the part of a feed before it turns to its hose, where others have ended."""
    ends = list(feed.coords)
    return _middle(LineString(ends[-3:-1] if len(ends) > 3 else ends))


def _inward(layout: Layout, laid: Laid) -> Point:
    dx, dy = outward(layout, laid.walls[0])
    return -dx, -dy


def _foot(sheet: Sheet) -> tuple[float, str, str]:
    """The bar below the drawing: its length [mm], its words, and those of the scale."""
    unit, lengths = BARS[sheet.units.name]
    per_unit_mm = 1000 / sheet.scale / sheet.units.of(1.0, "length")
    fitting = [
        n for n in lengths if n * per_unit_mm <= max(0.3 * sheet.wide_mm, lengths[0] * per_unit_mm)
    ]
    length = fitting[-1] if fitting else lengths[0]
    return length * per_unit_mm, f"{length} {unit}", _scale_words(sheet.scale, sheet.units)


def _scale_words(scale: int, units: Units) -> str:
    if units.name == "us":
        return f"scale 1 in to {scale / 12:g} ft"
    return f"scale 1:{scale}"


def figure_of(sheet: Sheet) -> Figure:
    """The drawing."""
    with mpl.rc_context(LOOK):
        figure = Figure(figsize=(sheet.wide_mm / MM_PER_IN, sheet.high_mm / MM_PER_IN))
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        axes.set_xlim(0, sheet.wide_mm)
        axes.set_ylim(0, sheet.high_mm)
        _draw_house(sheet, axes)
        _draw_water(sheet, axes)
        _draw_names(sheet, axes)
        _draw_foot(sheet, axes)
    return figure


def _areas(shape: BaseGeometry) -> list[Polygon]:
    if isinstance(shape, MultiPolygon):
        return list(shape.geoms)
    return [shape] if isinstance(shape, Polygon) and not shape.is_empty else []


def _area(axes: mpl.axes.Axes, shape: BaseGeometry, gid: str, **style: Any) -> None:
    """Fill an area; more than one part is numbered."""
    for number, part in enumerate(_areas(shape)):
        patch = Patch(list(part.exterior.coords), closed=True, **style)
        patch.set_gid(gid if not number else f"{gid}-{number}")
        axes.add_patch(patch)


def _line(axes: mpl.axes.Axes, line: BaseGeometry, gid: str, **style: Any) -> None:
    xs, ys = zip(*line.coords, strict=True)
    (drawn,) = axes.plot(xs, ys, solid_capstyle="butt", dash_capstyle="butt", **style)
    drawn.set_gid(gid)


def _draw_house(sheet: Sheet, axes: mpl.axes.Axes) -> None:
    polygon = sheet.layout.shape.polygon
    for number, paved in enumerate(sheet.marks.paving, 1):
        style = {"facecolor": PAVED, "edgecolor": SOFT, "linewidth": 0.5}
        bare = paved.difference(polygon)
        for strip in sheet.marks.strips.values():
            bare = bare.difference(strip)
        _area(axes, sheet.mm(bare), f"paving-{number}", zorder=1, **style)
    _area(axes, sheet.mm(polygon), "floor", facecolor=FLOOR, edgecolor="none", zorder=0)
    for number, hole in enumerate(polygon.interiors, 1):
        yard = sheet.mm(Polygon(hole))
        _area(axes, yard, f"courtyard-{number}", facecolor="white", edgecolor="none", zorder=0)
    for wall in sheet.layout.shape.walls:
        line = sheet.mm(LineString([wall.start, wall.end]))
        _line(axes, line, f"wall-{wall.number}", color=INK, linewidth=1.4, zorder=4)


def _draw_water(sheet: Sheet, axes: mpl.axes.Axes) -> None:
    marks = sheet.marks
    for laid in sheet.layout.laid:
        colour, pattern = sheet.looks[laid.zone]
        dark = darker(colour)
        style = {"facecolor": "white", "edgecolor": dark, "linewidth": 0.5, "hatch": pattern}
        _area(axes, sheet.mm(marks.strips[laid.zone]), f"strip-{laid.zone}", zorder=2, **style)
        for piece in laid.hoses:
            line = sheet.mm(marks.hoses[piece.label])
            wide_pt = 2.2 if sheet.names else 1.4
            _line(axes, line, f"hose-{piece.label}", color=colour, linewidth=wide_pt, zorder=5)
        pipes = [(piece.label, marks.links[piece.label], "link") for piece in laid.links]
        pipes.append((laid.feed.label, marks.feeds[laid.feed.label], "feed"))
        for label, pipe, kind in pipes:
            style = {"color": INK, "linewidth": 0.8, "linestyle": (0, (4, 1.6)), "zorder": 6}
            _line(axes, sheet.mm(pipe), f"{kind}-{label}", **style)
    for number, cap in enumerate(marks.caps, 1):
        _line(axes, sheet.mm(cap), f"cap-{number}", color=INK, linewidth=1.6, zorder=6)
    for label, area in marks.sleeves.items():
        style = {"facecolor": "none", "edgecolor": INK, "linewidth": 1.1, "zorder": 7}
        _area(axes, sheet.mm(area), f"sleeve-{label}", **style)
    for label, point in marks.tees.items():
        x, y = sheet.at(point)
        drawn = axes.plot([x], [y], "s", color=INK, markersize=4.5, zorder=8)
        drawn[0].set_gid(f"tee-{label}")
    for name, point in marks.spigots.items():
        x, y = sheet.at(point)
        drawn = axes.plot(
            [x],
            [y],
            "o",
            color="white",
            markeredgecolor=INK,
            markersize=8,
            markeredgewidth=1.4,
            zorder=9,
        )
        drawn[0].set_gid(f"spigot-{name}")
        axes.plot([x], [y], "x", color=INK, markersize=4.5, markeredgewidth=1.2, zorder=10)


def _draw_names(sheet: Sheet, axes: mpl.axes.Axes) -> None:
    for placed in sheet.placed:
        x, y = placed.middle
        axes.text(
            x,
            y,
            placed.label.text,
            ha="center",
            va="center",
            fontsize=TEXT_PT,
            fontweight="bold" if placed.label.bold else "normal",
            zorder=12,
            gid=f"name-{placed.label.key}",
        )
        if placed.leader:
            (ax, ay), (bx, by) = placed.leader
            axes.plot([ax, bx], [ay, by], color=SOFT, linewidth=0.5, zorder=3)
            axes.plot([ax], [ay], "o", color=INK, markersize=2, zorder=11)


def _draw_foot(sheet: Sheet, axes: mpl.axes.Axes) -> None:
    """The scale's bar and words, and an arrow to the north."""
    long_mm, words, scale = sheet._foot
    x, y = EDGE_MM + 1, 3.2
    (bar,) = axes.plot([x, x + long_mm], [y, y], color=INK, linewidth=1.6, solid_capstyle="butt")
    bar.set_gid("scale-bar")
    for end in (x, x + long_mm):
        axes.plot([end, end], [y - 1, y + 1], color=INK, linewidth=0.8)
    axes.text(x + long_mm + 2, y, words, va="center", fontsize=TEXT_PT)
    # True on paper alone: a page that is shown on a screen hides it.
    after_mm = x + long_mm + 2 + text_mm(words)[0] + 3
    axes.text(after_mm, y, scale, va="center", fontsize=TEXT_PT, gid="scale-words")
    north_x, low_y = sheet.wide_mm - 4.5, 1.2
    axes.annotate(
        "",
        xy=(north_x, low_y + 8),
        xytext=(north_x, low_y),
        arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.0},
    )
    axes.text(north_x - 2.6, low_y + 3.5, "N", va="center", ha="center", fontsize=TEXT_PT)


def svg_file(figure: Figure) -> str:
    """The drawing as a file of its own, in millimetres of paper."""
    out = io.StringIO()
    with mpl.rc_context(LOOK):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def svg_inline(figure: Figure, prefix: str, label: str, paper: Paper = WIDE) -> str:
    """The drawing as an element of a page."""
    with mpl.rc_context(LOOK):
        return svg_of(figure, paper, prefix, label)


def png_file(figure: Figure) -> bytes:
    out = io.BytesIO()
    with mpl.rc_context(LOOK):
        figure.savefig(out, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return out.getvalue()


__all__ = ["Sheet", "figure_of", "look", "png_file", "svg_file", "svg_inline"]
