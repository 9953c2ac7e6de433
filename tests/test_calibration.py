"""`calibrate`: what it stores and publishes, when it is out of date, and its rates by another simulation.

The second simulation is written here in plain loops with Python's own generator (Mersenne Twister), not numpy's PCG64. It
reads the published views of the demo, and applies the rules as reason_rule words them.
"""

from __future__ import annotations

import json
import math
import random
import statistics
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import pytest

from pipelines.build import calibration
from pipelines.store.snapshot import open_snapshot
from pipelines.store.store import Store
from seed_data.generate import generate
from tests.browser import EXPORTS, demo_store
from tests.oracle import wilson
from tests.stores import new_store, read_csv, rows_of, run, run_well, set_programme, shipped_specialty

CHANCE = (
    "pace_behind",
    "close_and_short",
    "outcome_over_time",
    "supervision_not_loosening",
    "step_without_progress",
)
TRAININGS = 60
MONTHS, MEETINGS, SPACING, PHASE, CLASSES, CLASS_SIZE = 36, 6, 6, 5, 3, 4


# ---- the demo's


def test_the_calibration_of_the_demo_is_of_its_data_and_rules_as_they_are() -> None:
    # Stale: python -m seed_data.calibrate
    rows = {row["reason"]: row for row in rows_of(demo_store(), "false_alarm")}
    assert [rows[reason]["remark"] for reason in CHANCE] == [""] * len(CHANCE)
    assert all(rows[reason]["simulated_programmes"] == str(calibration.TRAININGS) for reason in CHANCE)
    plain = [row for reason, row in rows.items() if reason not in CHANCE]
    assert plain and all(row["remark"] == "a plain fact" and row["chance_meeting"] == "" for row in plain)


def tolerance(rate: float) -> float:
    """Three standard errors of both simulations; the meetings of one training are not independent of one another."""
    rate = min(max(rate, 0.02), 0.98)
    return 3 * math.sqrt(rate * (1 - rate) * (1 / calibration.TRAININGS + 1 / TRAININGS))


def ages(meeting: int) -> list[int]:
    """The active months of the classes in training at a meeting; of the first, the youngest is in month 5."""
    first = [PHASE + 12 * place + SPACING * meeting for place in range(-MEETINGS, CLASSES)]
    return [age for age in first if 0 < age < MONTHS]


def of_demo(view: str, **where: str) -> list[dict[str, str]]:
    return rows_of(demo_store(), view, **where)


COMPLETED = {f"T{number:02d}" for number in range(1, 21)}


def test_outcomes_over_time_name_somebody_fine_as_often_by_a_simulation_in_plain_loops() -> None:
    dice = random.Random(8)
    limits = {
        row["complication_ref"]: float(row["cusum_limit"])
        for row in of_demo("run_length", limit_for="class")
        if row["cusum_limit"]
    }
    cases: dict[tuple[str, int], dict[str, bool]] = defaultdict(dict)
    for row in of_demo("case_sequence_chart"):
        cases[row["trainee_ref"], int(row["case_sequence"])][row["complication_ref"]] = (
            row["is_event"] == "true"
        )
    quarters = {
        (row["trainee_ref"], int(row["case_sequence"])): int(row["training_quarter"]) for row in _opened()
    }
    pools: dict[int, list[dict[str, bool]]] = defaultdict(list)
    done: dict[str, Counter[int]] = defaultdict(Counter)
    numbers: Counter[str] = Counter()
    for place in sorted(cases):
        numbers[place[0]] += 1
        pools[_band(numbers[place[0]])].append(cases[place])
        done[place[0]][quarters[place]] += 1
    known: Counter[tuple[str, int]] = Counter()
    events: Counter[tuple[str, int]] = Counter()
    own: Counter[tuple[str, str]] = Counter()
    for place in sorted(cases):
        for outcome, event in cases[place].items():
            own[place[0], outcome] += 1
            known[outcome, _band(own[place[0], outcome])] += 1
            events[outcome, _band(own[place[0], outcome])] += event
    chances = {place: events[place] / number for place, number in known.items() if number >= 30}
    named = 0
    for _ in range(TRAININGS):
        for meeting in range(MEETINGS):
            people = [age for age in ages(meeting) for _ in range(CLASS_SIZE)]
            named += any(_signals(dice, age, pools, done, chances, limits) for age in people)
    rate = named / (TRAININGS * MEETINGS)
    published = float(of_demo("false_alarm", reason="outcome_over_time")[0]["chance_meeting"])
    assert published == pytest.approx(rate, abs=tolerance(rate))


