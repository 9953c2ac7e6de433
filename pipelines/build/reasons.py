"""The kinds of reasons to discuss somebody, in their order, and the programme's rule of each in words.

The rules themselves are sql/540_discussion_reason.sql; their numbers are `reasons:` of programme.yaml.
"""

from __future__ import annotations

import re

import pyarrow as pa

from pipelines.contract.input_tables import INPUT_TABLES
from pipelines.store.documents import Reasons

# Kind → its title, its rule with the numbers of programme.yaml, and whether it can arise for nobody's fault. The order is
# that in which reasons are listed: no order of weight.
KINDS: dict[str, tuple[str, str, bool]] = {
    "pace_behind": (
        "Pace behind",
        "By the forecast, a minimum that is not yet reached is reached with a chance below {chance_below:.0%}; where no "
        "forecast is shown, fewer than that share of at least {people} earlier trainees with at most as many by then "
        "reached it. Not while the log ends too early.",
        True,
    ),
    "unconfirmed_minimum": (
        "Minimum reached only with unconfirmed cases",
        "A minimum is reached, but not by the cases that a supervisor confirmed, and at most {months_left} active months "
        "of training are left.",
        False,
    ),
    "close_and_short": (
        "Close to completion and short",
        "At most {months_left} active months are left, and a minimum is not reached. Not while the log ends too early.",
        True,
    ),
    "outcome_over_time": (
        "Outcome over time",
        "The chart of an outcome by case number (a risk-adjusted CUSUM) has crossed its limit for one {limit}.",
        True,
    ),
    "supervision_not_loosening": (
        "Supervision not loosening",
        "In the latest {quarters} quarters with at least {cases} operations of a group with a recorded level, the whole 95 % "
        "interval of the share at the second-highest level of an operating role or above lies below what three in four of "
        "at least {people} earlier trainees had in the same quarters; half of these had loosened by {loosened_by:.0%} "
        "since before, and this trainee has not.",
        True,
    ),
    "step_without_progress": (
        "A step without progress",
        "The mean score of a step in the latest {operations} reviewed operations is no higher than in the {operations} "
        "before, and below {score_below:g}.",
        True,
    ),
    "level_fell": (
        "A level that fell",
        "The committee's latest level of a milestone lies at least {levels} below the one before.",
        False,
    ),
    "level_and_evidence": (
        "Committee's level and evidence apart",
        "The committee's level of a milestone lies at least {levels_apart} levels above the highest below which every rule "
        "is met, or as many below the highest whose rules are all met.",
        False,
    ),
    "log_late": (
        "Log late",
        "The log ends too early for the programme, and at least {months} whole month after it is not entered.",
        False,
    ),
    "outcomes_unknown": (
        "Outcomes mostly unknown",
        "Of at least {due} operations whose outcome is due, more than {share:.0%} have none recorded.",
        False,
    ),
    "nothing_known": (
        "Nothing known",
        "No case log has come in of somebody who started at least {months} month ago.",
        False,
    ),
    "past_completion": (
        "Past the expected completion",
        "The expected completion lies at least {months} month back, and neither completed nor left is entered.",
        False,
    ),
}


def reason_tables(reasons: Reasons) -> dict[str, pa.Table]:
    """`reason_kind`: one row a kind, in its order; `reason_setting`: one row with every number, as `<kind>_<name>`."""
    settings = reasons.model_dump()
    kinds = [
        {
            "reason": kind,
            "position": place,
            "title": title,
            "rule": re.sub(r"(\d)%", r"\1 %", rule.format(**settings.get(kind, {}))),
            "is_chance": is_chance,
        }
        for place, (kind, (title, rule, is_chance)) in enumerate(KINDS.items(), start=1)
    ]
    numbers = {
        f"{kind}_{name}": value
        for kind, rule in settings.items()
        if isinstance(rule, dict)
        for name, value in rule.items()
    }
    row = {**numbers, "weak_above": reasons.weak_above}
    return {
        "reason_kind": pa.Table.from_pylist(kinds, schema=INPUT_TABLES["reason_kind"]),
        "reason_setting": pa.Table.from_pylist([row], schema=INPUT_TABLES["reason_setting"]),
    }
