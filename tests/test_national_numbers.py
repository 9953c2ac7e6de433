"""National numbers are known by their check digits, and chance is no number.

Reference: python-stdnum 2.2, which is asked only here; where it has no module for a number, the rule is in
`pipelines/files/national.py` alone.
"""

from __future__ import annotations

import importlib
import random
import re

import pytest

from pipelines.files.national import NUMBERS, Number, national_numbers, tail

REFERENCE = {
    "British health service numbers": "gb.nhs",
    "Spanish identity numbers": "es.dni es.nie",
    "Italian tax codes": "it.codicefiscale",
    "French insurance numbers": "fr.nir",
    "German tax numbers": "de.idnr",
    "Dutch service numbers": "nl.bsn",
    "Belgian national numbers": "be.nn",
    "Polish personal numbers": "pl.pesel",
    "Swedish personal numbers": "se.personnummer",
    "Norwegian personal numbers": "no.fodselsnummer",
    "Danish personal numbers": "dk.cpr",
    "Finnish personal numbers": "fi.hetu",
    "Brazilian tax numbers": "br.cpf",
    "Chilean identity numbers": "cl.rut",
    "Chinese identity numbers": "cn.ric",
    "Korean resident numbers": "kr.rrn",
    "Indian identity numbers": "in_.aadhaar",
    "Turkish identity numbers": "tr.tckimlik",
    "South African identity numbers": "za.idnr",
    "Australian tax numbers": "au.tfn",
    "Canadian insurance numbers": "ca.sin",
    "Israeli identity numbers": "il.idnr",
    "Romanian personal numbers": "ro.cnp",
    "Portuguese tax numbers": "pt.nif",
    "Swiss insurance numbers": "ch.ssn",
    "Czech birth numbers": "cz.rc",
    "Bulgarian civil numbers": "bg.egn",
    "Mexican population codes": "mx.curp",
    "account numbers (IBAN)": "iban",
    "card numbers": "luhn",
}
DIGITS, LETTERS = "0123456789", "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def valid_by_the_reference(number: Number, text: str) -> bool:
    modules = (importlib.import_module(f"stdnum.{name}") for name in REFERENCE[number.what].split())
    return any(module.is_valid(text) for module in modules)


def drawn(number: Number, chance: random.Random) -> str:
    """A text of the number's form; where it has a day, a possible one."""
    year, month, day = (
        f"{chance.randint(50, 99)}",
        f"{chance.randint(1, 12):02}",
        f"{chance.randint(1, 28):02}",
    )

    def some(count: int) -> str:
        return "".join(chance.choices(DIGITS, k=count))

    made = {
        "Italian tax codes": lambda: (
            f"RSSMRA{year}{chance.choice('ABCDEHLMPRST')}{day}H501{chance.choice(LETTERS)}"
        ),
        "French insurance numbers": lambda: f"{chance.choice('12')}{year}{month}{some(10)}",
        "Polish personal numbers": lambda: year + month + day + some(5),
        "Swedish personal numbers": lambda: year + month + day + some(4),
        "Norwegian personal numbers": lambda: day + month + year + some(5),
        "Danish personal numbers": lambda: day + month + year + some(4),
        "Finnish personal numbers": lambda: (
            f"{day}{month}{year}A{some(3)}{chance.choice('0123456789ABCDEFHJKLMNPRSTUVWXY')}"
        ),
        "Belgian national numbers": lambda: year + month + day + some(5),
        "Chinese identity numbers": lambda: (
            f"110101 19{year}{month}{day}{some(3)}{chance.choice('0123456789X')}".replace(" ", "")
        ),
        "Korean resident numbers": lambda: year + month + day + "1" + some(6),
        "South African identity numbers": lambda: year + month + day + some(4) + "08" + some(1),
        "Romanian personal numbers": lambda: "1" + year + month + day + "40" + some(4),
        "Czech birth numbers": lambda: year + month + day + some(4),
        "Bulgarian civil numbers": lambda: year + month + day + some(4),
        "Mexican population codes": lambda: f"BOXW{year}{month}{day}HDFLNR0{some(1)}",
        "Swiss insurance numbers": lambda: "756" + some(10),
        "Spanish identity numbers": lambda: some(8) + chance.choice(LETTERS),
        "account numbers (IBAN)": lambda: f"DE{some(20)}",
        "card numbers": lambda: "4" + some(15),
    }
    length = next((int(each) for each in re.findall(r"\{(\d+)", number.form)[-1:]), 9)
    first = {"[1-9][0-9]{10}": "4", "[2-9][0-9]{11}": "4", "[1-79][0-9]{8}": "1", "[1-9][0-9]{8}": "2"}
    plain = first.get(number.form, "") + some(length)
    if number.what == "Chilean identity numbers":
        plain = some(8) + chance.choice("0123456789K")
    return made.get(number.what, lambda: plain)()


@pytest.mark.parametrize(
    "number", [each for each in NUMBERS if each.what in REFERENCE], ids=lambda each: each.what
)
def test_what_is_valid_is_what_the_reference_library_says(number: Number) -> None:
    chance = random.Random(number.what)
    valid: list[str] = []
    for _ in range(6_000):
        text = drawn(number, chance)
        assert re.fullmatch(number.form, text), text
        if valid_by_the_reference(number, text):
            valid.append(text)
            # The library knows more than the check digits (provinces, days that have not come): so one way only.
            assert number.is_valid(text), text
        if len(valid) == 8:
            break
    assert len(valid) >= 3
    assert national_numbers(valid * 3) is not None
    # The last character is a check digit, but of Danish numbers, which have none since 2007.
    changed = {text[:-1] + other for text in valid for other in "123456" if other != text[-1]}
    if number.what != "Danish personal numbers":
        assert not any(number.is_valid(text) for text in changed if re.fullmatch(number.form, text))


@pytest.mark.parametrize("length", [8, 9, 10, 11, 12, 13, 16])
def test_random_digits_are_no_national_numbers(length: int) -> None:
    chance = random.Random(length)
    for _ in range(3):
        assert national_numbers(["".join(chance.choices(DIGITS, k=length)) for _ in range(600)]) is None


def test_the_tail_of_a_binomial() -> None:
    # 3 of 3 at 1/11, and the whole distribution.
    assert tail(3, 3, 1 / 11) == pytest.approx(1 / 1331)
    assert tail(7, 0, 0.3) == pytest.approx(1)
