"""Each part of the grammar of requirements once, in a tiny specialty: one case below its threshold, at it, one above.

The values follow from the sentences of *Write a specialty* in DEVELOPERS.md; the oracle judges the same rules on
made-up cohorts (tests/test_oracle_views.py).
"""

from __future__ import annotations

import pytest
import yaml

from tests.drawn import Db, database, drawn, put, run, table

TINY = """
specialty: tiny
title: Tiny surgery
roles: {surgeon: {title: Surgeon, operating: true}, assistant: Assistant, observer: Observer}
stages: {first_year: First year, chief: Chief year}
techniques: {chop: Chop}
attributes: {large: Large, small: Small, simulated: {title: Simulated, patient: false}}
procedure_groups: {skin: Skin, bone: Bone, both: Skin and bone}
procedures:
  graft: {title: Graft, group: skin, also_in: [both], codes: {other_list: ["A-17"]}}
  flap: {title: Flap, group: skin}
  plate: {title: Plate, group: bone, also_in: [both]}
  screw: {title: Screw, group: bone}
complications:
  leak: {title: Leak, group: [skin, bone], window_days: 0, definition: made up, source: made up, verified: false}
"""
# Code, what its rule says beside the plain ones (two procedures `plate` as surgeon), what a case must say to count, and
# what a case says that does not, with the reason.
RULES = """
many       |procedures: [plate, screw]                 |procedure: screw        |procedure: flap          |
grouped    |procedure_groups: [both]                   |procedure: graft        |procedure: flap          |
technical  |techniques: [chop]                         |technique: chop         |technique:               |
done_so    |procedures: [plate], techniques: [chop]    |technique: chop         |technique:               |attribute
helped     |roles: [surgeon, assistant]                |role: assistant         |role: observer           |role
of_chief   |stages: [chief]                            |month: 2026-07          |month: 2026-06           |stage
early      |before_stage: chief                        |month: 2026-06          |month: 2026-07           |window
by_the_end |by_end_of_stage: first_year                |month: 2026-05          |month: 2026-06           |window
late       |last_years: 1                              |month: 2026-07          |month: 2026-06           |window
all_of     |attributes: {all: [large, small]}          |attributes: large;small |attributes: large        |attribute
any_of     |attributes: {any: [large, small]}          |attributes: small       |attributes: simulated    |attribute
none_of    |attributes: {none: [simulated]}            |attributes: large       |attributes: simulated    |attribute
patients   |unit: patient                              |side: left              |again: right             |duplicate_in_operation
named      |unit: resuscitation                        |side: left              |again: right             |duplicate_in_operation
main_alone |principal_only: true                       |principal: true         |principal: false         |duplicate_in_operation
mapped     |procedure_months: {plate: {to: "2026-07"}} |month: 2026-07          |month: 2026-08           |outside_edition
here       |elsewhere: false                           |month: 2026-07          |month: 2024-06           |performed_elsewhere
own        |local: true                                |month: 2026-07          |supervisor_agreed: false |supervisor_disagreed
taken_over |elsewhere: true                            |month: 2026-07          |takeover: true           |takeover_to_confirm
former     |cohorts: {to: 2027}                        |month: 2026-07          |role: observer           |role
"""
PLAIN = {
    "title": "A rule", "minimum": 2, "procedures": ["plate"], "roles": ["surgeon"], "elsewhere": True,
    "edition": "First", "source": "made up", "verified": False,
}  # fmt: skip
GIVEN = [[cell.strip() for cell in line.split("|")] for line in RULES.strip().splitlines()]


def tiny(rules: dict[str, dict[str, object]]) -> bytes:
    content = yaml.safe_load(TINY)
    content["requirements"] = {
        ref: {key: value for key, value in {**PLAIN, "title": ref, **rule}.items() if value is not None}
        for ref, rule in rules.items()
    }
    for rule in content["requirements"].values():
        rule["reviewed_on"] = yaml.safe_load("2026-11-24")
    return yaml.safe_dump(content, sort_keys=False).encode()


