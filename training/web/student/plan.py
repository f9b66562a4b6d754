"""The form of a planned solo flight."""

import datetime as dt
import re
from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from syllabus.engine.errors import Error
from training.models import Aircraft, Student
from training.presenters.entry import place
from training.services.fleet import groundings
from training.services.releases.release_check import ReleaseError
from training.web.school.groundings import shown
from training.web.shared.forms import Choice, Day, Form, Lines, Text

_CLOCK = re.compile(r"(\d{1,2}):?(\d{2})")
_NUMERIC = {"inputmode": "numeric", "placeholder": "1405"}
_NUMBER = {"inputmode": "decimal"}
_UPPER = {"autocapitalize": "characters", "spellcheck": "false"}


#: Weather that somebody read or heard at the airport of departure, by the key of the typed weather.
_TYPED = ("wind_from", "wind_reference", "wind", "gust", "visibility", "ceiling", "flight_visibility")
_NONE = "none"


class Plan(Form):
    """One solo flight as planned; times in the school's zone."""

    places = {"weather": "reports", "aircraft": "registration", "via_class_b": "class_b"}

    id = forms.UUIDField(widget=forms.HiddenInput)
    replaces = forms.UUIDField(widget=forms.HiddenInput, required=False)
    registration = Choice(_("Aircraft"))
    route = Text(
        _("Route"), required=True, widget=forms.TextInput(attrs={**_UPPER, "placeholder": "KGRB KMTW KGRB"})
    )
    date = Day(_("Day"), required=True, widget=forms.TextInput(attrs={"type": "date"}))
    off = Text(_("Takeoff"), required=True, widget=forms.TextInput(attrs=_NUMERIC))
    on = Text(_("Return"), required=True, widget=forms.TextInput(attrs=_NUMERIC))
    class_b = Text(_("Class B areas entered"), help_text=_("Separate several with commas."))
    reports = Lines(
        _("METAR and TAF, pasted"),
        widget=forms.Textarea(attrs={"rows": 4, **_UPPER}),
        help_text=_("Each report on its own line."),
    )

    runways = Text(
        _("Runways to be used"),
        widget=forms.TextInput(attrs={**_UPPER, "placeholder": "KGRB 18, KMTW 35"}),
        help_text=_("An airport and its runway; separate several with commas."),
    )
    observed = Text(_("Observed at"), widget=forms.TextInput(attrs=_NUMERIC))
    wind_from = Text(_("Wind from (degrees; blank if variable)"), widget=forms.TextInput(attrs=_NUMBER))
    wind_reference = Choice(_("Direction of the wind from"))
    wind = Text(_("Wind (kt)"), widget=forms.TextInput(attrs=_NUMBER))
    gust = Text(_("Gusts (kt)"), widget=forms.TextInput(attrs=_NUMBER))
    visibility = Text(_("Visibility (SM)"), widget=forms.TextInput(attrs=_NUMBER))
    ceiling = Text(_("Ceiling (ft), or none"))
    flight_visibility = Text(_("Visibility in flight (SM)"), widget=forms.TextInput(attrs=_NUMBER))

    def __init__(self, data: Any = None, *, student: Student, **more: Any) -> None:
        super().__init__(data, **more)
        self.fields["wind_reference"].required = False
        self.offer(
            "wind_reference",
            [
                ("", ""),
                ("true", gettext("true north")),
                ("magnetic", gettext("magnetic north (tower, ATIS)")),
            ],
        )
        self.crafts = {
            each.registration: each for each in Aircraft.objects.filter(school=student.school, device="")
        }
        grounded = groundings.open_at(student.school)
        self.offer(
            "registration",
            [
                (name, " · ".join([f"{name} {each.model}", *shown(grounded.get(each.pk, []))]))
                for name, each in self.crafts.items()
            ],
        )

    def refuse(self, message: str, place: str = "") -> None:
        super().refuse(message, place.removeprefix("flight."))

    def flight(self, zone: dt.tzinfo) -> dict[str, Any]:
        """The flight as the engine reads it. Raises: ReleaseError for times that cannot be read."""
        said = self.cleaned_data
        off = _instant("off", said["date"], said["off"], zone)
        on = _instant("on", said["date"], said["on"], zone)
        if on <= off:
            on += dt.timedelta(days=1)
        craft = self.crafts.get(said["registration"])
        metars, tafs = reports_of(said["reports"])
        found = {
            "aircraft": {
                "registration": said["registration"],
                **({"model": craft.model, "category": craft.category, "class": craft.klass} if craft else {}),
            },
            "route": said["route"].upper().replace("-", " ").split(),
            "off": off.isoformat(),
            "on": on.isoformat(),
            "via_class_b": [each.strip() for each in said["class_b"].split(",") if each.strip()],
            "weather": {key: each for key, each in (("metars", metars), ("tafs", tafs)) if each},
            "runways": _runways(said["runways"]),
        }
        if typed := {key: said[key] for key in _TYPED if said[key]}:
            if typed.get("ceiling", "").lower() == _NONE:
                typed |= {"ceiling": None, "no_ceiling": True}
            seen = _instant("observed", said["date"], said["observed"], zone).isoformat()
            found["weather"]["typed"] = [{"at": found["route"][0], "observed": seen, **typed}]
        return {key: value for key, value in found.items() if value}


