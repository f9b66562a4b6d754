"""The kinds of findings, each in a few words."""

from django.utils.translation import gettext_noop as _

#: The kind of finding for a record that cannot be audited.
NOT_AUDITED = "not-audited"
KINDS = {
    "solo-first": _("Solo outside the days on which it was allowed"),
    "solo-cross-country": _("Solo cross-country outside those days"),
    "solo-night": _("Solo at night outside those days"),
    "solo-class-b": _("Solo in Class B airspace outside those days"),
    "solo-unreleased": _("Solo without a release, or outside it"),
    "release-against": _("Released for a solo flight against the check"),
    "endorsement-authority": _("Endorsement without signing authority"),
    "endorsement-untrained": _("Endorsement without the training on record"),
    "endorsement-early": _("A flight endorsed days ahead"),
    "recommendation-gap": _("Recommended for a test with requirements not met"),
    "result-missing": _("No result in the instructor's own record"),
    "retest-unendorsed": _("Passed a retest without the retest endorsement"),
    "training-hours": _("More training in 24 hours than allowed"),
    "training-lapsed": _("Training by an instructor without recent experience"),
    "training-ratings": _("Training in an aircraft the ratings do not cover"),
    "training-instrument": _("Training for an instrument rating without that rating"),
    "training-oneself": _("Training given to oneself"),
    "instructor-unknown": _("Instructor unknown to the school"),
    "entry-claimed": _("Names an instructor who did not sign"),
    "entry-incomplete": _("Entry without required details"),
    "aircraft-grounded": _("Flown while grounded, or with an open defect"),
    "aircraft-papers": _("Flown with an expired inspection or document"),
    "two-places": _("In two places at once"),
    "lesson-unsigned": _("Lesson not signed"),
    "lesson-unacknowledged": _("Lesson not acknowledged"),
    "record-altered": _("Changed after signing"),
    "school-minimum": _("Below the school's own minimum"),
    NOT_AUDITED: _("Record not audited"),
}