def with_people(specialty: bytes, *people: str) -> Db:
    """Of the class of 2027: first year, then chief from July 2026; the first months were elsewhere."""
    db = database(specialty)
    refs = people or ("T01", "T02", "T03")
    rows = "".join(f"\n{ref} | 2024-07 | 2024-05 | 2027-06" for ref in refs)
    put(db, "trainees", f"trainee_ref | started | credit_from | expected_completion{rows}")
    put(db, "data_through", "trainee_ref | data_through" + "".join(f"\n{ref} | 2026-10" for ref in refs))
    rows = "".join(f"\n{ref} | 2024-07 | 2026-05 | first_year\n{ref} | 2026-07 | | chief" for ref in refs)
    put(db, "training", f"trainee_ref | from | to | value{rows}")
    db.execute("update input.training set kind = 'stage'")
    return db


def publish(db: Db) -> None:
    """Up to the rates; no audit of these may return a row."""
    run(db, ("case_credit", "case_volume", "complication_rate", "rule_without_count"))


def case(ref: str, trainee: str, said: str) -> dict[str, str]:
    key, _, value = (part.strip() for part in said.partition(":"))
    row = {
        "case_ref": ref,
        "trainee_ref": trainee,
        "operated_month": "2026-04",
        "procedure": "plate",
        "role": "surgeon",
    }
    return row | {{"month": "operated_month", "again": "side"}.get(key, key): value}


def log(db: Db, rows: list[dict[str, str]]) -> None:
    names = sorted({name for row in rows for name in row})
    drawn_rows = (" | ".join(row.get(name, "") for name in names) for row in rows)
    put(db, "cases", "\n".join([" | ".join(names), *drawn_rows]))


@pytest.fixture(scope="module")
def counted() -> Db:
    """Every rule in one file, each with three people of its own: one case that counts, two, three, and one that does not."""
    rules, rows = {}, []
    for ref, says, counts, does_not, _ in GIVEN:
        rules[ref] = yaml.safe_load("{" + says + "}")
        if "procedure_groups" in rules[ref] or ref == "technical":
            rules[ref]["procedures"] = None
        for number in (1, 2, 3):
            trainee = f"{ref}-{number}"
            rows += [case(f"{trainee}-C{place}", trainee, counts) for place in range(number)]
            rows.append(
                case(f"{trainee}-{'C0' if does_not.startswith('again') else 'X0'}", trainee, does_not)
            )
    db = with_people(tiny(rules), *(f"{ref}-{number}" for ref in rules for number in (1, 2, 3)))
    log(db, rows)
    publish(db)
    return db


@pytest.mark.parametrize("rule", GIVEN, ids=lambda rule: str(rule[0]))
def test_a_rule_counts_its_cases_below_at_and_above_its_minimum(counted: Db, rule: list[str]) -> None:
    ref, _, _, _, reason = rule
    own = f"requirement_ref = '{ref}' and trainee_ref like '{ref}-_'"
    columns = "trainee_ref, counted_cases, remaining_cases, met"
    assert table(counted, "case_volume", columns, own) == drawn(f"""
        {ref}-1 | 1 | 1 | false
        {ref}-2 | 2 | 0 | true
        {ref}-3 | 3 | 0 | true
    """)
    query = f"select reason from case_credit where not credited and {own}"
    # Without a reason here the rule does not list the case at all.
    assert [found for (found,) in counted.execute(query).fetchall()] == [reason] * (3 if reason else 0)


# Four rules of several cases beside one another.

CAPS = {
    "by_role": {"roles": ["surgeon", "assistant"], "at_most": {"assistant": 2}},
    "by_kind": {"at_most": {"simulated": 2, "chop": 1}},
    "by_group": {"procedures": ["graft", "plate"], "at_most": {"skin": 1, "elsewhere": 1}},
}


