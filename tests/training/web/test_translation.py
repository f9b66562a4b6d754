"""Every text of a page is ready for translation, and the language is the person's.

What stays in English is data: the rules' words and citations, what people wrote, the engine's reasons, what
the services answer to pages and programs alike, and codes.
"""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
import time_machine
import yaml
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP
from django.apps import apps
from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import translation
from django.utils.http import int_to_base36

from syllabus.engine.record import vocabulary
from syllabus.engine.rules.kinds import KINDS
from syllabus.law import rulebook
from tests.support import courses, pseudo, releasing
from tests.support.cast import Cast
from tests.support.catalogues import compiled
from tests.support.passkeys import Passkey
from tests.training.web.instructor.test_instructor import FLIGHT, begun, fields_of
from training import models, reports
from training.reports import progress
from training.services.audit import findings
from training.services.endorsements import endorsements
from training.services.operations import demo
from training.services.people import invitations, people
from training.web.help import library
from training.web.shared import report_presenter

WEB = Path(settings.BASE_DIR) / "training" / "web"
TEMPLATES = sorted(each for each in (WEB / "templates").rglob("*") if each.suffix in (".html", ".txt"))
PRESENTERS = WEB.parent / "presenters"
PROGRAMS = sorted(
    each
    for folder in (WEB, PRESENTERS)
    for each in folder.rglob("*.py")
    if each.name not in ("health.py", "requests.py")
)
SCRIPTS = sorted((WEB / "static").rglob("*.js"))
#: Of templates: names of files' forms.
CODES = {"CSV", "XLSX"}
#: Of Python: the name that stands in authenticator apps, examples, and words of the record's own vocabulary.
WORDS = {
    "Student pilot training record",
    "KGRB KMTW",
    "KGRB KMTW KGRB",
    "eligibility of every milestone",
    "progress and next lesson",
    "single-engine land",
    "a parameter is written 'counts: dual'",
}


#: Of scripts: names of elements and classes, and what ends in the console.
NAMES = {
    '"great secondary"',
    '"input, textarea, select, [contenteditable]"',
    '"no answer"',
}


def named(path: Path) -> str:
    return str(path.relative_to(WEB.parent))


# As it is written


@pytest.mark.parametrize("template", TEMPLATES, ids=named)
def test_a_template_says_nothing_but_through_gettext(template: Path) -> None:
    assert set(pseudo.fixed(template.read_text())) <= CODES


@pytest.mark.parametrize("program", PROGRAMS, ids=named)
def test_a_page_says_nothing_but_through_gettext(program: Path) -> None:
    assert set(pseudo.literals(program.read_text())) <= WORDS


@pytest.mark.parametrize("script", SCRIPTS, ids=named)
def test_a_script_says_nothing_but_through_gettext(script: Path) -> None:
    assert set(pseudo.scripted(script.read_text())) <= NAMES


@pytest.mark.parametrize(
    ("look", "written"),
    [
        (pseudo.fixed, "<p>{% if a %}Not marked{% endif %}</p>"),
        (pseudo.fixed, '<a aria-label="Not marked {{ a }}">{% translate "marked" %}</a>'),
        (pseudo.fixed, '{{ a|default:"Not marked" }}'),
        (pseudo.literals, "def page():\n    return f'Not marked {a}'"),
        (pseudo.scripted, 'tell(gettext("is (marked"), "Not marked");'),
        (pseudo.scripted, "tell(`Not marked ${name}`);"),
        (pseudo.outside, "<p>«Marked <b>marked»</b> Not marked</p>"),
        (pseudo.outside, '<p title="Not marked">«Marked»</p>'),
    ],
)
def test_a_text_that_is_not_marked_is_found(look: Callable[[str], list[str]], written: str) -> None:
    [found] = look(written)
    assert "Not marked" in found


# As it is answered

