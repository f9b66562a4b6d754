"""What a browser is told about every answer, whoever gives it, and how an API call over plain HTTP ends."""

import pytest
from django.test import Client

from tests.support.cast import Cast

#: An answer of each part of the server that gives one by itself.
ANSWERS = {
    "a page": "/login/",
    "a page that does not exist": "/nothing",
    "a page about a record": "/students/",
    "an API answer": "/api/v1/milestones/",
    "an API address that does not exist": "/api/v1/nothing",
    "a refused API call": "/api/v1/students/",
    "the API's description": "/api/v1/docs/",
    "a file": "/static/training/tablet/store.js",
    "a picture": "/static/training/tablet/icon-192.png",
    "the service worker": "/worker.js",
    "for monitoring": "/healthz",
}


@pytest.mark.any_database  # the same pages on SQLite: test_pages
@pytest.mark.parametrize("path", ANSWERS.values(), ids=ANSWERS)
def test_every_answer_has_the_policies(client: Client, people: Cast, path: str) -> None:
    answer = client.get(path)
    policy = answer["Content-Security-Policy"]
    for directive in ("default-src 'self'", "object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"):
        assert directive in policy
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["Cross-Origin-Opener-Policy"] == "same-origin"
    assert "Access-Control-Allow-Origin" not in answer


@pytest.mark.any_database
@pytest.mark.parametrize("path", ["/", "/login/", "/students/", "/api/v1/milestones/", "/healthz"])
def test_nothing_answers_to_trace(client: Client, people: Cast, path: str) -> None:
    client.force_login(people.ida)
    assert client.generic("TRACE", path).status_code == 405


@pytest.mark.any_database
def test_a_page_over_http_is_redirected_and_an_api_call_is_refused(people: Cast, settings) -> None:
    settings.SECURE_SSL_REDIRECT, settings.SECURE_HSTS_SECONDS = True, 365 * 24 * 60 * 60
    client = Client()
    for path in ("/login/", "/api/v1/docs/"):
        moved = client.get(path)
        assert (moved.status_code, moved["Location"]) == (301, f"https://testserver{path}")
        assert "frame-ancestors 'none'" in moved["Content-Security-Policy"]
    for answer in (
        client.get("/api/v1/milestones/", HTTP_AUTHORIZATION="Token 0123456789abcdef"),
        client.post("/api/v1/auth/login/", {"email": "x"}, content_type="application/json"),
    ):
        assert answer.status_code == 403
        assert answer["Content-Type"] == "application/problem+json"
        assert "Location" not in answer
        assert "HTTPS" in answer.json()["detail"]
    assert client.get("/api/v1/milestones/", secure=True).status_code == 200
    assert client.get("/healthz").status_code == 200


BROWSER = {"accept": "text/html,application/xhtml+xml"}


@pytest.mark.any_database
@pytest.mark.parametrize(
    ("public", "host", "headers", "moves"),
    [
        pytest.param("http://localhost:8000", "127.0.0.1:8000", BROWSER, True, id="opened by its number"),
        pytest.param("http://localhost:8000", "localhost:8000", BROWSER, False, id="by its name"),
        pytest.param("http://localhost:8000", "127.0.0.1:8001", BROWSER, False, id="another port"),
        pytest.param("http://localhost:8000", "127.0.0.1:8000", {}, False, id="a program"),
        pytest.param("https://school.example", "127.0.0.1:8000", BROWSER, False, id="a school's address"),
    ],
)
def test_a_browser_moves_to_the_name_by_which_passkeys_work(
    people: Cast, settings, public: str, host: str, headers: dict[str, str], moves: bool
) -> None:
    settings.PUBLIC_ADDRESS = public
    answer = Client(headers={"host": host, **headers}).get("/login/?next=/today/")
    moved = (302, "http://localhost:8000/login/?next=/today/")
    assert (answer.status_code, answer.get("Location")) == (moved if moves else (200, None))
    posted = Client(headers={"host": host, **headers}).post("/login/", {"login": "x", "password": "y"})
    assert posted.status_code == 200, "what was sent is answered where it was sent"
