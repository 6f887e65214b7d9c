"""The smallest property file that is any use, for tests to change and to break."""

import re

GOOD = """\
[site]
name = "A house"
timezone = "America/Chicago"
latitude = 33

[supplies.tap]
flow = 20

[zones.west]
supply = "tap"
side = "west"
length = "75 ft"
hose = { kind = "porous", flow = "0.6 gal/h/ft", pressure = "11 psi" }

[zones.east]
supply = "tap"
side = "east"
length = 20
hose = { kind = "porous", flow = 6, pressure = 75 }

[[seasons]]
from = "05-01"
cycles = 3
minutes = 10
window = "04:00-10:00"
[[seasons]]
from = "11-01"
cycles = 0
"""

# Numbers as `propose` writes them; these are plausible, and no one's.
YARD = """
[estimate]
relief = 0.3
[estimate.yard]
demand = 1.4
top = "25 mm"
top_share = 0.5
freely = 3.0
end = 4.4
hold = "150 mm"
level = 3.7
"""
GROUND = """
[zones.{}.ground]
demand = 1.6
top = "20 mm"
top_share = 0.55
freely = 3.2
end = 4.5
beside = 0.012
hold = "140 mm"
level_pf = 3.8
target_pf = 3.5
"""


def reckoning(text: str) -> str:
    """A property file with the numbers by which a hub reckons what each of its strips lacks."""
    names = re.findall(r"^\[zones\.(\w+)\]", text, re.MULTILINE)
    return text + YARD + "".join([GROUND.format(name) for name in names])
