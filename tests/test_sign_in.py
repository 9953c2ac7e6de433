"""What signing in rests on, each by itself: access.yaml, accounts and passphrases, waits, sessions.

Sources: NIST SP 800-63B-4 (from memory, its numbers beside each test), OWASP ASVS 5.0, chapters 6 and 7.
"""

from __future__ import annotations

import datetime
import math
from pathlib import Path
from typing import Any

import pytest
import yaml
from streamlit.testing.v1 import AppTest

from dashboard.attempts import FREE, MOST_FAILURES, Attempts
from dashboard.screens import bring_in
from dashboard.sessions import Limits, Sessions, Who
from dashboard.who import Directory, OfAccount, OfProvider
from pipelines.contract.errors import WrongUsage
from pipelines.store import accounts, passphrases
from pipelines.store.accounts import Accounts
from pipelines.store.documents import load_access
from pipelines.store.store import Store
from tests.department import PASSPHRASE, admit, make_accounts
from tests.stores import new_store, run

ISSUER = "https://login.example"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return new_store(tmp_path)


# ---- access.yaml

BROKEN: dict[str, tuple[list[dict[str, Any]], str]] = {
    "a role there is not": ([{"role": "rector", "account": "a"}], "people.0.role"),
    "no way to sign in": ([{"role": "director"}], "name an account, an email, or an issuer"),
    "a subject of no issuer": (
        [{"role": "director", "subject": "1"}],
        "a subject is somebody only at an issuer",
    ),
    "everybody at an issuer": (
        [{"role": "director", "issuer": ISSUER, "account": "a"}],
        "an issuer alone is everybody",
    ),
    "a trainee without a reference": ([{"role": "trainee", "account": "a"}], "the key trainee says which"),
    "a director with one": (
        [{"role": "director", "account": "a", "trainee": "T01"}],
        "the role trainee alone",
    ),
    "a reviewer without one": ([{"role": "reviewer", "account": "a"}], "the key reviewer says which"),
    "a key there is not": ([{"role": "director", "account": "a", "room": "4"}], "people.0.room"),
    "a number for a subject": ([{"role": "director", "issuer": ISSUER, "subject": 12}], "people.0.subject"),
    "one account, two people": (
        [{"role": "director", "account": "a"}, {"role": "coordinator", "account": "a"}],
        "two entries sign in by the same account",
    ),
    "one email, written twice": (
        [{"role": "director", "email": "A@b.example"}, {"role": "coordinator", "email": "a@B.example"}],
        "two entries sign in by the same email",
    ),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_an_access_file_that_breaks_its_schema_says_where(tmp_path: Path, fault: str) -> None:
    people, words = BROKEN[fault]
    (tmp_path / "access.yaml").write_text(yaml.safe_dump({"people": people}))
    with pytest.raises(WrongUsage, match=r"access\.yaml") as refused:
        load_access(tmp_path / "access.yaml")
    assert words in str(refused.value)


PEOPLE = [
    {"role": "director", "account": "head", "person": "Dr-Head"},
    {"role": "trainee", "trainee": "T07", "issuer": ISSUER, "subject": "8f2c"},
    {"role": "coordinator", "email": "Office@Example.org", "programme": "other-eye"},
    {"role": "reviewer", "reviewer": "S01", "issuer": "https://second.example", "email": "s01@example.org"},
]
HEAD = Who("director", "harbour-eye", None, "Dr-Head")
T07 = Who("trainee", "harbour-eye", "T07", "T07")
OFFICE = Who("coordinator", "other-eye", None, "Office@Example.org")
S01 = Who("reviewer", "harbour-eye", "S01", "S01")
SECOND = "https://second.example"
# Who is whom, with one provider and with several: an email counts then only with the issuer that its entry names.
LOOKED_UP = [
    (OfAccount("head", 2), HEAD, HEAD),
    (OfAccount("head", 1), None, None),
    (OfAccount("T07", 2), None, None),
    (OfProvider(ISSUER, "8f2c"), T07, T07),
    (OfProvider(SECOND, "8f2c"), None, None),
    (OfProvider(ISSUER, "8f2d"), None, None),
    (OfProvider(ISSUER, "1", "office@example.org"), OFFICE, None),
    (OfProvider(ISSUER, "1", None), None, None),
    (OfProvider(ISSUER, "1", "s01@example.org"), None, None),
    (OfProvider(SECOND, "1", "s01@example.org"), S01, S01),
]


@pytest.mark.parametrize(("identity", "one", "several"), LOOKED_UP)
def test_who_signs_in_is_looked_up_by_what_nobody_else_can_have(
    root: Path, identity: Any, one: Who | None, several: Who | None
) -> None:
    admit(root, PEOPLE)
    make_accounts(root, "head")
    assert Directory(Store(root)).who(identity) == one
    assert Directory(Store(root), several=True).who(identity) == several


def test_the_files_are_read_again_when_they_change_and_nobody_is_let_in_by_a_broken_one(
    root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_accounts(root, "head")
    directory, head = Directory(Store(root)), OfAccount("head", 2)
    assert directory.who(head) is None
    admit(root, PEOPLE)
    assert directory.who(head) == HEAD
    (root / "access.yaml").write_text("people: [", encoding="utf-8")
    assert [directory.who(head), directory.who(head)] == [None, None]
    assert capsys.readouterr().err.count("access.yaml is not readable") == 1
    admit(root, PEOPLE)
    assert directory.who(head) == HEAD
    Accounts(root).close("head")
    assert directory.who(head) is None


# ---- passphrases

# From memory: each is among the most common in published lists of leaked passwords, or is what such lists are made of.
COMMON = [
    "passwordpassword",
    "123456789012345",
    "111111111111111",
    "qwertyuiopasdfgh",
    "abcdefghijklmnop",
    "iloveyouiloveyou",
    "1qaz2wsx3edc4rfv",
]


@pytest.mark.parametrize("passphrase", COMMON)
def test_what_is_common_is_refused_with_its_reason(passphrase: str) -> None:
    assert len(passphrase) >= 15
    assert "common" in str(passphrases.fault_of(passphrase))


@pytest.mark.parametrize(
    ("passphrase", "fault"),
    [
        (
            "x7#Kq!9zR@2mWp",
            "at least 15",
        ),  # 14 characters, of every kind: NIST SP 800-63B-4, 3.1.1.1, asks for 15
        ("quiet harbour lantern seven", None),  # lower case alone: no rule of composition
        ("тихая гавань и семь фонарей", None),
        ("a" + "-lantern" * 32, "at most 256"),
        ("cohort-standing-cohort", "common"),
        ("harbour.office.harbour.office", "common"),
    ],
)
def test_length_and_the_expected_decide_and_no_kind_of_character(passphrase: str, fault: str | None) -> None:
    said = passphrases.fault_of(passphrase, "harbour.office")
    assert (said is None) if fault is None else (fault in str(said))


def test_64_characters_are_taken_whole_and_the_same_characters_are_the_same() -> None:
    long = (
        "lantern seven harbour quiet " * 2 + "Ångström"
    )  # NIST SP 800-63B-4, 3.1.1.2: 64 and more are possible
    assert len(long) == 64
    assert passphrases.fault_of(long) is None
    kept = passphrases.hashed(long)
    assert passphrases.matches(long, kept)
    assert passphrases.matches(long.replace("Å", "A\u030a"), kept)  # the same character, typed as two
    for other in (long[:-1], long + " ", long.lower(), ""):
        assert not passphrases.matches(other, kept)


def test_a_hash_has_owasps_parameters_and_a_salt_of_its_own() -> None:
    first, second = passphrases.hashed(PASSPHRASE), passphrases.hashed(PASSPHRASE)
    assert first != second
    # Source: OWASP Password Storage Cheat Sheet: Argon2id with 19 MiB, two iterations, one degree of parallelism.
    assert first.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    assert not passphrases.matches("anything at all", None)


# ---- accounts


def test_a_code_works_once_and_within_its_time(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    known = Accounts(root)
    code = known.add("office")
    assert len(code.replace("-", "")) * math.log2(31) >= 112  # ASVS 5.0, 6.5.2: then a plain hash will do
    assert [known.is_code("office", code), known.verify("office", code)] == [True, None]
    assert known.set_passphrase("office", code, "short") is not None
    assert known.set_passphrase("office", code, PASSPHRASE) is None
    assert [known.is_code("office", code), known.verify("office", PASSPHRASE)] == [False, 2]
    with pytest.raises(WrongUsage):
        known.set_passphrase("office", code, PASSPHRASE)
    late = known.reset("office")
    assert (known.version("office"), known.verify("office", PASSPHRASE)) == (3, None)

    now = datetime.datetime.now(datetime.UTC)
    ended = now + datetime.timedelta(hours=accounts.CODE_HOURS, seconds=1)
    assert known.is_code("office", late)
    monkeypatch.setattr("pipelines.store.accounts._now", lambda: ended)
    assert not known.is_code("office", late)


def test_the_file_of_accounts_is_its_owners_and_holds_no_passphrase(root: Path) -> None:
    code = Accounts(root).add("office")
    Accounts(root).set_passphrase("office", code, PASSPHRASE)
    path = root / "accounts.json"
    assert path.stat().st_mode & 0o077 == 0
    assert PASSPHRASE not in path.read_text() and code not in path.read_text()


def test_the_commands_of_accounts_say_what_is_wrong(root: Path) -> None:
    added = run("account", "add", "office", "--store", root)
    assert added.code == 0
    assert Accounts(root).is_code("office", added.out.strip())
    assert "access.yaml does not say yet who office is" in added.err
    for command, words in (
        (("add", "office"), "already"),
        (("add", "Office!"), "no name for an account"),
        (("reset", "nobody"), "no account nobody"),
        (("close", "nobody"), "no account nobody"),
    ):
        done = run("account", *command, "--store", root)
        assert (done.code, words in done.err) == (2, True), done
    assert run("account", "close", "office", "--store", root).code == 0
    assert Accounts(root).names() == []


# ---- waits


def test_after_some_failures_the_wait_doubles_and_after_a_hundred_only_a_reset_helps() -> None:
    now = [0.0]
    attempts = Attempts(lambda: now[0])
    key = ("account", "office 2")
    for _ in range(FREE["account"]):
        assert attempts.wait(key) == 0
        attempts.begin(key)
    waits = []
    for _ in range(9):
        waits.append(attempts.wait(key))
        now[0] += waits[-1]
        assert attempts.wait(key) == 0
        attempts.begin(key)
    assert waits == [30, 60, 120, 240, 480, 960, 1920, 3600, 3600]
    for _ in range(MOST_FAILURES):
        attempts.begin(key)
    now[0] += 30 * 24 * 3600
    assert attempts.wait(key) == float("inf")  # NIST SP 800-63B-4, 3.2.2: at most 100 failures in a row
    assert attempts.wait(("account", "office 3")) == 0  # as it is after a reset


def test_an_address_is_counted_over_all_accounts_and_a_success_clears_the_account_alone() -> None:
    now = [0.0]
    attempts = Attempts(lambda: now[0])
    here = ("address", "192.0.2.1")
    for number in range(FREE["address"]):
        attempts.begin(("account", f"{number}"), here)
    assert attempts.wait(("account", "another"), here) == 30
    assert attempts.wait(("account", "another"), ("address", "192.0.2.2")) == 0
    now[0] += 30
    attempts.begin(("account", "office"), here)
    attempts.succeeded(("account", "office"), here)
    assert attempts.wait(("account", "office"), here) > 0
    now[0] += 25 * 3600
    attempts.begin(("account", "office"), here)
    assert attempts.wait(here) == 0


# ---- sessions


def test_a_session_ends_when_nobody_asks_for_long_and_at_its_age_in_any_case() -> None:
    now = [0.0]
    sessions = Sessions(limits=Limits(age=1000, idle=100), clock=lambda: now[0])
    idle, busy = sessions.open(HEAD), sessions.open(T07)
    for now[0] in range(0, 1000, 50):
        sessions.asked(busy)
        assert sessions.viewer(busy) == T07
        assert (sessions.viewer(idle) is None) == (now[0] >= 100)
    sessions.asked(busy)
    now[0] = 1000
    assert sessions.viewer(busy) is None
    sessions.sweep()
    assert len(sessions) == 0


def test_a_sweep_ends_what_is_open_for_somebody_whom_the_session_stands_for_no_more() -> None:
    stands_for: dict[str, Who | None] = {"a": HEAD, "b": T07}
    sessions = Sessions(stands_for.get)
    ended: list[str] = []
    first, second = sessions.open("a"), sessions.open("b")
    with (
        sessions.watched(first, HEAD, lambda: ended.append("first")),
        sessions.watched(second, T07, lambda: ended.append("second")),
    ):
        sessions.sweep()
        assert ended == []
        stands_for["a"] = T07
        sessions.sweep()
        assert (ended, len(sessions)) == (["first"], 2)
        stands_for["b"] = None
        sessions.sweep()
        assert (ended, len(sessions)) == (["first", "first", "second"], 1)
    with sessions.watched("no such", HEAD, lambda: ended.append("none")):
        assert ended[-1] == "none"


def test_who_has_signed_in_accepts_in_their_own_name(monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[tuple[str, str]] = []

    def take(_viewer: object, _store: object, _files: object, **how: str) -> None:
        taken.append((how["accepted_by"], how["reason"]))

    monkeypatch.setattr(bring_in, "_take", take)

    def accept(person: str) -> None:
        from dashboard.access import Viewer
        from dashboard.screens import bring_in
        from pipelines.intake.take import IntakeOutcome

        viewer = Viewer("coordinator", "harbour-eye", None, person)
        bring_in._choices(viewer, None, [], IntakeOutcome("held"))  # type: ignore[arg-type] - not read

    for person, asked in (("office", ["Why"]), ("", ["Who", "Why"])):
        app = AppTest.from_function(accept, args=(person,)).run()
        assert [each.label for each in app.text_input] == asked
        app.text_input[-1].set_value("The export was cut off.")
        app.button[-1].click().run()
    assert taken == [("office", "The export was cut off."), ("coordinator", "The export was cut off.")]
