"""Passkeys in a real browser with an authenticator of its own: added, signing in, under a signature."""

from __future__ import annotations

import datetime as dt
import pathlib
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from playwright.sync_api import Browser, Page, expect
from pytest_django.live_server_helper import LiveServer

from syllabus.engine.record import record as engine
from tests.support import audits, factories
from tests.support.browsing import PASSWORD, Watched, add_session, sign_in, sign_out, totp
from tests.support.cast import Cast
from tests.support.lessons import CONTENT, take_out
from tests.support.passkeys import Passkey
from training import models, record
from training.ledger.store.export import export
from training.ledger.verify import command
from training.services.lessons import lesson_audit
from training.services.signing import seals
from training.services.signing.reauthentication import content_of

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: Signs in the page of a person who is signed in, by fetch; gives the answers of the API.
SIGN = """async ({ ref, key, content }) => {
  const passkeys = await import("/static/training/passkeys.js");
  const csrf = document.querySelector("[name=csrfmiddlewaretoken]").value;
  const headers = { "Content-Type": "application/json", "X-CSRFToken": csrf };
  const api = async (path, said) => {
    const url = `/api/v1/students/${ref}/lesson-records${path}`;
    const answer = await fetch(url, { method: "POST", headers, body: JSON.stringify(said) });
    return { status: answer.status, ...(await answer.json()) };
  };
  const draft = await api("", { id: key, lesson: "S1-L3", content });
  const hash = draft.content_hash;
  const said = passkeys.statement({ kind: "lesson.signed", subject: ref, about: key, hash });
  const passkey = await passkeys.confirm(said);
  const other = await passkeys.confirm({ ...said, about: ref });
  const refused = await api(`/${key}/sign`, { content_hash: hash, passkey: other });
  const signed = await api(`/${key}/sign`, { content_hash: hash, passkey });
  return { draft, refused, signed };
}"""


class Device:
    """A browser with an authenticator inside it, as a tablet has."""

    def __init__(self, browser: Browser, *, verified: bool = True):
        self.context = browser.new_context()
        self.page = self.context.new_page()
        self.watched = Watched(self.page)
        self.session = self.context.new_cdp_session(self.page)
        self.session.send("WebAuthn.enable")
        made = self.session.send(
            "WebAuthn.addVirtualAuthenticator",
            {
                "options": {
                    "protocol": "ctap2",
                    "transport": "internal",
                    "hasResidentKey": True,
                    "hasUserVerification": True,
                    "isUserVerified": verified,
                    "automaticPresenceSimulation": True,
                }
            },
        )
        self.id = made["authenticatorId"]

    def knows(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.session.send(
            "WebAuthn.getCredentials", {"authenticatorId": self.id}
        )["credentials"]
        return found

    def given_a_passkey(self, user: models.User, at: str) -> None:
        """Sign the user in, with a passkey of the user's in the authenticator; see ``add_passkey``."""
        add_session(self.page, at, user)
        passkey = Passkey()
        passkey.added_to(user, origin=at, rp="localhost")
        said = {"authenticatorId": self.id, "credential": passkey.in_chromium(user, "localhost")}
        self.session.send("WebAuthn.addCredential", said)

    def verifies(self, yes: bool) -> None:
        self.session.send("WebAuthn.setUserVerified", {"authenticatorId": self.id, "isUserVerified": yes})


@pytest.fixture
def tablet(browser: Browser) -> Iterator[Device]:
    made = Device(browser)
    yield made
    made.context.close()


def add_passkey(page: Page, at: str, name: str = "Tablet") -> None:
    """From the page Security, with the password once more."""
    page.goto(f"{at}/account/")
    page.get_by_role("link", name="Add a passkey").click()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Confirm").click()
    page.get_by_label("Passkey name").fill(name)
    page.get_by_role("button", name="Add passkey").click()
    page.get_by_role("heading", name="Recovery codes").wait_for()


def test_a_passkey_is_added_signs_in_and_is_removed(
    tablet: Device,
    school: Cast,
    live_server: LiveServer,
) -> None:
    page, at = tablet.page, live_server.url
    sign_in(page, at)
    add_passkey(page, at)
    assert page.locator(".codes li").count() == 10
    [known] = tablet.knows()
    assert known["isResidentCredential"]
    assert known["rpId"] == "localhost"

    sign_out(page)
    page.goto(f"{at}/login/?next=/students/{school.sam.ref}/")
    page.get_by_role("button", name="Use a passkey").click()
    page.get_by_role("heading", name="Sam Example").wait_for()
    row = Authenticator.objects.get(type="webauthn")
    assert row.user == school.ida
    assert row.last_used_at
    assert row.data["sign_counts"]["login"]["count"] >= 1

    # From now on the password asks for more; the passkey gives it.
    sign_out(page)
    page.goto(f"{at}/login/")
    page.get_by_label("E-mail address").fill("ida@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Second factor").wait_for()
    page.goto(f"{at}/students/{school.sam.ref}/")
    page.get_by_role("heading", name="Second factor").wait_for()
    expect(page.get_by_role("button", name="Sign out")).not_to_be_visible()
    page.get_by_role("button", name="Use a passkey").click()
    page.get_by_role("button", name="Sign out").wait_for()

    page.goto(f"{at}/account/")
    page.get_by_role("link", name="Rename Tablet").click()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Confirm").click()
    page.get_by_label("Passkey name").fill("Old tablet")
    page.get_by_role("button", name="Rename passkey").click()
    page.get_by_role("link", name="Remove Old tablet").click()
    page.get_by_role("button", name="Remove passkey").click()
    page.get_by_text("Passkey removed.").wait_for()
    assert not Authenticator.objects.exists()
    sign_out(page)
    page.goto(f"{at}/login/")
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_text("Passkey not accepted")).to_be_visible()
    assert tablet.watched.complaints == []