AT = dt.datetime(2026, 11, 24, 18, tzinfo=dt.UTC)
#: What answers with a file, with JSON, or to a form alone; and other names of an address.
NO_PAGES = {
    "accept-invitation", "account_login", "account_logout", "account_reauthenticate", "acknowledge",
    "aircraft-grounding-end", "airports", "audit-report", "audit-run", "audit-table", "audit-workbook",
    "calendar",
    "decline-invitation", "end_session", "end_tokens",
    "endorsement-sticker", "endorsements-paper", "entry-sticker",
    "hand-over", "home", "lead-times", "lesson-begin", "lesson-check",
    "lesson-correct", "lesson-paper", "logout", "manifest", "mfa_index", "mfa_list_webauthn",
    "mfa_login_webauthn", "notice", "openid_connect_callback", "openid_connect_login",
    "record-document", "record-paper", "reminder", "reminder-calendar",
    "reminder-preferences", "request-answer", "request-withdraw",
    "school-aircraft-check", "school-aircraft-model-add",
    "school-aircraft-model-unlink", "school-assign", "school-attest", "school-course-file",
    "school-course-publish", "school-enrol", "school-enrolment-end", "school-guardian",
    "school-guardian-account", "school-guardian-account-end", "school-hold-release",
    "school-student-account",
    "school-import-columns", "school-invitation-again", "school-invitation-withdraw",
    "school-mail-retry", "school-mail-retry-one", "school-mail-test",
    "school-minimum-end", "school-person-end", "school-person-mail",
    "school-unassign", "schools", "solo-release-end", "solo-release-sheet", "tablet-airports",
    "tablet-decisions", "tablet-pack", "tablet-token", "unlink", "words", "worker",
}  # fmt: skip


def addresses() -> set[str]:
    """The names of all addresses of pages."""

    def walk(listed: Iterable[Any]) -> Iterable[str]:
        for each in listed:
            if isinstance(each, URLResolver):
                yield from walk(each.url_patterns)
            elif isinstance(each, URLPattern) and each.name:
                yield each.name

    return set(walk(get_resolver("training.web.urls").url_patterns))


def taught_by(student: models.Student) -> str:
    """Who instructs one of the demo's students, as ``Visitors`` calls them."""
    held = models.Assignment.objects.filter(models.Assignment.in_force(AT.date()), student=student)
    return held.latest("starts").instructor.email.partition("@")[0]


def key_of(school: models.School) -> str:
    """What the link of an invitation to the demo's school ends with; Bo is invited there once more."""
    ada = models.User.objects.get(email="ada@flying.example")
    said = {"by": ada, "at": AT, "kind": "administrator"}
    people.invite(school, name="Bo", email="bo@flying.example", **said)
    invited = people.invite(school, name="Nora", email="nora@flying.example", **said)
    return invitations.link(invited).rpartition("/invitations/")[2].rstrip("/")


