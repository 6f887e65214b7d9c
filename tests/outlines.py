"""Houses from above, for tests of layouts and cards. All of them are invented."""

from evenclay.tools.property.property import Property, parse

# The ten that a layout has to master, as the table [outline] has them in metres.
OUTLINES = {
    "rectangle": """
corners = [[0, 0], [15, 0], [15, 10], [0, 10]]
spigots = { back = { side = 3, along = 4 }, front = { side = 1, along = 4 } }
paving = [{ side = 1, from = 8, to = 9.2 }]
""",
    "L": """
sides = ["16 m right", "5 m right", "6 m left", "4 m right", "10 m right", "9 right"]
spigots = { back = { side = 1, along = 3 }, front = { at = [3, -9] } }
paving = [{ side = 5, from = 3, to = 4.2 }]
""",
    "U": """
sides = ["5 right", "6 left", "4 left", "6 right", "5 right", "12 right", "14 right", "12 right"]
spigots = { back = { side = 7, along = 3 } }
paving = [{ side = 3, from = 0, to = 4 }, { side = 8, from = 3, to = 5 }]
""",
    "courtyard": """
corners = [[0, 0], [20, 0], [20, 16], [0, 16]]
courtyards = [[[7, 5], [13, 5], [13, 11], [7, 11]]]
spigots = { back = { side = 3, along = 7 } }
""",
    "attached garage": """
corners = [[0, 0], [6, 0], [6, -2.5], [12, -2.5], [12, 0], [18, 0], [18, 9], [0, 9]]
spigots = { back = { side = 7, along = 6 }, front = { side = 1, along = 2 } }
paving = [{ side = 3, from = 0, to = 6 }, { side = 5, from = 2, to = 3.4 }]
""",
    "one spigot": """
corners = [[0, 0], [14, 0], [14, 9], [0, 9]]
spigots = { back = { side = 3, along = 5 } }
paving = [{ side = 2, from = 3, to = 4 }, { side = 4, from = 3, to = 4 }]
""",
    "two spigots": """
corners = [[0, 0], [14, 0], [14, 9], [0, 9]]
spigots = { back = { side = 3, along = 5 }, front = { side = 1, along = 9 } }
paving = [{ side = 2, from = 3, to = 4 }, { side = 4, from = 3, to = 4 }]
""",
    "paving all along": """
corners = [[0, 0], [14, 0], [14, 9], [0, 9]]
spigots = { back = { side = 3, along = 5 } }
paving = [{ side = 1, from = 0, to = 14 }]
""",
    "spigot in a corner": """
corners = [[0, 0], [14, 0], [14, 9], [0, 9]]
spigots = { back = { side = 3, along = 0 } }
""",
    "five hoses long": """
corners = [[0, 0], [150, 0], [150, 10], [0, 10]]
spigots = { back = { side = 3, along = 70 } }
""",
}
HOUSE = """
[site]
name = "A house from above"
timezone = "America/Chicago"
latitude = 32.4
units = "metric"
fall = 0.2
foundation = "slab"
[supplies.back]
flow = 14
pressure = 75
[supplies.front]
flow = 12
pressure = 75
meter = true
"""
ZONE = """
[zones.{name}]
supply = "{supply}"
side = "{side}"
length = {length}
hose = {{ kind = "porous", flow = {flow}, pressure = 75 }}
"""
SEASONS = """
[[seasons]]
from = "03-15"
cycles = 2
minutes = 10
window = "22:00-08:00"
[[seasons]]
from = "06-01"
cycles = 3
minutes = 12
window = "21:00-09:00"
[[seasons]]
from = "11-01"
cycles = 0
"""
SIDES = ("north", "east", "south", "west")


def text_of(outline: str, *, flow: float = 4, more: str = "") -> str:
    """The file of a house with a zone a side. flow: of its hoses, litres an hour a metre."""
    zones = [
        ZONE.format(name=side, supply="back", side=side, length=10, flow=flow) for side in SIDES
    ]
    return HOUSE + "".join(zones) + SEASONS + "[outline]" + outline + more


def house_of(outline: str, *, flow: float = 4) -> Property:
    return parse(text_of(outline, flow=flow), "house.toml")
