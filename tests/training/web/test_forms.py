"""How every form of the pages shows what is wrong, and where a service's refusal is said."""

from __future__ import annotations

import pathlib
import re

import pytest

from syllabus.engine.errors import Error, InputError
from training.services.errors import Conflict, NotAllowed, NotFound
from training.web.shared.forms import Choice, Day, Form, Text

ROOT = pathlib.Path(__file__).resolve().parents[3]


class Flown(Form):
    places = {"class": "klass"}
    refused_at = "route"

    route = Text("Route", required=True, max_length=10, help_text="such as KOSH KFLD")
    flown = Day("Day", required=True)
    klass = Choice("Class", [("", "none"), ("glider", "glider")])


WHOLE = {"route": "KOSH", "flown": "2026-03-02", "klass": "glider"}


def test_a_form_is_shown_with_labels_and_help_and_nothing_wrong() -> None:
    shown = str(Flown())
    assert '<label for="route">Route</label>' in shown
    assert '<small id="route_helptext">such as KOSH KFLD</small>' in shown
    assert 'aria-describedby="route_helptext"' in shown
    assert not {word for word in ("aria-invalid", "autofocus", "alert", "wrong") if word in shown}


def test_what_is_wrong_is_said_at_its_field_and_above_with_a_link_to_it() -> None:
    form = Flown({"route": "KOSH KFLD KMTW", "flown": "2026-02-30", "klass": "glider"})
    assert not form.submit(lambda **sent: pytest.fail("nothing is given to the service"))
    assert form.status == 422
    shown = str(form)
    assert '<div class="fault" role="alert">' in shown
    assert '<a href="#route">Route</a>: Ensure this value has at most 10 characters (it has 14).' in shown
    assert "<a href=\"#flown\">Day</a>: '2026-02-30' is not a calendar date" in shown.replace("&#x27;", "'")
    assert 'aria-describedby="route_helptext route_error"' in shown
    assert '<span class="wrong" id="flown_error">' in shown
    assert shown.count('aria-invalid="true"') == 2
    # The first of them has the focus, and what was typed is still there.
    assert shown.count(" autofocus") == 1
    assert " autofocus" in next(each for each in shown.split("<") if 'name="route"' in each)
    assert 'value="KOSH KFLD KMTW"' in shown
    assert 'value="2026-02-30"' in shown
    assert '<option value="glider" selected>' in shown


@pytest.mark.parametrize(
    ("refused", "field", "said"),
    [
        (InputError([Error("route", "is no route")]), "route", "is no route"),
        (InputError([Error("flown.day", "is over")]), "flown", "is over"),
        (InputError([Error("klass[2]", "is no class")]), "klass", "is no class"),
        (InputError([Error("class", "is no class")]), "klass", "is no class"),
        (InputError([Error("elsewhere", "is wrong")]), "__all__", "is wrong"),
        (InputError([Error("", "is wrong")]), "route", "is wrong"),
        (NotAllowed("You may not."), "route", "You may not."),
        (Conflict("It is there already."), "route", "It is there already."),
    ],
)
def test_a_refusal_of_the_service_is_said_at_its_field(refused: Exception, field: str, said: str) -> None:
    def service(**sent: object) -> None:
        raise refused

    form = Flown(WHOLE)
    assert not form.submit(service)
    assert form.errors == {field: [said]}
    assert form.status == 422


def test_what_is_not_found_is_no_error_of_a_form() -> None:
    def service(**sent: object) -> None:
        raise NotFound("aircraft")

    with pytest.raises(NotFound):
        Flown(WHOLE).submit(service)


def test_what_the_service_takes_is_read_and_what_it_gives_is_kept() -> None:
    form = Flown({**WHOLE, "route": " KOSH "})
    assert form.submit(lambda **sent: sent["flown"].isoformat() + sent["route"] + sent["klass"])
    assert form.result == "2026-03-02KOSHglider"
    assert form.status == 200


@pytest.mark.parametrize("field", ["route", "flown", "klass"])
def test_a_null_character_never_reaches_the_service(field: str) -> None:
    form = Flown({**WHOLE, field: "\x00"})
    assert not form.submit(lambda **sent: pytest.fail("nothing is given to the service"))
    assert list(form.errors) == [field]


def test_what_a_page_was_sent_is_read_by_its_form_alone() -> None:
    # ``training/web/shared/forms.py`` binds a form to the request, and reads a sheet whose rows a script
    # adds.
    by_hand = re.compile(r"\.POST\b|\.FILES\s*[.\[]")
    found = {
        str(path.relative_to(ROOT))
        for path in (ROOT / "training" / "web").rglob("*.py")
        if by_hand.search(path.read_text(encoding="utf-8"))
    }
    assert found == {"training/web/shared/forms.py"}