def _band(number: int) -> int:
    return 1 + sum(number > last for last in (50, 100, 200))


def _opened() -> list[dict[str, Any]]:
    with open_snapshot(Store(demo_store())) as connection:
        found = connection.execute(
            "select trainee_ref, case_sequence, training_quarter from main.case_record"
        ).fetchall()
    return [
        dict(zip(("trainee_ref", "case_sequence", "training_quarter"), row, strict=True)) for row in found
    ]


def _signals(
    dice: random.Random, age: int, pools: Any, done: Any, chances: dict[tuple[str, int], float], limits: dict[str, float]
) -> bool:  # fmt: skip
    """One person fine: whether a CUSUM with odds ratio 2 has crossed the limit for a class by that age."""
    number = 0
    for year in range(math.ceil(age / 12)):
        donor = dice.choice(sorted(COMPLETED))
        last = min(4 * year + 4, math.ceil(age / 3))
        number += sum(done[donor][quarter] for quarter in range(4 * year + 1, last + 1))
    cusum: Counter[str] = Counter()
    own: Counter[str] = Counter()
    stopped: set[str] = set()
    for place in range(1, number + 1):
        for outcome, event in dice.choice(pools[_band(place)]).items():
            own[outcome] += 1
            chance = chances.get((outcome, _band(own[outcome])))
            if chance is None:
                stopped.add(outcome)
            if outcome in stopped or chance is None or outcome not in limits:
                continue
            weight = (math.log(2) if event else 0) - math.log(1 + chance)
            cusum[outcome] = max(0, cusum[outcome] + weight)  # type: ignore[assignment] - a count of a real number
            if cusum[outcome] > limits[outcome] + 1e-9:
                return True
    return False


def test_close_to_completion_and_short_names_somebody_fine_as_often_by_a_simulation_in_plain_loops() -> None:
    dice = random.Random(9)
    minimums = {
        row["requirement_ref"]: int(row["minimum"]) for row in of_demo("case_volume", trainee_ref="T01")
    }
    months: dict[tuple[str, int], Counter[str]] = defaultdict(Counter)
    for row in of_demo("credited_month"):
        if row["trainee_ref"] in COMPLETED:
            place = row["trainee_ref"], math.ceil(float(row["active_month"]))
            months[place][row["requirement_ref"]] += int(row["counted_cases"])
    named = Counter[str]()
    for _ in range(TRAININGS):
        for meeting in range(MEETINGS):
            ends = [age for age in ages(meeting) for _ in range(CLASS_SIZE) if MONTHS - age <= 6]
            named["short"] += any(_is_short(dice, age, months, minimums, 1) for age in ends)
        # Somebody with half the volume, by the last meeting before completion at the latest.
        named["half"] += _is_short(dice, MONTHS - 1, months, minimums, 0.5)
    published = of_demo("false_alarm", reason="close_and_short")[0]
    rate = named["short"] / (TRAININGS * MEETINGS)
    assert float(published["chance_meeting"]) == pytest.approx(rate, abs=tolerance(rate))
    assert float(published["power"]) == pytest.approx(
        named["half"] / TRAININGS, abs=tolerance(named["half"] / TRAININGS)
    )


def _is_short(dice: random.Random, age: int, months: Any, minimums: dict[str, int], share: float) -> bool:
    counted: Counter[str] = Counter()
    for month in range(1, age + 1):
        if month % 12 == 1:
            donor = dice.choice(sorted(COMPLETED))
        for requirement, number in months[donor, month].items():
            counted[requirement] += sum(dice.random() < share for _ in range(number))
    return any(counted[requirement] < minimum for requirement, minimum in minimums.items())


