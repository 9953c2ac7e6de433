"""The example exports look like the programme that they are meant to be, and are the same every time."""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from pathlib import Path

import pytest

from pipelines.contract.formats import (
    CASES,
    CONFIRMATIONS,
    MILESTONES,
    OFFICIAL_COUNTS,
    OUTCOMES,
    REVIEWS,
    TRAINEES,
    TRAINING,
)
from seed_data.generate import generate
from tests.stores import new_store, run, run_well

SEED_DATA = Path(__file__).parents[1] / "seed_data"
Row = dict[str, str]

# The codes that exports of the specialty may hold: the list agreed for ophthalmology, written out again.
CODES = {
    "procedure": """phaco_iol manual_cataract yag_capsulotomy laser_trabeculoplasty laser_iridotomy
        panretinal_photocoagulation penetrating_keratoplasty endothelial_keratoplasty pterygium_excision
        keratorefractive_laser strabismus_surgery trabeculectomy tube_shunt vitrectomy scleral_buckle
        intravitreal_injection eyelid_laceration_repair chalazion_excision ptosis_repair blepharoplasty
        orbit_surgery dacryocystorhinostomy open_globe_repair""",
    "converted_from": "phaco_iol",
    "role": "surgeon assistant teaching_assistant observer",
    "side": "left right both",
    "supervision": """observed assisted performed_jointly spoken_guidance supervisor_in_room
        supervisor_available supervised_junior""",
    "technique": "divide_and_conquer stop_and_chop chop",
    "attributes": "none simulated pediatric",
    "risk_factors": """none previous_vitrectomy corneal_scar small_pupil shallow_chamber high_age
        high_ametropia capsule_plaque posterior_polar dense_cataract pseudoexfoliation phacodonesis""",
    "complications": """none capsule_rupture vitreous_loss dropped_nucleus zonular_dialysis endophthalmitis
        macular_oedema retinal_detachment wound_leak other""",
    "takeover_reason": "planned rescue",
    "event_hands": "trainee supervisor unclear",
    "principal": "yes no",
    "takeover": "yes no",
    "supervisor_agreed": "yes no",
}
AGREES = {  # supervision levels with which a role agrees, as agreed for ophthalmology
    "observer": {"observed"},
    "assistant": {"observed", "assisted", "performed_jointly"},
    "surgeon": {"performed_jointly", "spoken_guidance", "supervisor_in_room", "supervisor_available"},
    "teaching_assistant": {"supervised_junior"},
}
CATARACT = ("phaco_iol", "manual_cataract")
COMPLETED = [f"T{number:02d}" for number in range(1, 21)]


