"""Who vouches for an entry is said by the code path that puts it on record, and kept by the database."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from syllabus.engine.record import record as engine
from tests.support import factories, handing, lessons
from tests.support.cast import Cast
from tests.support.lessons import AT
from training import models, record
from training.services.lessons import lesson_audit, sign_offs
from training.services.lessons.lesson_content import LessonError
from training.services.people import people as services
from training.services.records import attesting, record_changes
from training.services.records.attesting import NotAttested
from training.services.transfer import handover

MEDICAL = engine.Document("m1", "medical", dt.date(2026, 1, 5), klass="third")


def vouched(student: models.Student) -> dict[str, str]:
    known = record.of(student)
    return {each.id: each.provenance for part in known.PARTS for each in getattr(known, part)}


class TestTheDatabase:
    @pytest.mark.parametrize("provenance", ["signed", "attested", "taken-over"])
    def test_keeps_a_claim_a_claim(self, people: Cast, provenance: str) -> None:
        row = record.add(people.sam, "documents", MEDICAL, at=AT)
        with pytest.raises(DatabaseError), transaction.atomic():
            models.Document.objects.filter(pk=row.pk).update(provenance=provenance)
        assert vouched(people.sam) == {"m1": "claimed"}

    def test_has_nothing_signed_that_is_not_sealed(self, people: Cast) -> None:
        with pytest.raises(DatabaseError), transaction.atomic():
            record.add(people.sam, "documents", MEDICAL, at=AT, provenance="signed")
        with pytest.raises(DatabaseError), transaction.atomic():
            models.Document.objects.create(
                school=people.school, student=people.sam, entry_id="m2", kind="medical", klass="third",
                issued=dt.date(2026, 1, 5), recorded_at=AT, sealed=True, provenance="claimed",
            )  # fmt: skip

    def test_knows_no_other_word(self, people: Cast) -> None:
        with pytest.raises(DatabaseError), transaction.atomic():
            record.add(people.sam, "documents", MEDICAL, at=AT, provenance="sworn")

    def test_keeps_what_was_signed_with_a_lesson(self, people: Cast) -> None:
        lessons.signed(people)
        assert set(vouched(people.sam).values()) == {"signed"}
        with pytest.raises(DatabaseError), transaction.atomic():
            models.Flight.objects.update(provenance="claimed")


class TestARecordThatIsStored:
    def test_is_claimed_whatever_its_entries_say(self, people: Cast) -> None:
        said = engine.Document("m1", "medical", dt.date(2026, 1, 5), klass="third", provenance="signed")
        record.store(people.sam, engine.Record(documents=(said,)), by=people.ida, at=AT)
        assert vouched(people.sam) == {"m1": "claimed"}

    def test_is_never_signed(self, people: Cast) -> None:
        with pytest.raises(ValueError, match="signed by a sign-off"):
            record.store(
                people.sam,
                engine.Record(documents=(MEDICAL,)),
                by=people.ida,
                at=AT,
                vouches=lambda part, entry: engine.SIGNED,
            )
        assert vouched(people.sam) == {}

    def test_keeps_who_vouched_for_what_it_leaves_as_it_was(self, people: Cast) -> None:
        factories.recorded(people.sam, documents=(MEDICAL,))
        people.sam.refresh_from_db()
        whose = engine.Student(people.sam.name, people.sam.birth_date)
        other = engine.Document("m2", "medical", dt.date(2026, 2, 5), klass="third")
        record.store(people.sam, engine.Record(whose, documents=(MEDICAL, other)), by=people.ida, at=AT)
        assert vouched(people.sam) == {"m1": "attested", "m2": "claimed"}

    def test_is_on_record_from_when_it_says_in_a_demo_school_alone(self, people: Cast) -> None:
        with pytest.raises(ValueError, match="invented past"):
            record.store(people.sam, engine.Record(), by=None, at=AT, invented=True)


class TestTakenOver:
    @pytest.mark.any_database  # others here and test_handover make these queries on SQLite
    def test_is_what_a_verified_sealed_entry_says(self, people: Cast) -> None:
        handing.trained(people)
        claim = engine.Endorsement("claim", "solo-90-day", dt.date(2026, 3, 1), aircraft_model="C172")
        record.add(people.sam, "endorsements", claim, at=AT)
        before = vouched(people.sam)
        assert before["claim"] == "claimed"
        after = taken(people)
        assert after.keys() == before.keys()
        proven = [after[each] for each, was in before.items() if was in ("signed", "attested")]
        assert set(proven) == {"taken-over"}
        assert after["claim"] == "claimed"

    # others here, test_handover and test_status_changes make these queries on SQLite
    @pytest.mark.any_database
    def test_is_not_what_was_attested_and_then_taken_off(self, people: Cast) -> None:
        """The same entry put back is a claim there, whatever was sealed about it before."""
        handing.trained(people)
        stood = record.of(people.sam)
        gone = dataclasses.replace(stood, documents=())
        ways: dict[str, Any] = {"by": people.ida, "reason": "not seen", "sent": "sha256:0", "via": "api"}
        record_changes.replace(people.sam, gone, at=AT + dt.timedelta(days=1), **ways)
        record_changes.replace(people.sam, stood, at=AT + dt.timedelta(days=2), **ways)
        assert vouched(people.sam)["medical"] == "claimed"
        assert taken(people)["medical"] == "claimed"

    # others here, test_handover and test_status_changes make these queries on SQLite
    @pytest.mark.any_database
    def test_is_not_what_the_ledger_took_off_whatever_the_record_says(self, people: Cast) -> None:
        handing.trained(people)
        stood = record.of(people.sam)
        gone = dataclasses.replace(stood, documents=())
        ways: dict[str, Any] = {"by": people.ida, "reason": "not seen", "sent": "sha256:0", "via": "api"}
        record_changes.replace(people.sam, gone, at=AT + dt.timedelta(days=1), **ways)
        [medical, _] = stood.documents
        record.add(people.sam, "documents", medical, at=AT + dt.timedelta(days=2), provenance="attested")
        assert taken(people)["medical"] == "claimed"

    def test_is_never_more_than_the_record_itself_states(self, people: Cast) -> None:
        record.add(people.sam, "documents", MEDICAL, at=AT)
        attesting.seal(
            people.sam, record_changes.ADDED, [record.moved("documents", MEDICAL, "attested")],
            saw="the original", by=people.ida, at=AT, confirmed=None,
        )  # fmt: skip
        assert taken(people) == {"m1": "claimed"}

    def test_knows_a_lesson_of_a_ground_instructor(self, people: Cast) -> None:
        models.Role.objects.filter(user=people.ida).update(instructor_kind="ground")
        ground = {"date": "2026-03-02", "time": "1.0 h", "topic": "airspace"}
        lessons.signed(people, {"flight": None, "ground": ground, "items": [], "comments": "", "next": ""})
        assert set(taken(people).values()) == {"taken-over"}
        assert not list(lesson_audit.faults(people.school))

    @pytest.mark.any_database  # others here and test_handover make these queries on SQLite
    @pytest.mark.parametrize(
        "whose", [{"certificate": "CFI-0000001"}, {"name": "ida  EXAMPLE"}], ids=["by number", "by name"]
    )
    def test_is_no_signature_of_an_instructor_of_this_school(
        self, people: Cast, whose: dict[str, str]
    ) -> None:
        handing.trained(people)
        factories.instructor(people.elsewhere, **{"name": "Uma Example", **whose})
        before, after = vouched(people.sam), taken(people)
        assert {after[each] for each, was in before.items() if was == "signed"} == {"claimed"}
        assert {after[each] for each, was in before.items() if was == "attested"} == {"taken-over"}

    @pytest.mark.any_database  # others here and test_handover make these queries on SQLite
    def test_is_the_signature_that_this_school_sealed_itself(self, people: Cast) -> None:
        """Sam comes back: what Ida signed here counts, what is only said to be hers does not."""
        handing.trained(people)
        raw, kid = handing.made(people)
        ways: dict[str, Any] = {"by": None, "via": "command", "reason": "new here"}
        there = handover.take(raw, school=people.elsewhere, trust=[kid], at=handing.AT, **ways).student
        ida = engine.Instructor("Ida Example", "0000001CFI")
        forged = engine.Endorsement(
            "forged", "solo-90-day", dt.date(2026, 3, 5), instructor=ida, aircraft_model="C172"
        )
        attested = record.moved("endorsements", forged, "attested")
        record.add(there, "endorsements", forged, at=handing.AT, provenance="attested")
        attesting.seal(
            there, record_changes.ADDED, [attested], saw="it", by=people.olaf, at=handing.AT, confirmed=None
        )  # fmt: skip
        back = handover.make(there, by=None, at=handing.AT, via="command")
        done = handover.take(back, school=people.school, at=handing.AT + dt.timedelta(days=1), **ways)
        after = vouched(done.student)
        assert after.pop("forged") == "claimed"
        assert set(after.values()) == {"taken-over"}


def taken(people: Cast) -> dict[str, str]:
    """Who vouches for each entry of Sam's record once the other school has taken it over."""
    raw, kid = handing.made(people)
    done = handover.take(
        raw, school=people.elsewhere, trust=[kid], by=None, at=handing.AT, via="command", reason="new here"
    )
    return vouched(done.student)


