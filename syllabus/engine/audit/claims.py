"""Endorsements and tests in the name of one of a school's instructors, who did not vouch for them."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from syllabus.engine.audit.audit import CORRECTION, INCOMPLETE, SERIOUS, Found
from syllabus.engine.audit.school import Cited, Held
from syllabus.engine.record.record import ATTESTED, CLAIMED, Endorsement, Instructor, Record, entry_day

#: Lists whose entries stand for an instructor's signature.
SIGNED_PARTS = ("endorsements", "tests")


@dataclass(frozen=True, slots=True)
class PutOnRecord:
    """When an entry was put on record at the school, and by which user; None where nothing says.

    ``by_server``: whoever runs the server did.
    """

    on: date
    by: int | None
    by_server: bool = False


def claimed(
    record: Record,
    instructors: Mapping[Instructor, Held | None],
    put: Mapping[tuple[str, str], PutOnRecord],
    cited_on: Callable[[date], Cited],
) -> Iterator[Found]:
    """Endorsements and tests that name an instructor of the school and that nobody vouches for.

    ``put`` says of each, by its list and id, how it came on record. Told where somebody else than that
    instructor put it there, or where it is of an earlier day than it came.
    """
    for part in SIGNED_PARTS:
        for each in getattr(record, part):
            held = each.instructor and instructors[each.instructor]
            how = put.get((part, each.id))
            if each.provenance != CLAIMED or not held or how is None:
                continue
            day = entry_day(each)
            another = how.by_server or (how.by is not None and how.by != held.user)
            if not another and day >= how.on:
                continue
            what = "endorsement" if isinstance(each, Endorsement) else "test"
            who = "somebody else" if another else "this instructor, or nobody known,"
            section, verified = cited_on(day)
            yield Found(
                kind="entry-claimed",
                severity=SERIOUS if another else INCOMPLETE,
                about=(each.id,),
                day=day,
                entries=(each.id,),
                says=f"The {what} {each.kind} of {day} names {held.name}, who did not sign it here: {who}"
                f" added it on {how.on}, and no one has attested it.",
                citations=(section,),
                mend=CORRECTION,
                way=f"{held.name} compares it with the document and attests it, or gives it here;"
                " otherwise remove it.",
                verified=verified,
            )


def attested_for(
    record: Record,
    named: Callable[[Instructor], Mapping[int, str]],
    attested: Mapping[tuple[str, str], int | None],
    cited_on: Callable[[date], Cited],
) -> Iterator[Found]:
    """Endorsements and tests that somebody attested who is not the instructor of the school they may mean.

    ``named`` gives the users with their names that an instructor's name or number may mean, those who left
    too; ``attested`` who attested an entry, by its list and id.
    """
    for part in SIGNED_PARTS:
        for each in getattr(record, part):
            by = attested.get((part, each.id))
            if each.provenance != ATTESTED or each.instructor is None or by is None:
                continue
            meant = named(each.instructor)
            if not meant or by in meant:
                continue
            what = "endorsement" if isinstance(each, Endorsement) else "test"
            who, day = " or ".join(sorted(set(meant.values()))), entry_day(each)
            section, verified = cited_on(day)
            yield Found(
                kind="entry-claimed",
                severity=SERIOUS,
                about=(each.id,),
                day=day,
                entries=(each.id,),
                says=f"The {what} {each.kind} of {day} names {each.instructor.name}, by name or certificate"
                f" {who} of this school, who did not sign it here: somebody else attested it.",
                citations=(section,),
                mend=CORRECTION,
                way=f"{who} compares it with the document, or gives it here; otherwise remove it.",
                verified=verified,
            )
