"""What every file that is sent on, and every screen that compares people, says about its own limits."""

from __future__ import annotations

import re

NOT_YET_CHECKED = "not yet checked against the current document"
CAUTION = (
    "This supports judgement and does not replace it. A met minimum is an accreditation floor, not a finding"
    " of competence. Rates rest on what trainees logged themselves, where nobody else has looked."
    " The accreditor’s documents and own tally, institutional policy, privacy and employment law"
    " and licensed practice take precedence."
)
CAUTIONS = (
    "What stands here supports the judgement of people and makes none: no decision about a trainee follows from"
    " a number alone.",
    "A met minimum is an accreditation floor, not a finding of competence.",
    "The accreditor’s current documents and its own tally, the institution’s policy, privacy and employment law and"
    " licensed practice take precedence over everything said here.",
    "“Standing” is the place against requirements. It is not the formal status of good standing.",
    "Counts and rates rest on what trainees logged themselves, and on confirmations where there are any. Roles are known to be"
    " logged too high at times, and complications to be logged too seldom.",
    "An outcome that was not recorded is not a good outcome: it is shown as a count and leaves the rate.",
    "A 95 % interval is the range of rates that the cases cannot rule out. It is not a limit to stay within.",
    "People differ in the cases they were given. Two rates are not compared without that in mind.",
    "A log that ends early says nothing of the months after it: read every number together with the month in which it ends.",
    "A rate is never given without the cases it rests on and its interval; where there are too few cases to say"
    " anything, that is said. A file that has counts alone says nothing about how well someone operates.",
    "A requirement, definition or figure marked “not yet checked” was not checked against the current document."
    " Confirm it there before relying on it.",
    "Treat what is said about a person as confidential. How far such records are protected differs from place to"
    " place and is unsettled: ask counsel; nothing here promises legal protection.",
)
WHO_MAY_READ = (
    "This file names every trainee of the class and hides no count, however small. It is for the programme’s director"
    " and coordinator, and for those to whom they must report. It is not for other trainees, and not for a shared"
    " folder or a mailing list."
)
# What somebody wrote who had no document at hand.
REMEMBERED = re.compile(r"\bfrom memory\b", re.IGNORECASE)


def source_in_words(source: str) -> str:
    """The documents that a source names; what was only remembered is none, and is not passed on."""
    return (
        "; ".join(part for part in source.split("; ") if not REMEMBERED.search(part)) or "no document named"
    )
