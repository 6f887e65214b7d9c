"""The portable core of Evenclay: it decides, and knows no clock, pin, file or network.

What all its files share is `const`, where MicroPython has it, and the identity elsewhere: mpy-cross
folds `X = const(...)` into the code that uses it; CPython just binds the name.
"""


def const(value: int) -> int:
    """Return `value` unchanged."""
    return value


try:
    from micropython import const  # type: ignore[no-redef]  # a board's own, where there is one
except ImportError:
    pass

TYPE_CHECKING = const(0)
