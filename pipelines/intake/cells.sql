-- How is the text of one cell read, and what is wrong with it?
--
-- Reads:  trimmed text, null where the cell was blank
-- Source: the export format, version 1 (DEVELOPERS.md); every fault is a rule that leaves the row out
create type fault as enum(
    'case_ref_malformed', 'ref_malformed', 'date_unreadable', 'date_ambiguous', 'date_impossible',
    'code_unknown', 'number_unreadable', 'number_out_of_range', 'yes_no_unreadable'
);

create macro ref_fault(cell) as
    case when not regexp_full_match(cell, '[A-Za-z0-9_-]{1,64}') then 'ref_malformed'::fault end;

create macro case_ref_fault(cell) as
    case when not regexp_full_match(cell, '[A-Za-z0-9_-]{4,64}') then 'case_ref_malformed'::fault end;

-- A time part is dropped: 2026-03-04T10:15 reads as 2026-03-04.
create macro is_iso_date(cell) as
    (length(cell) = 10 and regexp_full_match(cell, '\d{4}-\d{2}-\d{2}'))
    or (length(cell) > 10 and regexp_full_match(cell, '\d{4}-\d{2}-\d{2}[T ]\d{1,2}:\d{2}.*'));

create macro is_local_date(cell) as
    regexp_full_match(cell, '\d{1,2}([./-])\d{1,2}[./-](\d{2}|\d{4})([T ]\d{1,2}:\d{2}.*)?');

create macro local_parts(cell) as
    string_split(regexp_replace(regexp_extract(cell, '^[0-9./-]+'), '[.-]', '/', 'g'), '/');

-- Two digits name no year.
create macro local_date(parts, style) as
    case
        when length(parts[3]) = 4
            then try_cast(
                parts[3] || '-' || lpad(parts[if(style = 'day_first', 2, 1)], 2, '0')
                || '-' || lpad(parts[if(style = 'day_first', 1, 2)], 2, '0') as date
            )
    end;

create macro date_value(cell, style) as
    case
        when is_iso_date(cell) then try_cast(left(cell, 10) as date)
        when style <> 'iso' and is_local_date(cell) then local_date(local_parts(cell), style)
    end;

create macro local_date_fault(parts, style) as
    case
        when length(parts[3]) = 2 then 'date_ambiguous'::fault
        when style <> 'iso' and local_date(parts, style) is null then 'date_impossible'::fault
        when style <> 'iso' then null
        when parts[1]::int <= 12 and parts[2]::int <= 12 then 'date_ambiguous'::fault
        else 'date_unreadable'::fault
    end;

create macro date_fault(cell, style) as
    case
        when cell is null then null
        when is_iso_date(cell)
            then case when try_cast(left(cell, 10) as date) is null then 'date_impossible'::fault end
        when is_local_date(cell) then local_date_fault(local_parts(cell), style)
        else 'date_unreadable'::fault
    end;

-- A month is YYYY-MM; a whole date, as spreadsheets make of it, gives its month.
create macro month_value(cell, style) as
    case
        when regexp_full_match(cell, '\d{4}-(0[1-9]|1[0-2])') then cell
        else strftime(date_value(cell, style), '%Y-%m')
    end;

create macro month_fault(cell, style) as
    case
        when regexp_full_match(cell, '\d{4}-\d{2}')
            then case when month_value(cell, style) is null then 'date_impossible'::fault end
        else date_fault(cell, style)
    end;

-- 2026-27, or 2027 for the academic year that ends in it.
create macro cohort_value(cell) as
    case
        when regexp_full_match(cell, '\d{4}') then (cell::int - 1) || '-' || right(cell, 2)
        when regexp_full_match(cell, '\d{4}-\d{2}') and (left(cell, 4)::int + 1) % 100 = right(cell, 2)::int
            then cell
    end;

create macro cohort_fault(cell) as
    case
        when cell is null or cohort_value(cell) is not null then null
        when regexp_full_match(cell, '\d{4}-\d{2}') then 'date_impossible'::fault
        else 'date_unreadable'::fault
    end;

create macro yes_no_value(cell) as
    case
        when lower(cell) in ('yes', 'y', 'true', '1') then true
        when lower(cell) in ('no', 'n', 'false', '0') then false
    end;

create macro yes_no_fault(cell) as
    case when cell is not null and yes_no_value(cell) is null then 'yes_no_unreadable'::fault end;

