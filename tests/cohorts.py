"""Small made-up cohorts for Hypothesis: rosters, training periods and case rows in all their states.

Every row is valid: nothing is left out, so that what a store publishes can be computed from these rows alone.
A row is drawn as one whole number and unfolded by its own random stream: Hypothesis then shrinks a failing
cohort by taking trainees, periods and rows away.
"""

from __future__ import annotations

import calendar
import copy
import datetime as dt
import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from tests.oracle import Export, Row, case_key
from tests.stores import write_csv

AS_OF = dt.date(2024, 6, 30)
FIRST_MONTH = 2021 * 12 + 6  # July 2021, counted from 0

PROCEDURES = (
    *("phaco_iol",) * 6,
    *("manual_cataract",) * 2,
    "yag_capsulotomy",
    "penetrating_keratoplasty",
    "endothelial_keratoplasty",
    "trabeculectomy",
    "vitrectomy",
    "ptosis_repair",
    "eyelid_laceration_repair",
    "intravitreal_injection",
    "open_globe_repair",
    "corneal_tattoo",  # of no specialty file: kept, and counted nowhere
)
ROLES = (*("surgeon",) * 5, "assistant", "assistant", "teaching_assistant", "observer")
LEVELS = (
    "observed",
    "assisted",
    "performed_jointly",
    "spoken_guidance",
    "supervisor_in_room",
    "supervisor_available",
    "supervised_junior",
)
STAGES = ("first_year", "second_year", "third_year")
OTHER_PERIODS = (
    ("leave", ""),
    ("part_time", "0.5"),
    ("rotation", "retina"),
    ("elsewhere", ""),
    ("part_time", "33.3 %"),
)
ATTRIBUTES = ("", "", "none", "simulated", "pediatric", "pediatric;simulated")
RISK_FACTORS = ("", "none", "small_pupil", "dense_cataract;pseudoexfoliation")
TECHNIQUES = ("", "divide_and_conquer", "stop_and_chop", "chop")
# Code and window in days; the edges of every window are drawn more often than anything between them.
EVENTS = (
    ("capsule_rupture", 0),
    ("vitreous_loss", 0),
    ("dropped_nucleus", 0),
    ("endophthalmitis", 42),
    ("macular_oedema", 90),
    ("retinal_detachment", 90),
    ("wound_leak", 7),
)
FOLLOW_UPS = ("", "", "0", "6", "7", "8", "41", "42", "43", "89", "90", "91", "400")
YES, NO = ("yes", "Y", "true", "1", "YES"), ("no", "N", "false", "0")
CASE_COLUMNS = (
    "case_ref", "trainee_ref", "operated_on", "procedure", "role", "side", "principal", "converted_from",
    "supervision", "supervisor_ref", "site_ref", "supervisor_agreed", "takeover", "takeover_reason",
    "duration_min", "technique", "attributes", "risk_factors", "complications", "event_hands",
    "follow_up_days", "logged_on",
)  # fmt: skip


@dataclass(frozen=True, repr=False)
class Cohort:
    """What a programme exports: each part is rows of text cells."""

    roster: list[Row]
    training: list[Row]
    cases: list[Row]
    outcomes: list[Row] = field(default_factory=list)
    confirmations: list[Row] = field(default_factory=list)

    def __repr__(self) -> str:
        """Filled cells only, and the first of many rows: what Hypothesis prints must stay readable."""
        parts = [("roster", self.roster), ("training", self.training), ("cases", self.cases)]
        return "; ".join(f"{len(rows)} {name} {[filled(row) for row in rows[:12]]}" for name, rows in parts)

    def _repr_pretty_(self, printer: Any, _cycle: bool) -> None:
        """What Hypothesis asks before it unfolds every field."""
        printer.text(repr(self))


def filled(row: Row) -> Row:
    return {name: text for name, text in row.items() if text.strip()}


def month_text(number: int) -> str:
    return f"{number // 12}-{number % 12 + 1:02d}"


def month_count(month: str) -> int:
    return int(month[:4]) * 12 + int(month[5:7]) - 1


# One case row.