class TestAttesting:
    def test_leaves_what_was_known_before_a_claim(self, people: Cast) -> None:
        record.add(people.sam, "documents", MEDICAL, at=AT)
        later = AT + dt.timedelta(days=1)
        [done] = attesting.attest(
            people.sam, [("documents", "m1")], saw="the original", by=people.ida, at=later, via="api",
            confirmed={"by": "password"},
        )  # fmt: skip
        assert (done.id, done.provenance) == ("m1", "attested")
        [then], [now] = record.of(people.sam, known_at=AT).documents, record.of(people.sam).documents
        assert (then.provenance, now.provenance) == ("claimed", "attested")

    @pytest.mark.parametrize(
        ("entries", "saw", "place"),
        [
            pytest.param([("documents", "m9")], "it", "entries[0].id", id="not on record"),
            pytest.param([("papers", "m1")], "it", "entries[0].part", id="no list of a record"),
            pytest.param([("documents", "m1")], " ", "saw", id="nothing seen"),
            pytest.param([], "it", "entries", id="nothing named"),
        ],
    )
    def test_needs_an_entry_and_a_document(
        self, people: Cast, entries: list[tuple[str, str]], saw: str, place: str
    ) -> None:
        record.add(people.sam, "documents", MEDICAL, at=AT)
        with pytest.raises(NotAttested) as refused:
            attesting.attest(people.sam, entries, saw=saw, by=people.ida, at=AT, via="api", confirmed=None)
        assert [each.place for each in refused.value.errors] == [place]
        assert vouched(people.sam) == {"m1": "claimed"}

    @pytest.mark.parametrize(
        "named",
        [
            pytest.param(engine.Instructor("Ida Example", "0000001CFI"), id="as she signs"),
            pytest.param(engine.Instructor("Ida Example", "9990001CFI"), id="another number"),
            pytest.param(engine.Instructor("Ida Example"), id="no number"),
            pytest.param(engine.Instructor("Somebody Else", "CFI 0000001"), id="another name"),
            pytest.param(engine.Instructor("Somebody Else", "\uff10\uff10\uff10\uff10\uff10\uff10\uff11"),
                         id="wide digits"),
            pytest.param(engine.Instructor("Somebody Else", "\u0660\u0660\u0660\u0660\u0660\u0660\u0661"),
                         id="digits of another script"),
            pytest.param(engine.Instructor("\uff29da  EXAMPLE", "9"), id="a wide letter"),
            pytest.param(engine.Instructor("Example, \u00ccda", "9"), id="turned round, with an accent"),
        ],
    )  # fmt: skip
    @pytest.mark.parametrize("left", [False, True])
    def test_a_colleagues_name_or_number_is_the_colleagues(
        self, people: Cast, named: engine.Instructor, left: bool
    ) -> None:
        test = engine.Test("t1", "pre-solo-knowledge", dt.date(2026, 1, 5), "pass", instructor=named)
        given = engine.Endorsement("e1", "solo-90-day", dt.date(2026, 1, 5), instructor=named)
        record.add(people.sam, "tests", test, at=AT)
        record.add(people.sam, "endorsements", given, at=AT)
        if left:
            role = models.Role.objects.get(user=people.ida, role=models.Role.Kind.INSTRUCTOR)
            services.end(role, by=people.ada, at=AT)
        with pytest.raises(NotAttested) as refused:
            attesting.attest(
                people.sam, [("tests", "t1"), ("endorsements", "e1")], saw="the logbook", by=people.ada,
                at=AT, via="api", confirmed=None,
            )  # fmt: skip
        assert [each.place for each in refused.value.errors] == ["entries[0]", "entries[1]"]

    def test_a_number_that_was_signed_with_stays_that_persons(self, people: Cast) -> None:
        lessons.signed(people)
        models.Role.objects.filter(user=people.ida).update(certificate="0000555CFI")
        old = engine.Instructor("Somebody Else", "0000001")
        given = engine.Endorsement("e1", "solo-90-day", dt.date(2026, 1, 5), instructor=old)
        with pytest.raises(NotAttested, match="present or former instructor"):
            attesting.check(people.sam, "endorsements", given, people.ada)
        stranger = dataclasses.replace(given, instructor=engine.Instructor("Uma Example", "0000077CFI"))
        attesting.check(people.sam, "endorsements", stranger, people.ada)


class TestTheClockOfASignOff:
    @pytest.mark.any_database  # others here make these queries on SQLite
    @pytest.mark.parametrize("ahead", [dt.timedelta(), dt.timedelta(seconds=1), sign_offs.CLOCK_DRIFT])
    def test_may_run_ahead_a_little(self, people: Cast, ahead: dt.timedelta) -> None:
        lesson = lessons.draft(people)
        signed = lessons.sign(lesson, people.ida, performed_at=AT + ahead)
        assert signed.performed_at == AT
        assert record.of(people.sam, known_at=AT - dt.timedelta(microseconds=1)).flights == ()
        assert len(record.of(people.sam, known_at=AT).flights) == 1

    def test_beyond_that_is_refused_by_name(self, people: Cast) -> None:
        lesson = lessons.draft(people)
        ahead = AT + sign_offs.CLOCK_DRIFT + dt.timedelta(seconds=1)
        with pytest.raises(LessonError) as refused:
            lessons.sign(lesson, people.ida, performed_at=ahead)
        [fault] = refused.value.errors
        assert fault.place == "performed_at"
        assert "is in the future" in fault.message
