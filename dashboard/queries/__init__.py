"""The only SQL of the dashboard: which rows and columns of a published view a screen shows to this viewer.

Every query takes the viewer's scope and selects exactly what the screen draws: what is selected reaches the
browser. Numbers are made in sql/, never here.
"""

from dashboard.queries.agenda import (
    case_sequence,
    false_alarms,
    months,
    next_steps,
    pace,
    reasons,
    recent_rates,
    recorded_levels,
    signal,
    waiting,
)
from dashboard.queries.cases import cases_of_outcome, cases_of_requirement, cases_to_code
from dashboard.queries.desk import feedback, findings, intakes, left_out, logs, own_reviews, volume_summary
from dashboard.queries.live import Snapshot, listed, live_snapshot, records
from dashboard.queries.rules import (
    definitions,
    framework,
    names_another_programme,
    roles_of,
    unverified,
)
from dashboard.queries.standing import (
    bands,
    bands_of_quarter,
    comparison,
    course,
    course_bands,
    ladder,
    levels,
    marks,
    milestones,
    own_rates,
    rates,
    technique,
    technique_of_everybody,
    trainees,
    volume,
)

__all__ = [
    "Snapshot",
    "bands",
    "bands_of_quarter",
    "case_sequence",
    "cases_of_outcome",
    "cases_of_requirement",
    "cases_to_code",
    "comparison",
    "course",
    "course_bands",
    "definitions",
    "false_alarms",
    "feedback",
    "findings",
    "framework",
    "intakes",
    "ladder",
    "left_out",
    "levels",
    "listed",
    "live_snapshot",
    "logs",
    "marks",
    "milestones",
    "months",
    "names_another_programme",
    "next_steps",
    "own_rates",
    "own_reviews",
    "pace",
    "rates",
    "reasons",
    "recent_rates",
    "recorded_levels",
    "records",
    "roles_of",
    "signal",
    "technique",
    "technique_of_everybody",
    "trainees",
    "unverified",
    "volume",
    "volume_summary",
    "waiting",
]
