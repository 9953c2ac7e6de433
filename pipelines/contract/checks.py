"""The rules that rows are judged by: one query a rule, which returns what breaks it.

Every query reads `{batch}`, a table made by staging, and returns `row_id, column_name, cell`; `cell` is what a
message may quote, null where it may quote nothing. Besides the batch the queries read these tables of the staging
database: `intake_day (today)`, `roster`, `left_out (row_id, by_key)`, `supervision_role`, `procedure_group`, `complication_window`,
`stage`, `kept_key`, `other_source_key`, `live_operation`, `live_roster`, `live_case`.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipelines.contract.findings import LEFT_OUT, WARNINGS, Severity
from pipelines.contract.formats import CASES, REVIEWS, TRAINEES, TRAINING, Column, Kind


@dataclass(frozen=True)
class Rule:
    """One rule for one kind of file."""

    name: str
    query: str

    @property
    def about_accepted(self) -> bool:
        """A warning is about a row that was taken; but for the one about a row that was not."""
        return self.severity == "warning" and self.name != "older_version_kept"

    @property
    def severity(self) -> Severity:
        return "left_out" if self.name in LEFT_OUT else "warning"

    def over(self, batch: str) -> str:
        return self.query.format(batch=batch)


def rules_for(kind: Kind, with_roster: bool = True) -> list[Rule]:
    """The rules of a kind, in the order in which a row with two faults is counted.

    Without a roster the rules that need one are left away.
    """
    selects: dict[str, list[str]] = {}
    for column in kind.columns:
        for name, where in _column_rules(column):
            selects.setdefault(name, []).append(_select(column.name, where, _quotable(column)))
    for name, query in _kind_rules(kind, with_roster):
        selects.setdefault(name, []).append(query)
    selects.setdefault("too_many_cells", []).append(_select(None, "too_many_cells"))
    order = LEFT_OUT + WARNINGS
    # Two ways to break a rule in one cell are one finding; only rosters have such, and only they are small.
    union = " union all " if kind is CASES else " union "
    return [Rule(name, union.join(selects[name])) for name in order if name in selects]


def _select(column: str | None, where: str, cell: str = "null::varchar") -> str:
    name = f"'{column}'" if column else "null::varchar"
    return f"select row_id, {name} as column_name, {cell} as cell from {{batch}} where {where}"


def _quotable(column: Column) -> str:
    if column.type in ("code", "procedure", "period"):
        return f'"{column.name}"'
    if column.type in ("codes", "events"):
        return f"array_to_string(\"{column.name}\", ';')"
    return "null::varchar"


_FAULTS_OF_TYPE: dict[str, tuple[str, ...]] = {
    "ref": ("ref_malformed",),
    "case_ref": ("case_ref_malformed",),
    "date": ("date_unreadable", "date_ambiguous", "date_impossible"),
    "month": ("date_unreadable", "date_ambiguous", "date_impossible"),
    "cohort": ("date_unreadable", "date_impossible"),
    "code": ("code_unknown",),
    "codes": ("code_unknown",),
    "events": ("code_unknown",),
    "yes_no": ("yes_no_unreadable",),
    "whole": ("number_unreadable", "number_out_of_range"),
    "number": ("number_unreadable", "number_out_of_range"),
    "clock": ("number_unreadable",),
    "period": ("date_unreadable", "code_unknown"),
}


def _column_rules(column: Column) -> list[tuple[str, str]]:
    name = f'"{column.name}"'
    rules = [(rule, f"\"{column.name}_fault\" = '{rule}'") for rule in _FAULTS_OF_TYPE.get(column.type, ())]
    if column.required:
        blank = (
            f"{name} is null"
            if column.type == "procedure"
            else f'{name} is null and "{column.name}_fault" is null'
        )
        rules.append(("required_blank", blank))
    if column.type == "date":
        rules.append(("date_in_future", f"{name} > (select today from intake_day)"))
    if column.type in ("codes", "events"):
        rules.append(("none_beside_code", f'"{column.name}_none_beside"'))
    if column.type == "events":
        faults = f'"{column.name}_day_faults"'
        rules += [
            (rule, f"list_contains({faults}, '{rule}')")
            for rule in ("number_unreadable", "number_out_of_range")
        ]
    if column.type == "procedure":
        rules.append(("procedure_unmapped", f'"{column.name}_unmapped"'))
    return rules


def _kind_rules(kind: Kind, with_roster: bool) -> list[tuple[str, str]]:
    rules = [("key_repeated", _key_repeated(kind))]
    if kind is TRAINEES:
        rules += _TRAINEE_RULES
    else:
        rules += [("trainee_unknown", _TRAINEE_UNKNOWN)] if with_roster else []
    if kind is TRAINING:
        rules += _TRAINING_RULES
    if kind is REVIEWS:
        rules += _REVIEW_RULES + (_REVIEW_RULES_WITH_ROSTER if with_roster else [])
    if kind is CASES:
        rules += _CASE_RULES + (_CASE_RULES_WITH_ROSTER if with_roster else [])
    return rules


# Two references that differ only in case would be one person to a reader, so the roster's key ignores case.
_KEY_TEXT = {"trainees": "lower(trainee_ref)"}
_KEY_COLUMN = {
    "cases": "case_ref", "training": "from", "trainees": "trainee_ref", "reviews": "step", "milestones": "milestone"
}  # fmt: skip


def _key_repeated(kind: Kind) -> str:
    key = _KEY_TEXT.get(kind.name) or ", ".join(f'"{name}"' for name in kind.key)
    first = f"qualify row_number() over (partition by {key} order by row_id) > 1"
    suspects = f"select {key} from {{batch}} group by all having count(*) > 1"
    same = " and ".join(
        f"{name} is not distinct from suspect.c{number}" for number, name in enumerate(key.split(", "), 1)
    )
    names = ", ".join(f"c{number}" for number, _ in enumerate(key.split(", "), 1))
    column = _KEY_COLUMN.get(kind.name, kind.key[0])
    return (
        f"select row_id, '{column}' as column_name, null::varchar as cell from (select * from {{batch}} "
        f"where row_id not in (select row_id from left_out where not by_key) "
        f"and exists (select 1 from ({suspects}) as suspect ({names}) where {same})) as candidate {first}"
    )


_TRAINEE_UNKNOWN = _select(
    "trainee_ref", "trainee_ref_fault is null and trainee_ref not in (select trainee_ref from roster)"
)

_TRAINEE_RULES = [
    ("date_impossible", _select("expected_completion", "expected_completion < started")),
    (
        "key_repeated",
        _select(
            "trainee_ref",
            "lower(trainee_ref) in (select lower(trainee_ref) from live_roster)"
            " and trainee_ref not in (select trainee_ref from live_roster)"
            " and row_id not in (select row_id from left_out where not by_key)",
        ),
    ),
    (
        "roster_redates_cases",
        "select row_id, case when batch.started <> live.started then 'started' else 'credit_from' end as column_name,"
        " null::varchar as cell from {batch} as batch join live_roster as live using (trainee_ref)"
        " where live.has_cases and (batch.started <> live.started"
        " or coalesce(batch.credit_from, batch.started) <> coalesce(live.credit_from, live.started))",
    ),
]

_TRAINING_RULES = [
    ("date_impossible", _select("to", '"to" < "from"')),
    ("required_blank", _select("value", "kind = 'stage' and \"value\" is null")),
    (
        "code_unknown",
        _select(
            "value",
            'kind = \'stage\' and "value" is not null and lower("value") not in (select stage from stage)',
            'lower("value")',
        ),
    ),
    (
        "number_unreadable",
        _select("value", "kind = 'part_time' and number_fault(\"value\", 0.01, 1) = 'number_unreadable'"),
    ),
    (
        "number_out_of_range",
        _select("value", "kind = 'part_time' and number_fault(\"value\", 0.01, 1) = 'number_out_of_range'"),
    ),
]

_REVIEW_RULES = [
    ("number_out_of_range", _select("successes", "successes > coalesce(attempts, 0)")),
    ("number_out_of_range", _select("ended_at", "ended_at < started_at")),
]

_REVIEW_RULES_WITH_ROSTER = [
    ("case_unknown", _select("case_ref", "case_ref not in (select case_ref from live_case)")),
]

_CASE_RULES = [
    (
        "complication_not_eligible",
        "select distinct on (row_id) row_id, 'complications' as column_name, code as cell from ("
        "select row_id, procedure, unnest(event_codes(complications)) as code from {batch}"
        " where complications <> ['none']) as event"
        " join procedure_group using (procedure)"
        " join complication_window on complication_window.complication_ref = code"
        " where complication_window.procedure_group <> procedure_group.procedure_group",
    ),
    (
        "event_day_missing",
        "select distinct on (row_id) row_id, 'complications' as column_name, code as cell from ("
        "select row_id, unnest(complications) as code from {batch} where complications <> ['none']) as event"
        " join complication_window on complication_window.complication_ref = code"
        " where complication_window.window_days > 0",
    ),
    (
        "supervision_contradicts_role",
        _select(
            "supervision",
            "role_fault is null and supervision in (select level_ref from supervision_role)"
            " and (supervision, role) not in (select (level_ref, role) from supervision_role)",
            "supervision",
        ),
    ),
    ("logged_before_operated", _select("logged_on", "logged_on < operated_on")),
    (
        "case_ref_reused",
        # The group by finds the few suspects; only they are ordered. A case_ref is of one programme.
        "select row_id, 'case_ref' as column_name, null::varchar as cell from ("
        "select row_id, operated_on, first_value(operated_on) over"
        " (partition by programme_ref, case_ref order by row_id) as first_on"
        " from {batch} left join roster using (trainee_ref) where case_ref in ("
        "select case_ref from {batch} group by case_ref having min(operated_on) <> max(operated_on)))"
        " where operated_on <> first_on union"
        " select row_id, 'case_ref', null::varchar from {batch} as batch left join roster using (trainee_ref)"
        " join live_operation as live on batch.case_ref = live.case_ref"
        " and roster.programme_ref is not distinct from live.programme_ref"
        " where strftime(batch.operated_on, '%Y-%m') <> live.operated_month",
    ),
    (
        "in_two_sources",
        "select distinct row_id, 'case_ref' as column_name, null::varchar as cell from {batch} as batch"
        " join other_source_key as other on batch.trainee_ref = other.trainee_ref"
        " and batch.case_ref = other.case_ref and batch.procedure = other.procedure"
        " and batch.side is not distinct from other.side",
    ),
    (
        "older_version_kept",
        "select distinct row_id, 'case_ref' as column_name, null::varchar as cell from {batch} as batch"
        " join kept_key as kept on batch.trainee_ref = kept.trainee_ref"
        " and batch.case_ref = kept.case_ref and batch.procedure = kept.procedure"
        " and batch.side is not distinct from kept.side where row_id in (select row_id from left_out)",
    ),
]

_CASE_RULES_WITH_ROSTER = [
    (
        "before_credit_from",
        "select row_id, 'operated_on' as column_name, null::varchar as cell from {batch} as batch"
        " join roster using (trainee_ref) where operated_on < credit_from_day",
    ),
    (
        "after_expected_completion",
        "select row_id, 'operated_on' as column_name, null::varchar as cell from {batch} as batch"
        " join roster using (trainee_ref) where operated_on >= completed_day",
    ),
]
