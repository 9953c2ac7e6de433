"""National numbers of persons, and accounts, with their check digits: what a column of references may not hold.

A checksum does not decide on one cell, as a tenth of random numbers pass: of all texts that have the form of one number,
so many must pass that chance does not explain it. The rules are those that each country publishes; the tests compare
them with python-stdnum, which is not shipped.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import reduce
from math import comb

LEAST_LIKELY = 1e-4  # what chance explains less often is no chance
LOOKED_AT = 2_000  # texts of a column that are checked
# Between the groups of a number as people write it.
BETWEEN = re.compile(r"[\s.\-/_]")


def digits(text: str) -> list[int]:
    return [int(letter) for letter in text]


def weighed(text: str, weights: Sequence[int]) -> int:
    """The sum of the digits, each by its weight; of a longer text the first digits."""
    return sum(digit * weight for digit, weight in zip(digits(text), weights, strict=False))


def is_luhn(text: str) -> bool:
    doubled = [digit * 2 for digit in digits(text)[-2::-2]]
    return (sum(digits(text)[-1::-2]) + sum(each // 10 + each % 10 for each in doubled)) % 10 == 0


def is_day(year: str, month: str, day: str) -> bool:
    """Whether the day was or is in a year of any century."""
    years = [int(year)] if len(year) == 4 else [1800 + int(year), 1900 + int(year), 2000 + int(year)]
    for each in years:
        try:
            date(each, int(month), int(day))
        except ValueError:
            continue
        return True
    return False


def nhs(text: str) -> bool:
    return (11 - weighed(text, range(10, 1, -1)) % 11) % 11 == int(text[9])


def dni(text: str) -> bool:
    number = text.translate(str.maketrans("XYZ", "012"))
    return "TRWAGMYFPDXBNJZSQVHLCKE"[int(number[:-1]) % 23] == text[-1]


ODD_PLACES = dict(
    zip(
        "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ",
        [
            1, 0, 5, 7, 9, 13, 15, 17, 19, 21, 1, 0, 5, 7, 9, 13, 15, 17, 19, 21, 2, 4, 18, 20, 11, 3, 6, 8, 12, 14,
            16, 10, 22, 25, 24, 23,
        ],
        strict=True,
    )
)  # fmt: skip


def codice_fiscale(text: str) -> bool:
    odd = sum(ODD_PLACES[letter] for letter in text[0:15:2])
    even = sum(int(letter) if letter.isdigit() else ord(letter) - 65 for letter in text[1:15:2])
    return chr(65 + (odd + even) % 26) == text[15]


def nir(text: str) -> bool:
    number = text[:13].replace("2A", "19").replace("2B", "18")
    return 97 - int(number) % 97 == int(text[13:])


def mod_11_10(text: str) -> bool:
    def step(product: int, digit: int) -> int:
        return (((product + digit) % 10 or 10) * 2) % 11

    return (11 - reduce(step, digits(text[:-1]), 10)) % 10 == int(text[-1])


def idnr(text: str) -> bool:
    repeated = sorted((text[:10].count(digit) for digit in set(text[:10])), reverse=True)
    return repeated[0] in (2, 3) and repeated[1] == 1 and mod_11_10(text)


def bsn(text: str) -> bool:
    return (weighed(text, range(9, 1, -1)) - int(text[8])) % 11 == 0 and int(text) > 0


def belgian(text: str) -> bool:
    return any(97 - int(century + text[:9]) % 97 == int(text[9:]) for century in ("", "2"))


def pesel(text: str) -> bool:
    day = is_day(text[:2], f"{int(text[2:4]) % 20:02}", text[4:6])
    return day and (weighed(text, (1, 3, 7, 9, 1, 3, 7, 9, 1, 3)) + int(text[10])) % 10 == 0


def swedish(text: str) -> bool:
    ten = text[-10:]
    # From 60 on the day is that of a coordination number.
    return is_day(ten[:2], ten[2:4], f"{int(ten[4:6]) % 60:02}") and is_luhn(ten)


def norwegian(text: str) -> bool:
    day = is_day(text[4:6], f"{int(text[2:4]) % 40:02}", f"{int(text[:2]) % 40:02}")
    first = (weighed(text, (3, 7, 6, 1, 8, 9, 4, 5, 2)) + int(text[9])) % 11
    return day and first == 0 and weighed(text, (5, 4, 3, 2, 7, 6, 5, 4, 3, 2, 1)) % 11 == 0


def danish(text: str) -> bool:
    return is_day(text[4:6], text[2:4], text[:2])


def finnish(text: str) -> bool:
    day = is_day(text[4:6], text[2:4], text[:2])
    return day and "0123456789ABCDEFHJKLMNPRSTUVWXY"[int(text[:6] + text[-4:-1]) % 31] == text[-1]


def cpf(text: str) -> bool:
    return len(set(text)) > 1 and all(
        weighed(text, range(places + 1, 1, -1)) * 10 % 11 % 10 == int(text[places]) for places in (9, 10)
    )


def chilean(text: str) -> bool:
    check = -weighed(text[-2::-1], (2, 3, 4, 5, 6, 7, 2, 3)) % 11
    return "0123456789K"[check] == text[-1]


def chinese(text: str) -> bool:
    weights = (7, 9, 10, 5, 8, 4, 2, 1, 6, 3, 7, 9, 10, 5, 8, 4, 2)
    return (
        is_day(text[6:10], text[10:12], text[12:14])
        and "10X98765432"[weighed(text[:17], weights) % 11] == text[17]
    )


def korean(text: str) -> bool:
    weights = (2, 3, 4, 5, 6, 7, 8, 9, 2, 3, 4, 5)
    return is_day(text[:2], text[2:4], text[4:6]) and (11 - weighed(text, weights) % 11) % 10 == int(text[12])


VERHOEFF = [
    "0123456789", "1234067895", "2340178956", "3401289567", "4012395678",
    "5987604321", "6598710432", "7659821043", "8765932104", "9876543210",
]  # fmt: skip
PERMUTED = [
    "0123456789",
    "1576283094",
    "5803796142",
    "8916043527",
    "9453126870",
    "4286573901",
    "2793806415",
    "7046913258",
]


def aadhaar(text: str) -> bool:
    def step(check: int, place_and_digit: tuple[int, str]) -> int:
        place, digit = place_and_digit
        return int(VERHOEFF[check][int(PERMUTED[place % 8][int(digit)])])

    return text != text[::-1] and reduce(step, enumerate(reversed(text)), 0) == 0


def turkish(text: str) -> bool:
    odd, even = sum(digits(text[0:9:2])), sum(digits(text[1:8:2]))
    return (odd * 7 - even) % 10 == int(text[9]) and (odd + even + int(text[9])) % 10 == int(text[10])


def south_african(text: str) -> bool:
    return is_day(text[:2], text[2:4], text[4:6]) and is_luhn(text)


def australian(text: str) -> bool:
    return weighed(text, (1, 4, 3, 7, 5, 8, 6, 9, 10)) % 11 == 0 and int(text) > 0


def medicare(text: str) -> bool:
    return weighed(text, (1, 3, 7, 9, 1, 3, 7, 9)) % 10 == int(text[8])


def romanian(text: str) -> bool:
    check = weighed(text, (2, 7, 9, 1, 4, 6, 3, 5, 8, 2, 7, 9)) % 11
    return is_day(text[1:3], text[3:5], text[5:7]) and (1 if check == 10 else check) == int(text[12])


def portuguese(text: str) -> bool:
    return (11 - weighed(text, range(9, 1, -1)) % 11) % 11 % 10 == int(text[8])


def ean13(text: str) -> bool:
    return weighed(text, (1, 3) * 6 + (1,)) % 10 == 0


def czech(text: str) -> bool:
    month = int(text[2:4]) % 50 % 20
    return is_day(text[:2], f"{month:02}", text[4:6]) and int(text[:9]) % 11 % 10 == int(text[9])


def bulgarian(text: str) -> bool:
    day = is_day(text[:2], f"{(int(text[2:4]) - 1) % 20 + 1:02}", text[4:6])
    return day and weighed(text, (2, 4, 8, 5, 10, 9, 7, 3, 6)) % 11 % 10 == int(text[9])


def curp(text: str) -> bool:
    alphabet = "0123456789ABCDEFGHIJKLMN&OPQRSTUVWXYZ"
    total = sum(alphabet.index(letter) * (18 - place) for place, letter in enumerate(text[:17]))
    return is_day(text[4:6], text[6:8], text[8:10]) and -total % 10 == int(text[17])


def japanese(text: str) -> bool:
    remainder = weighed(text, (6, 5, 4, 3, 2, 7, 6, 5, 4, 3, 2)) % 11
    return (0 if remainder <= 1 else 11 - remainder) == int(text[11])


def iban(text: str) -> bool:
    moved = text[4:] + text[:4]
    return int("".join(str(int(letter, 36)) for letter in moved)) % 97 == 1


@dataclass(frozen=True)
class Number:
    """`form` is what it looks like without what stands between its groups; `chance` the share of such texts that pass."""

    what: str
    form: str
    is_valid: Callable[[str], bool]
    chance: float


def always(_text: str) -> bool:
    return True


NUMBERS = (
    Number("British health service numbers", r"[0-9]{10}", nhs, 1 / 11),
    # Without a check digit; few other references have this form.
    Number("British insurance numbers", r"[A-CEGHJ-PR-TW-Z][A-CEGHJ-NPR-TW-Z][0-9]{6}[A-D]", always, 0.01),
    Number("Spanish identity numbers", r"[0-9XYZ][0-9]{7}[A-Z]", dni, 1 / 23),
    Number(
        "Italian tax codes", r"[A-Z]{6}[0-9]{2}[A-EHLMPRST][0-9]{2}[A-Z][0-9]{3}[A-Z]", codice_fiscale, 0.001
    ),
    Number("French insurance numbers", r"[1-478][0-9]{4}[0-9AB][0-9]{9}", nir, 1 / 97),
    Number("German tax numbers", r"[1-9][0-9]{10}", idnr, 0.04),
    Number("Dutch service numbers", r"[0-9]{9}", bsn, 1 / 11),
    Number("Belgian national numbers", r"[0-9]{11}", belgian, 2 / 97),
    Number("Polish personal numbers", r"[0-9]{11}", pesel, 0.02),
    Number("Swedish personal numbers", r"(?:18|19|20)?[0-9]{10}", swedish, 0.01),
    Number("Norwegian personal numbers", r"[0-9]{11}", norwegian, 0.01),
    Number("Danish personal numbers", r"[0-9]{10}", danish, 0.05),
    Number("Finnish personal numbers", r"[0-9]{6}[+A-FU-Y]?[0-9]{3}[0-9A-FHJ-NPR-Y]", finnish, 0.01),
    Number("Brazilian tax numbers", r"[0-9]{11}", cpf, 0.02),
    Number("Chilean identity numbers", r"[0-9]{7,8}[0-9K]", chilean, 1 / 11),
    Number("Chinese identity numbers", r"[1-9][0-9]{16}[0-9X]", chinese, 0.001),
    Number("Korean resident numbers", r"[0-9]{13}", korean, 0.01),
    Number("Indian identity numbers", r"[2-9][0-9]{11}", aadhaar, 0.1),
    Number("Turkish identity numbers", r"[1-9][0-9]{10}", turkish, 0.01),
    Number("South African identity numbers", r"[0-9]{13}", south_african, 0.01),
    Number("Australian tax numbers", r"[0-9]{9}", australian, 1 / 11),
    Number("Australian health numbers", r"[2-6][0-9]{9,10}", medicare, 0.1),
    Number("Canadian insurance numbers", r"[1-79][0-9]{8}", is_luhn, 0.1),
    Number("Israeli identity numbers", r"[0-9]{9}", is_luhn, 0.1),
    Number("Romanian personal numbers", r"[1-9][0-9]{12}", romanian, 0.01),
    Number("Portuguese tax numbers", r"[1-9][0-9]{8}", portuguese, 0.1),
    Number("Swiss insurance numbers", r"756[0-9]{10}", ean13, 0.1),
    Number("Czech birth numbers", r"[0-9]{10}", czech, 0.01),
    Number("Bulgarian civil numbers", r"[0-9]{10}", bulgarian, 0.01),
    Number("Mexican population codes", r"[A-Z]{4}[0-9]{6}[HMX][A-Z]{5}[0-9A-Z][0-9]", curp, 0.001),
    Number("Japanese individual numbers", r"[0-9]{12}", japanese, 1 / 11),
    Number("account numbers (IBAN)", r"[A-Z]{2}[0-9]{2}[0-9A-Z]{11,30}", iban, 1 / 97),
    Number("card numbers", r"[3-6][0-9]{14,15}", is_luhn, 0.1),
)
# Every form has a run of digits, or of letters and digits, that this finds fast.
ANY_FORM = r"^(?:[A-Za-z]{0,6}[\s.\-/_]?)?(?:[0-9A-Za-z][\s.\-/_]?){8,33}$"


def compact(text: str) -> str:
    return BETWEEN.sub("", text).upper()


def national_numbers(texts: Sequence[str]) -> str | None:
    """What most of the texts are, of those with the form of a national number; None where chance explains it."""
    found = [compact(text) for text in texts[:LOOKED_AT]]
    for number in NUMBERS:
        formed = [text for text in found if re.fullmatch(number.form, text)]
        passed = sum(number.is_valid(text) for text in formed)
        if passed * 2 > len(formed) and tail(len(formed), passed, number.chance) < LEAST_LIKELY:
            return number.what
    return None


def tail(n: int, passed: int, chance: float) -> float:
    """The probability that at least `passed` of `n` pass by chance, of at most the first 100."""
    if n > 100:
        n, passed = 100, passed * 100 // n
    return sum(comb(n, k) * chance**k * (1 - chance) ** (n - k) for k in range(passed, n + 1))
