"""The help pages: where they are, their text and HTML, and the search through them."""

import pathlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from html.parser import HTMLParser
from typing import Any

from django.templatetags.static import static
from django.urls import reverse
from django.utils.html import escape
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from markdown_it import MarkdownIt
from markdown_it.renderer import RendererHTML
from markdown_it.token import Token

FOLDER = pathlib.Path(__file__).parent / "pages"
#: Characters in an excerpt on each side of the first match.
AROUND = 80

#: The kinds of readers in the order of the contents, each with its pages in reading order.
CONTENTS: Mapping[str, tuple[str, ...]] = {
    "student": ("progress", "lessons", "reminders", "your-record"),
    "instructor": ("lessons", "endorsements", "courses"),
    "administrator": ("school", "imports", "audit", "server"),
    "everyone": ("sign-in", "signatures"),
    "reference": ("record-document", "questions", "rules", "counting", "limits", "ledger", "api"),
}
READERS = {
    "student": _("Student"),
    "instructor": _("Instructor"),
    "administrator": _("Administrator"),
    "everyone": _("Everyone"),
    "reference": _("Record format, rules and API"),
}


@dataclass(frozen=True)
class HelpPage:
    reader: str
    slug: str

    @property
    def path(self) -> pathlib.Path:
        return FOLDER / self.reader / f"{self.slug}.md"

    @property
    def address(self) -> str:
        return reverse("help-page", args=(self.reader, self.slug))

    @cached_property
    def source(self) -> str:
        return self.path.read_text(encoding="utf-8")

    @property
    def title(self) -> str:
        return self.source.partition("\n")[0].removeprefix("# ")

    @property
    def text(self) -> str:
        """The page's plain text without its title, on one line."""
        reader = _Words()
        reader.feed(self.html())
        return " ".join("".join(reader.found).split())

    def html(self) -> str:
        """The page's HTML without its title, which the template shows. Links use the site's URLs."""
        body = self.source.partition("\n")[2]
        return str(_MARKDOWN.render(body, {"page": self}))


PAGES = tuple(HelpPage(reader, slug) for reader, slugs in CONTENTS.items() for slug in slugs)


@dataclass(frozen=True)
class Found:
    page: HelpPage
    excerpt: str


def page(reader: str, slug: str) -> HelpPage | None:
    return next((each for each in PAGES if (each.reader, each.slug) == (reader, slug)), None)


def find(asked: str) -> list[Found]:
    """The pages that contain every word, in any case; matches in the title first."""
    words = asked.casefold().split()
    found = []
    for each in PAGES if words else ():
        title, text = each.title.casefold(), _text(each).casefold()
        if all(word in title or word in text for word in words):
            found.append((-sum(word in title for word in words), Found(each, _excerpt(_text(each), words))))
    return [each for _rank, each in sorted(found, key=lambda ranked: ranked[0])]


@cache
def _text(each: HelpPage) -> str:
    return each.text


def _excerpt(text: str, words: list[str]) -> str:
    """The text around the first match, or the start of the page if only the title matches."""
    places = [at for at in (text.casefold().find(word) for word in words) if at >= 0]
    start = max(0, min(places, default=0) - AROUND)
    end = min(len(text), start + 2 * AROUND)
    start = text.find(" ", start) + 1 if start else 0
    end = text.rfind(" ", start, end) if end < len(text) else end
    return f"{'… ' if start else ''}{text[start:end]}{' …' if end < len(text) else ''}"


def anchor(heading: str) -> str:
    """The anchor of a heading, as common Markdown readers make it."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


class _Words(HTMLParser):
    """Collects a page's text, with a space between blocks."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_data(self, data: str) -> None:
        self.found.append(data)

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("a", "b", "code", "em", "strong"):
            self.found.append(" ")


class _Renderer(RendererHTML):
    """Adds anchors to headings, turns links into the site's URLs, and makes wide tables and code scroll."""

    def heading_open(self, tokens: Sequence[Token], at: int, options: Any, env: Any) -> str:
        tokens[at].attrSet("id", anchor(tokens[at + 1].content))
        return self.renderToken(tokens, at, options, env)

    def link_open(self, tokens: Sequence[Token], at: int, options: Any, env: Any) -> str:
        tokens[at].attrSet("href", _address(env["page"], str(tokens[at].attrGet("href"))))
        return self.renderToken(tokens, at, options, env)

    def image(self, tokens: Sequence[Token], at: int, options: Any, env: Any) -> str:
        name = str(tokens[at].attrGet("src")).rpartition("/")[2]
        tokens[at].attrs = {
            "src": static(f"training/help/{name}"),
            "alt": tokens[at].content,
            "loading": "lazy",
        }
        return self.renderToken(tokens, at, options, env)

    def table_open(self, tokens: Sequence[Token], at: int, options: Any, env: Any) -> str:
        frame = {"class": "scrolls", "role": "group", "aria-label": gettext("Table"), "tabindex": "0"}
        return f"<div{self._attributes(frame)}><table>"

    def table_close(self, tokens: Sequence[Token], at: int, options: Any, env: Any) -> str:
        return "</table></div>"

    def fence(self, tokens: Sequence[Token], at: int, options: Any, env: Any) -> str:
        return f"<pre{self._attributes({'tabindex': '0'})}><code>{escape(tokens[at].content)}</code></pre>"

    def _attributes(self, given: Mapping[str, str]) -> str:
        return self.renderAttrs(Token("", "", 1, attrs={**given}))


def _address(whose: HelpPage, target: str) -> str:
    """The URL for a link to another page's file; any other link unchanged."""
    path, mark, name = target.partition("#")
    if not path.endswith(".md"):
        return target
    file = (whose.path.parent / path).resolve()
    linked = next(each for each in PAGES if each.path.resolve() == file)
    return f"{linked.address}{mark}{name}"


_MARKDOWN = MarkdownIt("commonmark", {"html": False}, renderer_cls=_Renderer).enable("table")


def groups() -> Iterator[tuple[str, list[HelpPage]]]:
    """The contents: each kind of reader with its pages."""
    for reader in CONTENTS:
        yield str(READERS[reader]), [each for each in PAGES if each.reader == reader]
