"""The files of a hub's log, and its plans, off a board or out of a folder."""

from pathlib import Path

from evenclay.tools.board.flash import Serial
from evenclay.tools.board.pin_map import DeviceError

_FIND = """
import os
def find(folder):
 for entry in os.ilistdir(folder):
  path = (folder.rstrip("/") + "/" + entry[0])
  if entry[1] == 0x4000 and entry[0] != "evenclay":
   find(path)
  elif folder.endswith("/log") and entry[0].isdigit() or entry[0] in ("plan.0", "plan.1"):
   print(path)
find(os.getcwd())
"""


def pull(port: str) -> tuple[dict[int, bytes], list[bytes]]:
    """Files of the log by their numbers, and the plans, of the board on a port.

    A hub that runs is stopped, with every valve shut; the board restarts afterwards.

    Raises:
        DeviceError: the board does not answer, or has no log.
    """
    also = ", or the folder in which a hub on this machine keeps its log"
    board = Serial(port, "try again", called="PORT", also=also)
    board.stop()
    found = {path: board.read(path) for path in board.ask(_FIND)}
    board.restart()
    files = {
        int(name): data
        for path, data in found.items()
        if (name := path.rpartition("/")[2]).isdigit()
    }
    if not files:
        raise DeviceError(f"{port}: found no log on the board, allowed a hub that has run with one")
    return files, [data for path, data in found.items() if "/plan." in path]


def in_folder(folder: Path) -> tuple[dict[int, bytes], list[bytes]]:
    """Files of the log by their numbers, and the plans, of a hub that keeps them in a folder.

    Raises:
        DeviceError: there is no log.
        OSError: a file cannot be read.
    """
    logs = {int(path.name): path for path in (folder / "log").glob("*") if path.name.isdigit()}
    if not logs:
        message = f"{folder}: found no log in it, allowed the folder of a hub that has run with one"
        raise DeviceError(message)
    plans = [folder / name for name in ("plan.0", "plan.1")]
    return (
        {number: path.read_bytes() for number, path in logs.items()},
        [path.read_bytes() for path in plans if path.exists()],
    )
