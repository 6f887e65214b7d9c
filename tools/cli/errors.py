"""The one place where an error that a user can cause becomes one line and an exit status."""

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import typer
from typer.core import TyperGroup

from evenclay.sim import files
from evenclay.tools.board.pin_map import DeviceError

NO_PLAN = 1  # or a plan that does not keep what is required of it
BAD_INPUT = 2
INTERRUPTED = 130


class Group(TyperGroup):
    """The commands, where an error that the user can mend is printed and ends the command."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Show the commands to whoever names none."""
        if not args:
            print(ctx.get_help(), file=sys.stderr)
            ctx.exit(BAD_INPUT)
        return super().parse_args(ctx, args)

    def main(self, *args: Any, **extra: Any) -> Any:
        extra["standalone_mode"] = False
        files.written.clear()
        try:
            status = super().main(*args, **extra)  # 130 after Ctrl-C
        except (typer.Abort, KeyboardInterrupt):
            status = INTERRUPTED
        except (OSError, typer.TyperException, ValueError) as error:
            status = _status(error)
        if status == INTERRUPTED:
            asked = extra.get("args") or (args[0] if args else None) or sys.argv[1:]
            print(f"\nStopped; {_left([*asked, ''][0])}.", file=sys.stderr)
        sys.exit(status or 0)


def _left(command: str) -> str:
    """What a command that was stopped leaves behind."""
    if command == "sweep":
        if files.written:
            from evenclay.tools.plan.sweep import PARTS  # slow to import, and here already

            if any(path.parent.name == PARTS for path in files.written):
                return "the same command goes on where it was"
        return "no part of it was done; the same command begins where this one did"
    if command == "flash":
        return "the board may lack some of its files: flash it again"
    return "what was written before stays" if files.written else "nothing was written"


def each(paths: Sequence[Path], do: Callable[[Path], int]) -> None:
    """Do one thing for each of several files, whose status `do` returns.

    A file that will not do is told in one line, and the others are still done.
    Raises: typer.Exit with the highest status, where one is above 0.
    """
    worst = 0
    for path in paths:
        try:
            status = do(path)
        except (OSError, ValueError) as error:
            first, *others = _lines_of(error)
            more = f" (and {len(others)} more in this file)" if others else ""
            print(first + more, file=sys.stderr, flush=True)
            status = BAD_INPUT
        worst = max(worst, status)
    if worst:
        raise typer.Exit(worst)


def _status(error: Exception) -> int:
    """Print an error of the user's and return the exit status; raise any other."""
    for line in _lines_of(error):
        print(line, file=sys.stderr)
    return BAD_INPUT


def _lines_of(error: Exception) -> list[str]:
    """What an error of the user's says, a line each; any other is raised."""
    from evenclay.tools.property.file.mistakes import PropertyError
    from evenclay.tools.property.file.wording import printable

    if isinstance(error, OSError):
        name = "" if error.filename is None else f"{printable(str(error.filename))}: "
        return [name + (error.strerror or str(error))]
    if isinstance(error, PropertyError):
        return error.lines
    if isinstance(error, typer.TyperException):
        more = "; see the --help of the command" if _is_of_names(error) else ""
        return [printable(_message(error)).rstrip(".") + more]
    if _is_refusal(error):
        return [printable(str(error))]
    raise error


def _is_of_names(error: Exception) -> bool:
    """Whether an argument or option is missing or unknown; else its value will not do."""
    if not isinstance(error, typer.BadParameter):
        return True
    return error.param is not None and not _refused(error)


def _message(error: Exception) -> str:
    """What a usage error says, with the option it is about: where, what was found, what to do."""
    if isinstance(error, typer.BadParameter):
        if error.param is not None and (refused := _refused(error)):
            return refused
        if error.param_hint is not None:
            return f"{error.param_hint}: {error.message}"
    return str(error.format_message()) if hasattr(error, "format_message") else str(error)


def _refused(error: typer.BadParameter) -> str:
    """A value that typer itself refuses, in our own words; '' for another error."""
    from pydantic import ValidationError

    from evenclay.tools.property.file.wording import shown

    param: Any = error.param
    if not isinstance(error.__cause__, ValidationError):
        return ""
    choices, low, high = param.type_descriptor.choices, param.min, param.max
    allowed = "a whole number" if param.type_descriptor.annotation is int else "a number"
    if choices:
        allowed = ", ".join(map(str, choices))
    elif low is not None:
        allowed += f", {low} to {high}" if high is not None else f" from {low} on"
    found = error.__cause__.errors()[0]["input"]
    return f"{param.opts[0]}: found {shown(found)}, allowed {allowed}"


def _is_refusal(error: Exception) -> bool:
    """Whether an error is one line for the user."""
    from evenclay.sim.weather.daily import WeatherError
    from evenclay.tools.log.items import LogError
    from evenclay.tools.plan.workers import SweepError

    return isinstance(error, DeviceError | LogError | SweepError | WeatherError)
