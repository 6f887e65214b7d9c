"""What all tables of a property file have in common."""

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """A table that refuses unknown keys and values of another kind, and never changes."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)