def test_of_a_capped_kind_so_many_count_and_those_operated_first() -> None:
    db = with_people(tiny(CAPS))
    put(db, "cases", """
        case_ref | procedure | role      | attributes | technique | operated_month | supervisor_agreed
        C01      | plate     | assistant |            |           | 2024-06        |
        C02      | plate     | assistant |            |           | 2026-02        | false
        C03      | plate     | assistant |            |           | 2026-03        |
        C04      | plate     | assistant |            |           | 2026-04        |
        C05      | plate     | surgeon   | simulated  | chop      | 2024-06        |
        C06      | plate     | surgeon   | simulated  | chop      | 2026-05        |
        C07      | plate     | surgeon   | simulated  |           | 2026-06        |
        C08      | plate     | surgeon   |            | chop      | 2026-07        |
        C09      | graft     | surgeon   |            |           | 2024-05        |
        C10      | graft     | surgeon   |            |           | 2026-05        |
    """)  # fmt: skip
    publish(db)
    key = "case_ref, requirement_ref, reason, over_cap"
    # What is not counted anyway takes no place under a cap: C04 counts, though it is the fourth as assistant.
    assert table(db, "case_credit", key, "requirement_ref = 'by_role' and case_ref <= 'C04'") == drawn("""
        C01 | by_role | credited             |
        C02 | by_role | supervisor_disagreed |
        C03 | by_role | credited             |
        C04 | by_role | role                 | assistant
    """)
    # The caps of a rule one after the other: C06 is kept by the first and left out by the second.
    assert table(db, "case_credit", key, "requirement_ref = 'by_kind' and case_ref between 'C05' and 'C08'") == drawn("""
        C05 | by_kind | credited  |
        C06 | by_kind | attribute | chop
        C07 | by_kind | attribute | simulated
        C08 | by_kind | attribute | chop
    """)  # fmt: skip
    assert table(db, "case_credit", key, "requirement_ref = 'by_group' and case_ref in ('C05', 'C09', 'C10')") == drawn("""
        C05 | by_group | performed_elsewhere | elsewhere
        C09 | by_group | credited            |
        C10 | by_group | attribute           | skin
    """)  # fmt: skip


def test_a_cap_of_fifty_takes_the_fiftieth_and_not_the_next() -> None:
    assisted = {"T49": 49, "T50": 50, "T51": 51, "T60": 60}
    db = with_people(
        tiny({"total": {"roles": ["surgeon", "assistant"], "at_most": {"assistant": 50}}}), *assisted
    )
    for ref, times in assisted.items():
        log(db, [case(f"{ref}-A{place:02d}", ref, "role: assistant") for place in range(times)])
        log(db, [case(f"{ref}-S{place:02d}", ref, "role: surgeon") for place in range(10)])
    publish(db)
    assert table(db, "case_volume", "trainee_ref, counted_cases") == "T49 | 59\nT50 | 60\nT51 | 60\nT60 | 60"


TOGETHER = {
    "skin": {"procedures": None, "procedure_groups": ["skin"], "minimum": 3},
    "bone": {
        "procedures": None, "procedure_groups": ["bone"], "minimum": 2, "roles": ["surgeon", "assistant"],
        "of_which": {"bone_as_surgeon": {"title": "As surgeon", "minimum": 1, "roles": ["surgeon"]}},
        "either_or": "bones",
    },
    "shared": {"procedures": ["graft", "plate"], "minimum": 1, "part_of": ["skin", "bone"]},
    "screws": {"procedures": ["screw"], "minimum": 3, "either_or": "bones"},
    "stricter": {"minimum": 1, "local_minimum": {"minimum": 2, "source": "our committee"}},
}  # fmt: skip


# Whose cases: a procedure each, `+` as assistant.
LOGS = {
    "A1": "flap flap flap screw screw",
    "A2": "flap flap graft screw screw",
    "B1": "plate+ screw+",
    "B2": "plate screw+",
    "C1": "screw screw screw",
    "C2": "screw screw+",
    "D1": "plate",
    "D2": "plate plate",
}


