"""The file that an owner writes, and what follows from it.

Read `property` first: it loads a file, by the rules in the folder `file`. `compile` makes the hub's
plan and the simulator's house of it, with `demand`, `cycles` and `piping`; `conflicts` says what in
a property does not fit together, and `plan_ranges` what a plan may hold. `check` and `advice` are
what `evenclay check` shows.
"""
