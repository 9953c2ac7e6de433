"""The rules that rows are judged by: each once, with its words and the query that returns what breaks it.

A query reads `{batch}`, the rows judged, and returns `row_id, column_name, cell`; `cell` is what a message may quote,
null where it may quote nothing. `{kind}` is the schema of the kind in hand, which holds `left_out (row_id, by_key)`,
and for cases `kept_key, other_source, elsewhere`. Beside them queries read the context: `intake_day (today)`, `roster`,
`live_roster`, `live_case`, and the specialty's tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pipelines.contract.formats import (
    CASES,
    CONFIRMATIONS,
    KINDS,
    OUTCOMES,
    REVIEWS,
    TRAINEES,
    TRAINING,
    Column,
    Kind,
)

Severity = Literal["refused", "left_out", "warning"]

REFUSALS = (
    "not_a_table",
    "header_twice",
    "column_missing",
    "kind_unknown",
    "cell_too_long",
    "identifier_in_header",
    "identifier_in_cell",
    "identifier_in_file_name",
)

# Message and remedy of each rule. {column} is the column's name, {cell} what may be quoted of the cell, {allowed} the
# codes that may stand there, {range} its numbers, {date_form} how dates are written.
# In this order: a row with two faults is counted under the first.
LEFT_OUT: dict[str, tuple[str, str]] = {
    "required_blank": ("{column} is blank.", "Fill it in; every row needs it."),
    "case_ref_malformed": (
        "not a valid case reference.",
        "Use 4 to 64 letters, digits, _ or - of the programme's own list.",
    ),
    "ref_malformed": ("{column} is not a valid reference.", "Use 1 to 64 letters, digits, _ or -."),
    "key_repeated": ("the same record stands further up.", "Keep one of the two; the first was taken."),
    "trainee_unknown": (
        "the trainee is not in the roster.",
        "Correct the reference, or bring in a roster that names the person.",
    ),
    "date_unreadable": ("{column} is not a date that can be read.", "Write {date_form}."),
    "date_ambiguous": ("{column} can be read as two different dates.", "Write {date_form}."),
    "date_impossible": ("{column} is an impossible date.", "Correct it; write {date_form}."),
    "date_in_future": ("{column} lies in the future.", "Correct the date."),
    "before_credit_from": (
        "the operation was before the month from which the trainee's cases count.",
        "Correct the date, or bring in a roster with the right started or credit_from.",
    ),
    "code_unknown": (
        '{column}: "{cell}" is not a code of this specialty.',
        "Use one of: {allowed}; or map it.",
    ),
    "none_beside_code": ("{column} says none and names a code as well.", "Keep one of the two."),
    "number_unreadable": (
        "{column} is not a number that can be read.",
        "Write digits, with a decimal point where needed.",
    ),
    "number_out_of_range": ("{column} is out of range.", "Allowed: {range}."),
    "yes_no_unreadable": ("{column} is neither yes nor no.", "Write yes or no, or leave it blank."),
    "too_many_cells": (
        "the row has more cells than the header.",
        "Look for a separator too many, or a missing quote.",
    ),
}
WARNINGS: dict[str, tuple[str, str]] = {
    "procedure_unmapped": (
        '{column}: "{cell}" is not a procedure of this specialty.',
        "Use a code or a title of the specialty, or map it; until then it counts toward nothing.",
    ),
    "service_unlisted": (
        '{column}: "{cell}" is not a service that trainees rotate through here.',
        "Write one of the specialty's rotations or procedure groups, or add it there; until then it is an unlisted one.",
    ),
    "column_unknown": ("the column {column} is not part of the format.", "It was not stored."),
    "column_may_identify": (
        "the column {column} is not part of the format, and holds what looks like {what}.",
        "It was not read. Say in the source's mapping that it is dropped, or leave it out of the export.",
    ),
    "after_expected_completion": (
        "the operation lies after the expected completion.",
        "Check the date, and the roster.",
    ),
    "complication_not_eligible": (
        "{cell} does not belong to this procedure.",
        "It is not counted; check the procedure.",
    ),
    "event_day_missing": (
        "{cell} has no day.",
        "Write the days after the operation, such as {cell}@5; until then it is taken to lie in its window.",
    ),
    "supervision_contradicts_role": (
        'the supervision "{cell}" does not go with the role.',
        "Check which of the two is right; until then the level counts as not recorded.",
    ),
    "takeover_not_recorded": (
        "{cell} is recorded, and not whether a supervisor took over.",
        "Write yes or no under takeover; until then the operation is in no rate of what this trainee began.",
    ),
    "logged_before_operated": (
        "logged_on lies before operated_on.",
        "Check both dates; the delay is left blank.",
    ),
    "roster_redates_cases": (
        "{column} was changed for a trainee with cases.",
        "Training months were counted anew, and cases before the new date count toward nothing; no case was removed.",
    ),
    "case_ref_reused": (
        "the case_ref stands for operations on different days.",
        "Give each operation its own.",
    ),
    "case_unknown": ("no live case has this case_ref.", "Bring in the case, or correct the reference."),
    "in_two_sources": (
        "the same case is live from another source.",
        "It counts once, as the source taken last has it.",
    ),
    "older_version_kept": (
        "the row was left out, and the case stays as an earlier export has it.",
        "To change it, mend what the other line about this row names, and bring the export in again; to remove the case,"
        " leave its row out of the export.",
    ),
}
# The remedy of an unknown complication: what may stand there besides a code is what is asked most often.
UNKNOWN_COMPLICATION = (
    "Write none if nothing happened, leave it blank if it was not recorded, write other if something else happened; put ;"
    " between several. Codes: {allowed}; or map it."
)
SEVERITY: dict[str, Severity] = {
    **dict.fromkeys(REFUSALS, "refused"),
    **dict.fromkeys(LEFT_OUT, "left_out"),
    **dict.fromkeys(WARNINGS, "warning"),
}
# About rows that were not taken; every other warning is about a row that was.
OF_ROWS_LEFT_OUT = ("older_version_kept",)
# These say what an intake did, or what is live beside it: the next intake of the same rows need not say them again.
ABOUT_THE_INTAKE = ("roster_redates_cases",)


@dataclass(frozen=True)
class Check:
    """One query of one rule for one kind.

    `stored` is false for what hangs on the cases of other people: a build says that anew from what is live then.
    """

    rule: str
    query: str
    needs_roster: bool = False
    stored: bool = True


def _select(column: str | None, where: str, cell: str = "null::varchar") -> str:
    name = f"'{column}'" if column else "null::varchar"
    return f"select row_id, {name} as column_name, {cell} as cell from {{batch}} as batch where {where}"


def _about(column: str, source: str) -> str:
    """Rows that a join singles out; the cell is not quoted."""
    return f"select distinct row_id, '{column}' as column_name, null::varchar as cell from {source}"


def _quotable(column: Column) -> str:
    if column.type == "procedure":
        return f'"{column.name}_unmapped"'
    if column.type in ("code", "period"):
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


def _checks_of_column(column: Column) -> list[Check]:
    name = f'"{column.name}"'
    wheres = [(rule, f"\"{column.name}_fault\" = '{rule}'") for rule in _FAULTS_OF_TYPE.get(column.type, ())]
    if column.required:
        sound = "" if column.type == "procedure" else f' and "{column.name}_fault" is null'
        wheres.append(("required_blank", f"{name} is null{sound}"))
    if column.type == "date":
        wheres.append(("date_in_future", f"{name} > (select today from intake_day)"))
    if column.type in ("codes", "events"):
        wheres.append(("none_beside_code", f'"{column.name}_none_beside"'))
    if column.type == "events":
        faults = f'"{column.name}_day_faults"'
        wheres += [
            (rule, f"list_contains({faults}, '{rule}')")
            for rule in ("number_unreadable", "number_out_of_range")
        ]
    if column.type == "procedure":
        wheres.append(("procedure_unmapped", f'"{column.name}_unmapped" is not null'))
    return [Check(rule, _select(column.name, where, _quotable(column))) for rule, where in wheres]


# Two references that differ only in case would be one person to a reader, so the roster's key ignores case.
_KEY_TEXT = {"trainees": "lower(trainee_ref)"}
_KEY_COLUMN = {
    "cases": "case_ref", "training": "from", "trainees": "trainee_ref", "reviews": "step", "milestones": "milestone",
    "official_counts": "requirement_ref", "outcomes": "complication", "confirmations": "case_ref",
}  # fmt: skip
_LEFT_OUT_BEFORE = "row_id not in (select row_id from {kind}.left_out where not by_key)"


def _key_repeated(kind: Kind) -> Check:
    key = _KEY_TEXT.get(kind.name) or ", ".join(f'"{name}"' for name in kind.key_columns)
    query = (
        f"select row_id, '{_KEY_COLUMN.get(kind.name, kind.key[0])}' as column_name, null::varchar as cell"
        f" from (select * from {{batch}} as batch where {_LEFT_OUT_BEFORE}"
        # Numbers are counted sooner than texts: they find the few suspects, and the keys themselves decide.
        f" and hash({key}) in (select hash({key}) as number from {{batch}} as batch group by number having count(*) > 1))"
        f" as candidate qualify row_number() over (partition by {key} order by row_id) > 1"
    )
    return Check("key_repeated", query)


_TRAINEE_UNKNOWN = Check(
    "trainee_unknown",
    _select(
        "trainee_ref", "trainee_ref_fault is null and trainee_ref not in (select trainee_ref from roster)"
    ),
    needs_roster=True,
)

_CASE_UNKNOWN = Check(
    "case_unknown", _select("case_ref", "case_ref not in (select case_ref from live_case)"), needs_roster=True
)

_CHECKS_OF_KIND: dict[str, tuple[Check, ...]] = {
    TRAINEES.name: (
        Check("date_impossible", _select("expected_completion", "expected_completion < started")),
        Check(
            "key_repeated",
            _select(
                "trainee_ref",
                "lower(trainee_ref) in (select lower(trainee_ref) from live_roster)"
                f" and trainee_ref not in (select trainee_ref from live_roster) and {_LEFT_OUT_BEFORE}",
            ),
        ),
        # Of another programme than the asker's: no word of whether there is such a person.
        Check(
            "trainee_unknown",
            _select(
                "trainee_ref",
                "trainee_ref in (select trainee_ref from other_programme) or exists (select 1 from asker"
                " where asker.programme_ref <> coalesce(batch.programme_ref, asker.own))",
            ),
        ),
        Check(
            "roster_redates_cases",
            "select row_id, case when batch.started <> live.started then 'started' else 'credit_from' end"
            " as column_name, null::varchar as cell from {batch} as batch join live_roster as live using (trainee_ref)"
            " where live.has_cases and (batch.started <> live.started"
            " or coalesce(batch.credit_from, batch.started) <> coalesce(live.credit_from, live.started))",
        ),
    ),
    TRAINING.name: (
        Check("date_impossible", _select("to", '"to" < "from"')),
        Check("required_blank", _select("value", "kind in ('stage', 'part_time') and \"value\" is null")),
        Check(
            "code_unknown",
            _select(
                "value",
                'kind = \'stage\' and "value" is not null and lower("value") not in (select stage from stage)',
                'lower("value")',
            ),
        ),
        *(
            Check(rule, _select("value", f"kind = 'part_time' and month_share_fault(\"value\") = '{rule}'"))
            for rule in ("number_unreadable", "number_out_of_range")
        ),
        Check(
            "service_unlisted",
            _select(
                "value",
                'kind = \'rotation\' and "value" is not null and as_code("value") not in (select spoken from rotation)',
                '"value"',
            ),
        ),
    ),
    OUTCOMES.name: (_CASE_UNKNOWN,),
    CONFIRMATIONS.name: (
        Check(
            "case_unknown",
            _select(
                "case_ref", "(case_ref, trainee_ref) not in (select (case_ref, trainee_ref) from live_case)"
            ),
            needs_roster=True,
        ),
    ),
    REVIEWS.name: (
        Check("number_out_of_range", _select("successes", "successes > coalesce(attempts, 0)")),
        Check("number_out_of_range", _select("ended_at", "ended_at < started_at")),
        _CASE_UNKNOWN,
    ),
    CASES.name: (
        Check(
            "complication_not_eligible",
            "select distinct on (row_id) row_id, 'complications' as column_name, code as cell from ("
            "select row_id, procedure, unnest(event_codes(complications)) as code from {batch} as batch"
            " where complications <> ['none']) as event join procedure_group using (procedure)"
            " where code in (select complication_ref from complication_group)"
            " and (code, procedure_group) not in (select (complication_ref, procedure_group) from complication_group)",
        ),
        Check(
            "event_day_missing",
            "select distinct on (row_id) row_id, 'complications' as column_name, code as cell from ("
            "select row_id, unnest(complications) as code from {batch} as batch where complications <> ['none'])"
            " as event join complication_window on complication_window.complication_ref = code where window_days > 0",
        ),
        Check(
            "supervision_contradicts_role",
            _select(
                "supervision",
                "supervision in (select level_ref from supervision_role)"
                " and (supervision, role) not in (select (level_ref, role) from supervision_role)",
                "supervision",
            ),
        ),
        # An event in a row of another role: only a takeover says whether the trainee began as operating surgeon.
        Check(
            "takeover_not_recorded",
            _select(
                "takeover",
                "takeover is null and complications <> ['none']"
                " and role in (select role from role where not operating and not teaching)",
                "event_codes(complications)[1]",
            ),
        ),
        Check("logged_before_operated", _select("logged_on", "logged_on < operated_on")),
        # The same trainee's operations of two days: the first has the reference by right.
        Check(
            "case_ref_reused",
            "select row_id, 'case_ref' as column_name, null::varchar as cell from ("
            "select row_id, operated_on, first_value(operated_on) over"
            " (partition by trainee_ref, case_ref order by row_id) as first_on from {batch} as batch"
            " where (trainee_ref, case_ref) in (select (trainee_ref, case_ref) from {batch} as batch"
            " group by trainee_ref, case_ref having min(operated_on) <> max(operated_on)))"
            " where operated_on <> first_on",
        ),
        # Operations of different people or sources; a case_ref is of one programme.
        Check(
            "case_ref_reused",
            "select distinct row_id, 'case_ref' as column_name, null::varchar as cell from ("
            "select row_id, trainee_ref, case_ref, operated_on, programme_ref, first_value(operated_on) over"
            " (partition by programme_ref, case_ref order by row_id) as first_on, first_value(trainee_ref) over"
            " (partition by programme_ref, case_ref order by row_id) as first_by from {batch} as batch"
            " left join roster using (trainee_ref) where case_ref in (select case_ref from {batch} as batch"
            " group by case_ref having min(operated_on) <> max(operated_on))) as suspect"
            " where operated_on <> first_on and trainee_ref <> first_by union"
            " select row_id, 'case_ref', null::varchar from {batch} as batch left join roster using (trainee_ref)"
            " join {kind}.elsewhere as live on batch.case_ref = live.case_ref"
            " and roster.programme_ref is not distinct from live.programme_ref"
            " where strftime(batch.operated_on, '%Y-%m') <> live.operated_month",
            stored=False,
        ),
        Check(
            "in_two_sources",
            _about(
                "case_ref",
                "{batch} as batch join {kind}.other_source as other on batch.trainee_ref = other.trainee_ref"
                " and batch.case_ref = other.case_ref and batch.procedure = other.procedure"
                " and batch.side is not distinct from other.side",
            ),
        ),
        Check(
            "older_version_kept",
            _about(
                "case_ref",
                "{batch} as batch join {kind}.kept_key as kept on batch.trainee_ref = kept.trainee_ref"
                " and batch.case_ref = kept.case_ref and batch.procedure = kept.procedure"
                " and batch.side is not distinct from kept.side"
                " where row_id in (select row_id from {kind}.left_out)",
            ),
        ),
        Check(
            "before_credit_from",
            _about(
                "operated_on",
                "{batch} as batch join roster using (trainee_ref) where operated_on < credit_from_day",
            ),
            needs_roster=True,
        ),
        Check(
            "after_expected_completion",
            _about(
                "operated_on",
                "{batch} as batch join roster using (trainee_ref) where operated_on >= completed_day",
            ),
            needs_roster=True,
        ),
    ),
}


def _checks(kind: Kind) -> tuple[Check, ...]:
    checks = [check for column in kind.columns for check in _checks_of_column(column)]
    checks += [_key_repeated(kind), Check("too_many_cells", _select(None, "too_many_cells"))]
    checks += [_TRAINEE_UNKNOWN] if kind is not TRAINEES and "trainee_ref" in kind.names else []
    checks += _CHECKS_OF_KIND.get(kind.name, ())
    order = list(SEVERITY)
    return tuple(sorted(checks, key=lambda check: order.index(check.rule)))


# The checks of each kind, in the order in which a row with two faults is counted.
CHECKS: dict[str, tuple[Check, ...]] = {kind.name: _checks(kind) for kind in KINDS}
