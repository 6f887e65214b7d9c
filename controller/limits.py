"""The bounds of the controller, each with its reason. Nothing in the core grows past these.

A bound that only one file reads, such as what a probe may say, stands in that file.
"""

from . import const

# What one hub may be asked to run. The record must fit one 256-byte flash page with 8 zones.
ZONES_MAX = const(8)
SUPPLIES_MAX = const(4)

# Time.
WALL_MAX = const(3155760000)  # 2100-01-01: the calendar is checked up to there
DAY_S = const(86400)

# Runs.
RUN_LEAST_S = const(60)  # a shorter run only fills and drains the hose
RUN_MAX_S = const(14400)  # the longest run any plan may allow

# Work a step may do.
ASKED_MAX = const(8)  # owner commands one step takes; the rest are refused as too many

# Sensors.
STALE_S = const(10800)  # three hours without a reading, or three polls where those are slower

# Flow.
SETTLE_S = const(30)  # a hose fills, or drains, before its flow means anything
