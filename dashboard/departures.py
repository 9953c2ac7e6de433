"""Where a number is made otherwise than the published method, with the reason. Methods prints this list."""

from __future__ import annotations

DEPARTURES = (
    "Wilson's interval (Wilson 1927; Newcombe 1998, method 3) is set to exactly 0 for no event and exactly 1 for all: "
    "the plain formula misses both by rounding.",
    "Of an outcome with a window no rate is given while fewer than half of the due cases are known: those that come back "
    "are not like those that do not.",
    "Cases taken over by a supervisor stay in the denominator of the trainee who began them: leaving them out would "
    "make the rate depend on the complication itself.",
    "Expected values come from the programme's own other trainees at the same case numbers, not from a national audit: "
    "no audit benchmark exists for trainees.",
    "The mean of scores has Student's t interval although scores are ordinal; it is blank below three scores and cut "
    "to the scale.",
    "Bands for trainees come from completed classes alone, pooled and rounded; in a class of four a median is a colleague.",
)
