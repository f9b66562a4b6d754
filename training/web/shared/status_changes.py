"""Milestones whose status changed since yesterday, in words, for the students the user may see."""

import datetime as dt
from collections import defaultdict

from django.http import HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from training.services.school import status_changes
from training.services.school.status_changes import ChangedMilestone
from training.web.shared.opening import SignedIn, show, signed_in
from training.web.shared.report_presenter import State, day


@signed_in("GET")
def listed(request: SignedIn) -> HttpResponse:
    """Each student with a changed milestone today, and the changes."""
    at = timezone.now()
    found = status_changes.seen_by(request.user, at, via="web")
    by_student: dict[int, list[ChangedMilestone]] = defaultdict(list)
    for each in found:
        by_student[each.student.pk].append(each)
    told = {
        "students": [
            {
                "student": mine[0].student,
                "changes": [
                    {"title": each.title, "state": State.of(each.after["met"]), "words": words(each)}
                    for each in mine
                ],
            }
            for mine in by_student.values()
        ],
        "all": len(found) < status_changes.MOST,
    }
    return show(request, "training/status_changes.html", told)


def words(change: ChangedMilestone) -> str:
    """The status now and before: ``met until 3 Mar 2027; before, 2 requirements were missing``."""
    said = {"now": _now(change.after)}
    if change.before is None:
        return _("%(now)s; not checked before") % said
    return _("%(now)s; before, %(before)s") % {**said, "before": _before(change.before)}


def _now(short: dict[str, object]) -> str:
    until, gaps = _until(short), _gaps(short)
    if short["met"]:
        return _("met through %(day)s") % {"day": until} if until else _("met, with no end date")
    if short["met"] is None and not gaps:
        return _("not covered by these rules")
    if short["met"] is None:
        return ngettext("unknown: %(n)d requirement needs more facts",
                        "unknown: %(n)d requirements need more facts", gaps) % {"n": gaps}  # fmt: skip
    return ngettext("%(n)d requirement is not met", "%(n)d requirements are not met", gaps) % {"n": gaps}


def _before(short: dict[str, object]) -> str:
    until, gaps = _until(short), _gaps(short)
    if short["met"]:
        return _("it was met through %(day)s") % {"day": until} if until else _("it was met with no end date")
    if short["met"] is None and not gaps:
        return _("it was not covered by these rules")
    if short["met"] is None:
        return ngettext("%(n)d requirement was unknown",
                        "%(n)d requirements were unknown", gaps) % {"n": gaps}  # fmt: skip
    return ngettext("%(n)d requirement was not met", "%(n)d requirements were not met", gaps) % {"n": gaps}


def _until(short: dict[str, object]) -> str:
    until = short["eligible_until"]
    return day(dt.date.fromisoformat(str(until))) if until else ""


def _gaps(short: dict[str, object]) -> int:
    gaps = short["gaps"]
    return gaps if isinstance(gaps, int) else 0
