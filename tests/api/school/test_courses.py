"""Courses over HTTP: which are open to whom, a draft written against its ETag, published once, compared."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest
import yaml
from django.db import connection
from django.test.utils import CaptureQueriesContext

from syllabus import models
from syllabus.courses import files, outlines
from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import factories
from tests.support.cast import Cast
from tests.support.problems import places, problem
from tests.support.rows import over_rows
from tests.syllabus.courses.test_course_versions import AT, FILE, SMALL

PASSWORD = "three words of Ada"
YAML = "application/yaml"
OURS = "/api/v1/courses/small@lakeside"
PRODUCTS = "/api/v1/courses/small"


@pytest.fixture
def people(people: Cast) -> Cast:
    people.ada.set_password(PASSWORD)
    people.ada.save()
    return people


@pytest.fixture
def ada(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.ada)


@pytest.fixture
def ida(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.ida)


def kept(school: str | None, text: str = SMALL, *, publish: bool = True) -> models.CourseVersion:
    version = outlines.save(files.read(text, "small.yaml"), school).version
    return outlines.publish(version, AT) if publish else version


def small(**changed: Any) -> dict[str, Any]:
    """The small course as JSON has it."""
    return {**copy.deepcopy(files.as_data(files.read(SMALL, "small.yaml"))), **changed}


def sent(client: Any, body: Any = None, url: str = OURS, **headers: str) -> Any:
    return client.put(url, small() if body is None else body, headers=headers)


def written(client: Any, text: str, url: str = OURS, **headers: str) -> Any:
    """Sent as the text of its file."""
    return client.generic("PUT", url, text, content_type=YAML, headers=headers)


def publishing(client: Any, digest: str, url: str = f"{OURS}/versions/1", **changed: Any) -> Any:
    return client.post(f"{url}/publish", {"content_hash": digest, "confirm_password": PASSWORD, **changed})


def test_from_a_new_course_to_its_second_version(ada: Any, ida: Any) -> None:
    made = sent(ada)
    assert made.status_code == 201, made.content
    fits(made.json(), "CourseVersion")
    assert (made.json()["number"], made.json()["state"], made.json()["school"]) == (1, "draft", "lakeside")
    assert made["ETag"] == f'"{made.json()["content_hash"]}"'
    problem(ida.get(OURS), 404)  # a draft is the administrator's

    changed = sent(ada, small(title="A better one"), **{"If-Match": made["ETag"]})
    assert (changed.status_code, changed.json()["number"]) == (200, 1)
    digest = changed.json()["content_hash"]
    published = publishing(ada, digest)
    assert published.status_code == 200, published.content
    fits(published.json(), "CourseVersion")
    assert (published.json()["state"], published.json()["published_by"]) == ("published", "Ada Example")
    assert publishing(ada, digest).json() == published.json()
    assert ida.get(OURS).json() == published.json()

    second = sent(ada, small(title="The best one"), **{"If-Match": published["ETag"]})
    assert (second.json()["number"], second.json()["state"]) == (2, "draft")
    assert ada.get(OURS).json() == second.json()
    assert ida.get(OURS).json()["number"] == 1
    assert ada.get(f"{OURS}/versions/1").json() == published.json()
    found = ada.get(f"{OURS}/versions/1/compare?with=2")
    fits(found.json(), "CourseComparison")
    assert [each["words"] for each in found.json()["changes"]] == [
        "course small: title was A better one, is The best one"
    ]
    assert ada.get(f"{OURS}/versions/2/compare?with=2").json()["changes"] == []
    problem(ida.get(f"{OURS}/versions/1/compare?with=2"), 404)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_an_outline_is_read_whole_and_may_be_sent_back(ada: Any) -> None:
    text = FILE.read_text()
    made = written(ada, text, "/api/v1/courses/private-airplane@lakeside")
    assert made.status_code == 201, made.content
    read = ada.get("/api/v1/courses/private-airplane@lakeside/versions/1")
    fits(read.json(), "CourseVersion")
    told = read.json()
    stands = files.read(text, "file")
    assert told["outline"] == files.as_data(stands)
    assert told["in_words"]["steep-turns"]["altitude"] == next(
        each.says for each in stands.by_code["steep-turns"].standard if each.name == "altitude"
    )
    assert sum(told["limits"].values()) == sum(len(item.standard) for item in stands.items)
    again = sent(ada, told["outline"], "/api/v1/courses/private-airplane@lakeside")
    assert (again.status_code, again["ETag"]) == (200, made["ETag"])


def test_yaml_is_what_export_course_writes(ada: Any) -> None:
    kept(None)
    for url in (PRODUCTS, f"{PRODUCTS}/versions/1"):
        answer = ada.get(url, headers={"Accept": YAML})
        assert answer["Content-Type"] == f"{YAML}; charset=utf-8"
        assert answer.content.decode() == files.write(files.read(SMALL, "small.yaml"))
        fits(yaml.safe_load(answer.content), "CourseOutline")
    told = ada.get("/api/v1/courses/none", headers={"Accept": YAML})
    problem(told, 404)
    assert ada.get(PRODUCTS, headers={"Accept": "text/html"}).status_code == 406


@pytest.mark.any_database  # others here, test_contract and test_translation make these queries on SQLite
def test_a_school_sees_its_own_and_the_products(people: Cast, ada: Any, ida: Any, signed_in: Clients) -> None:
    kept(None)
    kept("lakeside", SMALL.replace("A small course", "Ours"))
    kept("lakeside", SMALL.replace("A small course", "Ours, next"), publish=False)
    kept("hilltop", SMALL.replace("A small course", "Theirs"))
    listed = {}
    for who, client in (("ada", ada), ("ida", ida), ("olaf", signed_in(people.olaf))):
        answer = client.get("/api/v1/courses")
        fits(answer.json(), "CourseList")
        listed[who] = [
            (each["course"], each["title"], [version["number"] for version in each["versions"]])
            for each in answer.json()["courses"]
        ]
    products = ("small", "A small course", [1])
    assert listed["ada"] == [products, ("small@lakeside", "Ours, next", [1, 2])]
    assert listed["ida"] == [products, ("small@lakeside", "Ours", [1])]
    assert listed["olaf"] == [products, ("small@hilltop", "Theirs", [1])]
    assert signed_in(factories.user()).get("/api/v1/courses").json() == {"courses": []}
    assert ida.get(PRODUCTS).json()["title"] == "A small course"
    assert ida.get(OURS).json()["title"] == "Ours"
    problem(ida.get("/api/v1/courses/small@hilltop"), 404)
    problem(ida.get("/api/v1/courses/small@"), 404)


def test_the_products_courses_are_only_read(ada: Any) -> None:
    version = kept(None)
    told = problem(sent(ada, url=PRODUCTS, **{"If-Match": "*"}), 403)
    assert "small@lakeside" in told["detail"]
    problem(publishing(ada, version.content_hash, f"{PRODUCTS}/versions/1"), 403)


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("header", "status"),
    [
        pytest.param({}, 428, id="without If-Match where there is one"),
        pytest.param({"If-Match": '"sha256:other"'}, 412, id="another than the newest"),
        pytest.param({"If-Match": "*"}, 200, id="whatever there is"),
    ],
)
def test_a_change_names_what_it_starts_from(ada: Any, header: dict[str, str], status: int) -> None:
    first = sent(ada)
    assert sent(ada, small(title="Other"), **header).status_code == status
    assert sent(ada, **{"If-Match": '"sha256:other"'}).status_code == (200 if status != 200 else 412)
    assert (ada.get(OURS)["ETag"] == first["ETag"]) is (status != 200)


def test_if_match_of_a_course_that_is_not_there_fails(ada: Any) -> None:
    problem(sent(ada, **{"If-Match": "*"}), 412)
    assert not models.Course.objects.exists()


@pytest.mark.any_database  # others here make these queries on SQLite
def test_what_was_published_meanwhile_is_not_written_over(ada: Any) -> None:
    first = sent(ada)
    publishing(ada, first.json()["content_hash"])
    next_one = sent(ada, small(title="Of somebody else"), **{"If-Match": first["ETag"]})
    problem(sent(ada, small(title="Mine"), **{"If-Match": first["ETag"]}), 412)
    assert ada.get(OURS)["ETag"] == next_one["ETag"]


def test_publishing_is_confirmed_and_names_what_was_read(ada: Any, ida: Any) -> None:
    digest = sent(ada).json()["content_hash"]
    problem(publishing(ada, digest, confirm_password="wrong"), 403)
    problem(publishing(ida, digest), 403)
    told = problem(publishing(ada, "sha256:" + "0" * 64), 409)
    assert "changed after you read it. Read it again" in told["detail"]
    assert places(publishing(ada, "other")) == ["content_hash"]
    problem(publishing(ada, digest, f"{OURS}/versions/2"), 404)
    assert not models.CourseVersion.objects.filter(state="published").exists()


@over_rows(
    ("text", "place"),
    [
        pytest.param(SMALL.replace("items: {climbs", "items: {climb"), "course.yaml:17", id="an orphan"),
        pytest.param("course: [", "course.yaml:1", id="no YAML"),
        pytest.param("", "", id="nothing"),
        pytest.param("# nothing", "course.yaml:1", id="nothing but a remark"),
        pytest.param("a: &a [*a]", "course.yaml:1", id="an alias of itself"),
        pytest.param("a: !!python/name:os.system x", "course.yaml:1", id="a tag"),
        pytest.param("a: !!timestamp x", "course.yaml:1", id="a tag that its value does not bear"),
        pytest.param("course: other" + SMALL[13:], "course", id="another code than the address has"),
    ],
    undo=True,
)
def test_faults_of_a_file_name_their_line(ada: Any, text: str, place: str) -> None:
    assert place in places(written(ada, text))


@pytest.mark.any_database  # others here make these queries on SQLite
def test_an_alias_bomb_is_refused(ada: Any) -> None:
    layers = ["l0: &l0 [x, x, x, x, x, x, x, x, x, x]"]
    layers += [f"l{n}: &l{n} [{', '.join([f'*l{n - 1}'] * 10)}]" for n in range(1, 12)]
    answer = written(ada, "\n".join(layers))
    assert "more than 50,000 values" in problem(answer, 422)["errors"][0]["message"]


@over_rows(
    ("spoil", "place"),
    [
        pytest.param(lambda data: data["items"][0].update(kinds="x"), "items[0].kinds", id="an unknown key"),
        pytest.param(
            lambda data: data["stages"][0]["lessons"][1]["times"].update(dual=1),
            "stages[0].lessons[1].times.dual",
            id="a time without its unit",
        ),
        pytest.param(
            lambda data: data["stages"][0]["lessons"][0]["items"].update(x="perform"),
            "stages[0].lessons[0].items.x",
            id="an item that is none",
        ),
        pytest.param(
            lambda data: data["items"][0]["standard"][0].update(low="-999999999 NM"),
            "items[0].standard[0].low",
            id="more than can be kept",
        ),
        pytest.param(lambda data: data.update(title="\x00"), "title", id="a character that is none"),
        pytest.param(lambda data: data.update(course="small.2"), "course", id="another course"),
        pytest.param(lambda data: data.pop("stages"), "", id="no stages"),
        pytest.param(
            lambda data: data["minimums"][0].update(deep=json.loads("[" * 30 + "]" * 30)),
            "minimums[0].deep" + "[0]" * 18,
            id="nested too deep",
        ),
    ],
    undo=True,
)
def test_faults_of_json_name_their_path(ada: Any, spoil: Any, place: str) -> None:
    data = small()
    spoil(data)
    assert place in places(sent(ada, data))


def test_a_body_that_is_no_course(ada: Any) -> None:
    assert places(sent(ada, [])) == [""]
    problem(written(ada, "x" * (512 * 1024 + 1)), 413)
    problem(sent(ada, small(title="x" * (512 * 1024 + 1))), 413)
    problem(ada.generic("PUT", OURS, b"\xff", content_type=YAML), 400)
    problem(ada.generic("PUT", OURS, "{", content_type="application/json"), 400)
    problem(ada.generic("PUT", OURS, SMALL, content_type="text/plain"), 415)
    problem(ada.generic("PUT", OURS, SMALL, content_type=YAML, headers={"Content-Encoding": "gzip"}), 415)


@pytest.mark.any_database  # others here make these queries on SQLite
@over_rows("number", ["0", "-1", "x", "1.0", "", "99999999999999999999"], undo=True)
def test_with_is_the_number_of_a_version(ada: Any, number: str) -> None:
    kept(None)
    assert places(ada.get(f"{PRODUCTS}/versions/1/compare?with={number}")) == ["with"]
    assert places(ada.get(f"{PRODUCTS}/versions/1/compare")) == ["with"]
    problem(ada.get(f"{PRODUCTS}/versions/99999999999999999999"), 404)
    problem(ada.get(f"{PRODUCTS}/versions/1/compare?with=2"), 404)


def test_a_minimum_may_hold_a_day(ada: Any) -> None:
    certificate = {
        "code": "certificate",
        "kind": "certificate",
        "document": "student-pilot-certificate",
        "lives": [{"issued_before": "2016-04-01", "life": "60 month"}, {}],
        "certificates": ["private"],
        "says": "A certificate",
    }
    answer = sent(ada, small(minimums=[certificate]))
    assert answer.status_code == 201, answer.content
    assert answer.json()["outline"]["minimums"][0]["lives"][0]["issued_before"] == "2016-04-01"
    text = ada.get(OURS, headers={"Accept": YAML}).content.decode()
    dated = text.replace("'2016-04-01'", "2016-04-01")
    assert dated != text
    assert written(ada, dated).status_code == 200


@pytest.mark.any_database  # others here and test_translation make these queries on SQLite
def test_queries_do_not_grow_with_the_course(ada: Any) -> None:
    asked = []
    written(ada, FILE.read_text(), "/api/v1/courses/private-airplane@lakeside")
    sent(ada)
    for url in ("/api/v1/courses/private-airplane@lakeside", OURS):
        with CaptureQueriesContext(
            connection,
        ) as queries:
            ada.get(url)
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 15
    with CaptureQueriesContext(connection) as queries:
        ada.get("/api/v1/courses")
    assert len(queries) <= 6
