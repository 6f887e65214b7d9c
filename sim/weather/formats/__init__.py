"""Weather file formats, one module each; `sim/weather/record.py` tells them apart and joins them.

Imports run from cells, which all share, to the formats.
"""
