"""The bounds of the controller, each with its reason. Nothing in the core grows past these.

A bound that only one file reads, such as what a probe may say, stands in that file.
"""

from ._const import const

# What one hub may be asked to run. The record must fit one 256-byte flash page with 8 zones.
ZONES_MAX = const(8)
SUPPLIES_MAX = const(4)
ROWS_MAX = const(24)  # one a half-month: the finest calendar anyone writes by hand
CYCLES_MAX = const(24)  # one an hour; a cycle needs minutes, and the clay its rest
BANS_MAX = const(8)  # banned hours and dates together
NAME_BYTES = const(12)  # enough to tell zones apart on a one-line display

# Time.
WALL_MAX = const(3155760000)  # 2100-01-01: the calendar is checked up to there
DAY_S = const(86400)
STEP_TOLERANCE_S = const(60)  # a clock that moves less against uptime has drifted, not stepped
BACK_MAX_S = const(90000)  # 25 h: a wrong day and a summer-time hour; more is a new start

# Runs.
RUN_LEAST_S = const(60)  # a shorter run only fills and drains the hose
RUN_MAX_S = const(14400)  # the longest run any plan may allow
CAP_MAX_S = const(43200)  # half a day: more is a broken plan, not a dry garden

# Work a step may do.
ASKED_MAX = const(8)  # owner commands one step takes; the rest are refused as too many
STEPS_MAX = const(64)  # steps one turn of the runner takes before it is no progress
EVENTS_MAX = const(64)  # events kept for a console; older ones are overwritten
PASSED_MAX = const(32)  # passed cycles reported one by one; more are reported as a count
CLOSE_RETRY_S = const(10)  # between tries to close a valve whose driver failed
SAVE_RETRY_S = const(300)  # between tries to write a store that failed
READ_TRIES = const(3)  # of a copy that cannot be read: a bus that missed once answers the next time
REST_LEAST_S = const(60)  # after a first exception; each one in a day doubles it
REST_MOST_S = const(900)  # a quarter of an hour: a cause that is mended is found out so soon
LATCH_TIMES = const(5)  # the same text so often in a day latches
TEXT_MAX = const(100)  # characters of an exception's text that are kept
FAULT_RETRY_S = const(82800)  # once a day: a cycle at yesterday's hour must find it due

# Sensors.
STALE_S = const(10800)  # three hours without a reading, or three polls where those are slower

# Flow.
SETTLE_S = const(30)  # a hose fills, or drains, before its flow means anything
LEAK_ML = const(1000)  # with every valve of the supply shut: more than one passes as it shuts

# Trim and re-wetting.
# After the season opens or a long hold ends, a dry check starts re-wetting for so long.
OPENING_DAYS = const(14)
DRY_CHECKS = const(2)  # dry checks at full trim before the owner is told
