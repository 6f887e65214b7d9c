"""Every bound of the controller, each with its reason. Nothing in the core grows past these."""

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
REFILL_LEAST_S = const(79200)  # 22 h: the shortest real day has 23; less means the clock moved

# Runs.
RUN_LEAST_S = const(60)  # a shorter run only fills and drains the hose
RUN_MAX_S = const(14400)  # the longest run any plan may allow
CAP_MAX_S = const(43200)  # half a day: more is a broken plan, not a dry garden
START_GRACE_MIN = const(360)  # how long after a start time a run may end: a quarter of a day
TEST_RUN_S = const(60)  # the guided test: long enough to see which strip is wet

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
VWC_LEAST_PPT = const(20)  # below: air, an open wire or a shrunk-away probe
VWC_MOST_PPT = const(550)  # above: more water than clay has pores
STUCK_PPT = const(3)  # less than this is noise, not change
STUCK_RAIN_S = const(604800)  # a week for much rain to show half a metre down in watered clay
STUCK_WET_S = const(1728000)  # twenty days wet with all rain used up: not believed
JUMP_PPT = const(150)  # between two polls, without rain: a loose wire
TRUST_AGAIN_S = const(86400)  # a day of good readings makes a probe trusted again
BATTERY_MARGIN_MV = const(200)  # a resting battery recovers about so much

# Flow.
METER_S = const(60)  # between two looks at the meter of a supply that is shut
SETTLE_S = const(30)  # a hose fills, or drains, before its flow means anything
NO_FLOW_PCT = const(10)  # of the learned flow
BURST_PCT = const(150)  # of the learned flow
LEAK_ML = const(1000)  # with every valve of the supply shut: more than one passes as it shuts
FLOW_LEAST_ML_MIN = const(50)  # less is no flow when none was learned

# Trim and re-wetting.
OPENING_DAYS = const(
    14
)  # after the season opens or a long hold ends, a dry check starts re-wetting
AFTER_RAIN_S = const(86400)  # a blade is read a day after rain
DRY_CHECKS = const(2)  # dry checks at full trim before the owner is told
AUTO_WEEKDAY = const(0)  # the hub's own check is weekly, as the owner's is: on Mondays
