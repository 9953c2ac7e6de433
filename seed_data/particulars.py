"""What is recorded about each case row: help, time, technique, takeovers, complications, follow-up."""

from __future__ import annotations

import numpy as np

from seed_data.operations import FIRST, LOGGED_BY_TWO, OTHER_SIDE, Rows
from seed_data.programme import Trainee, plan

Columns = dict[str, np.ndarray]
# What is true of a whole operation, and of a procedure whoever logs it.
OF_THE_OPERATION = ("supervisor_ref", "site_ref", "follow_up_days")
OF_THE_PROCEDURE = (
    "duration_min", "technique", "attributes", "risk_factors", "complications", "converted_from",
)  # fmt: skip
SURGEON, ASSISTANT, TEACHING, OBSERVER = range(4)
SUPERVISION = (
    "observed", "assisted", "performed_jointly", "spoken_guidance",
    "supervisor_in_room", "supervisor_available", "supervised_junior",
)  # fmt: skip
TECHNIQUES = ("divide_and_conquer", "stop_and_chop", "chop")
YES_NO = ("yes", "no")
YES, NO = range(2)
REASONS = ("planned", "rescue")
HANDS = ("trainee", "supervisor", "unclear")
BLANK = -1


def case_numbers(rows: Rows) -> np.ndarray:
    """Which case in its procedure group this is for the trainee as surgeon, from 1; 0 in other roles."""
    groups = [facts["group"] for facts in plan()["procedures"].values()]
    group = np.array([sorted(set(groups)).index(each) for each in groups])[rows.procedure]
    key = rows.trainee * len(set(groups)) + group
    counted = (rows.role == SURGEON) & ~rows.simulated
    order = np.argsort(key, kind="stable")
    upto = np.cumsum(counted[order])
    starts = np.r_[True, key[order][1:] != key[order][:-1]]
    before = np.maximum.accumulate(np.where(starts, upto - counted[order], 0))
    numbers = np.empty(len(rows), dtype=np.int64)
    numbers[order] = upto - before
    return np.where(counted, numbers, 0)


def particulars(people: list[Trainee], rows: Rows, rng: np.random.Generator) -> Columns:
    """Every recorded column as codes or numbers, BLANK where nothing is recorded; `risk_factors` and
    `complications` as text, empty where blank."""
    cataract = is_cataract(rows)
    practice = _practice(rows, cataract)
    columns = _circumstances(people, rows, cataract, rng)
    columns["supervision"] = _supervision(rows, practice, rng)
    columns["duration_min"] = _minutes(rows, practice, rng)
    columns["technique"] = _technique(rows, practice, rng)
    columns["risk_factors"], raised = _risk_factors(cataract, rng)
    ruptured = _ruptures(people, rows, cataract & ~rows.simulated, practice, raised, rng)
    columns |= _takeovers(rows, practice, ruptured, rng)
    columns |= _outcomes(columns, cataract & ~rows.simulated, ruptured, rng)
    columns["duration_min"] += np.where(ruptured & (columns["duration_min"] > 0), 18, 0)
    columns["supervision"] = _after_rescue(columns, rows, rng)
    columns = _leave_blank(columns, rows, rng)
    columns["complications"] = _something_else(columns["complications"], rows, cataract)
    return _same_operation(columns, rows)


def is_cataract(rows: Rows) -> np.ndarray:
    """Where the procedure belongs to the group `cataract`."""
    of_procedure = [facts["group"] == "cataract" for facts in plan()["procedures"].values()]
    return np.asarray(np.array(of_procedure)[rows.procedure])


def _practice(rows: Rows, cataract: np.ndarray) -> np.ndarray:
    """Case number on the scale of cataract surgery: other operations are learned in fewer cases."""
    return np.asarray(np.where(cataract, 1.0, 1 / plan()["learning"]["other_groups"]) * case_numbers(rows))


def _learned(name: str, practice: np.ndarray) -> np.ndarray:
    curve = plan()["learning"][name]
    return np.asarray(curve["end"] + (curve["start"] - curve["end"]) * np.exp(-practice / curve["cases"]))


