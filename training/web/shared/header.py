"""The header's links: the pages that a person opens every day, by the person's roles."""

from typing import Any

from django.template import Context, Library
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from training.models import Role
from training.services import access

register = Library()

#: The name of each link's URL, and its words, in the order of the header.
WORDS = {
    "today": _("Today"),
    "home": _("My progress"),
    "schools": _("School"),
    "students": _("Students"),
    "logbook": _("Logbook"),
    "endorsements": _("Endorsements"),
    "reminders": _("Reminders"),
}
_STAFF = {
    **dict.fromkeys(("today", "logbook", "endorsements"), Role.Kind.INSTRUCTOR),
    "schools": Role.Kind.ADMINISTRATOR,
}
_STUDENTS = ("home", "reminders")


@register.simple_tag(takes_context=True)
def links(context: Context) -> list[dict[str, Any]]:
    """The links of a signed-in user, with the current page marked; for others none. One query."""
    request = context.get("request")
    user = getattr(request, "user", None)
    if request is None or user is None or not user.is_authenticated:
        return []
    roles = access.roles(user)
    own = Role.Kind.STUDENT in roles and roles.isdisjoint(_STAFF.values())
    everybody = _STUDENTS if own else [each for each in WORDS if each != "home"]
    here = request.resolver_match.url_name if request.resolver_match else ""
    return [
        {"href": reverse(each), "words": WORDS[each], "here": each == here}
        for each in everybody
        if each not in _STAFF or _STAFF[each] in roles
    ]
