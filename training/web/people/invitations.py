"""Invitations: sent again and withdrawn on the school's people page, answered by whoever is invited."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.forms import SetPasswordForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from training.models import Invitation, User
from training.services.errors import Conflict
from training.services.people import invitations
from training.web.shared.forms import posted, texts_of
from training.web.shared.opening import Opened, SignedIn, administered, signed_in
from training.web.shared.report_presenter import day


def shown(listed: Any, at: Any) -> list[dict[str, Any]]:
    """What a page says of each."""
    return [
        {
            "row": each,
            "role": invitations.role_name(each),
            "expires": day(each.school.day(each.expires)),
            "expired": each.expired(at),
        }
        for each in listed
    ]


@administered("POST")
def again(opened: Opened, pk: int) -> HttpResponse:
    found = invitations.renew(opened.school, pk, by=opened.user, at=opened.at)
    return opened.done(invitations.send(opened.request, found), "school-people")


@administered("POST")
def withdraw(opened: Opened, pk: int) -> HttpResponse:
    found = invitations.withdraw(opened.school, pk, by=opened.user, at=opened.at)
    return opened.done(
        gettext("Invitation of %(email)s withdrawn.") % {"email": found.email}, "school-people"
    )


@signed_in("POST")
def accept(request: SignedIn, pk: int) -> HttpResponse:
    """Take up what is offered to the address of one's account."""
    try:
        found = invitations.accept(pk, by=request.user, at=timezone.now())
    except Conflict as refused:
        messages.error(request, str(refused))
        return redirect("security")
    said = {"school": found.school.name, "role": invitations.role_name(found)}
    messages.success(request, gettext("You are now %(role)s at %(school)s.") % said)
    return redirect("home")


@signed_in("POST")
def decline(request: SignedIn, pk: int) -> HttpResponse:
    """Turn down what is offered to the address of one's account."""
    _declined(request, invitations.decline(pk, by=request.user, at=timezone.now()))
    return redirect("security")


def _declined(request: HttpRequest, found: Invitation) -> None:
    messages.success(request, gettext("Invitation to %(school)s declined.") % {"school": found.school.name})


class Join(SetPasswordForm):
    """The first password of the account that the invitation makes."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **{"auto_id": "%s", "label_suffix": "", **more})
        self.fields["new_password1"].label = _("New password")
        self.fields["new_password2"].label = _("Repeat new password")
        self.fields["new_password2"].help_text = ""


@sensitive_post_parameters("new_password1", "new_password2")
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def open_link(request: HttpRequest, key: str) -> HttpResponse:
    """What an invitation's link opens: the page Security of the address's account, else the way to one."""
    at = timezone.now()
    found = invitations.by_link(key, at)
    if found is None:
        return render(request, "training/account/invitation.html", {"invitation": None}, status=404)
    if isinstance(request.user, User):
        if request.user.email != found.email:
            said = gettext(
                "This invitation was sent to another e-mail address. Sign out, then open it again."
            )
            messages.error(request, said)
        return redirect("security")
    if User.objects.filter(email=found.email).exists():
        return redirect(f"/login/?next={request.path}")
    return _join(request, found, at)


def _join(request: HttpRequest, found: Invitation, at: Any) -> HttpResponse:
    if texts_of(request, "decline"):
        invitations.turn_down(found, at=at)
        _declined(request, found)
        return redirect("home")
    form = Join(User(email=found.email, name=found.name), posted(request))
    if form.is_valid():
        invitations.join(found, form.cleaned_data["new_password1"], at=at)
        messages.success(request, gettext("Account created. Sign in with your e-mail address."))
        return redirect("login")
    told = {"invitation": found, "role": invitations.role_name(found), "form": form}
    return render(request, "training/account/invitation.html", told, status=422 if form.errors else 200)
