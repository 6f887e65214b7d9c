"""Pages from templates: one frame, one style and one kind of table for every page."""

from collections.abc import Mapping
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

HOME = PackageLoader("evenclay.sim.report", "templates")


def render(name: str, values: Mapping[str, Any], package: str | None = None) -> str:
    """Return a page as HTML. package: whose template it is; None: one of the report's own.

    Each begins with `{% extends "page.html.j2" %}` and says what stands in the blocks `title` and
    `main`, and in `style` what it needs beside the style of all. `grid.html.j2` writes a `Table`.
    Raises: UndefinedError for a value that a template names and nobody gives.
    """
    environment = Environment(
        loader=ChoiceLoader([PackageLoader(package, "."), HOME]) if package else HOME,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name).render(values)
