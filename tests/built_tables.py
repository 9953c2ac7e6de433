"""What a build loads beside intakes and specialty: quantiles, and the programme's review periods in their order."""

from __future__ import annotations

import duckdb

from pipelines.build.build import quantile_tables


def load_built_tables(db: duckdb.DuckDBPyConnection) -> None:
    """`main.t_quantile`, and `input.review_period` with `mid` before `end`."""
    for name, rows in quantile_tables().items():
        db.register("loaded", rows)
        db.execute(f"create table main.{name} as select * from loaded")
        db.unregister("loaded")
    db.execute("create table input.review_period (period_name varchar, position integer)")
    db.execute("insert into input.review_period values ('mid', 1), ('end', 2)")
