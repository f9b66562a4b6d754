"""A school with its first administrator, by someone with the server's command line."""

import datetime as dt

from allauth.account.forms import default_token_generator
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Model
from django.urls import reverse

from syllabus.engine.errors import Error, InputError
from training.models import Role, School, User
from training.services.errors import Conflict, errors_of
from training.services.people import people


class SetupError(InputError):
    """What was given cannot be a school or a person."""

    what = "the school and its administrator"


@transaction.atomic
def add(school: School, *, name: str, email: str, at: dt.datetime) -> User:
    """Store a new school, and give a person the role of its administrator.

    The person gets an account, unless there is one of that address, which keeps its name and password.

    Raises: SetupError with every error; Conflict if the school exists or the account is closed.
    """
    if there := School.objects.filter(slug=school.slug).first():
        raise Conflict(
            f"{there.name} is set up already, with the short name {there.slug}. Its administrators add "
            "people on the page People."
        )
    email = email.strip().lower()
    person = User(email=email, name=name.strip())
    errors = [
        *_errors("school", school, "rules_version"),
        *_errors("administrator", person, "password"),
        *([] if person.name else [Error("administrator.name", "is blank; enter the name to show")]),
    ]
    if errors:
        raise SetupError(errors)
    school.save()
    # The operator of the command line is trusted with the address: nobody can invite yet.
    user = User.objects.filter(email=email).first() or User.objects.create_user(email, None, name=person.name)
    if not user.is_active:
        raise Conflict(f"The account of {email} is closed. Reopen it, or name another administrator.")
    Role.objects.create(school=school, user=user, role=Role.Kind.ADMINISTRATOR)
    people.note(school, None, "administrator added", at, user=user, after={"name": user.name})
    return user


def _errors(where: str, row: Model, but: str) -> list[Error]:
    """The errors of the row's own checks, each at its field. Uniqueness is checked elsewhere."""
    try:
        row.full_clean(exclude=[but], validate_unique=False, validate_constraints=False)
    except ValidationError as wrong:
        return [Error(f"{where}.{each.place}", each.message) for each in errors_of(wrong)]
    return []


def first_password(user: User) -> str:
    """The address where the owner of an account sets its password: once, and within three days."""
    key = default_token_generator.make_token(user)
    named = {"uidb36": user_pk_to_url_str(user), "key": key}
    return f"{settings.PUBLIC_ADDRESS}{reverse('account_reset_password_from_key', kwargs=named)}"
