"""The people the tests borrow: Ida instructs, Sam studies with her, Otto studies elsewhere.

Ada administers the school of Ida and Sam. Otto's instructor is Olaf, and Otto may see nothing of Sam's.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from tests.support import factories
from training import models

IDAS_CERTIFICATE = "0000001CFI"


@dataclass
class Cast:
    school: models.School
    ida: models.User
    ada: models.User
    sam: models.Student
    elsewhere: models.School
    olaf: models.User
    otto: models.Student

    @property
    def sams_account(self) -> models.User:
        assert self.sam.user
        return self.sam.user

    @property
    def ottos_account(self) -> models.User:
        assert self.otto.user
        return self.otto.user


def cast() -> Cast:
    """Both schools with their people; needs the database."""
    here = factories.school(name="Lakeside Flying", slug="lakeside")
    ida = factories.instructor(
        here, name="Ida Example", email="ida@lakeside.example", certificate=IDAS_CERTIFICATE
    )
    ada = factories.administrator(here, name="Ada Example", email="ada@lakeside.example")
    sam = factories.student(
        here,
        taught_by=ida,
        name="Sam Example",
        birth_date=dt.date(2006, 5, 17),
        training_model="C172",
        user=factories.user(name="Sam Example", email="sam@lakeside.example"),
    )
    elsewhere = factories.school(name="Hilltop Flying", slug="hilltop")
    olaf = factories.instructor(elsewhere, name="Olaf Example", email="olaf@hilltop.example")
    otto = factories.student(
        elsewhere,
        taught_by=olaf,
        name="Otto Example",
        user=factories.user(name="Otto Example", email="otto@hilltop.example"),
    )
    return Cast(here, ida, ada, sam, elsewhere, olaf, otto)
