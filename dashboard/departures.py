"""Where a number is made otherwise than the published method, with the reason. Methods prints this list."""

from __future__ import annotations

DEPARTURES = (
    "Wilson's interval (Wilson 1927; Newcombe 1998, method 3) is set to exactly 0 for no event and exactly 1 for all: "
    "the plain formula misses both by rounding.",
    "Of an outcome with a window no rate is given while fewer than half of the due cases are known: those that come back "
    "are not like those that do not.",
    "An event after the operation enters a rate only if the case was followed through the window, or to the very day of "
    "the event: counted beside no-events that need follow-up, events that need none would raise the rate (with 55 % "
    "followed, a true 4 % would read 7 %). What was not followed stands beside the rate, as the two rates between which it "
    "would lie if all were known.",
    "A case is due when its window, counted from the last day of its month, has passed by the last day of the data, "
    "whoever was followed: else the events that ended their follow-up early would wait while the others count. Only the "
    "month is known, so some cases are due up to a month late.",
    "Cases taken over by a supervisor stay in the denominator of the trainee who began them: leaving them out would "
    "make the rate depend on the complication itself.",
    "In the trainee's hands there is a rate only of what arises in the operation; events in unclear hands widen its "
    "interval upward, so that its two ends are of two counts.",
    "Simulated sessions are in no rate and no share of supervision: nobody was operated on.",
    "Expected values come from the programme's own other trainees at the same case numbers, not from a national audit: "
    "its figures are of surgeons of all grades.",
    "Where the specialty weighs risk factors, what is expected of a case is fitted to all other trainees of the programme, "
    "band by band, with the published weights: the mix of a published population is not theirs. A factor that is not "
    "recorded raises nothing. The interval is that of the others' rate, moved as the mix of risks moves the rate.",
    "Since a committee looks again and again, a rate has a second, wider interval that holds at all looks together if the "
    "rate is constant (Howard 2021; its weights are set to be narrowest near 50 cases). In 2,000 simulated trainings of "
    "150 cases, looked at after every case, Wilson's interval left the true rate out at some look in 26, 33, 35 and 39 % of "
    "them (true rates 2, 5, 10 and 30 %), this one in 0.4, 2.9, 2.9 and 2.5 %.",
    "The CUSUM (Steiner 2000) is not set back after a signal, and its limit is no fixed number: it is the lowest that a whole "
    "training of an average trainee of this programme crosses with at most the chance that is set. Risks are spread evenly "
    "over that training; it is cut at 300 known cases.",
    "The mean of scores has Student's t interval although scores are ordinal; it is blank below three scores and cut "
    "to the scale.",
    "A forecast adds to a trainee's own count what earlier trainees did in as many active months as are left, or takes the "
    "share of the final count that they had reached; which of the two serves is chosen by the same back-test that vouches for "
    "it, which flatters it a little. No trend between classes is assumed.",
    "A probability or share of earlier trainees has half a person added on either side (the prior of Jeffreys), so that it is "
    "never 0 or 1 by few people; where no earlier trainee had as few cases, it is one half.",
    "The 80 % range of a forecast lies between quantiles of type 6 (Hyndman and Fan 1996), rounded outward: between the "
    "lowest and the highest of nine lie 80 % of new ones, so fewer than nine give none.",
    "Brier scores are of those who had not reached the minimum by then: who had is certain to, and would flatter every score.",
    "An expected rate stands in place of the second rate of Newcombe's method 10, with the interval of a weighted sum of "
    "independent rates (Zou and Donner 2008). Welch's degrees of freedom are rounded down.",
    "How often a reason arises for nobody's fault is found by drawing simulated people year by year from those who completed: "
    "no distribution is assumed, and what these did not do is never drawn.",
    "Bands for trainees come from completed classes alone, pooled and rounded; in a class of four a median is a colleague.",
)
