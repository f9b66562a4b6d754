"""Pages of sign-in events: a person's own, and those of a school's people for its administrators."""

import zoneinfo
from typing import Any

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext, gettext_lazy

from training.models import SignInEvent
from training.presenters.days import instant
from training.services.people import sign_ins
from training.services.reminders import preferences
from training.web.shared.opening import Opened, SignedIn, administered, signed_in

AT_ONCE = 50
_WORDS = {
    "signed-in": gettext_lazy("signed in"),
    "sign-in-failed": gettext_lazy("wrong password"),
    "locked": gettext_lazy("locked after too many attempts"),
    "signed-out": gettext_lazy("signed out"),
    "password-set": gettext_lazy("new password set"),
    "factor-added": gettext_lazy("second factor added"),
    "factor-removed": gettext_lazy("second factor removed"),
    "factor-used": gettext_lazy("second factor used"),
    "factor-failed": gettext_lazy("second factor not accepted"),
    "token-made": gettext_lazy("API token created"),
    "token-ended": gettext_lazy("API token ended"),
    "role": gettext_lazy("role"),
}
_ABOUT = {
    "totp": gettext_lazy("authenticator app"),
    "webauthn": gettext_lazy("passkey"),
    "recovery_codes": gettext_lazy("recovery codes"),
}


def _page(request: HttpRequest, events: QuerySet[SignInEvent], zone: str) -> dict[str, Any]:
    page = Paginator(events, AT_ONCE).get_page(request.GET.get("page"))
    shown = [
        {
            "row": each,
            "at": instant(each.at, zoneinfo.ZoneInfo(zone)),
            "what": _WORDS[each.what],
            "about": _ABOUT.get(each.about, each.about),
            "where": ", ".join(filter(None, (each.ip, each.program)))
            or (gettext("the server's command line") if each.via == "command" else ""),
        }
        for each in page.object_list
    ]
    return {"page": page, "events": shown, "days": sign_ins.KEPT.days}


@signed_in("GET")
def own(request: SignedIn) -> HttpResponse:
    page = _page(request, sign_ins.of(request.user), preferences.zone_of(request.user))
    return render(request, "training/account/sign_ins.html", page)


@administered("GET")
def of_school(opened: Opened) -> HttpResponse:
    events = sign_ins.at_school(opened.school)
    return opened.page("sign_ins", "people", **_page(opened.request, events, opened.school.time_zone))
