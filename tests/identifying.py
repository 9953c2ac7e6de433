"""A corpus of identifying content, labelled by kind, and of notes that name nobody; made with a fixed seed.

Names: those of the United States census, in their order, as the package zxcvbn holds them; a name is drawn in
inverse proportion to its rank. Names of other languages are common ones typed from memory, put together by chance.
Telephones: the example numbers of phonenumbers. National numbers: python-stdnum says that they are valid. Everything
else is invented. Which identifiers there are: 45 CFR 164.514(b)(2), the 18 of Safe Harbor. How people write them into
notes: common practice, no source.
"""

from __future__ import annotations

import functools
import importlib
import random
import string
import uuid
from collections.abc import Callable
from datetime import date

import phonenumbers
import stdnum
from zxcvbn.frequency_lists import FREQUENCY_LISTS

CHANCE = random.Random(20261126)
TEXTS_OF_A_KIND = 100

OTHER_NAMES = {
    "German": ["Jürgen Müller", "Sabine Großmann", "Ute Weiß", "Dieter Vogelsang", "Annegret Schönfeld"],
    "French": ["Hélène Lefèvre", "François Bonnet", "Maëlle d'Aubigné", "Thierry Rousseau", "Zoé Charpentier"],
    "Spanish": ["José Núñez", "María del Carmen Ibáñez", "Íñigo Echeverría", "Lucía Fernández", "Álvaro Quintanilla"],
    "Nordic": ["Åse Bjørnstad", "Søren Østergaard", "Jón Þórðarson", "Päivi Hämäläinen", "Gøran Lindqvist"],
    "Slavic": ["Łukasz Wójcik", "Jiří Dvořák", "Željko Petrović", "Agnieszka Kowalczyk", "Ondřej Svoboda"],
    "Turkish": ["Gülşen Yıldırım", "Çağla Öztürk", "Şükrü Aydın", "Emre Kılıç", "Ayşe Demirtaş"],
    "Indian": ["Priya Chakraborty", "Venkatesh Subramaniam", "Harpreet Dhillon", "Anjali Deshmukh", "Rakesh Agarwal"],
    "West African": ["Chukwuemeka Okonkwo", "Adaeze Nwosu", "Kwabena Asante", "Folasade Adeyemi", "Amadou Diallo"],
    "Vietnamese": ["Nguyễn Thị Hương", "Trần Văn Dũng", "Phạm Minh Đức", "Lê Quang Vinh", "Đặng Thu Thảo"],
    "Greek letters": ["Γεώργιος Παπαδόπουλος", "Ελένη Νικολάου", "Κώστας Δημητρίου", "Σοφία Αντωνίου", "Νίκος Βασιλείου"],
    "Cyrillic letters": ["Иван Петров", "Ольга Смирнова", "Дмитрий Кузнецов", "Наталья Волкова", "Сергей Морозов"],
    "Arabic letters": ["محمد العلي", "فاطمة الزهراء", "أحمد حسن", "خالد بن سعيد", "مريم يوسف"],
    "Chinese letters": ["王小明", "李秀英", "张伟", "刘洋", "陈静怡"],
    "Korean letters": ["김민준", "이서연", "박지훈", "최수빈", "정하은"],
    "Japanese letters": ["佐藤花子", "田中一郎", "鈴木さくら", "高橋健太", "伊藤みなみ"],
    "Hebrew letters": ["דוד כהן", "רחל לוי", "יוסף מזרחי", "מרים פרץ", "משה ביטון"],
}  # fmt: skip


def census(kind: str) -> str:
    """A name of one list of the census; common ones more often."""
    names = FREQUENCY_LISTS[kind]
    return CHANCE.choices(names, _inverse_ranks(len(names)))[0].title()


@functools.cache
def _inverse_ranks(count: int) -> list[float]:
    return [1 / rank for rank in range(1, count + 1)]


def first() -> str:
    return census(CHANCE.choice(["female_names", "male_names"]))


def last() -> str:
    return census("surnames")


