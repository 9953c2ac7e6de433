"""The oracle's answer to why a case counts toward a requirement or not, with every part of the grammar of rules.

Plain loops over the cells of the exports, and nothing of the project imported.
"""

from __future__ import annotations

from typing import Any

from tests.oracle_rows import (
    Programme,
    Row,
    case_key,
    cell,
    class_ends,
    code,
    codes,
    month_number,
    month_of,
    month_text,
    yes_no,
)

Answer = dict[str, Any]
Reasons = dict[str | None, tuple[str, str | None]]
FIRST_AND_LAST = ("0000-01", "9999-12")


def with_parts_written_out(specialty: Answer) -> Answer:
    """Each `of_which` as a requirement of its own: a part that narrows what the rule counts."""
    rules: Answer = {}
    for ref, rule in specialty["requirements"].items():
        rules[ref] = {key: value for key, value in rule.items() if key != "of_which"}
        for part, own in (rule.get("of_which") or {}).items():
            alone = ("either_or", "local_minimum", "replaces", "of_which")
            rules[part] = {key: value for key, value in rule.items() if key not in alone} | {"part_of": ref}
            if "procedures" in own or "procedure_groups" in own:
                rules[part] |= {"procedures": [], "procedure_groups": []}
            rules[part] |= own
    return specialty | {"requirements": rules}


def wholes(rule: Answer) -> list[str]:
    """The requirements of which it is a part, the one below which it is listed first."""
    named = rule.get("part_of")
    return [] if named is None else [named] if isinstance(named, str) else list(named)


