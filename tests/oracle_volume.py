"""The oracle's answers about volume: parts, months, courses of training, bands of completed classes.

Plain loops like tests/oracle.py, and nothing of the project imported; quantiles are the standard library's.
"""

from __future__ import annotations

import math
import statistics
from typing import Any

from tests.oracle_credit import wholes
from tests.oracle_rows import Programme, Row, cell, cohort_of, month_number, month_of, month_text, yes_no

Answer = dict[str, Any]
FEWEST_IN_A_BAND, FEWEST_IN_A_WIDE_BAND = 10, 20
# Cut points of twentieths: Hyndman and Fan 1996, type 7, which the standard library calls inclusive.
TWENTIETHS = {"p10": 2, "p25": 5, "p50": 10, "p75": 15, "p90": 18}


def wholes_of(requirement: str, specialty: Answer) -> list[str]:
    """The requirements of which it is a part, those of which these are parts, and so on."""
    found: list[str] = []
    for whole in wholes(specialty["requirements"][requirement]):
        found += [whole, *wholes_of(whole, specialty)]
    return found


def listed_below(requirement: str, specialty: Answer) -> list[str]:
    """The same by the first whole alone: those below which it stands in a list."""
    first = wholes(specialty["requirements"][requirement])[:1]
    return [*first, *(above for whole in first for above in listed_below(whole, specialty))]


def with_parts(rows: list[Answer], specialty: Answer) -> list[Answer]:
    """The rows of one trainee at one time, and of each how many parts it has, how many are short, whether reached."""
    by_ref = {row["requirement_ref"]: row for row in rows}

    def parts_of(ref: str) -> list[str]:
        return [other for other in by_ref if ref in wholes_of(other, specialty)]

    def is_met(ref: str) -> bool:
        return bool(by_ref[ref]["counted_cases"] >= by_ref[ref]["minimum"])

    def stands_in(ref: str) -> str | None:
        """The first of the other rules of its either-or that is met with each of its parts."""
        name = specialty["requirements"][ref].get("either_or")
        alike = [other for other in by_ref if other != ref and name is not None]
        alike = [other for other in alike if specialty["requirements"][other].get("either_or") == name]
        return min([other for other in alike if all(map(is_met, [other, *parts_of(other)]))], default=None)

    answers = []
    for ref, row in by_ref.items():
        short = [part for part in parts_of(ref) if not is_met(part) and stands_in(part) is None]
        by_own_cases = is_met(ref) and not short
        answer = {"parts_total": len(parts_of(ref)), "parts_short": len(short)}
        answer |= {"reached": by_own_cases or stands_in(ref) is not None}
        answer |= {"reached_by": None if by_own_cases else stands_in(ref)}
        answer |= {"part_depth": len([above for above in listed_below(ref, specialty) if above in by_ref])}
        answers.append(row | answer)
    return answers


# A trainee's own clock.


def last_month(it: Programme, trainee: str) -> str | None:
    """The last month of training of which there are data; None with none."""
    through = it.data_through(trainee)
    ends = [cell(it.roster[trainee], name) for name in ("completed", "left")]
    return min([through, *filter(None, ends)]) if through else None


def last_training_month(it: Programme, trainee: str) -> int:
    """0 with no data, or with none of the training."""
    last = last_month(it, trainee)
    if last is None or month_number(last) < it.first_month(trainee):
        return 0
    return it.training_month(trainee, last)


def last_training_quarter(it: Programme, trainee: str) -> int:
    return math.ceil(last_training_month(it, trainee) / 3)


def _is_over(row: Row, name: str, as_of: str) -> bool:
    month = cell(row, name)
    return month is not None and month <= as_of[:7]


def programme_of(it: Programme, trainee: str) -> str:
    return cell(it.roster[trainee], "programme_ref") or it.programme_ref


def class_of(it: Programme, trainee: str) -> tuple[str, str]:
    return programme_of(it, trainee), cohort_of(it.roster[trainee])


