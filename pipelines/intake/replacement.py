"""What an export changes in what is live, and what must not change without a person's word.

Reads `new`, `seat`, `left_out` and `live` (of the trainees and the source concerned) of a kind. Makes in its schema

- `kept_key`: keys of cases whose live version stays because the row in the file was left out
- `comparison`: one row a key in the file or live, with `outcome` = added, unchanged, changed, kept, withdrawn, untouched

and says which files change anything, and which reasons there are to hold them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import duckdb

from pipelines.contract.codes_in_words import whose
from pipelines.contract.formats import CASES, Kind
from pipelines.contract.rules import ABOUT_THE_INTAKE
from pipelines.files.reading import Part
from pipelines.intake import staging
from pipelines.store.documents import Entry, Line
from pipelines.store.store import read_findings

if TYPE_CHECKING:
    from pipelines.intake.judging import Judged, Setting

# What a finding is about and what it says, whatever its file is called: row, column, rule, words.
Place = tuple[int | None, str | None, str, str]
Places = dict[Any, set[Place]]
# More than two rows, and more than one in twenty of those live now.
ROWS_THAT_MAY_GO = 2
SHARE_THAT_MAY_GO = 0.05


@dataclass(frozen=True)
class Balance:
    """How the rows of one trainee came out, in one kind and source."""

    trainee_ref: str
    live_before: int
    added: int
    unchanged: int
    changed: int
    kept: int
    withdrawn: int
    live_after: int

    @property
    def alters(self) -> bool:
        return bool(self.added or self.changed or self.withdrawn)

    def as_receipt(self) -> dict[str, str | int]:
        """The fields, which balance; raises AssertionError if they do not."""
        in_file = self.unchanged + self.changed + self.kept + self.withdrawn
        if self.live_before < in_file or self.live_after != self.live_before + self.added - self.withdrawn:
            raise AssertionError(f"{self.trainee_ref}: live rows do not balance: {asdict(self)}")
        return asdict(self)


@dataclass(frozen=True)
class Change:
    """What would become of one trainee's rows of one kind; months through which the log runs, for cases."""

    trainee_ref: str
    kind: str
    new: int
    changed: int
    unchanged: int
    kept: int
    gone: int
    before: int
    after: int
    through_before: str | None = None
    through_after: str | None = None

    @property
    def whose(self) -> str:
        """The trainee, or that no log has the operations yet."""
        return whose(self.trainee_ref)


@dataclass(frozen=True)
class Reason:
    """One reason to hold a command, about one trainee, and one case of theirs where it is about a row.

    `if_appended`: whether it would hold too if the rows were added to those in use.
    """

    trainee_ref: str
    text: str
    case_ref: str | None = None
    if_appended: bool = True


def name_what_was_unmapped(connection: duckdb.DuckDBPyConnection) -> None:
    """Give a live case that was unmapped the procedure and side that its word has come to mean: a change, no withdrawal.

    In each operation the unmapped rows that the files do not hold any more stand for its rows that are new, in order.
    """
    connection.execute("alter table cases.live add column procedure_before varchar")
    operation = "partition by {0}.trainee_ref, {0}.case_ref order by {1}"
    connection.execute(
        "update cases.live as live set procedure_before = live.procedure, procedure = named.procedure, side = named.side"
        " from (select gone.*, came.procedure, came.side from (select trainee_ref, case_ref, procedure as was,"
        f" side as was_side, row_number() over ({operation.format('live', 'live.procedure, live.side')}) as place"
        " from cases.live as live where starts_with(procedure, 'unmapped-') and not exists ("
        f"select 1 from cases.read as read where {same_key(CASES, 'live', 'read')})) as gone"
        " join (select trainee_ref, case_ref, procedure, side,"
        f" row_number() over ({operation.format('new', 'new.row_id')}) as place"
        " from cases.accepted as new where not exists ("
        f"select 1 from cases.live as live where {same_key(CASES, 'live', 'new')})) as came"
        " using (trainee_ref, case_ref, place)) as named where live.trainee_ref = named.trainee_ref"
        " and live.case_ref = named.case_ref and live.procedure = named.was"
        " and live.side is not distinct from named.was_side"
    )


