"""The demo's property file shows every key that a property file may have, each with a value."""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from evenclay.tools.property.property import Property, parse

DEMO = (Path(__file__).parents[2] / "sim" / "demo" / "property.toml").read_text("utf-8")
HEADER = re.compile(r"^(?:# )?\[+([\w.]+)\]+$", re.MULTILINE)
OFF = re.compile(r"# (\[[a-z.]+\]|[a-z_]+ = .*)")  # a line that is not in force
NAMED = ("zones", "supplies")  # tables of tables, whose names are the owner's
Keys = tuple[str, ...]


def paragraphs() -> dict[Keys, str]:
    """Paragraphs of the demo by the tables that they show; those of one table together."""
    found: dict[Keys, str] = {}
    for paragraph in DEMO.split("\n\n"):
        header = HEADER.search(paragraph)
        if header is not None:
            path = tuple(header[1].split("."))
            path = path[:1] if path[0] in NAMED else path
            found[path] = found.get(path, "") + paragraph + "\n"
    return found


def model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(model_in, get_args(annotation))), None)


def fields_of(model: type[BaseModel]) -> Iterator[tuple[str, type[BaseModel] | None]]:
    """The keys of a table, each with the table that it holds."""
    for name, field in model.model_fields.items():
        yield field.alias or name, model_in(field.annotation)


def headed(model: type[BaseModel], path: Keys = ()) -> Iterator[type[BaseModel]]:
    """Tables that have a paragraph of their own."""
    for key, inner in fields_of(model):
        if inner is not None and key in {each[len(path)] for each in under(path)}:
            yield inner
            yield from headed(inner, (*path, key))


def under(path: Keys) -> list[Keys]:
    return [each for each in paragraphs() if each[: len(path)] == path and len(each) > len(path)]


def keys_of(
    model: type[BaseModel], path: Keys = (), shown: Keys = ()
) -> Iterator[tuple[Keys, Keys]]:
    """Every key below a table, with the table in whose paragraphs it is to be shown.

    A table without a paragraph of its own is written on one line in that of the table around it,
    and where the same kind of table has one elsewhere, it is explained there.
    """
    for name, inner in fields_of(model):
        key = (*path, name)
        own = key in paragraphs() or bool(under(key))
        if not own:
            yield key, shown
        if inner is not None and (own or inner not in HEADED):
            yield from keys_of(inner, key, key if own else shown)


HEADED = set(headed(Property))
KEYS = list(keys_of(Property))


def test_all_tables_are_seen() -> None:
    assert len(KEYS) > 90
    assert {shown for _, shown in KEYS} == set(paragraphs())


@pytest.mark.parametrize(("key", "shown"), KEYS, ids=lambda key: ".".join(key))
def test_each_key_is_shown_with_a_value_beside_its_table(key: Keys, shown: Keys) -> None:
    assert re.search(rf"\b{key[-1]} = ", paragraphs()[shown]), f"[{'.'.join(shown)}] {key[-1]}"


def test_what_is_not_in_force_will_do_once_it_is() -> None:
    """Each such line is put in force alone, or with others that stand around it."""
    lines = DEMO.split("\n")
    off = [bool(OFF.fullmatch(line)) for line in lines]
    assert sum(off) > 35
    for place, line in enumerate(lines):
        if off[place]:
            first = place - off[place::-1].index(False) + 1
            end = off.index(False, place)
            parts = [
                slice(a, b) for a in range(first, place + 1) for b in range(place + 1, end + 1)
            ]
            assert any(accepted(with_on(lines, part)) for part in parts), line


def with_on(lines: list[str], part: slice) -> str:
    """The demo with some lines put in force."""
    on = [line.removeprefix("# ") for line in lines[part]]
    return "\n".join([*lines[: part.start], *on, *lines[part.stop :]])


def accepted(text: str) -> bool:
    assert tomllib.loads(text) != tomllib.loads(DEMO)
    try:
        parse(text, "demo")
    except ValueError:
        return False
    return True