create macro number_fault(cell, low, high) as
    case
        when cell is null then null
        when not regexp_full_match(cell, '[+-]?\d+(\.\d+)?') then 'number_unreadable'::fault
        when not coalesce(try_cast(cell as double) between low and high, false) then 'number_out_of_range'::fault
    end;

-- The part of a month that a part-time month counts: a number from 0 to 1, or a percentage such as 50 %.
create macro month_share_fault(cell) as
    case
        when right(cell, 1) = '%' then number_fault(trim(cell, '% ' || chr(160)), 0, 100)
        else number_fault(cell, 0, 1)
    end;

create macro whole_value(cell) as try_cast(regexp_replace(cell, '\.0+$', '') as integer);

create macro whole_fault(cell, low, high) as
    case
        when cell is null then null
        when not regexp_full_match(cell, '[+-]?\d+(\.0+)?') then 'number_unreadable'::fault
        when not coalesce(whole_value(cell) between low and high, false) then 'number_out_of_range'::fault
    end;

-- h:mm:ss or mm:ss, in seconds.
create macro clock_value(cell) as
    case
        when regexp_full_match(cell, '\d{1,3}:[0-5]\d')
            then split_part(cell, ':', 1)::int * 60 + split_part(cell, ':', 2)::int
        when regexp_full_match(cell, '\d{1,2}:[0-5]\d:[0-5]\d')
            then split_part(cell, ':', 1)::int * 3600 + split_part(cell, ':', 2)::int * 60
                + split_part(cell, ':', 3)::int
    end;

create macro clock_fault(cell) as
    case when cell is not null and clock_value(cell) is null then 'number_unreadable'::fault end;

-- 2026-27 mid: a cohort's year and one of the programme's review periods.
create macro period_name(cell) as lower(trim(substr(cell, length(split_part(cell, ' ', 1)) + 1)));

-- However it was typed, one period is one text: `2027  Mid` is `2026-27 mid`.
create macro period_value(cell) as
    coalesce(cohort_value(split_part(cell, ' ', 1)) || ' ' || period_name(cell), lower(cell));

create macro period_fault(cell, names) as
    case
        when cell is null then null
        when cohort_value(split_part(cell, ' ', 1)) is null then 'date_unreadable'::fault
        when not list_contains(names, period_name(cell)) then 'code_unknown'::fault
    end;

create macro list_of(cell) as
    list_filter(
        list_transform(string_split(lower(cell), ';'), lambda part: trim(part, ' ' || chr(9) || chr(160))),
        lambda part: part <> ''
    );

create macro none_beside(parts) as
    coalesce(len(parts) > 1 and list_contains(parts, 'none') and len(list_distinct(parts)) > 1, false);

create macro codes_fault(parts, known) as
    case
        when len(list_filter(parts, lambda part: part <> 'none' and not list_contains(known, part))) > 0
            then 'code_unknown'::fault
    end;

-- An event is a code, or a code, an at-sign and the whole days after the operation. No event has no day.
create macro event_codes(parts) as
    list_transform(parts, lambda part: if(starts_with(part, 'none@'), part, split_part(part, '@', 1)));

create macro event_day_faults(parts, low, high) as
    list_filter(
        list_transform(
            parts,
            lambda part: case
                when contains(part, '@') and split_part(part, '@', 2) = '' then 'number_unreadable'::fault
                when contains(part, '@') then whole_fault(substr(part, length(split_part(part, '@', 1)) + 2), low, high)
            end
        ),
        lambda each: each is not null
    );

-- Codes in alphabetical order, each once. An event named twice has the earliest day, but none beside one without a
-- day: that one counts whatever its day was.
create macro event_day(parts, code) as
    case
        when len(list_filter(parts, lambda part: part = code)) = 0
            then list_min(
                list_transform(
                    list_filter(parts, lambda part: split_part(part, '@', 1) = code),
                    lambda part: whole_value(nullif(split_part(part, '@', 2), ''))
                )
            )
    end;

create macro canonical_events(parts) as
    case
        when len(parts) > 1
            then array_to_string(
                list_transform(
                    list_sort(list_distinct(list_transform(parts, lambda part: split_part(part, '@', 1)))),
                    lambda code: code || coalesce('@' || event_day(parts, code), '')
                ),
                ';'
            )
        else parts[1]
    end;

-- A title as a code: `Plastic & lid` is `plastic_lid`.
create macro as_code(cell) as
    trim(regexp_replace(lower(strip_accents(cell)), '[^a-z0-9]+', '_', 'g'), '_');
