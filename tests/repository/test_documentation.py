"""README, DEVELOPERS and the help pages are true: commands run, answers are real, links lead somewhere."""

from __future__ import annotations

import io
import json
import pathlib
import re
import shlex
import subprocess
from collections import Counter
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.core.management import call_command, get_commands
from django.test import Client
from django.urls import Resolver404, resolve

from syllabus.engine.errors import DocumentError
from syllabus.engine.record import document, vocabulary
from syllabus.law import rulebook
from tests.support.rows import over_rows
from training.management.commands import eligibility
from training.web.help import library

ROOT = pathlib.Path(__file__).resolve().parents[2]
FILES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(each.path for each in library.PAGES)]
TEXTS = {str(file.relative_to(ROOT)): file.read_text(encoding="utf-8") for file in FILES}
README = TEXTS["README.md"]
HELP = "training/web/help/pages"
RECORD, QUESTIONS = (TEXTS[f"{HELP}/reference/{name}.md"] for name in ("record-document", "questions"))
ELSEWHERE = ("http://", "https://", "#")


def blocks(language: str, *names: str) -> list[str]:
    """The fenced blocks of a language in the texts named, or in all."""
    fenced = rf"^```{language}\n(.*?)\n```$"
    texts = "\n".join(TEXTS[name] for name in names or TEXTS)
    return re.findall(fenced, texts, re.MULTILINE | re.DOTALL)


def masked(text: str) -> str:
    """Without the rulebook's id, which every change of a rule changes."""
    return re.sub(r"sha256:[0-9a-f]+", "sha256:0", text)


def printed(command: str) -> str:
    """What a command of ours prints, run in this process."""
    words = shlex.split(command)
    assert words[:2] == ["python3", "manage.py"]
    out, err = io.StringIO(), io.StringIO()
    if words[2] == "eligibility":
        with pytest.raises(SystemExit):
            eligibility.Command(stdout=out, stderr=err).run_from_argv(words[1:])
    else:
        call_command(*words[2:], stdout=out, stderr=err)
    assert err.getvalue() == ""
    return out.getvalue().rstrip("\n")


