"""The files of a store as values: programme.yaml, access.yaml, and the manifests of its snapshots.

A manifest says, for every trainee and source, the intakes whose rows are live, in order.
"""

from __future__ import annotations

import datetime
import functools
import hashlib
import io
import json
import re
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from pipelines.contract.errors import StoreDamaged, WrongUsage

Model = TypeVar("Model", bound=BaseModel)
REF = r"^[A-Za-z0-9_-]{1,64}$"
ACCOUNT = r"^[a-z0-9][a-z0-9_.-]{0,63}$"

# A setting that does nothing yet may only say what happens anyway.
NOT_YET = {
    "small_count": "another threshold for small counts than 5",
    "mappings": "mappings of headers and procedures",
}


class _Rule(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PaceBehind(_Rule):
    """By what became of earlier trainees, reaching a minimum is less likely than this."""

    chance_below: float = Field(default=0.5, gt=0, lt=1)
    # Where only the share of earlier trainees with at most as many is shown: so many of them are needed.
    people: int = Field(default=5, ge=1)


class UnconfirmedMinimum(_Rule):
    """A minimum is reached only with unconfirmed cases, in the last months of training."""

    months_left: int = Field(default=12, ge=0, le=600)


class CloseAndShort(_Rule):
    """Close to completion, and short of a minimum."""

    months_left: int = Field(default=6, ge=0, le=600)


class OutcomeOverTime(_Rule):
    """The chart of an outcome has crossed its limit: that for a whole class, or the lower one for one person."""

    limit: Literal["class", "person"] = "class"


class SupervisionNotLoosening(_Rule):
    """Supervision stays close in a group of procedures in which that of earlier trainees had loosened."""

    quarters: int = Field(default=2, ge=1, le=20)
    cases: int = Field(default=10, ge=1)
    people: int = Field(default=10, ge=4)
    loosened_by: float = Field(default=0.1, gt=0, le=1)


class StepWithoutProgress(_Rule):
    """The latest reviews of a step are no better than those before, and below a score."""

    operations: int = Field(default=5, ge=2)
    score_below: float = Field(default=3.5, ge=1, le=5)


class LevelAndEvidence(_Rule):
    """The committee's level of a milestone and the evidence lie so many levels apart."""

    levels_apart: int = Field(default=2, ge=1, le=10)


class LevelFell(_Rule):
    """The committee's level of a milestone is so many levels lower than the one before."""

    levels: int = Field(default=1, ge=1, le=10)


class LogLate(_Rule):
    """The data are not current, and so many whole months are not entered."""

    months: int = Field(default=1, ge=1, le=60)


class OutcomesUnknown(_Rule):
    """Of so many due cases more than this share has no known outcome."""

    due: int = Field(default=10, ge=1)
    share: float = Field(default=0.5, ge=0, le=1)


class NothingKnown(_Rule):
    """Nothing has come in about somebody who started so many months ago."""

    months: int = Field(default=1, ge=1, le=60)


class PastCompletion(_Rule):
    """Past the expected completion by so many months, and neither completed nor left."""

    months: int = Field(default=1, ge=1, le=60)


class Reasons(_Rule):
    """What is a reason to discuss somebody: one key a kind."""

    pace_behind: PaceBehind = PaceBehind()
    unconfirmed_minimum: UnconfirmedMinimum = UnconfirmedMinimum()
    close_and_short: CloseAndShort = CloseAndShort()
    outcome_over_time: OutcomeOverTime = OutcomeOverTime()
    supervision_not_loosening: SupervisionNotLoosening = SupervisionNotLoosening()
    step_without_progress: StepWithoutProgress = StepWithoutProgress()
    level_and_evidence: LevelAndEvidence = LevelAndEvidence()
    level_fell: LevelFell = LevelFell()
    log_late: LogLate = LogLate()
    outcomes_unknown: OutcomesUnknown = OutcomesUnknown()
    nothing_known: NothingKnown = NothingKnown()
    past_completion: PastCompletion = PastCompletion()
    # A kind that names somebody of a programme in which everybody is fine at more than this share of meetings is weak: with
    # two meetings a year one in ten is once in a training of five years.
    weak_above: float = Field(default=0.1, ge=0, le=1)


class SubmissionDue(_Rule):
    """Within how many days after the end of a month its log, its confirmations and its outcomes are due."""

    log: int = Field(default=14, ge=0, le=3650)
    confirmation: int = Field(default=30, ge=0, le=3650)
    # Of an outcome with a window, after that.
    outcome: int = Field(default=30, ge=0, le=3650)


class Programme(BaseModel):
    """programme.yaml: whose store this is and how its exports are read."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    programme_ref: str = Field(pattern=REF)
    title: str
    specialty: str = "specialty.yaml"
    academic_year_starts: int = Field(default=7, ge=1, le=12)
    review_periods: list[str] = ["mid", "end"]
    dates: Literal["iso", "day_first", "month_first"] = "iso"
    date_precision: Literal["month"] = "month"
    refs_are_pseudonyms: bool = False
    current_within_days: int = Field(default=45, ge=0)
    # Sources that get no more exports: how far they run says nothing of how current a trainee's data are.
    closed_sources: list[str] = []
    small_count: int = Field(default=5, ge=1)
    # The chart of outcomes over time looks for odds raised so many times; so many whole trainings of average trainees
    # cross its limit, unless the limit itself is given.
    cusum_odds_ratio: float = Field(default=2, gt=1, le=100)
    cusum_chance: float = Field(default=0.05, gt=0, lt=1)
    cusum_limit: float | None = Field(default=None, gt=0)
    reasons: Reasons = Reasons()
    submission_due: SubmissionDue = SubmissionDue()
    as_of: datetime.date | None = None
    basis: str = ""
    demo: bool = False
    # How much memory one command may take; default: half of the machine.
    memory_limit: str | None = Field(default=None, pattern=r"^\d+ ?(MB|GB)$")

    @model_validator(mode="before")
    @classmethod
    def _says_nothing_that_is_not_done(cls, values: dict[str, Any]) -> dict[str, Any]:
        """A store of 0.1.0 wrote `mappings` with nothing in it."""
        mappings = values.pop("mappings", None)
        if mappings not in (None, {}, {"headers": {}, "procedures": {}}):
            raise ValueError(f"mappings: {NOT_YET['mappings']} do nothing in this version; take them out")
        default = cls.model_fields["small_count"].default
        if values.get("small_count", default) != default:
            raise ValueError(
                f"small_count: {NOT_YET['small_count']} does nothing in this version; write {default}"
            )
        return values

    @field_validator("as_of", mode="before")
    @classmethod
    def _no_time(cls, value: object) -> object:
        return value.date() if isinstance(value, datetime.datetime) else value


# Who may see what: the roles, and what else an entry of access.yaml must say of each.
Role = Literal["director", "committee_member", "coordinator", "reviewer", "trainee"]


class Person(BaseModel):
    """An entry of access.yaml: by what a person signs in, and what they are.

    They sign in by an account of this store, by the issuer and subject that a provider states, or by an email address
    that a provider has verified (of that issuer alone where one is named).
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    role: Role
    # What records call them; without it the first that the entry has of trainee, reviewer, account, email and subject.
    person: str | None = Field(default=None, pattern=r"^[A-Za-z0-9_.@+-]{1,64}$")
    # Without it the programme of programme.yaml.
    programme: str | None = Field(default=None, pattern=REF)
    trainee: str | None = Field(default=None, pattern=REF)
    reviewer: str | None = Field(default=None, pattern=REF)
    account: str | None = Field(default=None, pattern=ACCOUNT)
    issuer: str | None = Field(default=None, pattern=r"^https?://\S+$")
    subject: str | None = Field(default=None, min_length=1, max_length=255)
    email: str | None = Field(default=None, pattern=r"^[^@\s]+@[^@\s]+$")

    @model_validator(mode="after")
    def _is_complete(self) -> Person:
        if not (self.account or self.email or self.subject):
            raise ValueError("name an account, an email, or an issuer with a subject")
        if self.subject and not self.issuer:
            raise ValueError("a subject is somebody only at an issuer; name it")
        if self.issuer and not (self.subject or self.email):
            raise ValueError("an issuer alone is everybody there; name a subject or an email")
        for role, ref in (("trainee", self.trainee), ("reviewer", self.reviewer)):
            if (self.role == role) != (ref is not None):
                raise ValueError(
                    f"the key {role} says which {role} it is; it goes with the role {role} alone"
                )
        return self

    @property
    def name(self) -> str:
        """What records call this person."""
        named = (self.person, self.trainee, self.reviewer, self.account, self.email, self.subject)
        return next(name for name in named if name)

    @property
    def keys(self) -> list[tuple[str, ...]]:
        """Everything that this person may sign in by; nobody else's entry may have one of them."""
        keys: list[tuple[str, ...]] = [("account", self.account)] if self.account else []
        if self.issuer and self.subject:
            keys.append(("subject", self.issuer, self.subject))
        if self.email:
            keys.append(("email", self.issuer or "", self.email.casefold()))
        return keys


class Access(BaseModel):
    """access.yaml: who may see what, one entry a person."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    people: list[Person] = []

    @model_validator(mode="after")
    def _nobody_stands_twice(self) -> Access:
        keys = [key for person in self.people for key in person.keys]
        doubled = dict.fromkeys(key for key in keys if keys.count(key) > 1)
        if doubled:
            raise ValueError(f"two entries sign in by the same {', '.join(key[0] for key in doubled)}")
        return self


def programme_ref(name: str) -> str:
    """NAME in lower case, every run of other characters one hyphen."""
    ref = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:64]
    if not ref:
        raise WrongUsage("--programme: the name holds no letter or digit to name the programme by.")
    return ref


def load_programme(path: Path) -> Programme:
    """Read programme.yaml; raises WrongUsage naming each key that breaks the schema."""
    return load_settings(path, Programme)


def load_access(path: Path) -> Access:
    """Read access.yaml; raises WrongUsage naming each key that breaks the schema."""
    return load_settings(path, Access)


def yaml_text(model: BaseModel) -> str:
    """The settings as YAML, in the order of the schema."""
    text = io.StringIO()
    values = model.model_dump(mode="json")
    # Named where somebody needs it, not in every store.
    for name in ("closed_sources", "cusum_chance", "cusum_limit", "reasons", "submission_due"):
        default = model.__class__.model_fields.get(name)
        if default and getattr(model, name) == default.get_default(call_default_factory=True):
            values.pop(name)
    YAML().dump(values, text)
    return text.getvalue()


def load_settings(path: Path, model: type[Model]) -> Model:
    """Read a YAML file that people edit; raises WrongUsage naming each key that breaks the schema."""
    try:
        text = path.read_text(encoding="utf-8")
        settings: Model = _settings_of(text, model, path.name)
    except FileNotFoundError:
        raise StoreDamaged(f"{path.name} is missing") from None
    except ValidationError as error:
        faults = [
            f"{', '.join([path.name, *filter(None, ['.'.join(map(str, each['loc']))])])}:"
            f" {each['msg'].removeprefix('Value error, ')}."
            for each in error.errors()
        ]
        raise WrongUsage("\n".join(faults)) from None
    except (YAMLError, ValueError):  # ValueError: bytes that are no text, or a day that there is not
        raise WrongUsage(f"{path.name} is not readable as YAML.") from None
    return settings


# A command asks for its settings again and again; reading YAML takes longer than a query. What is kept cannot be changed.
@functools.lru_cache(maxsize=64)
def _settings_of(text: str, model: type[Any], name: str) -> Any:
    values = YAML(typ="safe", pure=True).load(text) or {}
    if not isinstance(values, dict):
        raise WrongUsage(f"{name}: its top level must be keys with values.")
    return model.model_validate(values)


# Of stored rows, receipts and manifests. 0: version 0.1.0, without a number. 1: receipts name each file with its rows
# and hash; case rows know their file and row. 2: a procedure is a code, or `unmapped-1`, and no finding quotes a cell.
FORMAT = 2
CODES_ALONE = 2


class Entry(BaseModel):
    """One intake that is live for a trainee; `taken` is the number of the snapshot it came with."""

    model_config = ConfigDict(extra="forbid")

    intake_id: str
    mode: Literal["replace", "append"]
    taken: int
    data_through: str | None = None


class Line(BaseModel):
    """What is live for one kind, trainee and source.

    `unaccepted` counts rows withdrawn and older versions kept since a person last accepted that.
    """

    model_config = ConfigDict(extra="forbid")

    kind: str
    trainee_ref: str
    source: str
    intakes: list[Entry]
    unaccepted: int = 0

    @property
    def data_through(self) -> str | None:
        """The month through which the rows run, as the latest of its intakes has it."""
        return max((each.data_through for each in self.intakes if each.data_through), default=None)


class Journal(BaseModel):
    """How much of the journal a snapshot was built from."""

    length: int = 0
    head: str | None = None


class Hashes(BaseModel):
    """SHA-256 of what a build read besides intakes, and of the database that it made."""

    programme: str = ""
    specialty: str = ""
    sql: str = ""
    calibration: str = ""
    database: str = ""


class Manifest(BaseModel):
    """What one snapshot is made from. Number 0 is the empty store, before its first snapshot."""

    model_config = ConfigDict(extra="forbid")

    format: int = 0
    snapshot: int = 0
    made_on: str | None = None
    as_of: str | None = None
    version: str = ""
    live: list[Line] = []
    journal: Journal = Journal()
    hashes: Hashes = Hashes()
    # SHA-256 of the receipt of each intake that counts.
    receipts: dict[str, str] = {}
    new_intakes: list[str] = []
    # The file in calibration/ from which false_alarm is; none before the first `calibrate`.
    calibration: str | None = None
    # Of an undoing: the snapshot whose rows are live again.
    restores: int | None = None

    @classmethod
    def read(cls, path: Path) -> Manifest:
        """Read a manifest; raises StoreDamaged where it cannot be, WrongUsage where a later version wrote it."""
        try:
            content = json.loads(path.read_bytes())
            refuse_newer(content, path.name)
            digest = content.pop("sha256", None)
            manifest = cls.model_validate(content)
        except FileNotFoundError:
            raise StoreDamaged(f"snapshots/{path.name} is missing") from None
        except (ValidationError, ValueError, TypeError):
            raise StoreDamaged(f"snapshots/{path.name} is not what was written") from None
        if manifest.format and digest != manifest.digest():
            raise StoreDamaged(f"snapshots/{path.name} is not what was written")
        return manifest

    @property
    def file_name(self) -> str:
        return f"snap-{self.snapshot:06d}.json"

    @property
    def database_name(self) -> str:
        return f"snap-{self.snapshot:06d}.duckdb"

    def digest(self) -> str:
        """The SHA-256 of what the manifest says."""
        # What only an undoing says stands in no other manifest.
        said = self.model_dump_json(exclude={"restores"} if self.restores is None else None)
        return hashlib.sha256(said.encode()).hexdigest()

    def text(self) -> str:
        said = self.model_dump(mode="json", exclude={"restores"} if self.restores is None else None)
        return json.dumps({**said, "sha256": self.digest()}, indent=1) + "\n"

    def intakes(self) -> list[str]:
        """Every intake that this manifest names, each once, in the order taken."""
        entries = [(entry.taken, entry.intake_id) for line in self.live for entry in line.intakes]
        named = {intake_id: taken for taken, intake_id in sorted(entries, reverse=True)}
        return sorted(named, key=lambda intake_id: (named[intake_id], intake_id))

    def line(self, kind: str, trainee_ref: str, source: str) -> Line | None:
        return next(
            (
                each
                for each in self.live
                if (each.kind, each.trainee_ref, each.source) == (kind, trainee_ref, source)
            ),
            None,
        )

    def with_lines(self, lines: list[Line]) -> list[Line]:
        """The live lines with `lines` in the place of those of the same kind, trainee and source."""
        by_key = {(each.kind, each.trainee_ref, each.source): each for each in (*self.live, *lines)}
        return [by_key[key] for key in sorted(by_key)]


def refuse_newer(content: dict[str, object], name: str) -> None:
    """Raise WrongUsage where a file of the store has a later format than this version writes."""
    written = content.get("format", 0)
    if isinstance(written, int) and written > FORMAT:
        raise WrongUsage(
            f"{name} was written by a newer version (format {written}; this version reads up to {FORMAT})."
            " Open the store with that version."
        )


def live_manifest(root: Path) -> Manifest:
    """The manifest that CURRENT names in a store; raises StoreDamaged where it names none."""
    try:
        name = (root / "CURRENT").read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        raise StoreDamaged("CURRENT cannot be read") from None
    path = root / "snapshots" / name
    if not name or path.parent != root / "snapshots" or not path.is_file():
        raise StoreDamaged("CURRENT names no snapshot that is there")
    return Manifest.read(path)
