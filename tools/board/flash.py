"""Copy a bundle to a board over its serial port, so that it never runs a half-copied hub.

`main.py` is removed first and written last. A file that is no longer in the bundle is removed: a
stale `hub.py` would be imported before `hub.mpy`. Paths are relative: on a board, to its root.
"""

import contextlib
import io
import time
from collections.abc import Callable
from pathlib import PurePosixPath
from typing import Any, Protocol

from evenclay.tools.board.bundle import START, Bundle, sha256
from evenclay.tools.board.pin_map import DeviceError

# Below these nothing but the bundle's own files may stand.
OWN = ("evenclay", "boards", "controller")  # the last two are of hubs before 0.2
# A hub that is interrupted restarts its board, which shuts every valve and then waits. A second
# Ctrl-C must not come before it is done: 12 latching valves take 2 s, and the boot its own time.
SETTLE_S = 8.0
ATTEMPTS = 4
CHUNK_BYTES = 256
_DIR = "dir"
_LIST = """
import os, hashlib, binascii
def look(path, entry):
 if entry[1] == 0x4000:
  print(path + "\\tdir")
  for inner in os.ilistdir(path):
   look(path + "/" + inner[0], inner)
  return
 made = hashlib.sha256()
 with open(path, "rb") as file:
  while True:
   part = file.read(256)
   if not part: break
   made.update(part)
 print(path + "\\t" + binascii.hexlify(made.digest()).decode())
for entry in os.ilistdir():
 if entry[0] in %r: look(entry[0], entry)
"""


class Target(Protocol):
    """The board that a bundle is copied to, or what stands in for it."""

    def stop(self) -> None:
        """Stop the hub that runs there, and shut every valve."""

    def look(self, tops: tuple[str, ...]) -> dict[str, str]:
        """Paths below `tops`, each with the hash of a file or "dir"."""

    def remove(self, path: str, is_dir: bool) -> None: ...

    def make_dir(self, path: str) -> None: ...

    def copy(self, path: str, data: bytes) -> None: ...

    def restart(self) -> None: ...


def flash(target: Target, bundle: Bundle, say: Callable[[str], None]) -> None:
    """Bring a board to a bundle's state, and restart it. `say` is told each step.

    Raises:
        DeviceError: the board does not answer, or does not hold what was copied.
    """
    hub = bundle.hub
    tops = (*OWN, START, hub.split("/")[0])
    say("stop the hub: the board shuts every valve")
    target.stop()
    there = target.look(tops)
    # A plan that came over the hub itself lies in plan.1 and would win over the bundle's.
    doomed = {START, f"{hub}/plan.1"} | {p for p in there if p.split("/")[0] in OWN}
    dirs = _dirs(bundle.files)
    for path in sorted((doomed & set(there)) - (set(bundle.files) - {START}), reverse=True):
        if there[path] != _DIR or path not in dirs:
            say(f"remove {path}")
            target.remove(path, there.pop(path) == _DIR)
    for path in dirs:
        if path not in there:
            say(f"make folder {path}")
            target.make_dir(path)
    for path, data in bundle.files.items():
        if path == START:
            continue
        if there.get(path) == sha256(data):
            say(f"keep {path}: the same")
        else:
            say(f"copy {path}: {len(data)} bytes")
            target.copy(path, data)
    rest = {path: data for path, data in bundle.files.items() if path != START}
    say(f"check the hashes of {len(rest)} files")
    _check(target, tops, rest)
    say(f"copy {START}: {len(bundle.files[START])} bytes")
    target.copy(START, bundle.files[START])
    _check(target, tops, bundle.files)
    say("restart")
    target.restart()


class Pretended:
    """Stands in for an empty board in a dry run."""

    def __init__(self) -> None:
        self._files: dict[str, str] = {}

    def stop(self) -> None: ...

    def look(self, tops: tuple[str, ...]) -> dict[str, str]:
        return dict(self._files)

    def remove(self, path: str, is_dir: bool) -> None:
        del self._files[path]

    def make_dir(self, path: str) -> None:
        self._files[path] = _DIR

    def copy(self, path: str, data: bytes) -> None:
        self._files[path] = sha256(data)

    def restart(self) -> None: ...


