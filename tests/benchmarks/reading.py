"""Reading, measured: python -m tests.benchmarks.reading [--rows N] [--files N].

Procedures of FHIR beside the same cases as CSV, and how many clean files of 600 rows are refused. Nothing is asserted.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import time

from pipelines.contract.errors import FileRefused
from pipelines.files.reading import ExportFile, read_parts
from pipelines.specialty.load import load_specialty
from tests.identifying import CHANCE, CLEAN_REFERENCES, clean_column_of_notes
from tests.test_fhir import procedure

SPECIALTY = load_specialty("ophthalmology")
CASES = "case_ref,trainee_ref,operated_on,procedure,role"
REVIEWS = "review_ref,case_ref,trainee_ref,reviewer_ref,setting,step,comment"


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.reading")
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--files", type=int, default=400)
    arguments = parser.parse_args()
    procedures(arguments.rows)
    clean_files(arguments.files)


def procedures(count: int) -> None:
    lines = [json.dumps(procedure(number)) for number in range(count)]
    bundle = {"resourceType": "Bundle", "entry": [{"resource": json.loads(line)} for line in lines]}
    rows = [f"P{number:05},T07,2026-04-03,phaco_iol,surgeon" for number in range(count)]
    forms = {
        "CSV": "\n".join([CASES, *rows]),
        "NDJSON": "\n".join(lines),
        "Bundle": json.dumps(bundle),
    }
    for name, text in forms.items():
        started = time.perf_counter()
        (part,) = read_parts([ExportFile(f"cases.{name.lower()}", text.encode())], SPECIALTY, False)
        seconds = time.perf_counter() - started
        print(
            f"{name}: {part.row_count:,} cases in {seconds:.2f} s, {part.row_count / seconds:,.0f} a second"
        )


def clean_files(count: int) -> None:
    """Each with another way of making references, every other one with notes."""
    schemes = list(CLEAN_REFERENCES)
    refused = []
    CHANCE.seed("clean files")
    for number in range(count):
        refs = CLEAN_REFERENCES[schemes[number % len(schemes)]]()
        notes = clean_column_of_notes()
        if number % 2:
            target = io.StringIO()
            lines = enumerate(zip(refs, notes, strict=True))
            csv.writer(target).writerows(
                [
                    REVIEWS.split(","),
                    *(
                        [f"R{row:04}", ref, "T07", "V1", "live", "incision", note]
                        for row, (ref, note) in lines
                    ),
                ]
            )
            text = target.getvalue()
        else:
            text = "\n".join([CASES, *(f"{ref},T07,2026-04-03,phaco_iol,surgeon" for ref in refs)])
        try:
            read_parts([ExportFile("cases.csv", text.encode())], SPECIALTY, False)
        except FileRefused as refusal:
            refused.append((schemes[number % len(schemes)], refusal.findings[0].message))
    print(f"Clean files of 600 rows: {len(refused)} of {count} refused.", *refused, sep="\n")


if __name__ == "__main__":
    main()