CYRILLIC = str.maketrans("aeo", "\u0430\u0435\u043e")
MONTHS = [date(2026, month, 1).strftime("%B") for month in range(1, 13)]


def small(text: str) -> str:
    return text.lower()


def large(text: str) -> str:
    return text.upper()


def wide(text: str) -> str:
    """Letters of full width."""
    return "".join(chr(ord(letter) + 0xFEE0) if letter.isalpha() else letter for letter in text)


def some(count: int) -> str:
    return "".join(CHANCE.choices("0123456789", k=count))


def some_day(form: str) -> str:
    year, month, day = CHANCE.randint(1930, 2026), CHANCE.randint(1, 12), CHANCE.randint(1, 28)
    return form.format(
        y=year, yy=f"{year % 100:02}", m=f"{month:02}", d=f"{day:02}", dd=day,
        month=MONTHS[month - 1],
    )  # fmt: skip


def valid(module: str, make: Callable[[], str]) -> Callable[[], str]:
    checked = importlib.import_module(f"{stdnum.__name__}.{module}")

    def one() -> str:
        return next(text for text in (make() for _ in range(50_000)) if checked.is_valid(text))

    return one


def telephone(form: int) -> Callable[[], str]:
    regions = sorted(phonenumbers.SUPPORTED_REGIONS)

    def one() -> str:
        number = phonenumbers.example_number(CHANCE.choice(regions))
        text = phonenumbers.format_number(number, form) if number else ""
        # An extension of an island has no more digits than a measurement.
        return text if sum(map(str.isdigit, text)) >= 8 else one()

    return one


# What stands around a name, a number, a day in a note.
NAMED = ["assisted by {}", "{} took over for the last step", "Seen with {} afterwards", "supervised by {}, went well",
         "Patient {} very anxious", "told {} to slow down", "{}", "chop done by {}."]  # fmt: skip
NUMBERED = ["{}", "pt {} uneventful", "see also {}", "capsule tear, {} noted", "({}) second eye"]
DATED = ["{}", "second eye on {}", "seen {} in clinic", "previous operation {}.", "review {}: no leak"]


def in_notes(make: Callable[[], str], around: list[str]) -> Callable[[], str]:
    return lambda: CHANCE.choice(around).format(make())


