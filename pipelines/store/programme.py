"""The store's own settings: programme.yaml and access.yaml."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Literal, TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from pipelines.contract.errors import WrongUsage

Model = TypeVar("Model", bound=BaseModel)


class Mappings(BaseModel):
    """The programme's own words for headers and procedures."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    headers: dict[str, str] = {}
    procedures: dict[str, str] = {}


class Programme(BaseModel):
    """programme.yaml: whose store this is and how its exports are read."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    programme_ref: str = Field(pattern=r"^[A-Za-z0-9_-]{1,64}$")
    title: str
    specialty: str = "specialty.yaml"
    academic_year_starts: int = Field(default=7, ge=1, le=12)
    review_periods: list[str] = ["mid", "end"]
    dates: Literal["iso", "day_first", "month_first"] = "iso"
    date_precision: Literal["month"] = "month"
    refs_are_pseudonyms: bool = False
    current_within_days: int = Field(default=45, ge=0)
    small_count: int = Field(default=5, ge=1)
    as_of: datetime.date | None = None
    mappings: Mappings = Mappings()
    basis: str = ""
    demo: bool = False
    # How much memory one command may take; default: half of the machine.
    memory_limit: str | None = Field(default=None, pattern=r"^\d+ ?(MB|GB)$")

    @field_validator("as_of", mode="before")
    @classmethod
    def _no_time(cls, value: object) -> object:
        return value.date() if isinstance(value, datetime.datetime) else value


class Access(BaseModel):
    """access.yaml: who may see what; people are entered once sign-in exists."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    people: list[dict[str, str]] = []


def programme_ref(name: str) -> str:
    """NAME in lower case, every run of other characters one hyphen."""
    ref = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:64]
    if not ref:
        raise WrongUsage("--programme: the name holds no letter or digit to name the programme by.")
    return ref


def load_programme(path: Path) -> Programme:
    """Read programme.yaml; raises WrongUsage naming each key that breaks the schema."""
    return _load(path, Programme)


def load_access(path: Path) -> Access:
    """Read access.yaml; raises WrongUsage naming each key that breaks the schema."""
    return _load(path, Access)


def yaml_text(model: BaseModel) -> str:
    """The settings as YAML, in the order of the schema."""
    return yaml.safe_dump(model.model_dump(mode="json"), sort_keys=False, allow_unicode=True)


def _load(path: Path, model: type[Model]) -> Model:
    try:
        return model.model_validate(yaml.safe_load(path.read_text(encoding="utf-8")) or {})
    except FileNotFoundError:
        raise WrongUsage(f"{path.name} is missing from the store.") from None
    except ValidationError as error:
        faults = [
            f"{path.name}, {'.'.join(map(str, each['loc']))}: {each['msg']}." for each in error.errors()
        ]
        raise WrongUsage("\n".join(faults)) from None
    except (yaml.YAMLError, ValueError):  # ValueError: bytes that are no text, or a day that there is not
        raise WrongUsage(f"{path.name} is not readable as YAML.") from None
