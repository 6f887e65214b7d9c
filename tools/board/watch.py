"""A hub on this machine, in a simulated house, for whoever wants to play with it before owning one.

The hub is the real one, and so are the console's answers and what the light shows. The house, its
valves and its ground are the simulator's; time is the caller's.
"""

from collections.abc import Callable, Sequence
from pathlib import Path

from evenclay.boards.talk import state, words
from evenclay.boards.talk.verbs import answer
from evenclay.boards.talk.words import Desk, folded
from evenclay.controller.limits import DAY_S
from evenclay.controller.ports import ASK_HOLD, ASK_STOP
from evenclay.sim.calendar import HOUR_S
from evenclay.sim.ground.plausible import middle
from evenclay.sim.house.house import House
from evenclay.sim.house.standing import SectionGround, sides_of, stand
from evenclay.sim.replay.life import Life, Policy, begin
from evenclay.sim.replay.stay import Stay, weather_of

HELP = """Type help for what a hub understands. What only this house understands:
  Enter alone shows the moment; b presses the button, B presses it long
  wait 6 h, or wait 3 days, lets time pass at once; quit ends it"""
_LIGHT = 102  # the first of four lines of `words.txt` that say what the light shows
_UNITS_S = {"min": 60, "h": HOUR_S, "day": DAY_S, "days": DAY_S}


def texts(names: Sequence[str]) -> Callable[[int], str]:
    """Lines of the console, as a bundle has them; names: of units and spigots."""
    file = Path(words.__file__).with_name("words.txt")
    lines = [*file.read_text("ascii").splitlines()[:-1], *names]
    return lambda number: lines[number] if number < len(lines) else ""


def move_in(house: House, stay: Stay, index: float, seed: int) -> tuple[Life, int]:
    """Put the hub into its house on the middle ground. Returns its life, and when that ends.

    index: of the climate, as `index_of` has it
    """
    sky, by_hour, climate = weather_of(house, stay, seed)
    ground = middle(sides_of(house), index, house.footing_m)
    standing = stand(house, ground, climate)
    section = SectionGround(standing, by_hour, sky.start_s)
    life = begin(Policy("watch", house.plan, None), section, sky, seed)
    life.run(sky.start_s + 1)
    return life, sky.start_s + HOUR_S * sky.hours


class Watch:
    """A life that goes on as fast as its clock says, and answers what is typed."""

    def __init__(
        self,
        life: Life,
        end_s: int,
        names: Sequence[str],
        speed: float,
        clock: Callable[[], float],
        say: Callable[[str], None],
    ) -> None:
        """clock: seconds that pass outside. speed: seconds in the house for each of them."""
        self.ended = False
        self._life = life
        self._end_s = end_s
        self._speed = speed
        self._clock = clock
        self._say = say
        self._from_s, self._began = life.devices.now_s, clock()
        self._heard = 0
        self._shown = -1
        self._desk = Desk(
            life.runner, life.devices.up_s, life.ask, life.devices.look(), texts(names)
        )

    def go_on(self) -> None:
        """Live up to the moment that the clock says, and tell what happened."""
        passed_s = int((self._clock() - self._began) * self._speed)
        self._live(min(self._from_s + passed_s, self._end_s))

    def typed(self, line: str) -> None:
        """Take a line, and say the answer."""
        desk, life = self._desk, self._life
        desk.seen = life.devices.look()
        word, *rest = line.split() or [""]
        if word == "quit":
            self.ended = True
        elif word == "":
            self._say_moment()
        elif word == "wait":
            self._wait(rest)
        elif word in ("b", "B"):
            hold = (ASK_HOLD, -1, desk.now()[0] + DAY_S)
            life.ask(hold if word == "B" else (ASK_STOP, -1, 0))
        else:
            for text in answer(desk, line):
                self._say(text)
            self._heard = len(life.devices.heard)  # what it answered with is told
        self._tell()

    def _live(self, to_s: int) -> None:
        if to_s > self._life.devices.now_s:
            self._life.run(to_s)
        self._tell()
        if self._life.devices.now_s >= self._end_s:
            self._say("The weather ends here.")
            self.ended = True

    def _wait(self, rest: list[str]) -> None:
        """Let time pass at once."""
        try:
            number, unit = rest
            for_s = int(number) * _UNITS_S[unit]
        except (ValueError, KeyError):
            for_s = 0
        if not 0 < for_s <= 366 * DAY_S:
            self._say("I understand it like this: wait 6 h, or wait 3 days, up to 366 days")
            return
        to_s = min(self._life.devices.now_s + for_s, self._end_s)
        self._from_s, self._began = to_s, self._clock()
        self._live(to_s)

    def _tell(self) -> None:
        """Say what the hub has reported since, and what the light shows if that is new."""
        heard = self._life.devices.heard
        for one in heard[self._heard :]:
            for text in folded(self._desk.told(one.event)):
                self._say(text)
        self._heard = len(heard)
        shown = state(self._life.runner, self._life.devices.up_s())
        if shown != self._shown:
            self._shown = shown
            self._say("The light: " + self._desk.text(_LIGHT + shown))

    def _say_moment(self) -> None:
        """The moment in a line: time, what is open, the weather, the light."""
        devices, desk = self._life.devices, self._desk
        open_now = [
            part.name for valve, part in enumerate(devices.plan.zones) if devices.open_valves[valve]
        ]
        hour = (devices.now_s - devices.sky.start_s) // HOUR_S
        before_s = max(devices.now_s - DAY_S, devices.sky.start_s)
        rain_um = devices.sky.fallen_um(devices.now_s) - devices.sky.fallen_um(before_s)
        wall_s, _ = desk.now()
        self._say(
            f"{desk.at(wall_s) if wall_s else 'no clock'}, "
            f"{'open: ' + ', '.join(open_now) if open_now else 'all shut'}, "
            f"air {desk.amount(devices.sky.temp_mc[hour], 'mc')}, "
            f"rain in a day {desk.amount(rain_um, 'um')}, "
            f"light: {desk.text(_LIGHT + self._shown)}"
        )
