"""The guard of the desk: what anybody but the desk's own page may try, all of it refused.

The rules it stands on: Fetch standard (Origin header, Sec-Fetch-* metadata), RFC 6265bis
(cookies do not tell ports apart; SameSite speaks of sites, not of origins), CSP Level 3.
"""

import json

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from battery.desk.guard import MAX_BODY_BYTES, MAX_FORM_BYTES, Guard, Secrets, form_is_ours

PORT = 40123
OWN = f"http://127.0.0.1:{PORT}"
KNOWN = Secrets(entry="entry", session="session", form="form")


@pytest.fixture
def reached():
    return []


@pytest.fixture
def client(reached):
    """A browser that has come in; `reached` counts what got to the desk behind the guard."""

    async def page(request):
        reached.append((request.method, request.url.path))
        return PlainTextResponse("the desk")

    app = Starlette(routes=[Route("/{path:path}", page, methods=["GET", "POST", "PUT"])])
    with TestClient(
        Guard(app, port=PORT, known=KNOWN), base_url=OWN, follow_redirects=False
    ) as client:
        came_in = client.get("/enter?secret=entry")
        assert came_in.status_code == 303
        assert came_in.headers["location"] == "/"
        yield client


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(client):
    told = client.get("/enter?secret=entry").headers["set-cookie"].lower()
    assert "httponly" in told
    assert "samesite=lax" in told
    assert f"desk-{PORT}=session" in told


def test_its_own_pages_are_served_and_locked_down(client, reached):
    page = client.get("/", headers={"sec-fetch-site": "same-origin"})
    assert page.text == "the desk"
    assert "frame-ancestors 'none'" in page.headers["content-security-policy"]
    assert "default-src 'none'" in page.headers["content-security-policy"]
    assert page.headers["cache-control"] == "no-store"
    assert page.headers["x-content-type-options"] == "nosniff"
    sent = client.post("/", headers={"origin": OWN}, data={"a": "b"})
    assert sent.text == "the desk"
    assert reached == [("GET", "/"), ("POST", "/")]


ATTACKS = {
    "no cookie": {"cookies": {}},
    "wrong cookie": {"cookies": {f"desk-{PORT}": "guess"}},
    "cookie of another port": {"cookies": {"desk-40124": "session"}},
    "a name that points here": {"headers": {"host": f"desk.example:{PORT}"}},
    "localhost by name": {"headers": {"host": f"localhost:{PORT}"}},
    "wrong port": {"headers": {"host": "127.0.0.1:1"}},
    "no port": {"headers": {"host": "127.0.0.1"}},
    "script of another site": {
        "headers": {"sec-fetch-site": "cross-site", "sec-fetch-mode": "cors"}
    },
    "picture on another port": {
        "headers": {"sec-fetch-site": "same-site", "sec-fetch-mode": "no-cors"}
    },
    "form without an origin": {"method": "POST"},
    "form from a file": {"method": "POST", "headers": {"origin": "null"}},
    "form of another site": {"method": "POST", "headers": {"origin": "http://evil.example"}},
    "form on another port": {"method": "POST", "headers": {"origin": "http://127.0.0.1:40124"}},
    "form by another scheme": {
        "method": "POST", "headers": {"origin": f"https://127.0.0.1:{PORT}"}
    },
    "form whose browser tells": {
        "method": "POST", "headers": {"origin": OWN, "sec-fetch-site": "same-site"}
    },
    "another method": {"method": "PUT", "headers": {"origin": OWN}},
    "a body without end": {
        "method": "POST",
        "headers": {"origin": OWN, "transfer-encoding": "chunked"},
        "content": iter([b"x"] * 9),
    },
    "too long a form": {
        "method": "POST", "headers": {"origin": OWN, "content-length": str(MAX_FORM_BYTES + 1)}
    },
    "too long an upload": {
        "method": "POST",
        "headers": {
            "origin": OWN, "content-length": str(MAX_BODY_BYTES + 1),
            "content-type": "multipart/form-data; boundary=b",
        },
    },
    "a length that is none": {
        "method": "POST", "headers": {"origin": OWN, "content-length": "-1"}
    },
}  # fmt: skip


@pytest.mark.parametrize("attack", ATTACKS)
def test_what_is_not_asked_by_its_own_page_is_refused(client, reached, attack):
    told = ATTACKS[attack]
    if "cookies" in told:
        client.cookies = told["cookies"]
    answer = client.request(
        told.get("method", "GET"), "/people", headers=told.get("headers"),
        content=told.get("content"),
    )  # fmt: skip
    assert answer.status_code in (403, 405, 413, 421)
    assert reached == []
    assert "Traceback" not in answer.text
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("secret", ["", "guess", "entry ", "ENTRY", "session", "%65ntry"])
def test_nobody_comes_in_by_guessing(reached, secret):
    app = Starlette()
    with TestClient(Guard(app, port=PORT, known=KNOWN), base_url=OWN) as stranger:
        answer = stranger.get(f"/enter?secret={secret}", follow_redirects=False)
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_a_form_needs_its_secret():
    assert form_is_ours(KNOWN, field_value="form", header_value=None)
    assert form_is_ours(KNOWN, field_value=None, header_value="form")
    for wrong in (None, "", "for", "form ", "session"):
        assert not form_is_ours(KNOWN, field_value=wrong, header_value=None)


def test_secrets_are_new_for_every_desk():
    one, other = Secrets(), Secrets()
    told = [one.entry, one.session, one.form, other.entry, other.session, other.form]
    assert len(set(told)) == 6
    assert all(len(json.dumps(secret)) > 40 for secret in told)
