"""How results and progress are printed."""

import shutil
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console


def tell(line: str) -> None:
    """Print a line of progress, or a caution, to stderr at once."""
    print(line, file=sys.stderr, flush=True)


def make_console() -> "Console":
    """A console that takes names as they are, and breaks no sentence where it is no terminal."""
    from rich.console import Console

    plain = not sys.stdout.isatty()
    width = shutil.get_terminal_size().columns if plain else None
    return Console(markup=False, highlight=False, emoji=False, soft_wrap=plain, width=width)