def _yes_no(dice: random.Random, blank: float, yes: float) -> str:
    if dice.random() < blank:
        return ""
    return dice.choice(YES if dice.random() < yes else NO)


def _event(dice: random.Random) -> str:
    name, window = dice.choice(EVENTS)
    day = dice.choice(("", f"@{window}", f"@{window + 1}", f"@{max(window - 1, 0)}", "@300"))
    return name + day


def _complications(dice: random.Random) -> str:
    state = dice.random()
    if state < 0.25:
        return ""
    if state < 0.6:
        return "none"
    events = {event.partition("@")[0]: event for event in (_event(dice) for _ in range(dice.randint(1, 3)))}
    if state > 0.88:  # something else happened, beside these or alone
        events = ({} if state > 0.94 else events) | {"other": dice.choice(("other", "other@3"))}
    return ";".join(events.values())


def _follow_up(dice: random.Random, complications: str) -> str:
    """Any; some end with the day of an event."""
    days = [event.partition("@")[2] for event in complications.split(";")]
    return (
        dice.choice([day for day in days if day] or FOLLOW_UPS)
        if dice.random() < 0.3
        else dice.choice(FOLLOW_UPS)
    )


def _operated_on(dice: random.Random, earliest: str) -> dt.date:
    """Any day since `earliest`; many in the last months, whose windows are still open."""
    first, last = month_count(earliest), month_count(AS_OF.isoformat())
    number = dice.randint(max(first, last - 5) if dice.random() < 0.4 else first, last)
    year, month = number // 12, number % 12 + 1
    days = calendar.monthrange(year, month)[1]
    return dt.date(year, month, dice.choice((1, days, dice.randint(1, days))))


def _logged_on(dice: random.Random, operated: dt.date, logs: str) -> str:
    """Blank for who never states it; some log late, and some rows of theirs are blank."""
    if logs == "never" or (logs == "sometimes" and dice.random() < 0.5):
        return ""
    return min(operated + dt.timedelta(days=dice.choice((0, 0, 1, 30, 100))), AS_OF).isoformat()


def _case(number: int, trainee: Row, logs: str) -> Row:
    dice = random.Random(number)
    operated = _operated_on(dice, trainee.get("credit_from") or trainee["started"])
    takeover = _yes_no(dice, 0.5, 0.5)
    row = {
        "case_ref": f"HE-{dice.randint(1, 60):04d}",
        "trainee_ref": trainee["trainee_ref"],
        "operated_on": operated.isoformat(),
        "procedure": dice.choice(PROCEDURES),
        "role": dice.choice(ROLES),
        "side": dice.choice(("", "left", "right", "both")),
        "principal": _yes_no(dice, 0.4, 0.8),
        "converted_from": dice.choice(("", "", "", "phaco_iol")),
        "supervision": dice.choice(("", "", *LEVELS)),
        "supervisor_ref": dice.choice(("", "S01", "S02")),
        "site_ref": dice.choice(("", "quay", "hill")),
        "supervisor_agreed": _yes_no(dice, 0.5, 0.7),
        "takeover": takeover,
        "takeover_reason": dice.choice(("", "planned", "rescue")) if takeover in YES else "",
        "duration_min": dice.choice(("", "1", "22.5", "1440")),
        "technique": dice.choice(TECHNIQUES),
        "attributes": dice.choice(ATTRIBUTES),
        "risk_factors": dice.choice(RISK_FACTORS),
        "complications": (complications := _complications(dice)),
        "event_hands": dice.choice(("", "trainee", "trainee", "supervisor", "unclear")),
        "follow_up_days": _follow_up(dice, complications),
        "logged_on": _logged_on(dice, operated, logs),
    }
    return _in_other_writing(dice, row)


def _in_other_writing(dice: random.Random, row: Row) -> Row:
    """Codes match regardless of case, and cells are trimmed."""
    for name in ("procedure", "role", "side", "supervision", "attributes", "complications", "event_hands"):
        if dice.random() < 0.1:
            row[name] = f" {row[name].upper()} "
    return row


# One trainee.


