-- How are numbers counted up, texts joined and shares written?
--
-- Rows:   none: macros
-- Reads:  nothing
-- Source: none

-- The whole numbers from 1 on, as a list to unnest; empty below 1.
create macro numbers_to(last_number) as range(1, last_number + 1);

-- Whether all that a case says of complications is that something else happened.
create macro is_only_other(complications) as regexp_full_match(complications, 'other(@\d+)?');

-- The texts of a group in the order of their places, with a semicolon between two.
create macro joined_in_order(part, place) as string_agg(part, '; ' order by place);

-- `50 %`, `12.5 %`: a share in percent with one digit after the point at most.
create macro percent_text(share_of_one) as
    concat(replace(format('{:.1f}', 100e0 * share_of_one), '.0', ''), ' %');

-- The next tenth of a percent below, and above: a share that falls short must not print as if it did not.
create macro tenth_below(share_of_one) as floor(1000e0 * share_of_one) / 1000e0;

create macro tenth_above(share_of_one) as ceil(1000e0 * share_of_one) / 1000e0;

-- `3`, `3.5`, `2.83`: a mean score or what is asked of one, cut after the second digit, never rounded up.
create macro score_text(score_mean) as
    replace(replace(format('{:.2f}', floor(100e0 * score_mean + 1e-9) / 100e0), '.00', ''), '.50', '.5');

-- `7 %`: a share in whole percent.
create macro whole_percent(share_of_one) as concat(cast(floor(100e0 * share_of_one + 0.5e0) as bigint), ' %');

-- `0.7`, `5`, `12`: a number with one digit after the point at most, and none from ten on.
create macro number_text(some_number) as
    case
        when some_number < 9.95e0 then replace(format('{:.1f}', cast(some_number as double)), '.0', '')
        else cast(cast(floor(some_number + 0.5e0) as bigint) as varchar)
    end;

-- `1 month`, `2 months`.
create macro counted_text(some_number, noun) as
    concat(number_text(some_number), ' ', noun, case when number_text(some_number) = '1' then '' else 's' end);