@pytest.fixture(scope="module")
def together() -> Db:
    db = with_people(tiny(TOGETHER), *LOGS)
    log(db, [
        case(f"{ref}-{place}", ref, "role: assistant" if "+" in code else "role: surgeon") | {"procedure": code.strip("+")}
        for ref, codes in LOGS.items()
        for place, code in enumerate(codes.split())
    ])  # fmt: skip
    publish(db)
    return db


def standing(db: Db, trainee: str, *requirements: str) -> str:
    columns = "requirement_ref, counted_cases, met, parts_short, reached, reached_by"
    return table(
        db, "case_volume", columns, f"trainee_ref = '{trainee}' and requirement_ref in {requirements}"
    )


def test_a_part_of_two_wholes_is_missing_in_both_and_fills_both(together: Db) -> None:
    refs = ("bone", "shared", "skin")
    # Without the shared part both wholes meet their own minimum, and neither is reached.
    assert standing(together, "A1", *refs) == drawn("""
        bone   | 2 | true  | 1 | false |
        shared | 0 | false | 0 | false |
        skin   | 3 | true  | 1 | false |
    """)
    assert standing(together, "A2", *refs) == drawn("""
        bone   | 2 | true | 0 | true |
        shared | 1 | true | 0 | true |
        skin   | 3 | true | 0 | true |
    """)


def test_of_which_is_a_part_that_asks_for_more_of_the_same_cases(together: Db) -> None:
    # Two bones as assistant are two bones and none as surgeon; nor do they fill the shared part, which asks for a surgeon.
    assert standing(together, "B1", "bone", "bone_as_surgeon") == drawn("""
        bone            | 2 | true  | 2 | false |
        bone_as_surgeon | 0 | false | 0 | false |
    """)
    assert standing(together, "B2", "bone", "bone_as_surgeon") == drawn("""
        bone            | 2 | true | 0 | true |
        bone_as_surgeon | 1 | true | 0 | true |
    """)


def test_either_rule_reaches_both_and_says_which_one_did(together: Db) -> None:
    # Three screws are screws enough, and bones enough; the shared part is missing, so bones are not reached by themselves.
    assert standing(together, "C1", "bone", "screws") == drawn("""
        bone   | 3 | true | 1 | true | screws
        screws | 3 | true | 0 | true |
    """)
    assert standing(together, "C2", "bone", "screws") == drawn("""
        bone   | 2 | true  | 1 | false |
        screws | 1 | false | 0 | false |
    """)
    # The other way round: bones with their parts stand in for screws.
    assert standing(together, "A2", "screws") == "screws | 2 | false | 0 | true | bone"


def test_a_minimum_of_the_programme_itself_is_judged_and_the_published_one_stands_beside_it(
    together: Db,
) -> None:
    columns = "trainee_ref, minimum, counted_cases, met, published_minimum"
    assert table(
        together, "case_volume", columns, "requirement_ref = 'stricter' and trainee_ref like 'D_'"
    ) == drawn("""
        D1 | 2 | 1 | false | 1
        D2 | 2 | 2 | true  | 1
    """)


def test_a_deadline_has_its_month_for_each_trainee_and_none_where_the_stage_is_not_recorded() -> None:
    db = with_people(
        tiny({"early": {"before_stage": "chief"}, "first": {"by_end_of_stage": "first_year"}, "plain": {}})
    )
    db.execute("""delete from input.training where trainee_ref = 'T03'""")
    db.execute(
        """update input.training set "from" = '2026-09' where trainee_ref = 'T02' and "value" = 'chief'"""
    )
    publish(db)
    assert table(db, "case_volume", "trainee_ref, requirement_ref, deadline") == drawn("""
        T01 | early | 2026-06
        T01 | first | 2026-05
        T01 | plain |
        T02 | early | 2026-08
        T02 | first | 2026-05
        T02 | plain |
        T03 | early |
        T03 | first |
        T03 | plain |
    """)


