"""A course written and published by several at the same moment: one of them is first, the others are told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from syllabus import models
from syllabus.courses import files, outlines
from tests.support import cast
from tests.syllabus.courses.test_course_versions import AT, SMALL
from tests.training.endorsements.test_endorsements_at_once import at_once
from training.services.courses import courses as services
from training.services.courses.courses import Address

pytestmark = pytest.mark.django_db(transaction=True)
OURS = Address("small", "lakeside")


@pytest.fixture
def people(transactional_db: None) -> cast.Cast:
    return cast.cast()


def writing(people: cast.Cast, title: str, of: str | None) -> Callable[[], Any]:
    """A change with that title, which starts from the version of that content (None: from no course)."""
    stands = files.read(SMALL.replace("A small course", title), "small")

    def fits(newest: models.CourseVersion | None) -> bool:
        return (newest and newest.content_hash) == of

    return lambda: services.put(people.ada, OURS, stands, fits=fits)


def told(found: list[Any]) -> Counter[str]:
    return Counter(type(each).__name__ for each in found)


@pytest.mark.parametrize("there", [False, True], ids=["a new course", "a course there is"])
def test_of_changes_at_once_one_is_kept(people: cast.Cast, there: bool) -> None:
    of = outlines.save(files.read(SMALL, "small"), "lakeside").version.content_hash if there else None
    found = at_once([writing(people, f"Change {number}", of) for number in range(8)])
    assert told(found) == {"Saved": 1, "Changed": 7}
    (kept,) = models.CourseVersion.objects.all()
    (saved,) = (each for each in found if isinstance(each, outlines.Saved))
    assert (kept.title, kept.number) == (saved.version.title, 1)


def test_the_same_sent_at_once_is_kept_once(people: cast.Cast) -> None:
    found = at_once([writing(people, "The same", None)] * 8)
    assert told(found) == {"Saved": 8}
    assert sum(each.changed for each in found) == 1
    assert models.CourseVersion.objects.count() == 1


def test_a_draft_is_published_as_it_was_read_or_changed_before(people: cast.Cast) -> None:
    for attempt in range(4):
        draft = outlines.save(
            files.read(SMALL.replace("A small course", f"Draft {attempt}"), "small"), "lakeside"
        )
        digest = draft.version.content_hash

        def publishing(number: int = draft.version.number, digest: str = digest) -> Any:
            return services.publish(people.ada, OURS, number, content_hash=digest, at=AT)

        found = at_once([publishing, writing(people, f"Change {attempt}", digest), publishing])
        kinds = told(found)
        version = models.CourseVersion.objects.get(course__code="small", number=draft.version.number)
        if version.content_hash == digest:  # published first; the change is the draft of the next version
            assert kinds == {"CourseVersion": 2, "Saved": 1}
            assert version.is_published
        else:
            assert kinds == {"NotAsRead": 2, "Saved": 1}
            assert not version.is_published
