"""What all entries of a training record have in common."""

from django.db import models
from django.db.models import Q

from syllabus.engine.record.record import CLAIMED, FLIGHT_INSTRUCTOR, PROVENANCES, SIGNED
from syllabus.engine.record.vocabulary import INSTRUCTORS

#: The longest id of an entry. An index cannot hold much more than ten times this.
ID_LENGTH = 200
#: The kinds of instructors that are stored; without one it is a flight instructor.
OTHER_INSTRUCTORS = tuple(kind for kind in INSTRUCTORS if kind != FLIGHT_INSTRUCTOR)


class Entry(models.Model):
    """One entry of one student's record, as it was recorded.

    An entry is never edited and never deleted: a changed or removed one is retired, and its successor is a
    row of its own. So what was on record at an instant can be read at any later time: ``recorded_at <=
    instant`` and not yet ``retired_at``.

    ``said_recorded_at`` is when the entry was first written down, if its document says so; the offset keeps
    it as typed. It is a claim: ``recorded_at``, this server's clock, decides what was known when.

    ``provenance`` is a sign-off here, verified proofs from another school, a named person who saw the
    document, or a claim. The code that adds the row sets it, no document does; the database refuses to change
    it later, and refuses ``signed`` for an unsealed row.

    A ``sealed`` entry was signed here and is in the school's ledger. The database refuses to change or delete
    it (``training.triggers.sealing``); only another ledger entry can retire it.

    A null text means that the document does not have the key; an empty one was typed.
    """

    school = models.ForeignKey("training.School", on_delete=models.PROTECT, related_name="+")
    student = models.ForeignKey("training.Student", on_delete=models.PROTECT, related_name="%(class)s_set")
    entry_id = models.CharField("id in the record", max_length=ID_LENGTH)
    recorded_at = models.DateTimeField("put on record here at")
    retired_at = models.DateTimeField("changed or taken out at", null=True, blank=True)
    said_recorded_at = models.DateTimeField("first written down at", null=True, blank=True)
    said_recorded_offset = models.DurationField(null=True, blank=True)
    sealed = models.BooleanField("signed here, and in the ledger", default=False, editable=False)
    provenance = models.CharField(
        "who vouches for it",
        max_length=10,
        default=CLAIMED,
        choices=[(each, each) for each in PROVENANCES],
        editable=False,
    )

    class Meta:
        abstract = True
        constraints = [
            models.CheckConstraint(
                condition=Q(provenance__in=PROVENANCES), name="%(class)s_provenance_is_known"
            ),
            models.CheckConstraint(
                condition=Q(sealed=True, provenance=SIGNED) | Q(sealed=False) & ~Q(provenance=SIGNED),
                name="%(class)s_signed_where_sealed",
            ),
            models.UniqueConstraint(
                fields=["student", "entry_id"],
                condition=Q(retired_at__isnull=True),
                name="%(class)s_on_record_once",
            ),
            models.CheckConstraint(
                condition=Q(retired_at__isnull=True) | Q(retired_at__gte=models.F("recorded_at")),
                name="%(class)s_not_retired_before_recorded",
            ),
            models.CheckConstraint(
                condition=Q(said_recorded_at__isnull=True, said_recorded_offset__isnull=True)
                | Q(said_recorded_at__isnull=False, said_recorded_offset__isnull=False),
                name="%(class)s_recorded_with_offset",
            ),
        ]

    def __str__(self) -> str:
        return f"{self._meta.verbose_name} {self.entry_id}"


class Taught(Entry):
    """An entry that may have an instructor: the name and certificate as written.

    ``instructor_kind`` is the signing authority if it is not a flight instructor's. ``instructor_user`` is
    the school's instructor with that certificate, if any.
    """

    instructor_name = models.TextField(null=True, blank=True)  # noqa: DJ001
    instructor_certificate = models.TextField(null=True, blank=True)  # noqa: DJ001
    instructor_kind = models.TextField(null=True, blank=True)  # noqa: DJ001
    instructor_user = models.ForeignKey(
        "training.User", on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    class Meta(Entry.Meta):
        abstract = True
        constraints = [
            *Entry.Meta.constraints,
            models.CheckConstraint(
                condition=Q(instructor_name__isnull=False) | Q(instructor_certificate__isnull=True),
                name="%(class)s_certificate_has_a_name",
            ),
            models.CheckConstraint(
                condition=Q(instructor_kind__isnull=True)
                | Q(instructor_name__isnull=False, instructor_kind__in=OTHER_INSTRUCTORS),
                name="%(class)s_instructor_kind_is_known",
            ),
        ]
