"""The one place where an error that a user can cause becomes one line and an exit status."""

import sys
from typing import Any

import typer
from typer.core import TyperGroup

from evenclay.tools.board.pin_map import DeviceError

NO_PLAN = 1
BAD_INPUT = 2
INTERRUPTED = 130


class Group(TyperGroup):
    """The commands, where an error that the user can mend is printed and ends the command."""

    def main(self, *args: Any, **extra: Any) -> Any:
        extra["standalone_mode"] = False
        try:
            status = super().main(*args, **extra)
        except (OSError, typer.TyperException, typer.Abort, ValueError) as error:
            status = _status(error)
        except KeyboardInterrupt:
            status = INTERRUPTED
        sys.exit(status or 0)


def _status(error: Exception) -> int:
    """Print an error of the user's in one line and return the exit status; raise any other."""
    if isinstance(error, typer.Abort):
        return INTERRUPTED
    from evenclay.tools.property.file.mistakes import PropertyError
    from evenclay.tools.property.file.wording import printable

    if isinstance(error, OSError):
        name = "" if error.filename is None else f"{printable(str(error.filename))}: "
        lines = [name + (error.strerror or str(error))]
    elif isinstance(error, PropertyError):
        lines = error.lines
    elif isinstance(error, typer.TyperException):
        lines = [f"{printable(_message(error)).rstrip('.')}; see the --help of the command"]
    elif _is_refusal(error):
        lines = [printable(str(error))]
    else:
        raise error
    for line in lines:
        print(line, file=sys.stderr)
    return BAD_INPUT


def _message(error: Exception) -> str:
    """What a usage error says, with the option it is about."""
    return str(error.format_message()) if hasattr(error, "format_message") else str(error)


def _is_refusal(error: Exception) -> bool:
    """Whether an error is one line for the user."""
    from evenclay.sim.weather.formats.cells import WeatherError
    from evenclay.tools.log.items import LogError
    from evenclay.tools.plan.workers import SweepError

    return isinstance(error, DeviceError | LogError | SweepError | WeatherError)
