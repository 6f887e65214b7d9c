"""The report: what is written of a replay.

Read `results.py` first: it replays a house and writes all of its files. `ways.py` lives through
every way of watering on one ground and judges it. `outputs.py` has the lines of decisions.jsonl and
daily.csv, and `held.py` for how many hours a zone was held back. The page is made from these files,
and the ground by depth: `year.py` reads them back, `lead.py` has the first screen, `sentences.py`
and `tables.py` word the rest, `pictures/` draws, and `page.py` puts the page together. `render.py`
makes it, and every other page, from `templates/`.
"""
