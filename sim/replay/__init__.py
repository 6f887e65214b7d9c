"""The replay: years lived through by the real hub in a simulated house.

Read `span.py` first, which days are lived through and which of them are scored; then `life.py`.
"""
