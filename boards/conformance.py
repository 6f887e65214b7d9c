"""Proves a board's ports against the contract of `controller/README.md`, there or on a desktop.

    python -m evenclay.boards.conformance MODULE

MODULE holds a class `Rig`, which makes the ports and provokes faults; see `rigs`. MicroPython
takes the same command. On a board, type `from evenclay.boards.conformance import prove`, then
`from evenclay.boards.NAME import rig`, then `prove(rig.Rig())`. It opens valves for seconds: shut
the spigot. It writes over plan and record, and puts them back at its end; if it was cut off before,
copy the plan anew. It sets the clock to a time of its own: set it right afterwards.

A check for which the rig has no hook is `not shown`, with the hook's name; it does not pass. Each
check says its name as it begins; all verdicts come last.
"""

import sys

from evenclay.boards.port_checks import checks
from evenclay.boards.rigs import NotShown, Rig
from evenclay.controller import TYPE_CHECKING
from evenclay.controller.ports import PLAN, RECORD

if TYPE_CHECKING:
    from collections.abc import Callable

    from evenclay.boards.port_checks import Check


def judge(check: "Check", rig: Rig) -> "tuple[bool | None, str]":
    """(True, ""), (False, what is wrong), or (None, the hook that is missing)."""
    try:
        check(rig)
    except NotShown as missing:
        return None, missing.args[0]
    except Exception as error:
        return False, "%s: %s" % (type(error).__name__, error)
    return True, ""


def stored(rig: Rig) -> "dict[tuple[int, int], bytes]":
    """What the store holds, by slot and copy; nothing where it cannot be read."""
    kept: "dict[tuple[int, int], bytes]" = {}
    try:
        ports = rig.boot(False)
        for slot in (PLAN, RECORD):
            for copy in (0, 1):
                kept[(slot, copy)] = ports.read(slot, copy)
    except Exception:
        kept.clear()
    return kept


def given_back(rig: Rig, kept: "dict[tuple[int, int], bytes]") -> bool:
    """Write what the store held before. Returns whether it reads back."""
    try:
        ports = rig.boot(False)
        for (slot, copy), data in kept.items():
            ports.write(slot, copy, data)
            if ports.read(slot, copy) != data:
                return False
        return True
    except Exception:
        return not kept


def prove(rig: Rig, say: "Callable[[str], None]" = print) -> bool:
    """Run every check, then say all verdicts. Returns whether none failed."""
    kept = stored(rig)
    counts = {True: 0, False: 0, None: 0}
    verdicts = []
    try:
        for name, check in checks():
            say("begins    " + name)
            passed, told = judge(check, rig)
            counts[passed] += 1
            word = {True: "ok", False: "FAILED", None: "not shown"}[passed]
            tail = {True: "", False: ": " + told, None: ": the rig has no " + told}[passed]
            verdicts.append("%-9s %s%s" % (word, name, tail))
    finally:  # Ctrl-C too leaves no plan of the kit's behind
        if not given_back(rig, kept):
            say("plan and record could not be put back: copy the plan anew")
        rig.leave()
    for verdict in verdicts:
        say(verdict)
    version = ".".join([str(part) for part in sys.implementation.version[:3]])
    say(
        "%d ok, %d failed, %d not shown, on %s %s"
        % (counts[True], counts[False], counts[None], sys.implementation.name, version)
    )
    return counts[False] == 0


def main() -> int:
    """Prove the rig that is named. Returns the exit status."""
    if len(sys.argv) != 2:
        print(__doc__)
        return 2
    try:
        found = __import__(sys.argv[1], None, None, ["Rig"]).Rig()
    except (ImportError, AttributeError) as error:
        print("%s: no rig: %s" % (sys.argv[1], error))
        return 2
    return 0 if prove(found) else 1


if __name__ == "__main__":
    from evenclay.boards import conformance  # the module that the rig imports, not this copy of it

    sys.exit(conformance.main())
