"""Which operations there are: who takes part in which procedure on which day, before any particulars."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from seed_data.programme import MONTHS_OF_TRAINING, Trainee, last_month_of_the_data, month_number, plan

ROLES = ("surgeon", "assistant", "teaching_assistant", "observer")
LEFT, RIGHT, BOTH = range(3)
# What a row is: the first of its operation, or a further one made from that.
FIRST, SECOND_PROCEDURE, OTHER_SIDE, LOGGED_BY_TWO = range(4)
YEARS = MONTHS_OF_TRAINING // 12


@dataclass(frozen=True)
class Line:
    """One line of the plan: a procedure in a role, with its yearly means."""

    procedure: int
    role: int
    simulated: bool
    service: str
    means: tuple[float, ...]


@dataclass(frozen=True)
class Rows:
    """Case rows as columns of equal length; codes are positions in lists, days are counted from 1970."""

    trainee: np.ndarray
    training_month: np.ndarray
    day: np.ndarray
    procedure: np.ndarray
    role: np.ndarray
    simulated: np.ndarray
    side: np.ndarray
    operation: np.ndarray
    origin: np.ndarray  # FIRST … LOGGED_BY_TWO
    source: np.ndarray  # position of the row it was made from, or its own

    def __len__(self) -> int:
        return len(self.trainee)

    def take(self, positions: np.ndarray) -> Rows:
        return Rows(**{each.name: getattr(self, each.name)[positions] for each in fields(self)})


def procedure_names() -> list[str]:
    """The codes of the procedures; rows hold positions in this list."""
    return list(plan()["procedures"])


def lines() -> list[Line]:
    """Every procedure in every role that the plan gives means for."""
    return [
        Line(position, ROLES.index("surgeon" if role == "simulated" else role), role == "simulated",
             facts["service"], tuple(facts[role]))
        for position, facts in enumerate(plan()["procedures"].values())
        for role in (*ROLES, "simulated")
        if role in facts
    ]  # fmt: skip


def operations(people: list[Trainee], cases: int | None, rng: np.random.Generator) -> Rows:
    """All case rows in order of trainee and day; exactly `cases` of them unless it is None."""
    counts, months = _planned(people, cases, rng)
    first = _first_rows(people, counts, months, rng)
    room = len(first) // 3 if cases is not None else len(first)
    rows = _with_further_rows(people, first, room, rng)
    if cases is not None:
        rows = _trimmed(rows, cases, rng)
    return _with_assisted(people, _in_order(rows))


def _with_assisted(people: list[Trainee], rows: Rows) -> Rows:
    """The first operation as surgeon of some procedures of some people was one as assistant."""
    role = rows.role.copy()
    for person, trainee in enumerate(people):
        for name in trainee.assisted:
            own = np.flatnonzero((rows.trainee == person) & _as_surgeon(rows, [name]))
            role[own[:1]] = ROLES.index("assistant")
    return replace(rows, role=role)


def _planned(
    people: list[Trainee], cases: int | None, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """How many first rows each trainee has by year and line; and the weight of each month for them.

    Shapes (trainee, year, line) and (trainee, year, line, 12).
    """
    all_lines = lines()
    weights = _month_weights(people, all_lines)
    in_the_data = weights * _share_in_the_data(people)[:, :, None, :]
    share = in_the_data.sum(axis=3) / weights.sum(axis=3)
    means = np.array([line.means for line in all_lines]).T[None, :, :]
    expected = means * share * _unlikeness(len(people), share.shape, rng)
    for person, trainee in enumerate(people):
        expected[person][:, _without(trainee, all_lines)] = 0
    total = round(float(expected.sum())) if cases is None else cases
    return _whole_numbers(expected, total), in_the_data


def _without(trainee: Trainee, all_lines: list[Line]) -> np.ndarray:
    """The lines as surgeon of procedures that never came to this trainee."""
    surgeon = ROLES.index("surgeon")
    return np.array(
        [line.role == surgeon and procedure_names()[line.procedure] in trainee.without for line in all_lines]
    )


def _month_weights(people: list[Trainee], all_lines: list[Line]) -> np.ndarray:
    """More in the rotation of a line's service, and more with each month of a year."""
    services = [[trainee.service(month) for month in range(MONTHS_OF_TRAINING)] for trainee in people]
    wanted = np.array([line.service for line in all_lines])
    on_service = np.array(services)[:, :, None] == wanted[None, None, :]
    weights = np.where(on_service, plan()["on_service"], 1.0)
    weights *= (0.6 + 0.8 * (np.arange(MONTHS_OF_TRAINING) % 12) / 11)[None, :, None]
    return weights.reshape(len(people), YEARS, 12, len(all_lines)).transpose(0, 1, 3, 2)


