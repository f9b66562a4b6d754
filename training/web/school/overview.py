"""The school at a glance."""

import datetime as dt
import zoneinfo
from typing import Any

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from training.models import LessonRecord
from training.presenters.amounts import hours as in_hours
from training.presenters.days import instant
from training.reports.instructing import Hours
from training.services.school import glance
from training.web.school import aircraft
from training.web.shared.opening import Opened, administered
from training.web.shared.report_presenter import State, day

#: Days after which an unsigned lesson is listed. No regulation has such a number.
OLD = (3, 8)


@administered("GET")
def overview(opened: Opened) -> HttpResponse:
    """Students by stage and milestone, expirations, unsigned lessons, instructors, the newest checkpoint."""
    found = glance.of(opened.school, by=opened.user, at=opened.at)
    zone = zoneinfo.ZoneInfo(opened.school.time_zone)
    ages = [days for _, days in found.drafts]
    most = max((each.students for each in found.stages), default=0)
    return opened.page(
        "overview",
        "overview",
        glance=found,
        today=day(found.on),
        oldest=day(found.oldest) if found.oldest and found.oldest != found.on else "",
        stages=[
            {"row": each, "share": round(100 * each.students / most) if most else 0} for each in found.stages
        ],
        milestones=found.milestones,
        ahead=glance.AHEAD,
        back=glance.BACK,
        lapses=[
            {"row": each, "day": day(each.last_day), "left": _left((each.last_day - found.on).days)}
            for each in found.lapses[: glance.MOST_NAMED]
        ],
        aircraft=[
            {"row": each, "day": day(each.last), "state": aircraft.state(each.last, found.on)}
            for each in found.aircraft
        ],
        more_lapses=max(0, len(found.lapses) - glance.MOST_NAMED),
        ages=[
            {"words": _("up to three days"), "number": sum(each <= OLD[0] for each in ages)},
            {"words": _("four days to a week"), "number": sum(OLD[0] < each < OLD[1] for each in ages)},
            {"words": _("longer than a week"), "number": sum(each >= OLD[1] for each in ages)},
        ],
        drafts=[_draft(opened, *each) for each in found.drafts[: glance.MOST_NAMED]],
        more_drafts=max(0, len(found.drafts) - glance.MOST_NAMED),
        instructors=[_instructor(each) for each in found.instructors],
        checkpoint=found.checkpoint,
        sealed_at=instant(dt.datetime.fromisoformat(found.checkpoint.at), zone) if found.checkpoint else "",
    )


def _draft(opened: Opened, each: LessonRecord, days: int) -> dict[str, Any]:
    begun = day(opened.school.day(each.created_at))
    return {"row": each, "days": days, "begun": begun, "old": days >= OLD[1]}


def _instructor(each: glance.Duty) -> dict[str, Any]:
    return {
        "role": each.role,
        "hours": _hours(each.hours),
        "state": _exceeded(each.hours),
        "ratings": each.ratings,
        "recent": day(each.role.recent_experience_until),
        "recent_state": _recent(each.days_left),
    }


def _left(days: int) -> str:
    if days == 0:
        return _("expires today")
    if days == 1:
        return _("expires tomorrow")
    return ngettext("%(number)s day to go", "%(number)s days to go", days) % {"number": days}


def _hours(hours: Hours | None) -> str:
    """The hours given and their limit; rounded up, so that no excess is hidden."""
    if hours is None:
        return _("none given")
    sure, possible = hours.tally.sure.amount, hours.tally.possible.amount
    most = in_hours(hours.rule.params["most"])
    if sure == possible:
        return _("%(have)s of %(need)s") % {"have": in_hours(sure, up=True), "need": most}
    both = {"least": in_hours(sure, up=True), "most": in_hours(possible, up=True), "limit": most}
    return _("%(least)s to %(most)s of %(limit)s") % both


def _exceeded(hours: Hours | None) -> State:
    if hours is None or hours.exceeded is False:
        return State("yes", "✓", _("within the limit"))
    if hours.exceeded:
        return State("no", "✗", _("over the limit (%(citation)s)") % {"citation": hours.rule.cite.section})
    return State("open", "?", _("unknown, off and on are missing"))


def _recent(days: int | None) -> State:
    if days is None:
        return State("open", "?", _("not recorded"))
    if days < 0:
        return State("no", "✗", _("ended"))
    return State(
        "open" if days <= glance.AHEAD else "yes", "◷" if days <= glance.AHEAD else "✓", _("valid through")
    )
