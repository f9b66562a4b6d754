"""The words of every reason, by its code: in English, and marked for translation.

A reason is said in one place only, so the API's text and every page have the same words. Its values stand
in them by name; how a value is written is the edge's.
"""

from __future__ import annotations

from collections.abc import Mapping

from syllabus.engine.rules import release_words


def _(words: str) -> str:
    """Mark words for translation; the engine itself knows no language."""
    return words


#: Every code with its words, by what it is about.
REASONS: Mapping[str, str] = {
    "several": "%(reasons)s",
    # who gave it, and who vouches for it
    "entry.only-claimed": _("someone who saw the document and attests it: the entry is only claimed"),
    "entry.not-on-day": _("%(gave)s, not on %(day)s"),
    "instructor.none": _("no instructor is named"),
    "instructor.none-for-dual": _("no instructor is named for the dual time"),
    "instructor.no-flight-training": _("by a %(instructor)s instructor, who gives no flight training"),
    "instructor.may-not-give": _("given by a %(instructor)s instructor, who may not give it"),
    "instructor.no-authority": _("%(name)s had no authority to instruct on %(day)s, by the school's records"),
    # until when something is valid
    "holds.through": _("valid through %(day)s"),
    "holds.no-end": _("valid with no end date"),
    # items and their grades
    "item.at-standard": _("%(item)s %(grade)s"),
    "item.below-standard": _("%(item)s: newest grade is %(grade)s"),
    "item.no-instructor": _("%(item)s: no instructor is named"),
    "item.other-instructor": _("%(item)s: by a %(instructor)s instructor"),
    "item.only-claimed": _("who attests %(grade)s of %(item)s: it is only claimed"),
    "item.order-unknown": _("which grade of %(item)s on %(day)s was the later one"),
    "item.not-graded": _("Not graded yet: %(items)s."),
    "grade.no-dual": _(
        "which is right: %(item)s graded as trained, and %(flight)s, which has no dual flight time"
    ),
    "grade.other-day": _("which is right: %(item)s graded on %(graded)s, and %(flight)s, flown on %(flown)s"),
    "grade.other-category": _(
        "which is right: %(item)s for a %(category)s, and %(flight)s, flown in a %(flown)s"
    ),
    "grade.engines-unknown": _(
        "whether %(item)s was shown in a single-engine airplane; %(flight)s was %(flown)s"
    ),
    "grade.before-training": _(
        "which is right: %(item)s graded on %(graded)s, and the first training, of %(first)s"
    ),
    # times that are added up
    "time.before-window": _("flown %(flown)s, before the window that opens %(opens)s"),
    "time.over-device-credit": _("%(over)s over the %(most)s a device may add"),
    "time.over-clock": _("which is right: %(logged)s logged, and %(most)s at most on the clock"),
    "time.overlap-unknown": _("how much of the time was %(times)s at once"),
    "time.night-not-logged": _("%(computed)s of night computed from off and on, but none is logged"),
    "time.night-differs": _(
        "%(flight)s: %(logged)s of night logged, %(computed)s computed from off and on; the logged time"
        " counts."
    ),
    "time.not-preparation": _("not logged as preparation for the %(test)s practical test"),
    "device.no-flight-time": _("time in a device (%(device)s) is not flight time"),
    "device.no-training": _("time in a device (%(device)s) counts only as training from an instructor"),
    "device.other-class": _("a device for a %(represents)s, and the rule credits one for %(credited)s"),
    "device.other-category": _("a device for a %(represents)s, and the rule credits one for a %(credited)s"),
    "device.category-unknown": _("the category that the device represents"),
    "device.no-letter": _("no letter of authorization for this %(device)s was in force"),
    "device.letter-unknown": _("the letter of authorization for the %(device)s (a document %(document)s)"),
    "device.no-credit": _("the rule gives no credit for a %(device)s"),
    # the aircraft
    "aircraft.category-unknown": _("the aircraft's category"),
    "aircraft.class-unknown": _("the aircraft's class"),
    "aircraft.no-airplane": _("%(flown)s, but the rule requires an airplane"),
    "aircraft.not-single-engine": _("%(flown)s, but the rule requires a single-engine airplane"),
    "model.same-unknown": _("whether %(given)s and %(wanted)s are the same make and model"),
    # routes, distances and trips
    "route.unknown": _("the route"),
    "route.position-unknown": _("the position of %(places)s"),
    "route.no-landing-away": _("no landing away from %(origin)s is on the route"),
    "route.landing-short": _(
        "no landing more than %(limit)s from %(origin)s; the farthest, %(farthest)s, is %(distance)s"
    ),
    "route.landing-near-limit": _(
        "%(flight)s: %(place)s is %(distance)s from the point of departure, within 0.3 NM of the limit,"
        " %(limit)s; have the instructor check."
    ),
    "trip.route-unknown": _("the route of %(entries)s, a part of trip %(trip)s"),
    "trip.order-unknown": _(
        "the off times of trip %(trip)s, without which the order of its entries is not known"
    ),
    "trip.gap": _("trip %(trip)s ends at %(ends)s and %(entry)s starts at %(starts)s"),
    "trip.not-one-flight": _(
        "trip %(trip)s is not one flight: in no order does each entry start where the one before ended"
    ),
    # facts that cannot both be true
    "conflict.night-by-day": _(
        "which is right: %(night)s of night are logged, and by the Sun it was day from %(start)s to %(end)s"
        " along %(route)s"
    ),
    "conflict.night-landings-by-day": _(
        "which is right: night landings are logged, and by the Sun it was day from %(start)s to %(end)s"
        " along %(route)s"
    ),
    "conflict.night-landing-by-day": _(
        "which is right: a night landing at %(at)s, and by the Sun it was day there at %(time)s"
    ),
    "conflict.no-night-time": _("which is right: takeoffs or landings at night, and no night time logged"),
    "conflict.landings-off-route": _(
        "which is right: landings at %(at)s, and the route %(route)s does not go there"
    ),
    "conflict.foreign-instructor": _(
        "which is right: an instructor authorized by another country, and %(place)s, which is in this one"
    ),
    "conflict.category": _("which is right: %(logged)s, and %(model)s, which is a %(known)s"),
    "conflict.class": _("which is right: %(logged)s, and %(model)s, which is %(known)s"),
    "conflict.two-places": _(
        "which is right: nobody is in two places at once (%(one)s %(one_start)s to %(one_end)s and"
        " %(other)s %(other_start)s to %(other_end)s)"
    ),
    # one flight
    "flight.no-dual": _("no dual time is logged"),
    "flight.no-solo": _("no solo time is logged"),
    "flight.no-night": _("no night time is logged"),
    "flight.night-route-unknown": _("night time (none is logged, and the route has no known position)"),
    "flight.part-at-night": _(
        "%(flight)s: %(night)s of %(total)s were at night; the rule does not say how much of the flight"
        " must be."
    ),
    "flight.total-more-than": _("total straight-line distance %(distance)s; more than %(limit)s is required"),
    "flight.total-at-least": _("total straight-line distance %(distance)s; at least %(limit)s is required"),
    "flight.leg-more-than": _("longest leg %(distance)s; more than %(limit)s is required"),
    "flight.leg-at-least": _("longest leg %(distance)s; at least %(limit)s is required"),
    "flight.total-near-limit": _(
        "%(flight)s: total straight-line distance is %(distance)s, within 0.3 NM of the limit, %(limit)s;"
        " the positions and the earth model decide; have the instructor check."
    ),
    "flight.leg-near-limit": _(
        "%(flight)s: longest leg is %(distance)s, within 0.3 NM of the limit, %(limit)s;"
        " the positions and the earth model decide; have the instructor check."
    ),
    "flight.landing-near-limit": _(
        "%(flight)s: the farthest landing is %(distance)s, within 0.3 NM of the limit, %(limit)s;"
        " the positions and the earth model decide; have the instructor check."
    ),
    "flight.cross-country-unclear": _(
        "%(why)s; whether that is a cross-country flight is for the instructor and the examiner to settle"
    ),
    "flight.cross-country-unclear-under": _(
        "%(why)s; whether that is a cross-country flight under %(citation)s is for the instructor and the"
        " examiner to settle"
    ),
    "stop.full-unknown": _("whether the landing at %(at)s was a full stop"),
    "stop.landing-unknown": _("the landing at %(at)s, and whether it was a full stop"),
    "stop.too-few": _("full stops at %(stops)s points (%(places)s); %(need)s are required"),
    "stop.one": _("full stops at 1 point (%(places)s); %(need)s are required"),
    "stop.none": _("no full stops; %(need)s are required"),
    # takeoffs and landings, with the place where one is on record
    "landing.in-device": _("made in a device"),
    "takeoff.period-unknown": _("whether the takeoffs were by day or night"),
    "takeoff.period-unknown-at": _("whether the takeoffs at %(at)s were by day or night"),
    "takeoff.pattern-unknown": _("whether the takeoffs involved a flight in the traffic pattern"),
    "takeoff.pattern-unknown-at": _(
        "whether the takeoffs at %(at)s involved a flight in the traffic pattern"
    ),
    "landing.period-unknown": _("whether the landings were by day or night"),
    "landing.period-unknown-at": _("whether the landings at %(at)s were by day or night"),
    "landing.pattern-unknown": _("whether the landings involved a flight in the traffic pattern"),
    "landing.pattern-unknown-at": _(
        "whether the landings at %(at)s involved a flight in the traffic pattern"
    ),
    "landing.tower-unknown": _("whether the control tower was operating"),
    "landing.tower-unknown-at": _("whether the control tower at %(at)s was operating"),
    "landing.full-stop-unknown": _("whether the landings were to a full stop"),
    "landing.full-stop-unknown-at": _("whether the landings at %(at)s were to a full stop"),
    "landing.no-full-stop": _("the landings were not to a full stop"),
    "landing.no-full-stop-at": _("the landings at %(at)s were not to a full stop"),
    "landing.no-pattern": _("no flight in the traffic pattern"),
    "landing.no-pattern-at": _("no flight in the traffic pattern at %(at)s"),
    # what the question says, and what an entry names
    "context.aircraft-model": _("the make and model asked about"),
    "context.category": _("the category asked about"),
    "context.class": _("the class asked about"),
    "context.airport": _("the airport asked about"),
    "context.area": _("the airspace area asked about"),
    "context.route": _("the airports of the flight asked about"),
    "named.aircraft-model": _("the make and model it is for"),
    "named.category": _("the category it is for"),
    "named.class": _("the class it is for"),
    "named.airport": _("the airport it is for"),
    "named.area": _("the airspace area it is for"),
    "named.route": _("the route it is for"),
    "named.test": _("the test it is for"),
    "named.flight-date": _("the date of the flight it is for"),
    "named.other": _("for %(given)s; the question is about %(wanted)s"),
    # endorsements
    "endorsement.given": _("given %(given)s, %(until)s"),
    "endorsement.standing": _("in force, %(until)s"),
    "endorsement.for-airport": _("%(airport)s, %(until)s"),
    "endorsement.for-flight": _("for the flight of %(flown)s"),
    "endorsement.for-test": _("given %(given)s for %(test)s"),
    "endorsement.ended": _("given %(given)s, after it had expired on %(ended)s"),
    "endorsement.too-late": _("given %(given)s, not in time for the flight of %(flown)s"),
    "endorsement.own": _("whether the instructor is the student; nobody may endorse themselves"),
    "endorsement.test-later": _(
        "whether the test was passed before %(given)s; on record it was passed on %(passed)s"
    ),
    "endorsement.training-older": _(
        "a training flight on %(start)s: the newest on record is older, and the days count from it"
    ),
    "endorsement.home-unknown": _("whether %(airport)s is the airport where training is given"),
    "endorsement.too-far": _("%(far)s is %(distance)s from %(origin)s; the endorsement reaches %(limit)s"),
    "airport.closed": _("solo flight by a student pilot is barred at %(airport)s, %(place)s"),
    "airport.open": _("%(airport)s is not on the list"),
    # the training that an endorsement rests on
    "training.of-flight": _("%(flight)s: %(what)s"),
    "training.none": _("no training that it relies on is on record up to %(last)s"),
    "training.none-since": _("no training that it relies on is on record from %(opens)s up to %(last)s"),
    "training.none-because": _("%(none)s (%(reasons)s)"),
    "training.not-preparation": _("%(flight)s is not logged as preparation for the %(test)s practical test"),
    "training.other-aircraft": _("%(flight)s was in a %(flown)s"),
    "training.other-model": _("%(flight)s was in the %(flown)s"),
    "training.model-unknown": _("the make and model flown"),
    "training.category-unknown": _("the category of the %(model)s"),
    "training.similar-unknown": _(
        "whether the %(flown)s is similar to the %(wanted)s, which the endorsement does not attest"
    ),
    "training.by-day": _("%(flight)s was not at night"),
    "training.not-at-airport": _("%(flight)s was not at %(airport)s"),
    "training.landings-by-day": _("the landings of %(flight)s at %(airport)s were by day"),
    "training.night-there-unknown": _("whether the night part of the flight was at %(airport)s"),
    "training.instructor-unknown": _("who gave the dual instruction"),
    "training.no-flight-instructor": _(
        "%(flight)s is by a %(instructor)s instructor, who gives no flight training"
    ),
    "training.endorser-unknown": _(
        "whether %(endorser)s, who endorsed, gave the training; this flight is with %(instructor)s"
    ),
    "training.no-flight": _("no training flight %(legs)s is on record up to %(given)s"),
    "training.day-unknown": _("a training flight of %(day)s, the day of training that it names"),
    "training.item-late": _("whether %(item)s was at %(grade)s on %(given)s, when the endorsement was given"),
    "training.items-late": _(
        "whether %(item)s and %(more)s more was at %(grade)s on %(given)s, when the endorsement was given"
    ),
    "training.item-later": _("%(late)s (it was on %(later)s)"),
    "signer.gave": _("%(time)s on %(day)s"),
    "signer.gave-another": _("%(time)s on %(day)s was given by %(instructor)s"),
    "signer.no-lesson": _("a lesson that the signer gave"),
    "signer.no-lesson-on": _("a lesson on %(day)s that the signer gave"),
    "signer.no-lesson-in": _("a lesson that the signer gave in the %(model)s"),
    "signer.no-lesson-on-in": _("a lesson on %(day)s that the signer gave in the %(model)s"),
    # age, certificates, documents, medicals
    "student.birth-date": _("the birth date"),
    "student.born": _("born %(born)s"),
    "certificate.other": _("a %(kind)s certificate; the rule requires one of %(wanted)s"),
    "certificate.no-life": _("issued %(issued)s, a day that the rule does not cover"),
    "medical.class-too-low": _("%(held)s class; %(wanted)s class or better is required"),
    "basicmed.holds": _("BasicMed, %(until)s"),
    "basicmed.no-medical": _("BasicMed needs a medical certificate held after %(day)s"),
    "basicmed.no-course": _("no BasicMed course is valid on the same days"),
    "basicmed.no-examination": _("no BasicMed examination is valid on the same days"),
    "basicmed.license-unknown": _("the driver's license (a document %(document)s)"),
    "basicmed.withdrawn-unknown": _(
        "BasicMed also requires that the newest medical was not withdrawn; the record does not say."
    ),
    # tests
    "test.passed": _("passed %(day)s, %(until)s"),
    "test.passed-with-score": _("passed %(day)s with %(score)s %%, %(until)s"),
    "test.passed-since": _("passed %(day)s, after the failure of %(failed)s"),
    "test.failed": _("failed on %(day)s"),
    "test.failed-later": _("whether the failure of %(day)s in the same model was followed by a pass"),
    "test.result-unknown": _("the result"),
    "test.score-unknown": _("the score, and the codes of what was missed"),
    "test.codes-unknown": _("the deficient codes (the score is %(score)s %%, and none are listed)"),
    "test.result-or-score": _(
        "which is right: the result is %(result)s, the score %(score)s %%, and %(least)s %% passes"
    ),
    "test.full-score": _("a full score, nothing to review"),
    "test.none-lives": _("No knowledge test that is passed and still valid on %(day)s is on record."),
    "review.done": _("reviewed %(codes)s"),
    "review.before-test": _("given %(given)s, before the test of %(test)s"),
    "retest.needed": _("failed on %(day)s; training and an endorsement for a retest come first"),
    "retest.before-failure": _("given %(given)s, before the failure of %(failed)s"),
    "retest.pass-order-unknown": _("whether the pass came after the failure; both are on %(day)s"),
    "retest.order-unknown": _("whether it came after the failure; both are on %(day)s"),
    "retest.no-training": _("no training is on record between the failure of %(failed)s and %(given)s"),
    "retest.instructor-unknown": _("who gave the training after the failure"),
    "retest.other-instructor": _(
        "the training after the failure is by %(instructors)s; the instructor who gave it must endorse"
    ),
    # the next lesson: why it is next, why another is not, and what it takes up
    "lesson.prerequisite-below": _("%(item)s needs %(other)s at %(needed)s; it is at %(grade)s"),
    "lesson.prerequisite-not-graded": _("%(item)s needs %(other)s at %(needed)s; it is not graded yet"),
    "lesson.builds-on": _("builds on lesson %(lesson)s (%(title)s), which is not flown yet"),
    "lesson.not-flown": _("lesson %(lesson)s (%(title)s) is not flown yet"),
    "lesson.asks-more": _("%(item)s is at %(grade)s; lesson %(lesson)s requires %(wanted)s"),
    "lesson.asks-for-grade": _("%(item)s is not graded yet; lesson %(lesson)s requires %(wanted)s"),
    "lesson.not-covered": _("%(milestone)s is not covered by these rules: %(why)s"),
    "lesson.not-open": _("%(milestone)s is not met: %(requirement)s (%(citation)s)"),
    "lesson.before": _("before %(milestone)s: %(requirement)s (%(citation)s)"),
    "lesson.no-prerequisites": _("it has no prerequisites"),
    "lesson.prerequisite-met": _("its prerequisite is met"),
    "lesson.prerequisites-met": _("all of its %(number)s prerequisites are met"),
    "lesson.takes-up": _("includes %(items)s"),
    "lesson.carried-over": _("carried over onto its sheet: %(items)s"),
    "lesson.covers": _("%(milestone)s: %(covers)s"),
    "lesson.long-away": _("longest without practice: %(items)s"),
    "lesson.in-order": _("comes next in the order of the course"),
    "lesson.still-open": _("flown on %(day)s; remaining: %(items)s"),
    "lesson.practice": _("nothing new to start today; practice"),
    "lesson.course-complete": _("Every lesson of the course is complete."),
    "lesson.none-open": _("No lesson of this stage is available today."),
    "lesson.and-more": _("%(reasons)s, and %(more)s more"),
    "lesson.list-and-more": _("%(reasons)s; and %(more)s more"),
    "lesson.item": "%(item)s",
    "lesson.item-at": _("%(item)s (%(grade)s on %(day)s)"),
    "lesson.item-not-graded": _("%(item)s (not graded yet)"),
    "lesson.item-days-ago": _("%(item)s, %(days)s days ago"),
    "lesson.item-below": _("%(item)s (%(grade)s, %(wanted)s required)"),
    "lesson.item-without-grade": _("%(item)s (not graded, %(wanted)s required)"),
    "covers.item": _("%(item)s at %(grade)s"),
    "covers.time": _("%(part)s of the %(remaining)s remaining: %(requirement)s"),
    "covers.flight": _("is designed for %(requirement)s"),
    "sheet.planned": _("planned"),
    "sheet.planned-below": _("planned, and below standard"),
    "sheet.carried-over": _("carried over: required %(asked)s, %(grade)s on %(day)s"),
    "sheet.carried-over-not-graded": _("carried over: required %(asked)s, not graded yet"),
    # what a requirement that is not met or not known still needs
    "gap.remaining": _("%(says)s: %(have)s of %(need)s, %(remaining)s to go (%(citation)s)"),
    "gap.unknown": _("%(says)s: unknown (%(missing)s) (%(citation)s)"),
    "gap.asked": "%(entry)s: %(what)s",
    "gap.fact-missing": _("a fact is missing"),
    # a grade that a lesson's other items prove
    "proof.rests-on": _("relies on %(items)s"),
    # what changed between two times
    "change.came": _("%(entry)s was added."),
    "change.corrected": _("%(entry)s was corrected."),
    "change.corrected-because": _("%(entry)s was corrected: %(why)s."),
    "change.retired": _("%(entry)s was removed."),
    "change.revoked": _("revoked, %(why)s"),
    "change.provenance": _("%(was)s before, %(now)s now"),
    "change.name": _("The name changed from %(was)s to %(now)s."),
    "change.birth-date": _("The birth date changed from %(was)s to %(now)s."),
    "change.none": _("none"),
    "change.requirement": "%(says)s (%(citation)s)",
    "change.by-record": _("%(what)s: changed from %(was)s to %(now)s because the record changed."),
    "change.by-time": _("%(what)s: changed from %(was)s to %(now)s because time passed."),
    "change.summary": _(
        "%(first)s to %(second)s. Entries: %(added)s added, %(corrected)s corrected, %(removed)s removed."
        " Status changes: %(requirements)s of requirements, %(milestones)s of milestones."
    ),
    "status.met": _("met"),
    "status.not-met": _("not met"),
    "status.unknown": _("unknown"),
    "status.amounts": _("%(status)s (%(have)s of %(need)s)"),
    # what the rules of a milestone do not cover
    "scope.no-path": _("%(milestone)s has no path '%(path)s'; its paths are %(written)s."),
    "scope.one-way": _("%(milestone)s has no path '%(path)s'; it has only one path."),
    "scope.unwritten": _("%(milestone)s does not cover %(value)s: %(why)s"),
    "scope.holder": _(
        "%(milestone)s does not cover the holder of a %(certificate)s certificate (%(entry)s): %(why)s"
    ),
    "scope.holder-unwritten": _("these rules have no path for them."),
    "scope.outside": _(
        "%(milestone)s covers %(covers)s. %(value)s has rules of its own, which are not included here."
    ),
    "scope.classes": "%(category)s (%(classes)s)",
    "scope.category": "%(category)s",
    "scope.named": "%(value)s (%(what)s)",
    # why nothing is needed
    "needed.with-airport": _("Needed only when the question names an airport."),
    "needed.after-failure": _("Needed only after a failed test."),
    "needed.not-here": _("Not needed here: %(way)s (%(citation)s)."),
    **release_words.REASONS,
}
