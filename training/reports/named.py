"""The school's instructors, current and former, whom an entry may mean; and who attested entries."""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass

from syllabus.engine.record import record as engine
from syllabus.engine.rules.facts import certificate_number
from training.ledger.models import EntryBody
from training.models import EndorsementSeal, PeopleChange, Role, SignOff, Student


@dataclass(frozen=True, slots=True)
class Known:
    """A name and certificate of a current or former instructor of a school."""

    user: int
    name: str
    certificate: str

    def may_be(self, named: engine.Instructor) -> bool:
        """Whether an entry may mean this person: by number or by name, so that altering one does not help."""
        number = _number(self.certificate)
        return (number != "" and number == _number(named.certificate or "")) or bool(
            _names(self.name) & _names(named.name)
        )


def instructors(school: int) -> Iterator[Known]:
    """The current and former instructors of a school, once for each name and number. Four queries."""
    roles = Role.objects.filter(school=school, role=Role.Kind.INSTRUCTOR).select_related("user")
    for role in roles:
        yield Known(role.user_id, str(role.user), role.certificate)
    changes = PeopleChange.objects.filter(school=school, what__startswith="instructor ", user__isnull=False)
    for change in changes.select_related("user"):
        assert change.user is not None
        for held in (change.before, change.after):
            yield Known(change.user.pk, str(change.user), (held or {}).get("certificate") or "")
    signed = SignOff.objects.filter(school=school).order_by()
    for signature in signed.values_list("by", "instructor_name", "instructor_certificate").distinct():
        yield Known(*signature)
    given = EndorsementSeal.objects.filter(school=school).order_by()
    said = ("by", "endorsement__instructor_name", "endorsement__instructor_certificate")
    for user, name, number in given.values_list(*said).distinct():
        yield Known(user, name or "", number or "")


def _plain(text: str) -> str:
    """Normalized text (NFKD), without accents and letter case, digits as 0 to 9.

    Letters of different scripts that look alike stay different: no library here maps them.
    """
    folded = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    return "".join(
        str(unicodedata.decimal(each)) if each.isdecimal() else each
        for each in folded
        if not unicodedata.combining(each)
    )


def _number(certificate: str) -> str:
    return certificate_number(_plain(certificate))


def _names(name: str) -> set[str]:
    """A name's letters and digits in order, and with its words sorted, so that "Example, Ida" matches too."""
    words = "".join(each if each.isalnum() else " " for each in _plain(name)).split()
    return {"".join(words), "".join(sorted(words))} - {""}


def attesters(student: Student, tree: str) -> dict[tuple[str, str], int | None]:
    """The user who last attested each entry, by its list and id, from the school's ledger. One query."""
    found: dict[tuple[str, str], int | None] = {}
    bodies = EntryBody.objects.filter(
        entry__tree=tree,
        entry__subject=str(student.ref),
        entry__kind__in=("record.added", "record.attested"),
    )
    for each in bodies.order_by("entry__index"):
        said = each.value
        for entry in said.get("added", ()):
            if entry["provenance"] == engine.ATTESTED:
                found[entry["part"], entry["id"]] = said.get("by")
    return found