NAMES: dict[str, Callable[[], str]] = {
    "full name": lambda: f"{first()} {last()}",
    "full name, small letters": lambda: small(f"{first()} {last()}"),
    "full name, capitals": lambda: large(f"{first()} {last()}"),
    "family name first": lambda: f"{last()}, {first()}",
    "title and family name": lambda: f"{CHANCE.choice(['Dr', 'Dr.', 'Mr', 'Mrs', 'Prof.', 'Ms'])} {last()}",
    "title and small letters": lambda: small(f"dr {last()}"),
    "initial and family name": lambda: f"{first()[0]}. {last()}",
    "two initials and family name": lambda: f"{first()[0]}.{first()[0]}. {last()}",
    "family name and initial": lambda: f"{last()}, {first()[0]}.",
    "double family name": lambda: f"{first()} {last()}-{last()}",
    "three names": lambda: f"{first()} {first()} {last()}",
    "particle of a name": lambda: f"{CHANCE.choice(['van der', 'von', 'de la', 'El', 'bin'])} {last()}",
    "joined capitals": lambda: f"{CHANCE.choice(['Mc', 'O’', chr(39).join(['O', '']), 'Mac'])}{last()}",
    "invisible letters inside": lambda: "\u200b".join(f"{first()} {last()}"),
    "letters of full width": lambda: wide(f"{first()} {last()}"),
    "letters of two alphabets": lambda: f"{first()}a {last()}".translate(CYRILLIC),
    **{f"{language} name": (lambda many=many: CHANCE.choice(many)) for language, many in OTHER_NAMES.items()},  # type: ignore[misc] - a default binds the list
}  # fmt: skip
FAMILY_NAMES: dict[str, Callable[[], str]] = {
    "family name alone": in_notes(last, ["assisted by {}", "Seen with {}", "taken over by {} at once", "supervised by {}, calm"]),
    "given name alone": in_notes(first, ["assisted by {}", "patient {} anxious", "told {} to slow down", "with {} in room"]),
    "family name with ’s": in_notes(last, ["{}'s patient", "{}’s list", "this was {}'s idea"]),
    "initials of a person": in_notes(
        lambda: f"{first()[0]}{last()[0]}", ["done by {}", "taken over by {} at the end", "finished by {}."],
    ),
}  # fmt: skip
FORM = phonenumbers.PhoneNumberFormat
NUMBERS: dict[str, Callable[[], str]] = {
    "telephone, international": telephone(FORM.INTERNATIONAL),
    "telephone, E.164": telephone(FORM.E164),
    "telephone, as at home": telephone(FORM.NATIONAL),
    "telephone, 3-3-4": lambda: f"555-010-0{some(3)}"[:12],
    "email": lambda: small(f"{first()}.{last()}@example.org"),
    "email in words": lambda: small(f"{first()} at example dot org"),
    "email with (at)": lambda: small(f"{last()} (at) example.org"),
    "web address": lambda: small(f"https://example.org/{last()}"),
    "web address without a scheme": lambda: f"example.org/{some(4)}",
    "network address": lambda: f"192.0.2.{CHANCE.randint(1, 254)}",
    "handle": lambda: small(f" @{last()}_{some(2)}"),
    "device address": lambda: ":".join(f"{CHANCE.randint(0, 255):02x}" for _ in range(6)),
    "place on a map": lambda: f"{CHANCE.uniform(-80, 80):.5f}, {CHANCE.uniform(-179, 179):.5f}",
    "social security number": lambda: f"{some(3)}-{some(2)}-{some(4)}",
    "record number": lambda: f"MRN {some(8)}",
    "record number, short": lambda: f"chart no. {some(5)}",
    "record number, letters": lambda: f"hosp no X{some(4)}",
    "account number": lambda: f"account {some(8)}",
    "insurance policy": lambda: f"policy AB{some(5)}",
    "licence number": lambda: f"licence no {some(5)}",
    "passport number": lambda: f"passport L{some(8)}",
    "plate of a vehicle": lambda: f"plate AB{some(2)} CDE",
    "serial number of a lens": lambda: f"serial {some(10)}",
    "number of a device": lambda: f"device SN-{some(6)}",
    "card number": valid("luhn", lambda: f"4{some(15)}"),
    "IBAN": valid("iban", lambda: f"DE{some(20)}"),
    "health number, British": valid("gb.nhs", lambda: some(10)),
    "health number, in groups": lambda: f"{some(3)} {some(3)} {some(4)}",
    "insurance number, British": lambda: f"AB{some(6)}C",
    "identity number, Spanish": valid(
        "es.dni", lambda: f"{some(8)}{CHANCE.choice('TRWAGMYFPDXBNJZSQVHLCKE')}"
    ),
    "tax code, Italian": lambda: f"RSSMRA{some(2)}A{some(2)}H{some(3)}Q",
    "personal number, Danish": lambda: some_day("{d}{m}{yy}") + f"-{some(4)}",
    "personal number, Finnish": lambda: some_day("{d}{m}{yy}") + f"-{some(3)}N",
    "personal number, Polish": valid("pl.pesel", lambda: some_day("{yy}{m}{d}") + some(5)),
    "identity number, Indian": lambda: f"{CHANCE.randint(2, 9)}{some(3)} {some(4)} {some(4)}",
    "identity number, Chinese": valid("cn.ric", lambda: f"110101{some_day('19{yy}{m}{d}')}{some(4)}"),
    "tax number, Brazilian": lambda: f"{some(3)}.{some(3)}.{some(3)}-{some(2)}",
    "insurance number, Canadian": lambda: f"{some(3)} {some(3)} {some(3)}",
    "postcode, British": lambda: f"SW{CHANCE.randint(1, 9)}A {CHANCE.randint(1, 9)}AB",
    "postcode, American": lambda: f"ME {some(5)}",
    "street": lambda: (
        f"{CHANCE.randint(1, 300)} {last()} {CHANCE.choice(['Street', 'Road', 'Lane', 'Avenue'])}"
    ),
    "street, German": lambda: f"Hafenstraße {CHANCE.randint(1, 99)}",
    "street, French": lambda: f"{CHANCE.randint(1, 99)} rue des Lilas",
    "name of a picture": lambda: f"IMG_{some(4)}.jpg",
    "age over 89": lambda: f"{CHANCE.randint(90, 104)} year old",
}
DAYS: dict[str, Callable[[], str]] = {
    "day, ISO": lambda: some_day("{y}-{m}-{d}"),
    "day, slashes": lambda: some_day("{d}/{m}/{y}"),
    "day, dots": lambda: some_day("{dd}.{m}.{yy}"),
    "day in words": lambda: some_day("{dd} {month} {y}"),
    "day in words, month first": lambda: some_day("{month} {dd}, {y}"),
    "day without a year": lambda: some_day("{dd} {month}"),
    "birth date": lambda: f"DOB {some_day('{d}/{m}/{yy}')}",
    "birth year": lambda: f"born {some_day('{y}')}",
    "day, Chinese": lambda: some_day("{y}年{m}月{d}日"),
    "day, Arabic digits": lambda: some_day("{y}-{m}-{d}").translate(
        str.maketrans("0123456789", "٠١٢٣٤٥٦٧٨٩")
    ),
    "day without separators": lambda: some_day("{y}{m}{d}"),
}
FREE_TEXT: dict[str, Callable[[], str]] = {
    **{kind: in_notes(make, NAMED) for kind, make in NAMES.items()},
    **FAMILY_NAMES,
    **{kind: in_notes(make, NUMBERED) for kind, make in NUMBERS.items()},
    **{kind: in_notes(make, DATED) for kind, make in DAYS.items()},
}