def read(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def read_cases(folder: Path) -> list[Row]:
    return [row for path in sorted(folder.glob("T*-cases.csv")) for row in read(path)]


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("exports")
    generate(out)
    return out


@pytest.fixture(scope="module")
def roster(exports: Path) -> dict[str, Row]:
    return {row["trainee_ref"]: row for row in read(exports / "roster.csv")}


@pytest.fixture(scope="module")
def cases(exports: Path) -> list[Row]:
    return read_cases(exports)


def as_surgeon(cases: list[Row], procedures: tuple[str, ...] = CATARACT) -> list[Row]:
    return [
        row
        for row in cases
        if row["procedure"] in procedures and row["role"] == "surgeon" and row["attributes"] != "simulated"
    ]


def months_between(start: str, day: str) -> int:
    return (int(day[:4]) - int(start[:4])) * 12 + int(day[5:7]) - int(start[5:7])


# The same every time


def test_the_kept_exports_are_what_the_generator_writes(tmp_path: Path) -> None:
    made = generate(tmp_path)
    kept = sorted(path.name for path in (SEED_DATA / "exports").iterdir())
    assert sorted(path.name for path in made) == kept
    for path in made:
        assert path.read_bytes() == (SEED_DATA / "exports" / path.name).read_bytes(), path.name


def contents(folder: Path, **arguments: int) -> list[bytes]:
    return [path.read_bytes() for path in generate(folder, **arguments)]


def test_the_same_arguments_give_the_same_bytes(tmp_path: Path) -> None:
    first = contents(tmp_path / "a", trainees=5, cases=400, random_seed=7)
    assert contents(tmp_path / "b", trainees=5, cases=400, random_seed=7) == first
    assert contents(tmp_path / "c", trainees=5, cases=400, random_seed=8) != first


def test_reviews_and_levels_can_be_left_away_and_change_nothing_else(tmp_path: Path, exports: Path) -> None:
    made = generate(tmp_path, ratings=False)
    assert {path.name for path in exports.iterdir()} - {path.name for path in made} == {
        "reviews.csv",
        "milestones.csv",
        "official_counts.csv",
        "outcomes.csv",
        "confirmations.csv",
    }
    assert all(path.read_bytes() == (exports / path.name).read_bytes() for path in made)


@pytest.mark.parametrize(
    ("trainees", "number_of_cases"), [(1, 0), (1, 1), (3, 2), (9, 50), (40, 12_345), (120, 1000)]
)
def test_there_are_exactly_as_many_trainees_and_cases_as_asked_for(
    tmp_path: Path, trainees: int, number_of_cases: int
) -> None:
    generate(tmp_path, trainees, number_of_cases)
    assert len(read(tmp_path / "roster.csv")) == trainees
    rows = read_cases(tmp_path)
    assert len(rows) == number_of_cases
    # Who has no case has no export: a header alone is refused.
    logs = {path.name.removesuffix("-cases.csv") for path in tmp_path.glob("T*-cases.csv")}
    assert logs == {row["trainee_ref"] for row in rows}


def test_a_number_of_cases_alone_keeps_the_people_of_the_programme(tmp_path: Path, roster: object) -> None:
    generate(tmp_path, cases=300)
    assert {row["trainee_ref"]: row for row in read(tmp_path / "roster.csv")} == roster
    assert len(read_cases(tmp_path)) == 300


@pytest.mark.parametrize(("trainees", "cases"), [("3", "50"), ("9", "2"), ("1", "1")])
def test_a_small_programme_is_taken_as_it_is(trainees: str, cases: str, tmp_path: Path) -> None:
    run_well(
        "seed", "--out", tmp_path / "seed", "--trainees", trainees, "--cases", cases, "--random-seed", "7"
    )
    store = new_store(tmp_path)
    run_well("intake", *sorted((tmp_path / "seed").glob("*.csv")), "--store", store)
    logs = (tmp_path / "seed").glob("*-cases.csv")
    assert sum(len(log.read_text(encoding="utf-8").splitlines()) - 1 for log in logs) == int(cases)


@pytest.mark.parametrize(
    "words", [("--trainees", "0"), ("--trainees", "-1"), ("--cases", "0"), ("--cases", "many")]
)
def test_a_programme_of_nobody_is_wrong_usage(words: tuple[str, str], tmp_path: Path) -> None:
    assert run("seed", "--out", tmp_path / "seed", *words).code == 2
    assert not (tmp_path / "seed").exists()


# The format


@pytest.mark.parametrize(
    ("file", "kind"),
    [
        ("roster.csv", TRAINEES),
        ("training.csv", TRAINING),
        ("T01-cases.csv", CASES),
        ("reviews.csv", REVIEWS),
        ("milestones.csv", MILESTONES),
        ("official_counts.csv", OFFICIAL_COUNTS),
        ("outcomes.csv", OUTCOMES),
        ("confirmations.csv", CONFIRMATIONS),
    ],
)
def test_every_file_has_the_columns_of_its_kind_in_their_order(
    exports: Path, file: str, kind: object
) -> None:
    text = (exports / file).read_bytes().decode()
    assert text.splitlines()[0].split(",") == [column.name for column in kind.columns]  # type: ignore[attr-defined] - a kind, typed as any parameter
    assert "\r" not in text
    assert '"' not in text


def test_every_code_is_one_of_the_specialty(cases: list[Row]) -> None:
    for column, codes in CODES.items():
        cells = {row[column] for row in cases} - {""}
        used = {code.split("@")[0] for cell in cells for code in cell.split(";")}
        assert used == set(codes.split()), column


def test_case_refs_are_a_letter_and_a_digit_four_times_over_and_name_one_operation(cases: list[Row]) -> None:
    days: dict[str, set[str]] = defaultdict(set)
    for row in cases:
        days[row["case_ref"]].add(row["operated_on"])
        pairs = [row["case_ref"][at : at + 2] for at in range(0, 8, 2)]
        assert len(row["case_ref"]) == 8
        assert all(pair[0].isalpha() and pair[1].isdigit() for pair in pairs)
    assert all(len(of_one) == 1 for of_one in days.values())
    keys = Counter((row["case_ref"], row["trainee_ref"], row["procedure"], row["side"]) for row in cases)
    assert set(keys.values()) == {1}


def test_nothing_is_later_than_the_fixed_day_or_outside_of_training(
    cases: list[Row], roster: dict[str, Row]
) -> None:
    assert max(row["operated_on"] for row in cases) <= "2026-11-15"
    assert max(row["logged_on"] for row in cases) == "2026-11-15"
    for row in cases:
        person = roster[row["trainee_ref"]]
        assert (person["credit_from"] or person["started"]) <= row["operated_on"][:7]
        assert row["operated_on"][:7] <= person["expected_completion"]
        assert row["logged_on"] >= row["operated_on"] or row["logged_on"] == ""


def test_numbers_lie_in_the_ranges_of_the_format(cases: list[Row]) -> None:
    assert all(1 <= int(row["duration_min"]) <= 1440 for row in cases if row["duration_min"])
    assert all(7 <= int(row["follow_up_days"]) <= 180 for row in cases if row["follow_up_days"])


def test_only_cataract_operations_have_complications(cases: list[Row]) -> None:
    having = {row["procedure"] for row in cases if row["complications"] not in ("", "none", "other")}
    assert having <= set(CATARACT)


def test_a_handful_of_supervision_levels_contradict_the_role(cases: list[Row]) -> None:
    contradicting = [
        row for row in cases if row["supervision"] and row["supervision"] not in AGREES[row["role"]]
    ]
    assert 1 <= len(contradicting) <= 10
    assert {(row["role"], row["takeover_reason"]) for row in contradicting} <= {
        ("assistant", "rescue"),
        ("assistant", ""),
    }


# The programme


def test_eight_classes_of_four_of_which_five_have_completed(roster: dict[str, Row]) -> None:
    assert list(roster) == [f"T{number:02d}" for number in range(1, 33)]
    assert Counter(row["cohort"] for row in roster.values()) == {
        f"{year}-{year - 1999:02d}": 4 for year in range(2021, 2029)
    }
    assert [ref for ref, row in roster.items() if row["completed"]] == COMPLETED
    assert {row["programme_ref"] for row in roster.values()} == {"saltmarsh-eye"}


def test_cataract_operations_as_surgeon_grow_as_published(cases: list[Row], roster: dict[str, Row]) -> None:
    # Lotfipour 2017, J Cataract Refract Surg 43:49: means of 2, 25 and 155 in the three years. The bands
    # allow for twenty people made up at random: about three standard errors.
    done = Counter(
        months_between(roster[row["trainee_ref"]]["started"], row["operated_on"]) // 12
        for row in as_surgeon(cases)
        if row["trainee_ref"] in COMPLETED
    )
    assert set(done) == {0, 1, 2}
    assert done[0] / 20 == pytest.approx(2, abs=0.6)
    assert done[1] / 20 == pytest.approx(25, abs=3.5)
    assert done[2] / 20 == pytest.approx(155, abs=18)


# Minimums of March 2021 (Review Committee for Ophthalmology); those of the last line from memory.
MINIMUMS = [
    (CATARACT, 86),
    (("yag_capsulotomy",), 5),
    (("laser_trabeculoplasty",), 5),
    (("strabismus_surgery",), 10),
    (("trabeculectomy", "tube_shunt"), 5),
    (("open_globe_repair",), 4),
    (("panretinal_photocoagulation",), 10),
]


@pytest.mark.parametrize(("procedures", "minimum"), MINIMUMS)
def test_most_completed_trainees_have_reached_the_minimum(
    cases: list[Row], procedures: tuple[str, ...], minimum: int
) -> None:
    done = Counter(row["trainee_ref"] for row in as_surgeon(cases, procedures))
    assert sum(done[ref] >= minimum for ref in COMPLETED) >= 16


def numbered(cases: list[Row]) -> list[tuple[int, Row]]:
    """Cataract cases as surgeon with their number in the log of the trainee."""
    found: list[tuple[int, Row]] = []
    numbers: Counter[str] = Counter()
    for row in as_surgeon(cases):
        numbers[row["trainee_ref"]] += 1
        found.append((numbers[row["trainee_ref"]], row))
    return found


def test_complications_and_operating_time_fall_with_experience_and_help_loosens(cases: list[Row]) -> None:
    early = [row for number, row in numbered(cases) if number <= 50]
    late = [row for number, row in numbered(cases) if number > 100]
    assert 0.04 <= share(early, "complications", "capsule_rupture") <= 0.08
    assert 0.01 <= share(late, "complications", "capsule_rupture") <= 0.035
    assert mean_minutes(early) > 1.4 * mean_minutes(late)
    assert share(late, "supervision", "supervisor_available") > 0.5 > share(early, "supervision", "available")
    assert (
        share(late, "technique", "divide_and_conquer") < 0.3 < share(early, "technique", "divide_and_conquer")
    )


def share(rows: list[Row], column: str, code: str) -> float:
    return sum(code in row[column] for row in rows) / len(rows)


def mean_minutes(rows: list[Row]) -> float:
    minutes = [int(row["duration_min"]) for row in rows if row["duration_min"]]
    return sum(minutes) / len(minutes)


def test_there_are_combined_two_sided_and_twice_logged_operations(cases: list[Row]) -> None:
    operations: dict[str, list[Row]] = defaultdict(list)
    for row in cases:
        operations[row["case_ref"]].append(row)
    several = [rows for rows in operations.values() if len(rows) > 1]

    def differing(column: str) -> int:
        return sum(len({row[column] for row in rows}) > 1 for rows in several)

    assert differing("procedure") > 50
    assert differing("side") > 50
    assert differing("trainee_ref") > 50
    assert len({row["case_ref"] for row in cases if row["side"] == "both"}) > 50


def test_what_may_be_unknown_is_unknown_now_and_then(cases: list[Row]) -> None:
    for column in ("complications", "follow_up_days", "supervision", "takeover", "supervisor_agreed"):
        blank = sum(row[column] == "" for row in cases) / len(cases)
        assert 0.02 < blank < 0.25, column
    assert sum(row["supervisor_agreed"] == "no" for row in cases) > 100
    latest = [row for row in as_surgeon(cases) if row["operated_on"] > "2026-09-15"]
    assert latest
    assert all(int(row["follow_up_days"] or 0) < 90 for row in latest)


# The special people, as the README lists them


def training_of(exports: Path, ref: str, kind: str) -> list[tuple[str, str, str]]:
    rows = read(exports / "training.csv")
    chosen = [row for row in rows if (row["trainee_ref"], row["kind"]) == (ref, kind)]
    return [(row["from"], row["to"], row["value"]) for row in chosen]


def test_one_of_the_graduating_class_is_short_in_one_category(cases: list[Row]) -> None:
    done = Counter(row["trainee_ref"] for row in as_surgeon(cases, ("trabeculectomy", "tube_shunt")))
    assert done["T22"] == 0
    assert all(done[ref] >= 3 for ref in ("T21", "T23", "T24"))


def test_one_has_a_late_cluster_of_complications(cases: list[Row]) -> None:
    own = [row for row in as_surgeon(cases) if row["trainee_ref"] == "T23"]
    ruptured = ["capsule_rupture" in row["complications"] for row in own]
    assert 7 <= sum(ruptured[-25:]) <= 9
    assert sum(ruptured[:-25]) <= 3


def test_one_log_is_four_months_behind_and_no_other_of_those_in_training(
    cases: list[Row], roster: dict[str, Row]
) -> None:
    through = {ref: "" for ref, row in roster.items() if not row["completed"]}
    for row in cases:
        if row["trainee_ref"] in through:
            through[row["trainee_ref"]] = max(through[row["trainee_ref"]], row["logged_on"][:7])
    assert through.pop("T27") == "2026-07"
    # Current: the last day of the month + 45 days is not before 2026-11-15. So October or later.
    assert set(through.values()) <= {"2026-10", "2026-11"}


def test_one_was_elsewhere_before(exports: Path, cases: list[Row], roster: dict[str, Row]) -> None:
    assert (roster["T26"]["credit_from"], roster["T26"]["started"]) == ("2025-07", "2026-01")
    assert training_of(exports, "T26", "elsewhere") == [("2025-07", "2025-12", "")]
    earlier = [row for row in cases if row["trainee_ref"] == "T26" and row["operated_on"] < "2026-01"]
    assert len(earlier) >= 10
    assert {row["supervisor_ref"] for row in earlier} == {""}
    assert [ref for ref, row in roster.items() if row["credit_from"]] == ["T26"]


def test_one_was_on_leave_without_a_reason_and_completes_later(
    exports: Path, cases: list[Row], roster: dict[str, Row]
) -> None:
    assert training_of(exports, "T21", "leave") == [("2025-01", "2025-06", "")]
    assert (roster["T21"]["started"], roster["T21"]["expected_completion"]) == ("2023-07", "2026-12")
    own = [row["operated_on"][:7] for row in cases if row["trainee_ref"] == "T21"]
    assert not [month for month in own if "2025-01" <= month <= "2025-06"]
    assert min(own) < "2025-01" < max(own)


def test_everyone_has_stages_and_rotations_as_far_as_they_have_begun(
    exports: Path, roster: dict[str, Row]
) -> None:
    begun = {"2028-29": 1, "2027-28": 2}
    stages = ["first_year", "second_year", "third_year"]
    for ref, row in roster.items():
        found = [value for _, _, value in training_of(exports, ref, "stage")]
        assert found == stages[: begun.get(row["cohort"], 3)], ref
        assert row["stage"] == ("" if row["completed"] else found[-1])
        assert training_of(exports, ref, "rotation"), ref
    rows = read(exports / "training.csv")
    assert max(row["from"] for row in rows if row["kind"] != "rotation") <= "2026-11"
    # The rotations of the running academic year are known ahead, and T22's two of glaucoma are past.
    assert max(row["from"] for row in rows if row["kind"] == "rotation") == "2027-04"
    of_t22 = training_of(exports, "T22", "rotation")
    assert [first for first, _, service in of_t22 if service == "glaucoma"] == ["2026-04", "2026-07"]
    assert of_t22[-1] == ("2027-04", "2027-06", "cataract")
