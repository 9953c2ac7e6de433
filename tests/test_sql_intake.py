"""trainee_log, left_out_rule, unverified_item and volume_summary: what the coordinator works from."""

from __future__ import annotations

from tests.drawn import Db, database, drawn, example, put, run, table

LOG = "trainee_ref, live_intakes, accepted_rows, left_out_rows, warnings, unconfirmed_cases, is_current, data_through"


def ready() -> Db:
    db = database()
    put(db, "trainees", "trainee_ref\nT01\nT02\nT03")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10\nT02 | 2026-08")
    return db


def test_a_log_is_counted_for_everybody_of_the_roster() -> None:
    db = ready()
    put(
        db,
        "cases",
        """
        case_ref | trainee_ref | supervisor_agreed | intake_id | source | source_taken
        C01      | T01         | true              | a-1       | main   | 1
        C02      | T01         | false             | a-1       | main   | 1
        C03      | T01         |                   | b-1       | main   | 1
        C03      | T01         |                   | c-1       | ward   | 2
        C04      | T02         |                   | a-1       | main   | 1
    """,
    )
    put(
        db,
        "finding",
        """
        intake_id | file_name | source_row | column_name | rule           | trainee_ref | severity | message
        a-1       | x.csv     | 2          | role        | code_unknown   | T01         | left_out | wrong
        a-1       | x.csv     | 2          | side        | code_unknown   | T01         | left_out | wrong
        a-1       | y.csv     | 2          | role        | required_blank | T01         | left_out | wrong
        b-1       | x.csv     | 4          | role        | code_unknown   | T01         | left_out | wrong
        b-1       | x.csv     | 5          | extra       | column_unknown | T01         | warning  | wrong
        d-1       | z.csv     | 2          | role        | code_unknown   | T02         | left_out | wrong
        d-1       | z.csv     | 9          | role        | code_unknown   |             | left_out | wrong
    """,
    )
    run(db)
    assert table(db, "trainee_log", LOG) == drawn("""
        T01 | 3 | 4 | 3 | 1 | 1 | true  | 2026-10
        T02 | 2 | 1 | 1 | 0 | 1 | false | 2026-08
        T03 | 0 | 0 | 0 | 0 | 0 | false |
    """)


def test_findings_are_counted_by_rule_also_those_that_name_nobody() -> None:
    db = ready()
    put(
        db,
        "finding",
        """
        intake_id | file_name | source_row | column_name | rule             | trainee_ref | severity | message
        a-1       | x.csv     | 2          | role        | code_unknown     | T01         | left_out | wrong
        a-1       | x.csv     | 2          | side        | code_unknown     | T01         | left_out | wrong
        a-1       | x.csv     | 3          | procedure   | procedure_unmapped | T01       | warning  | wrong
        a-1       | x.csv     | 4          | trainee_ref | trainee_unknown  | T99         | left_out | wrong
        a-1       | x.csv     | 5          | trainee_ref | required_blank   |             | left_out | wrong
        b-1       | y.csv     | 2          | trainee_ref | required_blank   |             | left_out | wrong
        c-1       | both.csv  | 2          | trainee_ref | required_blank   |             | left_out | wrong
    """,
    )
    put(db, "trainees", "trainee_ref | programme_ref\nT12 | dune-eye")
    put(db, "intake", "intake_id | kind\na-1 | cases\nb-1 | cases\nc-1 | cases")
    put(
        db,
        "intake_trainee",
        """
        intake_id | kind  | trainee_ref
        a-1       | cases | T01
        a-1       | cases | T99
        b-1       | cases | T12
        c-1       | cases | T01
        c-1       | cases | T12
    """,
    )
    run(db)
    columns = "programme_ref, cohort, trainee_ref, severity, rule, findings, data_through"
    # Of c-1, which names people of both programmes, nobody can say whose the row is.
    assert table(db, "left_out_rule", columns) == drawn("""
                    |         |     | left_out | required_blank     | 1 |
        dune-eye    |         |     | left_out | required_blank     | 1 |
        harbour-eye |         |     | left_out | required_blank     | 1 |
        harbour-eye |         | T99 | left_out | trainee_unknown    | 1 |
        harbour-eye | 2026-27 | T01 | left_out | code_unknown       | 2 | 2026-10
        harbour-eye | 2026-27 | T01 | warning  | procedure_unmapped | 1 | 2026-10
    """)


def test_only_what_nobody_checked_is_to_be_confirmed() -> None:
    rules = {
        "lens": {"title": "Lens", "source": "A table", "verified": False, "reviewed_on": "2026-11-24"},
        "lid": {"title": "Lid", "verified": True},
        "sign_off": {
            "title": "Sign-off",
            "minimum": None,
            "sign_off": True,
            "procedures": None,
            "edition": None,
        },
    }
    outcomes = {
        "rupture": {"verified": True},
        "tear": {"title": "A tear", "source": "Ours", "verified": False},
    }
    db = database(example(rules, outcomes))
    run(db)
    assert table(db, "unverified_item", "kind, ref, title, source, reviewed_on") == drawn("""
        complication | tear     | A tear   | Ours    |
        requirement  | lens     | Lens     | A table | 2026-11-24
        requirement  | sign_off | Sign-off | made up | 2026-11-24
    """)


