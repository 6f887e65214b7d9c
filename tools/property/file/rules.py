"""Rules for single values of a property file: each reads a value and says what it takes."""

import re
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import BeforeValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from evenclay.tools.property.file.wording import shown


class Rule:
    """Reads a value, or raises a refusal that says what is allowed.

    allowed: what it takes, in words. read: raises ValueError with a reason, or with '' for none.

    us: the rule that stands in this one's place in a file of US units, if another one does.
    """

    def __init__(
        self,
        allowed: str | Callable[[], str],
        read: Callable[[Any], Any],
        us: "Rule | None" = None,
    ) -> None:
        self._allowed = allowed
        self.read = read
        self._us = us

    @property
    def allowed(self) -> str:
        """What it takes, in words; worked out only where a message needs it."""
        return self._allowed if isinstance(self._allowed, str) else self._allowed()

    def of(self, units: object) -> "Rule":
        """The rule for a file of these units."""
        return self._us if self._us is not None and units == "us" else self

    def __call__(self, value: Any, info: ValidationInfo) -> Any:
        rule = self.of(info.context)
        try:
            return rule.read(value)
        except PydanticCustomError:
            raise
        except ValueError as error:
            raise refusal(shown(value, str(error)), rule.allowed) from None


def refusal(found: str, allowed: str, *keys: str | int) -> PydanticCustomError:
    """Return the error that stands for one mistake at `keys` below the place it is raised for."""
    return PydanticCustomError(
        "refused", "{found}", {"found": found, "allowed": allowed, "keys": list(keys)}
    )


def plain_number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("")
    if not abs(value) < 1e12:  # nan too
        raise ValueError("")
    return float(value)


def whole(least: int, most: int) -> BeforeValidator:
    """Rule for a whole number."""

    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise ValueError("")
        return value

    return BeforeValidator(Rule(f"a whole number, {least} to {most}", read))


def number(least: float, most: float, what: str = "a number") -> BeforeValidator:
    """Rule for a plain number."""

    def read(value: Any) -> float:
        if not least <= plain_number(value) <= most:
            raise ValueError("")
        return float(value)

    return BeforeValidator(Rule(f"{what}, {least:g} to {most:g}", read))


def flag() -> BeforeValidator:
    """Rule for true or false."""

    def read(value: Any) -> bool:
        if not isinstance(value, bool):
            raise ValueError("")
        return value

    return BeforeValidator(Rule("true or false", read))


def _chosen(value: str, words: Mapping[str, str]) -> str:
    """Return the word that a text means, whatever its capitals, spaces, hyphens and underscores."""
    found = words.get(re.sub(r"[\s_-]+", " ", value.strip()).lower())
    if found is None:
        raise ValueError("")
    return found


def choice(*words: str, also: Mapping[str, str] | None = None) -> BeforeValidator:
    """Rule for one word of a few. also: other words that people write, and what they mean."""
    known = {word: word for word in words} | dict(also or {})

    def read(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError("")
        return _chosen(value, known)

    return BeforeValidator(Rule(", ".join([f'"{word}"' for word in words]), read))


def flag_or(word: str) -> BeforeValidator:
    """Rule for true, false, or one word instead."""

    def read(value: Any) -> bool | str:
        if isinstance(value, str):
            return _chosen(value, {word: word})
        if not isinstance(value, bool):
            raise ValueError("")
        return value

    return BeforeValidator(Rule(f'true, false or "{word}"', read))


def choice_or_number(words: tuple[str, ...], least: float, most: float) -> BeforeValidator:
    """Rule for one word of a few, or a number instead."""
    known = {word: word for word in words}
    quoted = ", ".join([f'"{word}"' for word in words])
    allowed = f"{quoted}, or a number, {least:g} to {most:g}"

    def read(value: Any) -> str | float:
        if isinstance(value, str):
            return _chosen(value, known)
        if not least <= plain_number(value) <= most:
            raise ValueError("")
        return float(value)

    return BeforeValidator(Rule(allowed, read))


def text(most: int) -> BeforeValidator:
    """Rule for a short text on one line."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or not value.strip() or len(value) > most:
            raise ValueError("")
        if not value.isprintable():
            raise ValueError("")
        return value

    return BeforeValidator(Rule(f"a text of 1 to {most} printable characters", read))


def web_address(most: int) -> BeforeValidator:
    """Rule for the address of a page."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or len(value) > most:
            raise ValueError("")
        if not re.fullmatch(r"https?://[!-~]+", value):
            raise ValueError("")
        return value

    allowed = f'an address of at most {most} characters, such as "http://hub.local/"'
    return BeforeValidator(Rule(allowed, read))


def ascii_name(most: int) -> BeforeValidator:
    """Rule for a name that fits a one-line display: plain ASCII, no space at either end."""

    def read(value: str) -> str:
        if not value.isascii() or not value.isprintable() or value != value.strip():
            raise ValueError("")
        if not 0 < len(value) <= most:
            raise ValueError(f"{len(value)} long")
        return value

    return BeforeValidator(Rule(f"a name of 1 to {most} plain ASCII characters", read))


def several(item: BeforeValidator, most: int, *, ascending: bool = False) -> BeforeValidator:
    """Rule for a list of values that each obey `item`, none twice."""
    rule = item.func
    assert isinstance(rule, Rule)
    order = "ascending" if ascending else "no one twice"

    def read(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list) or len(value) > most:
            raise ValueError("")
        items = []
        for one in value:
            try:
                items.append(rule.read(one))
            except ValueError as error:
                raise ValueError(f"{shown(one, str(error))} will not do") from None
        for place, one in enumerate(items):
            if one in items[:place]:
                raise ValueError(f"{shown(value[place])} stands twice")
            if ascending and place and one < items[place - 1]:
                raise ValueError(f"{shown(value[place])} comes before the one before it")
        return tuple(items)

    allowed = f"a list of at most {most}, {order}, each {rule.allowed}"
    return BeforeValidator(Rule(allowed, read))
