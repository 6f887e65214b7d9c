"""The ground: what clay under a strip does with water, hour by hour.

Read `textures.py` first, how soils hold and conduct water; then `band.py`, how moist the clay is to
be kept; then `soil.py`, which steps the columns.
"""
