"""Logs for tests: hubs whose ports are recorded, and what is read of their logs."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from evenclay.boards.log.recorder import Recorder
from evenclay.controller.events import POWER
from evenclay.controller.plan import Plan
from evenclay.controller.runner import Runner
from evenclay.tools.log.items import Item, items_of
from evenclay.tools.log.rerun import Judged, rerun
from tests import core
from tests.device import random_weeks


class Logged:
    """A log in a folder, over all boots of a hub."""

    def __init__(self, folder: Path, most_bytes: int = 65536, core: int = 0x1234ABCD) -> None:
        self.folder = folder
        self.core = core
        self.most_bytes = most_bytes
        self.plans: dict[int, Plan] = {}
        self.recorders: list[Recorder] = []

    def boot(self, ports: Any, why: int = POWER) -> Runner:
        """Boot a hub, and go on in the log."""
        self.recorders.append(Recorder(str(self.folder), self.core, self.most_bytes))
        runner = self.recorders[-1].boot(ports, why)
        self.plans[runner.hub.plan.crc] = runner.hub.plan
        return runner

    def files(self) -> dict[int, bytes]:
        """The bytes of the log's files by their numbers."""
        return {int(path.name): path.read_bytes() for path in (self.folder / "log").iterdir()}

    def items(self) -> list[Item]:
        return list(items_of(self.files()))

    def judged(self, items: Iterable[Item] | None = None) -> list[Judged]:
        """Every decision, beside the one of a re-run."""
        return list(rerun(self.items() if items is None else items, self.plans))


def bench_of(logged: Logged, plan: Plan, start_wall_s: int | None) -> core.Bench:
    """A bench whose hub is recorded, not booted yet."""

    class Recorded(core.Bench):
        def boot(self) -> Runner:
            if self.offset_s is not None:
                self.offset_s += self.now_s
            self.now_s = 0
            runner = self.runner = logged.boot(self)
            return runner

    return Recorded(plan, start_wall_s)


def week_of(logged: Logged, seed: int, monkeypatch: pytest.MonkeyPatch) -> Logged:
    """Live through a random week, with a recorded hub."""

    class Recorded(random_weeks.Faulty):
        def boot(self) -> Runner:
            if self.offset_s is not None:
                self.offset_s += self.now_s
            self.now_s = 0
            self.runner = None
            runner = self.runner = logged.boot(self)
            return runner

        def up_s(self) -> int:
            return super().up_s() if self.runner else self.now_s

    monkeypatch.setattr(random_weeks, "Faulty", Recorded)
    random_weeks.week(seed, lambda _: None)
    logged.recorders[-1].flush()
    monkeypatch.undo()
    return logged