def texts_of(kind: str) -> list[str]:
    """Different notes that hold content of one kind."""
    CHANCE.seed(kind)
    return list(dict.fromkeys(FREE_TEXT[kind]() for _ in range(TEXTS_OF_A_KIND)))


# References, each kind a column of its own: how many different ones, and what makes one


REFERENCES: dict[str, Callable[[], str]] = {
    "family name": last,
    "family name, small letters": lambda: small(last()),
    "family name, capitals": lambda: large(last()),
    "initial and family name": lambda: small(f"{first()[0]}_{last()}"),
    "family name and initial": lambda: f"{last()}-{first()[0]}",
    "names joined": lambda: f"{first()}{last()}",
    "names with an underscore": lambda: small(f"{last()}_{first()}"),
    "family name and a number": lambda: f"{last()}{some(2)}",
    "family name and a year": lambda: f"{last()}{CHANCE.randint(1940, 2010)}",
    "day of the operation, ISO": lambda: f"{CHANCE.randint(2020, 2026)}-{some_day('{m}-{d}')}-{some(3)}",
    "day of the operation, joined": lambda: f"{CHANCE.randint(2020, 2026)}{some_day('{m}{d}')}{some(2)}",
    "day of the operation, short": lambda: f"{CHANCE.randint(20, 26)}{some_day('{m}{d}')}-{some(2)}",
    "birth day, joined": lambda: some_day("{d}{m}{y}"),
    "birth day, short": lambda: some_day("{d}{m}{yy}"),
    "birth day with hyphens": lambda: some_day("{d}-{m}-{y}"),
    "initials and birth day": lambda: f"{first()[0]}{last()[0]}{some_day('{d}{m}{y}')}",
    "initials and short birth day": lambda: f"{first()[0]}{last()[0]}{some_day('{d}{m}{yy}')}",
    "record number": lambda: some(8),
    "record number, six digits": lambda: f"{CHANCE.randint(1, 9)}{some(5)}",
    "record number with its word": lambda: f"MRN{some(7)}",
    "social security number": lambda: f"{some(3)}-{some(2)}-{some(4)}",
    "telephone": lambda: f"07700900{some(3)}",
    "health number, British": valid("gb.nhs", lambda: some(10)),
    "insurance number, British": lambda: f"{CHANCE.choice(['AB', 'CE', 'JK'])}{some(6)}{CHANCE.choice('ABCD')}",
    "identity number, Spanish": valid("es.dni", lambda: f"{some(8)}{CHANCE.choice('TRWAGMYFPDXBNJZSQVHLCKE')}"),
    "tax code, Italian": valid(
        "it.codicefiscale", lambda: f"RSSMRA{some_day('{yy}')}A{some_day('{d}')}H501{CHANCE.choice(string.ascii_uppercase)}"
    ),
    "personal number, Danish": lambda: some_day("{d}{m}{yy}") + f"-{some(4)}",
    "personal number, Polish": valid("pl.pesel", lambda: some_day("{yy}{m}{d}") + some(5)),
    "personal number, Finnish": valid(
        "fi.hetu", lambda: f"{some_day('{d}{m}{yy}')}-{some(3)}{CHANCE.choice('0123456789ABCDEFHJKLMNPRSTUVWXY')}"
    ),
    "tax number, Brazilian": valid("br.cpf", lambda: some(11)),
    "identity number, Indian": valid("in_.aadhaar", lambda: f"{CHANCE.randint(2, 9)}{some(11)}"),
    "identity number, Chinese": valid("cn.ric", lambda: f"110101{some_day('19{yy}{m}{d}')}{some(4)}"),
    "IBAN": valid("iban", lambda: f"DE{some(20)}"),
}  # fmt: skip
PEOPLE = 12  # of a roster: fewer than the different references of cases


