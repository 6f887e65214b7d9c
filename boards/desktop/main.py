"""Run a hub here until `quit` or Ctrl-C: `python -m evenclay.boards.desktop.main FOLDER`.

FOLDER holds `plan.0`, made by `evenclay compile PROPERTY --out FOLDER/plan.0`; record, log and a
second copy of the plan come to stand beside it. Under MicroPython:
`micropython -m evenclay.boards.desktop.main FOLDER`. The light is a line that is printed when it
changes, and the button is typed: `button`, and `button long`.
"""

import select
import sys

from evenclay.boards.desktop.core import core_version
from evenclay.boards.desktop.ports import DesktopPorts, texts
from evenclay.boards.log.recorder import Recorder
from evenclay.boards.talk import state
from evenclay.boards.talk.verbs import answer
from evenclay.boards.talk.words import Desk
from evenclay.controller import TYPE_CHECKING
from evenclay.controller.limits import DAY_S
from evenclay.controller.plan import PlanError, unpack
from evenclay.controller.ports import ASK_HOLD, ASK_STOP

if TYPE_CHECKING:
    from collections.abc import Iterator

    from evenclay.controller.ports import Asked
    from evenclay.controller.runner import Runner

LONGEST_SLEEP_S = 60  # a typed line is looked for at least so often; a clock that steps, too


def main(folder: str, core: int = 0) -> int:
    """Take turns until the owner quits, and keep a log. Returns the exit status.

    core: the version of the core; 0: not known
    """
    zones, supplies = _most(folder)
    if not zones:
        return 2
    ports = DesktopPorts(folder, zones, supplies)
    log = Recorder(folder, core)
    runner = log.boot(ports)

    def give(asked: "Asked") -> "list[tuple[int, ...]]":
        ports.asked.append(asked)
        runner.turn()
        return ports.heard()

    desk = Desk(runner, ports.up_s, give, ports.look(), texts(folder))
    print("Type help to see what you may type, or quit.")
    try:
        _talk(desk, runner, ports)
    except KeyboardInterrupt:  # as good as quit
        print()
    finally:
        runner.close_all()
        log.flush()
    return 0


def _most(folder: str) -> "tuple[int, int]":
    """The most zones and supplies that a good copy of the plan has; says why if none is good."""
    zones = supplies = 0
    why: "Exception | None" = None
    for copy in (1, 0):
        try:
            with open("%s/plan.%d" % (folder, copy), "rb") as file:
                plan = unpack(file.read())
            zones = max(zones, len(plan.zones))
            supplies = max(supplies, len(plan.supplies))
        except (OSError, PlanError) as error:
            why = error
    if not zones:
        print("%s/plan.0: no plan to run: %s" % (folder, why))
    return zones, supplies


def _talk(desk: Desk, runner: "Runner", ports: DesktopPorts) -> None:
    """Take turns, and answer what is typed until that is `quit` or ends."""
    poller = select.poll()
    poller.register(sys.stdin, select.POLLIN)
    light = ""
    while True:
        wake_s = runner.turn()
        for event in ports.heard():
            print(desk.told(event))
        shines = desk.text(102 + state(runner, ports.up_s()))
        if shines != light:
            light = shines
            print("The light: " + light)
        wait_s = min(max(wake_s - ports.up_s(), 0), LONGEST_SLEEP_S)
        if poller.poll(wait_s * 1000):
            line = sys.stdin.readline()
            if not line or line.strip() == "quit":
                return
            for text in answered(desk, line.strip()):
                print(text)


def answered(desk: Desk, line: str) -> "Iterator[str]":
    """Yield the answer to a line, which may stand for the button."""
    if line in ("button", "button long"):
        asked: "Asked" = (ASK_STOP, -1, 0)
        if line != "button":
            asked = (ASK_HOLD, -1, desk.now()[0] + DAY_S)
        for event in desk.give(asked):
            yield desk.told(event)
    elif line:
        yield from answer(desk, line)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        print(__doc__)
        sys.exit(2)
    sys.exit(main(sys.argv[1], core_version()))
