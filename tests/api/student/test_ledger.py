"""The ledger over HTTP: each answer checked offline, and its proofs recomputed from RFC 9162 alone."""

from __future__ import annotations

import base64
import hashlib
import json
import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.api.conftest import Clients
from tests.api.test_description import fits
from tests.support import factories, lessons
from tests.support.cast import Cast
from tests.support.problems import places, problem
from tests.support.rows import over_rows
from training import models
from training.ledger.core import proofs, statements
from training.ledger.store import checkpoints, entries
from training.ledger.verify import command
from training.services.lessons import sign_offs
from training.services.signing import seals

URL = "/api/v1/ledger"


def sha(*parts: bytes) -> bytes:
    return hashlib.sha256(b"".join(parts)).digest()


def root_of(index: int, size: int, leaf: bytes, path: list[bytes]) -> bytes:
    """RFC 9162, 2.1.3.2, written down again: the root that an inclusion proof leads to."""
    fn, sn, r = index, size - 1, leaf
    for p in path:
        assert sn != 0
        if fn & 1 or fn == sn:
            r = sha(b"\1", p, r)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = sha(b"\1", r, p)
        fn, sn = fn >> 1, sn >> 1
    assert sn == 0
    return r


def roots_of(first: int, second: int, old: bytes, path: list[bytes]) -> tuple[bytes, bytes]:
    """RFC 9162, 2.1.4.2: both roots that a consistency proof leads to."""
    path = path if first & (first - 1) else [old, *path]
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    fr = sr = path[0]
    for c in path[1:]:
        assert sn != 0
        if fn & 1 or fn == sn:
            fr, sr = sha(b"\1", c, fr), sha(b"\1", c, sr)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            sr = sha(b"\1", sr, c)
        fn, sn = fn >> 1, sn >> 1
    assert sn == 0
    return fr, sr


def said(token: str) -> dict[str, Any]:
    """What a JWS says, unchecked."""
    payload = token.split(".")[1]
    found: dict[str, Any] = json.loads(base64.urlsafe_b64decode(payload + "=" * (-len(payload) % 4)))
    return found


def whole(answer: Any, client: Any, **given: Any) -> command.Verdict:
    """The offline verifier finds nothing wrong, believing the published keys alone."""
    assert answer.status_code == 200, answer.content
    fits(answer.json(), "LedgerExport")
    trusted = [key["kid"] for key in client.get(f"{URL}/keys").json()["keys"]]
    verdict = command.check(answer.json(), trusted=trusted, **given)
    assert verdict.faults == []
    return verdict


@pytest.fixture
def sam(people: Cast, signed_in: Clients) -> Any:
    return signed_in(people.sams_account)


@pytest.fixture
def signed(people: Cast) -> models.LessonRecord:
    """A lesson of Sam's, signed and acknowledged: entries 0 and 1; then five more, sealed about Sam."""
    lesson = lessons.signed(people)
    sign_offs.acknowledge(lesson.pk, by=people.sams_account, at=lessons.AT, via="api")
    more(people, 5)
    return lesson


def more(people: Cast, number: int) -> None:
    for each in range(number):
        seals.seal(people.sam, "test.entry", {"number": each}, at=lessons.AT)


def test_a_checkpoint_tells_size_and_root_alone(people: Cast, signed: models.LessonRecord, sam: Any) -> None:
    answer = sam.get(f"{URL}/checkpoint")
    told = answer.json()
    fits(told, "LedgerCheckpoint")
    keys = statements.public_keys(sam.get(f"{URL}/keys").json()["keys"])
    kid, statement = statements.read(told["checkpoint"], keys, "ledger-checkpoint/1")
    assert (kid, statement["size"], statement["root"]) == (told["kid"], 7, told["root"])
    assert set(statement) == {"format", "tree", "size", "root", "at"}
    for name in ("Sam", "Ida", str(people.sam.ref), str(signed.pk)):
        assert name not in json.dumps([told, statement])
    more(people, 1)
    assert sam.get(f"{URL}/checkpoint").json() == told  # the newest that was signed