def test_the_pace_toward_a_deadline_looks_no_further_than_it() -> None:
    rules = {"early": {"before_stage": "chief", "unit": "patient"}, "plain": {}}
    db = with_people(tiny(rules), "T01", "T02")
    db.execute("update input.data_through set data_through = '2026-04' where trainee_ref = 'T01'")
    db.execute("update input.programme set as_of = '2026-11-10', current_within_days = 400")
    run(db)
    # T01: May and June before the chief year of two; T02: the deadline was June.
    assert table(db, "pace", "trainee_ref, requirement_ref, months_left, needed_a_month") == drawn("""
        T01 | early | 2  | 1
        T01 | plain | 14 | 0.142857143
        T02 | early | 0  |
        T02 | plain | 8  | 0.25
    """)
    stands, needs = db.execute(
        "select stands, needs from pace_sentence where trainee_ref = 'T01' and requirement_ref = 'early'"
    ).fetchall()[0]
    assert stands == "early: 0 of 2 patients after 24 active months."
    assert needs.startswith(" Cases count through June 2026. In the 2 active months left it takes 1 a month")
    rows = db.execute(
        "select needs from pace_sentence where trainee_ref = 'T02' and requirement_ref = 'early'"
    ).fetchall()
    assert rows == [(" Cases count through June 2026. No active month is left until then.",)]


def test_of_several_reasons_the_kind_stands_before_the_window_and_that_before_where() -> None:
    rule = {
        "before_stage": "chief",
        "attributes": {"none": ["simulated"]},
        "elsewhere": False,
        "principal_only": True,
    }
    db = with_people(tiny({"early": rule | {"last_years": 2}}))
    put(db, "cases", """
        case_ref | operated_month | attributes | principal | procedure
        C01      | 2026-07        | simulated  | true | plate
        C02      | 2024-06        |            | true | plate
        C03      | 2025-07        |            | false | plate
        C04      | 2025-06        |            | false | plate
    """)  # fmt: skip
    db.execute("insert into input.training values ('T01', '2025-07', '2025-07', 'elsewhere', null)")
    publish(db)
    # The last two years begin in July 2025.
    assert table(db, "case_credit", "case_ref, reason") == drawn("""
        C01 | attribute
        C02 | window
        C03 | performed_elsewhere
        C04 | window
    """)


def test_old_and_new_edition_stand_side_by_side_for_the_classes_in_between() -> None:
    editions = {
        "old": {"cohorts": {"to": 2027}},
        "new": {"cohorts": {"from": 2027}, "edition": "Second", "replaces": "old"},
    }
    db = with_people(tiny(editions))
    db.execute("update input.trainees set cohort = '2025-26' where trainee_ref = 'T01'")
    db.execute("update input.trainees set cohort = '2027-28' where trainee_ref = 'T03'")
    publish(db)
    assert table(db, "case_volume", "trainee_ref, requirement_ref, edition") == drawn("""
        T01 | old | First
        T02 | new | Second
        T02 | old | First
        T03 | new | Second
    """)


