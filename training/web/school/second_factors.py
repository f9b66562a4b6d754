"""A person lost every passkey, app and code: an administrator lets the password alone open the account."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from training.models import Role
from training.services import second_factor
from training.services.errors import Conflict, NotAllowed
from training.web.school import people
from training.web.school.opening import Opened, administered, asked_anew, in_words


@require_http_methods(["GET", "HEAD", "POST"])
@administered
def remove(opened: Opened, pk: int) -> HttpResponse:
    """What would go, and why; done once the administrator has shown again who is asking."""
    found = people.role_of(opened, pk)
    return asked_anew(opened, lambda: _remove(opened, found))


def _remove(opened: Opened, found: Role) -> HttpResponse:
    user, post = found.user, opened.request.POST
    fault = second_factor.whoever_may_not(user, opened.user)
    reason = str(post.get("reason", ""))
    if opened.request.method == "POST" and not fault:
        try:
            done = second_factor.remove(user, reason, by=opened.user, at=opened.at)
        except second_factor.RemovalError as problem:
            fault = in_words(problem)
        except (NotAllowed, Conflict) as refused:
            fault = str(refused)
        else:
            said = _("Second factor of %(person)s reset. The password alone now opens the account.") % {
                "person": user
            }
            messages.success(
                opened.request,
                said
                + " "
                + ngettext("%(number)d session has ended.", "%(number)d sessions have ended.", done.sessions)
                % {"number": done.sessions},
            )
            if done.told:
                messages.success(opened.request, _("The person was notified by e-mail."))
            else:
                messages.error(opened.request, _("The e-mail could not be sent. Tell the person yourself."))
            return redirect("school-person", opened.school.slug, found.pk)
    return opened.page(
        "second_factor",
        "people",
        status=422 if fault and opened.request.method == "POST" else 200,
        role=found,
        held=held_in_words(found),
        why_not=second_factor.whoever_may_not(user, opened.user),
        fault=fault if opened.request.method == "POST" else "",
        reason=reason,
        most=second_factor.MOST_REASON,
    )


def held_in_words(role: Role) -> list[str]:
    """What the account asks for besides the password; empty for nothing."""
    held = second_factor.of(role.user)
    said = []
    if number := held["webauthn"]:
        said.append(ngettext("%(number)d passkey", "%(number)d passkeys", number) % {"number": number})
    if held["totp"]:
        said.append(_("an authenticator app"))
    if held["recovery_codes"]:
        said.append(_("recovery codes"))
    return said
