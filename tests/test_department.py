"""`serve`: nobody without sign-in, each with what access.yaml says now, and an end that ends everything.

Asked of the real server over its socket. Source of the rules: OWASP ASVS 5.0, chapters 6 to 8; tests/published/asvs.md
names the test of each.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.exceptions import InvalidStatus

from dashboard.sessions import HEADER
from dashboard.tabs import LEAVE, NO_SESSION
from pipelines.store.store import Store
from tests.benchmarks.load import opened_snapshots
from tests.department import (
    PASSPHRASE,
    PEOPLE,
    admit,
    change,
    department,
    department_store,
    logged,
    make_accounts,
    post,
    sign_in,
)
from tests.serving import ROOT, Answer, Server, Tab, cookie_of, everything, tab
from tests.stores import run_well, write_csv

CASE_OF_T02 = b"C003"


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return department_store(tmp_path_factory.mktemp("department"))


@pytest.fixture(scope="module")
def server(root: Path) -> Iterator[Server]:
    with department(root) as served:
        yield served


@pytest.fixture(scope="module")
def address(server: Server) -> str:
    return server.address


@pytest.fixture
def people(root: Path) -> Iterator[None]:
    """access.yaml and the accounts, as they were before the test."""
    kept = {path: path.read_bytes() for path in (root / "access.yaml", root / "accounts.json")}
    yield
    for path, content in kept.items():
        path.write_bytes(content)


# ---- without a session

LIST_ROUTES = """
import sys
from pathlib import Path
from starlette.routing import Mount, Route, WebSocketRoute
from dashboard import server
from dashboard.environment import Provider, Settings
from dashboard.serving import department_app
from dashboard.sessions import Limits
from pipelines.store.store import Store

def each(routes, above=""):
    for route in routes:
        if isinstance(route, Mount):
            yield f"{above}{route.path}/anything", "GET"
            yield from each(route.routes or [], above + route.path)
        elif isinstance(route, WebSocketRoute):
            yield above + route.path, "WEBSOCKET"
        else:
            for method in sorted(getattr(route, "methods", None) or ["GET"]):
                yield above + route.path, method

server.settle()
provider = Provider("hospital", "Hospital", "https://login.example", "a", "b")
settings = Settings("http://127.0.0.1:1", "127.0.0.1", 1, "", (provider,), Limits())
app = department_app(Store(Path(sys.argv[1])), settings)
for path, method in each(app._build_starlette_app().routes):
    print(path, method)
