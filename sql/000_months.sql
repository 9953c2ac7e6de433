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
