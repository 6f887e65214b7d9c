"""The small drawing of the check: where a blade goes in, and how deep down a sample is taken."""

from evenclay.sim.house.hands import ROD, SAMPLE_M
from evenclay.sim.units import Units
from evenclay.tools.property.outline.line import OFF_M

PT_PER_M = 118.0  # the drawing's own scale; its lengths are told in words beside it
WIDE_PT = 236.0
BELOW_PT = 6.0  # of ground below what is drawn
GROUND_PT = 30.0  # of the ground's line from the top
WALL_PT = 46.0
TEXT = 'font-size="9"'


def check_svg(units: Units, *, sample: bool, blade: bool) -> str:
    """The cross-section of ground beside the wall, as an element of a page."""
    hose = WALL_PT + PT_PER_M * OFF_M
    high = GROUND_PT + PT_PER_M * (ROD.length_m if blade else SAMPLE_M) + BELOW_PT
    spot = hose + 0.2 * PT_PER_M
    parts = [
        f'<svg role="img" aria-label="The check, seen from the side" width="{WIDE_PT:g}pt" '
        f'height="{high:g}pt" viewBox="0 0 {WIDE_PT:g} {high:g}">',
        f'<rect x="0" y="{GROUND_PT}" width="{WIDE_PT:g}" height="{high - GROUND_PT:g}" '
        'fill="#e6e6e6"/>',
        f'<path d="M0 4H{WALL_PT}V{GROUND_PT + 34}H{WALL_PT - 16}V{GROUND_PT + 12}H0Z" '
        'fill="#fff" stroke="#000" stroke-width="1.2"/>',
        f'<text x="5" y="{GROUND_PT - 8}" {TEXT}>house</text>',
        f'<path d="M{WALL_PT} {GROUND_PT}H{WIDE_PT:g}" stroke="#000" stroke-width="1"/>',
        f'<circle cx="{hose:.1f}" cy="{GROUND_PT}" r="3.5" fill="#fff" stroke="#000" '
        'stroke-width="1.6"/>',
        f'<text x="{hose - 2:.1f}" y="{GROUND_PT - 18}" {TEXT} text-anchor="end">hose</text>',
        f'<path d="M{hose - 8:.1f} {GROUND_PT - 15}L{hose - 2:.1f} {GROUND_PT - 4}" '
        'stroke="#000" stroke-width=".6"/>',
        *_measure(WALL_PT, hose, units.shown(OFF_M, "near")),
    ]
    if blade:
        deep = GROUND_PT + PT_PER_M * ROD.length_m
        parts += [
            f'<path d="M{spot:.1f} 6V{deep:.1f}" stroke="#000" stroke-width="2"/>',
            f'<path d="M{spot - 6:.1f} 6H{spot + 6:.1f}" stroke="#000" stroke-width="3"/>',
            f'<text x="{spot + 9:.1f}" y="{GROUND_PT - 14}" {TEXT}>blade: '
            f"{units.shown(ROD.length_m, 'near')} deep</text>",
        ]
    if sample:
        place = spot + (26 if blade else 0)
        deep = GROUND_PT + PT_PER_M * SAMPLE_M
        parts += [
            f'<path d="M{place - 5:.1f} {GROUND_PT}V{deep:.1f}H{place + 5:.1f}V{GROUND_PT}" '
            'fill="#fff" stroke="#000" stroke-width=".8"/>',
            f'<rect x="{place - 5:.1f}" y="{deep - 8:.1f}" width="10" height="8" fill="#000"/>',
            f'<text x="{place + 9:.1f}" y="{deep - 1:.1f}" {TEXT}>sample: '
            f"{units.shown(SAMPLE_M, 'near')} down</text>",
        ]
    return "\n".join([*parts, "</svg>"])


def _measure(from_pt: float, to_pt: float, words: str) -> list[str]:
    """A measure between two places, below the ground's line."""
    y = GROUND_PT + 10
    return [
        f'<path d="M{from_pt:.1f} {y}H{to_pt:.1f}M{from_pt:.1f} {y - 3}V{y + 3}'
        f'M{to_pt:.1f} {y - 3}V{y + 3}" stroke="#000" stroke-width=".7" fill="none"/>',
        f'<text x="{from_pt + 3:.1f}" y="{y + 11}" {TEXT}>{words}</text>',
    ]
