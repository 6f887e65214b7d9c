"""A log, run again and told: every decision in words, what differs, and the files of a report."""

from collections.abc import Sequence
from dataclasses import dataclass

from evenclay.controller.plan import Plan
from evenclay.sim.house.house import House
from evenclay.tools.log.items import Event, File, Item
from evenclay.tools.log.rerun import Judged, rerun
from evenclay.tools.log.told import Speech, Words


@dataclass(frozen=True)
class Retraced:
    """What a re-run of a log came to."""

    items: Sequence[Item]
    judged: Sequence[Judged]
    house: House
    speech: Speech
    notes: Sequence[str]

    @property
    def lines(self) -> list[str]:
        """Each decision in words, oldest first."""
        return [words.line(event) for event, words in self.told]

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
                words = self.speech.of(one.plan_crc)
                told, found = (
                    "nothing" if event is None else f'"{words.line(event)}"'
                    for event in (one.told, one.found)
                )
                return f"The first decision that differs: the hub said {told}, and now {found}."
        if not again:
            return f"Of {rest} decisions none could be run again."
        return f"{len(again)} decisions, run again: none differs.{also}"

    @property
    def told(self) -> list[tuple[Event, Words]]:
        """What the hub reported, oldest first, each with the words for it."""
        return [(one.told, self.speech.of(one.plan_crc)) for one in self.judged if one.told]


def retraced(items: Sequence[Item], plans: dict[int, Plan], house: House, core: int) -> Retraced:
    """Run a log again under the property's plan, and under those that the board held.

    core: the version of this core
    """
    plans = {**plans, house.plan.crc: house.plan}
    files = [item for item in items if isinstance(item, File)]
    judged = tuple(rerun(items, plans))
    notes = tuple(_notes(files, plans, house, core))
    return Retraced(items, judged, house, Speech(plans, house), notes)


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
            "not known here: what it decided then is shown, with numbers for its zones, and was "
            "not run again."
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
