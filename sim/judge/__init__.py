"""Judging: what ways of watering did to the ground, and which does it best.

What is judged: `policies.py` lists the ways of watering. How: `strip.py` and `measures.py` define
every measure, `weigh.py` takes them from a life, and `verdict.py` has the limits. With these,
`years.py` judges the hub year after year for a sweep, and `compare.py` sets ways of watering side
by side on many grounds. `informed.py` is the yardstick: the hub told the truth. A search for a plan
lives by days: `by_day.py` with the keepers of `keepers.py`; `reduced.py` fits the hub's own model.
"""
