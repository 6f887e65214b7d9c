"""The card as a page that prints on one side of paper up to four zones, on two beyond."""

import io
from typing import Any, Literal

import segno
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from evenclay.sim.report.pictures.drawing import VARIABLES
from evenclay.sim.units import UNITS
from evenclay.tools.handover.card import content
from evenclay.tools.handover.card.check_drawing import check_svg
from evenclay.tools.handover.layout.drawing import Sheet, darker, figure_of, look, svg_inline
from evenclay.tools.handover.layout.in_report import WORDS
from evenclay.tools.handover.layout.layout import Layout, lay_out
from evenclay.tools.handover.layout.parts import THREAD
from evenclay.tools.property.advice import leaves
from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.file.mistakes import Mistake
from evenclay.tools.property.property import Property

Paper = Literal["a4", "letter"]
PAPERS = {"a4": "A4", "letter": "letter"}
ONE_SIDE = 4  # zones that one side has room for
DRAWING_MM = ((92.0, 78.0), (188.0, 110.0))  # on one side, and where there are two
SWATCH = {  # a zone's pattern, as `drawing.PATTERNS` has it, in a square of 12 points
    "///": "M-2 8L8 -2M0 12L12 0M4 14L14 4",
    "\\\\\\": "M-2 4L8 14M0 0L12 12M4 -2L14 8",
    "xx": "M-2 8L8 -2M0 12L12 0M4 14L14 4M-2 4L8 14M0 0L12 12M4 -2L14 8",
    "...": "".join([f"M{x} {y}h2" for x in (2, 6, 10, 14) for y in (2.6, 9.4)]),
    "--": "M0 2H18M0 5H18M0 8H18M0 11H18",
    "||": "M2 0V12M5 0V12M8 0V12M11 0V12M14 0V12M17 0V12",
    "oo": "".join(
        [
            f"M{x} {y}a1.4 1.4 0 1 0 2.8 0a1.4 1.4 0 1 0-2.8 0"
            for x in (1, 5, 9, 13)
            for y in (2.6, 9.4)
        ]
    ),
    "++": "M0 3H18M0 9H18M3 0V12M9 0V12M15 0V12",
}


def card_of(prop: Property, paper: Paper | None = None) -> str:
    """The page. paper: None for the one that is usual where the property's units are.

    Raises: PropertyError for a property that makes no plan, or whose zones are not those of a
    layout of its outline.
    """
    house = compile_house(prop)
    layout = _layout(prop)
    paper = paper or ("letter" if prop.site.units == "us" else "a4")
    environment = Environment(
        loader=PackageLoader("evenclay.tools.handover.card", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    units = UNITS[prop.site.units]
    opens, closes = content.opens_and_closes(prop)
    check = prop.owner.check
    shown: dict[str, Any] = {
        "prop": prop,
        "paper": PAPERS[paper],
        "colours": VARIABLES.items(),
        "two": len(prop.zones) > ONE_SIDE,
        "drawing": _drawing(prop, layout),
        "legend": [] if layout is None else list(content.legend(layout)),
        "zones": list(content.zone_rows(prop)),
        "swatches": [_swatch(number) for number in range(len(prop.zones))],
        "parts": content.part_rows(prop, layout),
        "spigots": content.spigots_of(prop),
        "thread": THREAD[units.name],
        "lengths": "" if layout is None else content.lengths(layout),
        "seasons": list(content.season_rows(prop, house)),
        "rules": content.quiet_words(prop),
        "check_drawing": Markup(
            check_svg(units, sample=check != "blade", blade=check != "sample")
        ),  # our own drawing
        "findings": content.findings(prop),
        "checked": content.when_checked(prop),
        "sampled": content.sampled(prop),
        "leaves": leaves(prop),
        "first": next(iter(prop.zones)),
        "opens": opens,
        "closes": closes,
        "rain": "rain 0.5 inch" if units.name == "us" else "rain 12 mm",
        "frost": prop.lockouts.frost.thermometer,
        "frost_below": units.shown(prop.lockouts.frost.below, "temperature"),
        "page": prop.hub.page,
        "qr": _qr(prop.hub.page),
    }
    return environment.get_template("card.html.j2").render(shown)


def _layout(prop: Property) -> Layout | None:
    """The layout with the file's own supplies, whose zones are those of the file."""
    if prop.outline is None:
        return None
    layout = lay_out(prop, kept=True)
    mistakes = [
        Mistake(("zones", name), "a zone for which the outline has no hose", "none: take it out")
        for name in layout.idle
    ]
    for laid in layout.laid:
        if laid.new:
            found = f"no zone for the hose along side {laid.walls[0]}"
            mistakes.append(Mistake(("zones",), found, "one, as `evenclay layout --fix` adds it"))
        elif prop.zones[laid.zone].supply != laid.run.supply:
            found = f'"{prop.zones[laid.zone].supply}"'
            mistakes.append(Mistake(("zones", laid.zone, "supply"), found, laid.run.supply))
    if mistakes:
        raise prop.source.error(mistakes)
    return layout


def _drawing(prop: Property, layout: Layout | None) -> Markup | None:
    if layout is None:
        return None
    size = DRAWING_MM[len(prop.zones) > ONE_SIDE]
    figure = figure_of(Sheet(layout, *size, names=False))
    return Markup(svg_inline(figure, "layout", WORDS))  # our own drawing


def _swatch(number: int) -> Markup:
    """A zone's colour and pattern beside its name."""
    colour, pattern = look(number)
    width = 2 if pattern == "..." else 1.1
    return Markup(  # our own drawing
        '<svg class="swatch" width="20pt" height="11pt" viewBox="0 0 18 12" aria-hidden="true" '
        'preserveAspectRatio="xMinYMid slice">'
        f'<path d="{SWATCH[pattern]}" fill="none" stroke="{darker(colour)}" '
        f'stroke-width="{width}"/><path d="M0 6H18" stroke="{colour}" stroke-width="2.4"/>'
        f'<rect x=".4" y=".4" width="17.2" height="11.2" fill="none" stroke="{darker(colour)}"/>'
        "</svg>"
    )


def _qr(page: str | None) -> Markup | None:
    """The QR code of the house's page, with the quiet border that its standard asks for."""
    if page is None:
        return None
    out = io.BytesIO()
    code = segno.make_qr(page, error="m")
    code.save(out, kind="svg", border=4, xmldecl=False, svgns=False, omitsize=True)
    return Markup(out.getvalue().decode())  # made by segno of an address that the file's rule took
