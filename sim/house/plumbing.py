"""The water of a house: supplies, valves and hoses as they truly are, whatever the hub believes.

Water is counted in ml/h times seconds: whole numbers, which add up the same however time is cut.
A supply's pipe is booked when the flow in it changes, or when someone wants to know.
"""

from collections.abc import Sequence

from evenclay.controller.plan import Plan
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.faults import Fault, Trouble
from evenclay.sim.house.hoses import left_open
from evenclay.sim.house.site import Ground, Sky

BURST_TIMES = 3  # what a burst hose lets through, of its own flow
FILLING_ML_H = 60 * 19_000  # what a supply gives if nobody measured it: the least of usual spigots
NEVER_S = 1 << 60
YEAR_S = 365.25 * 86400

Move = tuple[int, int, int]  # when a valve was turned, which, and how long it may be open; 0: shut


class Pipe:
    """One supply's pipe: the zones on it, and where its water runs.

    It is booked when that changes, or when someone wants to know.
    """

    def __init__(self, zones: list[int], master: int | None, most_ml_h: int, since_s: int) -> None:
        """master: the supply's own valve, or None. most_ml_h: its greatest flow; 0: not known."""
        self.zones, self.master, self.most_ml_h = zones, master, most_ml_h
        # Where water runs: the zone, its valve's flow, and how much of that fills its hose, ml/h.
        self.running: list[tuple[int, int, int]] = []
        self.flow_ml_h = 0  # of all zones together
        self.since_s = since_s  # it has run like this since then
        self.passed = 0  # ml/h times seconds, as far as booked
        self.passed_at_boot = 0


