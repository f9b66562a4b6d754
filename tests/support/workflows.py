"""Ways through the API, walked by schemathesis along the links of its own description.

Each scenario begins with an answer and follows links from it: a lesson is drafted, read, signed, acknowledged
and corrected, an endorsement looked at, given and revoked, a course written and published. The generator
knows the shapes alone, so now and then a body is put in the place of one that it made, with a password that
confirms, and the call is made by whoever does such a thing; the rest stays as generated.
"""

from __future__ import annotations

import contextlib
import copy
import itertools
import random
import uuid
from collections import Counter
from typing import Any

import schemathesis
from django.core.cache import cache
from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis.errors import Flaky
from knox.models import AuthToken
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.generation.stateful.state_machine import APIStateMachine, normalize_name
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from syllabus.courses import files, outlines
from tests.support import lessons
from tests.support.cast import Cast
from tests.syllabus.courses.test_course_versions import SMALL
from training.config.wsgi import application

#: What the description cannot say (an airport must be known) is refused although it fits, so that acceptance
#: is not among them.
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
]
STEPS, SCENARIOS = 14, 6
#: So many calls beyond those asked for are enough to meet everything of ``SEEN``, or something is wrong.
FARTHEST = 800
PASSWORD = "three words of everybody"
#: Where scenarios begin, turn by turn; whatever else there is is come to by a link.
ROADS = (
    {"draftLessonRecord"},
    {"checkEndorsement", "giveEndorsement"},
    {"listCourses"},
    {"draftLessonRecord"},
    {"listStudents", "listMilestones", "readLedgerCheckpoint", "addDocument", "enrolStudent"},
)
#: What a walk has to come to, so that it was more than a row of refusals.
SEEN = {
    ("draftLessonRecord", 201),
    ("readLessonRecord", 200),
    ("signLessonRecord", 200),
    ("acknowledgeLessonRecord", 200),
    ("correctLessonRecord", 201),
    ("checkEndorsement", 200),
    ("giveEndorsement", 201),
    ("revokeEndorsement", 200),
    ("addDocument", 201),
    ("writeCourse", 200),
    ("publishCourse", 200),
    ("compareCourseVersions", 200),
    ("readLedgerProof", 200),
}
#: Who does what, where it is not Ida.
SAMS = {"acknowledgeLessonRecord"}
ADAS = {"writeCourse", "publishCourse"}


def people_who_can_sign(people: Cast) -> Cast:
    """The people, each with the password that confirms; a course of the school, and a signed lesson."""
    lessons.signed(people)
    outlines.publish(outlines.save(files.read(SMALL, "small"), people.school.slug).version, lessons.AT)
    for user in (people.ida, people.ada, people.sams_account, people.olaf):
        user.set_password(PASSWORD)
        user.save()
    return people


def _small(draw: random.Random) -> dict[str, Any]:
    made = files.as_data(files.read(SMALL, "small"))
    return {**made, "title": f"A course of {draw.randrange(1000)}"}


def _lesson(draw: random.Random) -> dict[str, Any]:
    said = copy.deepcopy(lessons.CONTENT)
    day = draw.randrange(1, 29)
    for key in ("date", "off", "on"):
        said["flight"][key] = said["flight"][key].replace("2026-03-02", f"2026-02-{day:02d}")
    said["ground"]["date"] = f"2026-02-{day:02d}"
    return said


def body_for(operation: str, draw: random.Random) -> dict[str, Any] | None:
    """What somebody who knows the trade would send; None where the generator does as well."""
    own = str(uuid.UUID(int=draw.getrandbits(128), version=4))
    match operation:
        case "draftLessonRecord":
            return {"id": own, "lesson": "", "content": _lesson(draw)}
        case "correctLessonRecord":
            return {"id": own, "reason": "The times were not right.", "content": _lesson(draw)}
        case "changeLessonRecord":
            return {"content": _lesson(draw)}
        case "checkEndorsement":
            return {"kind": draw.choice(["knowledge-test", "solo-cross-country-category"])}
        case "giveEndorsement":
            return {"id": own, "kind": "knowledge-test", "confirm_password": PASSWORD}
        case "acknowledgeLessonRecord":
            return {"confirm_password": PASSWORD}
        case "revokeEndorsement":
            return {"reason": "It was given too early.", "confirm_password": PASSWORD}
        case "addDocument":
            paper = {"kind": "english-proficiency", "issued": f"2026-01-{draw.randrange(1, 29):02d}"}
            return {"id": own, "document": paper}
        case "enrolStudent":
            return {"id": own, "course": "small"}
        case "writeCourse":
            return _small(draw)
    return None