def pages() -> dict[str, list[tuple[str, str]]]:
    """For each name of an address who looks, and at what; needs the demo's school."""
    lena, theo = demo.ref("lena"), demo.ref("theo")
    school = models.School.objects.get()
    signed = models.LessonRecord.objects.filter(student__ref=lena, state="signed").first()
    replaced = models.LessonRecord.objects.filter(correction__isnull=False).first() or signed
    draft = models.LessonRecord.objects.filter(state="draft").order_by("pk").first()
    given = models.EndorsementSeal.objects.filter(student__ref=lena).first()
    enrolled = models.Enrolment.objects.filter(student__ref=lena, course_version__isnull=False).first()
    teacher = models.Role.objects.get(user__email="ida@flying.example")
    found = models.Finding.objects.first()
    assert signed
    assert replaced
    assert draft
    assert given
    assert found
    assert enrolled
    assert enrolled.course_version
    version = enrolled.course_version
    hers, drafts = taught_by(enrolled.student), taught_by(draft.student)
    omar = models.Student.objects.get(ref=demo.ref("omar"))
    bo = models.User.objects.get(email="bo@flying.example")
    passkey = Authenticator.objects.get(user=bo, type="webauthn").pk
    key = f"{int_to_base36(bo.pk)}-{default_token_generator.make_token(bo)}"
    solo = models.SoloRelease.objects.create(
        school=school, student=enrolled.student, by=enrolled.student.user, at=AT, flight=releasing.FLIGHT
    )
    craft = models.Aircraft.objects.filter(school=school, device="").first()
    assert craft
    here, teach = f"/school/{school.slug}", f"/teach/{lena}"
    address = f"{version.course.code}@{version.course.school_ref}" if version.course.school_ref else ""
    course = f"{here}/courses/{address or version.course.code}/{version.number}/"
    leaves = ("flights", "ground", "grades", "papers", "endorsements", "milestones")
    return {
        "account_change_password": [("bo", "/account/password/")],
        "account_reset_password": [("", "/password/")],
        "account_reset_password_done": [("", "/password/sent/")],
        "account_reset_password_from_key": [("", f"/password/{key}/")],
        "account_reset_password_from_key_done": [("", "/password/set/")],
        "aircraft": [("ida", f"/aircraft/{craft.pk}/")],
        "audit": [("ada", "/audit/"), ("ada", "/audit/?state=&severity=serious")],
        "changes": [("theo", f"/students/{theo}/changes/")],
        "endorse": [(hers, f"{teach}/endorse/")],
        "endorse-kind": [
            (hers, f"{teach}/endorse/solo-90-day/"),
            (hers, f"{teach}/endorse/solo-90-day/?aircraft_model=C172&training_date=2026-11-24"),
        ],
        "endorsement-revoke": [(hers, f"{teach}/endorsements/{given.endorsement.entry_id}/revoke/")],
        "endorsements": [("ida", "/endorsements/")],
        "fleet": [("ida", "/aircraft/")],
        "finding": [("ada", f"/audit/findings/{found.ref}/")],
        "help": [("", "/help/"), ("ida", "/help/?q=zebra")],
        "help-page": [("", each.address) for each in library.PAGES],
        "hours": [("theo", f"/students/{theo}/hours/")],
        "invitation": [("", f"/invitations/{key_of(school)}/"), ("bo", "/account/")],
        "lesson": [
            ("lena", f"/students/{lena}/lessons/{signed.pk}/"),
            ("ada", f"/students/{replaced.student.ref}/lessons/{replaced.pk}/"),
        ],
        "lesson-sealed": [(hers, f"{teach}/lessons/{signed.pk}/sealed/")],
        "lesson-sheet": [(drafts, f"/teach/{draft.student.ref}/lessons/{draft.pk}/")],
        "lesson-sign": [(drafts, f"/teach/{draft.student.ref}/lessons/{draft.pk}/sign/")],
        "lessons": [("lena", f"/students/{lena}/lessons/")],
        "logbook": [("ida", "/logbook/")],
        "papers": [(taught_by(models.Student.objects.get(ref=lena)), f"/teach/{lena}/documents/")],
        "requests": [("lena", f"/students/{lena}/requests/")],
        "login": [("", "/login/")],
        "mfa_activate_totp": [("ida", "/account/app/")],
        "mfa_add_webauthn": [("ida", "/account/passkeys/add/")],
        "mfa_authenticate": [("half of bo", "/login/second/")],
        "mfa_deactivate_totp": [("bo", "/account/app/remove/")],
        "mfa_edit_webauthn": [("bo", f"/account/passkeys/{passkey}/")],
        "mfa_generate_recovery_codes": [("bo", "/account/recovery-codes/new/")],
        "mfa_reauthenticate": [("bo", "/account/confirm/code/"), ("bo", "/account/confirm/")],
        "mfa_reauthenticate_webauthn": [("bo", "/account/confirm/passkey/")],
        "mfa_remove_webauthn": [("bo", f"/account/passkeys/{passkey}/remove/")],
        "mfa_view_recovery_codes": [("bo", "/account/recovery-codes/")],
        "not-covered": [("", "/problems/not-covered")],
        "milestones": [("", "/milestones/"), ("", "/"), ("", "/nothing/")],
        "own-record": [("ada", f"/audit/instructors/{teacher.pk}/")],
        "own-records": [("ada", "/audit/instructors/")],
        "reminders": [("ida", "/reminders/"), ("lena", "/reminders/")],
        "reminders-ahead": [("ada", "/reminders/ahead/")],
        "school": [("ada", f"{here}/")],
        "school-aircraft": [("ada", f"{here}/aircraft/")],
        "school-course": [("ada", course)],
        "school-courses": [("ada", f"{here}/courses/")],
        "school-enrolment-move": [("ada", f"{here}/students/{lena}/enrolments/{enrolled.ref}/move/")],
        "school-erase": [("ada", f"{here}/students/{theo}/erase/")],
        "school-import": [("ada", f"{here}/students/{lena}/import/")],
        "school-mail": [("ada", f"{here}/mail/")],
        "school-minimums": [("ada", f"{here}/minimums/")],
        "school-aircraft-models": [("ada", f"{here}/aircraft-models/")],
        "school-settings": [("ada", f"{here}/settings/")],
        "school-people": [("ada", f"{here}/people/")],
        "school-person": [("ada", f"{here}/people/{teacher.pk}/")],
        "school-person-add": [
            ("ada", f"{here}/people/add/?role={each}") for each in ("student", "instructor", "administrator")
        ],
        "school-person-second-factor": [("ada", f"{here}/people/{teacher.pk}/second-factor/")],
        "school-record": [("ada", f"{here}/students/{lena}/record/?leaf={each}") for each in leaves],
        "school-retention": [("ada", f"{here}/students/{theo}/retention/")],
        "solo-release": [
            ("lena", f"/students/{lena}/releases/{solo.pk}/"),
            (hers, f"/students/{lena}/releases/{solo.pk}/"),
        ],
        "solo-release-plan": [("lena", f"/students/{lena}/releases/plan/")],
        "solo-releases": [("lena", f"/students/{lena}/releases/")],
        "school-student": [("ada", f"{here}/students/{lena}/"), ("ada", f"{here}/students/{theo}/")],
        "school-students": [("ada", f"{here}/students/"), ("ada", f"{here}/students/?q=zzz")],
        "search": [("ada", "/search/?q=lena"), ("ida", "/search/")],
        "sign-in-events": [("bo", "/account/events/")],
        "school-sign-in-events": [("ada", f"{here}/people/events/")],
        "security": [("bo", "/account/"), ("lena", "/account/")],
        "since-yesterday": [("ida", "/since-yesterday/")],
        "standing": [(each, f"/students/{demo.ref(each)}/standing/") for each in ("tove", "lena", "theo")],
        "student": [(hers, f"/students/{lena}/"), ("theo", f"/students/{theo}/?on=nonsense")],
        "student-logbook": [("theo", f"/students/{theo}/logbook/"), ("lena", f"/students/{lena}/logbook/")],
        "students": [("ida", "/students/"), ("ada", "/students/")],
        "tablet": [("ida", "/tablet/")],
        "teach": [(hers, f"{teach}/"), (taught_by(omar), f"/teach/{omar.ref}/")],
        "today": [("ida", "/today/"), ("bo", "/today/")],
    }


