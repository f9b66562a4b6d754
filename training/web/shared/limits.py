"""The fields of the limits of solo flight, on an endorsement and in the school's settings."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_noop as _

#: What a solo flight may be limited to, by the key of the limit.
LIMITS: Mapping[str, str] = {
    "wind": _("Wind at most (kt, gusts included)"),
    "gust": _("Gusts above the wind at most (kt)"),
    "crosswind": _("Crosswind at most (kt, gusts included)"),
    "ceiling": _("Ceiling at least (ft)"),
    "visibility": _("Visibility at least (SM)"),
    "distance": _("Distance from departure at most (NM)"),
    "earliest": _("No takeoff before (such as 09:00)"),
    "latest": _("Back by (such as 17:00)"),
    "days_since_dual": _("Days since a flight with an instructor at most"),
    "daylight_margin": _("Back before evening civil twilight ends by (min)"),
}


def limits_of(typed: Mapping[str, str]) -> dict[str, Any]:
    """The limits that were typed; days are a number."""
    said: dict[str, Any] = {key: text for key, text in typed.items() if text}
    days = said.get("days_since_dual", "")
    return said | ({"days_since_dual": int(days)} if days.isdecimal() else {})
