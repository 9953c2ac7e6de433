"""The export format, version 1: which kinds of file there are, and what each column may hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ColumnType = Literal[
    "ref",  # 1-64 of A-Z a-z 0-9 _ -, compared exactly
    "case_ref",  # 4-64 of the same
    "date",
    "month",  # YYYY-MM; a whole date gives its month
    "cohort",  # 2026-27, or 2027: the academic year that ends in 2027
    "code",  # one of a set
    "procedure",  # a code whose being unknown is only a warning
    "codes",  # a list of codes, or `none`
    "events",  # a list of codes, each with @days where it matters, or `none`
    "yes_no",
    "whole",
    "number",
    "clock",  # h:mm:ss or mm:ss on a recording
    "period",  # 2026-27 mid
    "text",
]


@dataclass(frozen=True)
class Column:
    """One column: `codes` names the set its codes come from; `low` and `high` are inclusive.

    A `required` cell may not be blank; a column `in_header` must be there, its cells may be blank.
    """

    name: str
    type: ColumnType
    required: bool = False
    in_header: bool = False
    codes: str | None = None
    low: float | None = None
    high: float | None = None

    @property
    def is_pseudonym(self) -> bool:
        return self.type in ("ref", "case_ref")

    @property
    def is_free_text(self) -> bool:
        return self.name in ("comment", "rationale")


@dataclass(frozen=True)
class Kind:
    """One kind of file, with the columns that name one of its rows.

    A newer row replaces the older ones of its `record`: the key, but for a review, which is replaced whole.
    """

    name: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    read: bool = True
    whole: tuple[str, ...] | None = None

    @property
    def record(self) -> tuple[str, ...]:
        return self.whole or self.key

    @property
    def required(self) -> tuple[str, ...]:
        """The columns without which a file is not of this kind."""
        return tuple(column.name for column in self.columns if column.required or column.in_header)

    def column(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)


TRAINEES = Kind(
    "trainees",
    ("trainee_ref",),
    (
        Column("trainee_ref", "ref", required=True),
        Column("cohort", "cohort", required=True),
        Column("started", "month", required=True),
        Column("expected_completion", "month", required=True),
        Column("stage", "code", codes="stages"),
        Column("programme_ref", "ref"),
        Column("level", "code", codes="levels"),
        Column("credit_from", "month"),
        Column("completed", "month"),
        Column("left", "month"),
    ),
)

TRAINING = Kind(
    "training",
    ("trainee_ref", "from", "kind"),
    (
        Column("trainee_ref", "ref", required=True),
        Column("from", "month", required=True),
        Column("to", "month"),
        Column("kind", "code", required=True, codes="training_kinds"),
        Column("value", "text"),
    ),
)

CASES = Kind(
    "cases",
    ("case_ref", "trainee_ref", "procedure", "side"),
    (
        Column("case_ref", "case_ref", required=True),
        Column("trainee_ref", "ref", required=True),
        Column("operated_on", "date", required=True),
        Column("procedure", "procedure", required=True, codes="procedures"),
        Column("role", "code", required=True, codes="roles"),
        Column("side", "code", codes="sides"),
        Column("principal", "yes_no"),
        Column("converted_from", "procedure", codes="procedures"),
        Column("supervision", "code", codes="supervision"),
        Column("supervisor_ref", "ref"),
        Column("site_ref", "ref"),
        Column("supervisor_agreed", "yes_no"),
        Column("takeover", "yes_no"),
        Column("takeover_reason", "code", codes="takeover_reasons"),
        Column("duration_min", "number", low=1, high=1440),
        Column("technique", "code", codes="techniques"),
        Column("attributes", "codes", codes="attributes"),
        Column("risk_factors", "codes", codes="risk_factors"),
        Column("complications", "events", codes="complications", low=0, high=36500),
        Column("event_hands", "code", codes="event_hands"),
        Column("follow_up_days", "whole", low=0, high=36500),
        Column("logged_on", "date"),
    ),
)

REVIEWS = Kind(
    "reviews",
    ("review_ref", "step"),
    (
        Column("review_ref", "ref", required=True),
        Column("case_ref", "case_ref", required=True),
        Column("trainee_ref", "ref", required=True),
        Column("reviewer_ref", "ref", required=True),
        Column("setting", "code", required=True, codes="settings"),
        Column("self_review", "yes_no"),
        Column("step", "code", required=True, codes="steps"),
        Column("score", "whole", low=1, high=5),
        Column("done_by_supervisor", "code", codes="done_by_supervisor"),
        Column("attempts", "whole", low=0, high=1000),
        Column("successes", "whole", low=0, high=1000),
        Column("started_at", "clock"),
        Column("ended_at", "clock"),
        Column("recording_speed", "number", low=0.01, high=100),
        Column("comment", "text"),
    ),
    whole=("review_ref",),
)

MILESTONES = Kind(
    "milestones",
    ("trainee_ref", "period", "milestone"),
    (
        Column("trainee_ref", "ref", required=True),
        Column("period", "period", required=True),
        Column("milestone", "code", required=True, codes="milestones"),
        Column("level", "code", required=True, codes="milestone_levels"),
        Column("rationale", "text"),
    ),
)

OUTCOMES = Kind(
    "outcomes",
    ("case_ref", "complication", "source"),
    (
        Column("case_ref", "case_ref", required=True),
        Column("complication", "code", required=True, codes="complications"),
        Column("occurred", "code", required=True, codes="occurred"),
        Column("day", "whole", in_header=True, low=0, high=36500),
        Column("source", "code", required=True, codes="outcome_sources"),
    ),
    read=False,
)

CONFIRMATIONS = Kind(
    "confirmations",
    ("case_ref", "trainee_ref"),
    (
        Column("case_ref", "case_ref", required=True),
        Column("trainee_ref", "ref", required=True),
        Column("supervisor_ref", "ref", required=True),
        Column("role_agreed", "yes_no", in_header=True),
        Column("supervision", "code", in_header=True, codes="supervision"),
        Column("takeover", "yes_no", in_header=True),
        Column("takeover_reason", "code", in_header=True, codes="takeover_reasons"),
    ),
    read=False,
)

OFFICIAL_COUNTS = Kind(
    "official_counts",
    ("trainee_ref", "requirement_ref"),
    (
        Column("trainee_ref", "ref", required=True),
        Column("requirement_ref", "code", required=True, codes="requirements"),
        Column("count", "whole", required=True, low=0, high=1_000_000),
        Column("as_of", "date", required=True),
    ),
    read=False,
)

# Rosters first: the rows of the others are judged against them.
KINDS = (TRAINEES, TRAINING, CASES, REVIEWS, MILESTONES, OUTCOMES, CONFIRMATIONS, OFFICIAL_COUNTS)

# Code sets that belong to the format; all others belong to the specialty.
FORMAT_CODES = {
    "levels": ("resident", "fellow"),
    "training_kinds": ("stage", "leave", "part_time", "rotation", "elsewhere"),
    "sides": ("left", "right", "both"),
    "takeover_reasons": ("planned", "rescue"),
    "event_hands": ("trainee", "supervisor", "unclear"),
    "settings": ("live", "recorded"),
    "done_by_supervisor": ("no", "planned", "rescue"),
    "occurred": ("yes", "no", "unknown"),
    "outcome_sources": ("trainee", "supervisor", "record_review", "audit"),
}
# A header with one of these is never anything but cases.
ONLY_IN_CASES = ("operated_on", "procedure", "role")


def missing_columns(kind: Kind, header: list[str]) -> list[str]:
    return [name for name in kind.required if name not in header]


def kind_of(header: list[str]) -> Kind | None:
    """The kind whose required columns all stand in `header`; of several, the one with the most."""
    if any(name in header for name in ONLY_IN_CASES):
        return None if missing_columns(CASES, header) else CASES
    complete = [kind for kind in KINDS if not missing_columns(kind, header)]
    return max(complete, key=lambda kind: len(kind.required), default=None)


def nearest_kind(header: list[str]) -> Kind:
    """The kind that most of `header` fits, for saying what is missing."""
    if any(name in header for name in ONLY_IN_CASES):
        return CASES
    return min(KINDS, key=lambda kind: len(missing_columns(kind, header)) / len(kind.required))