def _share_in_the_data(people: list[Trainee]) -> np.ndarray:
    """What part of each month of training lies before the end of the trainee's log; (trainee, year, 12)."""
    shares = np.empty((len(people), MONTHS_OF_TRAINING))
    for person, trainee in enumerate(people):
        ends = month_number(trainee.log_ends.year, trainee.log_ends.month)
        months = trainee.calendar()
        shares[person] = np.where(months < ends, 1.0, np.where(months > ends, 0.0, trainee.log_ends.day / 31))
    return shares.reshape(len(people), YEARS, 12)


def _unlikeness(people: int, shape: tuple[int, ...], rng: np.random.Generator) -> np.ndarray:
    """Factors with mean near 1: busy and quiet trainees, and years that go their own way."""
    spread = plan()["spread"]
    trainee = np.exp(spread["trainee"] * rng.standard_normal(people))
    cell = np.exp(spread["cell"] * rng.standard_normal(shape))
    return np.asarray((trainee / trainee.mean())[:, None, None] * cell / cell.mean())


def _whole_numbers(expected: np.ndarray, total: int) -> np.ndarray:
    """`expected` scaled to the sum `total` in whole numbers: the largest remainders are rounded up."""
    scaled = expected * (total / expected.sum())
    counts: np.ndarray = np.floor(scaled).astype(np.int64)
    missing = total - int(counts.sum())
    remainders = np.where(scaled > 0, scaled - counts, -1.0).ravel()
    counts.ravel()[np.argsort(-remainders, kind="stable")[:missing]] += 1
    return counts


def _first_rows(
    people: list[Trainee], counts: np.ndarray, months: np.ndarray, rng: np.random.Generator
) -> Rows:
    all_lines = lines()
    cells = np.repeat(np.arange(counts.size), counts.ravel())
    person, year, line = np.unravel_index(cells, counts.shape)
    month = year * 12 + _drawn_months(months.reshape(-1, 12), cells, rng)
    procedure = np.array([each.procedure for each in all_lines])[line]
    number = len(cells)
    return Rows(
        trainee=person,
        training_month=month,
        day=_days(people, person, month, rng),
        procedure=procedure,
        role=np.array([each.role for each in all_lines])[line],
        simulated=np.array([each.simulated for each in all_lines])[line],
        side=_sides(procedure, rng),
        operation=np.arange(number),
        origin=np.full(number, FIRST),
        source=np.arange(number),
    )


