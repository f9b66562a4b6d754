"""Templates, messages and the API speak the glossary's words, and none of those it replaces."""

from __future__ import annotations

import ast
import functools
import io
import itertools
import pathlib
import re
import tokenize
from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

import pytest

from tests.support.rows import over_rows

ROOT = pathlib.Path(__file__).resolve().parents[2]
WEB = ROOT / "training" / "web"


class Word(NamedTuple):
    """What a text says, and a pattern for what it must not say instead."""

    say: str
    never: str


#: The glossary. A pattern is as narrow as the sense that it is about: "End session" is fine, and "a medical
#: ends" is not.
GLOSSARY = (
    Word(
        "met, not met, unknown",
        r"\bstands?\b|\bthere already\b|\bnot known\b|\bto clear up\b|\bcleared up\b",
    ),
    Word(
        "remaining, to go",
        r"\b(days?|hours?|h|time) left\b|\bleft:|\basked for\b|\bto be named\b|\bstill to go\b",
    ),
    Word("required", r"\basked: |\b(is|are) asked\b|\basks? for (more|no more)\b"),
    Word(
        "expires, valid through",
        r"\blaps(e|es|ed|ing)\b|\bwhat ends\b|\bends (soon|next|with it)\b|\bfirst to go\b"
        r"|\b(is|are) over\b|\blast day, over\b"
        r"|\b(endorsement|document|certificate|medical|result|experience|training)s?(?: \([^)]*\))? ends?\b"
        r"|\bholds? through\b|\bstands until\b|\bgood for\b",
    ),
    Word("status changed", r"\bturn(s|ed)\b(?! (on|off)\b| …)"),
    Word(
        "draft, saved, signed, corrected",
        r"\b(is|are|not|be) kept\b|\bkept (as|nowhere)\b|\bkeep (as|the sheet|nothing)\b",
    ),
    Word("signed and locked", r"\b(un)?seal(s|ed|ing)?\b"),
    Word(
        "corrected",
        r"\bput(s|ting)? (an)?(it|other|a slip)? ?right\b|\bis another\b|\bin its place\b"
        r"|\bits own's place\b",
    ),
    Word("removed", r"\btaken off\b|\btaken out\b|\boff the record\b"),
    Word("acknowledge", r"\bsign(ed|ing)? (says )?that (you|I) know\b"),
    Word("carried over", r"\bcomes? along\b|\basked for again\b"),
    Word("document", r"\bpapers?\b(?! logbook)"),
    Word("access, consent", r"\blets? (\w+ )?read\b"),
    Word("calendar link", r"\bcalendar(['’]s)? address\b|\bsecret address\b|\bdraw (an?|a new) address\b"),
    Word("error", r"\bfaults?\b|\bthe wrong\b"),
    Word("remedy", r"\bmend(s|ed|ing)?\b"),
    Word("heartbeat, outdated, dead-lettered", r"\btick(s|ed)?\b|\bstale\b|\bparked\b"),
    Word("page cache", r"\bprepared pages?\b|\bkept pages?\b"),
    Word("re-authenticate", r"\bconfirming\b|\bconfirm that it is you\b|\bonce more\b"),
    Word(
        "signing authority",
        r"\bwithout authority\b|\binstructor(['’]s)? authority\b|\bunder what authority\b",
    ),
    Word("waypoint", r"\b(further|another) (place|point)\b|\bplace …"),
    Word("fault injection", r"\bstorms\b"),
    Word("school pages", r"\bdesk\b"),
    Word("metrics", r"\bfigures\b"),
    Word(
        "solo, instrument training",
        r"\bfar away\b|\bby the instruments\b|\b(fly|flying) (far )?alone\b|\btime alone\b",
    ),
    Word("attested", r"\bvouch(es|ed)?\b"),
    Word("import, transfer", r"\bput (them )?on record\b|\btaken over\b|\btake over\b"),
    Word("calculated", r"\bworked out\b"),
    Word("try again", r"\btoo many tries\b|\bgood no longer\b|\bnot good\b|\bno longer good\b"),
)

