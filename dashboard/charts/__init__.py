"""Every chart of the screens and the files, one function each, with the words that say its finding.

A chart draws the columns that SQL named and computes nothing of them. Draw it with `theme=None`: it brings
its own. Each `…_alt` says what the picture shows; the chart carries it as its description.
"""

from __future__ import annotations

from dashboard.charts.cohort import (
    BANDS_HEADING,
    COHORT_HEADING,
    complication_intervals,
    supervision_bands,
    technique_cohort,
    volume_grid,
)
from dashboard.charts.look import Heading, axis_top
from dashboard.charts.trainee import case_sequence, supervision_over_time, technique_steps, volume_over_time
from dashboard.charts.words import (
    bands_ends,
    case_sequence_alt,
    complication_intervals_alt,
    line_ends,
    scored_label,
    supervision_bands_alt,
    supervision_over_time_alt,
    technique_cohort_alt,
    technique_steps_alt,
    volume_grid_alt,
    volume_over_time_alt,
)

__all__ = [
    "BANDS_HEADING",
    "COHORT_HEADING",
    "Heading",
    "axis_top",
    "bands_ends",
    "case_sequence",
    "case_sequence_alt",
    "complication_intervals",
    "complication_intervals_alt",
    "line_ends",
    "scored_label",
    "supervision_bands",
    "supervision_bands_alt",
    "supervision_over_time",
    "supervision_over_time_alt",
    "technique_cohort",
    "technique_cohort_alt",
    "technique_steps",
    "technique_steps_alt",
    "volume_grid",
    "volume_grid_alt",
    "volume_over_time",
    "volume_over_time_alt",
]