class Plumbing:
    """What of the simulated hardware holds water, from the spigots to the pores of the hoses."""

    def __init__(self, plan: Plan, ground: Ground, sky: Sky, faults: Sequence[Fault]) -> None:
        self.plan = plan
        self.ground = ground
        self.sky = sky
        self.now_s = sky.start_s
        self.faults = tuple(faults)
        self._faults_of: dict[Trouble, list[Fault]] = {what: [] for what in Trouble}
        for fault in faults:
            self._faults_of[fault.what].append(fault)
        zones = len(plan.zones)
        self.valves = zones + len(plan.supplies)
        self._rates = [round(strip.flow_l_h * 1000.0) for strip in ground.strips]  # ml/h
        self._pipes = [
            Pipe(
                [zone for zone, part in enumerate(plan.zones) if part.supply == supply],
                zones + supply if spigot.master else None,
                60 * spigot.flow_ml_min,
                self.now_s,
            )
            for supply, spigot in enumerate(plan.supplies)
        ]
        # Valves and water.
        self.open_valves = [False] * self.valves
        self._supply_of = [part.supply for part in plan.zones]  # by valve
        self._supply_of += range(len(plan.supplies))
        # What changes by itself, and when: each valve at its deadline, then each supply when the
        # first of its hoses is full.
        self._ends_s = [NEVER_S] * (self.valves + len(plan.supplies))
        self._change_s = NEVER_S  # the earliest of these times
        # Hoses fill before they give their flow, and drain when shut. Water in ml/h times seconds.
        self._hold = [round(strip.hose_l * 1000.0) * HOUR_S for strip in ground.strips]
        self._drains = [round(strip.drain_l_h * 1000.0) for strip in ground.strips]  # ml/h
        self._in_hose = [0] * zones
        self._drains_from_s = [self.now_s] * zones
        self.given = [0] * zones  # ml/h times seconds since the start, as far as booked
        self.most_open_at_once = 0  # zones with a way for the water, hub-wide
        self.most_open_on_supply = 0
        self.moves: list[Move] = []  # every turn of a valve that was asked for

    def move(self, valve: int, open_s: int) -> None:
        """Open a valve and arm its deadline, or shut it with 0."""
        self.moves.append((self.now_s, valve, open_s))
        self._turn(valve, open_s > 0)
        if open_s > 0:
            self._ends_s[valve] = self.now_s + open_s
        self._change_s = min(self._ends_s)

    def catch_up(self) -> None:
        """Book the water so far, and let the ground step every whole hour that has passed."""
        for pipe in self._pipes:
            if pipe.running:
                self._book(pipe)
        self.ground.catch_up(self.now_s)

    def advance(self, to_s: int) -> None:
        """Let time pass: water flows, drivers' deadlines end."""
        while (change_s := self._change_s) <= to_s:
            self.now_s = max(change_s, self.now_s)
            place = self._ends_s.index(change_s)
            if place < self.valves:
                self._turn(place, False)
            else:
                self._set_flows(place - self.valves)
            self._change_s = min(self._ends_s)
        if self.now_s < to_s:
            self.now_s = to_s

    def turn_faults(self) -> None:
        """Take note that a fault began or ended just now."""
        for fault in self.faults:
            if fault.what is Trouble.STUCK_OPEN and fault.start_s == self.now_s:
                self.open_valves[fault.which] = True
        for supply in range(len(self._pipes)):
            self._set_flows(supply)
        self._count_open()
        self._change_s = min(self._ends_s)

    def power_off(self) -> None:
        """Power is away: held valves shut, timers and RAM are gone."""
        for valve in range(self.valves):
            self._ends_s[valve] = NEVER_S
            if valve < len(self.plan.zones) and self.plan.zones[valve].held:
                self._turn(valve, False)
        self._change_s = min(self._ends_s)

    def _is(self, what: Trouble, which: int = 0) -> bool:
        """Whether a trouble stands now."""
        for fault in self._faults_of[what]:
            if fault.which == which and fault.start_s <= self.now_s < fault.end_s:
                return True
        return False

    def _turn(self, valve: int, to_open: bool) -> None:
        """Move a valve in fact."""
        if not to_open:
            self._ends_s[valve] = NEVER_S
            if self.faults and self.open_valves[valve]:
                to_open = self._is(Trouble.STUCK_OPEN, valve)
        if to_open != self.open_valves[valve]:
            self.open_valves[valve] = to_open
            if to_open and valve < len(self._rates):
                self._rates[valve] = self._flow_ml_h(valve)
            self._set_flows(self._supply_of[valve])
            if to_open:
                self._count_open()

    def _count_open(self) -> None:
        """Take note of how many zones have a way for the water."""
        at_once = 0
        for pipe in self._pipes:
            ways = len(pipe.running)
            at_once += ways
            if ways > self.most_open_on_supply:
                self.most_open_on_supply = ways
        if at_once > self.most_open_at_once:
            self.most_open_at_once = at_once

    def _flow_ml_h(self, zone: int) -> int:
        """A hose's own flow by now, its pores closing with the years."""
        strip = self.ground.strips[zone]
        if strip.hose_years is None:
            return self._rates[zone]
        years = strip.hose_years + (self.now_s - self.sky.start_s) / YEAR_S
        return round(strip.flow_l_h * 1000.0 * left_open(years) / left_open(strip.hose_years))

    def _set_flows(self, supply: int) -> None:
        """Book what ran on a supply until now, and see where it runs from now on."""
        pipe = self._pipes[supply]
        if pipe.running:
            self._book(pipe)
            pipe.running = []
            pipe.flow_ml_h = 0
        pipe.since_s = self.now_s
        valves, full_s = self.open_valves, NEVER_S
        if pipe.master is None or valves[pipe.master]:
            ways = [zone for zone in pipe.zones if valves[zone]]
            if ways:
                full_s = self._share(pipe, ways)
        self._ends_s[self.valves + supply] = full_s

    def _share(self, pipe: Pipe, ways: list[int]) -> int:
        """Share a supply's water among its zones that have a way for it.

        A hose that is not full takes what its supply has left. Until it is full, half of its flow
        comes out of it. What drained since it was shut is booked once it opens again, all of it to
        the present hour. Returns when the first hose that fills is full.
        """
        flows: list[int] | dict[int, int] = self._rates
        if self.faults:
            flows = {zone: self._spoiled(zone) for zone in ways}
        wanted, most = 0, pipe.most_ml_h
        for zone in ways:
            wanted += flows[zone]
        rest = max((most or FILLING_ML_H) - wanted, 0)
        full_s = NEVER_S
        for zone in ways:
            flow, kept = flows[zone], 0
            if 0 < most < wanted:
                flow = flow * most // wanted
            if flow and self._hold[zone] and (room := self._room(zone)) > 0:
                kept = rest + flow - flow // 2
                flow, rest = flow + rest, 0
                full_s = min(full_s, self.now_s - -room // kept)
            pipe.running.append((zone, flow, kept))
            pipe.flow_ml_h += flow
        return full_s

    def _room(self, zone: int) -> int:
        """What a zone's hose still has room for, once what drained from it is booked."""
        held = self._in_hose[zone]
        drained = min(self._drains[zone] * (self.now_s - self._drains_from_s[zone]), held)
        if drained:
            self._in_hose[zone] = held = held - drained
            self._drains_from_s[zone] = self.now_s
            self.ground.soak(zone, drained, self.now_s)
        return self._hold[zone] - held

    def _spoiled(self, zone: int) -> int:
        """A zone's own flow with what is wrong with its hose [ml/h]."""
        if self._is(Trouble.BLOCKED, zone):
            return 0
        return self._rates[zone] * (BURST_TIMES if self._is(Trouble.BURST, zone) else 1)

    def _book(self, pipe: Pipe) -> None:
        """Book what ran from a supply until now."""
        from_s, now_s = pipe.since_s, self.now_s
        if from_s == now_s:
            return
        pipe.since_s = now_s
        time_s = now_s - from_s
        pipe.passed += pipe.flow_ml_h * time_s
        for zone, flow, kept in pipe.running:
            self.given[zone] += flow * time_s
            if kept:
                self._in_hose[zone] += kept * time_s
            self._drains_from_s[zone] = now_s
            self.ground.water(zone, flow, from_s, now_s, kept)