#: Sentences and turns of phrase that no text has anywhere, in the program's strings either.
PHRASES = (
    r"stands first",
    r"who needs you",
    r"is still to end",
    r"all of which are to be there",
    r"comes along again",
    r"do not go together",
    r"\bdraw a(n|) ",
    r"whose it is",
    r"\blet read\b",
    r"cannot be kept as it stands",
    r"\bfar away\b",
    r"\bby the instruments\b",
    r"that is asked for is there",
    r"turned since",
    r"to be named",
    r"what would mend",
    r"what errors names",
    r"\bis there already[:.]",
    r"\bonce more\b",
    r"where the rules end",
    r"\bnot there for whoever\b",
    r"\bholds? on to\b",
    r"\btakes? the place of\b",
    r"\bby the days that passed\b",
    r"\bby what was put on record\b",
    r"\bholds? (through …|with no end)",
    r"\bstands? (signed|sealed|as a draft)\b",
    r"[a-z]\(s\)",
    r"\bstands? (twice|after|in (the|another|its))\b",
    r"\bis no (class|code|format|grade|index|instant|item|kind|list|mapping|measured|object|optional"
    r"|placeholder|planned|point|purpose|quantity|requirement|task|text|time zone|unit|word)\b",
    r"; there are $",
    r"\bknown (here )?are\b",
    r"\bat most [^ ]* ?are kept\b",
    r"\b(a|an) [a-z ]+ is wanted\b",
    r"\b(rule|version|lesson) asks? for\b",
    r"\blet the instructor look\b",
    r"\b(still )?lives on\b",
    r"\bof the calendar\b",
    r"\bround in a circle\b",
    r"\b(put|puts) (it|them|what is missing) on record\b",
    r"\belse note\b",
    r"\bas aimed at\b",
    r"\bnot open: ",
)

#: What no docstring and no comment says either, in the folders of ``EXPLAINED``.
NOTES = (
    r"\b(stands?|stood)\b",
    r"\bbears?\b",
    r"\b(held|holds?|holding) (it |them )?against\b",
    r"\b(is|are|was|were|be) told\b",
    r"\b(is|are|was|were|be) asked\b",
    r"\blaps(e|es|ed|ing)\b",
    r"\bpapers?\b(?! logbook)",
    r"\b(is|are|not|be) kept\b",
    r"\bvouch(es|ed)?\b",
    r"\bin (the|its|their) place of\b",
    r"\bworked out\b",
    r"\bputs? (it |them )?on record\b",
    r"\btaken (off|over|back)\b",
    r"\b(come|comes|goes) along\b",
    r"\bmend(s|ed|ing)?\b",
    r"\bonce more\b",
    r"\bwhoso\b|\bit is (he|she|they) who\b|\bis had\b",
    r"\benrolments?\b",
    r"\bwhat a .+ is of\b",
)
EXPLAINED = (
    "api/**/*.py",
    "training/presenters/*.py",
    "training/record/*.py",
    "training/reports/*.py",
    "training/services/**/*.py",
    "training/web/**/*.py",
)


class Text(NamedTuple):
    where: str
    words: str


_TRANSLATED = re.compile(r"""\{% translate ("[^"]*"|'[^']*')|\b_\(("[^"]*"|'[^']*')\)""")
_BLOCK = re.compile(r"\{% blocktranslate[^%]*%\}(.*?)\{% endblocktranslate %\}", re.DOTALL)
_SCRIPT = re.compile(r'gettext\(\s*"((?:[^"\\]|\\.)*)"(?:,\s*"((?:[^"\\]|\\.)*)")?')
#: A value's place in a text, whose name nobody reads.
_VALUE = re.compile(r"\{\{.*?\}\}|%\(\w+\)[a-z]")
_GETTEXT = {
    "_",
    "gettext",
    "gettext_lazy",
    "gettext_noop",
    "ngettext",
    "ngettext_lazy",
    "pgettext",
    "npgettext",
}


def of_template(source: str) -> Iterator[str]:
    for match in _TRANSLATED.finditer(source):
        yield (match[1] or match[2])[1:-1]
    for match in _BLOCK.finditer(source):
        yield re.sub(r"<[^>]+>", "", re.sub(r"\s+", " ", match[1]))


def of_script(source: str) -> Iterator[str]:
    for match in _SCRIPT.finditer(source):
        yield from filter(None, match.groups())


def of_program(source: str) -> Iterator[str]:
    """What goes through gettext, with the places of values as they are written."""
    for node in ast.walk(ast.parse(source)):
        if (
            isinstance(node, ast.Call)
            and getattr(node.func, "id", getattr(node.func, "attr", "")) in _GETTEXT
        ):
            for each in node.args:
                if isinstance(each, ast.Constant) and isinstance(each.value, str):
                    yield each.value


