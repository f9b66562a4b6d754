"""The words of the reasons of a solo release: what is asked of the flight on the day."""

from __future__ import annotations

from collections.abc import Mapping


def _(words: str) -> str:
    """Mark words for translation, as in ``reason_words``."""
    return words


REASONS: Mapping[str, str] = {
    "release.says": _("%(says)s"),
    "release.not-covered": _("Not covered by these rules: %(why)s"),
    "release.no-law": _("What %(authority)s asks of a solo flight on the day is not covered by these rules"),
    "release.over": _("The planned takeoff is past: plan the flight again"),
    "release.early": _("A release that is signed now would end before the planned takeoff"),
    "release.not-over": _("The takeoff is still ahead"),
    "release.visibility": _("Visibility at %(place)s: %(have)s (%(source)s); at least %(need)s"),
    "release.ceiling": _("Ceiling at %(place)s: %(have)s (%(source)s); at least %(need)s"),
    "release.flight-visibility": _("Visibility in flight: %(have)s; at least %(need)s"),
    "release.conditions": _("The endorsement given on %(day)s says: %(conditions)s"),
    "release.paper": _("%(title)s: valid through %(day)s"),
    "release.paper-kept": _("%(title)s: on record"),
    "release.other-model": _("The school has this aircraft on record as a %(model)s"),
    "release.paper-not-needed": _("%(title)s: expired on %(day)s. This flight does not need it"),
    "release.paper-ended": _("%(title)s: expired on %(day)s"),
    "release.no-groundings": _("The aircraft is not grounded"),
    "release.grounded": _("The aircraft is grounded: %(why)s"),
    "release.defect": _("Open defect: %(why)s"),
    "release.weather": _("Every report that was given can be used"),
    "release.limit-wind": _("Wind at %(place)s: %(have)s; at most %(limit)s"),
    "release.limit-gust": _("Gusts above the wind at %(place)s: %(have)s; at most %(limit)s"),
    "release.limit-crosswind": _("Crosswind at %(place)s: %(have)s; at most %(limit)s"),
    "release.limit-distance": _("Farthest from home: %(have)s; at most %(limit)s"),
    "release.limit-earliest": _("Takeoff at %(have)s; not before %(limit)s"),
    "release.limit-latest": _("Back at %(have)s; not after %(limit)s"),
    "release.limit-days-since-dual": _(
        "Days since the last flight with an instructor: %(have)s; at most %(limit)s"
    ),
    "release.limit-daylight-margin": _(
        "Back at %(have)s; %(limit)s before the end of evening civil twilight at the latest"
    ),
    "release.ask-confirm": _("the instructor's confirmation"),
    "release.ask-surface": _("the class of the airspace at the surface of %(place)s"),
    "release.ask-weather": _("a report or a forecast of %(place)s"),
    "release.ask-element": _("the %(element)s: %(report)s does not say it"),
    "release.ask-runway": _("the runway at %(place)s"),
    "release.ask-position": _("the position of each place of the route"),
    "release.ask-dual": _("a flight with an instructor on record"),
    "release.ask-paper": _("%(title)s: when it was done or issued last"),
    "release.ask-groundings": _("whether the aircraft is grounded or has an open defect"),
    "release.weather-unreadable": _("a report that can be read, in place of %(report)s"),
    "release.weather-elsewhere": _("a report of an airport of the route: %(report)s is of another"),
    "release.weather-old": _("a newer report: %(report)s is older than 75 minutes"),
    "release.weather-ahead": _("the right time of %(report)s, which lies ahead"),
    "release.forecast-ends": _("a forecast for the whole flight: %(report)s does not cover it"),
    "release.no-declination": _(
        "the wind at %(place)s from true north: the magnetic model does not cover that day"
    ),
}