def _runways(said: str) -> dict[str, Any]:
    """Runways by airport. Raises: ReleaseError for what is no airport with a runway."""
    found = {}
    for each in filter(None, (each.strip().upper() for each in said.split(","))):
        airport, _space, runway = each.partition(" ")
        if not runway:
            message = gettext("%(said)r is no airport with its runway. Enter it as KGRB 18.")
            raise ReleaseError([Error("runways", message % {"said": each[:20]})])
        found[airport] = {"name": runway.strip()}
    return found


def _instant(name: str, on: dt.date, said: str, zone: dt.tzinfo) -> dt.datetime:
    found = _CLOCK.fullmatch(said)
    try:
        if found:
            return dt.datetime.combine(on, dt.time(int(found[1]), int(found[2])), tzinfo=zone)
    except ValueError:
        pass
    raise ReleaseError(
        [Error(name, gettext("%(said)r is not a time of day. Enter it as 14:05.") % {"said": said[:20]})]
    )


def reports_of(text: str) -> tuple[list[str], list[str]]:
    """METARs and TAFs of a pasted text. A line that begins no report continues the one before it."""
    metars: list[str] = []
    tafs: list[str] = []
    current = metars
    begun = False
    for line in (" ".join(each.split()) for each in text.splitlines()):
        if not line:
            begun = False
            continue
        is_taf = line.startswith("TAF")
        begins = is_taf or line.startswith(("METAR", "SPECI")) or not begun
        if begins or (current is metars and re.match(r"[A-Z]{4} \d{6}Z", line)):
            current = tafs if is_taf else metars
            current.append(line)
        else:
            current[-1] += f" {line}"
        begun = True
    return metars, tafs


def fields_of(flight: Mapping[str, Any], zone: dt.tzinfo) -> dict[str, Any]:
    """The form's fields of a planned flight, for the next one."""
    off, on = (dt.datetime.fromisoformat(flight[key]).astimezone(zone) for key in ("off", "on"))
    weather = flight.get("weather", {})
    return {
        "registration": flight["aircraft"].get("registration", ""),
        "route": " ".join(place(each) for each in flight["route"]),
        "date": off.date(),
        "off": f"{off:%H:%M}",
        "on": f"{on:%H:%M}",
        "class_b": ", ".join(flight.get("via_class_b", ())),
        "runways": ", ".join(f"{key} {each['name']}" for key, each in flight.get("runways", {}).items()),
        "reports": "\n".join([*weather.get("metars", ()), *weather.get("tafs", ())]),
    }
