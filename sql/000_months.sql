-- How are months compared and counted?
--
-- Rows:   none: macros over months written YYYY-MM
-- Reads:  nothing
-- Source: contract of the export format: intake keeps the month of operation and no day

-- Months since the year 0, so that the difference of two is a number of months.
create macro month_number(month_text) as
    cast(substr(month_text, 1, 4) as integer) * 12 + cast(substr(month_text, 6, 2) as integer);

-- Days from the last day of one month to the last day of another; below zero when the later month comes first.
create macro days_between_month_ends(earlier_month, later_month) as
    date_diff(
        'day',
        last_day(cast(earlier_month || '-01' as date)),
        last_day(cast(later_month || '-01' as date))
    );

-- Days from the last day of a month to a day written YYYY-MM-DD.
create macro days_since_month_end(month_text, day_text) as
    date_diff('day', last_day(cast(month_text || '-01' as date)), cast(day_text as date));

-- The day, written YYYY-MM-DD, so many days after the last one of a month.
create macro day_after_month_end(month_text, days) as
    cast(last_day(cast(month_text || '-01' as date)) + cast(days as integer) as varchar);

-- The month of such a number, as YYYY-MM.
create macro month_text(month_count) as
    concat(
        lpad(cast(cast(floor((month_count - 1) / 12) as integer) as varchar), 4, '0'),
        '-',
        lpad(cast((month_count - 1) % 12 + 1 as varchar), 2, '0')
    );

-- How much of a month a part-time month counts: a number from 0 to 1, or a percentage; to the millionth, and exact. An
-- intake lets nothing else in; what an earlier version let in unread counts as a whole month.
create macro month_share(cell) as
    cast(
        case
            when right(cell, 1) = '%'
                then try_cast(trim(replace(replace(cell, '%', ''), chr(160), ' ')) as decimal(12, 6)) * 0.01
            else try_cast(cell as decimal(12, 6))
        end as decimal(12, 6)
    );

-- `July 2026` of 2026-07.
create macro month_in_words(month_of_year) as
    concat(
        case substr(month_of_year, 6, 2)
            when '01' then 'January'
            when '02' then 'February'
            when '03' then 'March'
            when '04' then 'April'
            when '05' then 'May'
            when '06' then 'June'
            when '07' then 'July'
            when '08' then 'August'
            when '09' then 'September'
            when '10' then 'October'
            when '11' then 'November'
            else 'December'
        end,
        ' ',
        substr(month_of_year, 1, 4)
    );
