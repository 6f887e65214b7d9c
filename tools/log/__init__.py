"""The log of a hub: pulled off its board, read, and run again.

`frames` finds the whole entries of the board's files, and `items` reads what stands in them.
`lines` writes items as lines of JSON, and reads those. `pull` gets the files off a board. `rerun`
lets the core decide once more on what the log says the hub was told, and `days` adds up what came
of it.
"""