def _happens(chance: np.ndarray | float, count: int, rng: np.random.Generator) -> np.ndarray:
    return np.asarray(rng.random(count) < chance)


def _one_of(shares: list[float], count: int, rng: np.random.Generator) -> np.ndarray:
    """Positions drawn by `shares`, which add up to 1."""
    upto = np.cumsum(shares)[:-1]
    return np.searchsorted(upto, rng.random(count), side="right")


def _circumstances(
    people: list[Trainee], rows: Rows, cataract: np.ndarray, rng: np.random.Generator
) -> Columns:
    """Supervisor, site, main procedure, plan, when it was logged, how long it was followed."""
    count = len(rows)
    here = rows.training_month >= np.array([each.elsewhere_months for each in people])[rows.trainee]
    ends = np.array(
        [np.datetime64(each.log_ends).astype("datetime64[D]").astype(np.int64) for each in people]
    )
    left = ends[rows.trainee] - rows.day
    supervisor = np.floor(rng.random(count) * len(plan()["supervisors"])).astype(np.int64)
    site = _one_of([0.7, 0.3], count, rng)
    return {
        "supervisor_ref": np.where(here, supervisor, BLANK),
        "site_ref": np.where(here, site, BLANK),
        "principal": np.where(np.isin(rows.origin, (FIRST, OTHER_SIDE, LOGGED_BY_TWO)), YES, NO),
        "converted_from": _converted(rows, rng),
        "attributes": _attributes(rows, cataract, rng),
        "logged_on": rows.day + np.minimum(_lag(people, rows, rng), left),
        "follow_up_days": _follow_up(left, rng)[rows.source],
    }


def _converted(rows: Rows, rng: np.random.Generator) -> np.ndarray:
    """A manual cataract operation was often planned as another one."""
    names = list(plan()["procedures"])
    manual = (rows.procedure == names.index("manual_cataract")) & (rows.role == SURGEON)
    return np.where(manual & _happens(0.3, len(rows), rng), names.index("phaco_iol"), BLANK)


ATTRIBUTES = ("none", "simulated", "pediatric")