def of_completed_classes(it: Programme, as_of: str) -> list[str]:
    """Who completed, of the classes in which nobody is in training any more."""
    running = {
        class_of(it, trainee)
        for trainee, row in it.roster.items()
        if not _is_over(row, "completed", as_of) and not _is_over(row, "left", as_of)
    }
    return [
        trainee
        for trainee, row in it.roster.items()
        if _is_over(row, "completed", as_of) and class_of(it, trainee) not in running
    ]


# The views. `volumes` are the rows of case_volume, `credited` (trainee, requirement) → the cases that count.


def volume_by_month(
    it: Programme, volumes: list[Answer], credited: dict[tuple[str, str], list[Row]]
) -> list[Answer]:
    rows = []
    for trainee in it.roster:
        own = [row for row in volumes if row["trainee_ref"] == trainee]
        counted = {row["requirement_ref"]: credited.get((trainee, row["requirement_ref"]), []) for row in own}
        months = {month_of(case, "operated_on") for cases in counted.values() for case in cases}
        for through in [None, *sorted(months)]:
            by_then = [_through(row, counted[row["requirement_ref"]], through) for row in own]
            rows += [row | {"through_month": through} for row in with_parts(by_then, it.specialty)]
    return rows


def _through(row: Answer, cases: list[Row], through: str | None) -> Answer:
    by_then = [case for case in cases if through is not None and month_of(case, "operated_on") <= through]
    counted, minimum = len(by_then), row["minimum"]
    return row | {
        "counted_cases": counted,
        "remaining_cases": max(minimum - counted, 0),
        "met": counted >= minimum,
        "confirmed_cases": len([case for case in by_then if yes_no(case, "supervisor_agreed")]),
    }


def credited_month(
    it: Programme, volumes: list[Answer], credited: dict[tuple[str, str], list[Row]]
) -> list[Answer]:
    rows = []
    for row in volumes:
        trainee, cases = row["trainee_ref"], credited.get((row["trainee_ref"], row["requirement_ref"]), [])
        for month in sorted({month_of(case, "operated_on") for case in cases}):
            there = [case for case in cases if month_of(case, "operated_on") == month]
            confirmed = len([case for case in there if yes_no(case, "supervisor_agreed")])
            counts = {"counted_cases": len(there), "confirmed_cases": confirmed}
            active = float(it.active_month(trainee, month))
            rows.append(row | {"operated_month": month, "active_month": active} | counts)
    return rows


def active_month(it: Programme) -> list[Answer]:
    """Through the latest of data, cases and plan."""
    rows = []
    for trainee, person in it.roster.items():
        months = [month_of(person, "started"), month_of(person, "expected_completion")]
        months += [
            month_of(case, "operated_on")
            for slot in it.live
            if slot[0] == trainee
            for case in it.live[slot].values()
        ]
        last = month_number(max([*months, *filter(None, [it.data_through(trainee)])]))
        for number in range(it.first_month(trainee), last + 1):
            month = month_text(number)
            rows.append(
                {
                    "programme_ref": programme_of(it, trainee),
                    "cohort": cohort_of(person),
                    "trainee_ref": trainee,
                }
                | {"calendar_month": month, "counts_as": float(it.counts_as(trainee, month))}
                | {"active_month": float(it.active_month(trainee, month))}
                | {"training_month": it.training_month(trainee, month)}
                | {"training_quarter": it.training_quarter(trainee, month)}
                | {"is_elsewhere": it.is_elsewhere(trainee, month), "rotation": _rotation(it, trainee, month)}
                | {"data_through": it.data_through(trainee)}
            )
    return rows