def test_a_step_without_progress_names_somebody_fine_as_often_by_a_simulation_in_plain_loops() -> None:
    dice = random.Random(10)
    pools, numbers = _reviewed()
    named = Counter[str]()
    for _ in range(TRAININGS):
        for meeting in range(MEETINGS):
            people = [age for age in ages(meeting) for _ in range(CLASS_SIZE)]
            named["fine"] += any(_stands_still(dice, age, pools, numbers) for age in people)
        # Somebody whose steps stay as they were in the first quarter with a review.
        still = {quarter: pools[min(pools)] for quarter in range(1, 13)}
        named["still"] += any(
            _stands_still(dice, PHASE + SPACING * meeting, still, numbers) for meeting in range(MEETINGS)
        )
    published = of_demo("false_alarm", reason="step_without_progress")[0]
    rate, power = named["fine"] / (TRAININGS * MEETINGS), named["still"] / TRAININGS
    assert float(published["chance_meeting"]) == pytest.approx(rate, abs=tolerance(rate))
    assert float(published["power"]) == pytest.approx(power, abs=tolerance(power))


def _reviewed() -> tuple[dict[int, list[dict[str, float]]], dict[int, list[int]]]:
    """From the exports: reviewed operations by quarter as step → score, and how many each reviewed person had in it."""
    with open_snapshot(Store(demo_store())) as connection:
        cases = connection.execute(
            "select trainee_ref, case_ref, min(training_quarter) from main.case_record"
            " where procedure_group is not null and not performed_elsewhere group by all"
        ).fetchall()
        ends = dict(
            connection.execute("select trainee_ref, last_training_quarter from trainee_clock").fetchall()
        )
    quarter_of = {(ref, case): quarter for ref, case, quarter in cases}
    scores: dict[tuple[str, str], dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for row in read_csv(EXPORTS / "reviews.csv"):
        if (
            row["self_review"] != "yes"
            and row["score"]
            and row["done_by_supervisor"] not in ("planned", "rescue")
        ):
            scores[row["trainee_ref"], row["case_ref"]][row["step"]].append(int(row["score"]))
    pools: dict[int, list[dict[str, float]]] = defaultdict(list)
    done: dict[tuple[str, int], int] = Counter()
    for place in sorted(scores):
        if place in quarter_of:
            pools[quarter_of[place]].append(
                {step: sum(each) / len(each) for step, each in scores[place].items()}
            )
            done[place[0], quarter_of[place]] += 1
    people = sorted({ref for ref, _ in done})
    numbers = {
        quarter: [done[ref, quarter] for ref in people if ends[ref] >= quarter] for quarter in range(1, 13)
    }
    return pools, numbers


def _stands_still(dice: random.Random, age: int, pools: Any, numbers: Any) -> bool:
    """By that age: of some step the latest five operations no better than the five before, and below 3.5."""
    course: dict[str, list[float]] = defaultdict(list)
    for quarter in range(1, math.ceil(age / 3) + 1):
        if numbers[quarter] and pools.get(quarter):
            for _ in range(dice.choice(numbers[quarter])):
                for step, score in dice.choice(pools[quarter]).items():
                    course[step].append(score)
    return any(
        len(scores) >= 10 and sum(scores[-5:]) <= sum(scores[-10:-5]) and sum(scores[-5:]) / 5 < 3.5
        for scores in course.values()
    )


def test_supervision_names_somebody_fine_as_often_by_a_simulation_in_plain_loops() -> None:
    dice = random.Random(11)
    ladder = list(shipped_specialty()["supervision"].items())
    operating = [
        place
        for place, (_, level) in enumerate(ladder)
        if not level.get("roles") or "surgeon" in level["roles"]
    ]
    upper = {ref for place, (ref, _) in enumerate(ladder) if place >= operating[-2]}
    done: dict[tuple[str, int], Counter[tuple[str, bool]]] = defaultdict(Counter)
    for row in of_demo("supervision_mix"):
        if row["trainee_ref"] in COMPLETED and row["level_ref"]:
            place = row["trainee_ref"], int(row["training_quarter"])
            done[place][row["procedure_group"], row["level_ref"] in upper] += int(row["cases"])
    groups = sorted({group for counts in done.values() for group, _ in counts})
    named = Counter[str]()
    for _ in range(TRAININGS):
        earlier = [_supervised(dice, done) for _ in COMPLETED]
        for meeting in range(MEETINGS):
            people = [(age, _supervised(dice, done)) for age in ages(meeting) for _ in range(CLASS_SIZE)]
            named["fine"] += any(
                _is_held_close(own, earlier, math.ceil(age / 3), group)
                for age, own in people
                for group in groups
            )
        # Somebody who never comes to that level.
        stays = {
            quarter: Counter({(group, False): counts[group, False] + counts[group, True] for group in groups})
            for quarter, counts in _supervised(dice, done).items()
        }
        named["stays"] += any(
            _is_held_close(stays, earlier, math.ceil((PHASE + SPACING * meeting) / 3), group)
            for meeting in range(MEETINGS)
            for group in groups
        )
    published = of_demo("false_alarm", reason="supervision_not_loosening")[0]
    rate, power = named["fine"] / (TRAININGS * MEETINGS), named["stays"] / TRAININGS
    assert float(published["chance_meeting"]) == pytest.approx(rate, abs=tolerance(rate))
    assert float(published["power"]) == pytest.approx(power, abs=tolerance(power))


Supervised = dict[int, Counter[tuple[str, bool]]]


def _supervised(dice: random.Random, done: dict[tuple[str, int], Counter[tuple[str, bool]]]) -> Supervised:
    """One whole training: the operations of each quarter by group and whether at the level, a year from one donor."""
    found = {}
    for quarter in range(1, MONTHS // 3 + 1):
        if quarter % 4 == 1:
            donor = dice.choice(sorted(COMPLETED))
        found[quarter] = done[donor, quarter]
    return found


def _is_held_close(own: Supervised, earlier: list[Supervised], until: int, group: str) -> bool:
    """The rule as reason_rule words it: two quarters, ten operations, ten people, loosened by a tenth."""

    def summed(of: Supervised, quarters: range) -> tuple[int, int]:
        above = sum(of[quarter][group, True] for quarter in quarters)
        return above, above + sum(of[quarter][group, False] for quarter in quarters)

    latest, before = range(max(1, until - 1), until + 1), range(1, until - 1)
    above, known = summed(own, latest)
    enough = [other for other in earlier if summed(other, latest)[1] >= 10]
    if known < 10 or len(enough) < 10:
        return False
    shares = [one / all_ for one, all_ in (summed(other, latest) for other in enough)]
    ones, alls = zip(*(summed(other, before) for other in enough), strict=True)
    their_before = sum(ones) / sum(alls) if sum(alls) else 0.0
    own_above, own_known = summed(own, before)
    own_before = own_above / own_known if own_known else 0.0
    return (
        wilson(above, known)[1] < statistics.quantiles(shares, n=4, method="inclusive")[0]
        and statistics.median(shares) - their_before >= 0.1
        and above / known - own_before < 0.1
    )


# ---- the command


def test_calibrate_stores_what_it_finds_publishes_it_and_says_when_it_is_out_of_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(calibration, "TRAININGS", 1)
    store = new_store(tmp_path)
    assert run("calibrate", "--store", store).code == 2  # there is nobody to simulate others by
    exports = generate(tmp_path / "exports", trainees=16, cases=200, random_seed=3, ratings=False)
    run_well("intake", *exports, "--store", store)
    done = run_well("calibrate", "--store", store)
    assert done.out == "Snapshot 3 is live.\n" and "1 trainings of a programme like it" in done.err
    (path,) = (store / "calibration").iterdir()
    said = json.loads(path.read_text(encoding="utf-8"))["programmes"]["saltmarsh-eye"]
    rows = {row["reason"]: row for row in rows_of(store, "false_alarm")}
    for reason in CHANCE:
        assert rows[reason]["remark"] == ""
        for name in ("chance_meeting", "chance_training", "power"):
            assert float(rows[reason][name]) == said["reasons"][reason][name]
    # Other rules: what was found still stands, and is said to be of others.
    set_programme(store, reasons={"close_and_short": {"months_left": 12}})
    assert run("calibrate", "--store", store).code == 2
    run_well("build", "--store", store)
    later = {row["reason"]: row for row in rows_of(store, "false_alarm")}
    assert later["pace_behind"]["chance_meeting"] == rows["pace_behind"]["chance_meeting"]
    assert later["pace_behind"]["remark"].startswith(
        "calibrated before the data or rules were as they are now"
    )
    # A file that is not what was written is damage.
    path.write_text(path.read_text(encoding="utf-8").replace("1", "2"), encoding="utf-8")
    assert run("build", "--store", store).code == 13
