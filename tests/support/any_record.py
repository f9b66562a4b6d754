"""Everything a training record document can say, as a Hypothesis strategy of records."""

import datetime as dt
import string
from types import MappingProxyType

from hypothesis import strategies as st

from syllabus.engine.places import geography
from syllabus.engine.record import record as engine
from syllabus.engine.record import vocabulary
from syllabus.engine.time import units

#: Any text but NUL and half a surrogate pair, which no document may hold.
texts = st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]), max_size=20)
names = texts.map(str.strip).filter(bool)
ids = st.one_of(names, st.from_regex(r"f[0-9]{1,3}", fullmatch=True))
days = st.dates(dt.date(1900, 1, 1), dt.date(2199, 12, 31))
zones = st.integers(-24 * 60 + 1, 24 * 60 - 1).map(lambda minutes: dt.timezone(dt.timedelta(minutes=minutes)))
instants = st.datetimes(dt.datetime(1901, 1, 1), dt.datetime(2198, 12, 31), timezones=zones)  # noqa: DTZ001

airports = st.sampled_from(["KGRB", "KMTW", "M26", "KM26", "CYYZ", "EGLL", "PANC", "WI16"]).map(
    geography.airports().find
)
degrees = st.one_of(st.integers(-90, 90).map(float), st.floats(-90, 90, allow_nan=False))
located = st.builds(
    geography.position, st.one_of(st.just(""), names), degrees, degrees.map(lambda lat: lat * 2)
)
unlocated = names.map(lambda name: geography.position(name, None, None))
places = st.one_of(airports, located, unlocated)
routes = st.lists(places, max_size=4).map(tuple)
instructors = st.builds(engine.Instructor, names, st.none() | names, st.sampled_from(vocabulary.INSTRUCTORS))

amounts = st.one_of(
    st.just(0),
    st.sampled_from(["1.4 h", "84 min", "0.33 h", "0.000001 h", "9999.999999 h", "1:24", "7 s"]).map(
        units.parse_time
    ),
    st.integers(0, 10 * units.HOUR),
)


@st.composite
def times(draw: st.DrawFn) -> MappingProxyType[str, int]:
    """Any of the times, none above the total, nor instrument time together; not both dual and solo."""
    logged = draw(st.dictionaries(st.sampled_from(engine.TIMES), amounts))
    if logged.get("dual") and logged.get("solo"):
        del logged[draw(st.sampled_from(["dual", "solo"]))]
    if "total" in logged:
        instrument = logged.get("actual_instrument", 0) + logged.get("simulated_instrument", 0)
        logged["total"] = max(instrument, *logged.values())
    return MappingProxyType(logged)


landings = st.builds(
    engine.Landings,
    at=st.none() | places,
    takeoffs=st.integers(0, 10_000),
    landings=st.integers(0, 10_000),
    period=st.sampled_from([None, "day", "night"]),
    full_stop=st.sampled_from([None, True, False]),
    pattern=st.sampled_from([None, True, False]),
    towered=st.sampled_from([None, True, False]),
)
aircraft = st.builds(
    engine.Aircraft,
    registration=st.none() | names,
    model=st.none() | names,
    category=st.sampled_from([None, *vocabulary.CATEGORIES]),
    klass=st.sampled_from([None, *vocabulary.CLASSES]),
    device=st.sampled_from([None, *engine.DEVICES]),
)
slugs = st.text(string.ascii_lowercase, min_size=12, max_size=20)
recorded = st.none() | instants
common = {"id": ids, "recorded": recorded}