def data() -> set[str]:
    """What is data on the pages: every text in the database, of the rules, and of what the reports answer."""
    found: set[str] = set()
    for model in apps.get_models():
        for row in model._default_manager.values():
            found.update(each for value in row.values() for each in pseudo.leaves(value))
    for file in (Path(settings.BASE_DIR) / "syllabus").rglob("*.yaml"):
        found.update(pseudo.leaves(yaml.safe_load(file.read_text())))
    for student in models.Student.objects.all():
        for milestone in reports.overview(student, AT.date()).milestones:
            found.update(pseudo.leaves(milestone.report.as_json()))
        if stands := progress.standing(student, AT.date()):
            found.update(pseudo.leaves(progress.next_json(stands.next)))
    found.update((*CODES, *vocabulary.CATEGORIES, *vocabulary.CLASSES, *rulebook.current().milestones))
    found.update(each.replace("_", " ") for each in KINDS)
    for each in library.PAGES:  # whose pages are written in English alone
        found.update((each.title, *pseudo.outside(each.html())))
    found |= {each.replace("-", " ") for each in found}  # a code, as a page shows it
    return found


#: Beside these: what the services and reports say in sentences of their own, to pages and programs alike.
SERVICES = re.compile(
    r"was added|is of age|changed from|corrected|removed|the status of|because the record|because time|"
    r"as the school recorded it|is not met|within 0.3 nm|relies on|complete the course|is not a date|"
    r"must name it|is enrolled|so until|\bc[ds]t\b|\butc\b"
)
_BREAKS = re.compile(
    r"[0-9]{4}-[01][0-9]-[0-3][0-9]|\b[a-z]+(?:\.[a-z]+)*(?:\.[a-z]-|\.)[0-9]{2} \(|[()\n;:·–,]|\. "
)


class Data:
    """Tells a run of words that is data, whole or in pieces."""

    def __init__(self, texts: Iterable[str]):
        whole = {_plain(each) for each in texts}
        pieces = {_plain(part) for each in texts for part in _BREAKS.split(each)}
        self.known = {each for each in whole | pieces if each}
        # Only what is long, or of several words, is looked for inside of a text.
        inside = (each for each in self.known if len(each) >= 12 or " " in each)
        self.inside = sorted(inside, key=len, reverse=True)

    def left(self, run: str) -> list[str]:
        """What of a run is no data; empty where all of it is."""
        run = _plain(run)
        if run in self.known or SERVICES.search(run):
            return []
        found = []
        for part in map(_plain, _BREAKS.split(run)):
            for each in self.inside if part not in self.known else ():
                if each in part:
                    part = part.replace(each, " ")
            words = [each for each in part.split() if each not in self.known and pseudo.LETTERS.search(each)]
            if part not in self.known and any(len(each) > 2 and each.isalpha() for each in words):
                found.append(part)
        return found


