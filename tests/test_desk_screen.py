"""The Intake screen says of every log how good it is, what is owed, and that every row of its files is accounted for."""

from __future__ import annotations

import re

import pytest

from dashboard import queries
from dashboard.owed import BY_SUPERVISOR
from dashboard.screens import intake, trainee
from dashboard.wording import cases_text
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
    assert "<th>entered within 45 days</th>" in tables and re.search(
        r"<td>\d+ of \d+ \(\d+\s%\)</td>", tables
    )


def test_the_note_of_the_intake_screen_is_about_whom_was_chosen_by_trainee_and_by_supervisor() -> None:
    app = opened_as(intake, WHO["coordinator"], Store(demo_store()))
    owing = queries.owed(queries.live_snapshot(Store(demo_store())), WHO["coordinator"].scope)
    first = next(box for box in app.selectbox if box.label == "Note to")
    (note,) = (each.value for each in app.text_area)
    assert note.startswith(f"Saltmarsh Eye Residency: what the log still lacks\nTo {first.value}\n")
    app.radio[0].set_value(BY_SUPERVISOR).run()
    assert not app.exception
    chosen = next(box for box in app.selectbox if box.label == "Note to").value
    (note,) = (each.value for each in app.text_area)
    own = owing[(owing["supervisor_ref"] == chosen) & (owing["owed"] == "confirmation")]
    assert f"To {chosen}\n" in note and len(own) > 0
    for ref, cases in own.groupby("trainee_ref"):
        assert f"- {cases_text(len(cases))} of {ref}." in note


def test_a_trainee_reads_of_their_own_log_alone() -> None:
    app = opened_as(trainee, WHO["T22"], Store(demo_store()))
    assert not app.exception
    assert "How good is the log?" in headings(app)
    assert "Operating role confirmed by a supervisor: " in said(app)
    (note,) = (each.value for each in app.text_area)
    assert "\nTo T22\n" in note
    assert re.search(r"Entered within 45 days of the operation: \d+ of \d+", said(app))
