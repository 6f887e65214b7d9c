"""The ground of a house in cross-section, at right angles to each zone's wall.

`Ground` is what is not known of the clay, the same for the whole house; `Zone` is one side of it.
`Section` lives through hours of weather and water, all zones at once. `settled` brings a section to
where years without watering leave it, and keeps that on disk.
"""

from evenclay.sim.section.arrays import DAY
from evenclay.sim.section.climate import index_of, moisture_index
from evenclay.sim.section.ground import BARE, GRASS, SHRUBS, Cover, Ground, Zone
from evenclay.sim.section.layout import LAYOUT, PLACES, Layout, strain_weights, weighted_suction
from evenclay.sim.section.section import Days, Hours, Section
from evenclay.sim.section.spin_up import Settled, settled

__all__ = [
    "BARE",
    "DAY",
    "GRASS",
    "LAYOUT",
    "PLACES",
    "SHRUBS",
    "Cover",
    "Days",
    "Ground",
    "Hours",
    "Layout",
    "Section",
    "Settled",
    "Zone",
    "index_of",
    "moisture_index",
    "settled",
    "strain_weights",
    "weighted_suction",
]
