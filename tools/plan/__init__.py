"""Plans over many years: how good one is, and which would be better.

`compare` sets ways of watering side by side, `sweep` replays variants of a property, `proposal`
works out a seasonal table, and `invented_weather` writes weather that never was. Of `compare` and
`sweep` a module computes, its `_summary` says what came of it, and others show that. `workers` runs
long tasks on many processes.
"""
