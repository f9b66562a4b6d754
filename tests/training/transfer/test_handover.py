"""A record in one file: whole to the byte, taken over elsewhere, and refused where anything was touched."""

from __future__ import annotations

import datetime as dt
import hashlib
import importlib.util
import json
import random
import subprocess
import sys
import uuid
from pathlib import Path

import pytest

from syllabus.engine.course import proving
from syllabus.engine.record import record as engine
from tests.support import courses, factories, handing, lessons
from tests.support.cast import Cast, cast
from tests.support.extent import count, sampled
from tests.support.kept import kept
from training import models, record, reports
from training.ledger.core import sealed, statements
from training.ledger.models import Entry as Leaf
from training.ledger.store import keys
from training.ledger.verify import handover as packages
from training.services.errors import NotAllowed
from training.services.lessons import lesson_audit
from training.services.records import record_changes
from training.services.signing.reauthentication import Act, Confirmed, NotConfirmed, content_of
from training.services.transfer import handover

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).parents[3]
ON = handing.AT.date()


@kept
def people(db: None) -> Cast:
    found = cast()
    handing.trained(found)
    return found


@kept
def exported(people: Cast) -> tuple[bytes, str]:
    made = handing.made(people)
    handing.forget_the_key()
    return made


def take(
    raw: bytes,
    people: Cast,
    *trust: str,
    by: models.User | None = None,
    days: int = 0,
    via: str = "command",
    reason: str = "as it is there now",
    confirm: handover.Confirm | None = None,
):
    return handover.take(
        raw,
        school=people.elsewhere,
        trust=trust,
        by=by,
        at=handing.AT + dt.timedelta(days=days),
        via=via,
        reason=reason,
        confirm=confirm,
    )


def standing(student: models.Student) -> list[dict]:
    """Every milestone in full, without whose it is."""
    student.refresh_from_db()
    return [
        reports.eligibility(student, each.report.milestone.id, ON).as_json()
        for each in reports.overview(student, ON).milestones
    ]


def vouched_apart(found: list[dict]) -> tuple[str, set[str]]:
    """Answers without who vouches for the entries that they name; and who does."""
    whose: set[str] = set()

    def bare(value):
        if isinstance(value, list):
            return [bare(each) for each in value]
        if not isinstance(value, dict):
            return value
        whose.update(each for key, each in value.items() if key == "provenance")
        return {key: bare(each) for key, each in value.items() if key != "provenance"}

    return json.dumps(bare(found)), whose


def test_everything_is_in_the_file_and_any_zip_program_opens_it(people: Cast, exported) -> None:
    raw, kid = exported
    found = handing.files(raw)
    signed = models.SignOff.objects.filter(student=people.sam)
    pages = {"record.pdf", "endorsements.pdf", *(f"lessons/{each.lesson_id}.pdf" for each in signed)}
    assert {"README.txt", "manifest.jws", "ledger.json", "record.json", *pages} == set(found)
    assert kid in found["README.txt"].decode()
    for name in pages:
        assert found[name].startswith(b"%PDF-"), name
        assert b"StructTreeRoot" in found[name], f"{name} is not tagged"
    kinds = [each["kind"] for each in json.loads(found["ledger.json"])["entries"]]
    assert kinds == [
        "record.added", "lesson.signed", "lesson.acknowledged", "lesson.signed", "lesson.signed",
        "lesson.corrected", "endorsement.given", "record.handed-over",
    ]  # fmt: skip
    about = packages.check(raw).manifest["about"]
    assert about["rulebook"].startswith("sha256:")


#: The verifier in an interpreter that has the standard library, ``cryptography`` and no network.
ALONE = """
import socket, sys
sys.path[:0] = [{packages!r}, {root!r}]

def unplugged(*_, **__):
    raise OSError("there is no network here")

socket.socket = socket.create_connection = socket.getaddrinfo = unplugged
for name in ("django", "rfc8785", "rest_framework"):
    try:
        __import__(name)
    except ImportError:
        continue
    sys.exit(name + " is there")
import runpy
sys.argv = ["verify", *{arguments!r}]
try:
    runpy.run_module("training.ledger.verify", run_name="__main__")
finally:
    ours = {{each.partition(".")[0] for each in sys.modules}} - sys.stdlib_module_names
    print("loaded:", *sorted(ours))
"""


