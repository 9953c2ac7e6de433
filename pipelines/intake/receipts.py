"""What a receipt says of the rows of one table of a file, trainee by trainee."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipelines.contract.rules import LEFT_OUT

if TYPE_CHECKING:
    from pipelines.files.reading import Part
    from pipelines.intake.judging import Judged


def rows_by_trainee(judged: Judged, part: Part) -> list[dict[str, Any]]:
    """For each trainee whom a table names, and for rows that name nobody: rows, accepted, and left out by first rule.

    Ordered by the reference, nobody (None) last. Each number is counted on its own, so that they can be compared. Rows that
    name an operation and no trainee have none.
    """
    if part.kind.of_operation:
        return []
    kind, rules = part.kind.name, list(LEFT_OUT)
    rows = judged.rows(
        "select trainee_ref, count(*), count(placed.row_id)"
        f" from {kind}.seat as seat left join {kind}.placed as placed using (row_id)"
        " where sheet_number = ? group by trainee_ref order by trainee_ref nulls last",
        [part.number],
    )
    left_out: dict[str | None, dict[str, int]] = {}
    for trainee_ref, rule, count in judged.rows(
        "select trainee_ref, rule, count(*) from (select trainee_ref, row_id,"
        " arg_min(rule, list_position(?::varchar[], rule)) as rule from finding"
        " where sheet_number = ? and severity = 'left_out' group by trainee_ref, row_id)"
        " group by trainee_ref, rule order by list_position(?::varchar[], rule)",
        [rules, part.number, rules],
    ):
        left_out.setdefault(trainee_ref, {})[rule] = count
    return [
        {"trainee_ref": ref, "rows": count, "accepted": accepted, "left_out": left_out.get(ref, {})}
        for ref, count, accepted in rows
    ]
