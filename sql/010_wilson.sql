-- Between which two rates does the true one lie, as far as so many cases can tell?
--
-- Rows:   none: macros over counts
-- Reads:  nothing
-- Source: Wilson 1927, J Am Stat Assoc 22:209; Newcombe 1998, Stat Med 17:857, method 3 (score interval, no
--         continuity correction), two-sided

-- The standard normal quantile that leaves half of the rest on each side: 0.975 and 0.999, in full precision.
create macro z_two_sided(confidence) as
    case confidence
        when 0.95 then 1.959963984540054e0
        when 0.998 then 3.090232306167813e0
    end;

-- Both ends are named: rounding leaves less than 1 where every case has the event, and written another way the
-- formula leaves 1e-17 where none has.
create macro wilson_low(events, trials, z) as
    case
        when events is null or trials is null or trials = 0 then null
        when events = 0 then 0e0
        else greatest(
            0e0,
            (2e0 * events + z * z - z * sqrt(z * z + 4e0 * events * (trials - events) / trials))
            / (2e0 * (trials + z * z))
        )
    end;

create macro wilson_high(events, trials, z) as
    case
        when events is null or trials is null or trials = 0 then null
        when events = trials then 1e0
        else least(
            1e0,
            (2e0 * events + z * z + z * sqrt(z * z + 4e0 * events * (trials - events) / trials))
            / (2e0 * (trials + z * z))
        )
    end;
