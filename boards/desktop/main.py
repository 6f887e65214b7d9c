"""Run a hub on this machine until `quit`: `python -m evenclay.boards.desktop.main FOLDER`.

FOLDER holds `plan.0`, made by `evenclay compile PROPERTY --out FOLDER/plan.0`; record and log
come to stand beside it. Under MicroPython: `micropython -m evenclay.boards.desktop.main FOLDER`.
"""

import select
import sys

from evenclay.boards.console import HELP, noted, status
from evenclay.boards.desktop.ports import DesktopPorts
from evenclay.boards.log.recorder import Recorder
from evenclay.controller.plan import PlanError, unpack

LONGEST_SLEEP_S = 60  # a typed line is looked for at least so often; a clock that steps, too


def main(folder: str, core: int = 0) -> int:
    """Take turns until the owner quits, and keep a log. Returns the exit status.

    core: the version of the core; 0: not known
    """
    try:
        with open(folder + "/plan.0", "rb") as file:
            plan = unpack(file.read())
    except (OSError, PlanError) as error:
        print("%s/plan.0: no plan to run: %s" % (folder, error))
        return 2
    ports = DesktopPorts(folder, len(plan.zones), len(plan.supplies))
    try:
        log = Recorder(folder, core)
        runner = log.boot(ports)
    except PlanError as error:
        print("%s: the plan in force does not fit plan.0: %s" % (folder, error))
        return 2
    if runner.trouble.count:
        print("exceptions before: " + noted(runner.trouble))
    poller = select.poll()
    poller.register(sys.stdin, select.POLLIN)
    print(HELP + " | quit")
    while True:
        wake_s = runner.turn()
        wait_s = min(max(wake_s - ports.up_s(), 0), LONGEST_SLEEP_S)
        if poller.poll(wait_s * 1000):
            line = sys.stdin.readline()
            if not line or line.strip() == "quit":
                runner.close_all()
                log.flush()
                return 0
            if line.strip() == "status":
                print(status(runner, ports.up_s()))
            elif line.strip():
                wrong = ports.ask(line)
                if wrong:
                    print(wrong)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        print(__doc__)
        sys.exit(2)
    sys.exit(main(sys.argv[1]))