WITHOUT_COUNT = {
    "in_a_row": {"minimum": None, "consecutive": {"cases": 3, "within_years": 1}},
    "watched": {
        "minimum": None,
        "procedures": None,
        "roles": None,
        "assessments": {"at_least": 2, "each_months": 12},
    },
    "signed": {"minimum": None, "procedures": None, "roles": None, "sign_off": True},
}
# Months and what was recorded of what happened, and how many in a row within twelve months that makes.
IN_A_ROW = {
    "A1": ("2025-07 none, 2026-06 none", "3 | 2 | false"),
    "A2": ("2025-07 none, 2025-08 none, 2026-06 leak", "3 | 3 | true"),
    "A3": ("2025-07 none, 2025-08 none, 2026-07 none", "3 | 2 | false"),  # then the first is a year old
    "A4": ("2025-07 none, 2025-08 -, 2025-09 none", "3 | 1 | false"),  # nothing is known of the one between
    "A5": ("2025-07 none, 2025-08 none, 2025-09 none, 2025-10 none", "3 | 4 | true"),
}
# Training began in May 2024 elsewhere; through October 2026 there are two whole years, and half of a third.
WATCHED = {
    "B1": ("A 2025-04, B 2025-04, C 2026-04", "2 | 3 | 2 | 1 | false"),
    "B2": ("A 2025-04, B 2025-04, C 2026-04, D 2025-05", "2 | 4 | 2 | 0 | true"),
    "B3": ("A 2025-04, B 2025-04, C 2026-04, D 2025-05, E 2026-09", "2 | 5 | 2 | 0 | true"),
    "B4": ("A 2025-04, A 2025-04, C 2026-04, D 2025-05", "2 | 3 | 2 | 1 | false"),  # one review of two steps
}


@pytest.fixture(scope="module")
def uncounted() -> Db:
    db = with_people(tiny(WITHOUT_COUNT), *IN_A_ROW, *WATCHED)
    for ref, (said, _) in IN_A_ROW.items():
        held = [part.split() for part in said.split(", ")]
        log(db, [
            case(f"{ref}-{place}", ref, f"month: {month}") | {"complications": told.strip("-")}
            for place, (month, told) in enumerate(held)
        ])  # fmt: skip
    head = "review_ref | trainee_ref | case_ref | reviewer_ref | step | self_review\n"
    for ref, (said, _) in WATCHED.items():
        held = [part.split() for part in said.split(", ")]
        log(db, [case(f"{ref}-{name}", ref, f"month: {month}") for name, month in dict(held).items()])
        for place, (name, _) in enumerate(held):
            put(db, "reviews", f"{head}{ref}{name} | {ref} | {ref}-{name} | S01 | {place} |")
        # One's own review is no assessment.
        put(db, "reviews", f"{head}{ref}Z | {ref} | {ref}-A | {ref} | 9 | true")
    publish(db)
    return db


@pytest.mark.parametrize("trainee", IN_A_ROW)
def test_an_audit_asks_for_cases_in_a_row_within_the_years(uncounted: Db, trainee: str) -> None:
    where = f"requirement_ref = 'in_a_row' and trainee_ref = '{trainee}'"
    assert table(uncounted, "rule_without_count", "asked_for, found, met", where) == IN_A_ROW[trainee][1]


@pytest.mark.parametrize("trainee", WATCHED)
def test_assessments_are_counted_in_each_whole_period_of_training(uncounted: Db, trainee: str) -> None:
    where = f"requirement_ref = 'watched' and trainee_ref = '{trainee}'"
    columns = "asked_for, found, periods, periods_short, met"
    assert table(uncounted, "rule_without_count", columns, where) == WATCHED[trainee][1]


def test_a_sign_off_stands_in_the_list_and_says_nothing_of_itself(uncounted: Db) -> None:
    columns = "kind, asked_for, found, periods, periods_short, met"
    rows = table(uncounted, "rule_without_count", columns, "requirement_ref = 'signed'").splitlines()
    assert rows == [drawn("sign_off | | | | | ")] * len(IN_A_ROW | WATCHED)


def test_an_outcome_of_two_groups_is_counted_in_the_cases_of_both() -> None:
    db = with_people(tiny({"many": {}}))
    put(db, "cases", """
        case_ref | procedure | complications
        C01      | graft     | leak
        C02      | plate     | leak
        C03      | screw     | none
    """)  # fmt: skip
    publish(db)
    columns = "procedure_group, events, known_outcomes"
    assert (
        table(db, "complication_rate", columns, "trainee_ref = 'T01' and attribution = 'as_logged'")
        == "skin | 2 | 3"
    )