@pytest.mark.any_database  # others here make these queries on SQLite
@over_rows("index", range(7), undo=True)
def test_each_entry_is_proved(signed: models.LessonRecord, sam: Any, index: int) -> None:
    answer = sam.get(f"{URL}/proof?index={index}")
    whole(answer, sam)
    (entry,) = answer.json()["entries"]
    fields = {name: entry[name] for name in ("index", "kind", "subject", "at", "commitment")}
    leaf = {"format": "ledger-entry/1", "tree": answer.json()["tree"], **fields}
    text = json.dumps(leaf, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    signed_over = said(answer.json()["checkpoint"])
    path = [bytes.fromhex(step) for step in entry["proof"]]
    assert root_of(index, signed_over["size"], sha(b"\0", text), path).hex() == signed_over["root"]
    assert sha(bytes.fromhex(entry["salt"]), entry["body"].encode()).hex() == entry["commitment"]


def test_a_lesson_record_is_proved_with_its_acknowledgement(
    people: Cast, signed: models.LessonRecord, sam: Any
) -> None:
    answer = sam.get(f"{URL}/proof?lesson_record={signed.pk}")
    whole(answer, sam)
    found = answer.json()["entries"]
    assert [(each["index"], each["kind"]) for each in found] == [
        (0, "lesson.signed"),
        (1, "lesson.acknowledged"),
    ]
    assert json.loads(found[0]["body"])["lesson_record"] == str(signed.pk)
    noted = models.AccessLog.objects.filter(user=people.sams_account).latest("pk")
    assert (noted.action, noted.what) == ("read", f"ledger lesson-record {signed.pk}")


def test_an_answer_that_was_changed_is_found(signed: models.LessonRecord, sam: Any) -> None:
    told = sam.get(f"{URL}/proof?index=2").json()
    spoilt = [
        {**told, "entries": [{**told["entries"][0], "body": '{"number":7}'}]},
        {**told, "entries": [{**told["entries"][0], "index": 3}]},
        {**told, "entries": []},
        {**told, "checkpoint": told["contents"]},
    ]
    for each in spoilt:
        assert command.check(each).faults


@over_rows("first", range(1, 8), undo=True)
def test_growth_is_proved(people: Cast, signed: models.LessonRecord, sam: Any, first: int) -> None:
    for at in range(7, 12):
        checkpoints.issue(seals.tree_of(people.school), at=lessons.AT)
        more(people, at % 2 + 1)
    sizes = sorted(models_of(people))
    held = sizes[first % len(sizes)]
    token = models_of(people)[held]
    answer = sam.get(f"{URL}/consistency?from={held}")
    verdict = whole(answer, sam, against=token)
    assert [each["size"] for each in verdict.earlier] == [held]
    new = said(answer.json()["checkpoint"])
    assert new["size"] == sizes[-1]
    path = [bytes.fromhex(step) for step in answer.json()["earlier"][0]["consistency"]]
    old = bytes.fromhex(said(token)["root"])
    if held != new["size"]:
        assert [each.hex() for each in roots_of(held, new["size"], old, path)] == [old.hex(), new["root"]]
    else:
        assert (path, old.hex()) == ([], new["root"])
    between = sam.get(f"{URL}/consistency?from={sizes[0]}&to={held}")
    whole(between, sam)
    assert said(between.json()["checkpoint"])["size"] == held


def models_of(people: Cast) -> dict[int, str]:
    """The checkpoints of the school, by size."""
    from training.ledger.models import Checkpoint

    rows = Checkpoint.objects.filter(tree=seals.tree_of(people.school))
    return dict(rows.values_list("size", "token"))


@pytest.mark.any_database  # others here and test_checkpoint_mails make these queries on SQLite
def test_an_entry_is_shown_to_who_may_read_the_student(
    people: Cast, signed: models.LessonRecord, signed_in: Clients
) -> None:
    other = factories.student(people.school, user=factories.user())
    seals.seal(people.otto, "test.entry", {}, at=lessons.AT)
    asked = ("index=0", f"lesson_record={signed.pk}")
    for who, user, status in (
        ("the student", people.sams_account, 200),
        ("the instructor", people.ida, 200),
        ("the administrator", people.ada, 200),
        ("another student", other.user, 404),
        ("an instructor not assigned", factories.instructor(people.school), 404),
    ):
        for query in asked:
            assert signed_in(user).get(f"{URL}/proof?{query}").status_code == status, (who, query)
    # Of the same index there is another entry in another school's ledger.
    elsewhere = signed_in(people.olaf)
    (entry,) = elsewhere.get(f"{URL}/proof?index=0").json()["entries"]
    assert entry["subject"] == str(people.otto.ref)
    problem(elsewhere.get(f"{URL}/proof?index=0&school=lakeside"), 404)
    problem(elsewhere.get(f"{URL}/proof?lesson_record={signed.pk}"), 404)
    problem(elsewhere.get(f"{URL}/checkpoint?school=lakeside"), 404)
    problem(elsewhere.get(f"{URL}/consistency?from=1&school=lakeside"), 404)


def test_an_entry_about_nobody_is_shown_to_nobody(people: Cast, sam: Any) -> None:
    for number, subject in enumerate(("the school", str(uuid.uuid4()), str(people.otto.ref))):
        entries.append(
            tree=seals.tree_of(people.school), kind="test.entry", subject=subject, body={}, at=lessons.AT
        )
        problem(sam.get(f"{URL}/proof?index={number}"), 404)


def test_who_belongs_to_several_schools_says_which(
    people: Cast, signed: models.LessonRecord, signed_in: Clients
) -> None:
    models.Role.objects.create(user=people.ida, school=people.elsewhere, role="instructor")
    client = signed_in(people.ida)
    for path in ("checkpoint", "proof?index=0", "consistency?from=7"):
        assert places(client.get(f"{URL}/{path}")) == ["school"]
    assert client.get(f"{URL}/checkpoint?school=lakeside").json()["size"] == 7
    problem(client.get(f"{URL}/checkpoint?school=hilltop"), 404)  # nothing sealed there
    assert client.get(f"{URL}/proof?index=0&school=lakeside").status_code == 200
    assert client.get(f"{URL}/proof?lesson_record={signed.pk}").status_code == 200


@over_rows(
    ("path", "place"),
    [
        pytest.param("proof", "index", id="nothing named"),
        pytest.param(f"proof?index=0&lesson_record={uuid.uuid4()}", "index", id="two things named"),
        pytest.param("proof?index=-1", "index", id="an index below zero"),
        pytest.param("proof?index=1.0", "index", id="an index that is not whole"),
        pytest.param("proof?lesson_record=x", "lesson_record", id="an id that is none"),
        pytest.param(f"proof?lesson_record={uuid.uuid4()}&school=x", "school", id="a school with an id"),
        pytest.param("consistency", "from", id="growth from where"),
        pytest.param("consistency?from=x", "from", id="growth from no number"),
        pytest.param("consistency?from=7&to=1", "from", id="growth backwards"),
        pytest.param("checkpoint?size=7", "size", id="an unknown parameter"),
    ],
    undo=True,
)
def test_what_cannot_be_asked(
    people: Cast, signed: models.LessonRecord, sam: Any, path: str, place: str
) -> None:
    from training.ledger.models import Checkpoint

    issued = checkpoints.issue(seals.tree_of(people.school), at=lessons.AT)
    Checkpoint.objects.bulk_create(
        [
            Checkpoint(
                tree=issued.tree, size=1, root=issued.root, at=issued.at, kid=issued.kid, token=issued.token
            )
        ]
    )
    assert places(sam.get(f"{URL}/{path}")) == [place]


def test_what_is_not_there(people: Cast, sam: Any, signed_in: Clients) -> None:
    for path in ("checkpoint", "proof?index=0", "consistency?from=0", "consistency?from=999999999999999"):
        problem(sam.get(f"{URL}/{path}"), 404)
    problem(sam.get(f"{URL}/proof?index=999999999999999"), 404)
    draft = lessons.draft(people)
    problem(sam.get(f"{URL}/proof?lesson_record={draft.pk}"), 404)
    problem(sam.get(f"{URL}/proof?endorsement={uuid.uuid4()}"), 404)
    problem(signed_in(factories.user()).get(f"{URL}/checkpoint"), 404)


def test_without_a_key_nothing_is_signed_and_somebody_is_told(
    signed: models.LessonRecord, sam: Any, settings: Any
) -> None:
    settings.LEDGER_SIGNING_KEY, settings.LEDGER_KEY_FILE = "", None
    assert "LEDGER_SIGNING_KEY" in problem(sam.get(f"{URL}/checkpoint"), 503)["detail"]
    problem(sam.get(f"{URL}/proof?index=0"), 503)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_proof_takes_as_many_queries_at_any_size(
    people: Cast, signed: models.LessonRecord, sam: Any
) -> None:
    asked = []
    for size in (7, 40):
        more(people, size - 7 if size > 7 else 0)
        sam.get(f"{URL}/proof?index=0")
        with CaptureQueriesContext(connection) as queries:
            sam.get(f"{URL}/proof?index=0")
        asked.append(len(queries))
    assert max(asked) <= 22
    assert asked[1] - asked[0] <= 4  # one for each level of the tree that was not read before


def test_proofs_are_those_of_the_tree(people: Cast, signed: models.LessonRecord, sam: Any) -> None:
    told = sam.get(f"{URL}/proof?index=6").json()
    (entry,) = told["entries"]
    signed_over = said(told["checkpoint"])
    with pytest.raises(proofs.ProofError):
        proofs.check_inclusion(
            6, signed_over["size"], b"\0" * 32, [bytes.fromhex(each) for each in entry["proof"]],
            bytes.fromhex(signed_over["root"]),
        )  # fmt: skip
