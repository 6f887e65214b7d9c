"""The cross-section's part of sim/VALIDATION.md: closed forms, envelopes, what reviewers ask."""

from collections.abc import Iterator

import numpy as np

from evenclay.sim.section import Ground, Layout, Section, Zone
from evenclay.sim.types import Floats
from evenclay.tools.dev.validation import bare_strip, climates, confusion
from evenclay.tools.dev.validation.figures import Check

MITCHELL = "Mitchell 1979, closed form (from memory)"
STILL = Zone(coefficient=0.0, exposure=0.0, yard_coefficient=0.0, yard_exposure=0.0, slab_m=0.3)
STILL_DAY = np.zeros(24)
YEAR_D, YEARS, SWING_PF, MIDDLE_PF = 365, 12, 0.2, 3.3
DEPTHS_M = (0.5, 1.0, 2.0)
ALPHAS_CM2_S = (0.0005, 0.0018)

METHOD = """\
## The ground in cross-section

[section/README.md](section/README.md) says how it works; none of its figures was fitted to
weather that plans are judged on. It was checked in six ways. Those that take long stand in a test
alone:
"""
METHOD_ROWS = (
    (
        "a yearly swing of suction by Mitchell's closed form",
        "the table of suction spreading",
        "2 %; 3 days",
        "0.9 %; 1.5 days",
    ),
    (
        "a linear trial computed apart, four alphas, four targets: range at the edge",
        "`tests/published/test_section_diffusion.py`",
        "6 points",
        "2 points",
    ),
    (
        "a fine solution in two dimensions, three years, three grounds: pF; movement at the edge",
        "`tests/published/test_section_fine.py`",
        "0.1 pF; 5 points",
        "0.04 pF; 1.1 points",
    ),
    (
        "water lost or made in twenty years, in every ground",
        "`tests/property/test_section.py`",
        "1e-6 mm",
        "2e-8 mm",
    ),
    (
        "half the step, eight seeds: movement and tilt together",
        "`tests/published/test_section_steps.py`",
        "1 point",
        "0.2 points",
    ),
    ("open ground and reach inward beside what engineers publish", "below", "below", "below"),
)

ENVELOPES = """\
### Open ground and reach beside what engineers publish

The middle ground, a lawn on it. *Usual* is the published curve of suction under covered ground by
Thornthwaite's moisture index: pF 3.4 - 0.02 index, at least 2.8 and at most 4.2. It is held 6 m
down; *inside* is what the climate makes of the ground under mid-house between, unwatered, and
0.4 pF off the curve counts as missed. `python -m
evenclay.tools.dev.validation.climates` prints both tables, and
`tests/published/test_section_climates.py` holds what follows from them.
"""

ENVELOPES_SAY = """\
- **Depth.** Between the indices of -15 and +10 the middle ground is within a third of AS 2870's
  depth of seasonal change. Farther out it is not, and that is not bent: a yearly wave reaches as
  deep as alpha lets it, whatever the climate, while the standard's depths envelop many years and
  grow with aridity. The whole record's depth does that from the demo to Tunis.
- **Suction under the house** lies within 0.25 pF of the curve in all seven climates, on tight,
  middle and free ground. Much of that is what is held at 6 m, as engineers do who reckon with an
  equilibrium suction far down. With nothing held there, water left the section only through tight
  clay, by its own weight: the ground came out 1.1 pF wetter than the curve at Seattle, 0.9 at
  Cambridge, and 0.6 drier at Cordoba, whose air asks for twice Thornthwaite's potential.
- **Open ground** is wetter than the curve in wet climates and drier at Cordoba still. The curve was
  drawn for covered ground and says nothing of it. A house with a soil report gives its own suction.
"""

REACH_SAYS = """\

How far in from the slab's edge the change of any layer below the footing passes 0.1 pF, at Tunis.
Engineers reckon with 0.6-2.7 m (Post-Tensioning Institute, from memory): middle and free ground
lie there, tight clay does not reach so far.
"""

REVIEWER = """\
## What a geotechnical reviewer would attack first

- **"One alpha for all depths, wet or dry, up or sideways, and pF spreads linearly."** So Mitchell
  has it, and so field values were back-calculated. It is a decade uncertain, and the
  plausible grounds span the decade. Hysteresis, and wetting twice as fast as drying, are left out.
- **"Suction is not movement."** Right: the measures compare ways of watering on the same ground,
  in percent of leaving it alone. No millimetres, no site class, no stiffness of a footing, which
  evens out edges.
- **"Cracks make the ground that you idealise."** They swallow a share of rain, conduct down to a
  fixed depth and dry bare clay to 0.3 m. When they open and close is an assumption. What hangs on
  the last: the table of the bare strip below.
- **"Far down you have no water table."** Suction is held there at what is usual with the climate,
  +-0.3 pF, or at the owner's. A water table within 6 m needs the latter.
- **"Nobody waters by a model's truth."** No: hands and sensors are as published, below, and plans
  are judged with them.
- **"It was tested on itself."** It was held against closed forms, and against what is published of
  suction and depth in open ground and of reach under slabs. No measured section beside a watered
  house is public, so none was held against it.
"""