def _attributes(rows: Rows, cataract: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    strabismus = rows.procedure == list(plan()["procedures"]).index("strabismus_surgery")
    child = _happens(np.where(strabismus, 0.45, np.where(cataract, 0.004, 0.02)), len(rows), rng)
    return np.where(rows.simulated, 1, np.where(child, 2, 0))


def _lag(people: list[Trainee], rows: Rows, rng: np.random.Generator) -> np.ndarray:
    """Days until it was logged: some trainees log at once, others weeks later."""
    usual = 3 + 12 * rng.random(len(people))
    days = np.floor(-np.log1p(-rng.random(len(rows))) * usual[rows.trainee])
    return np.asarray(days.astype(np.int64) + 1)


def _follow_up(left: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """From 7 to 180 days, most of them three months or more, and no more than have passed."""
    band = _one_of([0.13, 0.20, 0.67], len(left), rng)
    low, high = np.array([7, 42, 90])[band], np.array([41, 89, 180])[band]
    days = low + np.floor(rng.random(len(left)) * (high - low + 1)).astype(np.int64)
    days = np.minimum(days, left)
    return np.where(days < 7, BLANK, days)


def _supervision(rows: Rows, practice: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Looser with experience; always a level that agrees with the role."""
    count = len(rows)
    felt = practice * np.exp(0.35 * rng.standard_normal(count))
    as_surgeon = np.searchsorted(plan()["supervision_steps"], felt) + SUPERVISION.index("performed_jointly")
    as_surgeon = np.where(rows.simulated, SUPERVISION.index("spoken_guidance"), as_surgeon)
    as_assistant = np.array([1, 2, 0])[_one_of([0.8, 0.12, 0.08], count, rng)]
    by_role = np.stack([as_surgeon, as_assistant, np.full(count, 6), np.zeros(count, dtype=np.int64)])
    return np.asarray(by_role[rows.role, np.arange(count)])


def _minutes(rows: Rows, practice: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    usual = np.array([facts["minutes"] for facts in plan()["procedures"].values()], dtype=float)[
        rows.procedure
    ]
    slower = np.where(rows.role == SURGEON, _learned("minutes", practice), 1.15)
    noise = np.exp(0.18 * rng.standard_normal(len(rows)))
    return np.asarray(np.maximum(2, np.rint(usual * slower * noise)).astype(np.int64))


def _technique(rows: Rows, practice: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """From divide and conquer to chop, by way of both; only for phacoemulsification as surgeon."""
    first = _learned("divide_and_conquer", practice)
    drawn = rng.random(len(rows))
    between = (1 - first) * 0.35
    technique = np.where(drawn < first, 0, np.where(drawn < first + between, 1, 2))
    phaco = rows.procedure == list(plan()["procedures"]).index("phaco_iol")
    return np.where(phaco & (rows.role == SURGEON), technique, BLANK)


def _risk_factors(cataract: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Their codes as text, and where one of them raises the risk of a rupture."""
    text = np.full(len(cataract), "", dtype=object)
    raised = np.zeros(len(cataract), dtype=bool)
    for code, facts in plan()["risk_factors"].items():
        found = cataract & _happens(facts["share"] / 100, len(cataract), rng)
        text = _with_code(text, found, code)
        raised |= found & facts.get("raises", False)
    return np.where(cataract & (text == ""), "none", text), raised


def _with_code(text: np.ndarray, found: np.ndarray, code: str) -> np.ndarray:
    """`code` joined to the lists of the rows where it was found."""
    joined = text.copy()
    joined[found] = [f"{before};{code}" if before else code for before in text[found]]
    return joined


def _ruptures(
    people: list[Trainee], rows: Rows, eligible: np.ndarray, practice: np.ndarray, raised: np.ndarray,
    rng: np.random.Generator,
) -> np.ndarray:  # fmt: skip
    """Rarer with the case number; in other hands than the trainee's rarer still; and the late cluster."""
    hands = plan()["hands"]
    chance = _learned("capsule_rupture", practice)
    chance = np.where(rows.role == SURGEON, chance, chance * hands["rupture_times_of_supervisor"])
    chance = chance * np.where(raised, hands["rupture_times_with_risk"], 1.0)
    found: np.ndarray = eligible & _happens(chance, len(rows), rng)
    for person, trainee in enumerate(people):
        own = np.flatnonzero(eligible & (rows.trainee == person) & (rows.role == SURGEON))
        late = [own[-back] for back in trainee.late_ruptures if back <= len(own)]
        found[np.array(late, dtype=np.int64)] = True
    return found


def _takeovers(rows: Rows, practice: np.ndarray, ruptured: np.ndarray, rng: np.random.Generator) -> Columns:
    """A rescue mostly follows a rupture. After a few of them the trainee logs the role of assistant."""
    count = len(rows)
    surgeon = (rows.role == SURGEON) & ~rows.simulated
    rescued = surgeon & _happens(
        np.where(ruptured, _learned("rescue_of_rupture", practice), 0.006), count, rng
    )
    planned = surgeon & ~rescued & _happens(_learned("planned_takeover", practice), count, rng)
    taken_over = rescued | planned
    role = np.where(rescued & ~_has_further(rows) & _happens(0.12, count, rng), ASSISTANT, rows.role)
    reason = np.where(rescued, 1, np.where(planned, 0, BLANK))
    return {
        "takeover": np.where(taken_over, YES, NO),
        "takeover_reason": np.where(taken_over & _happens(0.04, count, rng), BLANK, reason),
        "role": role,
        "supervisor_agreed": _agreement(rows, taken_over, rng),
        "event_hands": np.where(ruptured, _hands(rows, rescued, rng), BLANK),
    }


def _after_rescue(columns: Columns, rows: Rows, rng: np.random.Generator) -> np.ndarray:
    """Who changes the role mostly changes the level of help with it; a few forget, and are warned."""
    changed = (columns["role"] != rows.role) & _happens(0.75, len(rows), rng)
    return np.where(changed, SUPERVISION.index("performed_jointly"), columns["supervision"])


def _has_further(rows: Rows) -> np.ndarray:
    """Whether a row belongs to an operation of several rows."""
    return np.asarray(np.bincount(rows.operation)[rows.operation] > 1)


def _agreement(rows: Rows, taken_over: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Denied more often after a takeover, and in the latest weeks often not said yet."""
    count = len(rows)
    usual = np.array([YES, NO, BLANK])[_one_of([0.88, 0.03, 0.09], count, rng)]
    after = np.array([YES, NO, BLANK])[_one_of([0.70, 0.14, 0.16], count, rng)]
    agreed = np.where(taken_over, after, usual)
    latest = rows.day > np.datetime64(plan()["as_of"]).astype("datetime64[D]").astype(np.int64) - 60
    return np.where((latest & _happens(0.35, count, rng)) | (rows.role == OBSERVER), BLANK, agreed)


def _hands(rows: Rows, rescued: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Who operated when the capsule ruptured; of another's operation the trainee cannot always say."""
    own = _one_of([0.9, 0.02, 0.08], len(rows), rng)
    before_rescue = _one_of([0.82, 0.07, 0.11], len(rows), rng)
    other = np.array([1, 2])[_one_of([0.8, 0.2], len(rows), rng)]
    return np.where(rows.role == SURGEON, np.where(rescued, before_rescue, own), other)


def _outcomes(
    columns: Columns, eligible: np.ndarray, ruptured: np.ndarray, rng: np.random.Generator
) -> Columns:
    """Complications as text: what arose in the operation, and afterwards what the follow-up has seen."""
    count = len(eligible)
    text = _with_code(np.full(count, "", dtype=object), ruptured, "capsule_rupture")
    for code, facts in plan()["complications"].items():
        share = np.where(ruptured, facts["after_rupture"], facts["usual"]) / 100
        found = eligible & _happens(share, count, rng)
        low, high = facts.get("days", (0, 0))
        day = low + np.floor(rng.random(count) * (high - low + 1)).astype(np.int64)
        found &= day <= np.maximum(columns["follow_up_days"], 0)
        text = _with_days(text, found, code, day) if "days" in facts else _with_code(text, found, code)
    return {"complications": np.where(text == "", "none", text)}


def _something_else(complications: np.ndarray, rows: Rows, cataract: np.ndarray) -> np.ndarray:
    """In one of forty operations outside cataract surgery something happened that the specialty has no code for."""
    found = ~cataract & (rows.role == SURGEON) & (complications == "none") & (rows.operation % 40 == 0)
    return np.where(found, "other", complications)


def _with_days(text: np.ndarray, found: np.ndarray, code: str, day: np.ndarray) -> np.ndarray:
    joined = text.copy()
    for row in np.flatnonzero(found):
        joined[row] = f"{text[row]};{code}@{day[row]}" if text[row] else f"{code}@{day[row]}"
    return joined


def _leave_blank(columns: Columns, rows: Rows, rng: np.random.Generator) -> Columns:
    """Cells that nobody filled in. A complication or a takeover that happened is always told."""
    told = {"complications": columns["complications"] != "none", "takeover": columns["takeover"] == YES}
    for name, share in plan()["blank"].items():
        empty = _happens(share, len(rows), rng) & ~told.get(name, np.zeros(len(rows), dtype=bool))
        columns[name] = np.where(empty, _nothing(columns[name]), columns[name])
    for name in ("complications", "risk_factors", "follow_up_days", "takeover"):
        columns[name] = np.where(rows.simulated, _nothing(columns[name]), columns[name])
    return columns


def _nothing(column: np.ndarray) -> str | int:
    return "" if column.dtype == object else BLANK


def _same_operation(columns: Columns, rows: Rows) -> Columns:
    """Further rows say of the operation what the row says that they were made from."""
    for name in OF_THE_OPERATION:
        columns[name] = columns[name][rows.source]
    by_two = rows.origin == LOGGED_BY_TWO
    for name in OF_THE_PROCEDURE:
        columns[name] = np.where(by_two, columns[name][rows.source], columns[name])
    # Who took over from whom is for the log of the one who operated.
    for name in ("takeover", "takeover_reason", "event_hands", "supervisor_agreed"):
        columns[name] = np.where(by_two, BLANK, columns[name])
    return columns