def test_a_passkey_that_asks_for_nothing_signs_nobody_in(
    tablet: Device,
    school: Cast,
    live_server: LiveServer,
) -> None:
    page, at = tablet.page, live_server.url
    sign_in(page, at)
    add_passkey(page, at)
    sign_out(page)
    page.goto(f"{at}/login/")
    tablet.verifies(False)
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.locator("form[data-passkey] .wrong")).to_have_text(
        "Canceled, timed out, or this device has no passkey for this account."
    )
    page.goto(f"{at}/students/{school.sam.ref}/")
    page.get_by_role("heading", name="Sign in").wait_for()


@pytest.fixture
def taken_out(transactional_db: None) -> Iterator[None]:
    yield
    take_out()


@pytest.mark.usefixtures("taken_out")
def test_a_lesson_is_signed_with_the_passkey_from_the_browser_to_the_ledger(
    tablet: Device,
    school: Cast,
    live_server: LiveServer,
) -> None:
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(school.ida, at)
    page.goto(f"{at}/")
    asked = {"ref": str(school.sam.ref), "key": str(uuid.uuid4()), "content": CONTENT}
    told = page.evaluate(SIGN, asked)
    assert told["draft"]["status"] == 201, told
    assert told["refused"]["status"] == 403, told
    assert "signed something else" in told["refused"]["detail"]
    assert told["signed"]["status"] == 200, told

    signed = models.SignOff.objects.get()
    assert str(signed.lesson_id) == asked["key"]
    assert signed.confirmed["origin"] == at
    assert signed.confirmed["rp"] == "localhost"
    assert signed.confirmed["statement"]["content_hash"] == signed.content_hash
    found = command.check(export(seals.tree_of(school.school), at=signed.at))
    assert (found.faults, found.passkeys) == ([], 1)
    assert list(lesson_audit.faults(school.school)) == []


