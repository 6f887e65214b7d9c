"""Asks the questions, or takes their answers from options, and makes a property file of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import typer

from evenclay.tools.property.compile import compile_house
from evenclay.tools.property.file.wording import shown
from evenclay.tools.property.property import Property, parse
from evenclay.tools.start import answers, closing, seasons, written
from evenclay.tools.start.clay import texture_of
from evenclay.tools.start.defaults import (
    FOLLOWS,
    alone,
    crowded,
    named_by_owner,
    now,
    usual,
    zones_of,
)
from evenclay.tools.start.questions import QUANTITIES, QUESTIONS, SIDES, Question
from evenclay.tools.start.reading import Texts, refused
from evenclay.tools.start.seasons import AS_IT_IS

BY_HAND = "change this file's by hand"


class Moving(Exception):
    """The house moves now: nothing may be begun."""


@dataclass
class Given:
    """The answers, and what else a file has of them. assumed: those that nobody gave, so they are
    what is usual. fresh: those that a file did not have. read: what options with quantities were
    read as, where that is not what they say."""

    texts: dict[str, str] = field(default_factory=dict)
    assumed: set[str] = field(default_factory=set)
    fresh: set[str] = field(default_factory=set)
    read: list[tuple[str, str]] = field(default_factory=list)


def gather(options: Mapping[str, str], prop: Property | None) -> Given:
    """All answers: from options where there are any, else from whoever sits at the terminal.

    Raises: typer.BadParameter for an option that will not do; Moving; typer.Abort after Ctrl-C.
    """
    old = now(prop) if prop else {}
    keys = [question.key for question in QUESTIONS]
    found = Given({key: text for key, text in old.items() if key not in keys})
    for question in QUESTIONS:
        key, texts = question.key, found.texts
        default = _default(key, texts, old, prop)
        answer = default
        barred = _barred(key, texts, prop)
        if options:
            answer = _of_option(key, options, texts, default, barred, prop)
        elif not barred:
            answer = _asked(question, texts, default, prop)
        texts[key] = answer or ""
        typed = " ".join(options.get(key, "").split())
        if typed and key in QUANTITIES and typed.lower() != texts[key].lower():
            found.read.append((f"--{key} {typed}", texts[key]))
        if answer != old.get(key):
            found.fresh.add(key)
            if answer == default and key not in options:
                found.assumed.add(key)
        if key == "moving" and answer == "yes":
            raise Moving
    return found


def _default(key: str, texts: Texts, old: Texts, prop: Property | None) -> str | None:
    """The answer in brackets: what the file says, else what is usual."""
    if _of_several(key, prop):
        return old[key]
    told = answers.outline_of(texts) is not None
    leaders = () if key in SIDES and not told else FOLLOWS.get(key, ())
    if key == "name" and named_by_owner(old.get(key, "")):
        leaders = ()
    stale = any(texts[leader] != old.get(leader, texts[leader]) for leader in leaders)
    if key.endswith("-spigot") and old.get(key) not in texts["spigots"].split(", "):
        stale = True
    return old[key] if key in old and not stale else usual(key, texts)


def _barred(key: str, texts: Texts, prop: Property | None) -> str:
    """When a question would be asked, where it is not asked now; '' where it is."""
    side = key.partition("-")[0]
    if _of_several(key, prop):
        return f"where the side has one zone; {BY_HAND}"
    if side in SIDES and key != side and texts[side] == "none":
        return f"where the {side} side has a hose"
    if key in ("first-side", "spigot-places", "paving") and answers.outline_of(texts) is None:
        return "where the outline is told"
    if key.endswith("-spigot") and "," not in texts["spigots"]:
        return "where there are several spigots"
    if key == "units" and prop:
        return f"for a new file; this one is {prop.site.units} already"
    if key == "new-seasons" and not prop:
        return "for a file that is there"
    return ""


def _of_several(key: str, prop: Property | None) -> bool:
    """Whether zones of one side differ in an answer: several hoses are not as long as one of them,
    nor served by one spigot. They have one cover."""
    side, _, rest = key.partition("-")
    return prop is not None and side in crowded(prop) and rest != "cover"


def _read(key: str, text: str, texts: Texts, prop: Property | None) -> str:
    """The answer that a text means, for this file. Raises: ValueError in one line."""
    found = answers.read(key, text, texts)
    several = crowded(prop) if prop else []
    if prop and key == "hose-flow" and (test := answers.bucket_of(found)) and test[2] in several:
        allowed = f"a test of a side with one hose: {', '.join(alone(prop))}" if alone(prop) else ""
        raise refused(text, f"{allowed or 'what its label says'}; {BY_HAND}")
    if prop and key == "probes":
        differ = _with_probe(found, several) ^ _with_probe(now(prop)["probes"], several)
        if differ:
            side = min(differ, key=SIDES.index)
            allowed = f"the {side} side as it is, since it has several zones; {BY_HAND}"
            raise refused(text, allowed)
    return found


def _with_probe(answer: str, sides: Sequence[str]) -> set[str]:
    """Those of some sides that have a probe by an answer."""
    return {side for side in sides if answer == "all" or side in answer.split(", ")}


def _of_option(
    key: str,
    options: Mapping[str, str],
    texts: Texts,
    default: str | None,
    barred: str,
    prop: Property | None,
) -> str | None:
    """The answer that an option gives, or what stands for it."""
    option = f"--{key}"
    if key in options:
        if barred:
            message = f"found {shown(options[key])}, allowed only {barred}"
            raise typer.BadParameter(message, param_hint=option)
        try:
            return _read(key, options[key], texts, prop)
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint=option) from None
    if default is None and not barred:
        asks = _words(key, texts)
        raise typer.BadParameter(f"found no answer, allowed one to: {asks}", param_hint=option)
    return default


def _words(key: str, texts: Texts) -> str:
    """A question in the units of the house."""
    asks = next(question.asks for question in QUESTIONS if question.key == key)
    return asks.format(**answers.words(texts))


def _asked(question: Question, texts: Texts, default: str | None, prop: Property | None) -> str:
    """Ask until the answer will do; an empty one is the default."""
    key = question.key

    def value_of(text: str) -> str:
        text = text.strip() or default or ""
        if text == default:
            return text
        try:
            return _read(key, text, texts, prop)
        except ValueError as error:
            raise typer.BadParameter(str(error)) from None

    for line in closing.before(key, texts):
        typer.echo(line)
    answer: str = typer.prompt(
        _words(key, texts),
        default=default or "",
        show_default=default is not None,
        value_proc=value_of,
    )
    for line in closing.after(key, {**texts, key: answer}):
        typer.echo(line)
    return answer


def file_of(given: Given, name: str, before: Property | None) -> tuple[str, list[seasons.Row]]:
    """The text of the file called `name` that passes `check`, and the seasons where they are new.

    Raises: PropertyError with what does not fit; typer.BadParameter.
    """
    texts = given.texts
    differ = AS_IT_IS in (texts["hose"], texts["hose-pressure"])
    if differ and "hose-flow" in given.fresh:
        allowed = f"where all hoses are of one kind and pressure; {BY_HAND}"
        message = f"found {shown(texts['hose-flow'])}, allowed only {allowed}"
        raise typer.BadParameter(message, param_hint="--hose-flow")
    try:
        text, rows = _written(texts, before)
    except ValueError as error:
        raise typer.BadParameter(str(error)) from None
    compile_house(parse(text, name))
    return text, rows


def _written(texts: Texts, before: Property | None) -> tuple[str, list[seasons.Row]]:
    """The file's text, and its seasons where they are new."""
    latitude, _ = written.coordinates(texts["where"])
    old = zones_of(before) if before else {}
    taken = set(before.zones) if before else set()
    names = {}
    for side in SIDES:
        if texts[side] != "none":
            names[side] = old.get(side) or [f"{side} side" if side in taken else side]
    rows: list[seasons.Row] = []
    turned = before is not None and (latitude < 0) != (before.site.latitude < 0)
    if before is None or turned or texts["new-seasons"] == "yes":
        if not seasons.leaves_room(hours := texts["banned-hours"]):
            message = f"found {shown(hours)}, allowed {seasons.LEAVE_ROOM}"
            raise typer.BadParameter(message, param_hint="--banned-hours")
        rows = seasons.table(texts, latitude, texture_of(texts["clay"]))
    after = written.text_of(texts, names, rows)
    if before is None:
        return after, rows
    was = written.text_of(now(before), old, [])
    return written.changed(before.source.text, was, after), rows
