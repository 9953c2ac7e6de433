"""The current classes as text: a line a trainee."""

from __future__ import annotations

import textwrap
from typing import Any

import duckdb

from pipelines.contract.attributions import ATTRIBUTIONS
from pipelines.store.snapshot import open_snapshot
from pipelines.store.store import Store

CELL_WIDTH = 5
LEGEND_WIDTH = 110

CURRENT = """
select cohort, trainee_ref, data_through, is_current, months_not_entered
from trainee
where not training_is_over and programme_ref = $programme_ref
order by cohort, trainee_ref
"""
VOLUME = """
select trainee_ref, requirement_ref, counted_cases, reached, confirmed_cases < minimum as is_unconfirmed
from case_volume
"""
REQUIREMENT = """
select
    requirement_ref,
    title,
    concat(minimum, case when unit in ('procedure', 'operation') then '' else concat(' ', units) end) as asked
from requirement
where minimum is not null
order by position
"""
# The complication that is listed first in the specialty, by everyone who began as operating surgeon.
RATE = """
select
    trainee_ref, events, known_outcomes, rate, rate_low, rate_high,
    known_outcomes > 0 and 2 * known_from_others >= known_outcomes as is_from_others
from complication_rate
where attribution = 'as_started'
    and complication_ref = (select complication_ref from complication order by position limit 1)
"""
# What happened while operating in the latest quarter with a recorded level, in the group of that complication.
SUPERVISION = """
select trainee_ref, band, cases
from supervision_band
where procedure_group = (select procedure_group from complication order by position limit 1)
qualify training_quarter = max(training_quarter) over (partition by trainee_ref)
order by trainee_ref, band_order
"""


def cohort_text(store: Store) -> str:
    """Two tables: counted cases against each minimum; the first complication, supervision, data through."""
    with open_snapshot(store) as connection:
        named = {"programme_ref": store.programme.programme_ref}
        people = connection.execute(CURRENT, named).fetchall()
        return "\n".join([_title(store), *_volumes(connection, people), *_standing(connection, people)])


def _title(store: Store) -> str:
    manifest = store.current()
    made_up = " · made-up data" if store.programme.demo else ""
    return f"{store.programme.title}, {store.specialty.title} · as of {manifest.as_of}{made_up}\n"


def _volumes(connection: duckdb.DuckDBPyConnection, people: list[Any]) -> list[str]:
    requirements = connection.execute(REQUIREMENT).fetchall()
    counted = {(row[0], row[1]): row for row in connection.execute(VOLUME).fetchall()}
    names = [f"{number} {title} {asked}" for number, (_, title, asked) in enumerate(requirements, 1)]
    lines = [
        "Counted cases; + reached, its parts too: a floor, not a finding of competence; +? with fewer confirmed than the minimum.",
        "Requirements with their minimums:",
        *textwrap.wrap(" · ".join(names), LEGEND_WIDTH, break_long_words=False),
        "",
        _line("class    trainee", [f"[{number}]" for number in range(1, len(requirements) + 1)]),
    ]
    for cohort, trainee_ref, *_ in people:
        cells = [_cell(counted.get((trainee_ref, ref))) for ref, *_ in requirements]
        lines.append(_line(f"{cohort}  {trainee_ref}", cells))
    return [*lines, ""]


def _line(start: str, cells: list[str]) -> str:
    return start.ljust(17) + "".join(f"{cell:>{CELL_WIDTH}}" for cell in cells)


def _cell(row: Any) -> str:
    return "" if row is None else f"{('+?' if row[4] else '+') if row[3] else ''}{row[2]}"


def _standing(connection: duckdb.DuckDBPyConnection, people: list[Any]) -> list[str]:
    rates = {row[0]: row for row in connection.execute(RATE).fetchall()}
    bands: dict[str, dict[str, int]] = {}
    for trainee_ref, band, cases in connection.execute(SUPERVISION).fetchall():
        bands.setdefault(trainee_ref, {})[band] = cases
    title = connection.execute("select title from complication order by position limit 1").fetchone()
    from_others = [person[1] for person in people if rates.get(person[1], (False,))[-1]]
    but = f" but for {', '.join(from_others)}" if from_others else ""
    lines = [
        f"{title[0] if title else 'Complication'}, {ATTRIBUTIONS['as_started']}, self-reported{but}: in how many cases with a known"
        " outcome, rate and 95 % interval; supervision while operating in the latest quarter, cases."
    ]
    for cohort, trainee_ref, data_through, is_current, months in people:
        through = f"data through {data_through}" if data_through else "no data yet"
        if data_through and not is_current:
            through = f"log ends {data_through}, {months} month{'' if months == 1 else 's'} not entered"
        lines.append(
            f"{cohort}  {trainee_ref:8}{_rate(rates.get(trainee_ref)):40}{_bands(bands.get(trainee_ref, {})):66}{through}"
        )
    return lines


def _rate(row: Any) -> str:
    if row is None or row[3] is None:
        return "no rate yet"
    return f"{row[1]} in {row[2]} {'case' if row[2] == 1 else 'cases'} ({row[3]:.1%}; {row[4]:.1%} to {row[5]:.1%})"


def _bands(bands: dict[str, int]) -> str:
    return ", ".join(f"{band} {cases}" for band, cases in bands.items()) or "no level recorded"
