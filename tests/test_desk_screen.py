"""The Intake screen says of every log how good it is, what is owed, and that every row of its files is accounted for."""

from __future__ import annotations

import re

import pytest

from dashboard import queries
from dashboard.screens import intake, trainee
from pipelines.store.store import Store
from tests.browser import demo_store
from tests.looking import headings, opened_as, said, session
from tests.test_access import WHO

__all__ = ["session"]


@pytest.mark.parametrize("who", ["director", "coordinator"])
def test_the_intake_screen_says_that_rows_balance_and_how_good_logs_are(who: str) -> None:
    store = Store(demo_store())
    app = opened_as(intake, WHO[who], store)
    assert not app.exception
    words = said(app)
    accounts = queries.reconciliation(queries.live_snapshot(store), WHO[who].scope)
    assert accounts["balances"].all()
    assert f"Rows balance in all {len(accounts):,} accounts" in words
    assert "How good are the logs?" in headings(app)
    tables = " ".join(str(each.value) for each in app.get("html"))
    assert "<th>entered within 45 days</th>" in tables and re.search(r"<td>\d+ of \d+ \(\d+ %\)</td>", tables)


def test_a_trainee_reads_of_their_own_log_alone() -> None:
    app = opened_as(trainee, WHO["T22"], Store(demo_store()))
    assert not app.exception
    assert "How good is the log?" in headings(app)
    assert "Operating role confirmed by a supervisor: " in said(app)
    assert re.search(r"Entered within 45 days of the operation: \d+ of \d+", said(app))