def _plain(text: str) -> str:
    return " ".join(text.split()).strip(" .;:,·–()").lower()


class Visitors:
    """Who looks at the pages, each signed in once; nobody for an empty name."""

    def __init__(self) -> None:
        self.clients: dict[str, Client] = {"": Client()}

    def __getitem__(self, name: str) -> Client:
        if name not in self.clients:
            client = self.clients[name] = Client()
            person = name.rpartition(" ")[2]
            if name == person and person == "lena":
                client.force_login(models.User.objects.get(email=f"{person}@flying.example"))
                return client
            sent = {"login": f"{person}@flying.example", "password": "one"}
            assert client.post("/login/", sent).status_code == 302
            client.post("/account/confirm/", {"password": "one"})
        return self.clients[name]


@pytest.fixture
def open_school(db: None) -> Visitors:
    """The demo's school, audited, with second factors on the account of one instructor."""
    demo.load(AT.date(), at=AT, password="one")
    school = models.School.objects.get()
    ada = models.User.objects.get(email="ada@flying.example")
    findings.recompute(school, AT.date(), at=AT, by=ada, via="web")
    lena = models.Student.objects.get(ref=demo.ref("lena"))
    teaches = models.User.objects.get(email=f"{taught_by(lena)}@flying.example")
    said = {"aircraft_model": "C172", "training_date": "2026-11-24"}
    endorsements.give(lena, uuid.uuid4(), "solo-90-day", said, by=teaches, at=AT, via="web")
    visitors = Visitors()
    with time_machine.travel(AT, tick=False):
        assert visitors["bo"]
        bo = models.User.objects.get(email="bo@flying.example")
        TOTP.activate(bo, "JBSWY3DPEHPK3PXP")
        RecoveryCodes.activate(bo)
        Passkey().added_to(bo)
    return visitors


def test_every_address_is_no_page_or_is_in_the_language_in_use(open_school: Visitors) -> None:
    looked_at = pages()
    assert looked_at.keys() | NO_PAGES == addresses()
    assert not looked_at.keys() & NO_PAGES
    known = Data(data())
    left: list[str] = []
    with time_machine.travel(AT, tick=False):
        for listed in looked_at.values():
            for who, path in listed:
                with pseudo.spoken():
                    answer = open_school[who].get(path, follow=path.startswith("/password/"))
                page = answer.content.decode()
                wanted = 404 if path == "/nothing/" else 422 if "nonsense" in path else 200
                assert answer.status_code == wanted, f"{who} {path}: {answer}"
                assert '<html lang="qps"' in page, path
                found = [part for run in pseudo.outside(page) for part in known.left(run)]
                left += [f"{path} as {who or 'nobody'}: {each}" for each in found]
    assert not left, "\n".join(left)


# In whose language

GERMAN = {"Milestones": "Meilensteine"}


@pytest.fixture
def two_languages(settings: Any, tmp_path: Path) -> None:
    """German besides English, from a catalogue of a few words."""
    settings.LANGUAGES = [("en", "English"), ("de", "Deutsch")]
    settings.LOCALE_PATHS = [str(compiled(tmp_path, "de", GERMAN))]


def test_with_one_language_nobody_is_asked_for_theirs(client: Client, people: Cast) -> None:
    client.force_login(people.ida)
    answer = client.get("/reminders/", headers={"Accept-Language": "de"})
    page = answer.content.decode()
    assert answer["Content-Language"] == "en"
    assert '<html lang="en">' in page
    assert 'name="language"' not in page


@pytest.mark.usefixtures("two_languages")
def test_a_page_is_in_the_language_of_the_profile(client: Client, people: Cast) -> None:
    client.force_login(people.ida)
    before = client.get("/milestones/").content.decode()
    assert '<html lang="en">' in before
    assert "Meilensteine" not in before
    sent = {"quiet_from": "21:00", "quiet_until": "07:00", "email": "on", "language": "de"}
    client.post("/reminders/preferences/", sent)
    answer = client.get("/milestones/", headers={"Accept-Language": "en"})
    page = answer.content.decode()
    assert answer["Content-Language"] == "de"
    assert '<html lang="de">' in page
    assert "Meilensteine" in page
    assert "/words/de.js" in page
    # The rules' own words are data, and stay as they were published.
    assert rulebook.current().milestones["faa.first-solo"].title in page
    # Who sends the form without a language keeps theirs.
    del sent["language"]
    client.post("/reminders/preferences/", sent)
    assert models.ReminderPreferences.objects.get().language == "de"