@st.composite
def flights(draw: st.DrawFn) -> engine.Flight:
    clock: list[dt.datetime | None] = []
    for _ in range(4):  # out, off, on, in: each not before those before it, on a clock of its own
        before = next((each for each in reversed(clock) if each), None)
        instant = draw(st.none() | instants)
        if instant and before:
            later = st.timedeltas(dt.timedelta(), dt.timedelta(hours=24))
            instant = (before + draw(later)).astimezone(draw(zones))
        clock.append(instant)
    out, off, on, in_ = clock
    first = next((each for each in clock if each), None)
    return engine.Flight(
        id=draw(ids),
        date=first.date() if first else draw(days),
        aircraft=draw(aircraft),
        trip=draw(st.none() | names),
        route=draw(routes),
        out=out,
        off=off,
        on=on,
        in_=in_,
        times=draw(times()),
        landings=draw(st.lists(landings, max_size=3).map(tuple)),
        instructor=draw(st.none() | instructors),
        purposes=draw(st.lists(st.just("practical-test-preparation:private") | slugs, max_size=3).map(tuple)),
        remarks=draw(texts),
        recorded=draw(recorded),
    )


ground = st.builds(
    engine.GroundLesson, **common, date=days, time=amounts, topic=texts, instructor=st.none() | instructors
)
certificates = st.builds(
    engine.Certificate,
    **common,
    kind=st.sampled_from(vocabulary.CERTIFICATES),
    issued=days,
    category=st.sampled_from([None, *vocabulary.CATEGORIES]),
    klass=st.sampled_from([None, *vocabulary.CLASSES]),
)
documents = st.builds(
    engine.Document,
    **common,
    kind=st.sampled_from(vocabulary.DOCUMENTS) | slugs,
    issued=days,
    klass=st.sampled_from(vocabulary.MEDICAL_CLASSES),
    expires=st.none() | days,
    aircraft_model=st.none() | names,
    remarks=texts,
)
tests = st.builds(
    engine.Test,
    **common,
    kind=st.sampled_from(vocabulary.TESTS) | slugs,
    date=days,
    result=st.sampled_from([None, *vocabulary.RESULTS]),
    score=st.none() | st.integers(0, 100),
    aircraft_model=st.none() | names,
    deficient_codes=st.none() | st.lists(names, max_size=3).map(tuple),
    instructor=st.none() | instructors,
)


@st.composite
def endorsements(draw: st.DrawFn) -> engine.Endorsement:
    given = draw(days)
    return engine.Endorsement(
        id=draw(ids),
        kind=draw(st.sampled_from(vocabulary.ENDORSEMENTS) | slugs),
        given=given,
        instructor=draw(st.none() | instructors),
        aircraft_model=draw(st.none() | names),
        category=draw(st.sampled_from([None, *vocabulary.CATEGORIES])),
        klass=draw(st.sampled_from([None, *vocabulary.CLASSES])),
        test=draw(st.none() | st.sampled_from(vocabulary.TESTS) | slugs),
        similar_model=draw(st.none() | names),
        airport=draw(st.none() | places),
        area=draw(st.none() | names),
        route=draw(routes),
        flight_date=draw(st.none() | days),
        training_date=draw(st.none() | st.dates(dt.date(1900, 1, 1), given)),
        expires=draw(st.none() | days),
        conditions=draw(texts),
        recorded=draw(recorded),
    )


def several(entries: st.SearchStrategy) -> st.SearchStrategy:
    return st.lists(entries, max_size=3, unique_by=lambda entry: entry.id).map(tuple)


@st.composite
def records(draw: st.DrawFn) -> engine.Record:
    flown = draw(several(flights()))
    which = st.none() if not flown else st.none() | st.sampled_from([flight.id for flight in flown])
    items = st.builds(
        engine.ItemGrade,
        **common,
        item=st.sampled_from(vocabulary.RULE_ITEMS) | slugs,
        date=days,
        grade=st.sampled_from([*engine.GRADES, engine.NOT_OBSERVED]),
        flight=which,
        instructor=st.none() | instructors,
        remarks=texts,
    )
    return engine.Record(
        student=engine.Student(draw(texts), draw(st.none() | days)),
        certificates=draw(several(certificates)),
        flights=flown,
        ground=draw(several(ground)),
        items=draw(several(items)),
        documents=draw(several(documents)),
        tests=draw(several(tests)),
        endorsements=draw(several(endorsements())),
    )
