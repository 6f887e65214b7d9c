"""Judging: what ways of watering did to the ground, and which does it best.

What is judged: `policies.py` lists the ways of watering. How: `days.py` sums hours up to days,
`season.py` says which days count, `held.py` how long zones were held back, `score.py` gives each
day its state, and `measures.py` computes every measure. With these, `years.py` judges year after
year, and `compare.py` sets ways of watering side by side on many grounds. `informed.py` is the
yardstick: the hub told the truth. `brisk.py` is a fast stand-in for a replay, with which
`proposal.py` and `search.py` look for a plan.
"""
