"""Pages as PDF: the same bytes from the same data, tagged, and no text of a person is ever markup."""

from __future__ import annotations

import datetime as dt

import pytest

from training import pdf

AT = dt.datetime(2026, 3, 3, 18, tzinfo=dt.UTC)
HEAD = {
    "student": {"name": "Sam Example", "birth_date": "2006-05-17", "ref": "5f1c6a52"},
    "school": "Lakeside Flying",
    "made": "2026-03-03T18:00:00+00:00",
    "caution": "no permission to fly",
}


def page(name: str = "Sam Example", **more: object) -> bytes:
    data = {**HEAD, "student": {**HEAD["student"], "name": name}, "parts": [], **more}
    return pdf.make("record", data, at=AT)


def test_the_same_data_gives_the_same_bytes_and_other_data_others() -> None:
    assert page() == page()
    assert page() != page("Sam Other")


def test_it_is_tagged_as_a_document_that_can_be_read_aloud() -> None:
    made = page()
    assert b"/StructTreeRoot" in made
    assert b"pdfuaid" in made, "it does not say that it is PDF/UA"


@pytest.mark.parametrize(
    "text",
    [
        pytest.param('#panic("it was run")', id="a call"),
        pytest.param("$ x / 0 $ *b* _i_ `r` = h", id="marks of every kind"),
        pytest.param('#read("/etc/passwd") #import "base.typ"', id="a file"),
        pytest.param('"}\\u0000', id="the end of the JSON"),
    ],
)
def test_markup_in_a_name_stays_text(text: str) -> None:
    assert page(text).startswith(b"%PDF-")


@pytest.mark.parametrize("name", ["李 小龙", "Ørjan Þórsson", "Σίσυφος", "محمد", "Sam 🛩️", "a\u0301\u0328"])
def test_a_name_in_any_script_makes_a_page(name: str) -> None:
    assert page(name).startswith(b"%PDF-")


def test_an_unknown_template_is_named() -> None:
    with pytest.raises(ValueError, match="no template is called 'letter'"):
        pdf.make("letter", HEAD, at=AT)
