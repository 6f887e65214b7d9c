"""The replay: years lived through by the real hub in a simulated house.

Read `stay.py` first, which says what days are lived through on settled ground; then `life.py`.
`again.py` repeats on other grounds what a hub did that learns nothing of them.
"""
