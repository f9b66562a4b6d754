"""Who may sign what: ratings that cover the aircraft, the hours given in 24, and sign-offs that come late."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from syllabus.engine.record import record as engine
from syllabus.engine.time.units import HOUR, MINUTE
from tests.support import factories
from tests.support.cast import Cast
from tests.support.lessons import AT, CONTENT, content, draft, flown, sign, signed
from training import models, record
from training.reports import audit
from training.services.endorsements import endorsements, signing_authority
from training.services.lessons import sign_offs

SINGLE = {"category": "airplane", "class": "single-engine land"}
MULTI = {**CONTENT["flight"]["aircraft"], "class": "multiengine land"}
#: Off of the lesson's own flight, 13:00 at the school.
OFF = dt.datetime(2026, 3, 2, 19, tzinfo=dt.UTC)


def rated(user: models.User, ratings: Any) -> None:
    models.Role.objects.filter(user=user, role="instructor").update(ratings=ratings)


def warned(lesson: models.LessonRecord) -> dict[str, str]:
    return {each["kind"]: each["message"] for each in lesson.warnings}


def taught(
    people: Cast, hours: float, *, start: float = 0, id: str = "f1", whose: Any = None, **changed: Any
) -> None:
    """A flight of Ida's on record, ``hours`` long, that began so many hours before the lesson's own."""
    off = OFF - dt.timedelta(hours=start)
    minutes = round(hours * 60) * MINUTE
    on = off + dt.timedelta(microseconds=minutes)
    flight = engine.Flight(
        **{
            "id": id,
            "date": off.astimezone(dt.timezone(dt.timedelta(hours=-6))).date(),
            "off": off,
            "on": on,
            "times": {"total": minutes, "dual": minutes},
            "instructor": engine.Instructor("Ida Example", "0000001CFI"),
            **changed,
        }
    )
    record.add(whose or people.sam, "flights", flight, at=AT, instructor_user=people.ida)


class TestRatings:
    @pytest.mark.any_database  # others here and test_sign_offs make these queries on SQLite
    @pytest.mark.parametrize(
        ("ratings", "aircraft", "refused", "warns"),
        [
            pytest.param([SINGLE], CONTENT["flight"]["aircraft"], False, False, id="they cover the aircraft"),
            pytest.param([SINGLE], MULTI, True, False, id="another class"),
            pytest.param(
                [{"category": "glider"}], CONTENT["flight"]["aircraft"], True, False, id="a glider's"
            ),
            pytest.param([], CONTENT["flight"]["aircraft"], True, False, id="recorded that there are none"),
            pytest.param(None, CONTENT["flight"]["aircraft"], False, True, id="not recorded"),
            pytest.param([SINGLE], {"model": "C172"}, False, True, id="an aircraft without its category"),
            pytest.param([], {"device": "AATD", "model": "trainer"}, False, False, id="a training device"),
        ],
    )
    def test_flight_training_is_signed_by_whose_ratings_cover_the_aircraft(
        self, people: Cast, ratings, aircraft, refused, warns
    ):
        rated(people.ida, ratings)
        lesson = draft(people, flown(aircraft=aircraft))
        assert ("ratings-not-known" in warned(lesson)) is warns
        if refused:
            with pytest.raises(sign_offs.NotAuthorised) as told:
                sign(lesson, people.ida)
            assert all(each.message.endswith("(14 CFR 61.195(b))") for each in told.value.errors)
            assert told.value.errors
            assert not models.SignOff.objects.exists()
        else:
            assert (
                "ratings-not-known" in {each["kind"] for each in sign(lesson, people.ida).warnings}
            ) is warns

    def test_the_refusal_names_the_ratings_and_the_aircraft(self, people: Cast):
        rated(people.ida, [SINGLE, {"category": "glider"}])
        with pytest.raises(sign_offs.NotAuthorised) as told:
            sign(draft(people, flown(aircraft=MULTI)), people.ida)
        assert str(told.value) == (
            "The ratings recorded for Ida Example are airplane single-engine land, glider; flight training in"
            " this aircraft (N00XY, C172, airplane multiengine land) is signed by an instructor who holds its"
            " category and class. The school records ratings with the role. (14 CFR 61.195(b))"
        )

    @pytest.mark.parametrize(
        "said",
        [
            pytest.param(content(flight=None), id="ground training"),
            pytest.param(flown(times={"total": "1.4 h", "solo": "1.4 h"}), id="a solo flight"),
        ],
    )
    def test_what_is_no_flight_training_asks_for_no_rating(self, people: Cast, said):
        rated(people.ida, [])
        sign(draft(people, said), people.ida)
        assert models.SignOff.objects.get().warnings == []

    def test_what_the_entry_does_not_say_is_on_the_schools_list(self, people: Cast):
        craft = {"registration": "N77XY", "model": "PA44"}
        models.Aircraft.objects.create(school=people.school, **craft, klass="multiengine land")
        with pytest.raises(sign_offs.NotAuthorised, match="airplane single-engine land; flight training"):
            sign(draft(people, flown(aircraft=craft)), people.ida)

    def test_ratings_that_cannot_be_read_are_refused_where_they_are_written(self, people: Cast):
        role = models.Role.objects.get(user=people.ida)
        role.ratings = [{"category": "airplane", "class": "SEL"}]
        with pytest.raises(ValidationError, match=r"ratings\[0\].class"):
            role.full_clean()
        for each in (None, [], [SINGLE]):
            role.ratings = each
            role.full_clean()

    @pytest.mark.parametrize(
        ("ratings", "fleet", "expected"),
        [
            pytest.param([SINGLE], "single-engine land", False, id="they cover the model"),
            pytest.param([SINGLE], "multiengine land", True, id="another class"),
            pytest.param(None, "multiengine land", False, id="not recorded"),
            pytest.param([SINGLE], None, False, id="a model that the school does not have"),
        ],
    )
    def test_an_endorsement_about_another_aircraft_is_shown_and_not_refused(
        self, people: Cast, ratings, fleet, expected
    ):
        rated(people.ida, ratings)
        if fleet:
            factories.aircraft(people.school, model="C172", klass=fleet)
        fields = {"aircraft_model": "C172"}
        told = endorsements.check(people.sam, "pre-solo-training", fields, by=people.ida, at=AT, via="api")
        assert any("14 CFR 61.195(b)" in each for each in told.warnings) is expected
        assert told.refusals == ()


class TestEightHours:
    """Windows of 24 hours on the clock, ending or beginning around the lesson from 19:00 to 20:24 UTC."""

    @pytest.mark.any_database  # others here make these queries on SQLite
    @pytest.mark.parametrize(
        ("before", "kind"),
        [
            pytest.param([(6.6, 8)], None, id="eight hours exactly"),
            pytest.param([(6.6 + 1 / 60, 8)], "hours-exceeded", id="a minute more"),
            pytest.param([(3.3, 20), (3.3, 8)], None, id="eight hours in two flights"),
            pytest.param([(3.3, 20), (3.4, 8)], "hours-exceeded", id="six minutes more, across midnight"),
            pytest.param([(8, 30)], None, id="eight hours that were over the day before"),
        ],
    )
    def test_a_minute_more_than_eight_is_signed_with_a_warning(self, people: Cast, before, kind):
        for number, (hours, start) in enumerate(before):
            taught(people, hours, start=start, id=f"f{number}")
        made = sign(draft(people), people.ida)
        told = {each["kind"]: each for each in made.warnings}
        assert {each for each in told if each.startswith("hours")} == ({kind} if kind else set())
        if kind:
            assert (told[kind]["place"], "14 CFR 61.195(a)" in told[kind]["message"]) == (
                "content.flight.times.dual",
                True,
            )
        assert models.SignOff.objects.get().warnings == made.warnings

    def test_the_warning_says_how_much_and_from_when_and_names_nobody_else(self, people: Cast):
        other = factories.student(people.school, taught_by=people.ida, name="Somebody Else")
        taught(people, 7, start=10, whose=other)
        assert warned(draft(people))["hours-exceeded"] == (
            "With this flight, Ida Example gave 8.4 h of flight training within 24.0 h on the clock, from"
            " 2026-03-01 20:24 UTC on; at most 8.0 h are allowed, as far as this school's record says"
            " (14 CFR 61.195(a))."
        )

    @pytest.mark.parametrize(
        "changed",
        [
            pytest.param({"times": {"total": 9 * HOUR, "solo": 9 * HOUR}}, id="a solo flight"),
            pytest.param({"times": {"total": 9 * HOUR, "dual": 0}}, id="no training in it"),
            pytest.param({"aircraft": engine.Aircraft(device="AATD")}, id="a training device"),
        ],
    )
    def test_what_is_no_flight_training_does_not_count(self, people: Cast, changed):
        taught(people, 9, start=10, **changed)
        assert "hours-exceeded" not in warned(draft(people))

    def test_a_flight_by_the_certificate_number_alone_counts(self, people: Cast):
        taught(people, 9, start=10)
        models.Flight.objects.update(instructor_user=None)
        assert "hours-exceeded" in warned(draft(people))
        models.Flight.objects.update(instructor_certificate="0000009CFI")
        assert "hours-exceeded" not in warned(draft(people))

    def test_hours_that_off_and_on_do_not_place_are_a_question(self, people: Cast):
        taught(people, 7, start=10, off=None, on=None)
        told = warned(draft(people))
        assert "hours-exceeded" not in told
        assert "may have given 8.4 h" in told["hours-not-known"]

    def test_a_correction_does_not_count_what_it_corrects(self, people: Cast):
        long = flown(off="2026-03-02T09:00:00-06:00", on="2026-03-02T14:00:00-06:00", times={"dual": "5 h"})
        first = signed(people, long)
        again = sign_offs.correct(
            first, id=uuid.uuid4(), reason="5 h, not 4", content=long, by=people.ida, at=AT, via="api"
        )
        assert "hours-exceeded" not in warned(again)
        assert "hours-exceeded" in warned(draft(people, long))

    @pytest.mark.any_database  # others here and test_audit make these queries on SQLite
    def test_the_audit_finds_it_even_if_two_sign_offs_did_not_see_each_other(self, people: Cast):
        def too_full(school: models.School) -> list[audit.Told]:
            found = audit.audit(school, dt.date(2026, 3, 31), at=AT)
            return [each for each in found if each.found.kind == "training-hours"]

        taught(people, 5, start=10)
        assert too_full(people.school) == []
        taught(people, 3.1, start=1, id="f2")
        (told,) = too_full(people.school)
        assert (told.instructor, told.found.severity) == (people.ida.pk, "serious")
        assert "8.1 h of flight training within 24.0 h" in told.found.says
        assert too_full(people.elsewhere) == []


class TestLate:
    @pytest.mark.parametrize(
        ("limit", "days", "expected"),
        [
            pytest.param(None, 300, False, id="a school without a limit, almost a year later"),
            pytest.param(14, 14, False, id="on the last day"),
            pytest.param(14, 15, True, id="a day after it"),
            pytest.param(0, 0, False, id="the same day, where that is wanted"),
            pytest.param(0, 1, True, id="the next day, where the same is wanted"),
        ],
    )
    def test_a_lesson_sealed_later_than_the_school_wants_carries_a_warning(
        self, people: Cast, limit, days, expected
    ):
        models.School.objects.update(late_after_days=limit)
        lesson = draft(people)
        at = AT.replace(day=2, hour=23) + dt.timedelta(days=days)
        made = sign(lesson, people.ida, at=at, performed_at=AT.replace(day=2, hour=22))
        told = [each["message"] for each in made.warnings if each["kind"] == "late"]
        assert bool(told) is expected
        if expected:
            assert f"{days} days later" in told[0]
            assert "not a regulation's" in told[0]


def test_without_a_role_there_is_no_caution_and_one_refusal(people: Cast):
    flight = engine.Flight("f", AT.date())
    assert list(signing_authority.cautions(people.olaf, people.sam, flight)) == []
    (refusal,) = signing_authority.refusals(people.olaf, people.sam, AT.date(), flight=flight)
    assert (refusal.citation, "is not an instructor at Lakeside Flying" in refusal.message) == (
        "14 CFR 61.1",
        True,
    )


def test_certificates_that_ended_are_cited_as_the_law_stood(people: Cast):
    models.Role.objects.filter(user=people.ida).update(recent_experience_until=dt.date(2024, 1, 1))
    ended, changed = dt.date(2024, 11, 30), dt.date(2024, 12, 1)
    for day, section in ((ended, "14 CFR 61.19(d)(2)"), (changed, "14 CFR 61.197")):
        assert [each.citation for each in signing_authority.refusals(people.ida, people.sam, day)] == [
            section
        ]


@pytest.mark.parametrize(
    ("signs_as", "times", "cited"),
    [
        # 14 CFR 61.215: ground training, no flight training
        pytest.param(
            "ground", {"dual": 3_600_000_000}, ["14 CFR 61.215"], id="a ground instructor in flight"
        ),
        pytest.param("flight", {"dual": 3_600_000_000}, [], id="a flight instructor in flight"),
        pytest.param("ground", {"dual": 0}, [], id="a flight that was no training"),
        # 14 CFR 61.41 credits the training that such instructors give
        pytest.param("armed-forces", {"dual": 3_600_000_000}, [], id="an instructor of an armed force"),
    ],
)
def test_a_ground_instructor_signs_no_flight_training(people: Cast, signs_as, times, cited):
    models.Role.objects.filter(user=people.ida).update(instructor_kind=signs_as)
    flight = engine.Flight("f", AT.date(), times=times)
    found = signing_authority.refusals(people.ida, people.sam, AT.date(), flight=flight)
    assert [each.citation for each in found] == cited
