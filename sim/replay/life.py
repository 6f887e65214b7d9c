"""One life: the real hub in a simulated house, event by event, over as long as the weather lasts.

Time moves to whatever comes first: the hub's own wake, something from outside (an owner's check,
a clock step, a fault, a power cut) or the end. The ground is stepped in whole hours when someone
looks at it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from evenclay.controller.plan import Plan
from evenclay.controller.ports import ASK_CHECK, ASK_SAMPLE
from evenclay.controller.runner import Runner
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.devices import Devices
from evenclay.sim.house.faults import Fault, PowerCut
from evenclay.sim.house.house import Owner, Report
from evenclay.sim.house.owner import check_times, reports
from evenclay.sim.house.plumbing import NEVER_S
from evenclay.sim.house.site import Ground, Sky

if TYPE_CHECKING:
    from evenclay.controller.ports import Asked

TURNS_MAX = 100  # in one second; a hub that takes more asks for ever to be woken at once
OUTAGE_S = 30  # power is away so long after a cut, unless the script says otherwise

Action = Callable[[Devices], None]


@dataclass(frozen=True)
class Policy:
    """A plan to obey (None: nobody waters), and whoever checks by hand (None: nobody)."""

    name: str
    plan: Plan | None
    owner: Owner | None


@dataclass(frozen=True)
class Script:
    """What happens to a house from outside, besides weather and the owner's checks.

    actions: (time, what is done to the devices). stepped: spans of time, (from, until), in which
    the hub is woken every second. boot: how a hub boots on the devices. Times are true UTC seconds
    since 2000-01-01.
    """

    actions: Sequence[tuple[int, Action]] = ()
    faults: Sequence[Fault] = ()
    stepped: Sequence[tuple[int, int]] = ()
    drift_ppm: int = 0
    outage_s: int = OUTAGE_S
    boot: Callable[[Devices], Runner] = Runner


NOTHING = Script()


class Felt(NamedTuple):
    """A strip at the owner's weekly check, and what he reported of it; None: he missed it."""

    at_s: int
    zone: int
    report: Report | None


class Life:
    """One hub in one house, from power-on to the end."""

    def __init__(self, plan: Plan, ground: Ground, sky: Sky, script: Script, seed: int) -> None:
        self.devices = Devices(
            plan, ground, sky, seed=seed, drift_ppm=script.drift_ppm, faults=script.faults
        )
        self.wakes = 0
        self.felt: list[Felt] = []
        self._plan, self._sky, self._seed = plan, sky, seed
        self._script = script
        self._runner: Runner | None = None  # None: without power
        self._wake_s = sky.start_s
        actions = list(script.actions)
        for fault in script.faults:
            actions += [(fault.start_s, Devices.turn_faults), (fault.end_s, Devices.turn_faults)]
        actions += [(from_s, _nothing) for from_s, _ in script.stepped]
        actions.append((NEVER_S, _nothing))
        self._actions = sorted(actions, key=lambda action: action[0])
        self._next = 0

    def check_by_hand(self, owner: Owner, from_s: int = 0) -> None:
        """Let an owner check every week from a time on. Call it before the life is run."""
        end_s = self._sky.start_s + HOUR_S * self._sky.hours
        times = check_times(owner, self._plan, self._sky, end_s)
        check = partial(self._check, owner)
        self._actions += [(at_s, check) for at_s in times if at_s >= from_s]
        self._actions.sort(key=lambda action: action[0])

    def _check(self, owner: Owner, devices: Devices) -> None:
        """The owner checks every strip by hand and tells the hub; some weeks he does not."""
        devices.catch_up()
        random = np.random.default_rng([self._seed, devices.now_s])
        found = reports(owner, devices.ground.felt, random)
        for zone in range(len(devices.ground.strips)):
            report = None if found is None else found[zone]
            self.felt.append(Felt(devices.now_s, zone, report))
            for what, said in zip((ASK_CHECK, ASK_SAMPLE), report or (), strict=False):
                if said is not None:
                    devices.ask((what, zone, (said,)))

    def run(self, end_s: int) -> None:
        """Live until a time; may be called again with a later one."""
        devices = self.devices
        while True:
            action_s = self._actions[self._next][0]
            try:
                self._wakes(min(action_s, end_s))
                if action_s >= end_s:
                    devices.advance(end_s)
                    return
                devices.advance(action_s)
                self._act(action_s)
                self._turn(action_s)
            except PowerCut:
                devices.power_off()
                self._runner = None
                self._wake_s = devices.now_s + self._script.outage_s

    @property
    def runner(self) -> Runner:
        """The hub's runner; it must have been booted."""
        assert self._runner is not None
        return self._runner

    def ask(self, asked: "Asked") -> list[tuple[int, ...]]:
        """Give the hub an owner's command now, and let it take a turn. Returns its events."""
        devices = self.devices
        before = len(devices.heard)
        devices.ask(asked)
        self._turn(devices.now_s)
        return [one.event for one in devices.heard[before:]]

    def counts(self) -> tuple[int, int, int]:
        """Wakes, saves and polls so far; polls only of the hub that was booted last."""
        polls = self._runner.hub.polls if self._runner else 0
        return self.wakes, self.devices.saves, polls

    def _act(self, at_s: int) -> None:
        while self._actions[self._next][0] <= at_s:
            self._next += 1
            self._actions[self._next - 1][1](self.devices)

    def _wakes(self, until_s: int) -> None:
        """Take the turns that are due before a time."""
        devices = self.devices
        turns = 0
        while (at_s := self._wake_s) < until_s:
            if at_s > devices.now_s:
                turns = 0
                devices.advance(at_s)
            elif (turns := turns + 1) > TURNS_MAX:
                raise RuntimeError(f"the hub wakes {TURNS_MAX} times in second {at_s}")
            self._turn(at_s)

    def _turn(self, at_s: int) -> None:
        if self._runner is None:
            if at_s < self._wake_s:
                return
            self.devices.power_on()
            self._runner = self._script.boot(self.devices)
        self.wakes += 1
        up_s = self._runner.turn()
        hub = self._runner.hub
        # While no meter runs, a wake that only looks at meters changes nothing, so we leave it out.
        if up_s == hub.wake_s and hub.wake_s < hub.due_s and not self.devices.meter_runs():
            up_s = hub.due_s
        wake_s = self.devices.at_up_s(up_s)
        self._wake_s = wake_s if wake_s > at_s else at_s
        if self._script.stepped:
            for from_s, until_s in self._script.stepped:
                if from_s <= at_s < until_s:
                    self._wake_s = min(self._wake_s, at_s + 1)


def begin(
    policy: Policy,
    ground: Ground,
    sky: Sky,
    seed: int,
    script: Script = NOTHING,
) -> Life:
    """Put a policy's hub and its owner's checks into a house; the policy must have a plan."""
    assert policy.plan is not None
    life = Life(policy.plan, ground, sky, script, seed)
    if policy.owner is not None:
        life.check_by_hand(policy.owner)
    return life


def _nothing(devices: Devices) -> None:
    """Only wake the hub."""
