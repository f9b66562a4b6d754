"""Documents that a student holds or has shown, and tests taken."""

from django.db import models

from training.models.record.entries import Entry, Taught


class Certificate(Entry):
    """A pilot certificate held, such as sport or private."""

    kind = models.TextField()
    issued = models.DateField()
    category = models.TextField(null=True, blank=True)  # noqa: DJ001
    klass = models.TextField("class", null=True, blank=True, db_column="class")  # noqa: DJ001

    class Meta(Entry.Meta):
        ordering = ["issued", "entry_id"]


class Document(Entry):
    """A document that somebody saw. A medical certificate is ``issued`` on the day of the examination."""

    kind = models.TextField()
    issued = models.DateField()
    klass = models.TextField("class", null=True, blank=True, db_column="class")  # noqa: DJ001
    expires = models.DateField(null=True, blank=True)
    aircraft_model = models.TextField(null=True, blank=True)  # noqa: DJ001
    remarks = models.TextField(blank=True)

    class Meta(Entry.Meta):
        ordering = ["issued", "entry_id"]


class Test(Taught):
    """A knowledge or practical test with its result, if known."""

    __test__ = False  # pytest: not a test class

    kind = models.TextField()
    date = models.DateField()
    result = models.TextField(null=True, blank=True)  # noqa: DJ001
    score = models.IntegerField(null=True, blank=True)
    aircraft_model = models.TextField(null=True, blank=True)  # noqa: DJ001
    deficient_codes = models.JSONField(null=True, blank=True, help_text="null: the report was not seen")

    class Meta(Taught.Meta):
        ordering = ["date", "entry_id"]