@st.composite
def trainees(draw: st.DrawFn, number: int) -> Row:
    """A roster row; who came by transfer has `credit_from` before `started`."""
    started = FIRST_MONTH + draw(st.integers(0, 30))
    transferred = draw(st.sampled_from((0, 0, 0, 1, 13)))
    ends = draw(st.integers(2022, 2027))
    return {
        "trainee_ref": f"T{number:02d}",
        "cohort": draw(st.sampled_from((f"{ends}", f"{ends - 1}-{ends % 100}"))),
        "started": month_text(started),
        "expected_completion": month_text(started + draw(st.sampled_from((6, 35, 47)))),
        "stage": draw(st.sampled_from(("", *STAGES))),
        "programme_ref": draw(st.sampled_from(("", "", "harbour-eye", "cliff-eye"))),
        "level": draw(st.sampled_from(("", "resident", "fellow"))),
        "credit_from": month_text(started - transferred) if transferred else "",
        "completed": draw(st.sampled_from(("", "2024-05"))),
        "left": draw(st.sampled_from(("", "2024-06"))),
    }


@st.composite
def periods(draw: st.DrawFn, trainee: Row) -> list[Row]:
    """Training periods of one trainee, overlapping and open ones among them; one for each month and kind."""
    started = month_count(trainee["started"])
    period = st.tuples(st.integers(-2, 30), st.integers(-1, 14), st.integers(0, 11))
    drawn = draw(st.lists(period, max_size=6))
    rows = {}
    for after, months, kind in drawn:
        name, value = _kind(kind)
        first = month_text(started + after)
        last = month_text(started + after + months) if months >= 0 else ""
        row = {"trainee_ref": trainee["trainee_ref"], "from": first, "to": last}
        rows[first, name] = row | {"kind": name, "value": value}
    return list(rows.values())


def _kind(number: int) -> tuple[str, str]:
    if number < 6:
        return "stage", STAGES[number % 3]
    return OTHER_PERIODS[number % 5]