def references_of(kind: str) -> list[str]:
    """The different references of a column of one kind."""
    CHANCE.seed(kind)
    return list(dict.fromkeys(REFERENCES[kind]() for _ in range(PEOPLE)))


def counted(form: str) -> Callable[[], list[str]]:
    def column() -> list[str]:
        start = CHANCE.randint(1, 90_000)
        return [form.format(n=start + row) for row in range(600)]

    return column


def drawn(alphabet: str, length: int) -> Callable[[], list[str]]:
    return lambda: ["".join(CHANCE.choices(alphabet, k=length)) for _ in range(600)]


# References as programmes make them, a column of 600 each.
CLEAN_REFERENCES: dict[str, Callable[[], list[str]]] = {
    "counted": counted("{n:05}"),
    "counted with a letter": counted("C{n:06}"),
    "counted with a word": counted("CASE-{n:06}"),
    "counted by trainee": lambda: [f"T{CHANCE.randint(1, 40):02}-{some(7)}" for _ in range(600)],
    "counted by year": lambda: [f"{CHANCE.randint(2019, 2026)}-{row:04}" for row in range(600)],
    "counted by class": lambda: [f"2026-27-{row:03}" for row in range(600)],
    "hex of 6": drawn("0123456789abcdef", 6),
    "hex of 8": drawn("0123456789abcdef", 8),
    "hex of 12": drawn("0123456789ABCDEF", 12),
    "letters and digits, 8": drawn(string.ascii_uppercase + string.digits, 8),
    "letters and digits, 10": drawn(string.ascii_lowercase + string.digits, 10),
    "without look-alikes": drawn("23456789ABCDEFGHJKMNPQRSTVWXYZ", 7),
    "UUID": lambda: [str(uuid.UUID(int=CHANCE.getrandbits(128), version=4)) for _ in range(600)],
    "base 58": drawn("123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz", 11),
    "letters": drawn(string.ascii_uppercase, 6),
    "site and number": lambda: [f"S{CHANCE.randint(1, 9)}_{some(5)}" for _ in range(600)],
}  # fmt: skip


# Notes that name nobody

