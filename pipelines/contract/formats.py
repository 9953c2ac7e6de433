"""The export format, version 1: which kinds of file there are, what each column may hold, and what is kept of it.

How a cell is read, what the store keeps, the tables of a build and the documentation are derived from this file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import pyarrow as pa

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


TYPES = {"text": pa.string(), "int": pa.int32(), "bool": pa.bool_(), "double": pa.float64()}
SQL_TYPES = {"text": "varchar", "int": "integer", "bool": "boolean", "double": "double"}
# What is kept of a column that says nothing else: its value as read.
KEPT_AS = {"yes_no": "bool", "whole": "int", "clock": "int", "number": "double"}
SORTED_LIST = "array_to_string(list_sort(list_distinct({column})), ';')"


@dataclass(frozen=True)
class Kept:
    """What the store keeps: name, type (a key of TYPES), and the SQL that makes it of an accepted row.

    `content` is false where the value follows from the other rows or from the file's layout: a difference in it
    alone is no change of the row.
    """

    name: str
    type: str
    sql: str
    content: bool = True


@dataclass(frozen=True)
class Column:
    """One column: `codes` names the set its codes come from; `low` and `high` are inclusive.

    A `required` cell may not be blank; a column `in_header` must be there, its cells may be blank. `kept` says what
    the store keeps of it where that is not the value itself.
    """

    name: str
    type: ColumnType
    required: bool = False
    in_header: bool = False
    codes: str | None = None
    low: float | None = None
    high: float | None = None
    kept: tuple[Kept, ...] = ()

    @property
    def is_pseudonym(self) -> bool:
        return self.type in ("ref", "case_ref")

    @property
    def is_free_text(self) -> bool:
        return self.name in ("comment", "rationale")

    @property
    def stored(self) -> tuple[Kept, ...]:
        """What the store keeps of this column."""
        if self.kept:
            return self.kept
        value = f'"{self.name}"'
        if self.type == "codes":
            value = SORTED_LIST.format(column=value)
        return (Kept(self.name, KEPT_AS.get(self.type, "text"), value),)


@dataclass(frozen=True)
class Kind:
    """One kind of file, with the columns that name one of its rows.

    A newer row replaces the older ones of its `record`: the key, but for a review, which is replaced whole.
    `computed` is kept beside what is kept of the columns. The rows of a kind `of_operation` name an operation and no
    trainee: they are stored with each trainee who has it live, or with nobody.
    """

    name: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    whole: tuple[str, ...] | None = None
    computed: tuple[Kept, ...] = ()
    of_operation: bool = False

    @property
    def key_columns(self) -> tuple[str, ...]:
        """The columns of a file from which the key comes."""
        return tuple(
            column.name
            for name in self.key
            for column in self.columns
            if name in (kept.name for kept in column.stored)
        )

    @property
    def stored(self) -> tuple[Kept, ...]:
        """The columns of the stored Parquet files, in order."""
        return (*(kept for column in self.columns for kept in column.stored), *self.computed)

    @property
    def stored_names(self) -> list[str]:
        return [kept.name for kept in self.stored]

    @property
    def content(self) -> list[str]:
        """The stored columns beside the key that say something about the row itself."""
        return [kept.name for kept in self.stored if kept.content and kept.name not in self.key]

    @property
    def schema(self) -> pa.Schema:
        return pa.schema([(kept.name, TYPES[kept.type]) for kept in self.stored])

    @property
    def record(self) -> tuple[str, ...]:
        return self.whole or self.key

    @property
    def required(self) -> tuple[str, ...]:
        """The columns without which a file is not of this kind."""
        return tuple(column.name for column in self.columns if column.required or column.in_header)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)

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
        Column(
            "value",
            "text",
            # Why somebody was on leave is not kept, nor a service by another word than the specialty's.
            kept=(
                Kept(
                    "value",
                    "text",
                    "case kind when 'stage' then lower(\"value\") when 'part_time' then \"value\" when 'rotation' then"
                    " coalesce((select rotation from rotation where spoken = as_code(\"value\")), 'unlisted') end",
                ),
            ),
        ),
    ),
)

CASES = Kind(
    "cases",
    ("case_ref", "trainee_ref", "procedure", "side"),
    (
        Column("case_ref", "case_ref", required=True),
        Column("trainee_ref", "ref", required=True),
        # The month is kept, the day never.
        Column(
            "operated_on",
            "date",
            required=True,
            kept=(Kept("operated_month", "text", "strftime(operated_on, '%Y-%m')"),),
        ),
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
        Column(
            "complications",
            "events",
            codes="complications",
            low=0,
            high=36500,
            kept=(Kept("complications", "text", "canonical_events(complications)"),),
        ),
        Column("event_hands", "code", codes="event_hands"),
        Column("follow_up_days", "whole", low=0, high=36500),
        Column(
            "logged_on",
            "date",
            kept=(
                Kept(
                    "lag_days",
                    "int",
                    "case when logged_on >= operated_on then logged_on - operated_on end",
                ),
                Kept(
                    "same_day_logged",
                    "int",
                    "case when logged_on is not null then count(*) over (partition by trainee_ref, logged_on) end",
                    content=False,
                ),
            ),
        ),
    ),
    computed=(
        Kept(
            "case_sequence",
            "int",
            "row_number() over (partition by trainee_ref order by operated_on, row_id)",
            content=False,
        ),
        Kept("file_name", "text", "stored_as", content=False),
        Kept("source_row", "int", "source_row", content=False),
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
        Column("started_at", "clock", kept=(Kept("started_seconds", "int", "started_at"),)),
        Column("ended_at", "clock", kept=(Kept("ended_seconds", "int", "ended_at"),)),
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
        Column(
            "level",
            "code",
            required=True,
            codes="milestone_levels",
            # As the framework writes it.
            kept=(
                Kept(
                    "level",
                    "text",
                    "coalesce((select framework.level from milestone_level as framework"
                    " where lower(framework.level) = accepted.level), accepted.level)",
                ),
            ),
        ),
        Column("rationale", "text"),
    ),
)

OUTCOMES = Kind(
    "outcomes",
    ("case_ref", "complication", "ascertained_by", "trainee_ref"),
    (
        Column("case_ref", "case_ref", required=True),
        Column("complication", "code", required=True, codes="complications"),
        Column("occurred", "code", required=True, codes="occurred"),
        Column("day", "whole", in_header=True, low=0, high=36500),
        Column(
            "source",
            "code",
            required=True,
            codes="outcome_sources",
            # Beside the rows stands the source of the intake.
            kept=(Kept("ascertained_by", "text", '"source"'),),
        ),
    ),
    computed=(
        Kept("trainee_ref", "text", "owner.trainee_ref", content=False),
        Kept("programme_ref", "text", "owner.programme_ref", content=False),
    ),
    of_operation=True,
)
# Stands for the trainee of an outcome whose operation nobody has.
UNMATCHED = "_unmatched"

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