"""


@pytest.fixture(scope="module")
def routes(root: Path) -> list[tuple[str, str]]:
    """Every path and method of the app, as the app itself has them."""
    done = subprocess.run(
        [sys.executable, "-c", LIST_ROUTES, str(root)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 0, done.stderr
    return [(path, method) for path, _, method in (line.partition(" ") for line in done.stdout.splitlines())]


# What may be had without a session: the pages on which one is opened or ended, and whether the process answers.
OPEN = {
    "/sign-in",
    "/sign-in/account",
    "/sign-in/hospital",
    "/sign-in/hospital/back",
    "/passphrase",
    "/sign-out",
}


def test_without_a_session_every_route_of_the_app_is_closed(
    address: str, routes: list[tuple[str, str]]
) -> None:
    of_library = {"/_stcore/health", "/_stcore/metrics", "/_stcore/host-config", "/_stcore/stream"}
    paths = {path.replace("{provider}", "hospital") for path, _ in routes}
    assert of_library | OPEN - {"/sign-in/account"} <= paths and "/health" in paths
    assert any(path.startswith("/media/") for path in paths)
    for path, method in routes:
        asked = path.replace("{provider}", "hospital").replace("{", "").replace("}", "").replace(":path", "")
        if asked in OPEN | {"/health"}:
            continue
        if method == "WEBSOCKET":
            with pytest.raises(InvalidStatus) as refused, tab(address, ""):
                pass
            assert refused.value.response.status_code == 403
            continue
        for cookie in ("", f"{cookie_of(address)}=made-up"):
            answer = Answer(address, asked, method, origin=address, cookie=cookie)
            assert answer.status == 403, (asked, method, answer.status)
            page = Answer(address, asked, method, origin=address, cookie=cookie, accept="text/html")
            assert (page.status, page.headers["location"]) == (303, "/sign-in"), (asked, method)


def test_a_forged_viewer_changes_nothing(address: str) -> None:
    forged = json.dumps(["director", "harbour-eye", None, "x"])
    assert Answer(address, "/_stcore/health", **{HEADER: forged}).status == 403
    cookie = sign_in(address, "t01")
    with tab(address, cookie) as plain:
        own = everything(plain.rerun())
    assert b"T01" in own and b"T02" not in own
    assert (
        Answer(
            address, "/_stcore/upload_file/a/b", "PUT", cookie=cookie, origin=address, **{HEADER: forged}
        ).status
        == 403
    )


def test_health_says_nothing_but_that_it_answers(address: str) -> None:
    answer = Answer(address, "/health")
    assert (answer.status, answer.body) == (200, b"ok")
    assert "server" not in {name.lower() for name in answer.headers}


# ---- accounts


def test_a_wrong_passphrase_and_an_unknown_account_get_the_same_answer(address: str) -> None:
    answers = [
        post(address, "/sign-in/account", account=account, passphrase="not the right one at all")
        for account in ("office", "nobody-of-that-name")
    ]
    assert [each.status for each in answers] == [403, 403]
    assert answers[0].body == answers[1].body
    assert {each.headers["set-cookie"] for each in answers} == {None}


def test_another_sites_form_signs_nobody_in(address: str) -> None:
    for origin in ("http://example.org", "null", f"{address}1"):
        answer = post(address, "/sign-in/account", origin=origin, account="office", passphrase=PASSPHRASE)
        assert (answer.status, answer.headers["set-cookie"]) == (403, None)
    without = Answer(address, "/sign-in/account", "POST", b"account=office", **{"content-type": "text/plain"})
    assert without.status == 403


def test_a_form_that_is_larger_than_a_form_is_refused(address: str) -> None:
    answer = post(address, "/sign-in/account", account="office", passphrase="x" * 20_000)
    assert (answer.status, answer.headers["set-cookie"]) == (413, None)


def test_signing_in_gives_a_new_session_and_ends_the_one_before(address: str) -> None:
    first = sign_in(address, "office")
    second = sign_in(address, "office", cookie=first)
    assert first != second
    assert Answer(address, "/_stcore/health", cookie=first).status == 403
    assert Answer(address, "/_stcore/health", cookie=second).status == 200
    # A name that somebody else chose for the cookie is never taken over.
    chosen = f"{cookie_of(address)}=chosen-by-somebody-else"
    assert sign_in(address, "office", cookie=chosen) != chosen
    assert Answer(address, "/_stcore/health", cookie=chosen).status == 403


def test_the_cookie_is_read_by_no_script_and_sent_with_no_change_that_another_site_asks(address: str) -> None:
    cookie = post(address, "/sign-in/account", account="office", passphrase=PASSPHRASE).cookie
    assert (cookie["httponly"], cookie["samesite"].lower(), cookie["path"]) == (True, "lax", "/")
    assert 0 < int(cookie["max-age"]) <= 24 * 3600  # ASVS 5.0, 7.3: an absolute limit; the project's longest
    assert len(cookie.value) >= 32


@pytest.mark.usefixtures("people")
def test_an_account_begins_with_a_code_that_only_sets_a_passphrase(address: str, root: Path) -> None:
    code = run_well("account", "add", "new-one", "--store", root).out.strip()
    entries = [{**entry, "account": account} for account, entry in PEOPLE.items()]
    admit(root, [*entries, {"role": "coordinator", "account": "new-one"}])
    with_code = post(address, "/sign-in/account", account="new-one", passphrase=code)
    assert (with_code.status, with_code.headers["set-cookie"]) == (200, None)
    new = "seven lanterns over a quiet harbour"
    set_it = {"account": "new-one", "present": code}
    for wrong in ({"new": new, "again": new + "x"}, {"new": "too short", "again": "too short"}):
        assert post(address, "/passphrase", **set_it, **wrong).status == 400
    assert post(address, "/passphrase", **{**set_it, "present": "wrong"}, new=new, again=new).status == 403
    assert post(address, "/passphrase", **set_it, new=new, again=new).status == 200
    assert post(address, "/passphrase", **set_it, new=new, again=new).status == 403  # the code worked once
    cookie = sign_in(address, "new-one", new)
    # A reset signs its person out, and the passphrase is gone.
    with tab(address, cookie) as open_tab:
        assert b"T02" in everything(open_tab.rerun())
        run_well("account", "reset", "new-one", "--store", root)
        assert open_tab.closed_with() == NO_SESSION
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 403
    assert post(address, "/sign-in/account", account="new-one", passphrase=new).status == 403
    run_well("account", "close", "new-one", "--store", root)


# ---- the end of a session


def _signed_out(address: str, cookie: str) -> None:
    assert b'method="post"' in Answer(address, "/sign-out", cookie=cookie).body
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 200  # to look is not to sign out
    answer = post(address, "/sign-out", cookie)
    assert answer.status == 200
    assert answer.cookie.value == ""


def _only_leaves(tab: Tab) -> bool:
    """Whether nothing more comes but the word to leave, and then the websocket is closed."""
    *before, last = tab.last_words()
    assert b"T0" not in b"".join(before)
    return last == LEAVE and tab.closed_with() == NO_SESSION


def test_signing_out_ends_every_tab_and_the_cookie_opens_nothing_more(address: str) -> None:
    cookie, others = sign_in(address, "director"), sign_in(address, "director")
    with tab(address, cookie) as first, tab(address, cookie) as second, tab(address, others) as other:
        for each in (first, second, other):
            assert b"T02" in everything(each.rerun())
        _signed_out(address, cookie)
        for ended in (first, second):
            assert _only_leaves(ended)
        assert b"T02" in everything(other.rerun())
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 403
    with pytest.raises(InvalidStatus), tab(address, cookie):
        pass


def test_a_file_goes_once_to_the_session_it_was_made_for(address: str, root: Path) -> None:
    cookie, others = sign_in(address, "director"), sign_in(address, "office")
    with tab(address, cookie) as director:
        director.rerun()
        director.open("summary")
        director.press("Make the files")
        assert b"/media/" not in everything(director.messages)  # no address before somebody presses
        file = director.make_file("Download the lines")
        for wrong in ("", others, f"{cookie_of(address)}=made-up"):
            assert Answer(address, file, cookie=wrong).status == 403
        assert Answer(address, file, "HEAD", cookie=cookie).status == 403
        # The library's page asks first, by a script, whether the file is there: that is no fetch, and gets nothing.
        for _ in range(2):
            asked = Answer(address, file, cookie=cookie, sec_fetch_mode="cors")
            assert (asked.status, asked.body) == (204, b"")
        fetched = Answer(address, file, cookie=cookie, range="bytes=0-3")
        assert (fetched.status, b"T02" in fetched.body) == (200, True)
        assert fetched.headers["cache-control"] == "no-store"
        assert Answer(address, file, cookie=cookie).status == 403
        line = logged(root)[-1]
        assert [line[key] for key in ("person", "did", "what")] == [
            "director",
            "exported",
            "volume-2027.csv",
        ]
        again = director.make_file("Download the lines")
        _signed_out(address, cookie)
    assert Answer(address, again, cookie=cookie).status == 403


# ---- access.yaml, edited while people look


@pytest.mark.usefixtures("people")
def test_a_director_who_is_demoted_loses_the_cohort_at_the_next_message(address: str, root: Path) -> None:
    cookie = sign_in(address, "director")
    with tab(address, cookie) as director:
        assert b"T02" in everything(director.rerun())
        change(root, "director", role="trainee", trainee="T01")
        director.ask()
        assert _only_leaves(director)
    with tab(address, cookie) as now:  # the session goes on, as that of a trainee
        received = everything(now.rerun())
        assert b"T01" in received and b"T02" not in received
    change(root, "director")
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 403


@pytest.mark.usefixtures("people")
def test_whoever_is_taken_out_loses_an_open_page_though_nobody_asks(address: str, root: Path) -> None:
    cookie = sign_in(address, "office")
    with tab(address, cookie) as office:
        office.rerun()
        change(root, "office")
        began = time.monotonic()
        assert office.closed_with() == NO_SESSION
        assert time.monotonic() - began < 4  # a sweep each second


@pytest.mark.usefixtures("people")
def test_an_access_file_that_cannot_be_read_lets_nobody_in(address: str, root: Path) -> None:
    cookie = sign_in(address, "office")
    (root / "access.yaml").write_text("people: [", encoding="utf-8")
    assert Answer(address, "/_stcore/health", cookie=cookie).status == 403
    refused = post(address, "/sign-in/account", account="office", passphrase=PASSPHRASE)
    assert (refused.status, refused.headers["set-cookie"]) == (403, None)


@pytest.mark.usefixtures("people")
def test_somebody_whom_the_file_does_not_name_gets_a_plain_page_and_no_session(
    address: str, root: Path
) -> None:
    make_accounts(root, "stranger")
    answer = post(address, "/sign-in/account", account="stranger", passphrase=PASSPHRASE)
    assert (answer.status, answer.headers["set-cookie"]) == (403, None)
    assert b"Nobody has let you in" in answer.body
    for planted in (b"T01", b"harbour", b"Cohort"):
        assert planted not in answer.body


# ---- what a tab may ask


def test_a_tab_may_not_empty_caches_end_the_server_or_install_anything(address: str) -> None:
    with tab(address, sign_in(address, "t01")) as trainee:
        trainee.rerun()
        for name in ("clear_cache", "debug_shutdown_runtime", "debug_disconnect_websocket"):
            message = BackMsg(**{name: True})
            trainee.socket.send(message.SerializeToString())
        install = BackMsg()
        install.backend_operation_request.install_skills.SetInParent()
        trainee.socket.send(install.SerializeToString())
        trainee.socket.send(b"\xff\xff\xff")
        came = trainee.rerun()
        assert {each.WhichOneof("type") for each in came} <= {
            "new_session",
            "session_status_changed",
            "delta",
            "script_finished",
            "navigation",
            "page_config_changed",
            "page_info_changed",
            "session_event",
        }


def test_uploads_are_for_those_who_bring_exports_in(address: str) -> None:
    for account, status in (("t01", 403), ("reviewer", 403), ("committee", 403)):
        cookie = sign_in(address, account)
        with tab(address, cookie) as own:
            own.rerun()
            for method in ("PUT", "DELETE"):
                path = f"/_stcore/upload_file/{own.name}/a-file"
                assert Answer(address, path, method, b"x", cookie=cookie, origin=address).status == status


def test_a_screen_of_another_role_is_not_reached_by_its_address(address: str) -> None:
    with tab(address, sign_in(address, "t01")) as trainee:
        trainee.rerun()
        for screen in ("cohort", "intake", "summary", "reviews", "log"):
            received = everything(trainee.open(screen))
            assert b"T02" not in received and CASE_OF_T02 not in received


# ---- the host


@pytest.mark.parametrize("host", ["example.org", "localhost.example.org", "192.0.2.7"])
def test_only_the_one_host_is_answered(address: str, host: str) -> None:
    for path in ("/", "/sign-in", "/health"):
        assert Answer(address, path, host=host).status == 400


# ---- many at once


def _clicks(address: str, account: str) -> list[ForwardMsg]:
    with tab(address, sign_in(address, account)) as own:
        for screen in ("", "methods", ""):
            own.open(screen)
    return own.messages


def test_many_click_while_an_export_is_brought_in_and_a_snapshot_is_opened_once(
    server: Server, root: Path, tmp_path: Path
) -> None:
    """The short form of tests/benchmarks/load.py."""
    header = "case_ref,trainee_ref,operated_on,procedure,role\n"
    export = write_csv(tmp_path / "more.csv", f"{header}C900,T02,2026-05-04,phaco_iol,surgeon\n")
    before = Store(root).current().snapshot
    with ThreadPoolExecutor(2 * len(PEOPLE) + 1) as pool:
        clicking = [pool.submit(_clicks, server.address, account) for account in (*PEOPLE, *PEOPLE)]
        bringing_in = pool.submit(run_well, "intake", export, "--append", "--store", root)
        received = [message for each in clicking for message in each.result()]
    bringing_in.result()
    assert Store(root).current().snapshot == before + 1
    elements = [message.delta.new_element for message in received]
    assert [each.exception.message for each in elements if each.WhichOneof("type") == "exception"] == []
    assert len([each for each in received if each.WhichOneof("type") == "script_finished"]) == 3 * 2 * len(
        PEOPLE
    )
    with tab(server.address, sign_in(server.address, "t02")) as own:
        own.rerun()
        assert b"C900" in everything(own.open("cases"))
    opened = opened_snapshots(server)
    assert len(opened) == len(set(opened)) >= 1
