"""The published views computed a second time, in plain loops over the cells of the export files.

Nothing of the project is imported: what stands here is read from the contract alone, so that it can judge
the SQL. Rows are dicts of text cells as `csv.DictReader` gives them; every row handed in must be valid.
"""

from __future__ import annotations

import datetime as dt
import math
from functools import cache
from typing import Any

from scipy import optimize, special

from tests.oracle_credit import Credits
from tests.oracle_others import is_only_other, said
from tests.oracle_rows import (
    Export,
    Row,
    case_key,
    cell,
    code,
    codes,
    cohort_of,
    last_day,
    month_of,
    yes_no,
)
from tests.oracle_volume import with_parts

__all__ = ["COLUMNS", "KEYS", "Answer", "Export", "Oracle", "Row", "case_key", "wilson"]
Answer = dict[str, Any]

# Wilson 1927; Newcombe 1998, method 3. The 97.5 % point of the normal distribution at full precision.
Z = 1.959963984540054
CONFIDENCE = 0.95
ATTRIBUTIONS = ("as_logged", "as_started", "in_trainee_hands")

# Rows are ordered by the key columns, which come first.
HEAD = "programme_ref cohort trainee_ref"
KEYS = {
    "case_credit": ["programme_ref", "trainee_ref", "case_ref", "procedure", "side", "requirement_ref"],
    "case_volume": f"{HEAD} requirement_ref".split(),
    "complication_rate": f"{HEAD} complication_ref procedure_group attribution".split(),
    "supervision_mix": f"{HEAD} procedure_group training_quarter level_ref".split(),
}
AFTER_KEY = {
    "case_credit": "credited reason over_cap data_through",
    "case_volume": "requirement_title minimum counted_cases remaining_cases met edition confirmed_cases"
    " held_cases parts_total parts_short reached part_depth reached_by unit deadline published_minimum data_through",
    "complication_rate": "events known_outcomes unknown_outcomes rate rate_low rate_high confidence"
    " eligible_cases not_yet_due events_unclear early_events events_unfollowed possible_low possible_high"
    " anytime_low anytime_high known_from_others data_through",
    "supervision_mix": "level_rank cases known_cases share data_through",
}
COLUMNS = {view: [*key, *AFTER_KEY[view].split()] for view, key in KEYS.items()}


def wilson(events: int, known: int) -> tuple[float, float]:
    """The interval by its plain formula; 0 and 1 are exact where nothing or everything happened."""
    share = events / known
    shrink = 1 + Z * Z / known
    centre = (share + Z * Z / (2 * known)) / shrink
    half = Z / shrink * math.sqrt(share * (1 - share) / known + Z * Z / (4 * known * known))
    low = 0.0 if events == 0 else max(0.0, centre - half)
    high = 1.0 if events == known else min(1.0, centre + half)
    return low, high


@cache
def anytime(events: int, known: int) -> tuple[float, float]:
    """The rates against which the mixture of weight c around them, narrowest near 50 cases, has no odds of 20 to 1.

    Howard, Ramdas, McAuliffe and Sekhon 2021, Ann Stat 49:1055.
    """
    double = 2 * math.log(20)
    c = 50 / (double + math.log(1 + double)) - 1

    def against(p: float) -> float:
        a, b = c * p, c * (1 - p)
        mixed = special.betaln(a + events, b + known - events) - special.betaln(a, b)
        return float(mixed - events * math.log(p) - (known - events) * math.log1p(-p) - math.log(20))

    least, share = 1e-12, min(max(events / known, 1e-12), 1 - 1e-12)
    low = optimize.brentq(against, least, share, xtol=1e-13) if against(least) > 0 else 0.0
    high = optimize.brentq(against, share, 1 - least, xtol=1e-13) if against(1 - least) > 0 else 1.0
    return float(low), float(high)


def in_order(rows: list[Answer], view: str) -> list[Answer]:
    """By the key columns: nulls first, text by code point, numbers by value."""

    def place(row: Answer) -> list[tuple[Any, ...]]:
        return [(0,) if row[name] is None else (1, row[name]) for name in KEYS[view]]

    return [{name: row[name] for name in COLUMNS[view]} for row in sorted(rows, key=place)]


def groups_of(complication: Answer) -> list[str]:
    """The procedure groups in whose cases it is counted, the one under which it is listed first."""
    named = complication["group"]
    return [named] if isinstance(named, str) else list(named)


