"""The `evenclay` command.

`commands` puts it together. The commands stand in `start`, `property`, `handover`, `board`,
`replay` and `plan`; what they share stands in `options`, `output` and `errors`.
"""

import gc
import sys

# New objects after which Python looks for garbage that refers to itself. At its usual 700 that took
# a tenth of a replay's time.
GARBAGE_AFTER = 20_000


def main() -> None:
    """Run the command, or say in one line what an installation of the core alone lacks."""
    gc.set_threshold(GARBAGE_AFTER)
    try:
        from evenclay.tools.cli import commands
    except ModuleNotFoundError as missing:
        name = str(missing.name).partition(".")[0]
        if name == "evenclay":
            raise
        print(
            f"evenclay: found no {name}: this is the core alone, for boards; what runs on a desk "
            "is installed by: pip install 'evenclay[desk]'",
            file=sys.stderr,
        )
        sys.exit(2)
    commands.main()
