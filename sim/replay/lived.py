"""What a whole life leaves behind: its ground, its devices, and what was heard and felt."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.devices import Devices, Heard
from evenclay.sim.house.site import Ground, Sky
from evenclay.sim.replay.life import NOTHING, Felt, Policy, Script, begin

G = TypeVar("G", bound=Ground)


@dataclass(frozen=True)
class Lived(Generic[G]):
    """What a policy left behind.

    devices: None where nobody waters. wakes, saves, polls: the hub's; polls are the wakes that it
    asked for to read sensors.
    """

    ground: G
    devices: Devices | None
    felt: Sequence[Felt] = ()
    wakes: int = 0
    saves: int = 0
    polls: int = 0

    @property
    def heard(self) -> Sequence[Heard]:
        """The hub's events; none without a hub."""
        return self.devices.heard if self.devices else ()

    def events_of(self, zone: int) -> list[tuple[int, ...]]:
        """A zone's events."""
        return [h.event for h in self.heard if h.event[1] == zone]

    def checks(self) -> dict[str, int]:
        """The owner's checks, a strip and week each: `made`, and `missed`."""
        made = sum(one.report is not None for one in self.felt)
        return {"made": made, "missed": len(self.felt) - made}


def live(
    ground: G,
    policy: Policy,
    sky: Sky,
    *,
    seed: int = 1,
    script: Script = NOTHING,
) -> Lived[G]:
    """Replay one policy over all the hours of the sky, on ground at its start."""
    end_s = sky.start_s + HOUR_S * sky.hours
    if policy.plan is None:
        ground.catch_up(end_s)
        return Lived(ground, None)
    life = begin(policy, ground, sky, seed, script)
    life.run(end_s)
    life.devices.catch_up()
    return Lived(ground, life.devices, life.felt, *life.counts())
