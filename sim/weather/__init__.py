"""Weather: records as people have them, evapotranspiration, hours, and invented years.

Read `daily.py` first: a `Weather` is a day-by-day record. `record.py` reads one from a file of any
of the `formats/`; `doubts.py` says what looks wrong in it. `et0.py` computes reference
evapotranspiration, `hourly.py` makes hours of days. `generator.py` invents years with a record's
habits, and `statistics.py` sets them beside it.
"""