class Serial:
    """A board on a serial port, by mpremote. Never reset softly: that would run its hub.

    again: what an owner does where the board falls silent
    called: what the command calls the port. also: what it takes besides one
    """

    def __init__(
        self, port: str, again: str = "flash again", *, called: str = "--port", also: str = ""
    ) -> None:
        self._port = port
        self._again = again
        self._called = called
        self._also = also
        self._link: Any = None

    def stop(self) -> None:
        from mpremote.transport import TransportError
        from mpremote.transport_serial import SerialTransport

        opened = False
        for _ in range(ATTEMPTS):
            link = None
            try:
                # mpremote prints what it did not understand.
                with contextlib.redirect_stdout(io.StringIO()):
                    link = SerialTransport(self._port, timeout=SETTLE_S)
                    opened = True
                    link.enter_raw_repl(soft_reset=False, timeout_overall=SETTLE_S)
                self._link = link
                return
            except (TransportError, OSError) as error:
                if not opened:
                    raise self._no_port(error) from None
                self._quit(link)
                if isinstance(error, OSError) or link is None:
                    time.sleep(SETTLE_S)  # the port went away with the board, or is not back yet
        raise DeviceError(f"{self._port}: no MicroPython answers; is another program on the port?")

    def look(self, tops: tuple[str, ...]) -> dict[str, str]:
        return dict(line.split("\t") for line in self.ask(_LIST % (tops,)))

    def ask(self, program: str) -> list[str]:
        """The lines that a program prints on the board."""
        return list(self._run(lambda link: link.exec(program)).decode().splitlines())

    def read(self, path: str) -> bytes:
        """A file's bytes."""
        return bytes(self._run(lambda link: link.fs_readfile(path, CHUNK_BYTES)))

    def remove(self, path: str, is_dir: bool) -> None:
        self._run(lambda link: link.fs_rmdir(path) if is_dir else link.fs_rmfile(path))

    def make_dir(self, path: str) -> None:
        self._run(lambda link: link.fs_mkdir(path))

    def copy(self, path: str, data: bytes) -> None:
        self._run(lambda link: link.fs_writefile(path, data, CHUNK_BYTES))

    def restart(self) -> None:
        self._run(lambda link: link.exec("import machine"))
        self._run(lambda link: link.exec_raw_no_follow("machine.reset()"))
        time.sleep(0.2)  # the last bytes are on their way
        self._quit(self._link)

    def _no_port(self, error: Exception) -> DeviceError:
        """The error of a port that cannot be opened."""
        there = ", ".join(_ports()) or "none"
        allowed = f"the serial port of a board (on USB there is {there}){self._also}"
        reason = str(error).removesuffix(f" {self._port}")
        return DeviceError(f"{self._called}: found {self._port} ({reason}), allowed {allowed}")

    def _run(self, act: Callable[[Any], Any]) -> Any:
        from mpremote.transport import TransportError

        try:
            return act(self._link)
        except (TransportError, OSError) as error:
            self._quit(self._link)
            last = str(error).strip().splitlines()[-1:] or ["no answer"]
            raise DeviceError(f"{self._port}: {last[0]}; {self._again}") from None

    def _quit(self, link: Any) -> None:
        if link is not None:
            with contextlib.suppress(OSError):
                link.close()


def find_port(called: str = "--port") -> str:
    """The one USB serial port. called: what the command calls it.

    Raises: DeviceError where there is none, or more.
    """
    found = _ports()
    if len(found) != 1:
        many = ", ".join(found) or "no USB serial port"
        example = "--port /dev/ttyACM0" if called == "--port" else "/dev/ttyACM0"
        raise DeviceError(f"{called}: found {many}; name the board's, such as {example}")
    return found[0]


def _ports() -> list[str]:
    """The USB serial ports of this machine."""
    from serial.tools.list_ports import comports

    return sorted(str(port.device) for port in comports() if port.vid is not None)


def _dirs(files: dict[str, bytes]) -> list[str]:
    """Folders of the files, outer ones first."""
    every = {str(parent) for path in files for parent in PurePosixPath(path).parents}
    return sorted(every - {"."})


def _check(target: Target, tops: tuple[str, ...], files: dict[str, bytes]) -> None:
    there = target.look(tops)
    wrong = [path for path, data in files.items() if there.get(path) != sha256(data)]
    if wrong:
        raise DeviceError(f"{wrong[0]}: the board does not hold what was copied; flash again")