def find_kept(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `cases.kept_key`: live keys that stand in the file only as rows left out."""
    connection.execute(
        "create table cases.kept_key as select distinct live.trainee_ref, live.case_ref, live.procedure, live.side,"
        " first_value(read.sheet_number) over (partition by live.trainee_ref, live.case_ref, live.procedure,"
        " live.side order by read.row_id) as sheet_number"
        f" from cases.live as live join cases.read as read on {same_key(CASES, 'live', 'read')}"
        " where read.row_id in (select row_id from cases.left_out) and not exists ("
        f"select 1 from cases.accepted as accepted where {same_key(CASES, 'live', 'accepted')})"
    )


def compare(connection: duckdb.DuckDBPyConnection, kind: Kind, withdraws: bool) -> None:
    """Make `comparison`; `withdraws` where a live row that the file does not name goes."""
    seat = ("trainee_ref", *(name for name in kind.key if name != "trainee_ref"))
    key = ", ".join(f'coalesce(new."{name}", live."{name}") as "{name}"' for name in seat)
    kept = (
        f"exists (select 1 from cases.kept_key as kept_key where {same_key(kind, 'live', 'kept_key')})"
        if kind is CASES
        else "false"
    )
    absent = "'withdrawn'" if withdraws else "'untouched'"
    if kind.whole:
        record = ", ".join(f'live."{name}"' for name in kind.whole)
        names = ", ".join(f'"{name}"' for name in kind.whole)
        absent = f"case when ({record}) in (select ({names}) from {kind.name}.new) then 'withdrawn' else 'untouched' end"
    both = same_key(kind, "new", "live")
    if kind.whole:
        # A record that moves to another trainee goes from the one and comes to the other.
        both += " and new.trainee_ref = live.trainee_ref"
    differs = " or ".join(f'new."{name}" is distinct from live."{name}"' for name in kind.content) or "false"
    if kind is CASES:
        differs += " or live.procedure_before is not null"
    keys_of_new = ", ".join(f'"{name}"' for name in seat)
    connection.execute(
        f"create table {kind.name}.comparison as with unlike as ("
        # What rows say is compared only where the key is live already: an export is often new as a whole.
        f"select new.row_id from {kind.name}.new as new join {kind.name}.live as live on {both} where {differs}"
        f") select {key}, new.row_id, case when live.trainee_ref is null then 'added'"
        " when new.row_id in (select row_id from unlike) then 'changed' when new.row_id is not null then 'unchanged'"
        f" when {kept} then 'kept' else {absent} end as outcome"
        f" from (select row_id, {keys_of_new} from {kind.name}.new) as new"
        f" full join {kind.name}.live as live on {both}"
    )


def same_key(kind: Kind, left: str, right: str) -> str:
    """SQL that joins two tables by the key of a kind."""
    # A blank side is its own side; coalesce, so that the join can hash.
    return " and ".join(
        f"coalesce({left}.\"{name}\", '') = coalesce({right}.\"{name}\", '')" for name in kind.key
    )


def balances(connection: duckdb.DuckDBPyConnection, kind: Kind) -> list[Balance]:
    """One balance for each trainee that the files name, in the order of the reference."""
    rows = connection.execute(
        "with outcome as (select trainee_ref,"
        " count(*) filter (outcome = 'added') as added, count(*) filter (outcome = 'unchanged') as unchanged,"
        " count(*) filter (outcome = 'changed') as changed, count(*) filter (outcome = 'kept') as kept,"
        " count(*) filter (outcome = 'withdrawn') as withdrawn, count(*) filter (outcome = 'untouched') as untouched"
        f" from {kind.name}.comparison group by trainee_ref)"
        " select trainee_ref, coalesce(unchanged + changed + kept + withdrawn + untouched, 0) as live_before,"
        " coalesce(added, 0), coalesce(unchanged, 0), coalesce(changed, 0), coalesce(kept, 0), coalesce(withdrawn, 0),"
        " coalesce(added + unchanged + changed + kept + untouched, 0) as live_after"
        f" from (select distinct trainee_ref from {kind.name}.seat where trainee_ref is not null) as named"
        " left join outcome using (trainee_ref) order by trainee_ref"
    ).fetchall()
    return [Balance(*row) for row in rows]


def changes(judged: Judged) -> list[Change]:
    """One row for each kind and trainee that the files name."""
    rows = []
    for kind in judged.kinds:
        for each in judged.balances[kind.name]:
            line = judged.setting.line(kind, each.trainee_ref)
            rows.append(
                Change(
                    each.trainee_ref,
                    kind.name,
                    *(each.added, each.changed, each.unchanged, each.kept, each.withdrawn),
                    *(each.live_before, each.live_after),
                    line.data_through if line else None,
                    judged.through.get(each.trainee_ref) if kind is CASES else None,
                )
            )
    return rows


def altered_otherwise(connection: duckdb.DuckDBPyConnection, replaces: bool) -> set[str]:
    """Trainees of whom cases change although no row does: in their place in the log, or in which source counts."""
    different = " or ".join(f'new."{name}" is distinct from other."{name}"' for name in CASES.content)
    outlived = (
        "select distinct new.trainee_ref from cases.new as new"
        f" join cases.live as live on {same_key(CASES, 'new', 'live')}"
        f" join cases.other_source as other on {same_key(CASES, 'new', 'other')}"
        f" where other.source_taken > live.source_taken and ({different})"
    )
    moved = (
        "select distinct named.trainee_ref from cases.comparison as named join cases.new as new using (row_id)"
        f" join cases.live as live on {same_key(CASES, 'named', 'live')} where outcome = 'unchanged'"
        " and (new.case_sequence is distinct from live.case_sequence"
        " or new.same_day_logged is distinct from live.same_day_logged)"
    )
    queries = [outlived, moved] if replaces else [outlived]
    return {row[0] for query in queries for row in connection.execute(query).fetchall()}


def changes_query(kind: Kind) -> str:
    """What changed, `row_id, trainee_ref, kind, key, change, field, before, after`, one row a field.

    A withdrawn row, and one whose older version was kept, is one row without a field.
    """
    key = shown_key(kind, "named.")
    fields = ", ".join(
        f"{{'field': '{name}', 'before': live.\"{name}\"::varchar, 'after': new.\"{name}\"::varchar}}"
        for name in kind.content
    )
    if kind is CASES:
        fields += ", {'field': 'procedure', 'before': coalesce(live.procedure_before, live.procedure), 'after': new.procedure}"
    return (
        f"select row_id, trainee_ref, '{kind.name}' as kind, key, 'changed' as change, differing.field as field,"
        " differing.before as before, differing.after as after from ("
        f"select row_id, named.trainee_ref, {key} as key, unnest([{fields}]) as differing"
        f" from {kind.name}.comparison as named join {kind.name}.new as new using (row_id)"
        f" join {kind.name}.live as live on {same_key(kind, 'named', 'live')}"
        " where outcome = 'changed') where differing.before is distinct from differing.after"
        f" union all select null, trainee_ref, '{kind.name}', {key}, outcome, null, null, null"
        f" from {kind.name}.comparison as named where outcome in ('kept', 'withdrawn')"
        if kind.content
        else f"select null::bigint as row_id, trainee_ref, '{kind.name}' as kind, {key} as key, outcome as change,"
        " null::varchar as field, null::varchar as before, null::varchar as after"
        f" from {kind.name}.comparison as named where outcome in ('kept', 'withdrawn')"
    )


def shown_key(kind: Kind, table: str = "") -> str:
    """SQL of the key of a row within its trainee, as history names it; a blank side is left away."""
    parts = [f'{table}"{name}"::varchar' for name in kind.key if name != "trainee_ref"]
    return f"concat_ws(' ', {', '.join(parts)})" if parts else "''"


def rows_that_go(balances: Iterable[Balance], unaccepted: Callable[[str], int]) -> list[Reason]:
    """Trainees of whom too many live rows would go or stay only in an older version.

    `unaccepted` gives the rows of a trainee that went or were kept since a person last accepted that.
    """
    return [
        Reason(
            each.trainee_ref,
            _what_goes(each, before),
            if_appended=bool(each.kept) and _too_many(each.kept + before, each.live_before),
        )
        for each in balances
        if each.withdrawn + each.kept
        and _too_many(each.withdrawn + each.kept + (before := unaccepted(each.trainee_ref)), each.live_before)
    ]


def _too_many(gone: int, live: int) -> bool:
    return gone > ROWS_THAT_MAY_GO and gone > SHARE_THAT_MAY_GO * live


def _what_goes(each: Balance, before: int) -> str:
    gone = each.withdrawn + each.kept + before
    parts = {
        "not in the file": each.withdrawn,
        "only as before, since the new row is left out": each.kept,
        "gone by earlier exports, which nobody has answered for": before,
    }
    what = ", ".join(f"{count} {words}" for words, count in parts.items() if count)
    return f"{gone} of {each.live_before} cases in use would go or stay only as before ({what})"


def rows_that_say_less(connection: duckdb.DuckDBPyConnection) -> list[Reason]:
    """Cases that would go although they carried an event, or would say less about the trainee than they do now."""
    rows = connection.execute(_ROW_REASONS).fetchall()
    return [
        Reason(trainee_ref, text, case_ref, if_appended=not text.startswith("would be gone"))
        for trainee_ref, case_ref, text in rows
    ]


# A hit is an event with a day inside its window, or without a day.
_ROW_REASONS = """
with

pair as (

    select
        named.trainee_ref, named.case_ref, named.outcome, named.row_id,
        live.complications, live.takeover, live.event_hands, live.role,
        new.complications as new_complications, new.takeover as new_takeover,
        new.event_hands as new_event_hands, new.role as new_role,
        -- Something else that happened is told by its code now.
        coalesce(len(list_filter(
            event_codes(string_split(new.complications, ';')),
            lambda code: code <> 'none'
            and not list_contains(event_codes(string_split(live.complications, ';')), code)
        )) > 0, false) as names_more
    from cases.comparison as named
    join cases.live as live
        on live.trainee_ref = named.trainee_ref and live.case_ref = named.case_ref
        and live.procedure = named.procedure and coalesce(live.side, '') = coalesce(named.side, '')
    left join cases.new as new using (row_id)
    where named.outcome in ('changed', 'withdrawn')

),

event_before as (

    select *, unnest(string_split(complications, ';')) as event
    from pair
    where complications <> 'none'

),

event_pair as (

    select
        event_before.*,
        split_part(event, '@', 1) as code,
        try_cast(nullif(split_part(event, '@', 2), '') as integer) as day,
        list_filter(
            string_split(coalesce(new_complications, ''), ';'),
            lambda part: split_part(part, '@', 1) = split_part(event, '@', 1)
        )[1] as new_event
    from event_before

),

reason as (

    select trainee_ref, case_ref, 'would be gone, and a complication with it' as text
    from pair
    where outcome = 'withdrawn' and complications <> 'none'
    union all
    select trainee_ref, case_ref, 'would be gone, and a takeover with it'
    from pair
    where outcome = 'withdrawn' and takeover
    union all
    select trainee_ref, case_ref, 'the complication ' || code || ' is no longer recorded'
    from event_pair
    where outcome = 'changed' and new_event is null and not (code = 'other' and names_more)
    union all
    select trainee_ref, case_ref, 'the day of ' || code || ' now lies past its window'
    from event_pair
    join complication_window on complication_window.complication_ref = code
    where
        outcome = 'changed' and window_days > 0
        and (day is null or day <= window_days)
        and try_cast(nullif(split_part(new_event, '@', 2), '') as integer) > window_days
    union all
    select trainee_ref, case_ref, 'the takeover is no longer recorded'
    from pair
    where outcome = 'changed' and takeover and new_takeover is distinct from true
    union all
    select trainee_ref, case_ref, 'the event was in the trainee''s hands and is no longer said to be'
    from pair
    where outcome = 'changed' and event_hands = 'trainee' and new_event_hands is distinct from 'trainee'
    union all
    select trainee_ref, case_ref, 'the role was changed upward, from ' || pair.role || ' to ' || new_role
    from pair
    join role as before_role on before_role.role = pair.role
    join role as after_role on after_role.role = pair.new_role
    where outcome = 'changed' and after_role.position < before_role.position

)

select * from reason order by trainee_ref, case_ref, text
"""


# ---- what the files would change


def parts_that_change(judged: Judged) -> list[Part]:
    """The tables of those files that would leave anything other than it is: judged by the outcome."""
    changing: set[str] = set()
    for kind in judged.kinds:
        before = _said_before(judged, kind)
        altered = _altered_trainees(judged, kind, before)
        anew = _says_anew_of_nobody(judged, kind, before)
        for part in judged.parts:
            if (
                part.kind is kind
                and (named := judged.trainees_of(kind, [part]))
                and (anew or named & altered)
            ):
                changing.add(part.sha256)
    return [part for part in judged.parts if part.sha256 in _with_the_same_people(judged, changing)]


def _with_the_same_people(judged: Judged, chosen: set[str]) -> set[str]:
    """Those files, and every other that names somebody of theirs: of each person all files of a command stand, or none."""
    while True:
        more = set(chosen)
        for kind in judged.kinds:
            of_kind = [part for part in judged.parts if part.kind is kind]
            named = judged.trainees_of(kind, [part for part in of_kind if part.sha256 in chosen])
            more |= {part.sha256 for part in of_kind if judged.trainees_of(kind, [part]) & named}
        if more == chosen:
            return more
        chosen = more


def _altered_trainees(judged: Judged, kind: Kind, before: Places) -> set[str]:
    """The named trainees of whom a live row, its place in the log, a finding or data_through would change."""
    balances = judged.balances[kind.name]
    altered = {balance.trainee_ref for balance in balances if balance.alters}
    if kind is CASES:
        altered |= altered_otherwise(judged.connection, replaces=not judged.setting.append)
    lines = {each.trainee_ref: judged.setting.line(kind, each.trainee_ref) for each in balances}
    # Other kinds have no data_through, neither now nor before.
    through = judged.through if kind is CASES else {}
    altered |= {ref for ref, line in lines.items() if line is None or through.get(ref) != line.data_through}
    same_rows = {ref: line for ref, line in lines.items() if line and ref not in altered}
    now = _says_now(judged, kind, list(same_rows))
    return altered | {
        ref
        for ref, line in same_rows.items()
        if not _leaves_findings_unchanged(judged, kind, line, before, now.get(ref, set()))
    }


def _leaves_findings_unchanged(
    judged: Judged, kind: Kind, line: Line, before: Places, now: set[Place]
) -> bool:
    """Would this intake leave the trainee's findings unchanged?"""
    live = _places(before, (entry.intake_id for entry in line.intakes), line.trainee_ref)
    if kind is CASES and judged.setting.append:
        return now <= live
    kept = (entry.intake_id for entry in staying(judged, kind, line))
    return now | _places(before, kept, line.trainee_ref) == live


def _says_anew_of_nobody(judged: Judged, kind: Kind, before: Places) -> bool:
    """Would findings about no trainee (an unknown column) be others than they are?"""
    named = [balance.trainee_ref for balance in judged.balances[kind.name]]
    lines = [line for trainee_ref in named if (line := judged.setting.line(kind, trainee_ref))]
    live = {entry.intake_id for line in lines for entry in line.intakes}
    now, then = _says_now(judged, kind, [None]).get(None, set()), _places(before, live, None)
    if kind is CASES and judged.setting.append:
        return not now <= then
    others = [line for line in judged.setting.manifest.live if line not in lines]
    kept = {entry.intake_id for line in lines for entry in staying(judged, kind, line)}
    kept |= live & {entry.intake_id for line in others for entry in line.intakes}
    return now | _places(before, kept, None) != then


def staying(judged: Judged, kind: Kind, line: Line) -> list[Entry]:
    """The earlier intakes that stay live for a trainee beside the one in hand."""
    if kind is CASES and not judged.setting.append:
        return []
    key = " and ".join(
        f"coalesce(live.\"{name}\", '') = coalesce(compared.\"{name}\", '')" for name in kind.key
    )
    live_from = {
        row[0]
        for row in judged.rows(
            f"select distinct live.intake_id from {kind.name}.live as live"
            f" join {kind.name}.comparison as compared on {key}"
            " where live.trainee_ref = ? and outcome in ('untouched', 'kept')",
            [line.trainee_ref],
        )
    }
    return [entry for entry in line.intakes if entry.intake_id in live_from]


def _says_now(judged: Judged, kind: Kind, trainees: list[str] | list[None]) -> Places:
    """What these files' findings say about some trainees; about nobody for None."""
    rows = staging.batches(
        judged.connection,
        "select trainee_ref, source_row, column_name, rule, file_name, message, remedy from stored_finding"
        " where kind = ? and stored and coalesce(trainee_ref, '') in (select coalesce(unnest(?::varchar[]), ''))",
        [kind.name, trainees],
    )
    now: Places = {}
    for batch in rows:
        for row in batch.to_pylist():
            _put(now, row["trainee_ref"], row)
    return now


def _said_before(judged: Judged, kind: Kind) -> Places:
    """What the findings of the intakes say that are live for the trainees named, by intake and trainee."""
    store = judged.setting.store
    lines = [judged.setting.line(kind, balance.trainee_ref) for balance in judged.balances[kind.name]]
    before: Places = {}
    if store is None:
        return before
    for intake_id in {entry.intake_id for line in lines if line for entry in line.intakes}:
        for row in read_findings(store, intake_id):
            if row["kind"] == kind.name:
                _put(before, (intake_id, row["trainee_ref"]), row)
    return before


def _put(places: Places, key: object, finding: dict[str, Any]) -> None:
    if finding["rule"] not in ABOUT_THE_INTAKE:
        words = f"{finding['message'].removeprefix(finding['file_name'])} {finding['remedy']}"
        place = finding["source_row"], finding["column_name"], finding["rule"], words
        places.setdefault(key, set()).add(place)


def _places(places: Places, intake_ids: Iterable[str], trainee_ref: str | None) -> set[Place]:
    return {place for intake_id in intake_ids for place in places.get((intake_id, trainee_ref), ())}


# ---- what must wait for a person's word


def reasons_to_hold(judged: Judged, parts: Iterable[Part]) -> list[Reason]:
    """Why the tables that change anything must wait for a person's word."""
    setting, changing = judged.setting, list(parts)
    reasons: list[Reason] = []
    if CASES in judged.kinds:
        named = judged.trainees_of(CASES, changing)
        reasons = [
            *rows_that_go(judged.balances[CASES.name], unaccepted(setting)),
            *rows_that_say_less(judged.connection),
            *_data_that_would_go_back(judged),
        ]
        reasons = [reason for reason in reasons if reason.trainee_ref in named]
    return reasons + _taken_before(judged, changing)


def unaccepted(setting: Setting) -> Callable[[str], int]:
    def unaccepted(trainee_ref: str) -> int:
        line = setting.line(CASES, trainee_ref)
        return line.unaccepted if line else 0

    return unaccepted


def _data_that_would_go_back(judged: Judged) -> list[Reason]:
    lines = {trainee_ref: judged.setting.line(CASES, trainee_ref) for trainee_ref in judged.through}
    return [
        Reason(
            trainee_ref,
            f"the log in use runs through {line.data_through}, this one through {now or 'no month'}:"
            " it looks like an older export",
            if_appended=False,
        )
        for trainee_ref, now in sorted(judged.through.items())
        if (line := lines[trainee_ref]) and line.data_through and (now or "") < line.data_through
    ]


def _taken_before(judged: Judged, changing: list[Part]) -> list[Reason]:
    """Files whose content was live for a trainee before, and has been replaced since by a newer one."""
    store, reasons = judged.setting.store, []
    known = {
        part.sha256 for part in changing if store and any((store.root / "intake").glob(f"{part.sha256}-*"))
    }
    if not known or store is None:
        return []
    manifests = store.manifests()
    for part in changing:
        if part.sha256 not in known:
            continue
        for trainee_ref in sorted(judged.trainees_of(part.kind, [part])):
            line = judged.setting.line(part.kind, trainee_ref)
            if not _is_of_the_newest(part, line) and any(
                entry.intake_id.startswith(part.sha256)
                for manifest in manifests
                if (then := manifest.line(part.kind.name, trainee_ref, judged.setting.source_of(part.kind)))
                for entry in then.intakes
            ):
                reasons.append(Reason(trainee_ref, _was_in_use(judged, part, trainee_ref)))
    return reasons


def _is_of_the_newest(part: Part, line: Line | None) -> bool:
    """Is a file's content among what was taken last? Several files of one command are."""
    last = max((entry.taken for entry in line.intakes), default=0) if line else 0
    return line is not None and any(
        entry.taken == last and entry.intake_id.startswith(part.sha256) for entry in line.intakes
    )


def _was_in_use(judged: Judged, part: Part, trainee_ref: str) -> str:
    balance = next(each for each in judged.balances[part.kind.name] if each.trainee_ref == trainee_ref)
    more = f", with {balance.withdrawn} more of its rows" if balance.withdrawn else ""
    return f"{part.shown} was in use before, and something newer is now{more}"