def training_mark(it: Programme, as_of: str) -> list[Answer]:
    """Rotations, leave and months elsewhere through the plan; the start after a transfer; the end of the data."""
    rows = []
    for trainee, person in it.roster.items():
        last, started = last_month(it, trainee), month_of(person, "started")
        until = max(last or started, month_of(person, "expected_completion"))
        if _is_over(person, "completed", as_of) or _is_over(person, "left", as_of):
            until = last or ""
        found: list[Answer] = []
        for kind in ("rotation", "leave", "elsewhere"):
            for period in it._periods(trainee, kind):
                months = _months_of(it, trainee, period, (last, until))
                if months:
                    before = months[0] - 1
                    found.append(
                        {"kind": kind, "first_month": month_of(period, "from"), "months": len(months)}
                        | {"rotation": (cell(period, "value") or "").lower() if kind == "rotation" else None}
                        | {"active_from": float(it.active_month(trainee, month_text(before)))}
                        | {"active_to": float(it.active_month(trainee, month_text(months[-1])))}
                        | {"is_ahead": month_text(months[0]) > (last or "")}
                    )
        points = [("data_end", last, last)] if last else []
        if started > it.credit_from(trainee):
            points.append(("transfer", started, month_text(month_number(started) - 1)))
        for kind, month, through in points:
            at = float(it.active_month(trainee, through))
            found.append(
                {"kind": kind, "first_month": month, "rotation": None, "months": None, "is_ahead": False}
                | {"active_from": at, "active_to": at}
            )
        head = {
            "programme_ref": programme_of(it, trainee),
            "cohort": cohort_of(person),
            "trainee_ref": trainee,
        }
        rows += [head | each | {"data_through": it.data_through(trainee)} for each in found]
    return rows


def _months_of(it: Programme, trainee: str, period: Row, ends: tuple[str | None, str]) -> list[int]:
    """The months of training in a period; without an end it says nothing of the months after the data."""
    last, until = ends
    closes = month_of(period, "to") if cell(period, "to") else last
    if closes is None or not until:
        return []
    first = max(month_number(month_of(period, "from")), it.first_month(trainee))
    return list(range(first, min(month_number(closes), month_number(until)) + 1))


def _rotation(it: Programme, trainee: str, month: str) -> str | None:
    found = [
        cell(period, "value") or ""
        for period in it._periods(trainee, "rotation")
        if month_of(period, "from") <= month <= (cell(period, "to") or month)
    ]
    return "; ".join(found) or None


def volume_course(
    it: Programme, volumes: list[Answer], credited: dict[tuple[str, str], list[Row]]
) -> list[Answer]:
    rows = []
    for row in volumes:
        trainee = row["trainee_ref"]
        months = [
            it.training_month(trainee, month_of(case, "operated_on"))
            for case in credited.get((trainee, row["requirement_ref"]), [])
        ]
        for last in range(1, last_training_month(it, trainee) + 1):
            counted = len([month for month in months if month <= last])
            rows.append(row | {"training_month": last, "counted_cases": counted})
    return rows


def volume_band(it: Programme, courses: list[Answer], as_of: str) -> list[Answer]:
    completed = of_completed_classes(it, as_of)
    counts: dict[tuple[str, str, int], list[int]] = {}
    for row in courses:
        if row["trainee_ref"] in completed:
            place = (row["programme_ref"], row["requirement_ref"], row["training_month"])
            counts.setdefault(place, []).append(row["counted_cases"])
    return [_band(place, values) for place, values in counts.items()]


def _band(place: tuple[str, str, int], counts: list[int]) -> Answer:
    cuts = statistics.quantiles(counts, n=20, method="inclusive") if len(counts) > 1 else []
    row: Answer = dict(zip(("programme_ref", "requirement_ref", "training_month"), place, strict=True))
    for name, twentieths in TWENTIETHS.items():
        fewest = FEWEST_IN_A_WIDE_BAND if name in ("p10", "p90") else FEWEST_IN_A_BAND
        # A half is rounded up.
        row[name] = math.floor(cuts[twentieths - 1] + 0.5) if len(counts) >= fewest else None
    return row | {"people": len(counts)}


def volume_summary(it: Programme, volumes: list[Answer]) -> list[Answer]:
    rows = []
    for row in volumes:
        rule, person = it.specialty["requirements"][row["requirement_ref"]], it.roster[row["trainee_ref"]]
        ends = {name: cell(person, name) for name in ("completed", "left")}
        own = rule.get("local_minimum")
        local = {"is_local": bool(rule.get("local") or own), "local_source": own["source"] if own else None}
        source = rule["source"]
        if own:
            source = (
                f"the programme's own number: {own['source']}; the document has {rule['minimum']}: {source}"
            )
        elif rule.get("local"):
            source = f"the programme's own rule: {source}"
        rows.append(row | ends | local | {"source": source, "verified": rule["verified"]})
    return rows
