"""From a property to a board.

`pin_map` reads what a board has, and `wiring` holds a property against it. `bundle` compiles all
that the board needs into a folder, and `flash` copies that folder over. `size` prints how large the
compiled modules are.
"""