class Workflow:
    """Walks until so many calls are made, or one fails.

    ``told`` counts the answers by operation and status, ``failures`` has what a check found wrong.
    """

    def __init__(self, people: Cast, seed: int) -> None:
        self.people, self.draw = people, random.Random(seed)
        self.told: Counter[tuple[str, int]] = Counter()
        self.schema = schemathesis.openapi.from_wsgi("/api/v1/schema/", application)
        # Links that are guessed from names would lead from anything to anything.
        self.schema.config.phases.stateful.inference.algorithms = []
        self.failures: list[str] = []
        self.scenarios = 0
        self.tokens = {
            who: AuthToken.objects.create(user=user)[1]
            for who, user in (
                ("ida", people.ida),
                ("ada", people.ada),
                ("sam", people.sams_account),
                ("olaf", people.olaf),
            )
        }

    @property
    def calls(self) -> int:
        return sum(self.told.values())

    @property
    def unseen(self) -> set[tuple[str, int]]:
        """Of what a walk is to come to, what it did not."""
        return {each for each in SEEN if not self.told[each]}

    def walk(self, cases: int) -> None:
        """Walk until so many calls are made and everything of ``SEEN`` was met, but not for ever."""
        roads = itertools.cycle([self._machine(road) for road in ROADS])
        while not self.failures and (self.calls < cases or (self.unseen and self.calls < FARTHEST + cases)):
            made = settings(
                max_examples=max(2, min(SCENARIOS, (cases - self.calls) // STEPS)),
                stateful_step_count=STEPS,
                derandomize=False,  # else every turn of the loop would walk the same ways again
                deadline=None,
                database=None,
                phases=[Phase.generate],
                suppress_health_check=list(HealthCheck),
            )
            # Whether a link is followed is tossed outside of what hypothesis knows of, so that two scenarios
            # may part where it expects the same; failures are noted in ``failures`` whatever it thinks.
            with contextlib.suppress(Flaky):
                next(roads).run(settings=made)

    def who(self, operation: str) -> str:
        """Whoever does such a thing; one time in ten somebody else."""
        if self.draw.random() < 0.1:
            return self.draw.choice(sorted(self.tokens))
        return "sam" if operation in SAMS else "ada" if operation in ADAS else "ida"

    def likely(self, case: Any, operation: str) -> None:
        """Put what is likely in the place of what was generated, where the generator meant to fit."""
        if case.meta.generation.mode != GenerationMode.POSITIVE or self.draw.random() < 0.1:
            return
        if "ref" in case.path_parameters:
            case.path_parameters["ref"] = str(self.people.sam.ref)
        if operation == "readLedgerProof":  # one thing is proved, not all that might be named
            known = [key for key in ("lesson_record", "endorsement", "index") if key in case.query]
            case.query = {known[0]: case.query[known[0]]} if known else {"index": 0}
        linked = case.body if isinstance(case.body, dict) else {}
        said = body_for(operation, self.draw)
        if said is not None and case.media_type == "application/json":
            case.body = said
        elif "content_hash" in linked:
            case.body = {"content_hash": linked["content_hash"], "confirm_password": PASSWORD}
        if operation == "writeCourse":
            case.path_parameters["course"] = "small@lakeside"
            case.headers.setdefault("If-Match", "*")

    def _machine(self, road: set[str]) -> type[APIStateMachine]:
        flow, schema = self, self.schema
        described: type[APIStateMachine] = schema.as_state_machine()

        class Machine(described):  # type: ignore[valid-type, misc]
            def setup(self) -> None:
                cache.clear()  # a scenario has its own minute
                self.begun = transaction.savepoint()
                flow.scenarios += 1

            def teardown(self) -> None:
                transaction.savepoint_rollback(self.begun)
                super().teardown()

            def before_call(self, case: Any) -> None:
                super().before_call(case)
                flow.likely(case, case.operation.definition.raw["operationId"])

            def get_call_kwargs(self, case: Any) -> dict[str, Any]:
                operation = case.operation.definition.raw["operationId"]
                return {"headers": {"Authorization": f"Token {flow.tokens[flow.who(operation)]}"}}

            def validate_response(self, response: Any, case: Any, *_: Any, **given: Any) -> None:
                flow.told[case.operation.definition.raw["operationId"], response.status_code] += 1
                try:
                    case.validate_response(response, checks=CHECKS, transport_kwargs=given or None)
                except FailureGroup as wrong:
                    flow.failures.append(f"{case.as_curl_command()}: {wrong}")

        for each in schema.get_all_operations():
            if each.ok().definition.raw["operationId"] not in road:
                setattr(Machine, normalize_name(f"RANDOM -> {each.ok().label}"), None)
        return Machine
