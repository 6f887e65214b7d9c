"""What a hub does and waits for as plain numbers and code words, for tests to look at."""

from typing import Any

from evenclay.controller.events import CLOSED_SEASON, FAULT, OK
from evenclay.controller.journal import Trouble
from evenclay.controller.runner import Runner
from evenclay.controller.words import WHY

ACCOUNT = ("demand", "rain", "given", "exchanged", "corrected")


def status(runner: Runner, up_s: int) -> dict[str, Any]:
    """What a hub does and waits for, in plain numbers and code words."""
    hub = runner.hub
    record = hub.record
    zones = []
    for zone, part in enumerate(hub.plan.zones):
        run = hub.runs.under_way[zone]
        probe = hub.lockouts.probes[zone]
        why = hub.lockouts.why(zone, up_s, False, 1)
        if record.faults or record.zone_faults[zone]:
            why = FAULT
        elif why == OK and hub.lockouts.locked[CLOSED_SEASON]:
            why = CLOSED_SEASON
        zones.append(
            {
                "name": part.name,
                "open_s": up_s - hub.guard.opened_up_s[zone] if run and run.open else 0,
                "used_s": record.used_s[zone],
                "waiting": record.waiting >> zone & 1,
                "held_back": WHY[why],
                "lacks_um": record.lack_um[zone],
                "target_um": part.target_um,
                "top_lacks_um": record.top_um[zone],
                "factor_ppt": record.factor_ppt[zone],  # 0: no estimate
                "filling": record.filling >> zone & 1,
                "last_day_um": dict(zip(ACCOUNT, hub.estimates.accounts[zone], strict=True)),
                "soil_vwc_ppt": probe.ppt if probe is not None else -1,
                "flow_ml_min": record.flow_ml_min[zone],
            }
        )
    return {
        "up_s": up_s,
        "wall_s": hub.clock.wall_s(up_s),
        "boots": record.boots,
        "wake_s": runner.rest_up_s or hub.wake_s,
        "alarms": [(zone, WHY[why]) for zone, why in hub.faults.alarms],
        "exceptions": noted(runner.trouble),
        "port_failed": runner.port_failed,
        "zones": zones,
    }


def noted(trouble: Trouble) -> str:
    """One line for the exceptions in the note; "" if there are none."""
    if not trouble.count:
        return ""
    return f"{trouble.count} in a day, the last: {trouble.text}"
