"""Shapes of text that look like a direct identifier. Common practice, no source; which identifiers there
are: 45 CFR 164.514(b)(2).

Each shape has a pattern of RE2, that finds every text that may have it among millions, and, where that engine
cannot say it, a check of the few found ones.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from ipaddress import AddressValueError, IPv6Address


@dataclass(frozen=True)
class Shape:
    """`what` completes "looks like"; `check` is None where the pattern alone decides."""

    what: str
    pattern: str
    check: Callable[[str], bool] | None = None


# Addresses on a network

IPV4 = re.compile(r"(?<![^\W_])(?<![0-9]\.)((?:[0-9]{1,3}\.){3}[0-9]{1,3})(?![^\W_]|\.[0-9])")
IPV6 = re.compile(
    r"(?<![^\W_])(?<![0-9A-Fa-f]:)("
    r"(?:[0-9A-Fa-f]{1,4}:){7}[0-9A-Fa-f]{1,4}"
    r"|(?:[0-9A-Fa-f]{1,4}:){1,6}(?::[0-9A-Fa-f]{1,4}){1,6}"
    r"|(?:[0-9A-Fa-f]{1,4}:){2,7}:"
    r")(?![^\W_]|:)"
)
# `1::2` is more often a slip in a ratio or a clock than an address.
FEWEST_HEX_DIGITS = 5


def has_ipv4(text: str) -> bool:
    return any(all(int(octet) <= 255 for octet in each.split(".")) for each in IPV4.findall(text))


def has_ipv6(text: str) -> bool:
    return any(is_ipv6(each) for each in IPV6.findall(text))


def is_ipv6(text: str) -> bool:
    try:
        IPv6Address(text)
    except AddressValueError:
        return False
    return len(text.replace(":", "")) >= FEWEST_HEX_DIGITS


# Telephones: 9-15 digits

INTERNATIONAL = re.compile(
    r"(?<![0-9])\+(?![0-9]+\.[0-9]+(?![0-9.() -]))\(?[1-9](?:[-. ()]{0,3}[0-9]){8,14}(?![^\W_])"
)
BRACKETED = re.compile(
    r"(?<![^\W_])\((?:0[0-9]\)(?:[-. ]?[0-9]){7,12}|[0-9]{3}\)(?:[-. ]?[0-9]){6,12}"
    r"|0[0-9]{3,4}\)(?:[-. ]?[0-9]){5,10})(?![^\W_])"
)
AREA_THEN_DATE = re.compile(r"\([0-9]+\) ?(?:19|20)[0-9]{2}[-.][0-9]{2}[-.][0-9]{2}")
GROUPS_OF_DIGITS = re.compile(r"(?<![^\W_])(?<![^\W_]-)[0-9]+(?:[-. ][0-9]+)+(?![^\W_]|[-.:][0-9])")
DATE_WITH_ZEROS = re.compile(
    r"(?:[0-2]?[0-9]|3[01])[-. ](?:0?[1-9]|1[0-2])[-. ](?:19|20)[0-9]{2}(?![0-9])"
    r"|(?:0?[1-9]|1[0-2])[-. ](?:[0-2]?[0-9]|3[01])[-. ](?:19|20)[0-9]{2}(?![0-9])"
)


def has_telephone(text: str) -> bool:
    return bool(
        INTERNATIONAL.search(text)
        or any(not AREA_THEN_DATE.match(text, each.start()) for each in BRACKETED.finditer(text))
        or any(is_national(each) for each in GROUPS_OF_DIGITS.findall(text))
    )


def is_national(groups: str) -> bool:
    """A leading 0, an area code of 2-5 digits, then one to four groups; not a date, a clock or a decimal."""
    area, *rest = re.split("[-. ]", groups)
    return (
        area.startswith("0")
        and 2 <= len(area) <= 5
        and len(rest) <= 4
        and all(len(group) >= 2 for group in rest)
        and 9 <= len(area) + sum(map(len, rest)) <= 15
        and not DATE_WITH_ZEROS.match(groups)
        and not re.fullmatch(r"[0-9]+\.[0-9]+", groups)
    )


# National numbers, and telephones written like them

THREE_THREE_FOUR = re.compile(
    r"(?<![^\W_])(?<![0-9][-.])(?:1[-. ])?(?:\([0-9]{3}\)[-. ]?|[0-9]{3}[-. ])[0-9]{3}[-. ][0-9]{4}"
    r"(?![^\W_]|[-.][0-9])"
)
THREE_TWO_FOUR = re.compile(
    r"(?<![^\W_])(?<![0-9][-.])[0-9]{3}[-. ][0-9]{2}[-. ][0-9]{4}(?![^\W_]|[-.][0-9])"
)


def has_three_three_four(text: str) -> bool:
    return THREE_THREE_FOUR.search(text) is not None


def has_three_two_four(text: str) -> bool:
    return THREE_TWO_FOUR.search(text) is not None


CERTAIN = (
    Shape("an email address", r"[\pL\pN_.%+-]@[\pL\pN_-]+(?:\.[\pL\pN_-]+)*\.\pL{2}"),
    Shape("a web address", r"[A-Za-z0-9]://[^\s]|(?i:(?:^|[^\pL\pN])www\.[\pL\pN])"),
    Shape("a network address", r"[0-9]\.[0-9]{1,3}\.[0-9]{1,3}\.[0-9]", has_ipv4),
    Shape("a network address", r"[0-9A-Fa-f]::|(?:[0-9A-Fa-f]{1,4}:){7}", has_ipv6),
    Shape("a national number", r"[0-9]{3}[-. ][0-9]{2}[-. ][0-9]{4}", has_three_two_four),
    Shape("a telephone number", r"[0-9]{3}[-. )][-. ]?[0-9]{3}[-. ][0-9]{4}", has_three_three_four),
    Shape(
        "a telephone number",
        r"\+\(?[1-9]|\([0-9]{2,5}\)[-. ]?[0-9]|(?:^|[^\pL\pN-]|[^\pL\pN]-)0[0-9]{1,4}[-. ][0-9]{2}",
        has_telephone,
    ),
)

# A pseudonym column holds no words and no number of somebody's records.
WORDS = Shape("words, not a pseudonym", r"\pL[\pM]*[,.]?[\s\x{A0}]+\pL")
# Few letters, few digits, no day: what needs no second look.
PLAIN_REFERENCE = (
    r"^(?:[A-Za-z]{0,2}|(?i:case|site|log|ref|resident|trainee|supervisor|reviewer))[-_]?[0-9]{0,5}"
    r"(?:[-_][A-Za-z]?(?:[0-9]{1,5}|[0-9]{7}))?$"
)

MONTH = (
    r"(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?"
    r"|oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)\.?"
)
DAY_NUMBER = r"(?:0?[1-9]|[12][0-9]|3[01])"
MONTH_NUMBER = r"(?:0?[1-9]|1[0-2])"
YEAR = r"(?:[0-9]{4}|'?[0-9]{2})"
BEFORE = r"(?:^|[^\pL\pN])"
AFTER = r"(?:[^\pN]|$)"
DATES = (
    rf"{BEFORE}[0-9]{{4}}[-./]{MONTH_NUMBER}[-./]{DAY_NUMBER}{AFTER}",
    rf"{BEFORE}{DAY_NUMBER}[-./]{MONTH_NUMBER}[-./]{YEAR}{AFTER}",
    rf"{BEFORE}{MONTH_NUMBER}[-./]{DAY_NUMBER}[-./]{YEAR}{AFTER}",
    rf"(?i){BEFORE}{DAY_NUMBER}(?:st|nd|rd|th|\.)?[-\s/]*(?:of\s)?{MONTH}[-,\s/]*{YEAR}{AFTER}",
    rf"(?i){BEFORE}{MONTH}[-\s/]*{DAY_NUMBER}(?:st|nd|rd|th)?[-,\s/]+{YEAR}{AFTER}",
)
CAPITALISED = r"\p{Lu}[\pM]*(?:['’-]?\pL[\pM]*)+"
A_DATE = Shape("a date", "|".join(f"(?:{date})" for date in DATES))
SIX_DIGITS = Shape("a number of six digits or more", r"[0-9]{6}")
# In columns that are not read, for a warning.
UNCERTAIN = (
    A_DATE,
    SIX_DIGITS,
    Shape(
        "a person's name (two words with capitals)",
        rf"{BEFORE}(?:{CAPITALISED},?|(?:Dr|Mr|Mrs|Ms|Prof)\.)[\s\x{{A0}}]+{CAPITALISED}",
    ),
)

# In free text

GROUPS = re.compile(r"(?<![\w.,/])\(?\+?[0-9]{1,5}\)?(?:[ .-][0-9]{2,5}){1,6}(?![\w/]|[.,][0-9])")
TWO_YEARS = re.compile(r"(?:19|20)[0-9]{2}[ -](?:19|20)[0-9]{2}")
FEWEST_DIGITS = 7


def has_long_number(text: str) -> bool:
    """A number in groups of digits, such as a telephone's; two years are none."""
    return any(
        sum(map(str.isdigit, each)) >= FEWEST_DIGITS and not TWO_YEARS.fullmatch(each)
        for each in GROUPS.findall(text)
    )