@st.composite
def case_rows(draw: st.DrawFn, trainee: Row, most: int = 40) -> list[Row]:
    """One trainee's export: none to `most` rows, no key twice."""
    logs = draw(st.sampled_from(("always", "sometimes", "never")))
    least = draw(st.sampled_from((0, most // 4, most // 2, most - 1)))
    numbers = draw(st.lists(st.integers(0, 2**32 - 1), min_size=least, max_size=most, unique=True))
    return unique_keys([_case(number, trainee, logs) for number in numbers])


def unique_keys(rows: list[Row]) -> list[Row]:
    """The first row of every key: a second one would be left out."""
    first: dict[Any, Row] = {}
    for row in rows:
        first.setdefault((row["trainee_ref"], case_key(row)), row)
    return list(first.values())


@st.composite
def cohorts(draw: st.DrawFn, most_cases: int = 40) -> Cohort:
    """One to five trainees of several classes, each with none to `most_cases` rows."""
    roster = [draw(trainees(number)) for number in range(1, draw(st.integers(1, 5)) + 1)]
    training = [row for trainee in roster for row in draw(periods(trainee))]
    cases = [row for trainee in roster for row in draw(case_rows(trainee, most_cases))]
    return Cohort(roster, training, cases)


def demanding(specialty: dict[str, Any]) -> dict[str, Any]:
    """The shipped specialty with rules that use stages, attributes, classes and cases elsewhere.

    Only the form of the rules is tested with it; the numbers are made up.
    """
    changed = copy.deepcopy(specialty)
    rules = changed["requirements"]
    either = {"all": [], "any": ["pediatric", "simulated"], "none": []}
    child = {"all": ["pediatric"], "any": [], "none": ["simulated"]}
    rules["cataract"] |= {"stages": ["second_year", "third_year"], "minimum": 4}
    rules["oculoplastic_total"] |= {"elsewhere": False, "minimum": 1}
    rules["keratoplasty"] |= {"attributes": either, "minimum": 1}
    rules["retina_vitreous"] |= {"attributes": child, "minimum": 2}
    rules["laser_capsulotomy"] |= {"cohorts": {"from": 2025, "to": None}, "roles": ["surgeon", "observer"]}
    rules["glaucoma_filtering"] |= {"cohorts": {"from": None, "to": 2024}}
    rules["globe_trauma"] |= {"cohorts": {"from": 2024, "to": 2025}, "stages": ["first_year"]}
    rules["globe_trauma"] |= {"elsewhere": False}
    # Two roles operate, so that none of them is the one that a specialty without marks takes.
    changed["roles"] |= {role: {"title": role, "operating": True} for role in ("surgeon", "assistant")}
    del rules["intravitreal_injection"]  # its procedure then counts toward nothing
    _with_the_rest_of_the_grammar(changed)
    # 31 days end exactly with the next month of 31 days; 28 with a February.
    changed["complications"]["endophthalmitis"]["window_days"] = 31
    changed["complications"]["wound_leak"]["window_days"] = 28
    return changed


def _with_the_rest_of_the_grammar(specialty: dict[str, Any]) -> None:
    """Groups, techniques, windows, caps, parts of two wholes and of which, rules that stand in for one another."""
    rules = specialty["requirements"]
    specialty["procedures"]["manual_cataract"]["also_in"] = ["retina"]
    specialty["complications"]["wound_leak"]["group"] = ["cataract", "oculoplastic", "cornea"]
    rules["cataract"] |= {
        "attributes": {},
        "at_most": {"simulated": 1, "manual_cataract": 1},
        "of_which": {"cataract_by_chop": {"title": "By chop", "minimum": 1, "techniques": ["chop"]}},
        "procedure_months": {"manual_cataract": {"from": "2022-09"}},
    }
    del rules["keratoplasty"]["procedures"]
    rules["keratoplasty"] |= {
        "techniques": ["chop", "stop_and_chop"],
        "at_most": {"assistant": 1, "cataract": 2},
    }
    del rules["retina_vitreous"]["procedures"]
    rules["retina_vitreous"] |= {
        "procedure_groups": ["retina"],
        "unit": "patient",
        "attributes": {},
        "elsewhere": True,
    }
    rules["retina_vitreous"] |= {"at_most": {"elsewhere": 1}, "part_of": ["cataract", "keratoplasty"]}
    rules["laser_capsulotomy"] |= {"last_years": 1, "local_minimum": {"minimum": 6, "source": "our own"}}
    rules["glaucoma_filtering"] |= {"before_stage": "third_year", "either_or": "filtering", "minimum": 1}
    rules["laser_trabeculoplasty"] |= {
        "procedures": ["phaco_iol", "manual_cataract"], "by_end_of_stage": "second_year", "unit": "operation",
        "either_or": "filtering", "minimum": 2, "part_of": "cataract",
    }  # fmt: skip
    rules["laser_panretinal"] |= {
        "procedures": ["phaco_iol"],
        "principal_only": True,
        "local": True,
        "minimum": 1,
        "at_most": {"elsewhere": 0},
    }
    who = {"source": "made up", "verified": False, "reviewed_on": rules["cataract"]["reviewed_on"]}
    kind = {"procedures": ["phaco_iol"], "roles": ["surgeon"], "elsewhere": True}
    rules["in_a_row"] = who | kind | {"title": "In a row", "consecutive": {"cases": 3, "within_years": 1}}
    rules["watched"] = who | {"title": "Watched", "assessments": {"at_least": 1, "each_months": 4}}
    rules["watched_operating"] = (
        who | kind | {"title": "Watched", "assessments": {"at_least": 1, "each_months": 9}}
    )
    rules["signed"] = who | {"title": "Signed off", "sign_off": True}


def write_cohort(folder: Path, cohort: Cohort) -> list[Path]:
    """The files that have rows: an export with a header alone would be refused."""
    folder.mkdir(parents=True, exist_ok=True)
    parts = (("roster.csv", cohort.roster), ("training.csv", cohort.training), ("cases.csv", cohort.cases))
    return [write_csv(folder / name, rows) for name, rows in parts if rows]


def exports_of(cohort: Cohort, source: str = "main") -> list[Export]:
    return [Export(cohort.cases, source)] if cohort.cases else []