@pytest.mark.usefixtures("taken_out")
def test_a_finding_is_dealt_with_by_the_passkey(
    tablet: Device,
    school: Cast,
    live_server: LiveServer,
) -> None:
    models.Role.objects.create(school=school.school, user=school.ida, role="administrator")
    made = audits.stands(school)
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(school.ida, at)
    page.goto(f"{at}/audit/findings/{made.ref}/")
    page.get_by_role("button", name="Save with a passkey").click()
    expect(page.locator("#resolve .wrong")).to_have_text(
        "Not saved. Enter what was done, or why nothing was done."
    )
    page.get_by_label("Details").fill("Asked Sam.\nShe knows.")
    page.get_by_label("What was done").select_option("note")
    page.get_by_role("button", name="Save with a passkey").click()
    page.get_by_text("Finding resolved").wait_for()
    resolution = models.Resolution.objects.get()
    assert (resolution.by, resolution.how, resolution.note) == (school.ida, "note", "Asked Sam.\nShe knows.")
    assert resolution.confirmed["origin"] == at
    assert tablet.watched.complaints == []


@pytest.mark.usefixtures("taken_out")
def test_an_import_and_an_attestation_are_confirmed_by_the_passkey(
    tablet: Device, school: Cast, live_server: LiveServer, tmp_path: pathlib.Path
) -> None:
    models.Role.objects.create(school=school.school, user=school.ida, role="administrator")
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(school.ida, at)
    file = tmp_path / "flights.csv"
    file.write_text("Date,Ident,Total\n2026-06-01,N00AB,1.2\n2026-06-02,N00AB,0.8\n", encoding="utf-8")
    page.goto(f"{at}/school/lakeside/students/{school.sam.ref}/import/")
    page.get_by_label("CSV or XLSX").set_input_files(file)
    page.get_by_role("button", name="Read file").click()
    page.get_by_label("Airplane's registration").select_option(label="B (Ident): N00AB")
    page.get_by_role("button", name="Preview import").click()
    by_passkey = page.get_by_role("button", name="Import flights with a passkey")
    by_passkey.click()
    expect(page.locator("#confirm .wrong")).to_have_text("Not imported. Enter a reason.")
    expect(page.get_by_label("Reason for the import")).to_be_focused()
    assert not models.RecordChange.objects.filter(by=school.ida).exists()
    page.get_by_label("Reason for the import").fill("From the logbook:\n“page 3”.")
    by_passkey.click()
    page.get_by_text("Flights added: 2.").wait_for()
    change = models.RecordChange.objects.get(by=school.ida)
    assert change.reason == "From the logbook:\n“page 3”."
    assert (change.confirmed["by"], change.confirmed["origin"]) == ("passkey", at)

    by_passkey = page.get_by_role("button", name="Attest with a passkey")
    by_passkey.click()
    expect(page.locator("#attest .wrong")).to_have_text(
        "Select the entries and enter which document you saw."
    )
    for each in ("2 Jun 2026", "1 Jun 2026"):
        page.get_by_label(f"I compared it with the document: {each}").check()
    page.get_by_label("Document that you saw").fill(" Grün “✓”, page 3 ")
    by_passkey.click()
    page.get_by_text("You attested 2 entries.").wait_for()
    expect(page.get_by_role("heading", name="Attest entries")).to_have_count(0)
    found = models.Flight.objects.filter(student=school.sam, retired_at__isnull=True)
    assert set(found.values_list("provenance", flat=True)) == {"attested"}
    checked = command.check(export(seals.tree_of(school.school), at=dt.datetime.now(dt.UTC)))
    assert (checked.faults, checked.passkeys) == ([], 2)
    assert tablet.watched.complaints == []


