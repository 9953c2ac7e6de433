"""The receipt of one intake: what came in, what was left out, what changed; it balances to the row."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pipelines.contract.findings import LEFT_OUT
from pipelines.contract.formats import Kind
from pipelines.files.reading import Part
from pipelines.intake.examination import Examination
from pipelines.intake.replacement import Balance

Receipt = dict[str, Any]


def part_receipt(examination: Examination, part: Part) -> Receipt:
    """The receipt of one table of a file: rows = accepted + left out, each row under its first rule."""
    rows = part.row_count
    left_out = _left_out_by_rule(examination, part)
    receipt = {
        "kind": part.kind.name,
        "file_name": part.shown,
        "rows": rows,
        "accepted": rows - sum(left_out.values()),
        "left_out": left_out,
        "warnings": _warnings(examination, part),
        "trainees": [_trainee(each) for each in named_balances(examination, part)],
    }
    # Fetched to its end: the connection does nothing else while a result is unfinished.
    ((stored,),) = examination.connection.execute(
        f"select count(*) from new_{part.kind.name} where sheet_number = ?", [part.number]
    ).fetchall()
    if stored != receipt["accepted"]:
        raise AssertionError(
            f"{part.shown}: {rows} rows do not balance: {stored} stored, {left_out} left out."
        )
    return receipt


def named_balances(examination: Examination, part: Part) -> list[Balance]:
    """The balances of the trainees that this table names."""
    named = trainees_of(examination, part.kind, [part.number])
    return [each for each in examination.balances[part.kind.name] if each.trainee_ref in named]


def trainees_of(examination: Examination, kind: Kind, sheet_numbers: Iterable[int]) -> set[str]:
    """The trainees that stand in some tables of one kind."""
    rows = examination.connection.execute(
        f"select distinct trainee_ref from read_{kind.name} where trainee_ref is not null"
        " and trainee_ref_fault is null and list_contains(?::integer[], sheet_number)",
        [list(sheet_numbers)],
    ).fetchall()
    return {row[0] for row in rows}


def _trainee(balance: Balance) -> Receipt:
    fields = dict(balance.__dict__)
    went_in = fields["unchanged"] + fields["changed"] + fields["kept"] + fields["withdrawn"]
    if (
        fields["live_before"] < went_in
        or fields["live_after"] != fields["live_before"] + fields["added"] - fields["withdrawn"]
    ):
        raise AssertionError(f"{balance.trainee_ref}: live rows do not balance: {fields}")
    return fields


def _left_out_by_rule(examination: Examination, part: Part) -> dict[str, int]:
    rows = examination.connection.execute(
        "select rule, count(*) from (select row_id, arg_min(rule, list_position(?::varchar[], rule)) as rule"
        " from finding where sheet_number = ? and severity = 'left_out' group by row_id)"
        " group by rule order by list_position(?::varchar[], rule)",
        [list(LEFT_OUT), part.number, list(LEFT_OUT)],
    ).fetchall()
    return dict(rows)


def _warnings(examination: Examination, part: Part) -> dict[str, int]:
    rows = examination.connection.execute(
        "select rule, count(*) from finding where sheet_number = ? and severity = 'warning' group by rule order by rule",
        [part.number],
    ).fetchall()
    return dict(rows)


def receipt_text(receipts: list[Receipt]) -> str:
    """A short receipt for people."""
    return "\n".join(line for receipt in receipts for line in _lines(receipt))


def _lines(receipt: Receipt) -> list[str]:
    left_out, rows = sum(receipt["left_out"].values()), "row" if receipt["rows"] == 1 else "rows"
    balance = f"{receipt['rows']} {rows} = {receipt['accepted']} accepted + {left_out} left out"
    lines = [f"{receipt['file_name']} ({receipt['kind']}): {balance}"]
    lines += [f"    left out, {rule}: {count}" for rule, count in receipt["left_out"].items()]
    lines += [f"    warning, {rule}: {count}" for rule, count in receipt["warnings"].items()]
    trainees = receipt["trainees"]
    totals = (
        {name: sum(each[name] for each in trainees) for name in trainees[0] if name != "trainee_ref"}
        if trainees
        else {}
    )
    if totals:
        untouched = totals["live_before"] - sum(
            totals[name] for name in ("unchanged", "changed", "kept", "withdrawn")
        )
        lines.append(
            f"    live before {totals['live_before']} = {totals['unchanged']} unchanged + {totals['changed']} changed"
            f" + {totals['kept']} kept in an older version + {totals['withdrawn']} withdrawn"
            + (f" + {untouched} not in the file" if untouched else "")
        )
        lines.append(
            f"    live after {totals['live_after']}, of {len(trainees)} trainee{'s' * (len(trainees) != 1)}"
        )
    return lines
