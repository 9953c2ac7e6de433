"""The sentences that the files of a volume summary have in common."""

from __future__ import annotations

from collections.abc import Mapping

from pipelines.store.manifest import Manifest
from pipelines.summary.rows import Person, Summary

CSV_NOTE = (
    "In the CSV a text that begins with = + - @ or a tab has an apostrophe before it, so that no spreadsheet takes it"
    " for a formula; in the workbook it stands as it is."
)


def origin(summary: Summary) -> str:
    return moment(summary.manifest)


def moment(manifest: Manifest) -> str:
    """A snapshot and the day that it speaks of; the first of a store holds nothing yet."""
    return f"snapshot {manifest.snapshot}, {f'as of {manifest.as_of}' if manifest.as_of else 'without data'}"


def counted_through(summary: Summary) -> str:
    """What a count of part of the cases says of itself; nothing where all cases are counted."""
    if summary.through is None:
        return ""
    return (
        f"Only cases operated through {summary.through} are counted here, as asked for; what is remaining, reached and"
        " confirmed follows from them. The published counts of the snapshot hold every case."
    )


def head_of(person: Person, labels: Mapping[str, str]) -> str:
    name = labels.get(person.trainee_ref)
    return f"{person.trainee_ref} {name}" if name else person.trainee_ref


def through_text(person: Person) -> str:
    if person.data_through is None:
        return "no data"
    return person.data_through if person.is_current else f"{person.data_through}, not current"


def of_what(summary: Summary) -> str:
    """Whose data these are, and of which moment."""
    refs = sorted({row[summary.columns.index("programme_ref")] for row in summary.rows})
    several = f" The class is of several programmes: {', '.join(refs)}." if len(refs) > 1 else ""
    made_up = " Made-up data." if summary.made_up else ""
    return f"{summary.programme}, {summary.specialty}; {origin(summary)}.{several}{made_up}"
