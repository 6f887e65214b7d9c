"""`evenclay propose`: what the ground needs, which relief, and the table for it.

`study` lives through years on plausible grounds; `table` makes seasons of what the strips were
given there; `propose` puts both together and chooses; `written` writes the file, `page` tells.
"""