@pytest.mark.usefixtures("taken_out")
def test_which_claims_raise_a_question_is_changed_by_the_passkey(
    tablet: Device, school: Cast, live_server: LiveServer
) -> None:
    models.Role.objects.create(school=school.school, user=school.ida, role="administrator")
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(school.ida, at)
    page.goto(f"{at}/school/lakeside/settings/")
    page.get_by_label("Flights").check()
    page.get_by_label("Tests").uncheck()
    page.get_by_role("button", name="Save with a passkey").click()
    expect(page.locator("#settings .wrong[role=alert]").first).to_have_text("Not saved. Enter a reason.")
    expect(page.get_by_label("Reason")).to_be_focused()
    page.get_by_label("Reason").fill(" Grün “✓” ")
    page.get_by_role("button", name="Save with a passkey").click()
    page.get_by_text("Settings saved.").wait_for()
    change = models.SchoolChange.objects.get(what="settings")
    assert (change.reason, change.confirmed["by"], change.confirmed["origin"]) == ("Grün “✓”", "passkey", at)
    assert {"flights", "tests"} & set(change.after["claims_asked"]) == {"flights"}
    assert tablet.watched.complaints == []


@pytest.mark.usefixtures("taken_out")
def test_what_was_changed_after_the_passkey_confirmed_it_is_refused(
    tablet: Device, school: Cast, live_server: LiveServer
) -> None:
    """The passkey is over the entries and the words: other words do not go with its answer."""
    models.Role.objects.create(school=school.school, user=school.ida, role="administrator")
    medical = engine.Document("m1", "medical", dt.date(2026, 1, 5), klass="third")
    record.add(school.sam, "documents", medical, at=factories.NOON)
    page, at = tablet.page, live_server.url
    tablet.given_a_passkey(school.ida, at)
    page.goto(f"{at}/school/lakeside/students/{school.sam.ref}/record/?leaf=papers")
    page.get_by_label("I compared it with the document: 5 Jan 2026").check()
    page.get_by_label("Document that you saw").fill("the original")
    page.evaluate(
        """() => {
          const form = document.getElementById("attest");
          const submit = form.submit.bind(form);
          form.submit = () => { form.elements.saw.value = "a copy"; submit(); };
        }"""
    )
    page.get_by_role("button", name="Attest with a passkey").click()
    page.get_by_text("signed something else").wait_for()
    assert models.Document.objects.get(entry_id="m1", retired_at__isnull=True).provenance == "claimed"


def test_the_hash_that_the_browser_makes_is_the_servers(
    tablet: Device,
    school: Cast,
    live_server: LiveServer,
) -> None:
    page = tablet.page
    page.goto(f"{live_server.url}/login/")
    value = {"b": [1, 44.31, -89.0, 1e-6, True, None], "a": 'Grün "✓" \n 🛩', "A": {"é": {}, "e": []}}
    made = page.evaluate(
        "async (value) => (await import('/static/training/passkeys.js')).contentHash(value)", value
    )
    assert made == content_of(value)[1]


def test_the_accounts_pages_break_no_rule(watched: Watched, school: Cast, live_server: LiveServer) -> None:
    page, at = watched.page, live_server.url
    for path in ("/login/", "/password/", "/password/sent/", "/password/x-y/", "/password/set/"):
        page.goto(at + path)
        watched.is_well()
    add_session(page, at, school.ida)
    for path in ("/account/", "/account/password/", "/account/confirm/", "/account/app/"):
        page.goto(at + path)
        watched.is_well()
    page.get_by_label("Password").fill("another")
    page.get_by_role("button", name="Confirm").click()
    page.get_by_text("Wrong password.", exact=True).wait_for()
    watched.is_well()
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Confirm").click()
    secret = page.locator(".key").inner_text()
    watched.is_well()
    page.get_by_label("Code from the app").fill(totp(secret))
    page.get_by_role("button", name="Set up authenticator app").click()
    page.get_by_role("heading", name="Recovery codes").wait_for()
    watched.is_well()
    for path in (
        "/account/",
        "/account/passkeys/add/",
        "/account/app/remove/",
        "/account/recovery-codes/new/",
    ):
        page.goto(at + path)
        watched.is_well()
    sign_out(page)
    page.goto(f"{at}/login/")
    page.get_by_label("E-mail address").fill("ida@lakeside.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("heading", name="Second factor").wait_for()
    watched.is_well()
