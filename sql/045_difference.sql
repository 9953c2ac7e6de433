-- Between which two values does the difference of two rates, or of two means, lie?
--
-- Rows:   none: macros over values and the ends of their intervals
-- Reads:  nothing
-- Source: rates: Newcombe 1998, Stat Med 17:873, method 10 (squares of the distances to the Wilson ends added), which is the
--         general rule of Zou and Donner 2008, Stat Med 27:1693, and so serves an expected rate too; means: Welch 1947,
--         Biometrika 34:28, degrees of freedom rounded down

create macro difference_end(own_value, own_end, other_value, other_end, side) as
    own_value - other_value + side * sqrt(
        (own_value - own_end) * (own_value - own_end) + (other_end - other_value) * (other_end - other_value)
    );

-- The variance of a mean, from the number, the sum and the sum of the squares; 0 where all are alike.
create macro mean_variance(numbers, number_sum, square_sum) as
    case
        when square_sum - number_sum * number_sum / numbers < 1e-9 then 0e0
        else (square_sum - number_sum * number_sum / numbers) / (numbers - 1) / numbers
    end;

create macro welch_degrees(own_variance, own_numbers, other_variance, other_numbers) as
    floor(
        (own_variance + other_variance) * (own_variance + other_variance)
        / (
            own_variance * own_variance / (own_numbers - 1)
            + other_variance * other_variance / (other_numbers - 1)
        ) + 1e-9
    );
