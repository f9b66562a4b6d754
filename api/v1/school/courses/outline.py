"""A course as its file has it; ``syllabus.courses.files`` reads and writes it."""

from api.v1.base.field_types import STRING, VERIFIED, as_it_came, keyed, like, list_of, open_to, word
from api.v1.base.serializers import Field, ResponseSerializer
from syllabus.courses import reader
from syllabus.engine.course.course import CODE as CODES
from syllabus.engine.course.course import ITEM_KINDS, MOST_CODE, PLANNED
from syllabus.engine.course.standards import BASES, QUANTITIES
from syllabus.engine.record.json_schema import obj
from syllabus.engine.record.record import GRADES
from syllabus.engine.record.shapes import Type
from syllabus.engine.rules.minimums import ALLOWED

CODE = like(STRING, maxLength=MOST_CODE, pattern=f"^{CODES.pattern}$")
TITLE = like(STRING, minLength=1, maxLength=reader.MOST_TITLE, pattern=r"\S")
SAYS = like(STRING, minLength=1, maxLength=reader.MOST_TEXT, pattern=r"\S")
LIMIT = like(STRING, description="With its unit; with a sign if it is relative to a target.")
TIME = like(STRING, description="With its unit.", examples=["1.4 h", "84 min"])
WORDS = list_of(SAYS, uniqueItems=True)
PLANS = like(
    keyed(PLANNED, TIME),
    minProperties=1,
    description="Planned, by kind: dual and solo exclude each other, the others but ground are parts.",
)
MINIMUM = Type(
    as_it_came,
    obj(
        {"code": CODE.schema, "kind": word(ALLOWED).schema, "says": SAYS.schema, "note": SAYS.schema},
        ["code", "kind", "says"],
        description="A course requirement beyond the regulations, with the parameters of its kind.",
    )
    | {"additionalProperties": True},
    component="CourseMinimum",
)


class CourseToleranceSerializer(ResponseSerializer):
    """The tolerance of one quantity. Without a target the limits are a range. `source` is where it was
    found, `verified` how it was checked.
    """

    name = Field(TITLE)
    quantity = Field(word(QUANTITIES), required=False)
    assigned = Field(TITLE, "The target is given in flight; this says what it is.", required=False)
    value = Field(LIMIT, "A fixed target.", required=False)
    named = Field(TITLE, "The target depends on the airplane or the airport.", required=False)
    low = Field(LIMIT, required=False)
    high = Field(LIMIT, required=False)
    excluded = Field(list_of(word(["low", "high"]), uniqueItems=True), required=False)
    basis = Field(word(BASES), required=False)
    source_ = Field(SAYS)
    verified = Field(VERIFIED, required=False)
    note = Field(SAYS, required=False)


class Named(ResponseSerializer):
    code = Field(CODE)
    title = Field(TITLE)
    objective = Field(SAYS)


class CourseItemSerializer(Named):
    kind = Field(word(ITEM_KINDS), required=False)
    task = Field(
        like(STRING, examples=["FAA-S-ACS-6C PA.V.A"]),
        "A task of a test standard: document, revision and code.",
        required=False,
    )
    prerequisites = Field(WORDS, required=False)
    proves = Field(WORDS, "The rules' items that it proves.", required=False)
    standard = CourseToleranceSerializer(many=True, min_length=1, required=False)


class CourseLessonSerializer(Named):
    completion = Field(SAYS, "The completion standard.")
    times = Field(PLANS)
    items = Field(
        open_to(word(GRADES).schema, minProperties=1),
        "Each planned item with the least grade that completes the lesson.",
    )
    plans = Field(WORDS, "Requirements that the lesson is designed to meet.", required=False)


class CourseStageSerializer(Named):
    completion = Field(SAYS, "The completion standard.")
    lessons = CourseLessonSerializer(many=True, min_length=1)


class CourseOutlineSerializer(ResponseSerializer):
    """A whole course, as its file has it."""

    course = Field(CODE)
    title = Field(TITLE)
    says = Field(SAYS)
    minimums = Field(list_of(MINIMUM, minItems=1), required=False)
    stages = CourseStageSerializer(many=True, min_length=1)
    items = CourseItemSerializer(many=True, min_length=1)
