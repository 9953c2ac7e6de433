"""What Hypothesis makes up beside tests/cohorts.py: reviews, ratings, findings; and crowds, of which bands are made.

Row by row from one whole number, as there.
"""

from __future__ import annotations

import dataclasses
import functools
import random
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests import cohorts
from tests.cohorts import AS_OF, Cohort, month_text
from tests.oracle import Row
from tests.oracle_views import Evidence

STEPS = ("capsulorhexis", "nucleus_disassembly", "wound_closure")
MILESTONES = ("cataract_operating", "laser_operating", "complication_management")
LEVELS = ("A", "B", "C", "D", "E", "not assessable")
PERIODS = ("2022-23 end", "2023-24 mid", "2023-24 end", "2023-24 MID")
RULES = (
    ("left_out", "code_unknown"),
    ("left_out", "date_unreadable"),
    ("warning", "column_unknown"),
    ("warning", "event_day_missing"),
)
CATARACT = "phaco_iol"


@functools.cache
def drawn(strategy: Any, number: int) -> list[Any]:
    """The first so many examples of Hypothesis, the same in every run.

    They are judged many at once, so none is shrunk: what fails names view, key and column.
    """
    found: list[Any] = []

    @given(example=strategy)
    @settings(
        max_examples=number,
        deadline=None,
        database=None,
        derandomize=True,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    def collect(example: Any) -> None:
        found.append(example)

    collect()
    return found[:number]


def reviews_of(cases: list[Row], dice: random.Random) -> list[Row]:
    """Reviews of every third operation or so, by one to three people, two steps each."""
    rows = []
    for case in cases:
        for person in range(dice.choice((0, 0, 1, 3))):
            review = {
                "review_ref": f"{case['trainee_ref']}-{case['case_ref']}-{len(rows)}",
                "case_ref": case["case_ref"],
                "trainee_ref": case["trainee_ref"],
                "reviewer_ref": f"S0{person}",
                "setting": dice.choice(("live", "recorded")),
                "self_review": dice.choice(("", "no", "no", "yes")),
            }
            rows += [review | _step(step, dice) for step in dice.sample(STEPS, 2)]
    return rows


def _step(step: str, dice: random.Random) -> Row:
    attempts = dice.choice(("", "1", "3"))
    started = dice.randint(0, 400)
    ended = started + dice.randint(1, 200)
    timed = dice.random() < 0.6
    return {
        "step": step,
        "score": dice.choice(("", "1", "2", "3", "3", "4", "5")),
        "done_by_supervisor": dice.choice(("", "no", "no", "planned", "rescue")),
        "attempts": attempts,
        "successes": dice.choice(("", "0", attempts)) if attempts else "",
        "started_at": f"{started // 60:02d}:{started % 60:02d}" if timed else "",
        "ended_at": f"0:{ended // 60:02d}:{ended % 60:02d}" if timed else "",
        "recording_speed": dice.choice(("", "1", "2", "0.5")),
    }


def milestones_of(roster: list[Row], dice: random.Random) -> list[Row]:
    """Ratings in some periods; a period and milestone of a trainee once."""
    found = {}
    for trainee in roster:
        for _ in range(dice.randint(0, 4)):
            row = {"trainee_ref": trainee["trainee_ref"], "period": dice.choice(PERIODS[:3])}
            row |= {"milestone": dice.choice(MILESTONES), "level": dice.choice(LEVELS)}
            found[row["trainee_ref"], row["period"], row["milestone"]] = row
    return list(found.values())


def findings_of(people: list[str], dice: random.Random) -> list[dict[str, Any]]:
    """Of rows of two intakes, of whole files, and of rows that name nobody; a key once."""
    found: dict[Any, dict[str, Any]] = {}
    for _ in range(dice.randint(0, 8)):
        severity, rule = dice.choice(RULES)
        each: dict[str, Any] = {
            "intake_id": dice.choice(("a-1", "b-1")),
            "file_name": "cases.csv",
            "source_row": dice.choice((None, 2, 3, 4)),
            "column_name": dice.choice(("role", "side")),
            "rule": rule,
            "trainee_ref": dice.choice([*people, None, "nobody"]),
            "severity": severity,
        }
        found[tuple(each[name] for name in list(each)[:5])] = each
    return list(found.values())


def with_others(cohort: Cohort, dice: random.Random) -> Cohort:
    """The cohort with what others say of some of its cases, of some twice, and of cases that nobody has."""
    outcomes, confirmations = [], []
    programme_of = {row["trainee_ref"]: row.get("programme_ref") or "harbour-eye" for row in cohort.roster}
    for case in cohort.cases:
        for _ in range(dice.choice((0, 0, 0, 1, 3))):
            name, window = dice.choice(cohorts.EVENTS)
            occurred = dice.choice(("yes", "no", "no", "unknown"))
            outcomes.append(
                {
                    "programme_ref": programme_of[case["trainee_ref"]],
                    "trainee_ref": dice.choice((case["trainee_ref"], "_unmatched")),
                    "case_ref": dice.choice((case["case_ref"], case["case_ref"], "HE-9999")),
                    "complication": name,
                    "occurred": occurred,
                    "day": dice.choice(("", "", str(window), str(window + 1), "3", "200")),
                    "source": dice.choice(("trainee", "supervisor", "record_review", "audit")),
                }
            )
        if dice.random() < 0.3:
            takeover = dice.choice(("", "", "yes", "no"))
            confirmations.append(
                {
                    "case_ref": case["case_ref"],
                    "trainee_ref": case["trainee_ref"],
                    "supervisor_ref": "S09",
                    "role_agreed": dice.choice(("", "yes", "yes", "no")),
                    "supervision": dice.choice(("", *cohorts.LEVELS)),
                    "takeover": takeover,
                    "takeover_reason": dice.choice(("", "planned", "rescue")) if takeover != "no" else "",
                }
            )
    return dataclasses.replace(cohort, outcomes=outcomes, confirmations=confirmations)


def evidence_of(cohort: Cohort, dice: random.Random) -> Evidence:
    people = [row["trainee_ref"] for row in cohort.roster]
    live_for = {"a-1": set(people), "b-1": set(people[:1])}
    return Evidence(
        reviews=reviews_of(cohort.cases, dice),
        milestones=milestones_of(cohort.roster, dice),
        findings=findings_of(people, dice),
        live_for=live_for,
        as_of=AS_OF.isoformat(),
    )


# Several programmes beside one another: one build judges them all, and none may reach into another.


def beside(found: list[Cohort]) -> Cohort:
    """The cohorts as programmes of one store; people and programmes get the number of their cohort."""
    merged = Cohort([], [], [])
    for number, cohort in enumerate(found, start=1):
        for rows, of_cohort in (
            (merged.roster, cohort.roster),
            (merged.training, cohort.training),
            (merged.cases, cohort.cases),
        ):
            rows += [_numbered(row, number) for row in of_cohort]
    return merged


def _numbered(row: Row, number: int) -> Row:
    """Who names no programme is of the store's own in the first cohort alone."""
    changed = row | {"trainee_ref": f"P{number:02d}-{row['trainee_ref'].strip()}"}
    if "programme_ref" in row and (row["programme_ref"] or number > 1):
        changed["programme_ref"] = f"p{number:02d}-{row['programme_ref'] or 'own'}"
    if "operated_on" in row:
        changed["intake_id"] = "a-1"
    return changed


# Crowds: enough people for bands, and enough known cataracts for an expected rate.


@st.composite
def crowds(draw: st.DrawFn) -> Cohort:
    """Six to 24 people of a class that is over, up to two of another; each with up to 70 cases of two kinds.

    Nine and 19 people are one too few for a band, and for a wide one.
    """
    completed, running = draw(st.sampled_from((6, 9, 10, 19, 20, 24))), draw(st.integers(0, 2))
    dice = random.Random(draw(st.integers(0, 2**32 - 1)))
    hands = draw(
        st.sampled_from((("trainee",), ("trainee", "supervisor"), ("trainee", "supervisor", "", "unclear")))
    )
    roster, cases = [], []
    for number in range(1, completed + running + 1):
        trainee = _of_crowd(number, dice, is_done=number <= completed)
        roster.append(trainee)
        cases += _log(trainee, dice, dice.choice((8, 20, 70 if completed < 12 else 30)), hands)
    return Cohort(roster, _periods_of_crowd(roster, dice), cohorts.unique_keys(cases))


def _periods_of_crowd(roster: list[Row], dice: random.Random) -> list[Row]:
    """Rotations one after the other, a leave or part-time for some; who is in training knows some months ahead."""
    rows = []
    for trainee in roster:
        first = cohorts.month_count(trainee["started"])
        head = {"trainee_ref": trainee["trainee_ref"]}
        for after in range(0, dice.choice((0, 24, 36, 42)), 6):
            last = "" if dice.random() < 0.1 else month_text(first + after + dice.choice((2, 5, 5, 7)))
            service = dice.choice(("Cataract", "cataract", "lids"))
            rows.append(
                head | {"from": month_text(first + after), "to": last, "kind": "rotation", "value": service}
            )
        if dice.random() < 0.4:
            begins = first + dice.randint(3, 30)
            kind, value = dice.choice((("leave", ""), ("part_time", "0.5"), ("part_time", "66.7 %")))
            ends = month_text(begins + dice.randint(0, 8))
            rows.append(head | {"from": month_text(begins), "to": ends, "kind": kind, "value": value})
    return rows


def _of_crowd(number: int, dice: random.Random, *, is_done: bool) -> Row:
    started = cohorts.FIRST_MONTH + dice.randint(-2, 3)
    return {
        "trainee_ref": f"T{number:02d}",
        # Three classes are over: one is forecast by the others.
        "cohort": f"202{number % 3 + 1}-2{number % 3 + 2}" if is_done else "2024-25",
        "started": month_text(started),
        "expected_completion": month_text(started + 35),
        "programme_ref": "",
        "completed": dice.choice(("2024-03", "2024-06", "2023-11")) if is_done else "",
        "left": "",
    }


def _log(trainee: Row, dice: random.Random, number: int, hands: tuple[str, ...]) -> list[Row]:
    rows = []
    first = cohorts.month_count(trainee["started"])
    for place in range(number):
        month = month_text(dice.randint(first, cohorts.month_count("2024-06")))
        events = dice.choice(("none",) * 6 + ("capsule_rupture", "endophthalmitis@9", ""))
        rows.append(
            {
                "case_ref": f"{trainee['trainee_ref']}-{place:03d}",
                "trainee_ref": trainee["trainee_ref"],
                "operated_on": f"{month}-{dice.randint(1, 28):02d}",
                "procedure": CATARACT if dice.random() < 0.85 else "chalazion_excision",
                "role": dice.choice(("surgeon",) * 8 + ("assistant",)),
                "supervision": dice.choice(
                    ("", "spoken_guidance", "supervisor_in_room", "supervisor_available")
                ),
                "supervisor_agreed": dice.choice(("", "yes")),
                "takeover": dice.choice(("", "no", "no", "yes")),
                "complications": events,
                "event_hands": dice.choice(hands),
                "follow_up_days": dice.choice(("", "9", "60", "120", "120")),
                "risk_factors": dice.choice(
                    ("", "none", "none", "pseudoexfoliation", "dense_cataract;high_age")
                ),
            }
        )
    return rows
