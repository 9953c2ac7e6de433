"""The rules as a Great Expectations suite, run inside the staging database.

The library is slow to import, so it is imported where a file is checked and nowhere else. It has no DuckDB
connection of its own in this release: it comes through SQLAlchemy, and this module is the only one that knows.
"""

from __future__ import annotations

import functools
import os
from collections.abc import Sequence
from typing import Any

import duckdb_engine
import sqlalchemy
from sqlalchemy import event
from sqlalchemy.engine import Engine
from sqlalchemy.engine.cursor import FullyBufferedCursorFetchStrategy

from pipelines.contract.checks import Rule
from pipelines.contract.errors import UserError

# Both connections to one in-memory database must have equal configurations.
USER_AGENT = f"duckdb_engine/{duckdb_engine.__version__}(sqlalchemy/{sqlalchemy.__version__})"


def broken_rows(database: str, table: str, rules: Sequence[Rule]) -> dict[str, int]:
    """Validate `table` of the in-memory `database`; how many findings each rule has, by the rule's name.

    Raises UserError if a rule could not be judged: the library reports that like a rule that found rows.
    """
    os.environ["GX_ANALYTICS_ENABLED"] = "false"
    import great_expectations as gx
    from great_expectations.data_context.types.base import ProgressBarsConfig

    context = gx.get_context(mode="ephemeral")
    context.variables.progress_bars = ProgressBarsConfig(globally=False, metric_calculations=False)
    source = context.data_sources.add_sql("staging", connection_string=f"duckdb:///{database}")
    batch = (
        source.add_table_asset(table, table_name=table)
        .add_batch_definition_whole_table("all rows")
        .get_batch()
    )
    suite = gx.ExpectationSuite(name=table, expectations=[_expectation(rule) for rule in rules])
    results = batch.validate(suite).results
    source.get_execution_engine().engine.dispose()
    return {
        rule.name: _count(rule, result) for rule, result in zip(rules, _in_order(rules, results), strict=True)
    }


def _expectation(rule: Rule) -> Any:
    return _expectation_class(rule.name)(unexpected_rows_query=rule.query, description=rule.name)


@functools.cache
def _expectation_class(rule_name: str) -> Any:
    """One expectation class a rule, so that the suite's report names rules."""
    from great_expectations.expectations import UnexpectedRowsExpectation

    name = "Expect" + "".join(word.capitalize() for word in rule_name.split("_"))
    return type(name, (UnexpectedRowsExpectation,), {"__module__": __name__})


def _in_order(rules: Sequence[Rule], results: Sequence[Any]) -> list[Any]:
    by_type = {result.expectation_config.type: result for result in results}
    return [by_type[f"expect_{rule.name}"] for rule in rules]


def _count(rule: Rule, result: Any) -> int:
    # An exception stands in the result itself or one level down, under the name of a metric; no count then.
    if "observed_value" not in result.result:
        if "Out of Memory" in str(result.exception_info):
            raise MemoryError
        # What the database says may quote a cell.
        raise UserError(f"The rule {rule.name} could not be judged; nothing was stored.")
    return int(result.result["observed_value"])


@event.listens_for(Engine, "after_cursor_execute")
def _buffer_rows(
    _connection: Any, cursor: Any, _statement: str, _parameters: Any, context: Any, _executemany: bool
) -> None:
    """Keep the rows of a result: the library reads them after it has closed the connection they hang on."""
    if context is not None and context.dialect.name == "duckdb" and cursor.description:
        context.cursor_fetch_strategy = FullyBufferedCursorFetchStrategy(
            cursor, cursor.description, initial_buffer=cursor.fetchall()
        )