NAMED_MONTH = (
    r"(?:Jan(?:uary)?|Feb(?:ruary)?|Mar(?:ch)?|Apr(?:il)?|May|June?|July?|Aug(?:ust)?|Sept?(?:ember)?|Oct(?:ober)?"
    r"|Nov(?:ember)?|Dec(?:ember)?)"
)
LABEL = (
    r"(?:mrn|nhs|ssn|acct|account|policy|insurance|licen[cs]e|passport|plate|reg(?:istration)?|serial|s/n|chart|hospital"
    r"|hosp|record|member|udi|device)"
)
ADDRESSES = (
    r"\b[A-Z]{1,2}[0-9][A-Z0-9]? [0-9][A-Z]{2}\b",
    r"\b[A-Z]{2} [0-9]{5}\b",
    r"(?i:\b[0-9]{1,5}[a-z]?,? (?:\pL+ ){1,3}(?:street|road|avenue|boulevard|terrace)\b)",
    r"\b[0-9]{1,5}[a-z]? (?:\p{Lu}\pL+ ){1,3}(?:Lane|Drive|Close|Court|Way|St|Rd|Ave)\b",
    r"(?i:\b\pL+(?:straße|strasse|gasse|platz|weg) [0-9])",
    r"(?i:\b(?:rue|calle|via|avenida|rua) (?:\pL+ ){1,4}[0-9])|(?i:\b[0-9]+,? rue )",
)
IN_TEXT = (
    A_DATE,
    SIX_DIGITS,
    Shape(
        "a day",
        rf"{BEFORE}[0-3]?[0-9](?:st|nd|rd|th)?(?: of)? {NAMED_MONTH}{AFTER}|{BEFORE}{NAMED_MONTH} [0-3]?[0-9]"
        rf"(?:st|nd|rd|th|[,.;)]|$)|(?i:\b(?:on|dated|seen) [0-3]?[0-9][/.][01]?[0-9]){AFTER}"
        r"|[0-9]{1,4}年[0-9]{1,2}月|[0-9]{1,2}月[0-9]{1,2}日",
    ),
    Shape("a birth date", r"(?i)\b(?:born|dob|d\.o\.b|birth(?:day|date)?)\b[^0-9]{0,14}[0-9]"),
    Shape(
        "an age over 89",
        r"(?i)\b(?:9[0-9]|1[01][0-9])[\s-]*(?:years?|yrs?|yo|y/o|y\.o)\b|\baged? (?:9[0-9]|1[01][0-9])\b",
    ),
    Shape(
        "a number of somebody's records",
        rf"(?i)\b{LABEL}\b[\s.:#]*(?:no|number|nr|id)?[\s.:#]*[a-z-]{{0,4}}[0-9][\w-]{{2,}}",
    ),
    Shape("a long number", r"[0-9][ .)-]{1,2}[0-9]{2}", has_long_number),
    Shape("a telephone number", r"(?:^|\s)\+[0-9]{1,3}[ -]?[0-9]{2}"),
    Shape("an address", "|".join(ADDRESSES)),
    Shape(
        "a code of a person, vehicle or device",
        r"\b[A-Z]{6}[0-9]{2}[A-Z][0-9]{2}[A-Z][0-9]{3}[A-Z]\b|\b[A-Z]{3}[0-9]{4}\b|\b[A-Z]{2}[0-9]{2} ?[A-Z]{3}\b"
        r"|(?i:\b[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b)|(?i:\b(?:[0-9a-f]{2}[:-]){5}[0-9a-f]{2}\b)"
        r"|\b[A-HJ-NPR-Z0-9]{3}[A-Z][A-HJ-NPR-Z0-9]{9}[0-9]{4}\b",
    ),
    Shape("a place on a map", r"-?[0-9]{1,3}\.[0-9]{3,}\s?[°NS]?,\s?-?[0-9]{1,3}\.[0-9]{3,}"),
    Shape(
        "the name of a file", r"(?i)\b[a-z]:\\|/(?:home|users)/|\.(?:jpe?g|png|dcm|mp4|mov|pdf|docx?|xlsx?)\b"
    ),
    Shape(
        "an address on a network",
        r"(?:^|\s)@[A-Za-z_]\w{2,}|(?i:\w\s*[\[(]\s*at\s*[\])]\s*\w)|(?i:\w+ at \w+ dot \w+)"
        r"|(?i:\b[a-z0-9-]+\.(?:com|org|net|edu|gov|io|info|health|co\.uk|de|fr|cn)\b)",
    ),
)