@pytest.mark.usefixtures("two_languages")
def test_whoever_is_not_signed_in_reads_the_browsers_language(client: Client, db: None) -> None:
    page = client.get("/milestones/", headers={"Accept-Language": "de-CH,de;q=0.9"})
    assert page["Content-Language"] == "de"
    assert "Accept-Language" in page["Vary"]
    assert "Meilensteine" in page.content.decode()
    assert client.get("/milestones/", headers={"Accept-Language": "fr"})["Content-Language"] == "en"


@pytest.mark.usefixtures("two_languages")
def test_a_language_there_is_not_is_refused_with_its_name(client: Client, people: Cast) -> None:
    client.force_login(people.ida)
    sent = {"quiet_from": "21:00", "quiet_until": "07:00", "language": "tlh"}
    told = client.post("/reminders/preferences/", sent, follow=True).content.decode()
    assert "tlh" in told
    assert not models.ReminderPreferences.objects.exists()


@pytest.mark.usefixtures("two_languages")
def test_the_tablets_page_is_kept_in_the_language_of_the_profile(client: Client, people: Cast) -> None:
    client.force_login(people.ida)
    models.ReminderPreferences.objects.create(user=people.ida, language="de")
    worker = client.get("/worker.js").content.decode()
    [shell] = re.findall(r'SHELL = "([^"]+)"', worker)
    assert '"/words/de.js"' in worker
    # It is fetched by nobody in particular, whatever language the browser is set to.
    page = Client().get(shell, headers={"Accept-Language": "en"}).content.decode()
    assert '<html lang="de">' in page


@pytest.mark.parametrize("language", ["en", "xx", "../../etc", "%00"])
def test_the_words_of_the_scripts_come_as_a_script(client: Client, db: None, language: str) -> None:
    answer = client.get(f"/words/{language}.js")
    if "/" in language:
        assert answer.status_code == 404
        return
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("text/javascript")
    assert "django.gettext" in answer.content.decode()


@pytest.mark.parametrize(
    ("language", "written"), [("en", "5 Jul 2026"), ("de", "5. Juli 2026"), ("fr", "5 juillet 2026")]
)
def test_a_day_is_written_as_the_language_writes_it(language: str, written: str) -> None:
    with translation.override(language):
        assert report_presenter.day(dt.date(2026, 7, 5)) == written


@pytest.mark.parametrize(
    ("own", "said"),
    [("", "since 3 Mar 2026, 12:00 CST"), ("Asia/Tokyo", "since 4 Mar 2026, 03:00 JST")],
    ids=["the school's zone", "one's own"],
)
def test_a_time_is_that_of_the_persons_zone(client: Client, people: Cast, own: str, said: str) -> None:
    models.ReminderPreferences.objects.create(user=people.ida, time_zone=own)
    with time_machine.travel(dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC), tick=False):
        client.force_login(people.ida)
        assert said in client.get("/account/").content.decode()


# What is sealed knows no language


def test_nothing_of_a_pages_language_gets_into_the_record(client: Client, people: Cast) -> None:
    """From Today to the sealed lesson in brackets: none is in any table, but in what is kept of pages."""
    people.ida.set_password("a fine day for it")
    people.ida.save()
    courses.enrolled(people)
    with time_machine.travel(dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC), tick=False), pseudo.spoken():
        client.force_login(people.ida)
        record = begun(client, people)
        sheet = reverse("lesson-sheet", args=[people.sam.ref, record.pk])
        fields = fields_of(client.get(sheet).content.decode())
        sent = {**fields, **FLIGHT, "item-0-grade": "practice", "then": "sign"}
        answer = client.post(sheet, sent)
        assert answer.status_code == 302
        record.refresh_from_db()
        confirmed = {"content_hash": record.content_hash, "confirm_password": "a fine day for it"}
        assert client.post(answer["Location"], confirmed).status_code == 302
    assert models.SignOff.objects.count() == 1
    for model in apps.get_models():
        if model is Session:
            continue
        for row in model._default_manager.values():
            texts = [each for value in row.values() for each in pseudo.leaves(value)]
            assert not [each for each in texts if pseudo.OPENS in each], model
