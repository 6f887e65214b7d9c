"""Write sim/VALIDATION.md and sim/ponding.png: the physics beside published and finer figures.

python -m evenclay.tools.dev.validation.page

Every figure of ours is computed anew; the published ones stand here with their sources.
"""

from pathlib import Path

from evenclay.tools.dev.validation.figures import (
    Check,
    evapotranspiration,
    movement,
    pipes,
    probes,
    water_in_soil,
)
from evenclay.tools.dev.validation.ponding import picture
from evenclay.tools.dev.validation.section import REVIEWER, closed_forms, method, trials
from evenclay.tools.dev.validation.years import weather_generator

PAGE = Path(__file__).parents[3] / "sim" / "VALIDATION.md"
PICTURE = PAGE.with_name("ponding.png")
PARTS = {
    "Suction spreading in the cross-section": closed_forms,
    "Reference evapotranspiration and crop coefficient": evapotranspiration,
    "Soil water": water_in_soil,
    "Movement": movement,
    "Hoses": pipes,
    "Soil sensors": probes,
    "Invented weather": weather_generator,
}
NOT_VALIDATED = """\
## What has not been validated

- No part has been held against a measured strip of clay beside a house: no such record is public.
- How much water cracks take, and at what suction they open and close, is an assumption. The water
  that their walls take up on the way down is left out.
- The strip coefficients on ET0, the share of rain under eaves and the surface storage of 3 mm are
  common practice without a source.
- Published conductivities of clay span 0.5 to 5 mm/h, and clays differ more than that from metre
  to metre. The default is 2, and plausible grounds span 0.5 to 50 for a fissured top.
- Movement, tilt and unrest weigh suction as AS 2870 weighs strain. That less of them means less
  harm to a house is not shown; none is a movement in millimetres, and none classifies a site.
- Seattle's four years have a spell of 81 days below 1 mm; of four invented years one set in fifty
  has. Spells without any wet day are of the right length, but lone wet days of mere drizzle are
  too few. Invented years differ less in rain than real ones, Tunis's by a quarter.
- Rain within a day, and the hours of evapotranspiration, are made up from daily figures.
- How hard an owner pushes a rod, how much that differs, and how often he puts a sample into the
  class beside its own. The relation of resistance to suction scatters by a factor of about 1.5 from
  soil to soil, which is half a pF; here every clay lies on its line.
- Fill, drain and clogging of hoses are estimates. Sensors' noise, offsets and losses are common
  practice without a source. A suction sensor follows its soil at once here; real ones lag.
- Snow, frozen ground, salts, roots of trees, leaks and slopes are not simulated.
"""


def shown(value: float, sign: str = "") -> str:
    """A difference in two digits, or more from 100 on."""
    return f"{value:{sign}.0f}" if abs(value) >= 100.0 else f"{value:{sign}.2g}"


def page(parts: dict[str, list[Check]], before: str = "", after: str = "") -> str:
    """The page's text. before, after: what stands before and after the tables of checks."""
    lines = [
        "# What the physics was checked against",
        "",
        "Written by `make validation`; the same checks run as tests. *Allowed* is the difference",
        "that the tests let pass; of invented years it is three standard errors of the difference",
        "that chance makes between spans so long. Where a source says computed, the figure follows",
        "from the source's formula, apart from this code, and is not printed there.",
        "",
        *([before] if before else []),
    ]
    for title, checks in parts.items():
        lines += [f"## {title}", "", "| check | source | published | ours | difference | allowed |"]
        lines += ["|---|---|---|---|---|---|"]
        for check in checks:
            difference = check.ours - check.other
            cells = [
                check.what,
                check.source,
                f"{check.other:.5g} {check.unit}".strip(),
                f"{check.ours:.5g}",
                shown(difference, "+") + ("" if check.holds else " **beyond**"),
                shown(check.allowed),
            ]
            lines.append("| " + " | ".join(cells) + " |")
        lines.append("")
    return "\n".join([*lines, REVIEWER, NOT_VALIDATED, after]).rstrip("\n") + "\n"


def main() -> None:
    """Compute, and write both files."""
    parts = {title: list(part()) for title, part in PARTS.items()}
    PAGE.write_text(page(parts, method(), trials()), "utf-8")
    picture(PICTURE)


if __name__ == "__main__":
    main()
