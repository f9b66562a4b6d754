"""The header: who is offered which pages, and that the program's API is not among them."""

import re

import pytest
from django.test import Client

from tests.support import factories
from tests.support.cast import Cast
from training import models


def offered(client: Client, path: str) -> list[tuple[str, str]]:
    """The header's links on a page, as (address, words); the current page has a star before its words."""
    page = client.get(path, follow=True).content.decode()
    found = re.search(r'<nav class="daily".*?</nav>', page, re.DOTALL)
    links = re.findall(r'<a href="([^"]+)"( aria-current="page")?>([^<]+)</a>', found[0]) if found else []
    return [(href, f"*{words}" if here else words) for href, here, words in links]


@pytest.mark.parametrize(
    ("who", "path", "links"),
    [
        pytest.param(
            "ida",
            "/today/",
            [
                ("/today/", "*Today"),
                ("/students/", "Students"),
                ("/logbook/", "Logbook"),
                ("/endorsements/", "Endorsements"),
                ("/reminders/", "Reminders"),
            ],
            id="an instructor",
        ),
        pytest.param(
            "ada",
            "/students/",
            [("/school/", "School"), ("/students/", "*Students"), ("/reminders/", "Reminders")],
            id="an administrator",
        ),
        pytest.param(
            "sams_account",
            "/reminders/",
            [("/", "My progress"), ("/reminders/", "*Reminders")],
            id="a student",
        ),
    ],
)
def test_the_header_has_the_pages_of_every_day(
    client: Client, people: Cast, who: str, path: str, links: list[tuple[str, str]]
) -> None:
    client.force_login(getattr(people, who))
    assert offered(client, path) == links
    assert "/api/v1/docs/" not in client.get(path, follow=True).content.decode()
    assert "/api/v1/docs/" in client.get("/help/").content.decode()


def test_an_instructor_who_administers_has_both_on_every_page(client: Client, people: Cast) -> None:
    factories.role(models.Role.Kind.ADMINISTRATOR, at=people.school, whose=people.ida)
    client.force_login(people.ida)
    for path in ("/today/", f"/teach/{people.sam.ref}/", f"/students/{people.sam.ref}/"):
        assert [words.strip("*") for _, words in offered(client, path)] == [
            "Today", "School", "Students", "Logbook", "Endorsements", "Reminders",
        ]  # fmt: skip


def test_a_visitor_is_offered_no_page_of_a_school(client: Client, people: Cast) -> None:
    assert offered(client, "/") == []
