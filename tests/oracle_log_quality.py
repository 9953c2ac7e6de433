"""The measures of a log in plain loops, from the days on which rows were logged; nothing of sql/ is in it."""

from __future__ import annotations

import statistics
from dataclasses import dataclass, field

WITHIN_DAYS = 45
FEWEST_EARLIER = 10


@dataclass
class Case:
    """One row of a log: where it lies, and the number of the day on which it was logged; None for not recorded."""

    month: int
    role: str = "surgeon"
    procedure: str = "phaco_iol"
    agreed: bool | None = None
    lag: int | None = None
    logged_on: int | None = None
    reused: bool = False


@dataclass
class Log:
    """One trainee: months are whole numbers; leave does not count; a log without `through` has no data."""

    ref: str
    started: int
    through: int | None
    is_current: bool
    of_completed_class: bool = False
    leave: set[int] = field(default_factory=set)
    cases: list[Case] = field(default_factory=list)

    def training_month(self, month: int) -> int:
        return max(1, len([each for each in range(self.started, month + 1) if each not in self.leave]))

    @property
    def last(self) -> int:
        return 0 if self.through is None else self.training_month(self.through)


OPERATING = {"surgeon"}
KNOWN_ROLES = {"surgeon", "teaching_assistant", "assistant", "observer"}
KNOWN_PROCEDURES = {"phaco_iol", "manual_lens", "lid_repair", "lid_cyst"}
Part = tuple[int | None, int | None]


def operating(cases: list[Case]) -> tuple[int, int]:
    known = [case for case in cases if case.role in KNOWN_ROLES]
    return len([case for case in known if case.role in OPERATING]), len(known)


def measures(log: Log) -> dict[str, Part]:
    cases = log.cases
    timed = [case for case in cases if case.lag is not None]
    dated = [case.logged_on for case in cases if case.logged_on is not None]
    of_operating = [case for case in cases if case.role in OPERATING]
    found: dict[str, Part] = {
        "entered_in_time": (len([case for case in timed if (case.lag or 0) <= WITHIN_DAYS]), len(timed)),
        "entered_on_one_day": (max((dated.count(day) for day in dated), default=0), len(dated)),
        "operating_role": operating(cases),
        "role_confirmed": (len([case for case in of_operating if case.agreed]), len(of_operating)),
        "procedure_unmapped": (
            len([case for case in cases if case.procedure not in KNOWN_PROCEDURES]),
            len(cases),
        ),
        "case_ref_reused": (len([case for case in cases if case.reused]), len(cases)),
    }
    months: list[int] = []
    if log.is_current and log.through is not None:
        months = [month for month in range(log.started, log.through + 1) if month not in log.leave]
    empty = [month for month in months if not any(case.month == month for case in cases)]
    found["months_without_cases"] = (len(empty), len(months))
    return {name: part if part[1] else (None, None) for name, part in found.items()}


def median_days(log: Log) -> float | None:
    days = [case.lag for case in log.cases if case.lag is not None]
    return statistics.median(days) if days else None


def earlier(log: Log, logs: list[Log]) -> tuple[list[float] | None, int | None]:
    """Quartiles of the shares of operating roles of earlier trainees, by the standard library; and of how many people."""
    if log.of_completed_class or not log.last:
        return None, None
    shares = []
    for other in logs:
        if other.of_completed_class and other.last >= log.last:
            part, whole = operating(
                [case for case in other.cases if other.training_month(case.month) <= log.last]
            )
            if whole:
                shares.append(part / whole)
    quartiles = (
        statistics.quantiles(shares, n=4, method="inclusive") if len(shares) >= FEWEST_EARLIER else None
    )
    return quartiles, len(shares) or None
