"""Behind nginx with TLS, as dashboard/deploy/nginx.conf has it; and the unit and the container file, as far as this goes.

The image is not built here: the machine of the tests reaches no registry of images. What its file copies and calls is
compared with the project instead.
"""

from __future__ import annotations

import configparser
import contextlib
import datetime
import http.client
import ipaddress
import os
import re
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Iterator
from http.cookies import SimpleCookie
from pathlib import Path
from urllib.parse import urlencode

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from websockets.sync.client import connect

from dashboard.tabs import LEAVE, NO_SESSION
from tests.department import PASSPHRASE, department, department_store
from tests.serving import ROOT, SECONDS_TO_START, Tab, everything

DEPLOY = ROOT / "dashboard" / "deploy"
NAME = "standing.example.org"
COOKIE = "__Host-standing_session"


def _certificate(folder: Path) -> ssl.SSLContext:
    """A certificate of the tests' own for the name, written as the configuration has it; and a client that trusts it."""
    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.datetime.now(datetime.UTC)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, NAME)])
    names = x509.SubjectAlternativeName(
        [x509.DNSName(NAME), x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]
    )
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=1))
        .add_extension(names, critical=False)
        .sign(key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    (folder / "fullchain.pem").write_bytes(certificate.public_bytes(pem))
    plain = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    (folder / "privkey.pem").write_bytes(key.private_bytes(pem, *plain))
    return ssl.create_default_context(cafile=str(folder / "fullchain.pem"))


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def _nginx(folder: Path, app_port: int, plain_port: int, tls_port: int) -> Iterator[None]:
    """The shipped configuration, with the ports, paths and modules of this machine."""
    shipped = (DEPLOY / "nginx.conf").read_text(encoding="utf-8")
    site = (
        shipped.replace("listen 80;", f"listen 127.0.0.1:{plain_port};")
        .replace("listen 443 ssl;", f"listen 127.0.0.1:{tls_port} ssl;")
        .replace("https://$host$request_uri", f"https://$host:{tls_port}$request_uri")
        .replace("/etc/ssl/cohort-standing", str(folder))
        .replace("http://127.0.0.1:8501", f"http://127.0.0.1:{app_port}")
    )
    temporary = " ".join(
        f"{kind}_temp_path {folder}/temporary/{kind};"
        for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    (folder / "temporary").mkdir(mode=0o777)
    (folder / "site.conf").write_text(site)
    user = "user root;" if os.geteuid() == 0 else ""
    (folder / "nginx.conf").write_text(
        f"{user} daemon off; pid {folder}/pid; error_log {folder}/error.log; events {{}}"
        f" http {{ {temporary} include {folder}/site.conf; }}"
    )
    nginx = shutil.which("nginx", path=f"{os.environ['PATH']}:/usr/sbin")
    assert nginx, "The test of the proxy needs nginx."
    command = [nginx, "-c", str(folder / "nginx.conf"), "-e", str(folder / "error.log")]
    with subprocess.Popen(command) as process:
        try:
            deadline = time.monotonic() + SECONDS_TO_START
            while not _listens(tls_port) and time.monotonic() < deadline:
                time.sleep(0.05)
            yield
        finally:
            process.terminate()


def _listens(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Proxied:
    """The dashboard, as browsers of other machines reach it."""

    def __init__(self, tls: ssl.SSLContext, plain_port: int, tls_port: int, folder: Path) -> None:
        self.tls, self.plain_port, self.tls_port, self.folder = tls, plain_port, tls_port, folder
        self.origin = f"https://{NAME}:{tls_port}"

    def ask(
        self, path: str, method: str = "GET", body: bytes | None = None, **headers: str
    ) -> http.client.HTTPResponse:
        connection = http.client.HTTPSConnection("127.0.0.1", self.tls_port, timeout=60, context=self.tls)
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request(method, path, body, {"host": f"{NAME}:{self.tls_port}", **named})
        answer = connection.getresponse()
        answer.read()
        connection.close()
        return answer

    def post(self, path: str, fields: dict[str, str], **headers: str) -> http.client.HTTPResponse:
        kind = {"content_type": "application/x-www-form-urlencoded", "origin": self.origin}
        return self.ask(path, "POST", urlencode(fields).encode(), **kind, **headers)


@pytest.fixture(scope="module")
def proxied(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxied]:
    folder = tmp_path_factory.mktemp("proxied")
    root, tls = department_store(folder), _certificate(folder)
    app_port, plain_port, tls_port = _free_port(), _free_port(), _free_port()
    given = {
        "STANDING_URL": f"https://{NAME}:{tls_port}",
        "STANDING_LISTEN": f"127.0.0.1:{app_port}",
        "STANDING_PROXY": "127.0.0.1",
    }
    with department(root, **given), _nginx(folder, app_port, plain_port, tls_port):
        yield Proxied(tls, plain_port, tls_port, folder)


def _sign_in(proxied: Proxied, account: str) -> str:
    answer = proxied.post("/sign-in/account", {"account": account, "passphrase": PASSPHRASE})
    assert answer.status == 200
    cookie = SimpleCookie(answer.headers["set-cookie"])[COOKIE]
    assert (cookie["secure"], cookie["httponly"], cookie["samesite"].lower()) == (True, True, "lax")
    assert (cookie["path"], cookie["domain"]) == (
        "/",
        "",
    )  # what the prefix __Host- asks for: RFC 6265bis, 4.1.3.2
    return f"{COOKIE}={cookie.value}"


def test_plain_http_leads_to_https_and_https_stays(proxied: Proxied) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", proxied.plain_port, timeout=30)
    connection.request("GET", "/cohort", headers={"host": NAME})
    answer = connection.getresponse()
    answer.read()
    connection.close()
    assert (answer.status, answer.headers["location"]) == (301, f"{proxied.origin}/cohort")
    secure = proxied.ask("/sign-in")
    assert secure.status == 200
    assert secure.headers["strict-transport-security"] == "max-age=31536000"
    assert f"connect-src 'self' wss://{NAME}:{proxied.tls_port};" in secure.headers["content-security-policy"]
    assert proxied.ask("/cohort", accept="text/html").headers["location"] == "/sign-in"


def test_a_person_signs_in_looks_and_signs_out_through_the_proxy(proxied: Proxied) -> None:
    cookie = _sign_in(proxied, "t01")
    with connect(
        f"wss://{NAME}:{proxied.tls_port}/_stcore/stream",
        sock=socket.create_connection(("127.0.0.1", proxied.tls_port)),
        additional_headers={"cookie": cookie},
        origin=proxied.origin,  # type: ignore[arg-type] - an origin is text
        subprotocols=["streamlit", "none"],  # type: ignore[list-item] - the same
        ssl=proxied.tls,
        max_size=None,
    ) as websocket:
        own = Tab(websocket)
        received = everything(own.rerun())
        assert b"T01" in received and b"T02" not in received
        assert proxied.post("/sign-out", {}, cookie=cookie).status == 200
        assert own.last_words()[-1] == LEAVE
        assert own.closed_with() == NO_SESSION
    assert proxied.ask("/_stcore/health", cookie=cookie).status == 403


def test_a_name_that_is_not_secure_is_no_session_here(proxied: Proxied) -> None:
    name = _sign_in(proxied, "t01").partition("=")[2]
    assert proxied.ask("/_stcore/health", cookie=f"standing_session={name}").status == 403
    assert proxied.ask("/_stcore/health", cookie=f"{COOKIE}={name}").status == 200


def test_nothing_that_is_brought_in_is_written_down_by_the_proxy(proxied: Proxied) -> None:
    cookie = _sign_in(proxied, "office")
    body = b"Q7-marker-of-a-patient;" * 200_000  # 4.6 MB, far above what nginx holds in memory
    proxied.ask("/_stcore/upload_file/a/b", "PUT", body, cookie=cookie, origin=proxied.origin)
    written = [path for path in (proxied.folder / "temporary").rglob("*") if path.is_file()]
    assert written == []
    log = (proxied.folder / "error.log").read_text()
    assert "buffered to a temporary file" not in log and "upload_file" not in log


def test_failures_are_counted_by_the_address_that_the_proxy_sees(proxied: Proxied) -> None:
    # The last test on this server: after it nobody signs in here for a while.
    statuses = [
        proxied.post(
            "/sign-in/account",
            {"account": f"nobody-{number}", "passphrase": "wrong"},
            x_forwarded_for=f"192.0.2.{number}",
            forwarded=f"for=192.0.2.{number}",
        ).status
        for number in range(21)
    ]
    assert statuses == [403] * 20 + [429]


# ---- the unit and the container file


def test_the_unit_starts_serve_as_somebody_without_rights() -> None:
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str  # type: ignore[assignment, method-assign] - systemd's names have capitals
    unit.read(DEPLOY / "cohort-standing.service")
    service = unit["Service"]
    assert service["ExecStart"].split()[1:] == [
        "/opt/cohort-standing/run.py",
        "serve",
        "--store",
        "/var/lib/cohort-standing/store",
    ]
    assert service["User"] == "standing"
    wanted = {
        "NoNewPrivileges": "yes",
        "ProtectSystem": "strict",
        "UMask": "0077",
        "CapabilityBoundingSet": "",
    }
    assert {name: service[name] for name in wanted} == wanted
    if judge := shutil.which("systemd-analyze"):
        # What it judges offline; 2.0 of 10 is the end of what it calls OK.
        done = subprocess.run(
            [judge, "security", "--offline=yes", "--threshold=20", str(DEPLOY / "cohort-standing.service")],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr


def test_the_container_file_copies_what_there_is_and_calls_what_there_is() -> None:
    lines = (DEPLOY / "Containerfile").read_text(encoding="utf-8").replace("\\\n", " ").splitlines()
    steps = [line.split(maxsplit=1) for line in lines if line and not line.startswith("#")]
    kinds = [kind for kind, _ in steps]
    assert kinds[0] == "FROM"
    assert kinds.index("USER") > max(at for at, kind in enumerate(kinds) if kind in ("RUN", "COPY"))
    copied = [name for kind, rest in steps if kind == "COPY" for name in rest.split()[:-1]]
    assert [name for name in copied if not (ROOT / name).exists()] == []
    # Everything that the program needs: its folders that hold code, and what run.py reads.
    needed = {"run.py", "requirements.lock", "pipelines", "dashboard", "sql"}
    assert needed <= set(copied)
    assert not {"seed_data", "tests"} & set(copied)
    calls = " ".join(rest for kind, rest in steps if kind in ("RUN", "ENTRYPOINT", "CMD"))
    assert re.search(r'"serve", "--store", "/data/store"', calls)