CLEAN = """
Uneventful. Chop used.
Capsule tight, converted to can-opener.
Good. Well done
5 attempts, 12345 seconds
20/40 before, 6/9 after
20/20/20 rule
may need 2 more in march
IOL in bag
grade 3 of 4
2026-27 mid
Small pupil, Malyugin ring used
Dense nucleus; needed divide and conquer
Rhexis ran out at 3 o'clock, rescued with Little technique
Trypan blue used for the capsule
Zonular weakness, CTR implanted
PCO noted, YAG planned
Wound burn at the main incision, one 10-0 nylon suture
Descemet detachment, air tamponade
Healon GV used, later Viscoat
Intracameral cefuroxime given
Floppy iris (IFIS), phenylephrine helped
Patient moved, supervisor finished the cortex
Supervisor took over for I/A
Taken over by the consultant at the rhexis
Discussed with the attending before the case
Done with spoken guidance only
Needs to slow down during sculpting
Left eye first, right eye in two weeks
Axial length 26.5, SRK/T used
AR40E in sulcus, SN60WF not possible
Vitreous loss, anterior vitrectomy, lens in the sulcus
No complication. Aphakic, secondary lens later
Good centration; wound Seidel negative
IOP 14 before, 22 after
Steady hands, better use of the second instrument
Hydrodissection incomplete
Nucleus did not rotate
Irrigating handpiece held too high
Avoid touching the iris
Paracentesis too long
Excellent bimanual control
Toric lens, axis 90 degrees
Femto not available
Diabetic patient, poor dilation
Conversion to ECCE
Steep learning curve, but safe
Cystoid macular oedema after six weeks
Endophthalmitis ruled out
Red reflex poor, hard to judge depth
Chamber shallow throughout
Phaco time 45 s, CDE 12.3
Needed help with the third quadrant
Very good communication with the team
Was rescued by supervisor
Patient anxious, sedation given
Subluxated lens in pseudoexfoliation
Argentinian flag sign
Fuchs dystrophy, DMEK planned
Sub-Tenon block
Bleb formed well; Mitomycin 0.2 mg/ml for 2 minutes
Ahmed valve, tube in the anterior chamber
Inferior rectus recession 4 mm
Both horizontal muscles, 5.5 mm and 6 mm
Chalazion drained
PRP 1200 spots, 200 ms
Ptosis: levator advancement 12 mm
Bevacizumab 1.25 mg
IVT Eylea
Not assessable this half year
Meets the level in routine cases, not yet in complex ones
Between two levels; committee chose the lower
Consistent with the rates seen so far
Independent in straightforward cases
Needs more exposure to small pupils
See technique scores
Better than at the last review
Recovered well from a capsule tear
Logs on time and completely
Not seen in theatre for two months
Should do more Trabeculectomy
Level confirmed by two reviewers
Rotated to Cornea for the quarter
Handled a difficult case calmly
Takes feedback well
Shows insight into own limits
Cases as surgeon too few to judge
Works well with nurses
OK
-
n/a
.
1
Second half only
ok, nothing to add
Grade B. Converted late
Vitamin A deficiency
Hepatitis B. Precautions taken
Stage II; class III
Type of lens: three-piece
Learned from the last case
4 mm by the limbus
Seen on day 1 and day 7
1 of 3 quadrants
30 to 45 min
0.5 % povidone iodine
Plan: repeat in 2 weeks
Wound leak → suture
“Soft shell” technique
Pulled the IOL out, new one in
AC deep, PC intact
PC rent after I/A; vitreous managed
Lens dropped: PPV next day
Topical anaesthesia failed, peribulbar block
"""


def clean_notes() -> list[str]:
    return [line for line in CLEAN.splitlines() if line]


def clean_column_of_notes() -> list[str]:
    """600 notes that name nobody: one, two or three of those above."""
    notes = clean_notes()
    return ["; ".join(CHANCE.sample(notes, CHANCE.randint(1, 3))) for _ in range(600)]
