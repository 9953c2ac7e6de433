"""Signing in at an OpenID provider: a real one of the registry, and one of the tests' own whose form a person submits.

Sources: OpenID Connect Core 1.0, 3.1.2 and 3.1.3.7 (what is checked of an ID token); RFC 7636 (PKCE); RFC 9700, 4.4
(one address to come back to for each provider); OWASP ASVS 5.0, chapter 10.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import httpx2
import oidc_provider_mock
import pytest
from playwright.sync_api import Browser, Page, expect

from dashboard.environment import Provider
from dashboard.gate import Site
from dashboard.provider import Providers
from tests.browser import browser
from tests.department import admit, change, department, department_store, logged
from tests.own_provider import CLIENT, SECRET, OwnProvider, own_provider
from tests.pictures import settle
from tests.serving import Answer, cookie_of

__all__ = ["browser"]

GO, BACK = "/sign-in/own", "/sign-in/own/back"


@pytest.fixture(scope="module")
def own() -> Iterator[OwnProvider]:
    with own_provider() as provider:
        yield provider


@pytest.fixture(scope="module")
def mock() -> Iterator[str]:
    user = oidc_provider_mock.User(
        sub="from-the-mock", claims={"email": "t02@example.org", "email_verified": True}
    )
    with oidc_provider_mock.run_server_in_thread(user_claims=[user]) as server:
        yield f"http://localhost:{server.server_port}"


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory, own: OwnProvider, mock: str) -> Path:
    root = department_store(tmp_path_factory.mktemp("department"))
    admit(
        root,
        [
            {"role": "director", "issuer": own.issuer, "subject": "head", "account": "director"},
            {"role": "trainee", "trainee": "T01", "issuer": own.issuer, "subject": "t01"},
            {"role": "coordinator", "issuer": own.issuer, "email": "office@example.org"},
            {"role": "trainee", "trainee": "T02", "issuer": mock, "email": "t02@example.org"},
        ],
    )
    return root


@pytest.fixture(scope="module")
def address(root: Path, own: OwnProvider, mock: str) -> Iterator[str]:
    given = {"STANDING_PROVIDERS": "own mock", "STANDING_OWN_TITLE": "The <Tests'> Own"}
    for name, issuer in (("OWN", own.issuer), ("MOCK", mock)):
        parts = {"ISSUER": issuer, "CLIENT_ID": CLIENT, "CLIENT_SECRET": SECRET}
        given |= {f"STANDING_{name}_{part}": value for part, value in parts.items()}
    with department(root, **given) as served:
        yield served.address


@pytest.fixture(autouse=True)
def _honest(own: OwnProvider) -> Iterator[None]:
    yield
    own.claims, own.algorithm = {}, "RS256"


class Visit:
    """A browser's way through a sign-in, step by step, without a browser."""

    def __init__(self, address: str, provider: str = "own") -> None:
        self.address = address
        begun = Answer(address, f"/sign-in/{provider}")
        self.begun = begun
        self.there = begun.headers["location"] or ""
        self.asked = {name: values[0] for name, values in parse_qs(urlsplit(self.there).query).items()}
        self.cookie = (begun.headers["set-cookie"] or "").partition(";")[0]

    def submitted(self, subject: str) -> str:
        """Fill the provider's form and send it; returns the path to come back to."""
        page = httpx2.get(self.there).text
        action = re.search(r'action="([^"]+)"', page)
        assert action
        where = urlsplit(self.there)._replace(path="", query="").geturl() + action[1]
        answer = httpx2.post(where, data={"subject": subject})
        assert answer.status_code == 303
        return answer.headers["location"].removeprefix(self.address)

    def come_back(self, path: str, cookie: str | None = None) -> Answer:
        return Answer(self.address, path, cookie=self.cookie if cookie is None else cookie)

    def signed_in(self, subject: str) -> Answer:
        return self.come_back(self.submitted(subject))


def _session(answer: Answer) -> str | None:
    name = answer._cookie_name
    given = next((each for each in answer.headers.get_all("set-cookie", []) if each.startswith(name)), None)
    return given.partition(";")[0] if given else None


# ---- the way there


