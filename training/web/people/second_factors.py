"""An administrator removes a person's second factors after the person lost all of them."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from training.models import Role
from training.services.people import second_factor
from training.web.people import people
from training.web.shared.forms import Form, Reason
from training.web.shared.opening import Opened, administered, asked_anew


class Reset(Form):
    reason = Reason(_("Reason, and how you verified the person"), most=second_factor.MOST_REASON, rows=3)


@administered("GET", "POST")
def remove(opened: Opened, pk: int) -> HttpResponse:
    """GET: what would be removed, and why. POST: remove it after re-authentication."""
    found = people.role_of(opened, pk)
    return asked_anew(opened, lambda: _remove(opened, found))


def _remove(opened: Opened, found: Role) -> HttpResponse:
    user = found.user
    form = Reset.bind(opened.request)
    if not form.submit(lambda reason: second_factor.remove(user, reason, by=opened.user, at=opened.at)):
        return opened.page(
            "second_factor",
            "people",
            status=form.status,
            role=found,
            held=held_in_words(found),
            why_not=second_factor.whoever_may_not(user, opened.user),
            form=form,
        )
    sessions = form.result.sessions
    said = [
        gettext("Second factor of %(person)s reset. The password alone now opens the account.")
        % {"person": user},
        ngettext("%(number)d session has ended.", "%(number)d sessions have ended.", sessions)
        % {"number": sessions},
    ]
    said.append(gettext("The person gets an e-mail about it."))
    messages.success(opened.request, " ".join(said))
    return redirect("school-person", opened.school.slug, found.pk)


def held_in_words(role: Role) -> list[str]:
    """The account's second factors in words; empty if it has none."""
    held = second_factor.of(role.user)
    said = []
    if number := held["webauthn"]:
        said.append(ngettext("%(number)d passkey", "%(number)d passkeys", number) % {"number": number})
    if held["totp"]:
        said.append(gettext("an authenticator app"))
    if held["recovery_codes"]:
        said.append(gettext("recovery codes"))
    return said
