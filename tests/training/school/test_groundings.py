"""What grounds an aircraft: noted by any of the staff, shown where it is chosen, ended once, never edited."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.db import IntegrityError, transaction
from django.test import Client

from tests.support import factories, lessons
from tests.support.cast import Cast
from tests.support.kept import kept
from tests.training.web.test_pages import text_of
from training import models
from training.services.errors import Conflict, NotFound
from training.services.fleet import groundings
from training.services.fleet.aircraft import AircraftError

NOON = dt.datetime(2026, 7, 5, 17, tzinfo=dt.UTC)
LATER = NOON + dt.timedelta(minutes=10)


@kept
def craft(people: Cast) -> models.Aircraft:
    return factories.aircraft(people.school, registration="N00XY", model="C172")


def ground(people: Cast, craft: models.Aircraft, kind: str = "grounded") -> models.Grounding:
    return groundings.ground(craft.pk, kind, "Oil leak", by=people.ida, at=NOON)


def test_it_is_open_until_somebody_ends_it_and_both_reasons_stay(people: Cast, craft) -> None:
    made = ground(people, craft)
    assert ground(people, craft) == made
    assert groundings.open_at(people.school) == {craft.pk: [made]}
    done = groundings.end(made, " Gasket replaced ", by=people.ada, at=LATER)
    assert (done.ended_by, done.ended_at, done.ended_reason) == (people.ada, LATER, "Gasket replaced")
    assert groundings.end(made, "Gasket replaced", by=people.ada, at=LATER) == done
    with pytest.raises(Conflict, match="Gasket replaced"):
        groundings.end(made, "Tightened", by=people.ada, at=LATER)
    assert groundings.open_at(people.school) == {}
    assert models.Grounding.objects.get().reason == "Oil leak"
    assert ground(people, craft) != made


@pytest.mark.parametrize(
    ("kind", "reason", "place"),
    [
        pytest.param("grounded", "  ", "reason", id="no reason"),
        pytest.param("grounded", "x" * 2001, "reason", id="too long"),
        pytest.param("sold", "Sold", "kind", id="no such kind"),
    ],
)
def test_what_cannot_be_is_refused(people: Cast, craft, kind: str, reason: str, place: str) -> None:
    with pytest.raises(AircraftError) as wrong:
        groundings.ground(craft.pk, kind, reason, by=people.ida, at=NOON)
    assert [each.place for each in wrong.value.errors] == [place]
    with pytest.raises(AircraftError, match="empty"):
        groundings.end(ground(people, craft), " ", by=people.ida, at=LATER)


def test_a_student_and_another_school_can_neither_ground_nor_return(people: Cast, craft) -> None:
    made = ground(people, craft)
    for user in (people.sams_account, people.olaf):
        with pytest.raises(NotFound):
            groundings.ground(craft.pk, "defect", "Flat tire", by=user, at=NOON)
        with pytest.raises(NotFound):
            groundings.end(made, "Repaired", by=user, at=NOON)
    assert models.Grounding.objects.get().ended_at is None


@pytest.mark.parametrize(
    "row",
    [
        pytest.param({"reason": ""}, id="no reason"),
        pytest.param({"ended_at": LATER}, id="ended by nobody"),
        pytest.param({"ended_at": LATER - dt.timedelta(days=1), "ended_reason": "x"}, id="ended before"),
    ],
)
def test_the_database_refuses_what_cannot_be(people: Cast, craft, row: dict[str, object]) -> None:
    by = {"ended_by": people.ada} if "ended_reason" in row else {}
    whole = {"school": people.school, "aircraft": craft, "kind": "defect", "reason": "x", "at": NOON}
    with pytest.raises(IntegrityError), transaction.atomic():
        models.Grounding.objects.create(**{**whole, "by": people.ida, **row, **by})


def test_an_instructor_grounds_and_returns_it_on_its_page(client: Client, people: Cast, craft) -> None:
    client.force_login(people.ida)
    here = f"/aircraft/{craft.pk}/"
    with time_machine.travel(NOON, tick=False):
        assert "No grounding or defect on record" in text_of(client.get(here))
        answer = client.post(here, {"kind": "grounded", "reason": ""})
        assert answer.status_code == 422
        shown = text_of(client.post(here, {"kind": "grounded", "reason": "Oil leak"}, follow=True))
        assert "Grounded: Oil leak Since 2026-07-05 12:00 CDT, by Ida Example" in shown
        assert "N00XY C172 Grounded: Oil leak" in text_of(client.get("/aircraft/"))
    made = models.Grounding.objects.get()
    with time_machine.travel(LATER, tick=False):
        path = f"{here}groundings/{made.pk}/end/"
        assert client.post(path, {"reason": " "}).status_code == 422
        shown = text_of(client.post(path, {"reason": "Gasket replaced"}, follow=True))
        assert "Ended 2026-07-05 12:10 CDT by Ida Example: Gasket replaced" in shown
        assert "No grounding or defect on record" in text_of(client.get("/aircraft/"))
        assert client.post(path, {"reason": "Another"}).status_code == 422


def test_it_is_shown_on_the_schools_page_and_on_a_lesson_sheet(client: Client, people: Cast, craft) -> None:
    ground(people, craft, "defect")
    client.force_login(people.ada)
    assert "Open defect: Oil leak" in text_of(client.get("/school/lakeside/aircraft/"))
    client.force_login(people.ida)
    draft = lessons.draft(people)
    assert "N00XY Open defect: Oil leak" in text_of(
        client.get(f"/teach/{people.sam.ref}/lessons/{draft.pk}/")
    )


def test_nobody_else_sees_the_pages(client: Client, people: Cast, craft) -> None:
    made = ground(people, craft)
    for user in (people.sams_account, people.olaf):
        client.force_login(user)
        assert client.get(f"/aircraft/{craft.pk}/").status_code == 404
        path = f"/aircraft/{craft.pk}/groundings/{made.pk}/end/"
        assert client.post(path, {"reason": "Repaired"}).status_code == 404
        assert "N00XY" not in text_of(client.get("/aircraft/"))
    assert models.Grounding.objects.get().ended_at is None