def test_a_person_is_sent_with_everything_that_protects_the_way_back(address: str, own: OwnProvider) -> None:
    first, second = Visit(address), Visit(address)
    assert (first.begun.status, first.there.split("?")[0]) == (302, f"{own.issuer}/authorize")
    assert first.asked["response_type"] == "code"
    assert first.asked["code_challenge_method"] == "S256"
    assert first.asked["redirect_uri"] == f"{address}{BACK}"
    assert set(first.asked["scope"].split()) == {"openid", "email"}
    for name in ("state", "nonce", "code_challenge"):
        assert first.asked[name] != second.asked[name]
        assert len(first.asked[name]) >= 20
    attributes = (first.begun.headers["set-cookie"] or "").lower()
    # Lax: a Strict cookie does not come back when a person has clicked at the provider.
    assert "samesite=lax" in attributes and "httponly" in attributes
    # Nothing of the way back stands in the browser but a random name.
    for secret in (first.asked["state"], first.asked["nonce"]):
        assert secret not in attributes
    assert _session(first.begun) is None


def test_the_page_offers_every_provider_and_an_unknown_one_is_none(address: str) -> None:
    page = Answer(address, "/sign-in").body.decode()
    assert "Sign in with The &lt;Tests&#x27;&gt; Own" in page and "/sign-in/mock" in page
    assert Answer(address, "/sign-in/nobody").status == 404
    assert Answer(address, "/sign-in/nobody/back").status == 400


# ---- the way back


def test_who_comes_back_gets_a_session_by_a_page_that_goes_on(address: str, root: Path) -> None:
    answer = Visit(address).signed_in("t01")
    assert answer.status == 200  # not a redirection: a Strict cookie would not be sent with what follows one
    assert b'http-equiv="refresh"' in answer.body
    cookie = _session(answer)
    assert cookie and Answer(address, "/_stcore/health", cookie=cookie).status == 200
    line = logged(root)[-1]
    assert [line["person"], line["did"]] == ["T01", "signed in"]


def test_a_way_back_is_walked_once_by_the_browser_that_began_it(address: str) -> None:
    visit = Visit(address)
    path = visit.submitted("t01")
    for other in ("", Visit(address).cookie, "standing_sign_in=made-up"):
        assert _session(visit.come_back(path, other)) is None
    assert visit.come_back(path).status == 200
    again = visit.come_back(path)
    assert (again.status, _session(again)) == (400, None)


def test_a_way_back_of_another_provider_or_with_another_state_opens_nothing(address: str) -> None:
    visit = Visit(address)
    query = urlsplit(visit.submitted("t01")).query
    mixed_up = visit.come_back(f"/sign-in/mock/back?{query}")
    assert (mixed_up.status, _session(mixed_up)) == (400, None)
    visit = Visit(address)
    code = parse_qs(urlsplit(visit.submitted("t01")).query)["code"][0]
    for state in ({"state": "another"}, {}):
        visit = Visit(address)
        answer = visit.come_back(f"{BACK}?{urlencode({'code': code, **state})}")
        assert (answer.status, _session(answer)) == (502, None)


def test_a_code_of_another_sign_in_is_worth_nothing(address: str) -> None:
    stolen = parse_qs(urlsplit(Visit(address).submitted("head")).query)["code"][0]
    visit = Visit(address)
    answer = visit.come_back(f"{BACK}?{urlencode({'code': stolen, 'state': visit.asked['state']})}")
    assert (answer.status, _session(answer)) == (502, None)


def test_a_refusal_of_the_provider_is_said_without_its_words(address: str) -> None:
    visit = Visit(address)
    query = {"error": "access_denied", "error_description": "<b>words</b>", "state": visit.asked["state"]}
    answer = visit.come_back(f"{BACK}?{urlencode(query)}")
    assert (answer.status, _session(answer), b"words" in answer.body) == (502, None, False)


LIES: dict[str, dict[str, Any]] = {
    "another issuer": {"iss": "https://login.example"},
    "for another client": {"aud": "another"},
    "another nonce": {"nonce": "another"},
    "no nonce": {"nonce": None},
    "too old": {"exp": int(time.time()) - 3600, "iat": int(time.time()) - 7200},
}


@pytest.mark.parametrize("lie", LIES)
def test_an_id_token_that_is_not_what_was_asked_for_opens_nothing(
    address: str, own: OwnProvider, lie: str
) -> None:
    own.claims = LIES[lie]
    answer = Visit(address).signed_in("head")
    assert (answer.status, _session(answer)) == (502, None)


