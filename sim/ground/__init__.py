"""What is known of ground: how soils hold water, and what nobody knows of the clay under a house.

Read `textures.py` first, how soils hold and conduct water; then `retention.py`, the one line that
plans and sensors share, and `feel.py`, what a hand finds. `uncertain.py` has what is not known of a
clay, each with its range, and `plausible.py` draws grounds from it.
"""
