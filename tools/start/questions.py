"""What `evenclay start` asks, in order. Each question is an option of the command as well.

Nothing else stands here, since --help reads this. `answers` says what may be answered.
"""

from dataclasses import dataclass

SIDES = ("north", "east", "south", "west")


@dataclass(frozen=True)
class Question:
    """One question. key: its option without the dashes.

    asks: the question, with words of the house's own units in braces. help: what the option takes,
    for a reader whose units nobody knows yet.
    """

    key: str
    asks: str
    help: str


def _of_side(side: str) -> tuple[Question, ...]:
    return (
        Question(
            side,
            f"Length of hose along the {side} side, in {{length}}, or none",
            f'Length of hose along the {side} side, such as "40 ft" or "12 m"; or none.',
        ),
        Question(
            f"{side}-cover",
            f"What covers the ground on the {side} side ({{covers}})",
            f"What covers the ground on the {side} side: bare, mulched, lawn, "
            '"planted, shaded", "planted, morning sun" or "hot wall".',
        ),
        Question(
            f"{side}-spigot",
            f"Which spigot serves the {side} side ({{spigots}})",
            f"The spigot that serves the {side} side.",
        ),
    )


QUESTIONS = (
    Question(
        "moving",
        "Is the house moving now (new or growing cracks, doors that begin to stick), does a pipe "
        "leak under it, or is it being underpinned",
        "yes where the house is moving now, a pipe leaks under it, or it is being underpinned.",
    ),
    Question(
        "where",
        "Where the house stands: a US ZIP code, the nearest airport's code, or latitude and "
        'longitude as "32.4, -97.1"',
        'A US ZIP code, the nearest airport\'s code, or "LATITUDE, LONGITUDE" in degrees.',
    ),
    Question("units", "Units: us or metric", "us or metric."),
    Question(
        "elevation",
        "Height above the sea, in {height}, or unknown",
        'Height above the sea, such as "600 ft" or "180 m"; or unknown.',
    ),
    Question(
        "timezone",
        "Time zone",
        "Time zone, such as America/Chicago, where the place does not tell it.",
    ),
    Question("name", "What the house is called", "What the house is called."),
    Question(
        "foundation",
        "What it stands on: slab, crawl space or basement",
        'What the house stands on: slab, "crawl space" or basement.',
    ),
    Question(
        "built",
        "When it was built: old for ten years ago or longer, else the year, or year and month of "
        'its slab as "2021-05"',
        "When the house was built: old (ten years or more), a year, or YEAR-MONTH of its slab.",
    ),
    Question(
        "clay",
        'The clay, as people call it there, such as "black clay" (or unknown)',
        'The clay, as people call it, such as "black clay"; or unknown.',
    ),
    Question(
        "spigots",
        "Spigots that get a hub's valves, by names of your own, such as: back, front",
        'Names of the spigots, such as "back, front".',
    ),
    Question(
        "outline",
        "The house from above: its sides as you walk around it, each with the turn at its end, "
        "such as: {outline}; or rectangle, where the lengths of its sides are enough",
        'The sides as you walk around the house, each with the turn at its end, such as "40 ft '
        'right, 30 ft right, 40 ft right, 30 ft right"; or rectangle.',
    ),
    Question(
        "first-side",
        "Which way the first of them faces: north, east, south or west",
        "Which way the first side of the outline faces: north, east, south or west.",
    ),
    Question(
        "spigot-places",
        "Where each spigot is: its name, the number of its side in that order, and how far from "
        "the side's beginning, such as: {spigot_place}; or unknown",
        'Where each spigot is, as name, number of the side and distance along it: "back 3 12 ft"; '
        "or unknown.",
    ),
    Question(
        "paving",
        "Paving against the house, by the side's number, such as: {paving}; or none",
        'Paving against the house, by the number of the side: "2 10 ft to 14 ft"; or none.',
    ),
    *(question for side in SIDES for question in _of_side(side)),
    Question(
        "hose",
        "The hose: porous (water seeps through its wall) or emitter (it has holes at intervals)",
        "The hose: porous or emitter.",
    ),
    Question(
        "hose-flow",
        "What the hose gives, by its label, in {emission}; or by a bucket test of the whole hose "
        "of one side, as: {bucket}, {a_side}",
        'What the hose gives, by its label ("0.32 gal/h/ft", "4 L/h/m"), or by a bucket test of '
        'one side\'s whole hose ("3 gal in 10 min, north").',
    ),
    Question(
        "hose-pressure",
        "The pressure at which it gives that, in {pressure}",
        'The pressure at which the hose gives that, such as "11 psi" or "75 kPa".',
    ),
    Question(
        "spigot-flow",
        "What one spigot gives, in {supply_flow}, or by a bucket as {spigot_bucket}; or unknown",
        'What one spigot gives, as "4 gal/min", "15 L/min" or "5 gal in 60 s"; or unknown.',
    ),
    Question(
        "rain-sensor",
        "A rain sensor: none, gauge (it counts) or contact (wet or dry)",
        "The rain sensor: none, gauge or contact.",
    ),
    Question(
        "thermometer",
        "A thermometer outside, for frost",
        "yes where the hub has a thermometer outside.",
    ),
    Question(
        "probes",
        "Soil probes, {probe_depth} down: none, all, or the sides that have one",
        "Soil probes: none, all, or the sides that have one.",
    ),
    Question(
        "weekdays",
        "Local rules: weekdays on which you may water, such as mon, thu; or any",
        'Weekdays on which local rules allow water, such as "mon, thu"; or any.',
    ),
    Question(
        "dates",
        "Local rules: dates of the month on which you may water: any, odd or even",
        "Dates on which local rules allow water: any, odd or even.",
    ),
    Question(
        "banned-hours",
        "Local rules: hours in which nobody may water, such as 10:00-18:00; or none",
        'Hours in which local rules forbid water, such as "10:00-18:00"; or none.',
    ),
    Question(
        "water-price",
        'What water costs per {billed}, such as "$5"; or unknown',
        'What water costs, such as "$5 per 1000 gal", "$2.4 per m3"; or unknown.',
    ),
    Question(
        "new-seasons",
        "Work the table of seasons out anew from these answers",
        "yes to work the table of seasons of an existing file out anew.",
    ),
)

# Those whose answer has a unit; a number alone is in that of the house.
QUANTITIES = (
    "elevation",
    "outline",
    "spigot-places",
    "paving",
    *SIDES,
    "hose-flow",
    "hose-pressure",
    "spigot-flow",
)
