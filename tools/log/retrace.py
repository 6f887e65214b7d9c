"""A log, run again and told: every decision in words, what differs, and the files of a report."""

from collections.abc import Sequence
from dataclasses import dataclass

from evenclay.controller.plan import Plan
from evenclay.sim.house.house import House
from evenclay.sim.units import UNITS
from evenclay.tools.log.items import Event, File, Item
from evenclay.tools.log.rerun import Judged, rerun
from evenclay.tools.log.told import Words


@dataclass(frozen=True)
class Retraced:
    """What a re-run of a log came to. plan: that of the log's last days."""

    items: Sequence[Item]
    judged: Sequence[Judged]
    house: House
    plan: Plan
    zones: tuple[str, ...]
    words: Words
    notes: Sequence[str]

    @property
    def lines(self) -> list[str]:
        """Each decision in words, oldest first."""
        return [self.words.line(event) for event in self.told]

    @property
    def differs(self) -> bool:
        return any(one.differs for one in self.judged)

    @property
    def verdict(self) -> str:
        """How many decisions are the same, and the first that is not."""
        again = [one for one in self.judged if one.rerun]
        rest = len(self.judged) - len(again)
        also = f" {rest} more could not be run again." if rest else ""
        for one in again:
            if one.differs:
                told, found = (
                    "nothing" if event is None else f'"{self.words.line(event)}"'
                    for event in (one.told, one.found)
                )
                return f"The first decision that differs: the hub said {told}, and now {found}."
        if not again:
            return f"Of {rest} decisions none could be run again."
        return f"{len(again)} decisions, run again: none differs.{also}"

    @property
    def told(self) -> list[Event]:
        """What the hub reported, oldest first."""
        return [one.told for one in self.judged if one.told is not None]


def retraced(items: Sequence[Item], plans: dict[int, Plan], house: House, core: int) -> Retraced:
    """Run a log again under the property's plan, and under those that the board held.

    core: the version of this core
    """
    plans = {**plans, house.plan.crc: house.plan}
    files = [item for item in items if isinstance(item, File)]
    ran = [file.plan_crc for file in files if file.plan_crc in plans]
    plan = plans[ran[-1]] if ran else house.plan
    zones = tuple(part.name for part in plan.zones)
    supplies = tuple(f"spigot {number + 1}" for number in range(len(plan.supplies)))
    if plan.crc == house.plan.crc:
        zones = tuple(strip.name for strip in house.strips)
        supplies = house.supplies
    words = Words(plan, zones, supplies, UNITS[house.units])
    judged = tuple(rerun(items, plans))
    notes = tuple(_notes(files, plans, house, core))
    return Retraced(items, judged, house, plan, zones, words, notes)


def _notes(files: Sequence[File], plans: dict[int, Plan], house: House, core: int) -> list[str]:
    """What an owner has to know of plans and versions, a line each."""
    notes = []
    crcs = list(dict.fromkeys(file.plan_crc for file in files))
    others = [crc for crc in crcs if crc != house.plan.crc]
    held = [f"{crc:08x}" for crc in others if crc in plans]
    lost = [f"{crc:08x}" for crc in others if crc not in plans]
    if held:
        notes.append(
            f"The property's plan is {house.plan.crc:08x}; the hub ran {', '.join(held)}, which "
            "the board still held, and which was run again."
        )
    if lost:
        notes.append(
            f"The property's plan is {house.plan.crc:08x}; the hub ran {', '.join(lost)}, which is "
            "not known here: what it decided then is shown and was not run again."
        )
    cores = [file.core for file in files if file.core != core]
    if cores:
        ran = f"The hub ran another version of the code, {cores[-1]:08x}, and this is {core:08x}: a"
        if not cores[-1]:
            ran = (
                "The log does not tell which version of the code the hub ran. If it was another "
                "than this one, a"
            )
        notes.append(f"{ran} decision may differ for that reason alone.")
    return notes
