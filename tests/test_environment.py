"""What `serve` is told by its environment: everything that is missing is said at once, and what may not be is refused."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from dashboard.__main__ import main as dashboard
from dashboard.environment import Settings, read_settings
from dashboard.own_store import check_stays_here
from dashboard.sessions import Limits
from pipelines.contract.errors import WrongUsage
from pipelines.store.store import Store
from tests.department import admit
from tests.serving import ROOT
from tests.stores import new_store

ISSUER = "https://login.example"
HEAD = {"role": "director", "account": "head", "person": "Dr-Head"}


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return new_store(tmp_path)


GOOD = {"STANDING_URL": "https://standing.example.org", "STANDING_PROXY": "127.0.0.1"}
HOSPITAL = {
    "STANDING_PROVIDERS": "hospital",
    "STANDING_HOSPITAL_ISSUER": ISSUER,
    "STANDING_HOSPITAL_CLIENT_ID": "standing",
    "STANDING_HOSPITAL_CLIENT_SECRET": "secret",
}


def _settings(root: Path, **variables: str) -> Settings:
    admit(root, [HEAD])
    return read_settings(variables, Store(root))


def test_with_everything_said_the_settings_are_what_was_said(root: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("from a file\n")
    given = GOOD | HOSPITAL | {"STANDING_HOSPITAL_CLIENT_SECRET_FILE": str(tmp_path / "secret")}
    settings = _settings(root, **given, STANDING_IDLE_MINUTES="20")
    assert (settings.origin, settings.address, settings.port) == (
        "https://standing.example.org",
        "127.0.0.1",
        8501,
    )
    assert settings.limits == Limits(age=12 * 3600, idle=20 * 60)
    (provider,) = settings.providers
    assert (provider.title, provider.client_secret) == ("Hospital", "from a file")


def test_everything_that_is_missing_is_said_at_once(root: Path) -> None:
    with pytest.raises(WrongUsage) as refused:
        read_settings({"STANDING_PROVIDERS": "hospital clinic"}, Store(root))
    said = str(refused.value)
    for words in (
        "STANDING_URL is not set",
        "STANDING_HOSPITAL_ISSUER is not set",
        "STANDING_CLINIC_CLIENT_SECRET is not set",
        "access.yaml names nobody",
    ):
        assert words in said
    with pytest.raises(WrongUsage, match="no way to sign in"):
        _settings(root, **GOOD)


@pytest.mark.parametrize(
    ("variable", "value", "words"),
    [
        ("STANDING_URL", "http://standing.example.org", "is not https"),
        ("STANDING_URL", "standing.example.org", "is not an address"),
        ("STANDING_URL", "https://standing.example.org/below", "is not an address"),
        ("STANDING_LISTEN", "8501", "is not an address and a port"),
        ("STANDING_PROXY", "", "STANDING_PROXY is not set"),
        ("STANDING_PROXY", "*", "is not an IP address"),
        (
            "STANDING_IDLE_MINUTES",
            "61",
            "from 1 to 60",
        ),  # ASVS 5.0, 7.3: limits; the longest are the project's
        ("STANDING_SESSION_HOURS", "25", "from 1 to 24"),
        ("STANDING_HOSPITAL_ISSUER", "http://login.example", "is not https"),
        ("STANDING_PROVIDERS", "account", "cannot be a name"),
        ("STANDING_HOSPITAL_CLIENT_SECRET_FILE", "/nowhere/at/all", "cannot be read"),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(root: Path, variable: str, value: str, words: str) -> None:
    with pytest.raises(WrongUsage, match=variable) as refused:
        _settings(root, **{**GOOD, **HOSPITAL, variable: value})
    assert words in str(refused.value)


def test_other_machines_are_listened_to_only_behind_https(root: Path) -> None:
    open_to_all = {"STANDING_LISTEN": "0.0.0.0:8501"}
    assert _settings(root, **GOOD, **HOSPITAL, **open_to_all).address == "0.0.0.0"
    with pytest.raises(WrongUsage, match="open to other machines"):
        _settings(root, **HOSPITAL, **open_to_all, STANDING_URL="http://127.0.0.1:8501")


def test_with_several_providers_an_email_needs_the_issuer_that_verifies_it(root: Path) -> None:
    clinic = {
        f"STANDING_CLINIC_{part}": f"https://{part}.example"
        for part in ("ISSUER", "CLIENT_ID", "CLIENT_SECRET")
    }
    two = {**GOOD, **HOSPITAL, **clinic, "STANDING_PROVIDERS": "hospital clinic"}
    admit(root, [{**HEAD, "email": "head@example.org"}])
    with pytest.raises(WrongUsage, match="needs the issuer that verifies it: Dr-Head"):
        read_settings(two, Store(root))
    admit(root, [{**HEAD, "email": "head@example.org", "issuer": ISSUER}])
    assert len(read_settings(two, Store(root)).providers) == 2


def test_the_demo_and_open_refuse_to_listen_for_others() -> None:
    for listen in ("0.0.0.0:8501", "[::]:8501", "192.0.2.7:8501"):
        with pytest.raises(WrongUsage, match="for this machine alone"):
            check_stays_here(listen)
    check_stays_here("127.0.0.1:8501")
    check_stays_here("")


def test_what_may_not_be_served_is_refused_as_a_command_with_its_reason(
    root: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("STANDING_STORE", "")
    for arguments, listen, words in (
        (["--demo"], "0.0.0.0:8501", "for this machine alone"),
        (["--as", "director"], "0.0.0.0:8501", "for this machine alone"),
        (["--serve"], "", "STANDING_URL is not set"),
        ([], "", "--serve"),
    ):
        monkeypatch.setenv("STANDING_LISTEN", listen)
        assert dashboard([*arguments, "--store", str(root)]) == 2
        assert words in capsys.readouterr().err
    root.chmod(0o750)
    assert dashboard(["--serve", "--store", str(root)]) == 2
    assert "chmod 700" in capsys.readouterr().err


def test_serve_as_typed_says_what_is_missing(root: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-P", "-m", "pipelines", "serve", "--store", root],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        timeout=60,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert "serve cannot start:" in done.stderr and "access.yaml names nobody" in done.stderr
