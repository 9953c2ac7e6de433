"""The words of the codes that stand in the views: why a case counts, what is wrong with a row, who was operating."""

from __future__ import annotations

from dashboard.wording import cases_text
from pipelines.contract.codes_in_words import REASONS, RULES

HANDS = {
    "trainee": "in the trainee's hands",
    "supervisor": "in a supervisor's hands",
    "unclear": "of which it is not clear who was operating",
}

SOURCES = {
    "log": "the log",
    "trainee": "a later note of the trainee",
    "supervisor": "the supervisor",
    "record_review": "a review of the records",
    "audit": "an audit",
}

SEVERITIES = {"refused": "refused", "left_out": "left out", "warning": "kept, please check"}


def reason_text(
    reason: str, excluded: str | None = None, over_cap: str | None = None, takes: str | None = None
) -> str:
    """Why a case counts toward a requirement or not, in plain words; KeyError for an unknown reason.

    `excluded` names what the requirement excludes and the case is, such as `simulated`; `over_cap` the kind of which it
    takes so many at most.
    """
    if over_cap:
        return f"does not count: of this kind ({over_cap.replace('_', ' ')}) the requirement takes {takes} at most"
    if excluded:
        return f"does not count: the requirement excludes cases of this kind ({excluded})"
    return REASONS[reason]


def rule_text(rule: str) -> str:
    """The rule of a finding in plain words; KeyError for an unknown one."""
    return RULES[rule]


def severity_text(severity: str) -> str:
    """What became of the row of a finding; KeyError for an unknown severity."""
    return SEVERITIES[severity]


def source_text(source: str) -> str:
    """Who says something of a case; KeyError for an unknown source."""
    return SOURCES[source]


def outcome_heading(status: str, hands: str, cases: int) -> str:
    """`Event in the trainee's hands: 3 cases`; hands is blank where it is not asked who was operating."""
    whose = f" {HANDS[hands]}" if hands else ""
    return f"{status.capitalize()}{whose}: {cases_text(cases)}"


# ---- a review


def setting_text(setting: str, self_review: bool) -> str:
    """`live`, `recorded`, `recorded, own review`."""
    return f"{setting}, own review" if self_review else setting


def clock_text(seconds: float | None) -> str | None:
    """`4:05` on the recording's own clock, `1:04:05` from an hour on; None where no time is known."""
    if seconds is None:
        return None
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def between_text(first: float | None, last: float | None) -> str | None:
    """`4:05–6:10`; one end where the other is not known, None with none."""
    ends = [text for text in (clock_text(first), clock_text(last)) if text]
    return "–".join(ends) or None
