"""When an export must wait for a person's word, because something would vanish from a trainee's record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import duckdb

from pipelines.intake.replacement import Balance

# More than two rows, and more than one in twenty of those live now.
ROWS_THAT_MAY_GO = 2
SHARE_THAT_MAY_GO = 0.05


@dataclass(frozen=True)
class Reason:
    """One reason to hold a command, about one trainee."""

    trainee_ref: str
    text: str


def reasons(
    connection: duckdb.DuckDBPyConnection, balances: list[Balance], unaccepted: Callable[[str], int]
) -> list[Reason]:
    """Every reason to hold the cases in hand.

    `unaccepted` gives the rows of a trainee that went or were kept since a person last accepted that.
    """
    found = [
        Reason(
            each.trainee_ref,
            f"{gone} of {each.live_before} live rows would be withdrawn or kept only in an older version"
            f"{' (with earlier exports not yet accepted)' if unaccepted(each.trainee_ref) else ''}",
        )
        for each in balances
        if (gone := each.withdrawn + each.kept + unaccepted(each.trainee_ref)) > ROWS_THAT_MAY_GO
        and gone > SHARE_THAT_MAY_GO * each.live_before
        and each.withdrawn + each.kept
    ]
    for trainee_ref, case_ref, text in connection.execute(_ROW_REASONS).fetchall():
        found.append(Reason(trainee_ref, f"case {case_ref}: {text}"))
    return found


# A hit is an event with a day inside its window, or without a day.
_ROW_REASONS = """
with

pair as (

    select
        named.trainee_ref, named.case_ref, named.outcome, named.row_id,
        live.complications, live.takeover, live.event_hands, live.role,
        new.complications as new_complications, new.takeover as new_takeover,
        new.event_hands as new_event_hands, new.role as new_role
    from comparison_cases as named
    join live_cases as live
        on live.trainee_ref = named.trainee_ref and live.case_ref = named.case_ref
        and live.procedure = named.procedure and coalesce(live.side, '') = coalesce(named.side, '')
    left join new_cases as new using (row_id)
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

    select trainee_ref, case_ref, 'a row with a complication would be withdrawn' as text
    from pair
    where outcome = 'withdrawn' and complications <> 'none'
    union all
    select trainee_ref, case_ref, 'a row with a takeover would be withdrawn'
    from pair
    where outcome = 'withdrawn' and takeover
    union all
    select trainee_ref, case_ref, 'the complication ' || code || ' is no longer recorded'
    from event_pair
    where outcome = 'changed' and new_event is null
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
