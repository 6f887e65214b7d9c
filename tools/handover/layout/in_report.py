"""The drawing of a house and its hoses as it stands in a replay's report."""

from evenclay.sim.report.pictures.drawing import NARROW, WIDE
from evenclay.tools.handover.layout.drawing import Sheet, figure_of, svg_inline
from evenclay.tools.handover.layout.layout import lay_out
from evenclay.tools.property.file.mistakes import PropertyError
from evenclay.tools.property.property import Property

WORDS = "The house from above, with the hose of each zone"
SIZES_MM = ((WIDE, 190.0, 130.0), (NARROW, 105.0, 130.0))


def drawing_of(prop: Property) -> str:
    """SVG elements for wide and for narrow screens.

    '' for a property without an outline, and for one whose zones are not those of its layout:
    `evenclay layout` says what is missing there.
    """
    if prop.outline is None:
        return ""
    try:
        layout = lay_out(prop, kept=True)
    except PropertyError:
        return ""
    if layout.idle or any(laid.new for laid in layout.laid):
        return ""
    return "\n".join(
        svg_inline(figure_of(Sheet(layout, wide_mm, high_mm, names=False)), "layout", WORDS, paper)
        for paper, wide_mm, high_mm in SIZES_MM
    )