def strings(source: str) -> Iterator[str]:
    """Every string of a program that is no docstring."""
    tree = ast.parse(source)
    owners = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, owners) and node.body and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docstrings:
            yield node.value


def sentences(source: str) -> Iterator[str]:
    """Every text of more than one word, docstrings too: the API's description and the commands' help."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value.strip():
            yield node.value


def notes(source: str) -> Iterator[str]:
    """Every docstring and comment, without the names in it."""
    lines = io.StringIO(source).readline
    comments = (each.string for each in tokenize.generate_tokens(lines) if each.type == tokenize.COMMENT)
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    docstrings = (
        ast.get_docstring(node) for node in ast.walk(ast.parse(source)) if isinstance(node, documented)
    )
    for each in filter(None, itertools.chain(docstrings, comments)):
        yield re.sub(r"``.*?``", "``…``", re.sub(r"\s+", " ", each))


def files(*patterns: str) -> list[pathlib.Path]:
    found = itertools.chain.from_iterable(ROOT.glob(each) for each in patterns)
    return sorted(each for each in found if "migrations" not in each.parts)


@functools.cache
def messages() -> list[Text]:
    readers = (
        (of_template, files("training/web/templates/**/*.html", "training/web/templates/**/*.txt")),
        (of_script, files("training/web/static/**/*.js", "training/web/templates/**/*.js")),
        (of_program, files("training/**/*.py")),
        (sentences, files("api/**/*.py", "training/**/commands/*.py", "syllabus/**/commands/*.py")),
    )
    return [
        Text(str(file.relative_to(ROOT)), words)
        for read, found in readers
        for file in found
        for words in read(file.read_text(encoding="utf-8"))
    ]


@functools.cache
def programs() -> list[Text]:
    """Every string of the program, read once for all phrases."""
    return [
        Text(str(file.relative_to(ROOT)), words)
        for file in files("training/**/*.py", "api/**/*.py", "syllabus/**/*.py")
        for words in strings(file.read_text(encoding="utf-8"))
    ]


@functools.cache
def explanations() -> list[Text]:
    return [
        Text(str(file.relative_to(ROOT)), words)
        for file in files(*EXPLAINED)
        for words in notes(file.read_text(encoding="utf-8"))
    ]


def said(texts: Iterable[Text], never: str) -> list[str]:
    pattern = re.compile(never, re.IGNORECASE)
    return [f"{text.where}: {text.words}" for text in texts if pattern.search(_VALUE.sub("…", text.words))]


@over_rows("word", GLOSSARY, ids=lambda word: word.say)
def test_a_message_speaks_the_glossarys_words(word: Word) -> None:
    assert said(messages(), word.never) == []


@over_rows("phrase", PHRASES)
def test_no_string_has_a_stilted_phrase(phrase: str) -> None:
    assert said([*messages(), *programs()], phrase) == []


@over_rows("phrase", NOTES)
def test_no_docstring_or_comment_reads_as_translated(phrase: str) -> None:
    assert said(explanations(), phrase) == []


@pytest.mark.parametrize(
    ("read", "source"),
    [
        (of_template, '<p>{% translate "A medical ends soon." %}</p>'),
        (of_template, "{{ each|default:_('ends soon') }}"),
        (of_template, "{% blocktranslate trimmed with a=b %}\nIt <b>ends</b>\nsoon.{% endblocktranslate %}"),
        (of_script, 'tell(ngettext("It ends.", "They ends soon.", count));'),
        (of_program, 'def said():\n    return _("It ends " "soon.")'),
        (strings, 'def said():\n    """Says."""\n    raise Refused(f"{what} ends soon")'),
        (notes, 'def said():\n    """It ends\n    soon, as ``all`` does."""'),
        (notes, "said = 1  # which ends soon\n"),
    ],
)
def test_a_wrong_word_is_found_wherever_it_is_written(
    read: Callable[[str], Iterator[str]], source: str
) -> None:
    assert said((Text("here", words) for words in read(source)), r"\bends soon\b")


def test_the_readers_find_the_messages() -> None:
    assert len(messages()) > 1500
    assert len(explanations()) > 2000
