"""Weather: records as people have them, evapotranspiration, hours, and invented years.

Read `record.py` first: a `Weather` is a day-by-day record, whatever file of `formats/` it came
from; `doubts.py` says what looks wrong in it. `et0.py` computes reference evapotranspiration,
`hourly.py` makes hours of days. `generator.py` invents years with a record's habits, and
`statistics.py` sets them beside it.
"""
