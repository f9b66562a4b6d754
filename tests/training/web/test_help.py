"""The help pages: anybody reads and searches them, links and pictures lead somewhere, nothing overflows."""

from __future__ import annotations

import re

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from django.urls import resolve
from pytest_django.live_server_helper import LiveServer

from tests.support.browsing import SIZES, Watched, fits
from training.web.help import library

PAGES = library.PAGES


def named(page: library.HelpPage) -> str:
    return f"{page.reader}/{page.slug}"


def test_every_file_is_a_page_and_every_page_a_file() -> None:
    assert {each.path for each in PAGES} == set(library.FOLDER.rglob("*.md"))
    assert set(library.CONTENTS) == set(library.READERS)


@pytest.mark.any_database  # makes no query but its fixtures'
@pytest.mark.parametrize("page", PAGES, ids=named)
def test_a_page_is_read_without_signing_in(client: Client, db: None, page: library.HelpPage) -> None:
    answer = client.get(page.address)
    html = answer.content.decode()

    assert answer.status_code == 200
    assert html.count("<h1") == 1
    assert f"<h1>{page.title}</h1>" in html
    for target in re.findall(r'<a href="(/[^"#]*)', page.html()):
        assert resolve(target)
    for source in re.findall(r'<img src="/static/([^"]+)"', page.html()):
        assert finders.find(source), source


def test_the_contents_list_every_page(client: Client, db: None) -> None:
    html = client.get("/help/").content.decode()
    for each in PAGES:
        assert f'<a href="{each.address}">{each.title}</a>' in html


def test_a_page_there_is_not(client: Client, db: None) -> None:
    assert client.get("/help/student/nothing/").status_code == 404
    assert client.get("/help/nobody/progress/").status_code == 404


@pytest.mark.parametrize(
    ("asked", "first"),
    [
        pytest.param("calendar link", "student/reminders", id="in the title and the text"),
        pytest.param("REVOKE endorsement", "instructor/endorsements", id="in capitals"),
        pytest.param("taken-over provenance", "administrator/imports", id="only in the text"),
    ],
)
def test_the_search_finds_every_word(asked: str, first: str) -> None:
    found = library.find(asked)

    assert named(found[0].page) == first
    for each in found:
        words = f"{each.page.title} {each.page.text}".casefold()
        assert all(word in words for word in asked.casefold().split())


def test_the_search_says_when_nothing_is_found(client: Client, db: None) -> None:
    assert library.find("") == []
    assert library.find("solo zebra") == []
    told = client.get("/help/", {"q": "<b>zebra</b>\x00"}).content.decode()
    assert "No results for “&lt;b&gt;zebra&lt;/b&gt;”" in told


def test_an_excerpt_is_around_the_word() -> None:
    everywhere = library.find("Merkle")

    assert {each.page.slug for each in everywhere} == {"signatures", "ledger"}
    for found in everywhere:
        assert "Merkle tree" in found.excerpt
        assert found.excerpt.startswith("… ")
        assert len(found.excerpt) <= 2 * library.AROUND + 4


def test_raw_html_is_shown_as_text() -> None:
    written = library._MARKDOWN.render("<script>x</script>", {"page": PAGES[0]})
    assert "<script>" not in written


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_help_breaks_no_rule(watched: Watched, live_server: LiveServer) -> None:
    for path in (
        "/help/",
        "/help/?q=solo",
        "/help/reference/record-document/",
        "/help/administrator/school/",
    ):
        watched.page.goto(live_server.url + path)
        watched.is_well()


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_no_help_page_is_too_wide(watched: Watched, live_server: LiveServer) -> None:
    page = watched.page
    for each in PAGES:
        page.goto(live_server.url + each.address)
        for size, (width, height) in SIZES.items():
            page.set_viewport_size({"width": width, "height": height})
            fits(page, f"{each.address} on {size}")
