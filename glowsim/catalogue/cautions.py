"""What can hurt: the project's words on it, in one place."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from glowsim.catalogue.entry import Prose
from glowsim.errors import MaterialError
from glowsim.tomlfile import parse_toml, validate_data

Topic = Literal[
    "sheet",
    "heat",
    "fire",
    "lithium",
    "alkaline",
    "coin",
    "fuse",
    "polarity",
    "solder",
    "cutting",
    "resin",
    "dust",
    "glare",
    "flashing",
    "skin",
    "wear",
    "rain",
    "event",
]


class Caution(BaseModel):
    """A caution: it defers to rules and licensed people, and never calls anything safe."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: str = Field(min_length=1)
    text: Prose = Field(min_length=1)
    source: Prose = Field(min_length=1)


@lru_cache(maxsize=1)
def all_cautions() -> dict[str, Caution]:
    """Return every caution by its topic, in the order of the file."""
    text = resources.files(__package__).joinpath("cautions.toml").read_text(encoding="utf-8")
    toml = parse_toml(text, "glowsim/catalogue/cautions.toml", MaterialError)
    return {
        name: validate_data(Caution, written, toml, (name,), MaterialError)
        for name, written in toml.data.items()
    }


def caution(topic: Topic) -> str:
    """Return the words of a caution, its title before them."""
    found = all_cautions()[topic]
    return f"{found.title}: {found.text}"