def test_a_framework_that_is_not_the_accreditors_is_to_be_confirmed() -> None:
    for official, expected in ((False, "milestones | framework | Ours"), (True, "")):
        db = database(example({}, {"rupture": {"verified": True}}))
        db.execute("insert into milestone_framework values ('Ours', ?)", [official])
        run(db)
        assert table(db, "unverified_item", "kind, ref, source") == expected


def test_a_file_is_live_for_each_programme_that_has_somebody_in_it_and_for_no_other() -> None:
    db = database()
    put(db, "trainees", "trainee_ref | programme_ref\nT01 | harbour-eye\nT02 | dune-eye\nT03 | dune-eye")
    put(
        db,
        "intake",
        """
        intake_id | kind     | file_name | rows_in_file | accepted_rows | left_out_rows
        a-1       | cases    | a.csv     | 3            | 2             | 1
        a-1       | trainees | r.csv     | 3            | 3             | 0
        b-1       | cases    | b.csv     | 1            | 1             | 0
    """,
    )
    put(
        db,
        "intake_trainee",
        """
        intake_id | kind     | trainee_ref
        a-1       | cases    | T02
        a-1       | cases    | T03
        a-1       | trainees | T01
        a-1       | trainees | T02
        b-1       | cases    | T99
    """,
    )
    run(db)
    columns = "programme_ref, file_name, rows_in_file, accepted_rows, left_out_rows"
    assert table(db, "live_intake", columns) == drawn("""
        dune-eye    | a.csv | 3 | 2 | 1
        dune-eye    | r.csv | 3 | 3 | 0
        harbour-eye | b.csv | 1 | 1 | 0
        harbour-eye | r.csv | 3 | 3 | 0
    """)


def test_a_class_is_told_its_own_findings_and_those_about_nobody_in_its_files() -> None:
    db = database()
    put(
        db,
        "trainees",
        """
        trainee_ref | cohort  | programme_ref
        T01         | 2026-27 |
        T02         | 2026-27 |
        T03         | 2027-28 |
        T04         | 2026-27 | dune-eye
    """,
    )
    put(
        db,
        "intake_trainee",
        """
        intake_id | kind  | trainee_ref
        a-1       | cases | T01
        b-1       | cases | T03
        c-1       | cases | T04
        d-1       | cases | T01
        d-1       | cases | T04
    """,
    )
    put(db, "intake", "intake_id | kind\na-1 | cases\nb-1 | cases\nc-1 | cases\nd-1 | cases")
    put(
        db,
        "finding",
        """
        intake_id | file_name | source_row | column_name | rule         | trainee_ref | severity | message
        a-1       | a.csv     | 2          | role        | code_unknown | T01         | left_out | wrong
        a-1       | a.csv     | 2          | side        | code_unknown | T01         | left_out | wrong
        a-1       | a.csv     | 3          | role        | code_unknown | T01         | left_out | wrong
        d-1       | d.csv     | 2          | role        | code_unknown | T04         | left_out | wrong
        d-1       | d.csv     | 3          | role        | code_unknown |             | left_out | wrong
        a-1       | a.csv     | 5          | role        | code_unknown |             | left_out | wrong
        a-1       | a.csv     |            | extra       | column_unknown |           | warning  | wrong
        b-1       | b.csv     | 2          | role        | code_unknown | T99         | left_out | wrong
        c-1       | c.csv     | 2          | role        | code_unknown |             | left_out | wrong
    """,
    )
    run(db)
    # Of harbour-eye 2026-27: T01's three in two rows, and row 5 of the same file. dune-eye: T04's one, and the row of
    # c.csv. What d.csv, a file of both, says of nobody is told to neither.
    assert table(db, "class_finding", "programme_ref, cohort, rule, findings, rows_concerned") == drawn("""
        dune-eye    | 2026-27 | code_unknown   | 2 | 2
        harbour-eye | 2026-27 | code_unknown   | 4 | 3
        harbour-eye | 2026-27 | column_unknown | 1 | 1
        harbour-eye | 2027-28 | code_unknown   | 1 | 1
    """)


def test_the_volume_summary_is_case_volume_with_source_and_whether_it_was_checked() -> None:
    rules = {
        "lens": {"source": "Table 3", "verified": True},
        "lid": {"source": "From memory", "procedures": ["lid_cyst"], "minimum": 3},
        "sign_off": {
            "title": "Sign-off",
            "minimum": None,
            "sign_off": True,
            "procedures": None,
            "edition": None,
        },
    }
    db = database(example(rules))
    put(db, "trainees", "trainee_ref\nT01")
    put(db, "data_through", "trainee_ref | data_through\nT01 | 2026-10")
    put(db, "cases", "case_ref | supervisor_agreed\nC01 | true\nC02 |")
    run(db)
    columns = (
        "requirement_ref, requirement_title, minimum, counted_cases, remaining_cases, met, edition, "
        "confirmed_cases, held_cases, source, verified, data_through"
    )
    assert table(db, "volume_summary", columns) == drawn("""
        lens | A rule | 2 | 2 | 0 | true  | First | 1 | 0 | Table 3     | true  | 2026-10
        lid  | A rule | 3 | 0 | 3 | false | First | 0 | 0 | From memory | false | 2026-10
    """)
