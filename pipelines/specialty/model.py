"""What a specialty file may say: the schema, as models that refuse every key they do not know."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    StringConstraints,
    Tag,
    model_validator,
)

CODE_PATTERN = r"^[a-z0-9_]+$"
Code = Annotated[str, StringConstraints(pattern=CODE_PATTERN)]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]
Month = Annotated[str, StringConstraints(pattern=r"^[0-9]{4}-(0[1-9]|1[0-2])$")]
Count = Annotated[int, Field(ge=1)]
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


def _as_list(given: Any) -> Any:
    return [given] if isinstance(given, str) else [] if given is None else given


# One code, or a list of them.
Codes = Annotated[list[Code], BeforeValidator(_as_list)]


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
    """`group` is the one of rates and supervision; rules about the groups `also_in` count it too.

    `codes`: what other systems call it, by the name of the system; logs may write these.
    """

    group: Code
    also_in: list[Code] = []
    codes: dict[Code, list[Text]] = {}


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


class Months(Strict):
    """Months of operation, both included; None = open."""

    first: Month | None = Field(default=None, alias="from")
    last: Month | None = Field(default=None, alias="to")


class LocalMinimum(Strict):
    """What the programme itself asks for, in place of the published minimum, which stays beside it."""

    minimum: Count
    source: Text


class OfWhich(Strict):
    """So many of the cases of a rule must be of this kind; what is not named is as in the rule itself."""

    title: Text
    minimum: Count
    procedures: list[Code] = []
    procedure_groups: list[Code] = []
    techniques: list[Code] = []
    roles: list[Code] = []
    stages: list[Code] = []
    attributes: Attributes | None = None


class Consecutive(Strict):
    """So many cases of a kind without a gap, what happened in each recorded, within so many years."""

    cases: Count
    within_years: Count


class PerPeriod(Strict):
    """So many assessments by others in each so many months of training."""

    at_least: Count
    each_months: Count


class Rule(Strict):
    """What every kind of requirement may say: which cases it is about, for whom, and on whose authority.

    `procedures` and those of `procedure_groups` count; `techniques` alone: any procedure done so. `before_stage`,
    `by_end_of_stage` and `last_years` look at the month of operation. Of the wholes that it is `part_of`, it is listed
    below the first. `local`: the programme's own rule.
    """

    title: Text
    unit: Code = "procedure"
    procedures: list[Code] = []
    procedure_groups: list[Code] = []
    techniques: list[Code] = []
    procedure_months: dict[Code, Months] = {}
    roles: list[Code] = []
    stages: list[Code] = []
    before_stage: Code | None = None
    by_end_of_stage: Code | None = None
    last_years: Count | None = None
    attributes: Attributes = Attributes()
    exclusive: list[Code] = []
    principal_only: bool = False
    part_of: Codes = []
    elsewhere: bool = False
    cohorts: Cohorts = Cohorts.model_validate({})
    edition: Text | None = None
    replaces: Code | None = None
    local: bool = False
    source: Text
    verified: bool
    reviewed_on: date

    @property
    def is_counted(self) -> bool:
        return isinstance(self, CountedRule)

    @property
    def is_of_cases(self) -> bool:
        """Whether it says which cases it is about; a sign-off and assessments need not."""
        return isinstance(self, CountedRule | AuditRule)


class CountedRule(Rule):
    """So many cases. `at_most`: how many of them may be of a kind; `either_or`: rules with one name stand in for another."""

    minimum: Count
    at_most: dict[Code, Annotated[int, Field(ge=0)]] = {}
    of_which: dict[Code, OfWhich] = {}
    either_or: Code | None = None
    local_minimum: LocalMinimum | None = None

    @property
    def asked(self) -> int:
        """The minimum that is judged: the programme's own, where it has one."""
        return self.local_minimum.minimum if self.local_minimum else self.minimum


class AuditRule(Rule):
    consecutive: Consecutive


class AssessmentRule(Rule):
    assessments: PerPeriod


class SignOffRule(Rule):
    sign_off: Literal[True]


# The key by which a rule's kind is told.
KINDS: dict[str, type[Rule]] = {
    "minimum": CountedRule,
    "consecutive": AuditRule,
    "sign_off": SignOffRule,
    "assessments": AssessmentRule,
}
# Keys that one kind alone knows: elsewhere they may stand if they say nothing.
_OF_ONE_KIND = {name for kind in KINDS.values() for name in kind.model_fields} - set(Rule.model_fields)


def units_in_words(unit: str, number: int) -> str:
    """What one count of a requirement is: `procedures`, `case reviews`, `biopsies`, `boxes` of a unit's code; `1 procedure`."""
    word = unit.replace("_", " ")
    if number == 1:
        return word
    if word.endswith("y") and word[-2:-1] not in "aeiou":
        return f"{word[:-1]}ies"
    return f"{word}es" if word.endswith(("s", "x", "ch", "sh")) else f"{word}s"


def kind_of(rule: Any) -> str:
    """The kind of a rule as read, or of a model: the first of KINDS that it names; a count where it names none."""
    if isinstance(rule, Rule):
        return next(key for key, kind in KINDS.items() if isinstance(rule, kind))
    return next((key for key in KINDS if isinstance(rule, dict) and key in rule), "minimum")


def _without_empty(rule: Any) -> Any:
    if not isinstance(rule, dict):
        return rule
    return {
        key: value
        for key, value in rule.items()
        if not (key in _OF_ONE_KIND and (value is None or value is False or value in ([], {})))
    }


Requirement = Annotated[
    Annotated[CountedRule, Tag("minimum")]
    | Annotated[AuditRule, Tag("consecutive")]
    | Annotated[SignOffRule, Tag("sign_off")]
    | Annotated[AssessmentRule, Tag("assessments")],
    Discriminator(kind_of),
    BeforeValidator(_without_empty),
]


class Complication(Spoken):
    """An outcome of one procedure group or several, listed under the first; `window_days` 0 = it arises in the operation."""

    groups: Annotated[Codes, Field(alias="group", min_length=1)]
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
    last_cases: Count | None = None
    last_quarters: Count | None = None


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
