"""The `evenclay` command.

`commands` puts it together. The commands stand in `start`, `property`, `handover`, `board`, `log`,
`watch`, `replay` and `plan`; what they share stands in `options`, `output` and `errors`.
"""

import sys


def main() -> None:
    """Run the command, or say in one line what an installation of the core alone lacks."""
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
