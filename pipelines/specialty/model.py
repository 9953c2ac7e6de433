"""What a specialty file may say: the schema, as models that refuse every key they do not know."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

Code = Annotated[str, StringConstraints(pattern=r"^[a-z0-9_]+$")]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Year = Annotated[int, Field(ge=1900, le=2200)]
Measure = Literal["counted_cases", "rate", "supervision_share", "score_mean"]
Attribution = Literal["as_logged", "as_started", "in_trainee_hands"]

# A level that every framework has.
NOT_ASSESSABLE = "not assessable"
# A complication of every specialty: something happened that has no code yet.
OTHER = "other"

# What each measure of a milestone rule needs, and nothing else but which of its cases.
MEASURE_KEYS: dict[str, tuple[str, ...]] = {
    "counted_cases": ("requirement", "at_least"),
    "rate": ("complication", "attribution", "at_most"),
    "supervision_share": ("group", "level", "at_least"),
    "score_mean": ("step", "at_least"),
}
# Which of its cases a rule may look at, but of counted cases.
LATEST_KEYS = ("last_cases", "last_quarters")


class Strict(BaseModel):
    """Unknown keys and values of another type (a number where text stands) are errors."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Spoken(Strict):
    """Something with a title; `also`: other words that logs write for it, exact but for case, accents and punctuation."""

    title: Text
    also: list[Text] = []


class Titled(Spoken):
    """The title alone, or a mapping of the title and what else is said of it."""

    @model_validator(mode="before")
    @classmethod
    def _from_title(cls, given: Any) -> Any:
        return {"title": given} if isinstance(given, str) else given


class Role(Titled):
    """`operating`: the trainee operates; `teaching`: the trainee supervises the one who does."""

    operating: bool = False
    teaching: bool = False


class Attribute(Titled):
    """`patient: false`: no patient was operated on, so the case is in no rate and no share of supervision."""

    patient: bool = True


class Procedure(Spoken):
    group: Code


class SupervisionLevel(Spoken):
    """`roles` are those with which the level agrees; none named = any. `band` is the short form on charts."""

    roles: list[Code] = []
    band: Text


class Attributes(Strict):
    all: list[Code] = []
    any: list[Code] = []
    none: list[Code] = []


class Cohorts(Strict):
    """The years in which the classes end that a rule holds for, both included; None = open."""

    first: Year | None = Field(default=None, alias="from")
    last: Year | None = Field(default=None, alias="to")


class Consecutive(Strict):
    cases: Annotated[int, Field(ge=1)]
    within_years: Annotated[int, Field(ge=1)]


class Requirement(Strict):
    """One rule of three kinds: a `minimum`, an audit of `consecutive` cases, or a `sign_off`."""

    title: Text
    minimum: Annotated[int, Field(ge=1)] | None = None
    consecutive: Consecutive | None = None
    sign_off: bool = False
    unit: Text = "procedure"
    procedures: list[Code] = []
    roles: list[Code] = []
    stages: list[Code] = []
    attributes: Attributes = Attributes()
    exclusive: list[Code] = []
    principal_only: bool = False
    part_of: Code | None = None
    at_most: dict[Code, Annotated[int, Field(ge=0)]] = {}
    elsewhere: bool = False
    cohorts: Cohorts = Cohorts.model_validate({})
    edition: Text | None = None
    replaces: Code | None = None
    source: Text
    verified: bool
    reviewed_on: date

    @property
    def is_counted(self) -> bool:
        return self.minimum is not None


class Complication(Spoken):
    """An outcome; `window_days` 0 = it arises in the operation."""

    group: Code
    window_days: Annotated[int, Field(ge=0, le=36500)]
    definition: Text
    source: Text
    verified: bool


class RiskWeights(Strict):
    """By how much each risk factor raises the log odds of one outcome; a factor not named adds nothing."""

    log_odds: Annotated[dict[Code, Annotated[float, Field(ge=-10, le=10)]], Field(min_length=1)]
    source: Text
    verified: bool


class MilestoneRule(Strict):
    """One measure that must reach a value; MEASURE_KEYS says which keys belong to which measure.

    `at_most` of a rate binds the upper end of its interval, not the rate itself: few cases prove nothing.
    `at_least` of a supervision_share is the share at that level or above. `last_cases` or `last_quarters`: only the latest
    count; of a score_mean the latest operations.
    """

    measure: Measure
    requirement: Code | None = None
    complication: Code | None = None
    attribution: Attribution | None = None
    group: Code | None = None
    level: Code | None = None
    step: Code | None = None
    at_least: Annotated[float, Field(gt=0)] | None = None
    at_most: Annotated[float, Field(gt=0, lt=1)] | None = None
    last_cases: Annotated[int, Field(ge=1)] | None = None
    last_quarters: Annotated[int, Field(ge=1)] | None = None


class MilestoneItem(Strict):
    """`rules`: what the evidence must show at a level; a level without rules is the committee's to judge."""

    title: Text
    rules: dict[Text, list[MilestoneRule]] = {}


class Milestones(Strict):
    framework: Text
    official: bool
    levels: Annotated[list[Text], Field(min_length=1)]
    items: dict[Code, MilestoneItem]


class Specialty(Strict):
    """A whole specialty file. Order carries meaning: roles highest first, supervision lowest first."""

    specialty: Code
    title: Text
    roles: dict[Code, Role]
    supervision: dict[Code, SupervisionLevel] = {}
    stages: dict[Code, Text] = {}
    techniques: dict[Code, Text] = {}
    attributes: dict[Code, Attribute] = {}
    risk_factors: dict[Code, Text] = {}
    procedure_groups: dict[Code, Text]
    # Services that trainees rotate through beside the procedure groups.
    rotations: dict[Code, Text] = {}
    procedures: dict[Code, Procedure]
    requirements: dict[Code, Requirement] = {}
    complications: dict[Code, Complication] = {}
    risk_weights: dict[Code, RiskWeights] = {}
    steps: dict[Code, list[Code]] = {}
    milestones: Milestones | None = None

    @property
    def operating_roles(self) -> list[str]:
        """The roles marked as operating; where none is, `surgeon`."""
        return [ref for ref, role in self.roles.items() if role.operating] or [
            ref for ref in self.roles if ref == "surgeon"
        ]
