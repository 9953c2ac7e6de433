-- How likely is an event in one case, and what does the case add to a risk-adjusted CUSUM?
--
-- Rows:   none: macros over chances and log odds
-- Reads:  nothing
-- Source: weights: Steiner, Cook, Farewell and Treasure 2000, Biostatistics 1:441: the log of the likelihood of the
--         outcome at raised odds over that at the expected ones

-- The chance of an event: that of the reference as it is, or where the specialty weighs risk factors, the fitted log
-- odds of a case without any of them plus those of this case's.
create macro event_chance(events, trials, fitted_log_odds, case_log_odds) as
    case
        when fitted_log_odds is null then cast(events as double) / nullif(trials, 0)
        else 1e0 / (1e0 + exp(-(fitted_log_odds + case_log_odds)))
    end;

create macro cusum_weight(is_event, chance, odds_ratio) as
    case when is_event then ln(odds_ratio) else 0e0 end - ln(1e0 + (odds_ratio - 1e0) * chance);

-- A limit is an end reached by rounding: what lies on it is not above it.
create macro is_above(cusum, cusum_limit) as cusum > cusum_limit + 1e-9;

-- 1 = the first 50 known cases, 2 = 51 to 100, 3 = 101 to 200, 4 = over 200.
create macro case_band(case_number) as
    case when case_number <= 50 then 1 when case_number <= 100 then 2 when case_number <= 200 then 3 else 4 end;

-- The first case number of the band of a case number.
create macro first_of_band(case_number) as
    case when case_number <= 50 then 1 when case_number <= 100 then 51 when case_number <= 200 then 101 else 201 end;

-- A sum of such numbers is the same in whatever order they are added.
create macro in_fixed_places(number) as cast(number as decimal(38, 15));

-- The same of a chance or the log of one, small enough to be multiplied by a number of cases.
create macro in_few_places(number) as cast(number as decimal(18, 15));

-- The events of so many own cases at one end of the others' rate: that end, moved as their own mix of risks moves the rate.
create macro mixed_end(rate_end, own_known, own_expected, others_events, others_known) as
    case
        when others_events = 0 then rate_end * own_known
        else least(rate_end * own_expected * others_known / others_events, own_known)
    end;
