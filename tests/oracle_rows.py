"""Reading the cells of export files, which rows are live, and a trainee's own time, in plain loops.

The first half of the oracle: like tests/oracle.py it imports nothing of the project.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
from fractions import Fraction
from typing import Any, NamedTuple

Row = dict[str, str]


class Export(NamedTuple):
    """The case rows of one command and source, in the order taken."""

    rows: list[Row]
    source: str = "main"
    append: bool = False
    through: str | None = None


def cell(row: Row, name: str) -> str | None:
    """The trimmed text, or None where nothing is recorded."""
    return (row.get(name) or "").strip() or None


def code(row: Row, name: str) -> str | None:
    text = cell(row, name)
    return text.lower() if text else None


def yes_no(row: Row, name: str) -> bool | None:
    text = code(row, name)
    return None if text is None else text in ("yes", "y", "true", "1")


def codes(row: Row, name: str) -> list[str] | None:
    """The codes of a list; an empty list for `none`, None for a blank cell."""
    text = code(row, name)
    if text is None:
        return None
    return [] if text == "none" else [part.strip() for part in text.split(";")]


def month_of(row: Row, name: str) -> str:
    return row[name].strip()[:7]


def month_number(month: str) -> int:
    return int(month[:4]) * 12 + int(month[5:7])


def month_text(number: int) -> str:
    return f"{(number - 1) // 12:04d}-{(number - 1) % 12 + 1:02d}"


def share_of_a_month(text: str | None) -> Fraction:
    """A number from 0 to 1, or a percentage; to the millionth. A whole month where nothing is said."""
    if text is None:
        return Fraction(1)
    share = Fraction(text.rstrip("% ")) / 100 if text.endswith("%") else Fraction(text)
    return Fraction(math.floor(share * 1_000_000 + Fraction(1, 2)), 1_000_000)


def last_day(month: str) -> dt.date:
    year, number = int(month[:4]), int(month[5:7])
    return dt.date(year, number, calendar.monthrange(year, number)[1])


def cohort_of(row: Row) -> str:
    """2026-27, from either of the two ways of writing it."""
    text = row["cohort"].strip()
    if "-" in text:
        return text
    return f"{int(text) - 1}-{int(text) % 100:02d}"


def class_ends(row: Row) -> int:
    return int(cohort_of(row)[:4]) + 1


def case_key(row: Row) -> tuple[str, str | None, str | None]:
    return row["case_ref"].strip(), code(row, "procedure"), code(row, "side")


class Programme:
    """One programme's people, their live cases and their periods.

    Of two roster rows with the same trainee_ref, or two training rows with the same trainee_ref, from and
    kind, the later holds. `specialty` is the YAML file as plain dicts and lists.
    """

    def __init__(
        self,
        roster: list[Row],
        training: list[Row],
        exports: list[Export],
        specialty: dict[str, Any],
        programme_ref: str = "harbour-eye",
        outcomes: list[Row] | None = None,
        confirmations: list[Row] | None = None,
    ) -> None:
        self.roster = {cell(row, "trainee_ref") or "": row for row in roster}
        self.training = {
            (cell(row, "trainee_ref"), month_of(row, "from"), code(row, "kind")): row for row in training
        }
        self._of_kind: dict[tuple[str | None, str | None], list[Row]] = {}
        for (who, _, kind), row in sorted(self.training.items(), key=lambda period: period[0][1] or ""):
            self._of_kind.setdefault((who, kind), []).append(row)
        self.specialty = specialty
        self.programme_ref = programme_ref
        # Of what one source says of an outcome, and a supervisor of a case, the later row holds.
        self.outcome_rows = outcomes or []
        self.outcomes = {
            (
                row["programme_ref"],
                row["case_ref"].strip(),
                code(row, "complication"),
                code(row, "source"),
            ): row
            for row in self.outcome_rows
        }
        self.confirmations = {
            (row["case_ref"].strip(), cell(row, "trainee_ref")): row for row in confirmations or []
        }
        self._cases: dict[str, list[Row]] = {}
        self._active: dict[tuple[str, str], Fraction] = {}
        self._take(exports)

    # What is live.

    def _take(self, exports: list[Export]) -> None:
        self.live: dict[tuple[str, str], dict[Any, Row]] = {}
        self.through: dict[tuple[str, str], str] = {}
        self.taken: dict[tuple[str, str], int] = {}
        self.arrived: dict[tuple[str, str], dict[Any, tuple[int, int]]] = {}
        for position, export in enumerate(exports):
            for trainee in {row["trainee_ref"].strip() for row in export.rows}:
                own = [row for row in export.rows if row["trainee_ref"].strip() == trainee]
                self._take_own((trainee, export.source), own, export, position)

    def _take_own(self, slot: tuple[str, str], own: list[Row], export: Export, position: int) -> None:
        if not export.append:
            self.live[slot] = {}
            self.through.pop(slot, None)
        for place, row in enumerate(own):
            self.live.setdefault(slot, {})[case_key(row)] = row
            self.arrived.setdefault(slot, {})[case_key(row)] = (position, place)
        through = export.through or self._latest_month(own)
        self.through[slot] = max(through, self.through.get(slot, through))
        self.taken[slot] = position

    @staticmethod
    def _latest_month(own: list[Row]) -> str:
        """The later of the month of the latest log and of the latest operation."""
        logged = [month_of(row, "logged_on") for row in own if cell(row, "logged_on")]
        return max(logged + [month_of(row, "operated_on") for row in own])

    def programme_of(self, trainee: str) -> str:
        return cell(self.roster[trainee], "programme_ref") or self.programme_ref

    def confirmed(self, trainee: str, case: Row) -> Row | None:
        """What a supervisor says of the trainee's part in the operation."""
        return self.confirmations.get((case["case_ref"].strip(), trainee))

    def cases(self, trainee: str) -> list[Row]:
        """Every live case, with what the supervisor says of it in the place of what the trainee wrote."""
        if trainee not in self._cases:
            self._cases[trainee] = [self._as_confirmed(trainee, case) for case in self.logged(trainee)]
        return self._cases[trainee]

    def _as_confirmed(self, trainee: str, case: Row) -> Row:
        said = self.confirmed(trainee, case)
        if said is None:
            return case
        own = {"supervisor_agreed": said.get("role_agreed")}
        own |= {name: said.get(name) for name in ("supervision", "takeover", "takeover_reason")}
        changed = case | {name: text for name, text in own.items() if text and text.strip()}
        if yes_no(said, "takeover") is False:
            changed["takeover_reason"] = ""
        return changed

    def logged(self, trainee: str) -> list[Row]:
        """Every live key once, as the source taken last has it."""
        merged: dict[Any, Row] = {}
        for slot in self._slots(trainee):
            merged.update(self.live[slot])
        return list(merged.values())

    def place_in_log(self, trainee: str, case: Row) -> tuple[Any, ...]:
        """By month; within it as the files were taken, and of one file by day, then by row: no day is kept beyond it."""
        slot = [slot for slot in self._slots(trainee) if case_key(case) in self.live[slot]][-1]
        position, row = self.arrived[slot][case_key(case)]
        day = case["operated_on"].strip()[:10]
        return day[:7], self.taken[slot], position, day, row

    def _slots(self, trainee: str) -> list[tuple[str, str]]:
        """Trainee and source, for each source; the one taken last comes last."""
        slots = [slot for slot in self.live if slot[0] == trainee]
        return sorted(slots, key=lambda slot: self.taken[slot])

    def through_of(self, trainee: str, case: Row) -> str:
        """The month through which the data of the case's own source run."""
        slots = [slot for slot in self._slots(trainee) if case_key(case) in self.live[slot]]
        return self.through[slots[-1]]

    def data_through(self, trainee: str) -> str | None:
        """The earliest month over the trainee's sources."""
        return min((month for slot, month in self.through.items() if slot[0] == trainee), default=None)

    def credit_from(self, trainee: str) -> str:
        row = self.roster[trainee]
        return (cell(row, "credit_from") or row["started"].strip())[:7]

    # The trainee's own time.

    def _periods(self, trainee: str, kind: str) -> list[Row]:
        return self._of_kind.get((trainee, kind), [])

    def stage(self, trainee: str, month: str) -> str | None:
        """The stage in force; of two that overlap the one that began later."""
        periods = self._periods(trainee, "stage")
        found = None
        for number, period in enumerate(periods):
            begun = month_of(period, "from") <= month
            if cell(period, "to"):
                over = month > month_of(period, "to")
            else:
                over = number + 1 < len(periods) and month >= month_of(periods[number + 1], "from")
            if begun and not over:
                found = code(period, "value")
        return found

    def is_elsewhere(self, trainee: str, month: str) -> bool:
        if month < month_of(self.roster[trainee], "started"):
            return True
        for period in self._periods(trainee, "elsewhere"):
            open_ended = not cell(period, "to")
            if month_of(period, "from") <= month and (open_ended or month <= month_of(period, "to")):
                return True
        return False

    # The one clock: months of training without leave, part-time months by their fraction.

    def first_month(self, trainee: str) -> int:
        """The earlier of `started` and `credit_from`, as a number of months."""
        return min(
            month_number(month_of(self.roster[trainee], "started")), month_number(self.credit_from(trainee))
        )

    def counts_as(self, trainee: str, month: str) -> Fraction:
        """How much of a month counts; of overlapping periods the smallest."""
        if month_number(month) < self.first_month(trainee):
            return Fraction(0)
        shares = [Fraction(1)]
        for kind in ("leave", "part_time"):
            for period in self._periods(trainee, kind):
                open_ended = not cell(period, "to")
                if month_of(period, "from") <= month and (open_ended or month <= month_of(period, "to")):
                    shares.append(Fraction(0) if kind == "leave" else share_of_a_month(cell(period, "value")))
        return min(shares)

    def active_month(self, trainee: str, month: str) -> Fraction:
        if (trainee, month) not in self._active:
            numbers = range(self.first_month(trainee), month_number(month) + 1)
            shares = (self.counts_as(trainee, month_text(number)) for number in numbers)
            self._active[trainee, month] = sum(shares, Fraction(0))
        return self._active[trainee, month]

    def training_month(self, trainee: str, month: str) -> int:
        return max(1, math.ceil(self.active_month(trainee, month)))

    def training_quarter(self, trainee: str, month: str) -> int:
        return max(1, math.ceil(self.active_month(trainee, month) / 3))
