"""How an answer is read: by the rules of the property file, in the units of the house."""

import re
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel
from pydantic_core import PydanticCustomError

from evenclay.sim.units import UNITS
from evenclay.tools.property.file.rules import Rule
from evenclay.tools.property.file.wording import shown

Texts = Mapping[str, str]  # answers by their questions
NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d+)?|\.\d+)")


def units_of(texts: Texts) -> str:
    """The name of the units of the house."""
    return texts.get("units", "metric")


def refused(found: str, allowed: str, reason: str = "") -> ValueError:
    """The error of an answer that will not do, one line for whoever typed it."""
    return ValueError(f"found {shown(found, reason)}, allowed {allowed}")


def by_rule(model: type[BaseModel], name: str, value: Any, units: str, typed: str = "") -> Any:
    """A value as the property file reads it. typed: what it was worked out from, if it was.

    Raises: ValueError in one line.
    """
    rule = rule_of(model, name, units)
    try:
        return rule.read(value)
    except PydanticCustomError as error:
        context = error.context or {}
        raise ValueError(f"found {context['found']}, allowed {context['allowed']}") from None
    except ValueError as error:
        allowed = rule.allowed
        if rule is not rule_of(model, name, "metric"):  # an answer needs no unit, unlike the file
            allowed = allowed.replace("with its unit", "as a number or with a unit")
        raise refused(typed or str(value), allowed, str(error)) from None


def rule_of(model: type[BaseModel], name: str, units: str) -> Rule:
    """The property file's rule for a key."""
    rules = [getattr(item, "func", None) for item in model.model_fields[name].metadata]
    return next(found for found in rules if isinstance(found, Rule)).of(units)


def with_unit(text: str, kind: str, units: str) -> str:
    """A text with the unit of the house's, where it is a number alone."""
    return f"{text} {UNITS[units].unit(kind)}" if NUMBER.fullmatch(text) else text
