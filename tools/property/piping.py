"""Turns a zone into the hose, the spigot and the strip that the simulator takes."""

from math import inf

from evenclay.sim.house import hoses
from evenclay.sim.house.house import Strip
from evenclay.tools.property.file.place import Zone
from evenclay.tools.property.property import Property


def hose_of(zone: Zone) -> hoses.Hose:
    """The hose of a zone, as the simulator takes it, by its rating or the owner's bucket test.

    Raises: ValueError for more water than such a hose could pass.
    """
    hose = hoses.Hose(
        length_m=zone.length,
        flow_l_h_m=zone.flow_l_h / zone.length,
        rated_kpa=zone.hose.pressure,
        exponent=hoses.EXPONENTS[zone.hose.kind],
        diameter_mm=zone.hose.diameter,
        rise_m=zone.rise,
    )
    if zone.hose.bucket is not None:
        bucket = zone.hose.bucket
        hose = hoses.calibrated(hose, bucket.litres, bucket.time, hose.rated_kpa)
    return hose if zone.hose.years is None else hoses.aged(hose, zone.hose.years)


def spigot_of(prop: Property, zone: Zone) -> hoses.Spigot:
    """Return what feeds a zone's hose. A supply without figures gives enough at its rating."""
    supply = prop.supplies[zone.supply]
    still_kpa = supply.pressure or zone.hose.pressure
    return hoses.Spigot(still_kpa, supply.flow or inf, restrictor_mm=zone.hose.restrictor)


def strip_of(prop: Property, name: str, zone: Zone) -> Strip:
    hose = hose_of(zone)
    found = hoses.fed(hose, spigot_of(prop, zone))
    return Strip(
        name=name,
        supply=list(prop.supplies).index(zone.supply),
        length_m=zone.length,
        width_m=zone.width,
        flow_l_h=found.flow_l_h,
        evenness=found.evenness,
        hose_l=hose.volume_l,
        drain_l_h=hoses.drain_l_h(hose),
        coefficient=zone.coefficient,
        exposure=zone.exposure,
        texture=(zone.soil or prop.soil).hydraulics,
        hose_years=zone.hose.years,
        slab_m=None if prop.site.foundation == "basement" else zone.slab_distance,
        probe=zone.probe,
        side=zone.side,
        cover=zone.growth,
        flow_measured=zone.hose.bucket is not None,
    )
