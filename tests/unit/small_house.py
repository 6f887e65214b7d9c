"""The smallest property file that is any use, for tests to change and to break."""

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