def verified_alone(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """What the verifier says on a machine that has Python and the one package it names."""
    packages_alone = folder / "packages"
    packages_alone.mkdir(exist_ok=True)
    for name in ("cryptography", "cffi", "_cffi_backend", "pycparser"):
        found = importlib.util.find_spec(name)
        origin = Path(str(found and found.origin))
        assert origin.exists()
        place = origin.parent if origin.name == "__init__.py" else origin
        if not (packages_alone / place.name).exists():
            (packages_alone / place.name).symlink_to(place)
    told = ALONE.format(packages=str(packages_alone), root=str(ROOT), arguments=arguments)
    return subprocess.run(
        [sys.executable, "-I", "-S", "-c", told],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        env={"PATH": ""},
    )


def test_it_is_verified_offline_without_django(exported, tmp_path: Path) -> None:
    raw, kid = exported
    file = tmp_path / "it.zip"
    file.write_bytes(raw)
    told = verified_alone(tmp_path, str(file), "--key", kid)
    assert told.returncode == 0, told.stdout + told.stderr
    assert "WHOLE: 8 entries" in told.stdout
    assert "all 8 files are those signed, to the byte" in told.stdout
    loaded = next(line.split()[1:] for line in told.stdout.splitlines() if line.startswith("loaded:"))
    assert {each.strip("_") for each in loaded} - {"main"} <= {
        "training",
        "cryptography",
        "cffi",
        "cffi_backend",
        "openssl",
    }
    file.write_bytes(handing.packed({**handing.files(raw), "record.json": b"{}"}))
    broken = verified_alone(tmp_path, str(file), "--key", kid)
    assert broken.returncode == 1
    assert "ERROR record.json: has 2 bytes, signed were" in broken.stdout


def test_the_same_data_gives_the_same_pages(people: Cast, exported) -> None:
    again, _ = handing.made(people)
    one, other = handing.files(exported[0]), handing.files(again)
    assert [name for name in one if one[name] != other[name]] == ["ledger.json", "manifest.jws"]


@pytest.mark.any_database  # makes no query but its fixtures'
def test_every_changed_byte_is_named_by_its_file(exported) -> None:
    """Every byte of the package around the files, and drawn ones within each file."""
    raw, kid = exported
    found = handing.files(raw)
    draw = random.Random(6)
    places: list[tuple[int, str]] = []
    at = 0
    for name in sorted(found):
        header = 30 + len(name)
        places += [(at + n, name) for n in range(header)]
        begins, size = at + header, len(found[name])
        places += [(begins + draw.randrange(size), name) for _ in range(12)]
        at = begins + size
    places += [(n, "") for n in range(at, len(raw))]
    silent, misnamed = [], []
    places = sampled(places, 5)
    for n, name in places:
        for flip in (0x01, 0x80):
            spoilt = bytearray(raw)
            spoilt[n] ^= flip
            told = packages.check(bytes(spoilt), trusted=[kid])
            if told.whole:
                silent.append((n, name))
            elif not any(
                name in fault.place or fault.place.startswith(("file", "byte", "the directory"))
                for fault in told.faults
            ):
                misnamed.append((n, name, told.faults))
    print(f"{len(places) * 2} single-bit changes of {len(raw)} bytes: {len(silent)} unseen")
    assert not silent
    assert not misnamed


@pytest.mark.any_database  # others here make these queries on SQLite
def test_the_answers_at_the_new_school_are_those_of_the_old(people: Cast, exported) -> None:
    raw, kid = exported
    done = take(raw, people, kid, by=factories.administrator(people.elsewhere))
    assert done.created
    assert done.student.school == people.elsewhere
    (here, vouch_here), (there, vouch_there) = map(
        vouched_apart, (standing(done.student), standing(people.sam))
    )
    assert here == there
    assert (vouch_here, vouch_there) == ({"taken-over"}, {"signed", "attested"})
    assert record.fingerprint(record.of(done.student)).startswith("sha256:")


def test_what_lessons_of_a_course_prove_counts_at_the_new_school_as_plain_entries(people: Cast) -> None:
    courses.enrolled(people)
    proven = [each.code for each in courses.private_airplane().proofs["presolo.d-03"]]
    lessons.signed(
        people, lessons.content(items=[{"item": code, "grade": "perform"} for code in proven]), lesson=""
    )
    before = record.of(people.sam)
    proofs = [each.id for each in before.items if proving.MARK in each.id]
    assert proofs
    raw, kid = handing.made(people)
    done = take(raw, people, kid)
    assert set(proofs) <= set(
        models.ItemGrade.objects.filter(student=done.student).values_list("entry_id", flat=True)
    )
    law = [each for each in standing(people.sam) if each["milestone"].startswith("faa.")]
    (here, vouch_here), (there, vouch_there) = map(vouched_apart, (standing(done.student), law))
    assert here == there
    assert vouch_there == {"signed", "attested"}
    # what was worked out from a lesson and a course no sealed entry says
    assert vouch_here == {"taken-over", "claimed"}
    claimed = {each.id for each in record.of(done.student).items if each.provenance == engine.CLAIMED}
    assert claimed == set(proofs)
    assert any(name.startswith("courses/private-airplane-1") for name in handing.files(raw))
    again = take(handing.made(people, at=handing.AT + dt.timedelta(days=1))[0], people, kid, days=2)
    assert again.student == done.student
    assert len(record.of(done.student).items) == len(before.items)


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_record_that_came_twice_under_one_id_is_refused_with_its_place(people: Cast, exported) -> None:
    raw, kid = exported
    first = take(raw, people, kid)
    record.add(first.student, "ground", engine.GroundLesson("clash", ON, topic="here"), at=handing.AT)
    record.add(people.sam, "ground", engine.GroundLesson("clash", ON, topic="there"), at=handing.AT)
    newer, _ = handing.made(people, at=handing.AT + dt.timedelta(days=2))
    before = counts()
    with pytest.raises(handover.HandOverError) as refused:
        take(newer, people, kid, days=3)
    assert "ground[" in str(refused.value.errors[0])
    assert "'clash' is already on record here" in str(refused.value.errors[0])
    assert counts() == before


def test_foreign_entries_keep_their_origin(people: Cast, exported) -> None:
    raw, kid = exported
    done = take(raw, people, kid)
    rows = list(models.ForeignEntry.objects.filter(student=done.student))
    assert [each.kind for each in rows][:2] == ["record.added", "lesson.signed"]
    assert {(each.kid, each.subject, each.verified) for each in rows} == {(kid, str(people.sam.ref), True)}
    assert {each.tree for each in rows} == {f"school-{people.school.pk}"}
    assert done.hand_over.origin == "Lakeside Flying"
    assert not models.Flight.objects.filter(student=done.student, sealed=True).exists()
    assert not list(lesson_audit.faults(people.elsewhere))


@pytest.mark.any_database  # others here and test_erasure make these queries on SQLite
def test_the_same_again_changes_nothing_and_a_newer_one_updates(people: Cast, exported) -> None:
    raw, kid = exported
    first = take(raw, people, kid)
    again = take(raw, people, kid, days=1)
    assert (again.student, again.change, again.created) == (first.student, None, False)
    own = record.of(first.student)
    added = engine.GroundLesson("here-1", ON, topic="our own")
    record.add(first.student, "ground", added, at=handing.AT)
    lessons.signed(people, lessons.flown(remarks="one more"), lesson="S1-L4")
    newer, _ = handing.made(people, at=handing.AT + dt.timedelta(days=2))
    handing.forget_the_key()
    done = take(newer, people, kid, days=3)
    assert (done.student, done.created) == (first.student, False)
    now = record.of(done.student)
    assert len(now.flights) == len(own.flights) + 1
    assert "here-1" in [each.id for each in now.ground], "what was recorded here since stays"
    assert models.ForeignEntry.objects.filter(student=done.student).count() == 10
    with pytest.raises(handover.HandOverError, match="was already imported"):
        take(raw, people, kid, days=4)


def spoilt(raw: bytes, how: str) -> bytes:
    found = handing.files(raw)
    match how:
        case "truncated":
            return raw[: len(raw) // 2]
        case "cut by its last byte":
            return raw[:-1]
        case "a byte more":
            return raw + b"\0"
        case "damaged":
            found["record.json"] = found["record.json"].replace(b"2026-01-20", b"2026-01-21")
        case "a page taken out":
            del found["record.pdf"]
        case "a page put in":
            found["more.pdf"] = found["record.pdf"]
        case "re-ordered":
            document = json.loads(found["ledger.json"])
            document["entries"].reverse()
            found["ledger.json"] = json.dumps(document, ensure_ascii=False, indent=1).encode()
        case "files re-ordered":
            names = sorted(found)
            one = handing.packed({names[0]: found[names[0]]})
            cut = 30 + len(names[0]) + len(found[names[0]])
            return raw[cut:][: raw.index(b"PK\x01\x02") - cut] + one[:cut] + raw[raw.index(b"PK\x01\x02") :]
    return handing.packed(found)


@pytest.mark.any_database  # others here make these queries on SQLite
@pytest.mark.parametrize(
    ("how", "place"),
    [
        ("truncated", "is cut off"),
        ("cut by its last byte", "the directory at the end"),
        ("a byte more", "has more bytes after the end: 1"),
        ("damaged", "record.json"),
        ("a page taken out", "record.pdf"),
        ("a page put in", "more.pdf"),
        ("re-ordered", "the order was changed"),
        ("files re-ordered", "the order was changed"),
    ],
)
def test_what_was_touched_is_refused_with_its_place_and_nothing_is_written(
    people: Cast, exported, how: str, place: str
) -> None:
    raw, kid = exported
    before = counts()
    with pytest.raises(handover.HandOverError) as refused:
        take(spoilt(raw, how), people, kid)
    assert place in " ".join(map(str, refused.value.errors))
    assert counts() == before


def drawn_damage(raw: bytes, draw: random.Random) -> bytes:
    """A piece of the file changed, cut out, doubled, moved elsewhere, or its end cut off."""
    first, last = sorted(draw.randrange(len(raw)) for _ in range(2))
    last = min(last + 1, first + draw.choice((1, 40, 4000)))
    piece, rest = raw[first:last], raw[:first] + raw[last:]
    place = draw.randrange(len(rest))
    return {
        "changed": raw[:first] + bytes(each ^ draw.randrange(1, 256) for each in piece) + raw[last:],
        "cut out": rest,
        "doubled": raw[:last] + raw[first:],
        "moved": rest[:place] + piece + rest[place:],
        "cut off": raw[:first],
    }[draw.choice(("changed", "cut out", "doubled", "moved", "cut off"))]


@pytest.mark.any_database  # others here make these queries on SQLite
def test_whatever_damage_is_drawn_is_refused_with_a_place_and_nothing_is_written(
    people: Cast, exported
) -> None:
    raw, kid = exported
    draw, before, tried, rounds = random.Random(20261125), counts(), 0, count(60, 300)
    for _ in range(rounds):
        damaged = drawn_damage(raw, draw)
        if damaged == raw:  # moved to where it was
            continue
        tried += 1
        with pytest.raises(handover.HandOverError) as refused:
            take(damaged, people, kid)
        assert all(each.place and each.message for each in refused.value.errors)
    print(f"{tried} damaged files, all refused")
    assert tried > 0.95 * rounds
    assert counts() == before


def counts() -> list[int]:
    return [
        model.objects.count()
        for model in (models.Student, models.ForeignEntry, models.HandOver, models.Flight, models.AccessLog)
    ]


def test_a_key_that_nobody_trusts_is_named_and_refused(people: Cast, exported) -> None:
    raw, kid = exported
    before = counts()
    with pytest.raises(handover.HandOverError) as refused:
        take(raw, people)
    assert len(refused.value.errors) == 1
    assert kid in str(refused.value.errors[0])
    assert "--trust" in str(refused.value.errors[0])
    assert counts() == before


def forged(raw: bytes) -> bytes:
    """The file with another record in it, its manifest signed anew with this installation's own key."""
    signer, found = keys.signer(), handing.files(raw)
    found["record.json"] = found["record.json"].replace(b"2026-01-20", b"2026-01-21")
    document = json.loads(found["ledger.json"])
    document["keys"].append(statements.as_jwk(signer.kid, signer.public))
    found["ledger.json"] = json.dumps(document, ensure_ascii=False, indent=1).encode()
    files = {name: data for name, data in found.items() if name != "manifest.jws"}
    said = {**(packages.check(raw).manifest or {}), "files": packages.listing(files)}
    return handing.packed({**files, "manifest.jws": signer.sign(sealed.canonical(said)).encode()})


@pytest.mark.parametrize("trusted", [False, True], ids=["a key nobody trusts", "a key trusted for another"])
def test_one_that_was_signed_again_with_another_key_is_refused(people: Cast, exported, trusted: bool) -> None:
    """Trusted too, it is another school's: who holds it may not put another record beside these seals."""
    raw, kid = exported
    own = keys.signer().kid
    before = counts()
    with pytest.raises(handover.HandOverError) as refused:
        take(forged(raw), people, kid, *([own] if trusted else []))
    assert "manifest.jws" in str(refused.value.errors[0])
    assert not trusted or f"is signed with {own}, the ledger with {kid}" in str(refused.value.errors[0])
    assert counts() == before


def test_a_newer_file_of_another_ledger_takes_the_place_of_none(people: Cast, exported) -> None:
    """Another school hands over a student of its own under the reference of one who was taken over."""
    raw, kid = exported
    third = factories.school(slug="third")
    why = {"via": "command", "reason": "new here"}
    handover.take(raw, school=third, trust=[kid], by=None, at=handing.AT, **why)
    sams = people.sam.ref
    models.Student.objects.filter(pk=people.sam.pk).update(ref=uuid.uuid4())
    models.Student.objects.filter(pk=people.otto.pk).update(ref=sams)
    people.otto.refresh_from_db()
    later = handing.AT + dt.timedelta(days=5)
    theirs = handover.make(people.otto, by=None, at=later, via="command")
    before = counts()
    with pytest.raises(handover.HandOverError) as refused:
        handover.take(theirs, school=third, by=None, at=later, **why)
    assert str(refused.value.errors[0]) == (
        f"manifest.jws: is of the ledger school-{people.elsewhere.pk}; the record of {sams} here came from"
        f" school-{people.school.pk} of Lakeside Flying"
    )
    assert counts() == before


@pytest.mark.any_database  # others here make these queries on SQLite
def test_a_school_with_a_new_key_is_trusted_anew(people: Cast, exported) -> None:
    raw, kid = exported
    take(raw, people, kid)
    later = handing.AT + dt.timedelta(days=5)
    newer = handover.make(people.sam, by=None, at=later, via="command")
    with pytest.raises(handover.HandOverError) as refused:
        take(newer, people, kid, days=6)
    assert f"the file imported before with {kid}" in str(refused.value.errors[0])
    done = take(newer, people, keys.signer().kid, days=6)
    assert (done.created, done.hand_over.kid) == (False, keys.signer().kid)


def test_a_take_over_says_why_and_is_confirmed_with_the_keys_it_trusts(people: Cast, exported) -> None:
    """As an import is, for a new student too; the same file again changes no record here."""
    raw, kid = exported
    asked: list[Act] = []

    def confirm(act: Act) -> Confirmed:
        asked.append(act)
        return {"by": "password"}

    def refuse(act: Act) -> Confirmed:
        raise NotConfirmed("not the password")

    by = factories.administrator(people.elsewhere)
    ways = {"by": by, "via": "api", "confirm": confirm}
    none = counts()
    for spoilt_way, refused in (
        ({"reason": " "}, record_changes.ReasonError),
        ({"confirm": refuse}, NotConfirmed),
        ({"confirm": None}, ValueError),
    ):
        with pytest.raises(refused):
            take(raw, people, kid, **{**ways, **spoilt_way})
    assert (counts(), asked) == (none, [])
    first = take(raw, people, kid, **ways)
    [act] = asked
    assert (act.kind, act.subject) == ("record.taken-over", str(people.sam.ref))
    sent = "sha256:" + hashlib.sha256(raw).hexdigest()
    said = {"reason": "as it is there now", "sent": sent, "trust": [kid]}
    assert act.content_hash == content_of(said)[1]
    leaf = Leaf.objects.get(tree=first.hand_over.ledger_tree, index=first.hand_over.ledger_index)
    assert {**said, "confirmed": {"by": "password"}}.items() <= leaf.kept.value.items()
    asked.clear()
    take(raw, people, kid, days=1, reason="", **ways)
    assert not asked
    lessons.signed(people, lessons.flown(remarks="one more"), lesson="S1-L4")
    newer, _ = handing.made(people, at=handing.AT + dt.timedelta(days=2))
    before, stood = counts(), record.of(first.student)
    with pytest.raises(record_changes.ReasonError):
        take(newer, people, kid, days=3, **{**ways, "reason": " "})
    with pytest.raises(record_changes.ReasonError):
        take(newer, people, kid, days=3, reason="")
    with pytest.raises(NotConfirmed):
        take(newer, people, kid, days=3, **{**ways, "confirm": refuse})
    with pytest.raises(ValueError, match="re-authentication"):
        take(newer, people, kid, days=3, **{**ways, "confirm": None})
    assert (counts(), record.of(first.student), asked) == (before, stood, [])
    done = take(newer, people, kid, days=3, **ways)
    assert done.change is not None
    sent = "sha256:" + hashlib.sha256(newer).hexdigest()
    said = {"reason": "as it is there now", "sent": sent, "trust": [kid]}
    [act] = asked
    assert (act.kind, act.subject) == ("record.taken-over", str(first.student.ref))
    assert act.content_hash == content_of(said)[1]
    assert (done.change.by, done.change.reason) == (by, said["reason"])
    assert done.change.confirmed == {"by": "password"}
    leaf = Leaf.objects.get(tree=done.hand_over.ledger_tree, index=done.hand_over.ledger_index)
    body = json.loads(leaf.kept.body)
    assert {**said, "by": by.pk, "by_name": str(by), "confirmed": {"by": "password"}}.items() <= body.items()
    told = models.Notice.objects.get(student=first.student, about=str(done.change.pk))
    assert told.kind == models.Notice.Kind.RECORD_CHANGED


def test_only_an_administrator_takes_over(people: Cast, exported) -> None:
    raw, kid = exported
    with pytest.raises(NotAllowed):
        take(raw, people, kid, by=people.olaf)


def test_the_commands_hand_over_and_take_over(people: Cast, exported, tmp_path: Path) -> None:
    from io import StringIO

    from django.core.management import CommandError, call_command

    raw, kid = exported
    file, out, err = tmp_path / "sam.zip", StringIO(), StringIO()
    file.write_bytes(raw)
    ways = {"school": "hilltop", "stdout": out, "stderr": err}
    for unsaid in ({"reason": "new here"}, {"by": "x@hilltop.example"}):
        with pytest.raises(CommandError, match="required"):
            call_command("take_over", file, trust=[kid], **ways, **unsaid)
    ways["by"] = factories.administrator(people.elsewhere).email
    with pytest.raises(SystemExit) as ended:
        call_command("take_over", file, reason="new here", **ways)
    assert ended.value.code == 2
    assert "Nothing imported" in err.getvalue()
    call_command("take_over", file, trust=[kid], reason="new here", **ways)
    assert "new student" in out.getvalue()
    assert "8 signed entries" in out.getvalue()
    lessons.signed(people, lessons.flown(remarks="one more"), lesson="S1-L4")
    file.write_bytes(handing.made(people, at=handing.AT + dt.timedelta(days=2))[0])
    with pytest.raises(CommandError, match="--reason") as unsaid:
        call_command("take_over", file, reason=" ", **ways)
    assert unsaid.value.returncode == 2
    assert models.HandOver.objects.count() == 1
    call_command("take_over", file, reason="as it is there now", **ways)
    assert models.RecordChange.objects.latest("pk").reason == "as it is there now"
    call_command("hand_over", str(people.sam.ref), tmp_path / "again.zip", stdout=out)
    assert packages.check((tmp_path / "again.zip").read_bytes()).whole
