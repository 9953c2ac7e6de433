"""The same sql/ can run on Apache Spark: every file but the macros parses, translates and parses again.

Spark itself is not run here. What passes through a translation untouched would fail there and say nothing
here, so the test bans such nodes and names every function that may be left.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import sqlglot
from sqlglot import exp

from pipelines.build.build import SQL, sql_files

FILES = [path for path in sql_files() if not path.name.startswith("0")]
# Of the built-in functions of Spark SQL (Apache Spark 4 reference, "Built-in Functions").
SPARK_FUNCTIONS = {
    "abs", "coalesce", "concat", "count", "explode", "floor", "greatest", "if", "lag", "lead", "least", "lower",
    "max", "min", "nullif", "power", "replace", "row_number", "split", "split_part", "sqrt", "substring", "sum",
}  # fmt: skip
# Written as functions inside the parser, as words in SQL.
WORDS = {"and", "or", "case", "cast", "try_cast", "not", "xor", "exists"}
NAMES_IN_PARSER = {"regexp_split": "split"}
ALLOWED_STATEMENTS = (exp.Create, exp.Select, exp.Union)
# Lists and structures in cells, lambdas, columns by pattern, pivots: each engine has its own.
BANNED_NODES = (exp.Command, exp.Lambda, exp.Array, exp.Struct, exp.Columns, exp.Pivot)


def macros() -> set[str]:
    """Called by name in the other files; on Spark they become functions of the same name."""
    text = "".join(path.read_text(encoding="utf-8") for path in sql_files() if path.name.startswith("0"))
    return set(re.findall(r"create macro (\w+)\(", text))


def statements(path: Path) -> list[exp.Expression]:
    """Without comments on views and columns: they carry no number, and Spark writes them otherwise."""
    parsed = sqlglot.parse(path.read_text(encoding="utf-8"), read="duckdb")
    return [each for each in parsed if each is not None and not isinstance(each, exp.Comment)]


def translated(statement: exp.Expression) -> exp.Expression:
    text = statement.sql(dialect="spark", unsupported_level=sqlglot.ErrorLevel.RAISE)
    return sqlglot.parse_one(text, read="spark")


def functions(statement: exp.Expression) -> set[str]:
    names = {
        each.name.lower() if isinstance(each, exp.Anonymous) else each.sql_name().lower()
        for each in statement.find_all(exp.Func)
    }
    return {NAMES_IN_PARSER.get(name, name) for name in names} - WORDS


def untranslated(statement: exp.Expression) -> list[str]:
    """What would be handed to Spark as it is: statements, nodes and functions that it has not."""
    found = [] if isinstance(statement, ALLOWED_STATEMENTS) else [type(statement).__name__]
    found += [type(node).__name__ for node in statement.walk() if isinstance(node, BANNED_NODES)]
    found += [f"{join.method} join" for join in statement.find_all(exp.Join) if join.method]
    left = functions(translated(statement)) - SPARK_FUNCTIONS - macros()
    return found + [f"{name}()" for name in sorted(left)]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_a_file_translates_to_spark_and_leaves_nothing_behind(path: Path) -> None:
    found = statements(path)
    assert len(found) == 1, "a file makes one thing"
    assert untranslated(found[0]) == []


@pytest.mark.parametrize(
    ("query", "left"),
    [
        ("select * from a asof join b on a.x >= b.x", "ASOF join"),
        ("select list_sort(x) from a", "array_sort()"),
        ("select md5_number(x) from a", "md5_number()"),
        ("pragma version", "Pragma"),
        ("select list_transform(x, y -> y + 1) from a", "Lambda"),
        ("select [x, y] from a", "Array"),
    ],
)
def test_the_check_sees_what_would_pass_through(query: str, left: str) -> None:
    assert left in untranslated(sqlglot.parse_one(query, read="duckdb"))


def test_the_macros_are_known_by_name() -> None:
    assert {"wilson_low", "wilson_high", "z_two_sided", "month_number"} <= macros()
    assert SQL.is_dir() and len(FILES) > 10