class Oracle(Credits):
    """The answers that the contract's views must give for one programme."""

    def _head(self, trainee: str) -> Answer:
        row = self.roster[trainee]
        return {
            "programme_ref": cell(row, "programme_ref") or self.programme_ref,
            "cohort": cohort_of(row),
            "trainee_ref": trainee,
            "data_through": self.data_through(trainee),
        }

    def _group(self, case: Row) -> str | None:
        procedure = self.specialty["procedures"].get(code(case, "procedure"))
        return procedure["group"] if procedure else None

    # case_credit

    def case_credit(self) -> list[Answer]:
        rows = []
        for trainee in self.roster:
            for (case_ref, procedure, side), reasons in self.reasons(trainee).items():
                of_case = {"case_ref": case_ref, "procedure": procedure, "side": side}
                for requirement, (reason, over_cap) in reasons.items():
                    said = {
                        "requirement_ref": requirement,
                        "credited": reason == "credited" and over_cap is None,
                    }
                    said |= {"reason": reason, "over_cap": over_cap}
                    rows.append(self._head(trainee) | of_case | said)
        return in_order(rows, "case_credit")

    # case_volume

    def case_volume(self) -> list[Answer]:
        rows = []
        for trainee in self.roster:
            own = [
                self._volume_row(trainee, ref, rule)
                for ref, rule in self.specialty["requirements"].items()
                if rule.get("minimum") is not None and self.in_force(rule, trainee)
            ]
            rows += with_parts(own, self.specialty)
        return in_order(rows, "case_volume")

    def _volume_row(self, trainee: str, ref: str, rule: Answer) -> Answer:
        counted = self.credited(trainee, ref)
        own = rule.get("local_minimum")
        minimum = own["minimum"] if own else rule["minimum"]
        return self._head(trainee) | {
            "requirement_ref": ref,
            "requirement_title": rule["title"],
            "minimum": minimum,
            "counted_cases": len(counted),
            "remaining_cases": max(minimum - len(counted), 0),
            "met": len(counted) >= minimum,
            "edition": rule.get("edition"),
            "confirmed_cases": len([case for case in counted if yes_no(case, "supervisor_agreed")]),
            "held_cases": 0,
            "unit": rule.get("unit", "procedure"),
            "deadline": self.window(rule, trainee)[1],
            "published_minimum": rule["minimum"] if own else None,
        }

    # complication_rate

    def complication_rate(self) -> list[Answer]:
        rows = [
            self._rate_row(trainee, ref, complication, attribution)
            for trainee in self.roster
            for ref, complication in self.specialty["complications"].items()
            for attribution in ATTRIBUTIONS
        ]
        return in_order(rows, "complication_rate")

    def _rate_row(self, trainee: str, ref: str, complication: Answer, attribution: str) -> Answer:
        window = complication["window_days"]
        names = "events known unknown not_yet_due unclear early unfollowed from_others"
        counts = dict.fromkeys(names.split(), 0)
        for case in self.cases(trainee):
            if self._enters_rate(trainee, case, complication, attribution):
                for name in self._outcome(trainee, case, ref, window, attribution):
                    counts[name] += 1
        return self._head(trainee) | {
            "complication_ref": ref,
            "procedure_group": groups_of(complication)[0],
            "attribution": attribution,
            "events": counts["events"],
            "known_outcomes": counts["known"],
            "unknown_outcomes": counts["unknown"],
            **self._rate(counts, window, attribution),
            "confidence": CONFIDENCE,
            "eligible_cases": counts["known"] + counts["unknown"] + counts["not_yet_due"],
            "not_yet_due": counts["not_yet_due"],
            "events_unclear": counts["unclear"],
            "early_events": counts["early"],
            "events_unfollowed": counts["unfollowed"],
            "known_from_others": counts["from_others"],
        }

    @staticmethod
    def _rate(counts: dict[str, int], window: int, attribution: str) -> Answer:
        """The rate and its interval among the known, and between which two it would be if all were known."""
        names = "rate rate_low rate_high possible_low possible_high anytime_low anytime_high"
        rate: Answer = dict.fromkeys(names.split())
        known, events = counts["known"], counts["events"]
        due = known + counts["unknown"]
        if due == 0 or (window > 0 and attribution == "in_trainee_hands"):
            return rate
        rate["possible_low"] = (events + counts["unfollowed"]) / due
        rate["possible_high"] = (events + counts["unknown"] + counts["unclear"]) / due
        if known > 0 and (window == 0 or 2 * known >= due):
            rate["rate"] = events / known
            rate["rate_low"] = wilson(events, known)[0]
            rate["rate_high"] = wilson(events + counts["unclear"], known)[1]
            rate["anytime_low"] = anytime(events, known)[0]
            rate["anytime_high"] = anytime(events + counts["unclear"], known)[1]
        return rate

    def _operates(self, case: Row) -> bool:
        """Whether the role is marked as operating; where none is, whether it is that of surgeon."""
        roles = self.specialty["roles"]
        marked = [ref for ref, role in roles.items() if isinstance(role, dict) and role.get("operating")]
        return code(case, "role") in (marked or ["surgeon"])

    def _teaches(self, case: Row) -> bool:
        role = self.specialty["roles"][code(case, "role")]
        return isinstance(role, dict) and role.get("teaching") is True

    def _is_of_a_patient(self, case: Row) -> bool:
        for name in codes(case, "attributes") or []:
            attribute = self.specialty["attributes"][name]
            if isinstance(attribute, dict) and attribute.get("patient") is False:
                return False
        return True

    def _is_eligible(self, trainee: str, case: Row) -> bool:
        """Whether the case was performed here, on a patient."""
        return self._is_of_a_patient(case) and not self.is_elsewhere(trainee, month_of(case, "operated_on"))

    def _enters_rate(self, trainee: str, case: Row, complication: Answer, attribution: str) -> bool:
        if self._group(case) not in groups_of(complication) or not self._is_eligible(trainee, case):
            return False
        if self._operates(case):
            return True
        return attribution != "as_logged" and yes_no(case, "takeover") is True and not self._teaches(case)

    def _outcome(self, trainee: str, case: Row, ref: str, window: int, attribution: str) -> list[str]:
        """The counts that this case adds to."""
        recorded = codes(case, "complications")
        hit = self._is_hit(recorded or [], ref, window)
        others = said(self, trainee, case, ref, window)
        hit = others[0][1] if others else hit
        if window > 0 and not self._window_is_over(trainee, case, window):
            return ["not_yet_due", "early"] if hit else ["not_yet_due"]
        if others:
            known = ["known"] if others[0][0] == "trainee" else ["known", "from_others"]
            return [*known, *self._event_columns(case, attribution)] if hit else known
        if recorded is None or is_only_other(recorded):
            return ["unknown"]
        if window > 0 and not self._is_followed(case, recorded, ref, window):
            return ["unknown", "unfollowed"] if hit else ["unknown"]
        return ["known", *self._event_columns(case, attribution)] if hit else ["known"]

    @staticmethod
    def _is_followed(case: Row, recorded: list[str], ref: str, window: int) -> bool:
        """Through the window, or to the very day of the event."""
        days = cell(case, "follow_up_days")
        if days is None:
            return False
        ended = [
            event.partition("@")[2].strip() for event in recorded if event.partition("@")[0].strip() == ref
        ]
        return int(days) >= window or int(days) in [int(day) for day in ended if day]

    @staticmethod
    def _is_hit(recorded: list[str], ref: str, window: int) -> bool:
        for event in recorded:
            name, _, day = event.partition("@")
            if name.strip() == ref and (window == 0 or not day or int(day) <= window):
                return True
        return False

    def _window_is_over(self, trainee: str, case: Row, window: int) -> bool:
        last = last_day(month_of(case, "operated_on")) + dt.timedelta(days=window)
        return last <= last_day(self.through_of(trainee, case))

    @staticmethod
    def _event_columns(case: Row, attribution: str) -> list[str]:
        hands = code(case, "event_hands")
        if attribution != "in_trainee_hands" or hands == "trainee":
            return ["events"]
        return [] if hands == "supervisor" else ["unclear"]

    # supervision_mix

    def supervision_mix(self) -> list[Answer]:
        counts: dict[tuple[str, str, int], dict[str | None, int]] = {}
        for trainee in self.roster:
            for case in self.cases(trainee):
                group, month = self._group(case), month_of(case, "operated_on")
                if group and self._operates(case) and self._is_eligible(trainee, case):
                    levels = counts.setdefault((trainee, group, self.training_quarter(trainee, month)), {})
                    level = self._level(case)
                    levels[level] = levels.get(level, 0) + 1
        rows = [self._mix_row(place, levels, level) for place, levels in counts.items() for level in levels]
        return in_order(rows, "supervision_mix")

    def _level(self, case: Row) -> str | None:
        """The level recorded; one that contradicts the role is as good as none."""
        level = code(case, "supervision")
        agrees = self.specialty["supervision"][level].get("roles") if level else None
        return level if not agrees or code(case, "role") in agrees else None

    def _mix_row(
        self, place: tuple[str, str, int], levels: dict[str | None, int], level: str | None
    ) -> Answer:
        trainee, group, quarter = place
        known = sum(cases for name, cases in levels.items() if name is not None)
        ladder = list(self.specialty["supervision"])
        return self._head(trainee) | {
            "procedure_group": group,
            "training_quarter": quarter,
            "level_ref": level,
            "level_rank": None if level is None else ladder.index(level) + 1,
            "cases": levels[level],
            "known_cases": known,
            "share": None if level is None else levels[level] / known,
        }

    def view(self, name: str) -> list[Answer]:
        """One of the four views by name."""
        rows: list[Answer] = getattr(self, name)()
        return rows
