"""Pages from templates. The frame and the style of every page are those of the report."""

from collections.abc import Mapping
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

HOME = "evenclay.sim.report"


def render(name: str, values: Mapping[str, Any], package: str = HOME) -> str:
    """Return a page as HTML, from a template of a package.

    A page of another package begins with `{% extends "report.html.j2" %}`, and says what stands in
    the blocks `title` and `main`, and in `style` what the report's style lacks.
    Raises: UndefinedError for a value that a template names and nobody gives.
    """
    environment = Environment(
        loader=ChoiceLoader([PackageLoader(each, ".") for each in (package, HOME)]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name).render(values)
