"""The rules as a Great Expectations suite: the last word over the accepted rows, inside the staging database.

The library is slow to import, so it is imported where a file is stored and nowhere else. It has no DuckDB
connection of its own in this release: it comes through SQLAlchemy, and this module is the only one that knows.
"""

from __future__ import annotations

import functools
import importlib
import os
import threading
from collections.abc import Sequence
from typing import Any

import duckdb_engine
import sqlalchemy
from sqlalchemy import event
from sqlalchemy.engine import Engine
from sqlalchemy.engine.cursor import FullyBufferedCursorFetchStrategy
from sqlalchemy.pool import Pool

from pipelines.contract.errors import UserError
from pipelines.contract.formats import Kind
from pipelines.contract.rules import SEVERITY, Check

# Both connections to one in-memory database must have equal configurations.
USER_AGENT = f"duckdb_engine/{duckdb_engine.__version__}(sqlalchemy/{sqlalchemy.__version__})"


def load_meanwhile() -> None:
    """Start to import the library, which takes seconds, while the files are read."""
    threading.Thread(target=importlib.import_module, args=("great_expectations",)).start()


def validate(database: str, kind: Kind, checks: Sequence[Check]) -> dict[str, int]:
    """Validate the accepted rows of a kind against every rule that leaves rows out; how many rows break each: 0, for the receipt.

    Raises UserError if a row breaks a rule, or if a rule could not be judged: the library reports that like a rule
    that found rows.
    """
    queries: dict[str, list[str]] = {}
    for check in checks:
        if SEVERITY[check.rule] == "left_out":
            queries.setdefault(check.rule, []).append(
                check.query.format(batch="accepted_rows", kind=kind.name)
            )
    # The library puts a subquery for {batch}, with a name of its own or without: so it stands once, and alone.
    head = "with accepted_rows as (select * from {batch}) "
    counts = _broken_rows(
        database, kind, {rule: head + " union all ".join(each) for rule, each in queries.items()}
    )
    broken = [rule for rule, count in counts.items() if count]
    if broken:
        raise UserError(f"Accepted {kind.name} rows break {', '.join(broken)}; nothing was stored.")
    return counts


def _broken_rows(database: str, kind: Kind, queries: dict[str, str]) -> dict[str, int]:
    os.environ["GX_ANALYTICS_ENABLED"] = "false"
    import great_expectations as gx
    from great_expectations.data_context.types.base import ProgressBarsConfig

    context = gx.get_context(mode="ephemeral")
    context.variables.progress_bars = ProgressBarsConfig(globally=False, metric_calculations=False)
    source = context.data_sources.add_sql("staging", connection_string=f"duckdb:///{database}")
    # A view of its own: the library no longer takes the name of a schema.
    asset = source.add_table_asset(kind.name, table_name=f"accepted_{kind.name}")
    batch = asset.add_batch_definition_whole_table("accepted rows").get_batch()
    expectations = [
        _expectation_class(rule)(unexpected_rows_query=query, description=rule)
        for rule, query in queries.items()
    ]
    results = batch.validate(gx.ExpectationSuite(name=kind.name, expectations=expectations)).results
    source.get_execution_engine().engine.dispose()
    # The library keeps more engines than it shows, and one open connection keeps the rows in memory, days included.
    while _opened:
        _opened.pop().close()
    by_type = {config.type: result for result in results if (config := result.expectation_config)}
    return {rule: _count(rule, by_type[f"expect_{rule}"]) for rule in queries}


@functools.cache
def _expectation_class(rule: str) -> Any:
    """One expectation class a rule, so that the suite's report names rules."""
    from great_expectations.expectations import UnexpectedRowsExpectation

    name = "Expect" + "".join(word.capitalize() for word in rule.split("_"))
    return type(name, (UnexpectedRowsExpectation,), {"__module__": __name__})


def _count(rule: str, result: Any) -> int:
    # An exception stands in the result itself or one level down, under the name of a metric; no count then.
    if "observed_value" not in result.result:
        if "Out of Memory" in str(result.exception_info):
            raise MemoryError
        # What the database says may quote a cell.
        raise UserError(f"The rule {rule} could not be judged; nothing was stored.")
    return int(result.result["observed_value"])


_opened: list[Any] = []


@event.listens_for(Pool, "connect")
def _remember(connection: Any, _record: Any) -> None:
    """Remember each connection that the library opens, to close it after the suite."""
    _opened.append(connection)


@event.listens_for(Engine, "after_cursor_execute")
def _buffer_rows(
    _connection: Any, cursor: Any, _statement: str, _parameters: Any, context: Any, _executemany: bool
) -> None:
    """Keep the rows of a result: the library reads them after it has closed the connection they hang on."""
    if context is not None and context.dialect.name == "duckdb" and cursor.description:
        context.cursor_fetch_strategy = FullyBufferedCursorFetchStrategy(
            cursor, cursor.description, initial_buffer=cursor.fetchall()
        )
