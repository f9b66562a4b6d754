"""The stateless question: a record document in, the eligibility report out."""

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from api.v1.base.description import Answer, describe
from api.v1.base.errors import not_covered
from api.v1.base.examples import question
from api.v1.base.field_types import DAY, INSTANT, MILESTONE
from api.v1.base.reports import CONTEXT, TRAINING_RECORD, EligibilityReportSerializer
from api.v1.base.serializers import Field, RequestSerializer
from api.v1.base.throttles import OpenThrottle
from api.v1.base.views import OpenView
from syllabus.engine import effort
from syllabus.engine.errors import Error, InputError
from syllabus.engine.record import document, reading
from syllabus.engine.record.reading import Errors
from syllabus.engine.record.record import Record
from syllabus.engine.record.shapes import Type
from syllabus.engine.rules.evaluate import evaluate
from syllabus.engine.rules.question import context_from
from syllabus.engine.rules.reasons import NotCovered
from syllabus.law import rulebook

#: What takes longer counts as several calls.
SECONDS_OF_A_CALL = 0.05
#: Of processor time, looked at between steps of up to a tenth of a second.
MOST_SECONDS = 0.7
MOST_ENTRIES = 10_000


class _Inside(InputError):
    """The question, with the record."""

    what = "the request"


def collected(read: Callable[[object], Any]) -> reading.Read:
    """A reader of one key that collects another reader's errors, at their places within the key.

    The record is read as in the document: an entry without an id is named after its place, as in a stored
    record.
    """

    def reader(errors: Errors, value: Any, place: str) -> Any:
        try:
            return read(value)
        except InputError as found:
            for error in found.errors:
                errors.append(Error(f"{place}.{error.place}" if error.place else place, error.message))
            if isinstance(found, effort.TooMuch):
                raise effort.TooMuch(found.summary, errors[:-1], place) from None
            return None

    return reader


def bounded(value: object) -> Record:
    """A record of as many entries as are read here. Raises: DocumentError; TooMuch."""
    parts = [value.get(part) for part in Record.PARTS] if isinstance(value, dict) else []
    if (entries := sum(len(each) for each in parts if isinstance(each, list))) > MOST_ENTRIES:
        raise effort.TooMuch(
            f"{entries:,} entries in the record; at most {MOST_ENTRIES:,} are read. "
            "Send fewer: those that the milestone counts."
        )
    return document.parse(value)


class EligibilityQuestionSerializer(RequestSerializer):
    error = _Inside
    example = staticmethod(question)

    record = Field(replace(TRAINING_RECORD, read=collected(bounded)))
    milestone = Field(MILESTONE)
    on = Field(DAY, "The day of the question (default: today in UTC).", required=False)
    context_ = Field(
        Type(
            collected(lambda value: context_from(value, "")),
            CONTEXT.schema,
            component=CONTEXT.component,
            uses=CONTEXT.uses,
        ),
        required=False,
    )
    known_at = Field(INSTANT, "Ignore what was recorded after this time.", required=False)


class Eligibility(OpenView):
    @describe(
        "ask",
        "Check a record that you send",
        Answer(EligibilityReportSerializer, "The report"),
        body=EligibilityQuestionSerializer,
    )
    def post(self) -> Any:
        """Reports whether the record document meets a milestone on a day, what is missing, and on which days
        the answer is valid. A question that the rules do not cover is refused with a problem of the type
        /problems/not-covered. Nothing is stored. Without `on`, the day is today in UTC; the answer names it.
        Open to everyone: 300 calls a minute for an account, or for an IP address without sign-in. A call that
        takes more than 50 ms of processor time counts as several. At most 8 MB. Also refused (422): more than
        10,000 entries, 5,000 places given by position, 1,000 errors or 1,000 unknown words, and what needs
        more than about a second of processor time.
        """
        begun = time.thread_time()
        try:
            with effort.within(MOST_SECONDS):
                return self.answer()
        finally:
            if more := int((time.thread_time() - begun) / SECONDS_OF_A_CALL):
                OpenThrottle().count(self.request, more)

    def answer(self) -> Any:
        sent = self.sent()
        sent["on"] = sent["on"] or self.today
        try:
            report = evaluate(rulebook.current(), **sent)
        except NotCovered as refused:
            raise not_covered(refused, context="context", record="record") from None
        return report.as_json()