@pytest.mark.parametrize("block", blocks("console"), ids=lambda block: block.split("\n")[0][2:70])
def test_a_command_prints_what_the_text_shows(block: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    command, _, shown = block.partition("\n")
    lines = masked(printed(command.removeprefix("$ "))).split("\n")

    for part in masked(shown).split("\n…\n"):  # "…" stands for lines left out
        wanted = part.split("\n")
        starts = [at for at in range(len(lines)) if lines[at : at + len(wanted)] == wanted]
        assert starts, f"not printed:\n{part}"
        lines = lines[starts[0] + len(wanted) :]


def test_there_are_commands_with_their_output() -> None:
    assert len(blocks("console")) == 3
    assert len(blocks("console", "README.md")) == 1


def test_every_block_of_the_readme_is_compared() -> None:
    """A block more needs its own comparison here; commands are only looked up, so they show no output."""
    fences = re.findall(r"^```(.*)$", README, re.MULTILINE)
    assert Counter(fences[::2]) == {"sh": 2, "json": 2, "console": 1}
    assert set(fences[1::2]) == {""}


@pytest.mark.django_db
def test_the_call_is_answered_as_shown(client: Client) -> None:
    (block,) = (each for each in blocks("sh", "README.md") if "curl" in each)
    made, _, call = block.rpartition(" |\n")
    body = subprocess.run(
        ["/bin/bash", "-c", made], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    curl, silent, address, header, kind, data, stdin = shlex.split(call)
    assert (curl, silent, header, data, stdin) == ("curl", "-s", "-H", "--data-binary", "@-")

    answer = client.post(urlsplit(address).path, body, content_type=kind.removeprefix("Content-Type: "))

    shown = next(each for each in map(json.loads, blocks("json", "README.md")) if "eligible" in each)
    real = {**answer.json(), "requirements": answer.json()["requirements"][:1]}
    assert json.loads(masked(json.dumps(real))) == json.loads(masked(json.dumps(shown)))


def test_the_readme_is_short() -> None:
    assert len(README.splitlines()) <= 200


def test_the_answer_in_json_is_the_real_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    shown = next(each for each in map(json.loads, blocks("json", "README.md")) if "eligible" in each)
    question = blocks("console", "README.md")[0].split("\n")[0].removeprefix("$ ")
    real = json.loads(printed(f"{question} --json"))

    first = real["requirements"][0]
    assert json.loads(masked(json.dumps(shown))) == json.loads(
        masked(json.dumps({**real, "requirements": [first]}))
    )


def test_the_example_with_every_key_is_the_one_in_the_help() -> None:
    example = (ROOT / "fixtures/records/every-key.json").read_text(encoding="utf-8").rstrip("\n")
    assert example in blocks("json", f"{HELP}/reference/record-document.md")


def test_the_excerpt_of_a_record_is_from_that_record() -> None:
    record = json.loads((ROOT / "fixtures/records/before-first-solo.json").read_text(encoding="utf-8"))
    excerpt = next(
        each
        for each in map(json.loads, blocks("json", "README.md"))
        if "tests" in each and "flights" not in each
    )

    assert excerpt == {key: record[key] for key in excerpt}


def objects(value: Any, place: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The place of every object in a document."""
    found = [place] if isinstance(value, dict) else []
    for key, each in (
        value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    ):
        found += objects(each, (*place, key))
    return found


def test_the_example_with_every_key_has_every_key() -> None:
    text = (ROOT / "fixtures/records/every-key.json").read_text(encoding="utf-8")
    places = objects(json.loads(text))

    assert len(places) > 15
    for place in places:
        record = json.loads(text)
        at = record
        for step in place:
            at = at[step]
        at["0"] = None
        with pytest.raises(DocumentError) as caught:
            document.parse(record)
        (fault,) = caught.value.errors
        known = fault.message.removeprefix("unknown key; use one of ").split(", ")
        assert sorted(known) == sorted(set(at) - {"0"}), place


@over_rows(
    "word",
    [
        *vocabulary.CATEGORIES,
        *vocabulary.CLASSES,
        *vocabulary.CERTIFICATES,
        *vocabulary.MEDICAL_CLASSES,
        *vocabulary.DOCUMENTS,
        *vocabulary.TESTS,
        *vocabulary.ENDORSEMENTS,
        *rulebook.current().milestones,
    ],
)
def test_every_word_a_document_may_use_is_in_the_help(word: str) -> None:
    assert f"`{word}`" in RECORD + QUESTIONS


def test_each_milestone_is_listed_with_what_it_depends_on() -> None:
    for milestone in rulebook.current().milestones.values():
        (row,) = re.findall(rf"^\| `{re.escape(milestone.id)}` \|(.*)\|$", QUESTIONS, re.MULTILINE)
        assert re.findall(r"`(\w+)`", row) == list(milestone.context)


def headings(text: str) -> set[str]:
    return {library.anchor(title) for title in re.findall(r"^#+ (.*)$", text, re.MULTILINE)}


@over_rows("name", TEXTS)
def test_links_lead_somewhere(name: str) -> None:
    for target in re.findall(r"\]\(([^)]+)\)", TEXTS[name]):
        if target.startswith("#"):
            assert target[1:] in headings(TEXTS[name]), target
        elif not target.startswith(ELSEWHERE):
            path, _, heading = target.partition("#")
            file = (ROOT / name).parent / path
            assert file.exists(), target
            if heading and file.suffix == ".md":
                assert heading in headings(file.read_text(encoding="utf-8")), target


@over_rows("name", TEXTS)
def test_commands_that_are_named_are_there(name: str) -> None:
    found = set(re.findall(r"manage\.py ([a-z_]+)", TEXTS[name]))

    assert found or name.startswith(HELP)
    assert found <= set(get_commands())


@over_rows("name", TEXTS)
def test_addresses_that_are_named_answer(name: str) -> None:
    for address in set(re.findall(r"(/api/v1/[^\s`?>,]*)", TEXTS[name])):
        path = address.rstrip(".")
        path = (
            path.replace("{ref}", "00000000-0000-0000-0000-000000000001")
            .replace("{id}", "x")
            .replace("{milestone}", "x")
            .replace("{course}", "x")
            .replace("{number}", "1")
            .replace("{slug}", "x")
        )
        try:
            resolve(path)
        except Resolver404:
            pytest.fail(f"{name} names {address}, where nothing is")


@over_rows("name", TEXTS)
def test_files_that_are_named_are_there(name: str) -> None:
    for path in set(re.findall(r"`((?:syllabus|training|api|tests|fixtures|docker)/[\w./-]+)`", TEXTS[name])):
        assert (ROOT / path).exists(), f"{name} names {path}"
