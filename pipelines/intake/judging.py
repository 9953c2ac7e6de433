"""Rows against rules, inside the staging database: findings, and which rows are accepted.

For a kind staged as `read_<kind>` this makes the rows of `finding_cell`, the table `left_out` (of this kind) and
the view `accepted_<kind>`.
"""

from __future__ import annotations

from collections.abc import Sequence

import duckdb

from pipelines.contract import checks
from pipelines.contract.checks import Rule
from pipelines.contract.errors import UserError
from pipelines.contract.formats import Kind
from pipelines.intake import expectations

# These are judged among the rows that no other rule leaves out.
JUDGED_LAST = ("key_repeated",)

FINDING_CELL = """
create table finding_cell (
    kind varchar, row_id bigint, column_name varchar, rule varchar, severity varchar, cell varchar
)
"""


def find_left_out(connection: duckdb.DuckDBPyConnection, kind: Kind, with_roster: bool) -> None:
    """Record what leaves rows out, and make `left_out` and `accepted_<kind>`."""
    connection.execute("create or replace table left_out (row_id bigint, by_key boolean)")
    rules = [rule for rule in checks.rules_for(kind, with_roster) if rule.severity == "left_out"]
    for by_key in (False, True):
        _record(connection, kind, [rule for rule in rules if (rule.name in JUDGED_LAST) == by_key])
        connection.execute(
            "insert into left_out select distinct row_id, ?::boolean from finding_cell"
            " where kind = ? and severity = 'left_out' and row_id not in (select row_id from left_out)",
            [by_key, kind.name],
        )
    connection.execute(
        f"create view accepted_{kind.name} as"
        f" select * from read_{kind.name} where row_id not in (select row_id from left_out)"
    )


def find_warnings(connection: duckdb.DuckDBPyConnection, kind: Kind, with_roster: bool) -> None:
    """Record what is kept with a warning."""
    rules = [rule for rule in checks.rules_for(kind, with_roster) if rule.severity == "warning"]
    _record(connection, kind, rules)


def _record(connection: duckdb.DuckDBPyConnection, kind: Kind, rules: Sequence[Rule]) -> None:
    for rule in rules:
        batch = f"accepted_{kind.name}" if rule.about_accepted else f"read_{kind.name}"
        connection.execute(
            f"insert into finding_cell select ?, row_id, column_name, ?, ?, cell from ({rule.over(batch)})",
            [kind.name, rule.name, rule.severity],
        )


def validate(connection: duckdb.DuckDBPyConnection, database: str, kind: Kind, with_roster: bool) -> None:
    """Run the suite over the rows read and over the rows accepted.

    Raises UserError if the suite counts otherwise than the findings, or if an accepted row breaks a rule.
    """
    rules = checks.rules_for(kind, with_roster)
    counted = finding_counts(connection, kind)
    of_rows_read = [rule for rule in rules if not rule.about_accepted]
    suite = expectations.broken_rows(database, f"read_{kind.name}", of_rows_read)
    accepted = expectations.broken_rows(
        database, f"accepted_{kind.name}", [rule for rule in rules if rule.name != "older_version_kept"]
    )
    suite |= {rule.name: accepted[rule.name] for rule in rules if rule.about_accepted}
    differing = [name for name, count in suite.items() if count != counted.get(name, 0)]
    if differing:
        raise UserError(
            f"Findings and suite disagree about {', '.join(differing)} in {kind.name}; nothing was stored."
        )
    broken = [rule.name for rule in rules if rule.severity == "left_out" and accepted[rule.name]]
    if broken:
        raise UserError(f"Accepted {kind.name} rows break {', '.join(broken)}; nothing was stored.")


def finding_counts(connection: duckdb.DuckDBPyConnection, kind: Kind) -> dict[str, int]:
    """How many findings each rule has."""
    rows = connection.execute(
        "select rule, count(*) from finding_cell where kind = ? group by rule", [kind.name]
    ).fetchall()
    return dict(rows)
