"""Invented identifiers, in the shapes in which people write them.

Which identifiers there are: 45 CFR 164.514(b)(2), the 18 of Safe Harbor, among them names, dates, telephone
and fax numbers, email addresses, social security, record, plan, account and licence numbers, serial numbers,
URLs, IP addresses. The shapes in which they are written: common practice, no source. All shown here are
invented, or set aside for examples: names by RFC 2606, addresses by RFC 5737 and RFC 3849, telephones by the
555-01xx block and the numbers that the United Kingdom's regulator keeps for drama.
"""

from __future__ import annotations

import hashlib
import uuid

from pipelines.files.reading import Sheet
from pipelines.files.records import sheet_from_records

EMAILS = ["a.muster@example.org", "write to j_d+x@mail.example.co.uk.", "<é@example.net>", "X@Y-Z.EXAMPLE"]
URLS = ["https://example.org/p/7", "see HTTP://EXAMPLE.COM", "www.example.org", "ftp://192.0.2.1/x"]
NETWORK = [
    "192.0.2.17",
    "from 198.51.100.3:8080",
    "2001:db8::1",
    "2001:db8:0:0:0:0:2:1",
    "IP:2001:DB8:1::9/64",
]
TELEPHONES = [
    "+12 345 6789",
    "+123456789012345",
    "012 345 678",
    "01234 56789 01234",
    "+44 20 7946 0123",
    "+442079460123",
    "+1 (555) 010-0199",
    "+49-30-5550199",
    "020 7946 0123",
    "01632 960123",
    "tel.01632-960123",
    "07700 900 123",
    "01.23.45.67.89",
    "0049 30 5550199",
    "(020) 7946 0123",
    "(01632) 960123",
    "(0171)5550199",
    "call 020 7946 0123, please",
    "1-555-010-0199",
    "(555) 010-0199",
    "(555)010-0199",
    "555-010-0199",
    "555.010.0199",
    "555 010 0199",
    "fax:555-010-0199;",
]
NATIONAL = [
    "123-45-6789",
    "123.45.6789",
    "123 45 6789",
    "no 123-45-6789.",
    "SSN-123-45-6789",
    "x;123-45-6789",
]
CERTAIN = [*EMAILS, *URLS, *NETWORK, *TELEPHONES, *NATIONAL]

# What an export holds and what must not be taken for one of them.
ORDINARY = [
    "2026-04-03",
    "2026-04-03T10:30:00+02:00",
    "2026-04-03 10:30:15.123456",
    "03.04.2026",
    "03.04.2026 10:30",
    "03-04-2026 10.30",
    "3/4/26",
    "10:30",
    "0:01:05",
    "12:03:44",
    "26:03:04",
    "endophthalmitis@5",
    "capsule_rupture;endophthalmitis@5",
    "small_pupil;dense_cataract",
    "none",
    "T07",
    "T07-0004512",
    "T07-0123-45678",
    "case-2026-0012",
    "0004512",
    "0",
    "45",
    "45.5",
    "0.123456789",
    "00.123456789",
    "+1.234567890",
    "1e+10",
    "1.5",
    "1.2.3",
    "-12.75",
    "300.1.2.3",
    "192.0.2.256",
    "10::30",
    # No telephone: eight digits, sixteen, an area code of six.
    "+12 345 678",
    "+1234567890123456",
    "012 345 67",
    "(020) 12345",
    "01234 56789 012345",
    "012345 67890",
    "1.2.3.4.5",
    "2026-27 mid",
    "#N/A",
    "1::2",
    "a@b",
    "x.y",
    "phaco_iol",
    "1 000 000",
    "100, 200, 300",
    "1234567890",
    "123456789",
    "1123-45-6789",
    "123-45-67890",
    "x123-45-6789",
    "123-45-6789x",
    "555-010-01990",
    "5555-010-0199",
    "2026-04-03 2026-05-04",
    "550e8400-e29b-41d4-a716-446655440000",
    "00000000-0000-0000-0000-000000000000",
    "abcdefab-0123-4567-8901-abcdefabcdef",
    str(uuid.uuid5(uuid.NAMESPACE_DNS, "example.org")),
    hashlib.sha256(b"x").hexdigest(),
    hashlib.md5(b"x", usedforsecurity=False).hexdigest(),
]


def sheet_of(header: list[str], *rows: list[str]) -> Sheet:
    sheet = sheet_from_records([header, *rows])
    assert sheet
    return sheet
