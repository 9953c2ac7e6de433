-- Where is the middle of a few numbers, and between which two values does a mean lie?
--
-- Rows:   none: macros over counts and sums
-- Reads:  nothing
-- Source: quantiles by linear interpolation between the two nearest (Hyndman and Fan 1996, Am Stat 50:361,
--         type 7); interval of a mean: Student 1908, Biometrika 6:1, two-sided 95 %

-- What the number at a place (1 = lowest) adds to the quantile that lies at this share of the way from the
-- lowest to the highest: the quantile is the sum of number x weight, of which at most two are not 0.
create macro quantile_weight(place, people, share_below) as
    greatest(0e0, 1e0 - abs(place - 1 - share_below * (people - 1)));

-- Half the length of the interval of the mean of so many scores, from their sum and the sum of their squares.
-- Whole numbers throughout but for one root and one division: the same scores give the same bytes.
create macro score_half_width(scores, score_sum, score_squares, quantile) as
    quantile
    * sqrt(cast(scores * score_squares - score_sum * score_sum as double) / (scores - 1))
    / scores;

-- Two scores say nothing of their spread. A score lies between 1 and 5 by the export format; so does a mean.
create macro score_low(scores, score_sum, score_squares, quantile) as
    case
        when scores >= 3 and quantile is not null then greatest(
            1e0,
            cast(score_sum as double) / scores
            - score_half_width(scores, score_sum, score_squares, quantile)
        )
    end;

create macro score_high(scores, score_sum, score_squares, quantile) as
    case
        when scores >= 3 and quantile is not null then least(
            5e0,
            cast(score_sum as double) / scores
            + score_half_width(scores, score_sum, score_squares, quantile)
        )
    end;
