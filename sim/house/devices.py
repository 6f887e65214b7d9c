"""The simulated hardware: everything a board would give the runner, and what it truly does.

Water flows where a valve is open in fact, whatever the hub believes; litres, overlap and the most
valves open at once are measured here and never taken from the hub's word.

Fault model
- Power can go between any two port calls, or in the middle of a write: the copy then holds the new
  bytes up to some length and the old ones after it.
- Latching valves stay as they are while power is away; held ones shut. A driver's own deadline is
  a timer on the board and dies with its power.
- A driver or a save may raise; a save may be lost in silence.
- A valve may stick open, a hose may be blocked or burst. A probe may stick, break, short or fall
  silent. The thermometer may fall silent, stick, or show what no air is. The gauge may fall silent,
  count nothing, or count where nothing falls.
- The clock may drift, step or be lost. Drift moves uptime as well: both come from one crystal.
Port calls take no time.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from evenclay.controller.events import CLOSED, CUT_SHORT, LOCKED, LOW_BATTERY
from evenclay.controller.plan import CONTACT, GAUGE, Plan
from evenclay.controller.ports import PLAN, RECORD, Seen
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.house.faults import DriverError, Fault, PowerCut, Trouble
from evenclay.sim.house.plumbing import Plumbing
from evenclay.sim.house.sensors import CapacitiveProbe, TippingBucket, ground_temperature_c
from evenclay.sim.house.site import Ground, Sky

if TYPE_CHECKING:
    from evenclay.controller.ports import Asked

CONTACT_LEAST_UM = 200  # of rain in that time, or a wet/dry contact shows none
CONTACT_DRIES_S = HOUR_S  # a wet/dry contact shows rain so long after it fell
PROBE_OPEN_PPT, PROBE_SHORT_PPT = 0, 900
NO_AIR_MC = 100_000  # what a broken thermometer shows, or its negative: an assumption
# Seconds from tip to tip of a gauge that counts where nothing falls: assumptions.
TIP_S = {Trouble.GAUGE_CHATTERS: 10, Trouble.GAUGE_DRIPS: 60}
MILLION = 1_000_000
PROBE, RAIN_GAUGE = CapacitiveProbe(), TippingBucket()

# A pack that suits the hub's thresholds: common practice, no source.
SLEEP_UA = 30
PULSE_NAH = 12_500
PACK_NAH = 550_000_000
PACK_FRESH_PCT = 135  # of the voltage at which the hub still opens
PACK_EMPTY_PCT = 70
NEW_PACK_S = 3 * 86400  # an owner changes it so long after the hub complains


class Heard(NamedTuple):
    """An event as it reached the outside world, and the water its zone truly got before it."""

    at_s: int
    event: tuple[int, ...]
    water: int  # ml/h times seconds since the zone's last closing line


PORT_CALLS = (
    "up_s",
    "wall_s",
    "set_wall_s",
    "look",
    "take_asked",
    "close",
    "open",
    "read",
    "write",
    "report",
    "feed",
)


class Devices(Plumbing):
    """The ports of one simulated hub. Implements `evenclay.controller.ports.Ports`."""

    _rains = False  # by the gauge, in the hour last looked at

    def __init__(
        self,
        plan: Plan,
        ground: Ground,
        sky: Sky,
        *,
        seed: int = 0,
        probe: CapacitiveProbe = PROBE,
        gauge: TippingBucket = RAIN_GAUGE,
        drift_ppm: int = 0,
        faults: Sequence[Fault] = (),
    ) -> None:
        """seed: of the probes' noise, and what each piece reads too much. drift_ppm: above -1e6."""
        super().__init__(plan, ground, sky, faults)
        zones = len(plan.zones)
        # Clock.
        self.boot_s = self.now_s
        self._rate = MILLION + drift_ppm
        self._drifts = drift_ppm != 0
        self._boot_wall_s: int | None = self.now_s  # what the clock showed at boot
        # Sensors.
        self._seen = Seen(zones, len(plan.supplies))
        earth_c = ground_temperature_c(sky.temp_c)
        self._probes = [  # zone, and what its probe shows
            (zone, *ground.sensor(zone, probe, earth_c, seed))
            for zone, strip in enumerate(ground.strips)
            if plan.zones[zone].probe and strip.probe
        ]
        self._vwc: list[float] | None = None  # the true contents that were last looked at,
        self._curved_ppt = [0.0] * len(self._probes)  # and what each probe makes of them
        self._hour_ends_s = 0  # of the hour last looked at
        self._has_gauge = plan.hub.rain_kind == GAUGE
        self._has_contact = plan.hub.rain_kind == CONTACT
        self._tip_um = gauge.tip_um
        # What the gauge has counted at each hour's beginning, and at the very end, um.
        counted_um: list[int] = gauge.counts_um(sky.rain_um).astype(int).tolist() * self._has_gauge
        self._counted_um = [0, *counted_um, *counted_um[-1:]]
        self._count_start_um = 0  # of these, before boot
        self._meters = [each for each in enumerate(self._pipes) if plan.supplies[each[0]].meter]
        self._pack_s = self.now_s
        self._new_pack_s: int | None = None
        self._pulses = 0
        # Store, reports, owner.
        self.copies = {(PLAN, 0): plan.pack()}
        self.saves = 0
        self.heard: list[Heard] = []
        self._told = [0] * zones  # water given before the last closing line
        self._asked: list[Asked] = []

    # What happens to the devices from outside.

    def turn_faults(self) -> None:
        """Take note that a fault began or ended just now; a probe's shows at the next look."""
        super().turn_faults()
        self._hour_ends_s = 0

    def ask(self, asked: "Asked") -> None:
        """Give the hub an owner's command."""
        self._asked.append(asked)

    def step_clock(self, by_s: int) -> None:
        """Move the clock on the wall; uptime goes on."""
        if self._boot_wall_s is not None:
            self._boot_wall_s += by_s

    def lose_clock(self) -> None:
        """Let the clock be untrusted until it is set."""
        self._boot_wall_s = None

    def cut_after(self, calls: int, torn_pct: int = 0) -> None:
        """Let power go in the `calls`-th port call from now, before it does anything.

        torn_pct: how much of a write gets through all the same.
        """

        def counted(name: str, plain: Callable[..., Any]) -> Callable[..., Any]:
            def call(*arguments: Any) -> Any:
                nonlocal calls
                calls -= 1
                if calls:
                    return plain(*arguments)
                if name == "write":
                    slot, copy, data = arguments
                    old = self.copies.get((slot, copy), b"")
                    length = len(data) * torn_pct // 100
                    self.copies[slot, copy] = data[:length] + old[length:]
                raise PowerCut

            return call

        for name in PORT_CALLS:
            setattr(self, name, counted(name, getattr(self, name)))

    def power_on(self) -> None:
        """Power is back: everything counted since boot begins anew."""
        wall_s = Devices.wall_s(self)  # which is no call of a port's
        self.boot_s = self.now_s
        self._boot_wall_s = wall_s
        if self._has_gauge:
            self._count_start_um = self._counts_um()
        self.catch_up()
        for pipe in self._pipes:
            pipe.passed_at_boot = pipe.passed
        self._hour_ends_s = 0
        self._asked.clear()

    def at_up_s(self, up_s: int) -> int:
        """The first second at which the board's uptime is `up_s`."""
        if not self._drifts:
            return self.boot_s + up_s
        return self.boot_s - (-up_s * MILLION // self._rate)

    def meter_runs(self) -> bool:
        """Whether water runs through a meter."""
        return any(pipe.flow_ml_h for _, pipe in self._meters)

    def untold(self, zone: int) -> int:
        """Water given since the zone's last closing line, ml/h times seconds."""
        return self.given[zone] - self._told[zone]

    # The ports, by which the hub meets them.

    def up_s(self) -> int:
        """Seconds since boot by the board's crystal."""
        past_s = self.now_s - self.boot_s
        return past_s * self._rate // MILLION if self._drifts else past_s

    def wall_s(self) -> int | None:
        """The clock, or None while it is lost."""
        if self._boot_wall_s is None:
            return None
        past_s = self.now_s - self.boot_s
        return self._boot_wall_s + (past_s * self._rate // MILLION if self._drifts else past_s)

    def set_wall_s(self, wall_s: int) -> None:
        """Set the clock."""
        self._boot_wall_s = wall_s - (self.now_s - self.boot_s) * self._rate // MILLION

    def look(self) -> Seen:
        """Read what the plan says there is to read."""
        seen = self._seen
        if self.now_s >= self._hour_ends_s or self.faults:
            self._look_anew(seen)
        if self._rains:
            self._show_rain(seen)
        elif self._has_contact:
            before_s = max(self.now_s - CONTACT_DRIES_S, self.sky.start_s)
            fallen_um = self.sky.fallen_um(self.now_s) - self.sky.fallen_um(before_s)
            seen.rain_wet = fallen_um >= CONTACT_LEAST_UM
        if self.plan.hub.battery:
            seen.battery_mv = self._battery_mv()
        for supply, pipe in self._meters:
            passed = pipe.passed + pipe.flow_ml_h * (self.now_s - pipe.since_s)
            seen.meter_ml[supply] = (passed - pipe.passed_at_boot) // HOUR_S
        return seen

    def take_asked(self) -> "list[Asked]":
        """Owner commands since the last call."""
        asked, self._asked = self._asked, []
        return asked

    def close(self, valve: int) -> None:
        """Shut a valve, if its driver and its seat are sound."""
        self._drive(valve)
        self.move(valve, 0)

    def open(self, valve: int, deadline_s: int) -> None:
        """Open a valve and arm its deadline."""
        self._drive(valve)
        self.move(valve, deadline_s)

    def read(self, slot: int, copy: int) -> bytes:
        """Bytes of one copy of record or plan."""
        return self.copies.get((slot, copy), b"")

    def write(self, slot: int, copy: int, data: bytes) -> None:
        """Write one copy; power may go in the middle."""
        if self.faults and self._is(Trouble.SAVE_RAISES):
            raise DriverError("save")
        if slot == RECORD:
            self.saves += 1
        if not (self.faults and self._is(Trouble.SAVE_LOST)):
            self.copies[slot, copy] = bytes(data)

    def report(self, event: tuple[int, ...]) -> None:
        """Keep an event, with the water its zone truly got."""
        what, zone, why = event[0], event[1], event[2]
        water = 0
        if what in (CLOSED, CUT_SHORT) and 0 <= zone < len(self.given):
            water = self.untold(zone)
            self._told[zone] = self.given[zone]
        self.heard.append(Heard(self.now_s, event, water))
        if what == LOCKED and why == LOW_BATTERY:
            self._new_pack_s = self.now_s + NEW_PACK_S

    def feed(self) -> None:
        """Feed the watchdog: there is none."""

    # What a driver and the sensors do inside.

    def _drive(self, valve: int) -> None:
        if self.faults and self._is(Trouble.DRIVER_RAISES, valve):
            raise DriverError(f"valve {valve}")
        self._pulses += 1

    def _look_anew(self, seen: Seen) -> None:
        """Read what shows the same for the whole of an hour, but for faults."""
        hour = (self.now_s - self.sky.start_s) // HOUR_S
        if self._has_gauge:
            self._show_rain(seen)
            self._rains = self._counted_um[hour] != self._counted_um[hour + 1]
        if self.plan.hub.frost and not (self.faults and self._spoils_thermometer(seen)):
            seen.temp_mc = self.sky.temp_mc[hour]
        if self.now_s >= self._hour_ends_s:
            if self._probes:
                self._read_probes(seen, hour)
            self._hour_ends_s = self.sky.start_s + HOUR_S * (hour + 1)

    def _read_probes(self, seen: Seen, hour: int) -> None:
        """Each probe reads once an hour, and as a fault begins or ends; else it shows the same.

        So what it shows does not depend on when it was looked at before.
        """
        self.catch_up()
        vwc = self.ground.vwc()
        if vwc is not self._vwc:  # the ground has moved since
            self._vwc = vwc
            for place, (zone, curve, _) in enumerate(self._probes):
                true_ppt = 1000.0 * vwc[zone]
                k = int(true_ppt)  # below 1000: no soil is all water
                low_ppt = curve[k]
                self._curved_ppt[place] = low_ppt + (true_ppt - k) * (curve[k + 1] - low_ppt)
        shown = seen.soil_vwc_ppt
        for (zone, _, added), curved_ppt in zip(self._probes, self._curved_ppt, strict=True):
            if self.faults and self._spoils_probe(seen, zone):
                continue
            read_ppt = curved_ppt + added[hour]
            # Not a number where a sensor shows nothing.
            shown[zone] = max(round(read_ppt), 0) if read_ppt == read_ppt else None

    def _spoils_probe(self, seen: Seen, zone: int) -> bool:
        """Let a probe show what a trouble makes of it. Returns False without one."""
        shown = seen.soil_vwc_ppt
        if self._stays_stuck(Trouble.PROBE_STUCK, zone) and shown[zone] is not None:
            return True
        if self._is(Trouble.PROBE_SHORT, zone):
            shown[zone] = PROBE_SHORT_PPT
        elif self._is(Trouble.PROBE_OPEN, zone):
            shown[zone] = PROBE_OPEN_PPT
        elif self._is(Trouble.PROBE_SILENT, zone):
            shown[zone] = None
        else:
            return False
        return True

    def _spoils_thermometer(self, seen: Seen) -> bool:
        """Let the thermometer show what a trouble makes of it. Returns False without one."""
        if self._stays_stuck(Trouble.THERMOMETER_STUCK, 0) and seen.temp_mc is not None:
            return True
        if self._is(Trouble.THERMOMETER_SILENT):
            seen.temp_mc = None
        elif self._is(Trouble.THERMOMETER_COLD):
            seen.temp_mc = -NO_AIR_MC
        elif self._is(Trouble.THERMOMETER_HOT):
            seen.temp_mc = NO_AIR_MC
        else:
            return False
        return True

    def _stays_stuck(self, what: Trouble, which: int) -> bool:
        """Whether a sensor is stuck since before now; as it sticks, it still reads once."""
        for fault in self._faults_of[what]:
            if fault.which == which and fault.start_s < self.now_s < fault.end_s:
                return True
        return False

    def _show_rain(self, seen: Seen) -> None:
        """Let the gauge show what it has counted since boot, or nothing while it is silent."""
        silent = self.faults and self._is(Trouble.GAUGE_SILENT)
        seen.rain_um = None if silent else self._counts_um() - self._count_start_um

    def _counts_um(self) -> int:
        """What the gauge has counted since the start, with what troubles took and added."""
        counted_um = self._gauge_um(self.now_s)
        if not self.faults:
            return counted_um
        for fault in self._faults_of[Trouble.GAUGE_BLOCKED]:
            until_s = min(self.now_s, fault.end_s)
            if until_s > fault.start_s:
                counted_um -= self._gauge_um(until_s) - self._gauge_um(fault.start_s)
        for what, tip_s in TIP_S.items():
            for fault in self._faults_of[what]:
                tips = max(min(self.now_s, fault.end_s) - fault.start_s, 0) // tip_s
                counted_um += tips * self._tip_um
        return counted_um

    def _gauge_um(self, at_s: int) -> int:
        """What a sound gauge has counted until a time; tips fall evenly within an hour."""
        hour, of_hour_s = divmod(at_s - self.sky.start_s, HOUR_S)
        before_um, after_um = self._counted_um[hour], self._counted_um[hour + 1]
        more_um = (after_um - before_um) * of_hour_s // HOUR_S
        return before_um + more_um // self._tip_um * self._tip_um

    def _battery_mv(self) -> int:
        """Voltage under load: falls straight from fresh to empty with the charge taken."""
        if self._new_pack_s is not None and self.now_s >= self._new_pack_s:
            self._pack_s, self._new_pack_s = self._new_pack_s, None
            self._pulses = 0
        age_s = self.now_s - self._pack_s
        open_mv = self.plan.hub.battery_open_mv
        fresh, empty = open_mv * PACK_FRESH_PCT // 100, open_mv * PACK_EMPTY_PCT // 100
        used_nah = min(age_s * SLEEP_UA * 1000 // HOUR_S + self._pulses * PULSE_NAH, PACK_NAH)
        return fresh - (fresh - empty) * used_nah // PACK_NAH
