"""What others say of operations of the made-up trainees: an audit of outcomes, and what supervisors confirm."""

from __future__ import annotations

from collections.abc import Iterator

import pyarrow as pa

from seed_data.programme import plan

OUTCOME_COLUMNS = ("case_ref", "complication", "occurred", "day", "source")
CONFIRMATION_COLUMNS = (
    "case_ref", "trainee_ref", "supervisor_ref", "role_agreed", "supervision", "takeover", "takeover_reason",
)  # fmt: skip


def outcome_rows(cases: pa.Table) -> Iterator[tuple[object, ...]]:
    """The audit: the latest operations of one trainee; it agrees with the log but for one event that was not logged."""
    audit = plan()["audit"]
    own = [
        row
        for row in cases.to_pylist()
        if row["trainee_ref"] == audit["trainee"]
        and row["procedure"] == audit["procedure"]
        and row["role"] == "surgeon"
        and row["attributes"] != "simulated"
        and row["operated_on"] <= audit["through"]
    ][-audit["operations"] :]
    uneventful = [row["case_ref"] for row in own if row["complications"] == "none"]
    not_logged = uneventful[audit["not_logged"] : audit["not_logged"] + 1]
    for row in own:
        logged = audit["complication"] in (row["complications"] or "").split(";")
        occurred = logged or row["case_ref"] in not_logged
        yield row["case_ref"], audit["complication"], "yes" if occurred else "no", "", "audit"


def confirmation_rows(cases: pa.Table) -> Iterator[tuple[object, ...]]:
    """What supervisors say of the latest operations that nobody had confirmed: of every seventh of somebody another role."""
    for trainee in plan()["confirmed"]["trainees"]:
        yield from _confirmed(trainee, cases)


def _confirmed(trainee: str, cases: pa.Table) -> Iterator[tuple[object, ...]]:
    open_rows = [
        row
        for row in cases.to_pylist()
        if row["trainee_ref"] == trainee
        and row["supervisor_agreed"] is None
        and row["supervisor_ref"]
        and row["role"] == "surgeon"
        and row["operated_on"] >= plan()["confirmed"]["since"]
    ]
    refs = dict.fromkeys(row["case_ref"] for row in open_rows)
    first = {row["case_ref"]: row for row in reversed(open_rows)}
    for place, ref in enumerate(refs, start=1):
        agreed = "no" if place % 7 == 0 else "yes"
        yield ref, trainee, first[ref]["supervisor_ref"], agreed, "", "", ""