def test_a_provider_that_calls_itself_another_is_not_asked(own: OwnProvider) -> None:
    # The same provider under another name: what it says of itself names the first.
    there = own.issuer.replace("localhost", "127.0.0.1")
    provider = Provider("own", "Own", there, CLIENT, SECRET)
    routes = Providers(SimpleNamespace(providers=(provider,), site=Site()))  # type: ignore[arg-type] - all that it reads
    with pytest.raises(ValueError, match="calls itself"):
        asyncio.run(routes._client(provider))


def test_a_token_signed_by_the_shared_secret_opens_nothing(address: str, own: OwnProvider) -> None:
    own.algorithm = "HS256"
    answer = Visit(address).signed_in("head")
    assert (answer.status, _session(answer)) == (502, None)


def test_only_a_verified_email_lets_somebody_in(address: str, own: OwnProvider) -> None:
    for claims, status in (
        ({"email": "office@example.org", "email_verified": False}, 403),
        ({"email": "office@example.org"}, 403),
        ({"email": "office@example.org", "email_verified": "true"}, 403),
        ({"email": "Office@Example.org", "email_verified": True}, 200),
    ):
        own.claims = claims
        assert Visit(address).signed_in("somebody").status == status
    own.claims = {}  # then the provider's other answer has it
    assert Visit(address).signed_in("office").status == 200


def test_somebody_unknown_gets_the_lines_by_which_to_be_let_in_and_nothing_else(
    address: str, own: OwnProvider
) -> None:
    answer = Visit(address).signed_in("a <stranger>")
    assert (answer.status, _session(answer)) == (403, None)
    assert f"issuer: &quot;{own.issuer}&quot;" in answer.body.decode()
    assert "a &lt;stranger&gt;" in answer.body.decode() and "<stranger>" not in answer.body.decode()
    assert b"T01" not in answer.body


# The provider is written for an older version of the library by which it signs.
@pytest.mark.filterwarnings("ignore:get_jwt_config:DeprecationWarning")
@pytest.mark.filterwarnings("ignore:generate_user_info:DeprecationWarning")
def test_the_provider_of_the_registry_signs_a_person_in_by_verified_email(address: str) -> None:
    visit = Visit(address, "mock")
    answer = httpx2.post(visit.there, data={"sub": "from-the-mock", "action": "authorize"})
    assert answer.status_code == 302, answer.text
    back = visit.come_back(answer.headers["location"].removeprefix(address))
    assert back.status == 200, back.body
    assert _session(back)


# ---- in a browser, across two sites


def _sign_in_by_clicking(page: Page, address: str, subject: str) -> None:
    page.goto(f"{address}/cohort")
    page.get_by_role("link", name="Sign in with The").click()
    page.get_by_label("Who are you?").fill(subject)
    page.get_by_role("button", name="Go on").click()
    page.get_by_test_id("stMain").wait_for()
    settle(page)


def test_a_trainee_signs_in_through_the_form_sees_their_own_and_is_led_nowhere_else(
    browser: Browser, address: str
) -> None:
    page = browser.new_context().new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    _sign_in_by_clicking(page, address, "t01")
    expect(page.get_by_role("heading", level=1, name="My standing")).to_be_visible()
    page.goto(f"{address}/cohort")
    settle(page)
    assert "T02" not in page.content()
    assert page.get_by_role("heading", level=1, name="Cohort").count() == 0
    page.goto(address)
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", name="You have signed out")).to_be_visible()
    page.go_back()
    assert "T01" not in page.content()
    assert faults == []
    page.context.close()


def test_a_director_who_is_demoted_loses_the_cohort_at_once_and_who_signs_out_elsewhere_too(
    browser: Browser, address: str, root: Path
) -> None:
    context = browser.new_context()
    page = context.new_page()
    _sign_in_by_clicking(page, address, "head")
    page.goto(f"{address}/cohort")
    expect(page.get_by_text("T02").first).to_be_visible()
    change(root, "director", role="trainee", trainee="T01")
    expect(page.get_by_role("heading", level=1, name="My standing")).to_be_visible()
    assert "T02" not in page.content()
    second = context.new_page()
    second.goto(f"{address}/sign-out")
    second.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("link", name="Sign in with The")).to_be_visible()
    assert "T01" not in page.content()
    assert cookie_of(address) not in {each["name"] for each in context.cookies()}
    context.close()