def _drawn_months(weights: np.ndarray, cells: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A month of the year, 0 to 11, for each row, by the weights of its cell."""
    upto = np.cumsum(weights, axis=1)
    drawn = rng.random(len(cells)) * upto[cells, -1]
    return np.asarray((upto[cells] <= drawn[:, None]).sum(axis=1))


def _days(
    people: list[Trainee], person: np.ndarray, training_month: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """A working day of the month, never after the end of the trainee's log."""
    calendar = np.array([trainee.calendar() for trainee in people])[person, training_month]
    first = calendar.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    ends = np.array(
        [np.datetime64(each.log_ends).astype("datetime64[D]").astype(np.int64) for each in people]
    )
    last = np.minimum(first + 27, ends[person] - 2)
    day = first + np.floor(rng.random(len(person)) * (last - first + 1)).astype(np.int64)
    weekday = (day + 3) % 7  # Monday is 0: the first of January 1970 was a Thursday
    moved = day + np.where(weekday > 4, 7 - weekday, 0)
    return np.asarray(np.where(moved > ends[person], day - (weekday - 4), moved))


def _sides(procedure: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    both = plan()["further"]["both_in_one_row"]
    may_be_both = np.isin(procedure, [procedure_names().index(name) for name in both["procedures"]])
    side = np.floor(rng.random(len(procedure)) * 2).astype(np.int64)
    return np.where(may_be_both & (rng.random(len(procedure)) < both["share"]), BOTH, side)


def _with_further_rows(people: list[Trainee], first: Rows, room: int, rng: np.random.Generator) -> Rows:
    """The first rows, then at most `room` rows of the same operations."""
    further = [
        *_second_procedures(first, rng),
        _other_sides(first, rng),
        *(_logged_by_two(people, first, rule, rng) for rule in plan()["further"]["logged_by_two"]),
    ]
    joined = _joined([first, *further])
    return joined.take(np.arange(min(len(joined), len(first) + room)))


def _joined(parts: list[Rows]) -> Rows:
    return Rows(
        **{each.name: np.concatenate([getattr(part, each.name) for part in parts]) for each in fields(Rows)}
    )


def _chosen(candidates: np.ndarray, share: float, rng: np.random.Generator) -> np.ndarray:
    return np.flatnonzero(candidates & (rng.random(len(candidates)) < share))


def _as_surgeon(rows: Rows, procedures: list[str]) -> np.ndarray:
    wanted = np.isin(rows.procedure, [procedure_names().index(name) for name in procedures])
    return np.asarray(wanted & (rows.role == ROLES.index("surgeon")) & ~rows.simulated)


def _second_procedures(first: Rows, rng: np.random.Generator) -> list[Rows]:
    made = []
    for rule in plan()["further"]["second_procedure"]:
        chosen = _chosen(_as_surgeon(first, [rule["to"]]) & (first.side != BOTH), rule["share"], rng)
        added = np.full(len(chosen), procedure_names().index(rule["add"]))
        made.append(replace(_copied(first, chosen, SECOND_PROCEDURE), procedure=added))
    return made


def _copied(first: Rows, chosen: np.ndarray, origin: int) -> Rows:
    return replace(first.take(chosen), origin=np.full(len(chosen), origin), source=chosen)


def _other_sides(first: Rows, rng: np.random.Generator) -> Rows:
    rule = plan()["further"]["other_side"]
    chosen = _chosen(_as_surgeon(first, rule["procedures"]), rule["share"], rng)
    copied = _copied(first, chosen, OTHER_SIDE)
    return replace(copied, side=np.where(copied.side == LEFT, RIGHT, LEFT))


def _logged_by_two(
    people: list[Trainee], first: Rows, rule: dict[str, object], rng: np.random.Generator
) -> Rows:
    """The same operation in the log of somebody of another year, who was there in another role."""
    year = first.training_month // 12 + 1
    candidates = _as_surgeon(first, [str(rule["procedure"])]) & (year == rule["surgeon_year"])
    candidates &= _is_here(people, first.trainee, first.training_month)
    chosen = _chosen(candidates, float(str(rule["share"])), rng)
    person, month = _companions(people, first, chosen, int(str(rule["other_year"])), rng)
    found = person >= 0
    copied = _copied(first, chosen[found], LOGGED_BY_TWO)
    role = np.full(int(found.sum()), ROLES.index(str(rule["other_role"])))
    return replace(copied, trainee=person[found], training_month=month[found], role=role)


def _is_here(people: list[Trainee], person: np.ndarray, training_month: np.ndarray) -> np.ndarray:
    elsewhere = np.array([trainee.elsewhere_months for trainee in people])
    return np.asarray(training_month >= elsewhere[person])


def _companions(
    people: list[Trainee], first: Rows, chosen: np.ndarray, year: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Someone of that year of training at work here on the day of each chosen row, or -1; and their month."""
    calendar = first.day[chosen].astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    person = np.full(len(chosen), -1)
    month = np.full(len(chosen), -1)
    drawn = rng.random(len(chosen))
    for at in np.unique(calendar):
        there = _at_work(people, int(at), year)
        here = np.flatnonzero(calendar == at)
        if there:
            pick = np.floor(drawn[here] * len(there)).astype(np.int64)
            person[here], month[here] = np.array(there)[pick].T
    return person, month


def _at_work(people: list[Trainee], calendar_month: int, year: int) -> list[tuple[int, int]]:
    found = []
    for person, trainee in enumerate(people):
        months = np.flatnonzero(trainee.calendar() == calendar_month)
        log_ends = month_number(trainee.log_ends.year, trainee.log_ends.month)
        logs_it = calendar_month < log_ends or log_ends == last_month_of_the_data()
        if len(months) and months[0] // 12 + 1 == year and months[0] >= trainee.elsewhere_months and logs_it:
            found.append((person, int(months[0])))
    return found


def _trimmed(rows: Rows, cases: int, rng: np.random.Generator) -> Rows:
    """As many first rows fewer as there are further ones; none that a further row was made from."""
    has_further = np.zeros(len(rows), dtype=bool)
    has_further[rows.source[rows.origin != FIRST]] = True
    free = np.flatnonzero((rows.origin == FIRST) & ~has_further)
    gone = free[np.argsort(rng.random(len(free)), kind="stable")[: len(rows) - cases]]
    kept = np.ones(len(rows), dtype=bool)
    kept[gone] = False
    return _moved(rows, np.flatnonzero(kept))


def _in_order(rows: Rows) -> Rows:
    return _moved(rows, np.lexsort((rows.origin, rows.operation, rows.day, rows.trainee)))


def _moved(rows: Rows, positions: np.ndarray) -> Rows:
    """Those rows in that order, with `source` pointing to where the source now stands."""
    now_at = np.full(len(rows), -1)
    now_at[positions] = np.arange(len(positions))
    taken = rows.take(positions)
    return replace(taken, source=now_at[taken.source])