class Credits(Programme):
    """Why each case counts, by the rules of the contract and of the specialty file."""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self.given = self.specialty
        self.specialty = with_parts_written_out(self.specialty)
        self._known: dict[str, dict[Any, Reasons]] = {}
        self._in_order: dict[str, list[Row]] = {}

    def credited(self, trainee: str, requirement: str) -> list[Row]:
        """The cases that count, in the order of the log."""
        reasons = self.reasons(trainee)
        counts = ("credited", None)
        return [
            case for case in self.in_log_order(trainee) if reasons[case_key(case)].get(requirement) == counts
        ]

    def reasons(self, trainee: str) -> dict[Any, Reasons]:
        """Of each case and each requirement that lists it: the reason, and what cap keeps it out."""
        if trainee not in self._known:
            found = {case_key(case): self._reasons_of(trainee, case) for case in self.cases(trainee)}
            for ref, rule in self.specialty["requirements"].items():
                self._one_an_operation(trainee, ref, rule, found)
                for cap, most in (rule.get("at_most") or {}).items():
                    self._cap(trainee, ref, (cap, most), found)
            self._known[trainee] = found
        return self._known[trainee]

    def in_log_order(self, trainee: str) -> list[Row]:
        """The cases as the log has them one after the other."""
        if trainee not in self._in_order:
            cases = self.cases(trainee)
            self._in_order[trainee] = sorted(cases, key=lambda case: self.place_in_log(trainee, case))
        return self._in_order[trainee]

    # One case and one rule.

    def _reasons_of(self, trainee: str, case: Row) -> Reasons:
        if code(case, "procedure") not in self.specialty["procedures"]:
            return {None: ("unmapped_code", None)}
        listed = [ref for ref, rule in self.specialty["requirements"].items() if self._lists(rule, case)]
        if not listed:
            return {None: ("no_requirement", None)}
        return {ref: (self._reason(trainee, case, ref), None) for ref in listed}

    def _procedures(self, rule: Answer) -> list[str]:
        found = list(rule.get("procedures") or [])
        for procedure, about in self.specialty["procedures"].items():
            groups = {about["group"], *(about.get("also_in") or [])}
            if groups & set(rule.get("procedure_groups") or []):
                found.append(procedure)
        return found

    def _lists(self, rule: Answer, case: Row) -> bool:
        procedures, techniques = self._procedures(rule), rule.get("techniques") or []
        if procedures:
            return code(case, "procedure") in procedures
        return code(case, "technique") in techniques

    def _reason(self, trainee: str, case: Row, ref: str) -> str:
        rule = self.specialty["requirements"][ref]
        month, role = month_of(case, "operated_on"), code(case, "role")
        if month < self.credit_from(trainee):
            return "before_credit_from"
        mapped = (rule.get("procedure_months") or {}).get(code(case, "procedure")) or {}
        if not self.in_force(rule, trainee) or not within(month, mapped.get("from"), mapped.get("to")):
            return "outside_edition"
        if rule.get("roles") and role not in rule["roles"]:
            return "role"
        if rule.get("stages") and self.stage(trainee, month) not in rule["stages"]:
            return "stage"
        if not self._attributes_fit(rule.get("attributes") or {}, codes(case, "attributes") or []):
            return "attribute"
        if rule.get("techniques") and code(case, "technique") not in rule["techniques"]:
            return "attribute"
        if not within(month, *self.window(rule, trainee)):
            return "window"
        if self.is_elsewhere(trainee, month) and not rule.get("elsewhere"):
            return "performed_elsewhere"
        if rule.get("principal_only") and yes_no(case, "principal") is not True:
            return "duplicate_in_operation"
        return self._claimed(case)

    @staticmethod
    def _claimed(case: Row) -> str:
        if yes_no(case, "supervisor_agreed") is False:
            return "supervisor_disagreed"
        if yes_no(case, "takeover") and yes_no(case, "supervisor_agreed") is not True:
            return "takeover_to_confirm"
        return "credited"

    def in_force(self, rule: Answer, trainee: str) -> bool:
        cohorts = rule.get("cohorts") or {}
        year = class_ends(self.roster[trainee])
        if cohorts.get("from") is not None and year < cohorts["from"]:
            return False
        return cohorts.get("to") is None or year <= cohorts["to"]

    @staticmethod
    def _attributes_fit(need: Answer, has: list[str]) -> bool:
        if not all(wanted in has for wanted in need.get("all") or []):
            return False
        if need.get("any") and not any(wanted in has for wanted in need["any"]):
            return False
        return not any(unwanted in has for unwanted in need.get("none") or [])

    # The months in which a rule looks for cases.

    def window(self, rule: Answer, trainee: str) -> tuple[str | None, str | None]:
        """The first and the last month whose cases count; None where the rule or the training sets none."""
        first = None
        if rule.get("last_years"):
            first = month_text(month_number(self._training_ends(trainee)) - 12 * rule["last_years"] + 1)
        lasts = []
        if rule.get("before_stage") and (months := self._months_in(rule["before_stage"], trainee)):
            lasts.append(month_text(month_number(months[0]) - 1))
        if rule.get("by_end_of_stage"):
            ends = self._training_ends(trainee)
            lasts += [month for month in self._months_in(rule["by_end_of_stage"], trainee) if month <= ends][
                -1:
            ]
        return first, min(lasts, default=None)

    def _training_ends(self, trainee: str) -> str:
        row = self.roster[trainee]
        ended = [month[:7] for name in ("completed", "left") if (month := cell(row, name))]
        return min(ended, default=month_of(row, "expected_completion"))

    def _months_in(self, stage: str, trainee: str) -> list[str]:
        """The months in which the stage was in force, from the first of the training or of a case."""
        row = self.roster[trainee]
        operated = [
            month_of(case, "operated_on")
            for slot in self._slots(trainee)
            for case in self.live[slot].values()
        ]
        known = [month_of(row, "started"), self.credit_from(trainee), *operated]
        known += [month_of(row, "expected_completion"), *filter(None, [self.data_through(trainee)])]
        first, last = month_number(min(known)), month_number(max(known))
        months = [month_text(number) for number in range(first, last + 1)]
        return [month for month in months if self.stage(trainee, month) == stage]

    # Cases of one rule beside one another.

    def _one_an_operation(self, trainee: str, ref: str, rule: Answer, found: dict[Any, Reasons]) -> None:
        """Of the rows of one operation the one that counts stands for it, before any other a confirmed one."""
        if rule.get("unit", "procedure") == "procedure" or rule.get("minimum") is None:
            return
        last = ("credited", "supervisor_disagreed", "takeover_to_confirm")
        rows: dict[str, list[Row]] = {}
        for case in self.cases(trainee):
            if found[case_key(case)].get(ref, ("", None))[0] in last:
                rows.setdefault(case["case_ref"].strip(), []).append(case)
        for same in rows.values():
            same.sort(
                key=lambda row: (
                    found[case_key(row)][ref][0] != "credited",
                    yes_no(row, "supervisor_agreed") is not True,
                    code(row, "procedure"),
                    code(row, "side") or "",
                )
            )
            for other in same[1:]:
                found[case_key(other)][ref] = ("duplicate_in_operation", None)

    def _cap(self, trainee: str, ref: str, cap: tuple[str, int], found: dict[Any, Reasons]) -> None:
        """Of the cases of a kind so many count, those operated first; the caps of a rule one after the other."""
        name, most = cap
        counted = 0
        for case in self.in_log_order(trainee):
            if found[case_key(case)].get(ref) != ("credited", None):
                continue
            kind = self._kind(trainee, case, name)
            if kind is None:
                continue
            counted += 1
            if counted > most:
                reason = {"role": "role", "elsewhere": "performed_elsewhere"}.get(kind, "attribute")
                found[case_key(case)][ref] = (reason, name)

    def _kind(self, trainee: str, case: Row, name: str) -> str | None:
        """As what the case is of the kind; None if it is not."""
        about = self.specialty["procedures"][code(case, "procedure")]
        groups = [about["group"], *(about.get("also_in") or [])]
        if name in self.specialty["roles"]:
            return "role" if code(case, "role") == name else None
        if name == "elsewhere":
            return "elsewhere" if self.is_elsewhere(trainee, month_of(case, "operated_on")) else None
        held = [*(codes(case, "attributes") or []), code(case, "technique"), code(case, "procedure"), *groups]
        return "kind" if name in held else None


def within(month: str, first: str | None, last: str | None) -> bool:
    return (first or FIRST_AND_LAST[0]) <= month <= (last or FIRST_AND_LAST[1])
