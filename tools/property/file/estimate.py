"""Tables of a property file about the estimate: the numbers by which the hub reckons what lacks.

`propose` works them out and writes them; an owner has no need to know them. Wetness is in pF, water
in millimetres over the strip. A hub reckons only where all of them stand.
"""

from collections.abc import Mapping
from typing import Annotated

from pydantic import Field, model_validator

from evenclay.tools.property.file import rules
from evenclay.tools.property.file.key_lines import KeyPath
from evenclay.tools.property.file.quantities import quantity as q
from evenclay.tools.property.file.rules import refusal
from evenclay.tools.property.file.table import Table

FULL_PF, DRIEST_PF = 2.0, 5.5  # a store lacks nothing at the first; no model goes beyond the second
Suction = Annotated[float, rules.number(FULL_PF, DRIEST_PF, "pF")]


class Terms(Table):
    """How a store of water, and the top above it, lose and hold water."""

    demand: Annotated[float, rules.number(0, 5, "a part of the day's reference demand")]
    top: Annotated[float, q("mm", 0, 60, "20 mm", "0.8 in")]  # it can lack so much
    top_share: Annotated[float, rules.number(0, 1, "a part of the demand")]
    freely: Suction  # drier, it gives less
    end: Suction  # drier, it gives nothing
    hold: Annotated[float, q("mm", 20, 300, "140 mm", "5.5 in")]  # below the top, a pF

    @model_validator(mode="after")
    def _relations(self) -> "Terms":
        if self.end <= self.freely:
            raise refusal(f"{self.end:g}", f"more than freely, {self.freely:g}", "end")
        return self


class Yard(Terms):
    """The yard beside all strips. level: its long-run mean pF, where the first day begins."""

    level: Suction


class Ground(Terms):
    """The ground of one zone.

    level_pf: its long-run mean, unwatered; there the first day begins. target_pf: to be kept.
    """

    beside: Annotated[float, rules.number(0, 0.5, "a part of the difference, a day")]
    level_pf: Suction
    target_pf: Suction

    @model_validator(mode="after")
    def _wetter(self) -> "Ground":
        if self.target_pf > self.level_pf:
            allowed = f"at most level_pf, {self.level_pf:g}: water can only wet"
            raise refusal(f"{self.target_pf:g}", allowed, "target_pf")
        return self


class Estimate(Table):
    """What the hub reckons for itself: how much each strip lacks."""

    # None: "on" where yard and every zone's ground are known.
    estimate: Annotated[str | None, rules.choice("on", "off")] = None
    # How much wetter than its level each strip is kept; the targets have it in them.
    relief: Annotated[float | None, rules.number(0, 0.8, "pF")] = None
    dose: Annotated[float, q("mm", 0.5, 20, "3 mm", "0.1 in")] = 3  # less is not worth a run
    # A day at most while a strip comes up to its target, at the season's opening.
    opening: Annotated[float, q("mm", 1, 20, "8 mm", "0.3 in")] = 8
    # What `propose` said of the plan when it had judged it on many grounds.
    verdict: Annotated[str | None, rules.choice("water", "leave")] = None
    yard: Yard | None = Field(default=None, description="a table, as `evenclay propose` writes it")


_RECKONS = "none: the hub reckons what each strip lacks, see [estimate]"
_RAIN = "none: rain goes into what the hub reckons, see [estimate]"
ANY = "*"  # a zone's name
# Keys of files of before, and what stands in their place.
GONE: Mapping[KeyPath, str] = {
    ("trim",): _RECKONS,
    ("rewet",): "none: [estimate] opening says how fast a strip that is too dry is brought back",
    ("lockouts", "rain", "most"): _RAIN,
    ("lockouts", "rain", "drain_floor"): _RAIN,
    ("lockouts", "rain", "lock_floor"): _RAIN,
    ("zones", ANY, "dry_limit"): "none: a probe that reads dry moves what the hub reckons, see "
    "[estimate]",
}


def instead(path: KeyPath) -> str | None:
    """What stands in the place of a key that has gone; None for a key that never was."""
    generic = tuple(
        ANY if place == 1 and path[0] == "zones" else part for place, part in enumerate(path)
    )
    return GONE.get(generic)
