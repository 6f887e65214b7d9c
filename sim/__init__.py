"""The simulated house, in rooms: weather and ground, house, replay, judge, report.

Each room imports only rooms named before it, and import-linter holds that. The files beside the
rooms serve all of them: `types.py`, `calendar.py`, `units.py`, `files.py`.
"""