HANDS = """\
## What hands and sensors tell

The demo's house, in its own weather and at Tunis, on eight of the judged grounds, unwatered, kept
at its targets, and kept too wet: what each says once a week, in percent of the strips that are
truly dry, firm and wet (more than 0.4 pF drier than the target, about it, and wetter). *Right* is
the mean of the three. `python -m evenclay.tools.dev.validation.confusion` prints it.
"""

HANDS_SAY = """\
- **A rod tells of the hand and the clay as much as of its wetness.** By the published relation a
  quarter-inch rod pushed with 100 N, one hand's, stops in the middle clay at pF 2.7, in the
  tightest and loosest of the set at 2.1 and 3.2; with 200 N, both hands', in the middle clay at
  3.6. With one hand it is nearly always `dry`. Replays take one hand's.
- **A sample tells dry from wet nearly always, and one time in two what is right**: its borders
  are fixed, and a target may lie at the edge of its class.
- **A capacitive probe that was not calibrated in the very soil** says no more than a sample does,
  but says it every three hours. Its error stays: a zone that reads wrong does so for years.
- **A granular matrix sensor is near its end at these targets**: 200 kPa is pF 3.3. Below that it
  is the best of all; above it says nothing, and a tensiometer, which ends at pF 2.9, hardly ever
  says anything.
"""

BARE = """\
## What hangs on the bare strip

Four unlike sides at Tunis on the middle ground, one of them bare, 26 years, watered by the truth
of each midnight. *Shift* is the lasting difference between sides, in percent of the unwatered
yearly movement, and tilt and unrest are in percent of the same unwatered. `python -m
evenclay.tools.dev.validation.bare_strip` prints it.
"""

BARE_SAYS = """\
- Without its neighbours' roots and the air in its cracks a bare strip stands 0.12 pF wetter, and
  most of the lasting difference that one wetness makes hangs on that: 57 points more than own
  levels, of which 6 are left with them.
- The direction stays. One wetness for all sides is worse than own levels in every row, in unrest,
  shift and tilt.
"""


def closed_forms() -> Iterator[Check]:
    """A yearly swing at the surface, by depth, with the second path alone."""
    for alpha in ALPHAS_CM2_S:
        wave = float(np.sqrt(np.pi / (alpha * 8.64 * YEAR_D)))
        share, late_d = swing_by_depth(alpha)
        for depth_m, ours, days in zip(DEPTHS_M, share, late_d, strict=True):
            what = f"alpha {alpha} cm2/s, {depth_m} m:"
            theirs = float(np.exp(-wave * depth_m))
            yield Check(f"{what} share of the swing", MITCHELL, theirs, ours, 0.02 * theirs)
            lag_d = wave * depth_m * YEAR_D / 2.0 / np.pi
            yield Check(f"{what} lag", MITCHELL, lag_d, days, 3.0, "d")


def swing_by_depth(alpha_cm2_s: float) -> tuple[list[float], list[float]]:
    """Share of the surface's swing and its lag in days, at each of DEPTHS_M."""
    layout = Layout()
    ground = Ground(alpha_cm2_s=alpha_cm2_s, matrix_mm_d=0.0, footing_m=0.0, layout=layout)
    section = Section(ground, [STILL], start_pf=MIDDLE_PF, closed=True)
    days: list[Floats] = []
    for day in range(YEARS * YEAR_D):
        surface = [MIDDLE_PF + SWING_PF * float(np.cos(2.0 * np.pi * (day + 0.5) / YEAR_D))]
        section.hold_surface(surface, surface)
        section.live(STILL_DAY, STILL_DAY)
        days.append(section.pf()[0, 0])
    turn = np.exp(-2j * np.pi * (np.arange(YEAR_D) + 1.0) / YEAR_D)
    found = 2.0 * (turn[:, None] * np.array(days[-YEAR_D:])).mean(axis=0) / SWING_PF
    # Between layers a wave is read by its logarithm, in which it is a straight line.
    shares = np.exp(np.interp(DEPTHS_M, layout.middles_m, np.log(np.abs(found))))
    phases = np.interp(DEPTHS_M, layout.middles_m, np.unwrap(np.angle(found)))
    return shares.tolist(), (-phases * YEAR_D / 2.0 / np.pi).tolist()


def method() -> str:
    """How the section was checked, with what engineers publish beside it."""
    ways = ["| check | where | allowed | found |", "|---|---|---|---|"]
    ways += [f"| {' | '.join(row)} |" for row in METHOD_ROWS]
    published = [ENVELOPES, *climates.table(), "", ENVELOPES_SAY + REACH_SAYS]
    return "\n".join([METHOD, *ways, "", *published, *climates.reach_table(), ""])


def trials() -> str:
    """What hands and sensors tell, and what hangs on the bare strip."""
    hands = [HANDS, *confusion.table(), "", HANDS_SAY]
    return "\n".join([*hands, BARE, *bare_strip.table(), "", BARE_SAYS])
