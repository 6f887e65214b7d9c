"""The pictures of the report: SVG text that stands inside its page.

`drawing.py` has what they share: the two papers that each is drawn on, colours, panels.
`moisture.py` draws the ground, `openings.py` every opening, and `water.py` water, what held it
back, and the ways of watering. None of them knows a file: `page.py` calls them with what a `Year`
holds.
"""
